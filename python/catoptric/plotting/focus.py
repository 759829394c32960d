"""Pictures of the eyepiece end: the focus ladder, and exit pupils side by side."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from .._typing import Floats
from ..errors import InputError, Problem
from . import _style
from ._results.focus import EyepieceFactsLike, LadderLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Where things stand from left to right, in shares of the picture's width.
_TRAVEL = (0.03, 0.13)
_RAILS = (0.22, 0.46)
_WORDS = 0.52

LEAST_SPACING = 0.062
"""Between the words of two rungs, as a share of the picture's height."""

WIDE_IRIS_MM = 7.0
"""The iris that is drawn where none is given: a young eye in the dark (common practice)."""

PUPIL_GAP_MM = 1.6
"""Between two exit pupils."""

PUPILS_IN_A_ROW = 6
"""Exit pupils side by side before a new row begins."""

LEAST_WIDTH_MM = 17.0
"""Width of a picture with one exit pupil: the heading needs it."""

ROOM_FOR_WORDS_MM = 3.6
"""Below a row, at the scale of a new picture: four lines."""

INCHES_A_MM = 0.25
"""Scale of a new picture."""


def focus_ladder(result: LadderLike, ax: Axes | None = None) -> Axes:
    """Draw the shoulders as rungs at their height, beside the travel that the focuser has.

    A rung within the travel is drawn through, one beyond it broken, with an arrow to the end of the
    travel that is nearest and the length that is missing.

    Units: mm from the tube's axis.
    """
    ax = _style.axes_for(ax, 7.2, 5.4)
    heights = np.asarray(result.shoulder_mm, dtype=float)
    misses = np.asarray(result.misses_by_mm, dtype=float)
    low, high = result.focuser.racked_in_mm, result.focuser.racked_out_mm
    focus = result.train.focal_plane.axis_to_focus_mm
    ends = np.array([*heights, low, high, focus])
    room = max(0.12 * float(np.ptp(ends)), 2.0)
    bottom, top = float(ends.min()) - room, float(ends.max()) + room

    ax.axhspan(low, high, xmin=0.0, xmax=1.0, color=_style.SKY, alpha=0.16, linewidth=0.0)
    ax.fill_between(
        _TRAVEL, low, high, facecolor=_style.SKY, edgecolor="white", hatch="///", linewidth=0.0
    )
    for end, words, up in ((low, "racked in", -1), (high, "racked out", 1)):
        ax.plot(_TRAVEL, [end, end], color=_style.INK, linewidth=1.4)
        ax.annotate(
            f"{words} {end:.1f}",
            xy=(_TRAVEL[0], end),
            xytext=(0, 4 * up),
            textcoords="offset points",
            ha="left",
            va="bottom" if up > 0 else "top",
            fontsize=8.5,
            color=_style.QUIET,
        )
    for rail in _RAILS:
        ax.plot([rail, rail], [bottom, top], color="0.55", linewidth=3.0, solid_capstyle="butt")
    ax.plot(
        [_RAILS[0] - 0.03, 1.0], [focus, focus], color=_style.QUIET, linestyle=":", linewidth=1.2
    )
    ax.annotate(
        f"focal plane {focus:.1f}",
        xy=(1.0, focus),
        xytext=(-2, 2),
        textcoords="offset points",
        ha="right",
        va="bottom",
        fontsize=8.5,
        color=_style.QUIET,
    )
    places = _apart(heights, LEAST_SPACING * (top - bottom), bottom, top)
    for name, height, miss, place in zip(result.names, heights, misses, places, strict=True):
        within = miss == 0.0
        colour = _style.BLUE if within else _style.VERMILLION
        ax.plot(
            _RAILS,
            [height, height],
            color=colour,
            linestyle="-" if within else (0, (4, 2)),
            linewidth=3.4,
            marker="o" if within else "^",
            markersize=6.5,
        )
        ax.plot([_RAILS[1] + 0.012, _WORDS - 0.008], [height, place], color="0.6", linewidth=0.8)
        ax.annotate(
            f"{name}: {height:.1f}{_missing(miss)}",
            xy=(_WORDS, place),
            ha="left",
            va="center",
            fontsize=9,
            color=_style.INK,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85},
        )
    _arrows(ax, heights, misses)
    ax.set_xlim(0.0, 1.0)
    ax.set_ylim(bottom, top)
    ax.set_xticks([])
    ax.set_ylabel("shoulder, from the tube's axis (mm)")
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)
    reached = int(np.sum(misses == 0.0))
    _style.heading(
        ax,
        f"The focuser reaches {reached} of {len(heights)}",
        f"travel {high - low:.1f} mm, all together need {float(np.ptp(heights)):.1f} mm; "
        "up is away from the tube's axis",
    )
    return ax


def _missing(miss: float) -> str:
    if miss == 0.0:
        return ""
    return f", {abs(miss):.1f} too far {'out' if miss > 0.0 else 'in'}"


def _apart(heights: Floats, least: float, bottom: float, top: float) -> Floats:
    """Return places for the words, near their rungs, in the same order, not upon each other."""
    order = np.argsort(heights, kind="stable")
    least = min(least, (top - bottom) / max(len(heights), 1))
    # Rungs that are too near share a group; a group stands about its own mean.
    groups: list[list[int]] = []
    for index in order:
        groups.append([int(index)])
        while len(groups) > 1 and _low(groups[-1], heights, least) < (
            _low(groups[-2], heights, least) + least * len(groups[-2])
        ):
            last = groups.pop()
            groups[-1] += last
    places = np.empty(len(heights))
    for group in groups:
        first = _low(group, heights, least)
        for step, index in enumerate(group):
            places[index] = first + least * step
    return places


