"""Pictures of the train's section with rays, and of what the field sees past the diagonal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from . import _style
from ._results.section import SectionLike, SightLinesLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ROOM_MM = 30.0
"""Free space around what is drawn."""

NAMES = {
    "mirror": "mirror",
    "mask": "mask",
    "mirror_clips": "clip",
    "front_opening": "front opening",
    "diagonal": "diagonal",
    "holder": "holder",
    "focuser_board": "board",
    "drawtube": "drawtube",
    "filter_ring": "filter ring",
    "sensor_mask": "sensor mask",
    "focal_plane": "focal plane",
    "tube": "tube",
    "baffle": "baffle",
}
"""What a part is called in the picture."""

OPENINGS = ("drawtube", "focuser_board", "filter_ring", "sensor_mask")
"""Parts through whose openings the focal plane looks."""

ENDINGS = (
    ("diagonal_sr", "diagonal", "0.85", ""),
    ("holder_sr", "holder", "0.6", "...."),
    ("baffle_sr", "baffle", _style.GREEN, "----"),
    ("front_ring_sr", "front ring", _style.PURPLE, "\\\\\\\\"),
    ("wall_sr", "wall", _style.SKY, "////"),
    ("open_above_sr", "open, rising to the sky end", _style.YELLOW, "xx"),
    ("open_below_sr", "open, sinking to the mirror's end", _style.ORANGE, "++"),
)
"""What ends a line of sight, and how it is told from the others."""


def train_section(result: SectionLike, ax: Axes | None = None) -> Axes:
    """Draw the section to scale: the tube lies down, sky to the right, the focuser up.

    Without axes of its own a second panel below enlarges the focuser's side; it is the next axes
    of the same figure.

    Units: mm on both axes, one scale for both.
    """
    if ax is not None:
        return _whole(result, ax)
    if result.axis_to_focus_mm is None:
        return _whole(result, _style.axes_for(None, 9.0, 3.6))
    whole = _style.axes_for(None, 9.0, 8.0)
    figure = whole.figure
    grid = figure.add_gridspec(2, 1, height_ratios=(1.0, 1.55))
    whole.set_subplotspec(grid[0])
    near = figure.add_subplot(grid[1])
    _whole(result, whole)
    _near(result, near)
    return whole


def _whole(result: SectionLike, ax: Axes) -> Axes:
    _outlines(ax, result)
    _rays(ax, result)
    named = {"mirror", "front_opening", "focal_plane", "baffle"}
    for line in _first_of_each(result, named):
        x, z = np.asarray(line["x_mm"]), np.asarray(line["z_mm"])
        top = int(np.argmax(x)) if line["part"] != "baffle" else int(np.argmin(z))
        shift = (4, 3) if line["part"] == "mirror" else (0, 5)
        _label(ax, NAMES[line["part"]], z[top], x[top], shift)
    ax.set_aspect("equal")
    ax.margins(0.05, 0.14)
    ax.set_xlabel("height above the mirror's vertex (mm), sky to the right")
    ax.set_ylabel("from the tube's axis (mm),\nfocuser up")
    stopped = sum(ray["ended_by"] is not None for ray in result.rays)
    _style.heading(
        ax,
        "Section of the train",
        f"in the plane of tube and focuser, to scale; {len(result.rays)} rays, "
        f"{stopped} of them stopped (crosses)",
        "each ray ends where the first part stops it",
    )
    return ax


def _near(result: SectionLike, ax: Axes) -> None:
    """Draw the diagonal and the focuser, enlarged."""
    _outlines(ax, result)
    _rays(ax, result)
    to_focus = result.axis_to_focus_mm or 0.0
    seen: set[str] = set()
    near: list[float] = []
    for line in result.lines:
        x, z = np.asarray(line["x_mm"]), np.asarray(line["z_mm"])
        if line["part"] in {"mirror", "mask", "mirror_clips", "front_opening", "tube", "baffle"}:
            continue
        near.extend(np.abs(z - result.focuser_height_mm))
        if line["part"] not in seen:
            seen.add(line["part"])
            place, shift = _label_place(line["part"], x, z)
            _label(ax, NAMES[line["part"]], *place, shift)
    lowest = min(
        (min(line["x_mm"]) for line in result.lines if line["part"] in {"diagonal", "holder"}),
        default=0.0,
    )
    # As wide as the panel is against its height, so that one scale fills it.
    half = max(max(near), 0.9 * (to_focus - lowest + 2.0 * ROOM_MM))
    ax.set_xlim(result.focuser_height_mm - half, result.focuser_height_mm + half)
    ax.set_ylim(lowest - ROOM_MM, to_focus + ROOM_MM)
    ax.set_aspect("equal")
    ax.grid(True, color="0.9", linewidth=0.6)
    ax.set_axisbelow(True)
    ax.set_xlabel("height above the mirror's vertex (mm), sky to the right")
    ax.set_ylabel("from the tube's axis (mm), focuser up")
    _style.heading(ax, "The focuser's side, enlarged")
    _legend(ax, result)


def _label_place(part: str, x: Any, z: Any) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where a part's name stands: beside its end toward the mirror, or to the right of it."""
    if part in {"diagonal", "holder"}:
        k = int(np.argmax(z))
        return (float(z[k]), float(x[k])), (7, -3)
    # The drawtube's name stands at its inner end, clear of the board and the rings.
    k = int(np.argmin(z)) if part != "drawtube" else int(np.argmin(x))
    return (float(z[k]), float(x[k])), (-7, -3)


