"""Pictures of noisy repeats: how far reading noise alone carries a Strehl ratio."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import _style
from ._results.bench import NoiseStudyLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TAIL = 0.025
"""What 95 % of the repeats leave out on either side."""

MOST_BARS = 80
"""Bars of the picture, at most."""


def noise_study(result: NoiseStudyLike, ax: Axes | None = None) -> Axes:
    """Draw how the Strehl ratios of noisy repeats are spread, with the middle and 95 % of them.

    Units: Strehl ratio at the focus of least RMS; share of the repeats in a bar, per cent.
    """
    ax = _style.axes_for(ax, 7.2, 4.2)
    strehl = np.asarray(result.strehl_least_rms)
    low, median, high = result.strehl_quantiles([TAIL, 0.5, 1.0 - TAIL])
    bars = int(np.clip(np.sqrt(len(strehl)), 8, MOST_BARS))
    counts, edges = np.histogram(strehl, bins=bars)
    share = 100.0 * counts / len(strehl)
    middle = (edges[:-1] + edges[1:]) / 2.0
    inside = (middle >= low) & (middle <= high)
    for chosen, shade, label in (
        (inside, _style.BLUE, f"95 % of the repeats: {low:.3f} to {high:.3f}"),
        (~inside, "0.75", "the rest"),
    ):
        ax.bar(middle[chosen], share[chosen], np.diff(edges)[chosen], color=shade, label=label)
    ax.axvline(median, color=_style.INK, linewidth=1.2, label=f"half lie below {median:.3f}")
    ax.set_xlabel("Strehl ratio at the focus of least RMS")
    ax.set_ylabel("repeats in a bar (%)")
    _style.open_frame(ax)
    _style.legend_below(ax, columns=3)
    noise = np.asarray(result.reading_sigma_mm)
    between = (
        f"{noise.min():.3g}" if np.ptp(noise) == 0 else f"{noise.min():.2g} to {noise.max():.2g}"
    )
    _style.heading(
        ax,
        "The same mirror read again and again",
        f"{len(strehl)} repeats; noise of one reading {between} mm; reading noise alone",
    )
    return ax
