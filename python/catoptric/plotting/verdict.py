"""Pictures of a judgement: how good the mirror was, how good it is, how sure that is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from .._display import with_uncertainty
from .._typing import Floats, Interval
from . import _style
from ._results.bench import EstimateLike
from ._results.verdict import VerdictLike
from .bench import BANDS, CUT, draw_estimate, leaves_picture
from .mirror import label_height

if TYPE_CHECKING:
    from matplotlib.axes import Axes

DOTS = 50
"""Dots of one row; each stands for the same small chance."""

COLUMNS = 60.0
"""Columns of dots from one end of the drawn scale to the other."""

TALLEST_STOREY = 0.068
"""Distance of two dots above each other, where the step from row to row is 1."""


def verdict(result: VerdictLike, ax: Axes | None = None) -> Axes:
    """Draw the Strehl ratio before and after, with what the readings leave open.

    Each mirror is a heap of 50 dots, one for each fiftieth of the chances: where the heaps
    overlap, what was measured cannot tell the two apart. A verdict without draws gets bars alone.
    The thin bar is the total interval, the thick one upon it that of the reading noise alone,
    where that is known.
    On a new figure the two profiles are drawn beside it, when the verdict has them.

    Units: none.
    Source: quantile dot plots, Kay, Kola, Hullman & Munson, CHI 2016.
    """
    if ax is None:
        ax = _with_profiles(result)
    rows = (("before", 1.0, _style.SERIES[0]), ("after", 0.0, _style.SERIES[1]))
    totals = [getattr(result, f"strehl_{name}_total_interval") for name, *_ in rows]
    low = min(total[0] for total in totals)
    start = max(0.0, low - 0.35 * (1.0 - low) - 0.01)
    diameter = (1.0 - start) / COLUMNS
    heaps = {
        name: _heap(getattr(result, f"strehl_{name}_total_draws", None), diameter)
        for name, *_ in rows
    }
    dots = any(len(places) for places, _ in heaps.values())
    for (name, level, series), total in zip(rows, totals, strict=True):
        places, storeys = heaps[name]
        # A tall heap is pressed together, and its dots are made smaller so that they stay apart.
        storey = min(TALLEST_STOREY, 0.72 / (storeys.max(initial=0.0) + 1.0))
        ax.scatter(
            places,
            level + 0.12 + storey * storeys,
            s=max(9.0, 26.0 * (storey / TALLEST_STOREY) ** 2),
            marker=series.marker,
            facecolor=series.colour,
            edgecolor="white",
            linewidth=0.5,
        )
        noise = getattr(result, f"strehl_{name}_interval", None)
        value = getattr(result, f"strehl_{name}")
        _bar(ax, level, series, value, total, noise, middle=(start + 1.0) / 2.0)
    ax.set_xlim(start, 1.0 + diameter)
    ax.set_ylim(-0.35, 1.95)
    ax.set_yticks([1.0, 0.0], ["before", "after"], fontsize=10, fontweight="bold")
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("Strehl ratio at the focus of the brightest peak")
    _style.open_frame(ax)
    ax.spines["left"].set_visible(False)
    ax.grid(False, axis="y")
    notes = [f"chance that after is better: {result.chance_better}"]
    notes.append("bars of 95 %; thick: reading noise, thin: also what cannot be seen")
    stroke = "upright stroke: the plain reduction" if _estimates(result) else ""
    chances = "a dot: one chance in 50" if dots else ""
    notes += ["; ".join(filter(None, (stroke, chances)))] if stroke or chances else []
    _style.heading(ax, f"Verdict: {result.verdict}", *notes)
    return ax


def profiles(result: Any, ax: Axes | None = None) -> Axes:
    """Draw the two figures that a verdict compares, on one pair of axes.

    Units: mm of radius, nm of glass.
    Errors: `InputError` for a verdict that does not hold its two estimates.
    """
    estimates = _estimates(result)
    if estimates is None:
        from ..errors import InputError

        raise InputError.about("result", type(result).__name__, "a verdict with before and after")
    ax = _style.axes_for(ax, 7.0, 4.0)
    for name, estimate, series in zip(("before", "after"), estimates, _style.SERIES, strict=False):
        draw_estimate(ax, estimate, name, series)
    label_height(ax)
    _style.legend(ax, "lower left")
    notes = ["above zero: glass too high", BANDS, *([CUT] if leaves_picture(ax) else [])]
    _style.heading(ax, "The glass, before and after", *notes)
    return ax


def _with_profiles(result: VerdictLike) -> Axes:
    """Return the axes for the Strehl ratios, beside the profiles on a new figure if there are."""
    if _estimates(result) is None:
        return _style.axes_for(None, 7.0, 3.6)
    right = _style.axes_for(None, 11.5, 4.0)
    grid = right.figure.add_gridspec(1, 2, width_ratios=(1.1, 1.0))
    right.set_subplotspec(grid[0, 1])
    profiles(result, right.figure.add_subplot(grid[0, 0]))
    return right


def _estimates(result: Any) -> tuple[EstimateLike, EstimateLike] | None:
    both = getattr(result, "before", None), getattr(result, "after", None)
    if any(getattr(one, "covariance_nm2", None) is None for one in both):
        return None
    return both  # type: ignore[return-value]


def _heap(draws: Any, diameter: float) -> tuple[Floats, Floats]:
    """Return place and storey of one dot for each fiftieth of the draws, piled in columns."""
    if draws is None or len(draws) < DOTS:
        return np.empty(0), np.empty(0)
    middles = np.quantile(np.asarray(draws), (np.arange(DOTS) + 0.5) / DOTS)
    column = np.floor((1.0 - middles) / diameter)  # from 1 downward: no dot stands beyond it
    below = [np.count_nonzero(column[:dot] == column[dot]) for dot in range(DOTS)]
    return 1.0 - (column + 0.5) * diameter, np.array(below, dtype=float)


def _bar(
    ax: Axes,
    level: float,
    series: _style.Series,
    value: float,
    total: Interval,
    noise: Interval | None,
    *,
    middle: float,
) -> None:
    """Draw the intervals with the value in figures, written toward the middle of the picture."""
    ax.plot(total, [level, level], color=series.colour, linewidth=1.6, solid_capstyle="butt")
    if noise is not None:
        ax.plot(noise, [level, level], color=series.colour, linewidth=5.0, solid_capstyle="butt")
    ax.plot([value], [level], "|", color=_style.INK, markersize=13, markeredgewidth=1.8)
    leftward = value > middle
    ax.annotate(
        with_uncertainty(value, *total, most_decimals=3),
        xy=(total[1] if leftward else total[0], level),
        xytext=(0, -18),
        textcoords="offset points",
        ha="right" if leftward else "left",
        fontsize=9,
    )