def _outlines(ax: Axes, result: SectionLike) -> None:
    for line in result.lines:
        part = line["part"]
        if part == "diagonal":
            ax.fill(line["z_mm"], line["x_mm"], color=_style.SKY, alpha=0.6, zorder=3)
        heavy = part in {"mirror", "diagonal", "focal_plane"}
        ax.plot(
            line["z_mm"],
            line["x_mm"],
            color=_style.QUIET if part in {"tube", "baffle"} else _style.INK,
            linewidth=2.4 if heavy else 1.8,
            linestyle=(0, (5, 2)) if part == "baffle" else "-",
            solid_capstyle="butt",
            zorder=4,
        )


def _styles(result: SectionLike) -> list[tuple[float, _style.Series, str]]:
    """Return for each star where its image lies, how its rays are drawn, and its name."""
    radius = result.field_radius_mm
    found = [(0.0, _style.SERIES[1], "star on the axis")]
    if radius > 0.0:
        found.append((radius, _style.SERIES[0], f"image {radius:g} mm toward the sky end"))
        found.append((-radius, _style.SERIES[2], f"image {radius:g} mm toward the mirror's end"))
    return found


def _rays(ax: Axes, result: SectionLike) -> None:
    for along, series, _ in _styles(result):
        for ray in result.rays:
            if ray["along_mm"] != along:
                continue
            ended = ray["ended_by"] is not None
            ax.plot(
                ray["z_mm"],
                ray["x_mm"],
                color=series.colour,
                linestyle=series.line,
                linewidth=0.7,
                alpha=0.55 if ended else 0.95,
                zorder=2,
            )
            if ended:
                ax.plot(
                    ray["z_mm"][-1],
                    ray["x_mm"][-1],
                    "x",
                    color=series.colour,
                    markersize=5,
                    markeredgewidth=1.3,
                    zorder=6,
                )


def _legend(ax: Axes, result: SectionLike, *, sights: bool = False) -> None:
    from matplotlib.lines import Line2D

    handles = []
    for _, series, name in _styles(result):
        if sights:
            name = name.replace("star on the axis", "centre of the field").replace("image", "point")
        handles.extend(
            ax.plot([], [], color=series.colour, linestyle=series.line, linewidth=1.2, label=name)
        )
    if not sights:
        handles.append(
            Line2D([], [], color=_style.QUIET, marker="x", linestyle="none", label="stopped there")
        )
    _below(ax, handles, columns=4, down_pt=40.0)


