"""Pictures of the mirror: the wavefront over its face, and the height of its glass."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .._typing import Floats
from . import _between, _style
from ._results.mirror import ProfileLike, WavefrontLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SHARE_ON_SCALE = 0.97
"""Share of the mirror's face that the colours of a wavefront tell apart."""

MOST_DOTS = 60
"""Points of a profile that still get a dot each."""


def wavefront_map(result: WavefrontLike, ax: Axes | None = None) -> Axes:
    """Draw a wavefront over the face of the mirror.

    Bright is ahead (a hill of the glass), dark is behind; lines of equal height are full where
    the wave is ahead and broken where it is behind. Parts without light stay blank.

    Units: mm across the mirror, nm of wavefront.
    """
    ax = _style.axes_for(ax, 6.2, 5.2)
    edge = half_pixel_edges(result.map_axis_mm)
    heights = np.abs(result.map_nm[np.isfinite(result.map_nm)])
    # A narrow turned edge would use up the whole scale; it is shown at the scale's end instead.
    top = float(np.quantile(heights, SHARE_ON_SCALE)) if heights.size else 0.0
    step = _round_step(top / 4.5)
    top = step * max(1.0, np.ceil(top / step))
    shown = ax.imshow(
        result.map_nm,
        origin="lower",
        extent=(edge[0], edge[1], edge[0], edge[1]),
        cmap=_style.SIGNED_MAP,
        vmin=-top,
        vmax=top,
        interpolation="nearest",
    )
    if heights.max(initial=0.0) > step:
        _contours(ax, result, np.arange(step, top + step / 2.0, step))
    beyond = bool(heights.max(initial=0.0) > top)
    _style.scale_beside(
        ax, shown, "wavefront (nm); positive: ahead, as over a hill", open_ended=beyond
    )
    for side in ax.spines.values():
        side.set_visible(False)
    ax.set_xlabel("x on the mirror (mm)")
    ax.set_ylabel("y on the mirror (mm)")
    ax.set_aspect("equal")
    _style.heading(
        ax,
        f"Wavefront: RMS {result.rms_nm:.3g} nm, PV {result.pv_nm:.3g} nm",
        _style.SEEN_FROM_SKY,
        f"Strehl {result.strehl:.3f} at {result.wavelength_nm:g} nm; a line every {step:g} nm",
    )
    return ax


def _contours(ax: Axes, result: WavefrontLike, levels: Floats) -> None:
    """Draw lines of equal height, full above zero and broken below."""
    for signed, colour, line in ((levels, "black", "solid"), (-levels[::-1], "white", "dashed")):
        ax.contour(
            result.map_axis_mm,
            result.map_axis_mm,
            result.map_nm,
            levels=signed,
            colors=colour,
            linestyles=line,
            linewidths=0.6,
        )


def figure_profile(result: ProfileLike, ax: Axes | None = None, *, label: str = "") -> Axes:
    """Draw the height of the glass from the centre of the mirror to its rim.

    The glass is the shaded side: what stands above the zero line is too high. Dots are the given
    points, the line is what lies between them: the profile's own spline, or straight in r^2.

    Units: mm of radius, nm of glass (the wavefront is twice as large).
    """
    ax = _style.axes_for(ax, 6.8, 3.6)
    knots, given = np.asarray(result.radius_mm), np.asarray(result.height_nm)
    radius = _between.fine_radius_mm(knots)
    if getattr(result, "joined", "spline") == "spline":
        height = _between.spline(knots, given, radius)
    else:
        height = _between.straight_in_area(knots, radius) @ given
    series = _style.SERIES[1]
    room = max(float(np.ptp(np.append(height, 0.0))), 1.0)
    floor = min(float(height.min()), 0.0) - 0.25 * room
    ax.fill_between(radius, height, floor, color=_style.GLASS, linewidth=0)
    ax.axhline(0.0, color=_style.INK, linewidth=0.8)
    ax.plot(radius, height, series.line, color=series.colour, linewidth=1.8, label=label or None)
    if len(knots) <= MOST_DOTS:
        ax.plot(knots, given, series.marker, color=series.colour, markersize=4.5)
    ax.set_ylim(floor, max(float(height.max()), 0.0) + 0.15 * room)
    ax.set_xlim(0.0, float(radius.max()) * 1.02)
    label_height(ax)
    _style.heading(ax, "Figure of the glass", "the shaded side is glass; zero is the wanted curve")
    if label:
        _style.legend(ax, "lower left")
    return ax


def label_height(ax: Axes) -> None:
    """Name the two axes of a profile and open its frame."""
    ax.set_xlabel("radius on the mirror (mm)")
    ax.set_ylabel("height of the glass (nm)")
    _style.open_frame(ax)


def half_pixel_edges(axis: Floats) -> tuple[float, float]:
    """Return the outer borders of the first and the last pixel, whose middles the axis gives.

    Units: those of the axis.
    """
    half = (axis[1] - axis[0]) / 2.0
    return float(axis[0] - half), float(axis[-1] + half)


def _round_step(about: float) -> float:
    """Return 1, 2 or 5 times a power of ten, not below `about`."""
    if about <= 0.0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(about))
    return float(
        next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= about)
    )
