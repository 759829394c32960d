"""The picture of a value ladder: what each work gains against what it costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import _style
from ._results import ValueLadderLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_ROWS = 24
"""Rows that are drawn and listed; the order puts the best first."""
WIDE_RANGE = 20.0
"""Prices that differ by more than this factor are spread by their logarithm."""


def value_ladder(result: ValueLadderLike, ax: Axes | None = None) -> Axes:
    """Draw the weighted steps that each row gains against its price, numbered in their order.

    A filled mark has a proven gain and is not dominated. A hollow one is dominated: something else
    gives no less for no more money. A cross has no proven gain. A diamond is an upper bound: a
    figure without any error. Bars hold 95 % of the draws.

    Units: steps (0.05 of contrast, 0.1 magnitudes of light, a tenth of the field's diameter, each
    times its weight); prices in the user's own currency.
    """
    from matplotlib.lines import Line2D

    rows = list(result.rows)[:MOST_ROWS]
    ax = _style.axes_for(ax, 8.4, 4.6)
    prices = np.array([row.price for row in rows])
    paid = prices[prices > 0.0]
    if len(paid) and paid.max() > WIDE_RANGE * paid.min():
        ax.set_xscale("symlog", linthresh=float(paid.min()), linscale=0.5)
        ax.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    for place, row in enumerate(rows):
        low, high = row.score_interval
        series = _style.SERIES[1]
        marker, face = "o", series.colour
        if row.no_proven_gain:
            marker, series, face = "x", _style.SERIES[0], _style.SERIES[0].colour
        elif row.upper_bound:
            marker, series, face = "D", _style.SERIES[3], "white"
        elif row.dominated_by:
            face = "white"
        ax.plot(
            [row.price, row.price],
            [low, high],
            color=series.colour,
            linewidth=1.4,
            alpha=0.65,
            zorder=2,
        )
        ax.plot(
            row.price,
            row.score,
            linestyle="none",
            marker=marker,
            markersize=8,
            markeredgewidth=1.6,
            color=series.colour,
            markerfacecolor=face,
            zorder=3,
        )
        ax.annotate(
            str(place + 1),
            xy=(row.price, row.score),
            xytext=(7, 5),
            textcoords="offset points",
            fontsize=9,
            fontweight="bold",
            zorder=4,
        )
    ax.axhline(0.0, color=_style.QUIET, linewidth=0.9, zorder=1)
    ax.margins(x=0.1, y=0.12)
    if len(prices) and prices.max() > 0.0:
        ax.set_xlim(left=-0.3 * float(paid.min()) if prices.min() == 0.0 else None)
    word = f" ({result.currency})" if result.currency else ""
    ax.set_xlabel(f"price{word}")
    ax.set_ylabel("weighted steps gained")
    _style.open_frame(ax)
    if rows:
        handles = [
            Line2D([], [], linestyle="none", marker=f"${k + 1}$", color=_style.INK, label=row.name)
            for k, row in enumerate(rows)
        ]
        ax.legend(
            handles=handles,
            loc="upper left",
            bbox_to_anchor=(1.01, 1.02),
            fontsize=8.5,
            frameon=False,
            markerscale=1.1,
            borderaxespad=0.0,
        )
    notes = [
        "a step: 0.05 of contrast, 0.1 mag of light, a tenth of the field; bars: 95 % of draws",
        "filled: proven gain; hollow: dominated; cross: no proven gain; diamond: upper bound",
    ]
    if len(result.rows) > len(rows):
        notes.append(f"{len(rows)} of {len(result.rows)} rows are drawn")
    _style.heading(ax, "What each work buys", *notes)
    return ax