def _first_of_each(result: SectionLike, parts: set[str]) -> list[dict[str, Any]]:
    """Return the uppermost line of each of these parts."""
    found: dict[str, dict[str, Any]] = {}
    for line in result.lines:
        part = line["part"]
        if part in parts and (part not in found or max(line["x_mm"]) > max(found[part]["x_mm"])):
            found[part] = line
    return list(found.values())


def _label(ax: Axes, text: str, z: float, x: float, shift: tuple[float, float]) -> None:
    place = "right" if shift[0] < 0 else "left" if shift[0] > 0 else "center"
    ax.annotate(
        text,
        xy=(z, x),
        xytext=shift,
        textcoords="offset points",
        fontsize=8.5,
        ha=place,
        va="bottom",
        zorder=7,
        bbox={
            "boxstyle": "round,pad=0.1",
            "facecolor": "white",
            "edgecolor": "none",
            "alpha": 0.75,
        },
    )


def sights_in_section(result: SectionLike, ax: Axes | None = None, *, lines_each: int = 61) -> Axes:
    """Draw lines of sight in the section's plane, from the centre and both edges of its field.

    Lines that meet no part are open and drawn heavy; the others are thin and end where they meet
    one. The ring around the front opening counts as wide as it is drawn; what the section does not
    show (vanes) ends no line here.

    Units: mm on both axes, one scale for both.
    """
    to_focus = result.axis_to_focus_mm
    if to_focus is None:
        raise ValueError("a section without a diagonal has no lines of sight to draw")
    ax = _style.axes_for(ax, 9.0, 6.2)
    _outlines(ax, result)
    edges = _edges(result)
    far = -1.15 * max(-float(edges[:, 0].min()), -float(edges[:, 2].min()), 0.5 * to_focus)
    count = 0
    ends = [result.focuser_height_mm]
    for along, series, _ in _styles(result):
        start = np.array([to_focus, result.focuser_height_mm + along])
        for slope in np.linspace(-1.2, 1.2, 3 * lines_each):
            end, part = _meets(start, slope, far, edges)
            if part in OPENINGS:
                continue
            is_open = part is None
            count += is_open
            ends.append(float(end[1]))
            ax.plot(
                [start[1], end[1]],
                [start[0], end[0]],
                color=series.colour if is_open else "0.7",
                linestyle=series.line if is_open else "-",
                linewidth=1.0 if is_open else 0.4,
                zorder=5 if is_open else 1,
            )
    for line in _first_of_each(result, {"diagonal", "baffle", "focal_plane"}):
        z, x = np.asarray(line["z_mm"]), np.asarray(line["x_mm"])
        k = int(np.argmax(z))
        _label(ax, NAMES[line["part"]], float(z[k]), float(x[k]), (7, -3))
    ax.set_xlim(min(ends) - 2 * ROOM_MM, max(ends) + 2 * ROOM_MM)
    ax.set_ylim(far, to_focus + ROOM_MM)
    ax.set_aspect("equal")
    ax.set_xlabel("height above the mirror's vertex (mm), sky to the right")
    ax.set_ylabel("from the tube's axis (mm), focuser up")
    _style.heading(
        ax,
        "Lines of sight past the diagonal",
        "from the focal plane through the drawtube, in the plane of tube and focuser",
        f"heavy: {count} lines into the open; thin: lines that end at a part",
    )
    _legend(ax, result, sights=True)
    return ax


def _edges(result: SectionLike) -> Any:
    """Return all straight pieces of the outlines: x, z, x, z and the number of their part."""
    found = []
    parts = list(NAMES)
    for line in result.lines:
        if line["part"] == "focal_plane":
            continue
        x, z, part = line["x_mm"], line["z_mm"], parts.index(line["part"])
        for k in range(len(x) - 1):
            found.append((x[k], z[k], x[k + 1], z[k + 1], part))
        # Around the focuser's openings there is no way past.
        away = np.copysign(1e5, z[0] - result.focuser_height_mm)
        if line["part"] in OPENINGS:
            found.extend((x[k], z[k], x[k], z[k] + away, part) for k in range(len(x)))
    return np.asarray(found)


