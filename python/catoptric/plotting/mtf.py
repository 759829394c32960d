"""The picture of contrast against the fineness of detail."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import _style
from ._results.mtf import MtfLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Contrast below which a curve through the air is not shown.
FAINTEST = 0.004


def contrast(result: MtfLike, ax: Axes | None = None) -> Axes:
    """Draw the contrast along and across beside that of perfect apertures, clear and obstructed.

    Through the air the perfect apertures stand in the same air.

    Units: cycles for each arcsec on the sky, with the full period (one bright and one dark bar) in
    arcsec below; cycles for each mm where the focal length is not known.
    """
    ax = _style.axes_for(ax, 6.8, 4.8)
    on_sky = result.frequency_per_arcsec is not None
    frequency = np.asarray(result.frequency_per_arcsec if on_sky else result.frequency_per_mm)
    order = np.argsort(frequency)
    frequency = frequency[order]
    curves = (
        ("perfect, clear", result.perfect_clear, "-", _style.QUIET, 1.0),
        ("perfect, same obstruction", result.perfect_obstructed, ":", _style.QUIET, 1.4),
        ("along", result.contrast_along, "-", _style.BLUE, 2.0),
        ("across", result.contrast_across, "--", _style.VERMILLION, 1.6),
        ("mean of all directions", result.contrast_mean, "-.", _style.INK, 1.0),
    )
    for name, values, line, colour, width in curves:
        if name.endswith("obstruction") and result.obstruction_ratio == 0.0:
            continue
        ax.plot(
            frequency, np.asarray(values)[order], line, color=colour, linewidth=width, label=name
        )
    lost = np.asarray(result.perfect_obstructed)[order]
    mean = np.asarray(result.contrast_mean)[order]
    ax.fill_between(
        frequency, mean, np.maximum(lost, mean), color=_style.SKY, alpha=0.25, linewidth=0
    )
    highest = float(frequency.max()) or 1.0
    clear = np.asarray(result.perfect_clear)[order]
    if result.seeing is not None and np.any(clear > FAINTEST):
        # Air leaves nothing of the finest details: they need no room.
        last = min(int(np.flatnonzero(clear > FAINTEST)[-1]) + 1, len(frequency) - 1)
        highest = float(frequency[last]) or highest
    ax.set_xlim(0.0, highest)
    ax.set_ylim(0.0, 1.02)
    ax.set_ylabel("contrast, 1 is that of the pattern itself")
    _style.open_frame(ax)
    if on_sky:
        ax.set_xlabel("frequency (cycles for each arcsec)")
        _periods_below(ax, highest)
    else:
        ax.set_xlabel("frequency (cycles for each mm)")
    _style.legend(ax, "upper right")
    light = np.asarray(result.wavelength_nm)
    colour = f"{light[0]:.0f} nm" if len(light) == 1 else f"{light[0]:.0f} to {light[-1]:.0f} nm"
    ratio = result.obstruction_ratio
    obstruction = f"obstruction {ratio:.2f} by diameter" if ratio > 0.0 else "no obstruction"
    night = result.seeing
    air = "" if night is None else f"; all in a seeing of {night.fwhm_arcsec:.2g} arcsec"
    _style.heading(
        ax,
        "Contrast of fine detail",
        f"{colour}; {obstruction}{air}",
        "shaded: what errors of the wave and thin parts in the light take of the mean",
    )
    return ax


def _periods_below(ax: Axes, highest: float) -> None:
    """Write the periods on the sky under the frequencies: so fine are the bars."""
    if highest <= 0.0:
        return
    # Periods of one or two figures, from a tenth of the highest frequency on.
    round_ones = [m * 10.0**e for e in range(-3, 4) for m in (1.0, 1.5, 2.0, 3.0, 5.0)]
    shown = [p for p in round_ones if 0.1 * highest <= 1.0 / p <= highest]
    below = ax.secondary_xaxis(-0.2)
    below.set_xticks([1.0 / p for p in shown], [f"{p:g}" for p in shown])
    below.set_xlabel("the same as a period: one bright and one dark bar together (arcsec)")
