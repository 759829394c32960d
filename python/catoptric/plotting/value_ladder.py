"""The picture of a value ladder: what each work gains, the cheapest rung first."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from . import _style
from ._results.value_ladder import ValueLadderLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_ROWS = 24
"""Rows that are drawn; the order of the ladder puts the best first."""
NAME_WIDTH = 42
"""Letters of a name in one line."""


def value_ladder(result: ValueLadderLike, ax: Axes | None = None) -> Axes:
    """Draw the weighted steps that each row gains, with its price, the cheapest at the top.

    A filled circle has a proven gain and is not dominated. A hollow one is dominated: something
    else gives no less for no more money. A cross has no proven gain. A diamond is an upper bound:
    a figure without any error. Bars hold 95 % of the draws.

    Units: steps (0.05 of contrast or 0.1 of Strehl, 0.1 magnitudes of light, a tenth of the
    field's diameter, each times its weight); prices in the user's own currency.
    """
    rows = sorted(list(result.rows)[:MOST_ROWS], key=lambda row: row.price)
    ax = _style.axes_for(ax, 8.0, 1.9 + 0.42 * len(rows))
    for place, row in enumerate(rows):
        series, marker, face = _style.SERIES[1], "o", _style.SERIES[1].colour
        if row.upper_bound:
            series, marker, face = _style.SERIES[3], "D", "white"
        elif row.no_proven_gain:
            series, marker, face = _style.SERIES[0], "x", _style.SERIES[0].colour
        elif row.dominated_by:
            face = "white"
        ax.plot(
            row.score_interval,
            [place, place],
            color=series.colour,
            linewidth=2.4,
            alpha=0.55,
            solid_capstyle="butt",
            zorder=2,
        )
        ax.plot(
            row.score,
            place,
            linestyle="none",
            marker=marker,
            markersize=8,
            markeredgewidth=1.7,
            color=series.colour,
            markerfacecolor=face,
            zorder=3,
        )
    ax.axvline(0.0, color=_style.QUIET, linewidth=1.0, zorder=1)
    prices = [f"{row.price:g}" if row.price > 0.0 else "free" for row in rows]
    names = ["\n".join(textwrap.wrap(row.name, NAME_WIDTH)) for row in rows]
    labels = [f"{name} ({price})" for name, price in zip(names, prices, strict=True)]
    ax.set_yticks(range(len(rows)), labels, fontsize=9)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.margins(x=0.06)
    word = f" in {result.currency}" if result.currency else ""
    ax.set_xlabel("weighted steps gained")
    ax.set_ylabel(f"work and its price{word}")
    _style.open_frame(ax)
    notes = [
        "a step: 0.05 of contrast or 0.1 of Strehl, 0.1 mag of light,",
        "a tenth of the field; mark: middle of the draws, bar: 95 %",
        "filled: proven gain; hollow: dominated; cross: none proven;",
        "diamond: an upper bound",
    ]
    if len(result.rows) > len(rows):
        notes.append(f"{len(rows)} of {len(result.rows)} rows are drawn")
    _style.heading(ax, "What each work buys, the cheapest first", *notes)
    return ax
