"""The picture of a choice of diagonal: obstruction against the light at the edge of the field."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .._typing import Floats
from . import _style
from ._results.diagonals import DiagonalsLike

if TYPE_CHECKING:
    import numpy.typing as npt
    from matplotlib.axes import Axes

MOST_LABELS = 24
"""Candidates that still get their size written beside them."""


def diagonals(result: DiagonalsLike, ax: Axes | None = None) -> Axes:
    """Draw each candidate by its obstruction and the light that it sends to the field's edge.

    Filled marks are worth a look; hollow ones are dominated: another of the same setting is better
    by one of the criteria and worse by none. A cross lies over a candidate that cuts the light of
    the axis. Sizes stand beside the marks, with prices where these are known. Each setting (train,
    height of the focal plane, drawtube) has its own line; more than four are not drawn.

    Units: obstruction by diameter in per cent; light at the edge in per cent of what falls on the
    mirror.
    """
    ax = _style.axes_for(ax, 7.2, 4.8)
    obstruction = 100.0 * np.asarray(result.obstruction_ratio)
    light = 100.0 * np.asarray(result.edge_light)
    size, price = np.asarray(result.minor_axis_mm), np.asarray(result.price)
    settings = np.column_stack((result.train, result.drawtube, result.axis_to_focus_mm))
    _, first, which = np.unique(settings, axis=0, return_index=True, return_inverse=True)
    which = which.reshape(-1)
    order = np.argsort(first)[: len(_style.SERIES)]
    several = len(first) > 1
    for place, setting in enumerate(order):
        series = _style.SERIES[place if several else 1]
        mine = np.flatnonzero(which == setting)
        mine = mine[np.argsort(size[mine])]
        name = f"focal plane {result.axis_to_focus_mm[mine[0]]:g} mm from the axis"
        if len(np.unique(result.train)) > 1:
            name = f"train {result.train[mine[0]]}, {name}"
        if len(np.unique(result.drawtube)) > 1:
            name = f"{name}, {_drawtube(result, result.drawtube[mine[0]])}"
        ax.plot(
            obstruction[mine],
            light[mine],
            series.line,
            color=series.colour,
            linewidth=1.1,
            zorder=2,
        )
        if several:
            ax.plot(
                [],
                [],
                series.line,
                color=series.colour,
                marker=series.marker,
                markersize=4,
                label=name,
            )
        for hollow in (True, False):
            shown = mine[np.asarray(result.dominated)[mine] == hollow]
            ax.plot(
                obstruction[shown],
                light[shown],
                linestyle="none",
                marker=series.marker,
                markersize=8,
                color=series.colour,
                markerfacecolor="white" if hollow else series.colour,
                zorder=3,
            )
        cut = mine[np.asarray(result.clipped_axis)[mine]]
        ax.plot(
            obstruction[cut],
            light[cut],
            linestyle="none",
            marker="x",
            markersize=13,
            markeredgewidth=1.6,
            color=_style.INK,
            zorder=4,
        )
    _label_sizes(ax, obstruction, light, size, price, np.asarray(result.clipped_axis))
    ax.margins(x=0.14, y=0.18)
    ax.set_xlabel("obstruction by diameter (%)")
    ax.set_ylabel(f"light at the edge, {result.edge_radius_mm:g} mm (% of the mirror's)")
    _style.open_frame(ax)
    if several:
        _style.legend_below(ax, 1)
    notes = [
        "hollow: another is no worse, and better by one criterion; darkest azimuth of the edge"
    ]
    more = []
    if np.any(result.clipped_axis):
        more.append("crossed: cuts even the light of the axis")
    if len(price):
        more.append("price in brackets")
    if more:
        notes.append("; ".join(more))
    if len(first) > len(order):
        notes.append(f"{len(order)} of {len(first)} settings are drawn")
    _style.heading(ax, "What each diagonal costs and gives", *notes)
    return ax


def _drawtube(result: DiagonalsLike, place: int) -> str:
    """Name one of several drawtubes by its bore, or by its number where another is as wide."""
    bores = [f"{tube.bore_mm:g} mm" for tube in result.batch.drawtubes]
    alike = bores.count(bores[place]) > 1
    return f"drawtube {place}" if alike else f"drawtube of {bores[place]}"


def _label_sizes(
    ax: Axes,
    obstruction: Floats,
    light: Floats,
    size: Floats,
    price: Floats,
    crossed: npt.NDArray[np.bool_],
) -> None:
    """Write each size once, over its highest mark, on the side where the curve is not."""
    sizes = np.unique(size)
    if len(sizes) > MOST_LABELS:
        return
    tops = [max(np.flatnonzero(size == wanted), key=lambda i: light[i]) for wanted in sizes]
    for place, i in enumerate(tops):
        falls = place > 0 and light[i] < light[tops[place - 1]]
        away = 9 if crossed[i] else 6  # a cross is wider than a mark
        text = f"{size[i]:g} mm"
        if len(price):
            text += f"\n({price[i]:g})"
        ax.annotate(
            text,
            xy=(obstruction[i], light[i]),
            xytext=(away if falls else -away, 4),
            textcoords="offset points",
            ha="left" if falls else "right",
            va="bottom",
            fontsize=8.5,
            linespacing=1.15,
        )
