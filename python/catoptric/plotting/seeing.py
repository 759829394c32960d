"""Pictures of the air: the contrast it leaves, a star through it, nights that show a change."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import _style
from ._results.seeing import NightsLike, SeeingLike, SeenStarLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def air_contrast(result: SeeingLike, ax: Axes | None = None) -> Axes:
    """Draw the contrast that the air leaves to a pattern of lines, by the length of one cycle.

    Units: arcsec for one cycle of light and dark; 1 is full contrast.
    """
    ax = _style.axes_for(ax, 6.6, 4.2)
    fwhm = result.fwhm_arcsec
    cycle = np.geomspace(0.4 * fwhm, 40.0 * fwhm, 241)
    left = np.asarray(result.transfer(1.0 / cycle, wavelength_nm=result.wavelength_nm))
    series = _style.SERIES[1]
    ax.plot(cycle, left, series.line, color=series.colour, linewidth=1.8)
    ax.axvline(fwhm, color=_style.INK, linestyle=":", linewidth=1.2)
    ax.annotate(
        f"{fwhm:.3g} arcsec,\nfull width of a star at half brightness",
        xy=(fwhm, 0.94),
        xytext=(6, 0),
        textcoords="offset points",
        ha="left",
        va="center",
        fontsize=8.5,
        color=_style.QUIET,
    )
    ax.set_xscale("log")
    _plain_ticks(ax)
    ax.set_xlim(float(cycle[0]) / 3.0, float(cycle[-1]))
    ax.set_ylim(0.0, 1.02)
    ax.set_xlabel("length of one cycle of light and dark (arcsec)")
    ax.set_ylabel("contrast that the air leaves")
    _style.open_frame(ax)
    kind = "long exposure"
    if result.diameter_mm is not None:
        kind = f"short exposures through {result.diameter_mm:.4g} mm"
    _style.heading(
        ax,
        f"What a seeing of {fwhm:.3g} arcsec leaves",
        f"{kind}, at {result.wavelength_nm:g} nm, r0 {result.r0_mm:.0f} mm",
    )
    return ax


def seen_star(result: SeenStarLike, ax: Axes | None = None) -> Axes:
    """Draw the image of one star through telescope and air, white on black.

    White is the brightest point of this picture; how bright that is stands in the heading.

    Units: arcsec on the sky; brightness in peaks of the perfect star without any air.
    """
    ax = _style.axes_for(ax, 6.0, 5.4)
    scale = result.pixel_arcsec / result.pixel_um
    along = np.asarray(result.along_um) * scale
    half_pixel = result.pixel_arcsec / 2.0
    ends = (float(along[0]) - half_pixel, float(along[-1]) + half_pixel)
    shown = ax.imshow(
        np.asarray(result.image).T,
        origin="lower",
        extent=(*ends, *ends),
        cmap="gray",
        vmin=0.0,
        vmax=result.peak,
        interpolation="bilinear",
    )
    centre = (result.peak_across_um * scale, result.peak_along_um * scale)
    turn = np.linspace(0.0, 2.0 * np.pi, 181)
    half = result.fwhm_arcsec / 2.0
    ax.plot(
        centre[0] + half * np.cos(turn),
        centre[1] + half * np.sin(turn),
        ":",
        color=_style.ORANGE,
        linewidth=1.4,
    )
    _style.square_field(ax, ends[1], "arcsec")
    ax.grid(False)
    _style.scale_beside(ax, shown, "brightness, perfect star without air = 1 (even scale)")
    _style.heading(
        ax,
        f"A star in a seeing of {result.seeing.fwhm_arcsec:.3g} arcsec: "
        f"{result.fwhm_arcsec:.2f} arcsec wide",
        _style.SEEN_IN_EYEPIECE,
        f"at {result.wavelength_nm:.4g} nm, peak {result.peak:.3g} (perfect star without air: 1)",
        "dotted: full width at half of the peak",
    )
    return ax


def nights(result: NightsLike, ax: Axes | None = None) -> Axes:
    """Draw the change of contrast and of the star's peak against the seeing, night by night.

    Filled marks are nights on which the change would show. The dashed lines are the two criteria.

    Units: arcsec of seeing; changes in per cent.
    """
    ax = _style.axes_for(ax, 6.6, 4.4)
    fwhm, shows = np.asarray(result.fwhm_arcsec), np.asarray(result.shows, dtype=bool)
    before, after = np.asarray(result.peak_before), np.asarray(result.peak_after)
    contrast = 100.0 * np.asarray(result.contrast_change)
    peak = 100.0 * (after - before) / np.maximum(before, after)
    order = np.argsort(fwhm, kind="stable")
    changes = (
        (contrast, result.least_contrast_change, "contrast, at the detail where it changes most"),
        (peak, result.least_peak_change, "peak of a star, of the brighter one"),
    )
    for (change, least, label), series in zip(
        changes, (_style.SERIES[1], _style.SERIES[0]), strict=True
    ):
        ax.plot(fwhm[order], change[order], series.line, color=series.colour, linewidth=1.2)
        for chosen, face in ((shows, series.colour), (~shows, "white")):
            ax.plot(
                fwhm[chosen],
                change[chosen],
                linestyle="none",
                marker=series.marker,
                markersize=6,
                markeredgecolor=series.colour,
                markerfacecolor=face,
            )
        ax.plot([], [], series.line + series.marker, color=series.colour, label=label)
        falls = change.size > 0 and float(change[np.argmax(np.abs(change))]) < 0.0
        at = -100.0 * least if falls else 100.0 * least
        ax.axhline(at, color=series.colour, linestyle=(0, (6, 3)), linewidth=0.8)
    ax.axhline(0.0, color=_style.INK, linewidth=0.8)
    ax.set_xlim(0.0, 1.06 * float(fwhm.max()))
    ax.set_xlabel("seeing: full width of a star at half brightness (arcsec)")
    ax.set_ylabel("change, after less before (%)")
    _style.open_frame(ax)
    _style.legend_below(ax, columns=1)
    count = int(np.count_nonzero(shows))
    _style.heading(
        ax,
        f"The change would show on {count} of {len(fwhm)} nights",
        "filled: it shows; open: it does not",
        f"dashed: least change that counts, {100 * result.least_contrast_change:g} % of contrast "
        f"or {100 * result.least_peak_change:g} % of the peak",
    )
    return ax


def _plain_ticks(ax: Axes) -> None:
    """Write lengths on a logarithmic axis as plain numbers."""
    from matplotlib.ticker import FuncFormatter, LogLocator

    ax.xaxis.set_major_locator(LogLocator(base=10.0, subs=(1.0, 2.0, 5.0)))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    ax.xaxis.set_minor_formatter(FuncFormatter(lambda value, _: ""))
