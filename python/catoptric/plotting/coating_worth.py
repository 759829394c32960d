"""Pictures of a measured coating: the spots against the outline, and what a recoat returns."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import _style
from ._results.coating import CoatingEstimateLike, RecoatLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMED_FROM = 2.0
"""Spots further from the fit than so many standard deviations are named."""
TWO_SIDED = 1.96
PER_CENT = 100.0


def coating_spots(result: CoatingEstimateLike, ax: Axes | None = None) -> Axes:
    """Draw each spot with its error bar against its distance from the centre, and the outline.

    The line is what rings and base make of a radius. Hollow marks are what the whole outline,
    patches included, makes of each spot; a thin line joins the two. Spots that stand out are named
    by their number.

    Units: mm from the mirror's centre; shares of the light.
    """
    ax = _style.axes_for(ax, 7.0, 4.6)
    spots = result.spots
    known = spots.reference_reflectance
    radius = np.hypot(np.asarray(spots.x_mm), np.asarray(spots.y_mm))
    measured, expected = known * result.measured_ratio, known * result.expected_ratio
    bar = TWO_SIDED * known * result.mean_ratio_sigma
    rim = spots.clear_aperture_mm / 2.0
    line = np.linspace(0.0, rim, 600)
    level = np.full_like(line, result.reflectance[0])
    for ring, ring_level in zip(result.outline.rings, result.reflectance[1:], strict=False):
        share = np.array([ring.share(radius_mm=r) for r in line])
        level = level + share * (ring_level - level)
    ax.plot(line, level, color=_style.BLUE, linewidth=1.4, label="base and rings of the fit")
    for at, low, high in zip(radius, measured, expected, strict=True):
        ax.plot([at, at], [low, high], color=_style.QUIET, linewidth=0.7, zorder=2)
    ax.plot(
        radius,
        expected,
        linestyle="none",
        marker="D",
        markersize=6.5,
        markerfacecolor="white",
        markeredgecolor=_style.BLUE,
        label="the outline at each spot",
        zorder=3,
    )
    ax.errorbar(
        radius,
        measured,
        yerr=bar,
        linestyle="none",
        marker="o",
        markersize=4,
        color=_style.VERMILLION,
        capsize=3,
        linewidth=1.1,
        label="lamp readings, 95 % of their noise",
        zorder=4,
    )
    for number, sigmas in enumerate(result.residual_sigmas):
        if sigmas is not None and abs(sigmas) > NAMED_FROM:
            ax.annotate(
                f"spot {number}",
                (radius[number], measured[number]),
                xytext=(7, 7 if sigmas > 0 else -13),
                textcoords="offset points",
                fontsize=8.5,
            )
    ax.set_xlim(0.0, rim * 1.02)
    ax.margins(y=0.12)
    ax.set_xlabel("distance from the mirror's centre (mm)")
    ax.set_ylabel("reflectance (share of the light)")
    _style.open_frame(ax)
    _style.legend_below(ax, 3)
    notes = [
        f"{name} {value:.3f} ({low:.3f} to {high:.3f})"
        for name, value, low, high in zip(
            result.names,
            result.reflectance,
            result.reflectance_low,
            result.reflectance_high,
            strict=True,
        )
    ]
    lines = [", ".join(notes[start : start + 2]) for start in range(0, min(len(notes), 6), 2)]
    if result.p_value is not None:
        lines.append(f"so bad a fit by chance: p = {result.p_value:.2g}")
    _style.heading(ax, "Lamp readings of the coating", *lines)
    return ax


def recoat(result: RecoatLike, ax: Axes | None = None) -> Axes:
    """Draw what each recoat returns as bars, with its interval, its price and the gain per price.

    Each choice of mirrors has its own hatching, so that a print in grey loses nothing; pale bars
    are dominated by another. Beside each bar stand the price and the light per price.

    Units: per cent of the light that passes all parts; magnitudes in the text.
    """
    ax = _style.axes_for(ax, 7.4, 0.9 + 0.62 * max(3, len(result.gain)))
    kinds = {"diagonal": 0, "primary": 1, "both": 2}
    ranges = result.gain_ranges if len(result.gain_ranges) == len(result.gain) else None
    for row, (what, gain) in enumerate(zip(result.what, PER_CENT * result.gain, strict=True)):
        series = _style.SERIES[kinds[what]]
        pale = bool(result.dominated[row])
        ax.barh(
            row,
            gain,
            height=0.62,
            facecolor="white" if pale else series.colour,
            edgecolor=series.colour if pale else _style.INK,
            hatch=series.hatch,
            linewidth=0.9,
            alpha=0.55 if pale else 0.9,
            zorder=2,
        )
        end = gain
        if ranges is not None:
            low, high = (PER_CENT * e for e in ranges[row])
            ax.plot([low, high], [row, row], color=_style.INK, linewidth=2.2, zorder=4)
            for at in (low, high):
                ax.plot([at, at], [row - 0.13, row + 0.13], color=_style.INK, zorder=4)
            end = max(end, high)
        words = f"{result.gain_magnitudes[row]:.2f} mag"
        if len(result.price):
            price = float(result.price[row])
            words += f", price {price:g}"
            if price > 0:
                words += f": {gain / price:.2g} % a unit"
        ax.annotate(
            words,
            (max(end, 0.0), row),
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
            fontsize=8.5,
        )
    labels = [f"{what}, {coat}" for what, coat in zip(result.what, result.coat, strict=True)]
    ax.set_yticks(range(len(labels)), labels)
    ax.invert_yaxis()
    low, high = ax.get_xlim()
    ax.set_xlim(min(0.0, low), max(high, 1e-3) * 1.75)
    ax.axvline(0.0, color=_style.INK, linewidth=0.8)
    ax.set_xlabel("light gained (% of what passes all parts)")
    _style.open_frame(ax)
    ax.grid(False, axis="y")
    effect = result.effect
    notes = [
        f"now both mirrors return {PER_CENT * effect.throughput:.1f} %; "
        f"{PER_CENT * effect.light_loss:.1f} % of the light is lost "
        f'against a fresh "{effect.fresh.name}"'
    ]
    if any(result.dominated):
        notes.append("pale: another returns as much for less")
    _style.heading(ax, "What a recoat returns", *notes)
    return ax
