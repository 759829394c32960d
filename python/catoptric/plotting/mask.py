"""The picture of a sweep of masks: what each inner diameter gives, and what it costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .._typing import Floats
from . import _style
from ._results.mask import MaskSweepLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_MARKS = 16
"""With more diameters than this, marks stand on some of them only."""


def mask_sweep(result: MaskSweepLike, ax: Axes | None = None) -> Axes:
    """Draw Strehl, light, their product and contrast against the mask's inner diameter.

    The band about the Strehl holds 95 % of the figures that the readings allow; a train has none.
    Of several details the one whose contrast changes most is drawn. Shaded is the plateau: the
    diameters that hold for 95 % of the figures. The upright line is the one to take.

    Units: mm; shares of 1.
    """
    ax = _style.axes_for(ax, 7.4, 5.2)
    order = np.argsort(result.diameter_mm)
    diameter = np.asarray(result.diameter_mm)[order]
    clear = result.clear_aperture_mm
    open_end = not np.isclose(diameter[-1], clear, rtol=1e-9)
    x = np.append(diameter, clear) if open_end else diameter
    every = max(1, len(x) // MOST_MARKS)
    drawn: list[Floats] = []

    def line(values: Floats, open_value: float, series: _style.Series, name: str) -> None:
        y = np.asarray(values)[order]
        y = np.append(y, open_value) if open_end else y
        drawn.append(y)
        ax.plot(
            x,
            y,
            series.line,
            color=series.colour,
            marker=series.marker,
            markevery=every,
            markersize=4.5,
            linewidth=1.6,
            label=name,
            zorder=3,
        )

    product, strehl, contrast, light = (_style.SERIES[k] for k in (2, 1, 0, 3))
    row = result.unmasked
    _plateau(ax, result.plateau_mm, x)
    if result.draws:
        low, high = (np.asarray(v)[order] for v in (result.strehl_low, result.strehl_high))
        if open_end:
            ends = row.strehl_interval or (row.strehl, row.strehl)
            low, high = np.append(low, ends[0]), np.append(high, ends[1])
        drawn.append(low)
        ax.fill_between(x, low, high, color=strehl.colour, alpha=0.22, linewidth=0.0, zorder=1)
    line(result.light, 1.0, light, "light")
    line(result.strehl, row.strehl, strehl, "Strehl")
    line(result.core_light, row.core_light, product, "Strehl times light")
    detail = _most_changed(result.contrast_gain)
    if detail is not None:
        name = f"contrast at {result.detail_arcsec[detail]:g} arcsec"
        values = np.asarray(result.contrast)[:, detail]
        line(values, row.contrast[detail], contrast, name)
    _recommended(ax, result.recommended_mm)
    ax.set_xlim(x[0], x[-1] if len(x) > 1 else x[0] + 1.0)
    ax.set_ylim(max(0.0, np.floor(10.0 * _lowest(drawn)) / 10.0), 1.02)
    ax.set_xlabel(f"inner diameter of the mask (mm); {clear:g} mm: none")
    ax.set_ylabel("share of 1")
    _style.open_frame(ax)
    _style.legend_below(ax, 2)
    notes = [result.answer]
    notes.append("band: 95 % of the figures; " if result.draws else "")
    notes[-1] += "shaded: diameters that hold" if result.plateau_mm else "no diameter holds"
    _style.heading(ax, "What a mask over the edge gives and costs", *notes)
    return ax


def _plateau(ax: Axes, plateau_mm: tuple[float, float] | None, x: Floats) -> None:
    """Shade the plateau; a single diameter gets half of the way to its neighbours."""
    if plateau_mm is None:
        return
    low, high = plateau_mm
    if low == high and len(x) > 1:
        half = 0.5 * float(np.min(np.diff(x)))
        low, high = low - half, high + half
    ax.axvspan(low, high, facecolor="0.90", edgecolor="0.72", hatch="///", linewidth=0.0, zorder=0)


def _recommended(ax: Axes, diameter_mm: float | None) -> None:
    if diameter_mm is None:
        return
    ax.axvline(diameter_mm, color=_style.INK, linewidth=1.2, zorder=2)
    ax.annotate(
        f"{diameter_mm:g} mm",
        xy=(diameter_mm, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(4, -4),
        textcoords="offset points",
        va="top",
        fontsize=9.5,
        fontweight="bold",
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.5},
        zorder=5,
    )


def _most_changed(gain: Floats) -> int | None:
    """Return the column whose contrast changes most."""
    gain = np.asarray(gain)
    return int(np.argmax(np.max(np.abs(gain), axis=0))) if gain.size else None


def _lowest(drawn: list[Floats]) -> float:
    """Return the least value drawn, of lines and bands."""
    return float(min(np.min(values) for values in drawn))
