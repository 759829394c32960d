"""Pictures of the light that reaches the field, and of what stops the rest."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from .._typing import Floats
from . import _style
from ._results.light import FieldStopLightLike, IlluminationLike, LightMapLike, SensorLightLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_NUMBERS = 25
"""Points of the focal plane that still get a number each."""


def illumination(result: IlluminationLike, ax: Axes | None = None) -> Axes:
    """Draw the light against the radius in the field, relative to the axis.

    Units: mm in the focal plane; light on the axis is 1.
    """
    ax = _style.axes_for(ax, 6.8, 4.2)
    radius = np.asarray(result.radius_mm)
    ax.fill_between(radius, result.worst, result.best, color=_style.SKY, alpha=0.35, linewidth=0)
    for name, values, line, width in (
        ("best direction", result.best, ":", 1.3),
        ("mean of all directions", result.mean, "-", 2.0),
        ("worst direction", result.worst, "--", 1.3),
    ):
        ax.plot(radius, values, line, color=_style.BLUE, linewidth=width, label=name)
    ax.set_xlim(0.0, float(radius.max()))
    lowest = float(np.min(result.worst))
    ax.set_ylim(max(0.0, np.floor(10.0 * lowest - 0.5) / 10.0), 1.02)
    ax.set_xlabel("radius in the field (mm)")
    ax.set_ylabel("light, relative to the axis")
    _style.open_frame(ax)
    _style.legend(ax, "lower left")
    _style.heading(ax, "Illumination of the field", "the same star, moved away from the axis")
    return ax


def illumination_map(result: LightMapLike, ax: Axes | None = None) -> Axes:
    """Draw the light at points of the focal plane: one dot a point, the darker the less light.

    A few points are also written out. Points on a grid become a map.

    Units: mm in the focal plane; light in the middle of the field is 1.
    """
    ax = _style.axes_for(ax, 5.8, 5.0)
    along, across = np.asarray(result.along_mm), np.asarray(result.across_mm)
    relative = np.asarray(result.relative)
    reach = max(float(np.abs(along).max()), float(np.abs(across).max()), 1.0)
    shown = ax.scatter(
        across,
        along,
        c=relative,
        s=min(300.0, 1.2e5 / len(relative)),
        cmap=_style.SIGNED_MAP,
        vmin=min(float(relative.min()), 0.99),
        vmax=max(float(relative.max()), 1.0),
        edgecolor="0.4",
        linewidth=0.4,
    )
    if len(relative) <= MOST_NUMBERS:
        for place in zip(across, along, relative, strict=True):
            ax.annotate(
                f"{place[2]:.2f}",
                xy=place[:2],
                xytext=(0, -12),
                textcoords="offset points",
                ha="center",
                va="top",
                fontsize=8.5,
            )
    _style.square_field(ax, 1.15 * reach, "mm")
    _style.scale_beside(ax, shown, "light, relative to the middle of the field")
    _style.heading(ax, "Illumination of the field", _style.SEEN_IN_EYEPIECE)
    return ax


def shares(result: IlluminationLike, ax: Axes | None = None) -> Axes:
    """Draw which part stops how much of the mirror's light, against the radius in the field.

    Every part has its own colour and hatching, the same in all pictures; the list beside the
    picture has the order of the layers.

    Units: mm in the focal plane; share of the light that meets the clear aperture, 0 to 1.
    """
    ax = _style.axes_for(ax, 7.6, 4.4)
    radius = np.asarray(result.radius_mm)
    floor = np.zeros_like(radius, dtype=float)
    parts = [(name, np.asarray(share)) for name, share in result.stopped.items()]
    for name, share in (part for part in parts if np.any(part[1] > 0.0)):
        look = _look(name)
        ax.fill_between(
            radius,
            floor,
            floor + share,
            facecolor=look.colour,
            edgecolor=look.ink,
            hatch=look.hatch,
            linewidth=0.0,
            label=_PLAIN.get(name, name.replace("_", " ")),
        )
        floor = floor + share
        ax.plot(radius, floor, color=_style.INK, linewidth=0.8)
    ax.set_xlim(0.0, float(radius.max()))
    ax.set_ylim(0.0, min(1.0, max(0.02, 1.06 * float(floor.max(initial=0.0)))))
    ax.set_xlabel("radius in the field (mm)")
    ax.set_ylabel("share of the mirror's light that is stopped")
    _style.open_frame(ax)
    handles, labels = ax.get_legend_handles_labels()
    if handles:
        ax.legend(
            handles[::-1],
            labels[::-1],
            loc="upper left",
            bbox_to_anchor=(1.01, 1.0),
            borderaxespad=0.0,
            fontsize=8.5,
            frameon=False,
            handlelength=2.6,
            handleheight=1.6,
        )
    _style.heading(ax, "What stops the light", "one on top of the other, mean of all directions")
    return ax


@dataclass(frozen=True, slots=True)
class _Look:
    """Colour of a part, its hatching, and the colour of that."""

    colour: str
    hatch: str
    ink: str


# Light and dark take turns in the order of the parts: neighbours stay apart in grey.
_LOOKS = {
    "front_opening": _Look(_style.YELLOW, "///", "0.35"),
    "diagonal_shadow": _Look("0.30", "", "0.30"),
    "holder": _Look("0.80", "...", "0.25"),
    "spider": _Look(_style.BLUE, "---", "white"),
    "mask": _Look("0.93", "xxx", "0.45"),
    "mirror_clips": _Look(_style.PURPLE, "++", "white"),
    "diagonal": _Look(_style.ORANGE, "\\\\\\", "0.15"),
    "focuser_board": _Look(_style.GREEN, "ooo", "white"),
    "drawtube_inner_end": _Look(_style.SKY, "|||", "0.15"),
    "drawtube_outer_end": _Look(_style.VERMILLION, "xxx", "white"),
    "filter_ring": _Look("#F6D9E6", "**", "0.35"),
    "sensor_mask": _Look("#5B3A8C", "//", "white"),
}


def _look(part: str) -> _Look:
    return _LOOKS.get(part, _Look("0.6", "..", "0.2"))


MAGNITUDE_LINES = (0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0)
"""Losses at which a map of a sensor has lines."""
MOST_LINES = 6


def sensor_light(result: SensorLightLike, ax: Axes | None = None) -> Axes:
    """Draw the light over a sensor: lines of equal loss, and which part limits where.

    Regions that one opening limits are hatched and named; the darkest corner is marked.

    Units: mm in the focal plane; loss against the middle of the field in magnitudes.
    """
    ax = _style.axes_for(ax, 6.6, 5.4)
    shape = (result.rows, result.columns)
    along, across = (np.asarray(v).reshape(shape) for v in (result.along_mm, result.across_mm))
    relative = np.asarray(result.relative).reshape(shape)
    low, high = float(relative.min()), max(float(relative.max()), 1.0)
    shown = ax.pcolormesh(
        across,
        along,
        relative,
        shading="gouraud",
        cmap=_style.SIGNED_MAP,
        vmin=min(low, high - 0.02),
        vmax=high,
        rasterized=True,
    )
    limited_by = np.asarray(result.limited_by).reshape(shape)
    _limits_by_part(ax, across, along, limited_by, result.darkest_corner.limited_by)
    with np.errstate(divide="ignore"):
        loss = -2.5 * np.log10(np.maximum(relative, 1e-4))
    lines = [line for line in MAGNITUDE_LINES if loss.min() < line < loss.max()]
    lines = lines[:: 1 + len(lines) // MOST_LINES]
    if lines:
        drawn = ax.contour(across, along, loss, levels=lines, colors="white", linewidths=1.4)
        drawn.set_path_effects(_halo())
        written = ax.clabel(drawn, fmt=lambda value: f"{value:g} mag", fontsize=8, colors="white")
        for text in written:
            text.set_path_effects(_halo())
    rim = [(0, 0), (0, -1), (-1, -1), (-1, 0), (0, 0)]
    ax.plot([across[i] for i in rim], [along[i] for i in rim], color=_style.INK, linewidth=1.6)
    corner = result.darkest_corner
    words = "as bright as the middle"
    if corner.magnitudes > 5e-4:
        words = f"{corner.magnitudes:.2f} mag" if np.isfinite(corner.magnitudes) else "dark"
    if corner.limited_by:
        words += f"\n{_PLAIN.get(corner.limited_by, corner.limited_by.replace('_', ' '))}"
    up, right = corner.along_mm >= along.mean(), corner.across_mm >= across.mean()
    ax.annotate(
        words,
        xy=(corner.across_mm, corner.along_mm),
        xytext=(-16 if right else 16, 14 if up else -14),
        textcoords="offset points",
        ha="right" if right else "left",
        va="bottom" if up else "top",
        fontsize=8.5,
        arrowprops={"arrowstyle": "-", "linewidth": 0.8},
        annotation_clip=False,
    )
    ax.plot(
        corner.across_mm, corner.along_mm, "o", color="white", markeredgecolor=_style.INK, zorder=5
    )
    reach = 0.5 * max(np.ptp(along), np.ptp(across)) * 1.32
    ax.set_xlim(across.mean() - reach, across.mean() + reach)
    ax.set_ylim(along.mean() - reach, along.mean() + reach)
    ax.set_aspect("equal")
    ax.set_xlabel("across (mm)")
    ax.set_ylabel("along (mm), positive toward the sky")
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    _style.scale_beside(ax, shown, "light, relative to the middle of the field")
    _style.heading(
        ax, "Light over the sensor", "lines: loss in magnitudes; hatching: which part limits"
    )
    return ax


_PLAIN = {
    "front_opening": "front opening",
    "diagonal_shadow": "diagonal's shadow",
    "diagonal": "diagonal too small",
    "focuser_board": "focuser board's hole",
    "drawtube_inner_end": "drawtube's inner end",
    "drawtube_outer_end": "drawtube's outer end",
    "filter_ring": "filter ring",
    "sensor_mask": "sensor mask",
}


def _halo() -> list[Any]:
    from matplotlib import patheffects

    return [patheffects.withStroke(linewidth=2.2, foreground="0.15")]


def _limits_by_part(
    ax: Axes, across: Floats, along: Floats, limited_by: Any, at_corner: str | None
) -> None:
    """Hatch and name the regions of a map that a part limits."""
    parts = sorted({str(name) for name in limited_by.flat} - {""})
    for part in parts:
        here = (limited_by == part).astype(float)
        if here.all():
            continue
        hatch = _look(part).hatch or "//"
        region = ax.contourf(across, along, here, levels=[0.5, 1.5], colors="none", hatches=[hatch])
        region.set_edgecolor((0.1, 0.1, 0.1, 0.4))
        region.set_linewidth(0.0)
        ax.contour(
            across, along, here, levels=[0.5], colors="white", linewidths=1.0, linestyles=":"
        )
        if parts == [at_corner]:
            continue  # the words beside the corner name it
        # The name stands in the region's thickest place, away from the sensor's edges.
        outside = np.argwhere(np.pad(here, 1) < 0.5) - 1
        inside = np.argwhere(here > 0.5)
        far = [float(np.min(np.sum((outside - place) ** 2, axis=1))) for place in inside]
        row, column = inside[int(np.argmax(far))]
        text = ax.text(
            across[row, column],
            along[row, column],
            _PLAIN.get(part, part.replace("_", " ")).replace(" ", "\n", 1),
            color="white",
            fontsize=8.5,
            ha="center",
            va="center",
        )
        text.set_path_effects(_halo())


def field_stop_light(result: FieldStopLightLike, ax: Axes | None = None) -> Axes:
    """Draw the light along an eyepiece's field stop against azimuth, and which part limits where.

    The small ring is the field stop as the eye sees it, darker where less light arrives.

    Units: degrees from the sky end of the tube toward +across; light in the middle is 1.
    """
    ax = _style.axes_for(ax, 7.4, 4.4)
    azimuth = np.append(np.asarray(result.azimuth_deg), 360.0)
    relative = np.append(np.asarray(result.relative), result.relative[0])
    ax.plot(azimuth, relative, color=_style.BLUE, linewidth=2.0)
    low = float(result.worst)
    span = max(1.0 - low, 0.02)
    bottom = low - 0.30 * span
    ax.axhline(result.mean, color=_style.QUIET, linestyle="--", linewidth=1.1)
    # On the side of the line where the curve does not run.
    above = relative[-1] < result.mean
    ax.annotate(
        f"mean {result.mean:.3f}",
        xy=(360.0, result.mean),
        xytext=(-4, 3 if above else -3),
        textcoords="offset points",
        fontsize=8.5,
        color=_style.QUIET,
        ha="right",
        va="bottom" if above else "top",
    )
    for value, at, mark, word, drop in (
        (result.worst, result.worst_azimuth_deg, "v", "darkest", -13),
        (result.best, result.best_azimuth_deg, "^", "brightest", 7),
    ):
        if result.best - result.worst < 1e-6:
            continue
        ax.plot(
            at,
            value,
            mark,
            color=_style.VERMILLION,
            markeredgecolor=_style.INK,
            markersize=7,
            clip_on=False,
            zorder=4,
        )
        ax.annotate(
            f"{word} {value:.3f}",
            xy=(at, value),
            xytext=(8 if at < 300 else -8, drop),
            textcoords="offset points",
            fontsize=8.5,
            ha="left" if at < 300 else "right",
        )
    _limits_along(ax, azimuth, list(result.limited_by), bottom, 0.10 * span)
    ax.set_xlim(0.0, 360.0)
    ax.set_xticks(np.arange(0, 361, 45))
    ax.set_ylim(bottom, max(1.0, float(result.best)) + 0.12 * span)
    ax.set_xlabel("azimuth from the sky end toward +across (degrees)")
    ax.set_ylabel("light, relative to the middle of the field")
    _style.open_frame(ax)
    _ring(ax, azimuth, relative, low)
    _style.heading(
        ax,
        "Light along the field stop",
        f"diameter {result.diameter_mm:g} mm; the bar below: which part limits",
    )
    return ax


def _limits_along(
    ax: Axes, azimuth: Floats, parts: list[str], bottom: float, height: float
) -> None:
    """Bars under a curve that name the part that limits there."""
    ends = [0, *(i for i in range(1, len(parts)) if parts[i] != parts[i - 1]), len(parts)]
    named = set()
    for first, last in pairwise(ends):
        part = parts[first]
        if not part:
            continue
        look = _look(part)
        label = None if part in named else _PLAIN.get(part, part.replace("_", " "))
        named.add(part)
        ax.bar(
            azimuth[first],
            height,
            width=azimuth[last] - azimuth[first],
            bottom=bottom,
            align="edge",
            facecolor=look.colour,
            edgecolor=look.ink,
            hatch=look.hatch,
            linewidth=0.0,
            label=label,
        )
    if named:
        _style.legend_below(ax, min(3, len(named)))


def _ring(ax: Axes, azimuth: Floats, relative: Floats, low: float) -> None:
    """Add the field stop as the eye sees it: sky end up, +across to the right."""
    from matplotlib.collections import LineCollection

    small = ax.inset_axes((1.02, 0.42, 0.26, 0.46))
    turn = np.radians(azimuth)
    places = np.stack([np.sin(turn), np.cos(turn)], axis=1)
    pieces = np.stack([places[:-1], places[1:]], axis=1)
    values = 0.5 * (relative[:-1] + relative[1:])
    ring = LineCollection(list(pieces), cmap=_style.SIGNED_MAP, linewidths=7.0)
    ring.set_array(values)
    ring.set_clim(min(low, 0.98), 1.0)
    small.add_collection(ring)
    small.set_xlim(-1.25, 1.25)
    small.set_ylim(-1.25, 1.25)
    small.set_aspect("equal")
    small.set_axis_off()
    small.text(
        0.0, 0.0, "as seen in\nthe eyepiece,\nsky end up", fontsize=7.5, ha="center", va="center"
    )
