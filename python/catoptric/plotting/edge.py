"""Pictures of edges: which widths and drops the readings allow, and the glass near the rim."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import _between, _style
from ._results.edge import EdgeCurveLike, EdgeFitsLike, LayerFitLike
from .mirror import label_height

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from .._typing import Floats

BEFORE_EDGE = 0.5
"""What the picture of a family shows of the glass inside the widest edge, in widths of it."""

MEMBERS = 3
"""Figures of each shape in the picture of a family: narrow, middle, wide."""


def edge_curves(result: EdgeFitsLike, ax: Axes | None = None) -> Axes:
    """Draw the drop that the readings allow against the width of the edge, shape by shape.

    A line joins the drops that give the mean readings back; the band about it holds all that are
    allowed. Shapes that are ruled out are drawn thin and grey. Drops stand on a scale of equal
    ratios where all go one way.

    Units: mm of width (of a roll-off, of reach), nm of glass at the rim.
    """
    ax = _style.axes_for(ax, 6.6, 4.4)
    least = 1.0 - result.share
    drawn = [(fit, fit.p_value >= least) for fit in result.shapes]
    down = all(fit.direction == "turned_down" for fit, _ in drawn)
    up = all(fit.direction == "raised" for fit, _ in drawn)
    sign = -1.0 if up else 1.0
    for (fit, is_left), series in zip(drawn, _cycled(), strict=False):
        shown = np.asarray(fit.allowed, dtype=bool)
        width = np.asarray(fit.width_mm)[shown]
        drop = sign * np.asarray(fit.drop_nm)[shown]
        ends = sign * np.vstack([fit.drop_low_nm, fit.drop_high_nm])[:, shown]
        low, high = ends.min(axis=0), ends.max(axis=0)
        colour = series.colour if is_left else _style.QUIET
        name = _name(fit) + ("" if is_left else " (ruled out)")
        ax.plot(
            width,
            drop,
            series.line,
            marker=series.marker,
            color=colour,
            markersize=4.5 if is_left else 2.5,
            linewidth=1.8 if is_left else 0.9,
            label=name,
        )
        ax.fill_between(
            width, low, high, color=colour, alpha=0.14, linewidth=0.6, hatch=series.hatch or None
        )
    ax.set_xscale("log")
    ticks = [0.3, 0.5, 1, 2, 3, 5, 10, 20, 50]
    ax.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    ax.set_xticks([], minor=True)
    widths = np.concatenate([np.asarray(f.width_mm)[np.asarray(f.allowed)] for f, _ in drawn])
    ax.set_xlim(0.85 * float(widths.min()), 1.2 * float(widths.max()))
    if down or up:
        ax.set_yscale("log")
        low, high = ax.get_ylim()
        rows = [d for e in range(6) for d in (10.0**e, 2.0 * 10.0**e, 5.0 * 10.0**e)]
        rows = [d for d in rows if low <= d <= high]
        ax.set_yticks(rows, [f"{row:g}" for row in rows])
        ax.set_yticks([], minor=True)
    else:
        ax.axhline(0.0, color=_style.INK, linewidth=0.8)
    ax.set_xlabel("width of the edge; of a roll-off its reach (mm)")
    ax.set_ylabel("rise at the rim (nm)" if up else "drop at the rim (nm); below 0: raised")
    if down:
        ax.set_ylabel("drop at the rim (nm)")
    _style.open_frame(ax)
    _style.legend_below(ax, len(drawn))
    low_strehl, high_strehl = result.strehl_range
    told = "one shape is left" if result.shape_is_told else "the shape is not told"
    _style.heading(
        ax,
        "Edges that give these readings",
        f"bands: allowed at {100 * result.share:g} %; {told}",
        f"Strehl {low_strehl:.2f} to {high_strehl:.2f} at {result.wavelength_nm:g} nm along them",
    )
    return ax


def edge_family(result: EdgeFitsLike, ax: Axes | None = None) -> Axes:
    """Draw the glass near the rim for figures along the allowed curves, three of each shape.

    All give the same mean readings: between the rims of the openings they may part. The last
    upright line is where the openings end; what lies beyond it nobody has seen.

    Units: mm of radius, nm of glass at best focus.
    """
    ax = _style.axes_for(ax, 6.8, 4.2)
    rim = result.clear_aperture_mm / 2.0
    least = 1.0 - result.share
    pairs = [p for p in zip(result.shapes, _cycled(), strict=False) if p[0].p_value >= least]
    widest = max(float(np.asarray(fit.width_mm)[np.asarray(fit.allowed)].max()) for fit, _ in pairs)
    start = max(0.0, rim - (1.0 + BEFORE_EDGE) * widest)
    radius = np.linspace(start, rim, 1200)
    seen: list[Floats] = []
    for fit, series in pairs:
        rows = np.flatnonzero(fit.allowed)
        chosen = np.unique(rows[np.linspace(0, len(rows) - 1, MEMBERS).round().astype(int)])
        for k, row in enumerate(chosen):
            inner = _between.spline(
                np.asarray(result.inner_radius_mm), np.asarray(fit.inner_height_nm)[row], radius
            )
            height = inner + _edge(fit, row, rim - radius)
            seen.append(height[radius <= result.seen_to_mm])
            name = f"{_name(fit)}, {_sizes(fit, chosen)} mm" if k == 0 else None
            ax.plot(
                radius,
                height,
                series.line,
                color=series.colour,
                linewidth=1.0 + 0.5 * k,
                label=name,
            )
    ax.axhline(0.0, color=_style.INK, linewidth=0.8)
    if result.seen_to_mm < rim:
        ax.axvline(result.seen_to_mm, color=_style.QUIET, linewidth=1.0)
        ax.axvspan(result.seen_to_mm, rim, color="0.9", linewidth=0)
    ax.set_xlim(start, rim)
    # Nobody has seen how deep the narrow ones go: they leave the picture.
    low, high = min(h.min() for h in seen), max(h.max() for h in seen)
    room = max(0.5 * float(high - low), 1.0)
    ax.set_ylim(float(low) - room, float(high) + room)
    label_height(ax)
    _style.legend_below(ax, 2)
    _style.heading(
        ax,
        "Figures that give the same readings",
        "the wider the edge, the thicker its line; a line that leaves the picture goes on",
        *(["shaded: behind no opening"] if result.seen_to_mm < rim else []),
    )
    return ax


def layer_fit(result: LayerFitLike, ax: Axes | None = None) -> Axes:
    """Draw heights, the layer fitted to them with its background, and what is left.

    Units: mm of radius, nm of glass.
    """
    ax = _style.axes_for(ax, 6.8, 4.0)
    radius, given = np.asarray(result.radius_mm), np.asarray(result.height_nm)
    fitted = np.asarray(result.fitted_nm)
    ax.axhline(0.0, color=_style.INK, linewidth=0.8)
    size = 4.0 if len(radius) <= 80 else 1.8
    ax.plot(radius, given, "o", color=_style.SKY, markersize=size, label="heights given")
    ax.plot(radius, fitted, "-", color=_style.BLUE, linewidth=1.8, label="fitted")
    left = given - fitted
    ax.plot(radius, left, "--", color=_style.VERMILLION, linewidth=1.3, label="what is left")
    label_height(ax)
    _style.legend_below(ax, 3)
    sizes = zip(result.names, result.values, result.sigmas, strict=True)
    words = [
        _with_error(*size) for size in sizes if not size[0].startswith(("level", "focus", "con"))
    ]
    _style.heading(
        ax,
        "A layer fitted to the glass",
        ", ".join(words),
        f"RMS left {result.residual_rms_nm:.3g} nm; without the layer "
        f"{result.background_rms_nm:.3g} nm",
    )
    return ax


def _cycled() -> tuple[_style.Series, ...]:
    """Return enough ways of drawing for more shapes than there are series."""
    return _style.SERIES * 4


def _name(fit: EdgeCurveLike) -> str:
    return fit.shape


def _sizes(fit: EdgeCurveLike, rows: Floats) -> str:
    return ", ".join(f"{fit.width_mm[row]:.3g}" for row in rows)


def _edge(fit: EdgeCurveLike, row: int, back: Floats) -> Floats:
    """Return the height of one edge at distances from the rim, nm: the formulas of the layers."""
    width, drop = float(fit.width_mm[row]), float(fit.drop_nm[row])
    if fit.shape == "roll-off":
        return -drop * np.exp(-back / width)
    if fit.shape == "step":
        return np.where(back < width, -drop, 0.0)
    power = float(fit.shape.removeprefix("power "))
    return -drop * np.clip(1.0 - back / width, 0.0, None) ** power


def _with_error(name: str, value: float, sigma: float | None) -> str:
    words, unit = name.rsplit("_", 1)
    shown = f"{words.replace('_', ' ')} {value:.4g}"
    return f"{shown} {unit}" if sigma is None else f"{shown} ± {sigma:.2g} {unit}"