def _low(group: list[int], heights: Floats, least: float) -> float:
    return float(np.mean(heights[group])) - least * (len(group) - 1) / 2.0


def _arrows(ax: Axes, heights: Floats, misses: Floats) -> None:
    """Draw from each rung beyond the travel an arrow to the travel's end, side by side."""
    beyond = [index for index in np.argsort(np.abs(misses)) if misses[index] != 0.0]
    for step, index in enumerate(beyond):
        x = _RAILS[0] + (_RAILS[1] - _RAILS[0]) * (step + 1.0) / (len(beyond) + 1.0)
        ax.annotate(
            "",
            xy=(x, heights[index] - misses[index]),
            xytext=(x, heights[index]),
            arrowprops={"arrowstyle": "-|>", "color": _style.VERMILLION, "linewidth": 1.3},
        )


def exit_pupils(results: Sequence[EyepieceFactsLike], ax: Axes | None = None) -> Axes:
    """Draw the exit pupils of a list of eyepieces side by side, all to one scale.

    The light is bright, the diagonal's shadow dark, what the iris does not take in hatched. The
    iris is a broken ring: the one that was asked for, else 7 mm.

    Units: mm.
    Errors: `InputError` for an empty list.

    >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1000))
    >>> eyepieces = [ct.Eyepiece(focal_length_mm=f, field_stop_mm=f) for f in (32, 8)]
    >>> axes = exit_pupils([train.behind(eyepiece) for eyepiece in eyepieces])
    >>> assert "mm" in axes.get_ylabel()
    """
    results = list(results)
    if not results:
        problem = Problem("fault", "results", "no eyepieces", "one eyepiece or more")
        raise InputError([problem])
    irises = [one.eye_pupil_mm or WIDE_IRIS_MM for one in results]
    wide = [max(one.exit_pupil_mm, iris) for one, iris in zip(results, irises, strict=True)]
    reach = max(wide) / 2.0
    starts = range(0, len(results), PUPILS_IN_A_ROW)
    widths = [_row_width(wide[start : start + PUPILS_IN_A_ROW]) for start in starts]
    width, row = max(*widths, LEAST_WIDTH_MM), 2.0 * reach + ROOM_FOR_WORDS_MM
    height = row * len(widths) + 1.0
    ax = _style.axes_for(ax, INCHES_A_MM * width + 0.9, INCHES_A_MM * height + 0.8)
    for line, start in enumerate(starts):
        left = PUPIL_GAP_MM + (width - widths[line]) / 2.0 * (len(widths) == 1)
        here = slice(start, start + PUPILS_IN_A_ROW)
        for one, iris, room in zip(results[here], irises[here], wide[here], strict=True):
            _pupil(ax, one, iris, (left + room / 2.0, -line * row), reach)
            left += room + PUPIL_GAP_MM
    ax.set_xlim(0.0, width)
    ax.set_ylim(reach + 0.5 - row * len(widths), reach + 0.5)
    ax.set_aspect("equal")
    ax.set_xticks([])
    marks = 2.0 * np.arange(-np.floor(reach / 2.0), np.floor(reach / 2.0) + 0.5)
    ax.set_yticks(
        [mark - line * row for line in range(len(widths)) for mark in marks],
        [f"{mark:g}" for _ in widths for mark in marks],
    )
    ax.set_ylabel("behind the eyepiece (mm)")
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)
    asked = any(one.eye_pupil_mm is not None for one in results)
    ring = "the eye's iris" if asked else f"an iris of {WIDE_IRIS_MM:g} mm"
    _style.heading(
        ax,
        "Exit pupils, all to one scale",
        f"broken ring: {ring}; dark: the diagonal's shadow",
        "hatched: light that the iris keeps out",
    )
    return ax


def _row_width(wide: list[float]) -> float:
    return sum(wide) + PUPIL_GAP_MM * (len(wide) + 1)


def _pupil(
    ax: Axes, one: EyepieceFactsLike, iris: float, centre: tuple[float, float], reach: float
) -> None:
    """Draw one exit pupil about a centre, and its numbers below."""
    from matplotlib.patches import Circle

    taken = min(one.exit_pupil_mm, iris)
    half = one.exit_pupil_mm / 2.0
    if one.exit_pupil_mm > iris:
        kept_out = {"facecolor": "white", "edgecolor": _style.ORANGE, "hatch": "////"}
        ax.add_patch(Circle(centre, half, linewidth=0.8, **kept_out))
    ax.add_patch(Circle(centre, taken / 2.0, facecolor=_style.YELLOW, edgecolor="none"))
    ax.add_patch(Circle(centre, half, fill=False, edgecolor=_style.INK, linewidth=1.0))
    if one.shadow_mm > 0.0:
        ax.add_patch(Circle(centre, one.shadow_mm / 2.0, facecolor="0.25", edgecolor="none"))
    broken = {"edgecolor": _style.BLUE, "linestyle": "--", "linewidth": 1.6}
    ax.add_patch(Circle(centre, iris / 2.0, fill=False, **broken))
    # A point that the limits of the axes take notice of; a patch alone is no data.
    ax.plot([centre[0]], [centre[1]], marker=".", markersize=0.1, color=_style.INK)
    lines = [
        f"{one.eyepiece.focal_length_mm:g} mm, {one.magnification:.0f}x",
        f"pupil {one.exit_pupil_mm:.2g} mm",
        f"shadow {one.shadow_mm:.2g} mm",
    ]
    if one.exit_pupil_mm > iris and one.eye_pupil_mm is not None:
        lines.append(f"uses {one.effective_aperture_mm:.0f} mm")
    ax.annotate(
        "\n".join(lines),
        xy=(centre[0], centre[1] - reach - 0.3),
        ha="center",
        va="top",
        fontsize=8.5,
        linespacing=1.3,
    )