def _meets(start: Any, slope: float, far: float, edges: Any) -> tuple[Any, str | None]:
    """Return where a line of this slope ends on its way to x = far, and at which part."""
    away = edges[:, [1, 3]] - start[1] - slope * (start[0] - edges[:, [0, 2]])
    crossed = (away[:, 0] > 0.0) != (away[:, 1] > 0.0)
    share = np.zeros(len(edges))
    share[crossed] = away[crossed, 0] / (away[crossed, 0] - away[crossed, 1])
    x = edges[:, 0] + share * (edges[:, 2] - edges[:, 0])
    x = np.where(crossed & (x < start[0] - 1e-9) & (x > far), x, -np.inf)
    k = int(np.argmax(x))
    if not np.isfinite(x[k]):
        return np.array([far, start[1] + slope * (start[0] - far)]), None
    end = np.array([x[k], start[1] + slope * (start[0] - x[k])])
    return end, list(NAMES)[int(edges[k, 4])]


def sight_lines(result: SightLinesLike, ax: Axes | None = None) -> Axes:
    """Draw for each point what ends the lines of sight through the drawtube, as shares of its view.

    Above each bar stands how bright the open sky seen directly is against the sky in the image.

    Units: mm in the focal plane; per cent of the view through the drawtube.
    """
    count = len(result.along_mm)
    ax = _style.axes_for(ax, max(6.4, 0.75 * count + 2.0), 5.0)
    view = np.asarray(result.view_sr)
    whole = np.where(view > 0.0, view, 1.0)
    base = np.zeros(count)
    for attribute, name, colour, hatch in ENDINGS:
        share = 100.0 * np.asarray(getattr(result, attribute)) / whole
        if not share.any():
            continue
        ax.bar(
            np.arange(count),
            share,
            0.78,
            bottom=base,
            color=colour,
            hatch=hatch,
            edgecolor="0.25",
            linewidth=0.6,
            label=name,
        )
        base += share
    for k, bright in enumerate(result.against_image):
        text = f"{100.0 * bright:.3g} %" if view[k] > 0.0 else "sees nothing"
        ax.annotate(
            text,
            xy=(k, base[k]),
            xytext=(0, 3),
            textcoords="offset points",
            fontsize=8.5,
            ha="center",
        )
    places = zip(result.along_mm, result.across_mm, strict=True)
    ax.set_xticks(np.arange(count), [f"{a:.4g}\n{b:.4g}" for a, b in _tidy(places)], fontsize=8.5)
    ax.set_ylim(0.0, 108.0)
    ax.set_xlabel("place in the focal plane (mm): along above, across below")
    ax.set_ylabel("share of the view through the drawtube (%)")
    _style.open_frame(ax)
    ax.grid(False, axis="x")
    _style.heading(
        ax,
        "Where lines of sight end",
        "seen from the focal plane through the drawtube, without any mirror",
        "above each bar: open sky seen directly against the sky in the image",
    )
    _below(ax, ax.get_legend_handles_labels()[0], columns=3, down_pt=48.0)
    return ax


def _tidy(places: Any) -> list[tuple[float, float]]:
    """Return the places without the rounding of sines and cosines."""
    return [(round(float(a), 9) + 0.0, round(float(b), 9) + 0.0) for a, b in places]


def _below(ax: Axes, handles: Any, columns: int, down_pt: float) -> None:
    """Put a legend under the numbers and the label of the lower axis."""
    from matplotlib.transforms import ScaledTranslation

    down = ScaledTranslation(0.0, -down_pt / 72.0, ax.figure.dpi_scale_trans)
    ax.legend(
        handles=handles,
        loc="upper center",
        bbox_to_anchor=(0.5, 0.0),
        bbox_transform=ax.transAxes + down,
        ncols=columns,
        fontsize=8.5,
        frameon=False,
        borderaxespad=0.0,
    )
