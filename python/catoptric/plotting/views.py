"""What one would see: a scene at the eyepiece, several of them on one grey scale, and ripple."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from . import _style
from ._results.views import RippleLike, ViewLike
from .mirror import half_pixel_edges

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import Normalize

FAINTEST_SHOWN = 1e-4
"""Where the logarithmic scale of a view ends, of its white."""

MOST_IN_A_ROW = 4
"""Views side by side before a new row begins."""

DISC = "disc_centre"

EYEPIECE_ORIENTATION = "as seen through the eyepiece, sky end of the tube up;"
SKY_IN_EYEPIECE = "sky +x (focuser side) down, +y to the left"


def view(
    result: ViewLike,
    ax: Axes | None = None,
    *,
    scale: Literal["root", "linear", "log"] | None = None,
    white: float | None = None,
) -> Axes:
    """Draw a view as the eye at the focuser sees it, white on black.

    Without a scale a disc is drawn evenly and stars by the square root of their brightness. White
    is `white`, or the brightest pixel.

    Units: arcsec on the sky.
    """
    ax = _style.axes_for(ax, 6.0, 5.6)
    shown = _picture(result, ax, _norm(scale, [result], white))
    _style.scale_beside(ax, shown, _unit(result, scale))
    _style.heading(
        ax,
        _what(result),
        f"{EYEPIECE_ORIENTATION} {SKY_IN_EYEPIECE}",
        *_conditions(result),
        *_left(result),
    )
    return ax


def views(
    results: Mapping[str, ViewLike],
    axes: Any = None,
    *,
    scale: Literal["root", "linear", "log"] | None = None,
    white: float | None = None,
) -> list[Axes]:
    """Draw several views side by side on one grey scale, each under its name; return their axes.

    The scale is that of the brightest: what is darker in one picture is darker in the sky's own
    light. `axes` are as many as there are views; without them a new figure is made.

    Units: arcsec on the sky.
    Errors: InputError for no views, views in different units, and another number of axes.
    """
    from ..errors import InputError

    if not results:
        raise InputError.about("results", "no views", "one view or more, by name")
    shown = list(results.values())
    units = {result.unit for result in shown}
    if len(units) > 1:
        raise InputError.about("results", " and ".join(sorted(units)), "views in one unit")
    places = _places(len(shown)) if axes is None else list(np.ravel(axes))
    if len(places) != len(shown):
        raise InputError.about("axes", f"{len(places)} axes", f"{len(shown)}, one for each view")
    norm = _norm(scale, shown, white)
    pictures = [_picture(result, ax, norm) for result, ax in zip(shown, places, strict=True)]
    for (name, result), ax in zip(results.items(), places, strict=True):
        _style.heading(ax, name, *_conditions(result), *_left(result))
        if ax is not places[0]:
            ax.set_ylabel("")
    _style.scale_beside(places[-1], pictures[-1], _unit(shown[0], scale))
    if axes is None:
        places[0].figure.suptitle(
            f"{_what(shown[0])}, one grey scale\n{EYEPIECE_ORIENTATION} {SKY_IN_EYEPIECE}",
            fontsize=10,
            x=0.01,
            ha="left",
        )
    return places


def ripple_map(
    result: RippleLike, ax: Axes | None = None, *, clear_aperture_mm: float = 200.0
) -> Axes:
    """Draw the heights of ripple over the face of a mirror.

    Units: mm across the mirror, nm of glass.
    """
    ax = _style.axes_for(ax, 6.2, 5.2)
    layer = result.as_layer(clear_aperture_mm=clear_aperture_mm)
    heights = np.array(layer.height_nm)
    axis = (np.arange(layer.rows) - layer.centre_row) * layer.pixel_mm
    heights[np.hypot(axis[:, None], axis[None, :]) > clear_aperture_mm / 2.0] = np.nan
    top = float(np.nanmax(np.abs(heights)))
    edge = half_pixel_edges(axis)
    shown = ax.imshow(
        heights,
        origin="lower",
        extent=(edge[0], edge[1], edge[0], edge[1]),
        cmap=_style.SIGNED_MAP,
        vmin=-top,
        vmax=top,
        interpolation="bilinear",
    )
    _style.scale_beside(ax, shown, "height of the glass (nm); positive: a hill")
    for side in ax.spines.values():
        side.set_visible(False)
    ax.set_xlabel("x on the mirror (mm)")
    ax.set_ylabel("y on the mirror (mm)")
    ax.set_aspect("equal")
    _style.heading(
        ax,
        f"Ripple: RMS {result.rms_nm:.3g} nm of glass",
        _style.SEEN_FROM_SKY,
        f"waves from {result.longest_mm:g} to {result.shortest_mm:g} mm, "
        f"slope {result.slope:g}, seed {result.seed}",
    )
    return ax


def _places(count: int) -> list[Axes]:
    """Return the axes of a new figure, a row of up to four."""
    try:
        import matplotlib.pyplot as plt
    except ImportError as missing:
        raise ImportError(
            "pictures need matplotlib, which is not installed: pip install catoptric[plot]"
        ) from missing
    columns = min(count, MOST_IN_A_ROW)
    rows = -(-count // columns)
    _, axes = plt.subplots(
        rows,
        columns,
        figsize=(3.4 * columns + 1.2, 4.3 * rows + 0.9),
        layout="constrained",
        squeeze=False,
    )
    places = list(axes.ravel())
    for spare in places[count:]:
        spare.set_visible(False)
    return places[:count]


def _picture(result: ViewLike, ax: Axes, norm: Normalize) -> Any:
    """Draw the pixels with the sky on its head: x downward, y to the left."""
    x, y = half_pixel_edges(result.x_arcsec), half_pixel_edges(result.y_arcsec)
    shown = ax.imshow(
        np.asarray(result.image).T,
        origin="upper",
        extent=(y[0], y[1], x[1], x[0]),
        cmap="gray",
        norm=norm,
        interpolation="nearest" if result.sensor is not None else "bilinear",
    )
    ax.set_xlim(y[1], y[0])
    ax.set_ylim(x[1], x[0])
    ax.set_aspect("equal")
    ax.set_xlabel("y on the sky (arcsec)")
    ax.set_ylabel("x on the sky (arcsec)")
    ax.grid(False)
    ax.set_facecolor("black")
    return shown


def _norm(scale: str | None, results: list[ViewLike], white: float | None) -> Normalize:
    from matplotlib.colors import LogNorm, Normalize, PowerNorm

    from ..errors import InputError

    if white is None:
        white = max(float(np.max(result.image)) for result in results)
    if not (white > 0.0 and np.isfinite(white)):
        raise InputError.about("white", f"{white}", "a brightness above 0")
    scale = scale or _usual_scale(results[0])
    if scale == "root":
        return PowerNorm(0.5, vmin=0.0, vmax=white)
    if scale == "log":
        return LogNorm(vmin=FAINTEST_SHOWN * white, vmax=white, clip=True)
    if scale == "linear":
        return Normalize(vmin=0.0, vmax=white)
    raise InputError.about("scale", scale, '"root", "linear" or "log"')


def _usual_scale(result: ViewLike) -> str:
    return "linear" if result.unit == DISC else "root"


def _unit(result: ViewLike, scale: str | None) -> str:
    words = {"root": "square-root scale", "linear": "even scale", "log": "logarithmic scale"}
    scale = words[scale or _usual_scale(result)]
    if result.unit == DISC:
        return f"brightness of the disc, perfect middle = 1 ({scale})"
    return f"light of magnitude 0 on an arcsec² ({scale})"


def _what(result: ViewLike) -> str:
    scene = result.scene
    name = type(scene).__name__
    if name == "BandedDisc":
        return f"A banded disc of {scene.diameter_arcsec:g} arcsec"
    if name == "DoubleStar":
        return f"A pair {scene.separation_arcsec:.3g} arcsec apart"
    return "A star" if scene.star_count == 1 else f"{scene.star_count} stars"


def _conditions(result: ViewLike) -> list[str]:
    """Return one short line or two: a long one would squeeze the pictures side by side."""
    air = result.seeing
    night = "no air" if air is None else f"seeing {air.fwhm_arcsec:.2g} arcsec"
    if result.magnification is not None:
        return [f"{result.magnification:.0f}x, exit pupil {result.exit_pupil_mm:.2g} mm; {night}"]
    sampling = result.pixels_per_lambda_f
    coarse = ", too coarse" if sampling < 2.0 else ""
    return [f"{sampling:.2g} pixels for a wavelength", f"times focal ratio{coarse}; {night}"]


def _left(result: ViewLike) -> list[str]:
    parts = [f"Strehl {result.strehl:.2f}"]
    left = [
        f"{name} {100 * share:.0f} %"
        for name, share in (("bands", result.bands_left), ("spots", result.spots_left))
        if share is not None
    ]
    if left:
        parts.append("contrast left: " + ", ".join(left))
    if result.star_gap is not None:
        parts.append(f"between them {100 * result.star_gap:.0f} % of the fainter")
    return parts
