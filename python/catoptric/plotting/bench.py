"""Pictures of the bench: what was read at the knife edge, and the figure that follows from it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .._typing import Floats
from . import _between, _style
from ._results.bench import EstimateLike, ReadingsLike
from .mirror import label_height

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TWO_SIDED_95 = 1.959963984540054
"""Standard deviations of a normal error that hold 95 % of it."""

ROOM_AT_A_POINT = 0.045
"""Room for the marks of the runs at a single radius, as a share of the largest radius."""

BANDS = "bands of 95 %; dark: reading noise, light: also what cannot be seen"
"""What the bands of a figure hold; on a result without a mean figure there is the dark one only."""

CUT = "at the rim the light band goes on beyond the picture"
"""Said where the edge is so open that a picture which held it all would show nothing else."""

_MEAN = "mean and its 95 % (reading noise)"
_ZERO = "catoptric-zero"
_UNSEEN = "catoptric-unseen"


def readings(result: ReadingsLike, ax: Axes | None = None) -> Axes:
    """Draw knife-edge readings after taking away what a paraboloid of this radius would give.

    A level row is a paraboloid; a zone that stands high is too flat. A zone read through an
    opening is a bar as wide as the opening, one read at a single radius a point. The free zero of
    each run is removed.

    Units: mm of radius on the mirror, mm of knife travel away from the mirror.
    """
    ax = _style.axes_for(ax, 7.2, 4.2)
    inner, outer = np.asarray(result.inner_radius_mm), np.asarray(result.outer_radius_mm)
    mean, runs = _departures_mm(result)
    error = TWO_SIDED_95 * np.asarray(result.sigma_mm) / np.sqrt(np.isfinite(runs).sum(axis=0))
    ax.axhline(0.0, color=_style.INK, linewidth=0.8)
    wide = outer > inner
    if wide.any():
        _draw_bars(ax, inner[wide], outer[wide], mean[wide], error[wide])
    if not wide.all():
        _draw_points(ax, inner[~wide], mean[~wide], error[~wide])
    # Beside each other, so that equal readings do not hide one another.
    share = (np.arange(len(runs)) + 1.0) / (len(runs) + 1.0)
    room = np.where(wide, outer - inner, ROOM_AT_A_POINT * outer.max())
    markers = "ov^sDP*X"
    for number, run in enumerate(runs):
        ax.plot(
            (inner + outer) / 2.0 + (share[number] - 0.5) * room,
            run,
            markers[number % len(markers)],
            color=_style.INK,
            markersize=3.6,
            markerfacecolor="white",
            markeredgewidth=0.8,
            label="the single runs, in order" if number == 0 else None,
        )
    ax.set_xlim(0.0, 1.03 * float(outer.max()))
    width = "; a bar is as wide as its opening" if wide.any() else ""
    ax.set_xlabel(f"radius on the mirror (mm){width}")
    ax.set_ylabel("reading minus paraboloid (mm)")
    _style.open_frame(ax)
    _style.legend_below(ax, columns=2)
    row = "bars" if wide.all() else "row"
    _style.heading(
        ax,
        "Knife-edge readings, the paraboloid taken away",
        f"{result.source} source, {len(runs)} run{'s' if len(runs) != 1 else ''}; "
        f"level {row}: a paraboloid; high: a zone too flat",
    )
    return ax


def _draw_bars(ax: Axes, inner: Floats, outer: Floats, mean: Floats, error: Floats) -> None:
    """Draw the means of zones that were read through openings, each in its box of 95 %."""
    for zone in range(len(inner)):
        ax.fill_between(
            [inner[zone], outer[zone]],
            mean[zone] - error[zone],
            mean[zone] + error[zone],
            color=_style.SKY,
            alpha=0.45,
            linewidth=0,
            label=_MEAN if zone == 0 else None,
        )
    ax.hlines(mean, inner, outer, color=_style.BLUE, linewidth=2.2)


def _draw_points(ax: Axes, radius: Floats, mean: Floats, error: Floats) -> None:
    """Draw the means of zones that were read at single radii, each with its bar of 95 %."""
    ax.errorbar(
        radius,
        mean,
        yerr=error,
        fmt="D",
        color=_style.BLUE,
        markersize=5.0,
        elinewidth=1.6,
        capsize=4.0,
        label=_MEAN,
    )


def figure_estimate(
    result: EstimateLike, ax: Axes | None = None, *, label: str = "", series: int = 1
) -> Axes:
    """Draw an estimated figure with what the readings leave open.

    Call it again on the same axes, with another `series` (0 to 3) and a `label`, to compare.
    The dark band holds reading noise only; the light one, between thin lines, also what the
    openings could not see. Where the light one leaves the picture at the rim, a note says so.

    Units: mm of radius, nm of glass (the wavefront is twice as large).
    """
    ax = _style.axes_for(ax, 7.2, 4.0)
    draw_estimate(ax, result, label or "estimate", _style.SERIES[series % len(_style.SERIES)])
    label_height(ax)
    notes = ["above zero: glass too high", BANDS]
    if leaves_picture(ax):
        notes.append(CUT)
    if _mark_openings(ax, result):
        notes.append("marks along the bottom: the openings that were read")
    _style.legend_below(ax, columns=4)
    _style.heading(ax, "Figure of the glass from the readings", *notes)
    return ax


def _mark_openings(ax: Axes, result: EstimateLike) -> bool:
    """Mark along the lower axis the openings of the mask, and tell whether they are known."""
    inner = getattr(result, "inner_radius_mm", None)
    outer = getattr(result, "outer_radius_mm", None)
    if inner is None or outer is None:
        return False
    for zone, (start, end) in enumerate(zip(inner, outer, strict=True)):
        ax.axvspan(start, end, 0.0, 0.022, color="0.55" if zone % 2 else "0.25", linewidth=0)
    return True


def draw_estimate(ax: Axes, result: EstimateLike, label: str, series: _style.Series) -> None:
    """Draw the band, the curve and the zero line of one estimate, straight in r^2 between knots."""
    knots = np.asarray(result.radius_mm)
    radius = _between.fine_radius_mm(knots)
    weights = _between.straight_in_area(knots, radius)
    height = weights @ np.asarray(result.height_nm)
    variance = np.einsum("rk,kl,rl->r", weights, np.asarray(result.covariance_nm2), weights)
    half = TWO_SIDED_95 * np.sqrt(np.maximum(variance, 0.0))
    if not any(line.get_gid() == _ZERO for line in ax.lines):
        ax.axhline(0.0, color=_style.INK, linewidth=0.8, gid=_ZERO)
    _draw_unseen(ax, result, series)
    ax.fill_between(
        radius, height - half, height + half, color=series.colour, alpha=0.45, linewidth=0
    )
    ax.plot(radius, height, series.line, color=series.colour, linewidth=1.8, label=label)
    ax.set_xlim(0.0, max(1.02 * float(radius.max()), ax.get_xlim()[1]))


def leaves_picture(ax: Axes) -> bool:
    """Tell whether a light band goes on beyond the limits of the picture."""
    low, high = ax.get_ylim()
    sides = [np.asarray(line.get_ydata()) for line in ax.lines if line.get_gid() == _UNSEEN]
    return any(side.min() < low or side.max() > high for side in sides)


def _draw_unseen(ax: Axes, result: EstimateLike, series: _style.Series) -> None:
    """Draw the band of all figures that the readings allow, if the result knows them.

    Beyond the last rim but one it does not stretch the picture: there it may be a hundred times
    as wide as elsewhere.
    """
    radius = getattr(result, "smooth_radius_mm", None)
    if radius is None:
        return
    radius = np.asarray(radius)
    middle = np.asarray(result.smooth_height_nm)  # type: ignore[attr-defined]
    half = TWO_SIDED_95 * np.asarray(result.smooth_sigma_nm)  # type: ignore[attr-defined]
    before = ax.dataLim.frozen()
    ax.fill_between(
        radius,
        middle - half,
        middle + half,
        facecolor=(series.colour, 0.16),
        edgecolor=(series.colour, 0.35),
        hatch=series.hatch,
        linewidth=0,
    )
    sides = (middle - half, middle + half)
    for side in sides:
        ax.plot(radius, side, series.line, color=series.colour, linewidth=0.8, gid=_UNSEEN)
    ax.dataLim.set(before)
    held = radius <= np.asarray(result.radius_mm)[-2]
    for side in sides:
        ax.update_datalim(np.column_stack([radius[held], side[held]]))


def _departures_mm(result: ReadingsLike) -> tuple[Floats, Floats]:
    """Return the zone means and the runs, away from the mirror, without paraboloid and zeros."""
    sign = -1.0 if result.readings_increase == "toward_mirror" else 1.0
    runs = sign * np.asarray(result.runs_mm)
    mean = sign * np.asarray(result.mean_mm)
    weight = np.asarray(result.sigma_mm) ** -2.0
    ideal = sign * np.asarray(result.paraboloid_mm)
    taken = np.where(np.isfinite(runs), weight, 0.0)
    zeros = np.sum(taken * np.nan_to_num(runs - mean), axis=1) / np.sum(taken, axis=1)
    runs = runs - zeros[:, np.newaxis]
    zero = np.average(mean - ideal, weights=weight)
    return mean - ideal - zero, runs - ideal - zero
