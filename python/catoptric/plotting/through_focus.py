"""Pictures of a star on both sides of focus."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from . import _style
from ._results.through_focus import FaultLike, StripLike
from .star import FAINTEST_SHOWN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from .._typing import ScaleName

GAP = 0.06
"""Room between two pictures of a strip, in widths of a picture."""


def through_focus(
    result: StripLike,
    ax: Axes | None = None,
    *,
    scale: ScaleName = "root",
    own_scale: bool = False,
    white: float | None = None,
) -> Axes:
    """Draw the pictures of a strip side by side, inside of focus on the left.

    All pictures share one grey scale, so that both sides can be compared. Its white is the middle
    one of the brightest points of the pictures out of focus, since the star in focus outshines
    them by far; what is brighter is white, too. With `white` given, two strips can share a scale.
    With `own_scale` each picture has its own white, and the heading says so.

    Units: um in the plane of each picture; waves of defocus at the rim and mm along the light;
    `white` in peaks of the perfect star in focus. Errors: InputError for a white that is not above
    0, and for one beside `own_scale`.
    """
    if white is not None:
        _check_white(white, own_scale)
    images, order = np.asarray(result.images), np.argsort(np.asarray(result.defocus_waves))
    ax = _style.axes_for(ax, min(1.55 * len(order) + 0.9, 15.0), 2.9)
    white = _white(result) if white is None else white
    width = 2.0 * _reach(result)
    for place, k in enumerate(order):
        left = place * (1.0 + GAP) * width
        own = float(images[k].max()) if own_scale else white
        ax.imshow(
            _grey(images[k].T / own, scale),
            origin="lower",
            extent=(left, left + width, -width / 2.0, width / 2.0),
            cmap="gray",
            vmin=0.0,
            vmax=1.0,
            interpolation="bilinear",
        )
        ax.annotate(
            _distance(result, int(k)),
            xy=(left + width / 2.0, -width / 2.0),
            xytext=(0, -3),
            textcoords="offset points",
            ha="center",
            va="top",
            fontsize=8,
            annotation_clip=False,
        )
    count = len(order)
    ax.set_xlim(0.0, (count + (count - 1) * GAP) * width)
    ax.set_ylim(-width / 2.0, width / 2.0)
    ax.set_aspect("equal")
    ax.grid(False)
    ax.set_xticks([])
    for side in ("top", "right", "bottom", "left"):
        ax.spines[side].set_visible(False)
    ax.set_ylabel("along (um)")
    ax.set_xlabel(
        f"across: {width:.3g} um a picture; inside focus on the left, outside on the right",
        labelpad=28,
    )
    words = {"root": "square root of the intensity", "linear": "intensity", "log": "logarithm"}
    if own_scale:
        note = f"grey: {words[scale]}; EACH PICTURE HAS ITS OWN WHITE, its brightest point"
    else:
        note = (
            f"grey: {words[scale]}, one scale for all; white: {white:.2g} and more of the perfect "
            "star's peak in focus"
        )
    _style.heading(ax, f"A star through focus at {result.wavelength_nm:g} nm", note)
    return ax


def through_focus_profiles(result: StripLike, ax: Axes | None = None) -> Axes:
    """Draw the brightness against radius, the mean over azimuth, for both sides of focus.

    Inside focus is drawn to the left of the middle, outside to the right, so that a star without
    spherical aberration gives curves that mirror each other. The highest point of the two curves
    of one distance from focus is 1.

    Units: um in the plane of each picture; brightness without unit.
    """
    ax = _style.axes_for(ax, 7.0, 4.2)
    radius = np.asarray(result.profile_radius_um)
    waves, profile = np.asarray(result.defocus_waves), np.asarray(result.profile)
    sizes = sorted({round(abs(float(w)), 6) for w in waves if abs(w) > 1e-6})
    for place, size in enumerate(sizes):
        series = _style.SERIES[place % len(_style.SERIES)]
        highest = float(profile[np.abs(np.abs(waves) - size) < 1e-6].max())
        for sign in (-1.0, 1.0):
            for k in np.flatnonzero(np.abs(waves - sign * size) < 1e-6):
                ax.plot(
                    sign * radius,
                    profile[k] / highest,
                    series.line,
                    color=series.colour,
                    linewidth=1.6,
                    label=_waves(size) if sign > 0 or -size not in waves else None,
                )
    if not sizes:
        ax.plot(radius, profile[0] / profile[0].max(), "-", color=_style.INK, label="in focus")
    ax.axvline(0.0, color=_style.QUIET, linewidth=0.8)
    ax.set_xlim(-float(radius[-1]), float(radius[-1]))
    ax.set_ylim(bottom=0.0)
    ticks = [tick for tick in ax.get_xticks() if abs(tick) <= radius[-1]]
    ax.set_xticks(ticks, [f"{abs(tick):g}" for tick in ticks])
    ax.set_xlabel("radius (um): inside focus to the left, outside focus to the right")
    ax.set_ylabel("brightness, the pair's highest = 1")
    _style.open_frame(ax)
    _style.legend(ax, "upper right")
    _style.heading(
        ax,
        "Brightness by radius, both sides of focus",
        f"mean over azimuth, at {result.wavelength_nm:g} nm; alike on both sides: no spherical "
        "aberration",
    )
    return ax


def through_focus_gallery(
    faults: Sequence[FaultLike],
    figure: Figure | None = None,
    *,
    defocus_waves: Sequence[float] = (-6, -3, 0, 3, 6),
    scale: ScaleName = "root",
    pixels: int = 129,
    **options: Any,
) -> Figure:
    """Draw a strip for each of several faults, one below the other, with what to look for.

    Further options go to `Train.through_focus`: field, focus, light. All strips share one grey
    scale.

    Units: waves of defocus at the rim. Errors: those of `Train.through_focus`.
    """
    faults = list(faults)
    strips = [
        fault.train.through_focus(defocus_waves=list(defocus_waves), pixels=pixels, **options)
        for fault in faults
    ]
    count = len(list(defocus_waves))
    if figure is None:
        ax = _style.axes_for(None, 1.75 * count + 3.9, 1.75 * len(faults) + 1.0)
        figure = ax.figure.figure
        ax.remove()
    white = float(np.median([_white(strip) for strip in strips]))
    rows = figure.subplots(
        len(faults), count + 1, squeeze=False, width_ratios=[1.0] * count + [1.9]
    )
    for number, (row, fault, strip) in enumerate(zip(rows, faults, strips, strict=True)):
        images = np.asarray(strip.images)
        reach = _reach(strip)
        for place, k in enumerate(np.argsort(np.asarray(strip.defocus_waves))):
            ax = row[place]
            ax.imshow(
                _grey(images[k].T / white, scale),
                origin="lower",
                extent=(-reach, reach, -reach, reach),
                cmap="gray",
                vmin=0.0,
                vmax=1.0,
                interpolation="bilinear",
            )
            ax.set_xticks([])
            ax.set_yticks([])
            if number == 0:
                ax.set_title(_distance(strip, int(k)), fontsize=8)
        row[0].set_ylabel(f"{2 * reach:.3g} um", fontsize=8)
        row[-1].set_axis_off()
        size = "" if fault.name == "none" else f", {fault.pv_waves:.2g} waves"
        row[-1].text(
            0.02,
            0.95,
            f"{fault.name}{size}",
            fontsize=9.5,
            fontweight="bold",
            va="top",
            transform=row[-1].transAxes,
        )
        row[-1].text(
            0.02,
            0.78,
            _wrapped(fault.words, 44),
            fontsize=8,
            va="top",
            linespacing=1.25,
            transform=row[-1].transAxes,
        )
    figure.suptitle(
        f"Stars through focus: inside on the left. Grey: one scale for all pictures, white: "
        f"{white:.2g} and more of the perfect star's peak",
        fontsize=10,
    )
    return figure


def _reach(result: StripLike) -> float:
    along = np.asarray(result.along_um)
    return float(along[-1]) + float(result.pixel_um) / 2.0


def _white(result: StripLike) -> float:
    """Return the middle one of the brightest points out of focus, or that in focus."""
    images, waves = np.asarray(result.images), np.abs(np.asarray(result.defocus_waves))
    peaks = images.max(axis=(1, 2))
    # Within half a wave the star still outshines everything.
    beyond = waves > 0.6
    return float(np.median(peaks[beyond]) if beyond.any() else peaks.max())


def _check_white(white: float, own_scale: bool) -> None:
    from ..errors import InputError

    if own_scale:
        raise InputError.about("white", f"{white}", "no white beside own_scale")
    if not (white > 0.0 and np.isfinite(white)):
        raise InputError.about("white", f"{white}", "a brightness above 0")


def _grey(brightness: Any, scale: str) -> Any:
    """Return what is drawn for a brightness in units of white."""
    clipped = np.clip(brightness, 0.0, 1.0)
    if scale == "root":
        return np.sqrt(clipped)
    if scale == "linear":
        return clipped
    if scale == "log":
        return 1.0 - np.log(np.maximum(clipped, FAINTEST_SHOWN)) / np.log(FAINTEST_SHOWN)
    from ..errors import InputError

    raise InputError.about("scale", scale, '"root", "linear" or "log"')


def _distance(result: StripLike, k: int) -> str:
    waves, shift = float(result.defocus_waves[k]), float(result.shift_mm[k])
    if result.side[k] == "in focus":
        return "in focus\n"
    return f"{_waves(abs(waves))} {result.side[k]}\n{shift:+.3g} mm"


def _waves(size: float) -> str:
    return f"{size:.3g} wave" + ("" if f"{size:.3g}" == "1" else "s")


def _wrapped(text: str, width: int) -> str:
    import textwrap

    return "\n".join(textwrap.wrap(text, width))
