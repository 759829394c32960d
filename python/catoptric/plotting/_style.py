"""The look that all pictures share.

Colours: the eight of Okabe & Ito, Color Universal Design (2008), told apart by all common kinds of
colour vision. Every series also has its own line style and marker, so that a print in black and
white loses nothing. Signed maps use a scale whose brightness rises evenly with the value (cividis;
Nunez, Anderton & Renslow, PLoS ONE 13, e0199239, 2018).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.cm import ScalarMappable

Corner = (
    Literal["upper left"] | Literal["upper right"] | Literal["lower left"] | Literal["lower right"]
)

INK = "#000000"
ORANGE = "#E69F00"
SKY = "#56B4E9"
GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
PURPLE = "#CC79A7"
QUIET = "0.35"
GLASS = "#E4EDF2"
SIGNED_MAP = "cividis"

NOTE_LINE_PT = 11.5
"""Height of one line of the small text under a title, in points."""
LEGEND_BELOW_PT = 36.0
"""Room under the axes for the numbers and the label of the lower axis, in points."""
_NOTE = "catoptric-note"

SEEN_FROM_SKY = "seen from the sky, +x (focuser side) to the right"
SEEN_IN_EYEPIECE = "as seen through the eyepiece, sky end of the tube up"


@dataclass(frozen=True, slots=True)
class Series:
    """How one of several curves in a picture is told from the others."""

    colour: str
    line: str
    marker: str
    hatch: str


SERIES = (
    Series(VERMILLION, "--", "^", "////"),
    Series(BLUE, "-", "o", ""),
    Series(GREEN, "-.", "s", "...."),
    Series(PURPLE, ":", "D", "----"),
)


def axes_for(ax: Axes | None, width: float = 6.4, height: float = 4.4) -> Axes:
    """Return `ax`, or the axes of a new figure of this size in inches.

    Errors: `ImportError` that says what to install, if a figure is wanted and matplotlib is
    missing.
    """
    if ax is not None:
        return ax
    try:
        import matplotlib.pyplot as plt
    except ImportError as missing:
        raise ImportError(
            "pictures need matplotlib, which is not installed: pip install catoptric[plot]"
        ) from missing
    _, new = plt.subplots(figsize=(width, height), layout="constrained")
    return new


def heading(ax: Axes, title: str, *notes: str) -> None:
    """Write a title to the left, and below it, smaller, what the reader should know."""
    for old in [text for text in ax.texts if text.get_gid() == _NOTE]:
        old.remove()
    pad = 7 + NOTE_LINE_PT * len(notes)
    ax.set_title(title, loc="left", fontsize=11, fontweight="bold", pad=pad)
    if notes:
        ax.annotate(
            "\n".join(notes),
            xy=(0, 1),
            xycoords="axes fraction",
            xytext=(0, 5),
            textcoords="offset points",
            fontsize=8.5,
            linespacing=1.25,
            color=QUIET,
            ha="left",
            va="bottom",
            gid=_NOTE,
        )


def scale_beside(ax: Axes, shown: ScalarMappable, label: str, *, open_ended: bool = False) -> None:
    """Add a scale as tall as the picture, without taking room from its axes.

    An open-ended scale has pointed ends: some values lie beyond it.
    """
    place = ax.inset_axes((1.03, 0.0, 0.035, 1.0))
    bar = ax.figure.colorbar(shown, cax=place, extend="both" if open_ended else "neither")
    bar.set_label(label, fontsize=9)
    bar.outline.set_linewidth(0.0)


def open_frame(ax: Axes) -> None:
    """Leave only the two axis lines of a graph, with faint lines to read values by."""
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.grid(True, color="0.88", linewidth=0.6)
    ax.set_axisbelow(True)


def legend(ax: Axes, place: Corner) -> None:
    """Add a legend without a frame that hides the curves."""
    ax.legend(
        loc=place, fontsize=8.5, markerscale=1.4, frameon=True, framealpha=0.85, edgecolor="none"
    )


def legend_below(ax: Axes, columns: int) -> None:
    """Add a legend under the label of the lower axis, where it hides nothing."""
    from matplotlib.transforms import ScaledTranslation

    down = ScaledTranslation(0.0, -LEGEND_BELOW_PT / 72.0, ax.figure.dpi_scale_trans)
    ax.legend(
        loc="upper center",
        bbox_to_anchor=(0.5, 0.0),
        bbox_transform=ax.transAxes + down,
        ncols=columns,
        fontsize=8.5,
        markerscale=2.0,
        frameon=False,
        borderaxespad=0.0,
        columnspacing=1.2,
    )


def square_field(ax: Axes, half_width: float, unit: str) -> None:
    """Set a square field: `across` to the right, `along` up, the eye looking into the focuser."""
    ax.set_xlim(-half_width, half_width)
    ax.set_ylim(-half_width, half_width)
    ax.set_aspect("equal")
    ax.set_xlabel(f"across ({unit})")
    ax.set_ylabel(f"along ({unit}), positive toward the sky")
    ax.grid(True, color="0.88", linewidth=0.6)
    ax.set_axisbelow(True)
