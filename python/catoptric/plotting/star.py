"""Pictures of a star: where the rays land, what the eye sees, how the light gathers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from . import _style
from ._results.star import MapPsfLike, PsfLike, SpotLike, StarImageLike

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.axes import Axes
    from matplotlib.colors import Normalize

AIRY_FIRST_DARK_RING = 1.2196698912665045
"""First zero of J1(pi x)/(pi x): the dark ring's radius over wavelength times focal ratio."""

RINGS_SHOWN = 5.0
"""Half width of a star image when none is asked for, in radii of the first dark ring."""

FAINTEST_SHOWN = 1e-4
"""Where the logarithmic scale of a star image ends, of the perfect star's peak."""

SCALES = {"root": "square-root scale", "linear": "even scale", "log": "logarithmic scale"}
"""Words for the scales of brightness."""


def spot(
    result: SpotLike,
    ax: Axes | None = None,
    *,
    wavelength_nm: float = 550.0,
    airy_radius_um: float | None = None,
    half_width_um: float | None = None,
) -> Axes:
    """Draw where the rays of one star land, with the Airy circle to judge them by.

    The rays come in three groups of equal number, by the part of the mirror that sent them.
    Rays beyond the drawn field are counted in a line of text.

    Units: um in the focal plane. `airy_radius_um` is the first dark ring of the perfect star; if
    left out, that of an aperture without obstruction.
    """
    ax = _style.axes_for(ax, 5.6, 5.6)
    if airy_radius_um is None:
        airy_radius_um = AIRY_FIRST_DARK_RING * wavelength_nm * 1e-3 * result.focal_ratio
    along, across = np.asarray(result.along_um), np.asarray(result.across_um)
    if half_width_um is None:
        half_width_um = _field_for(along, across, result.radius_80_um, airy_radius_um)
    _draw_groups(ax, result)
    _circle(ax, airy_radius_um, _style.INK, "-", "Airy circle (first dark ring)")
    _style.square_field(ax, half_width_um, "um")
    _style.legend_below(ax, columns=2)
    outside = np.maximum(np.abs(along), np.abs(across)) > half_width_um
    if outside.any():
        farthest = float(np.hypot(along, across).max())
        share = 100.0 * float(np.count_nonzero(outside)) / len(outside)
        ax.annotate(
            f"{share:.2g} % of the rays land outside this field,\n"
            f"the farthest at {farthest:.3g} um",
            xy=(0.02, 0.02),
            xycoords="axes fraction",
            fontsize=8.5,
            color=_style.QUIET,
        )
    _style.heading(
        ax,
        f"Rays of one star: RMS radius {result.rms_radius_um:.3g} um",
        _style.SEEN_IN_EYEPIECE,
        f"Airy circle at {wavelength_nm:g} nm: radius {airy_radius_um:.3g} um",
    )
    return ax


def star_image(
    result: PsfLike,
    ax: Axes | None = None,
    *,
    scale: Literal["root", "linear", "log"] = "root",
    half_width_um: float | None = None,
) -> Axes:
    """Draw the image of one star, white on black as the eye would see it.

    All images share one scale of brightness, so that two of them can be compared: white is the
    peak of the perfect star. `scale="root"` shows the square root, near to what the eye makes of
    faint rings.

    Units: um in the focal plane; brightness in peaks of the perfect star.
    """
    ring = float(np.asarray(result.airy.dark_rings_um)[0])
    ax = _draw_star(
        ax,
        result,
        scale,
        lambda reach: half_width_um or min(reach, RINGS_SHOWN * ring),
        f"full width at half brightness {result.fwhm_um:.2f} um",
        f"dotted: first dark ring of the perfect star, radius {ring:.3g} um",
    )
    _circle(ax, ring, _style.ORANGE, ":", "perfect star's first dark ring")
    return ax


def map_star_image(
    result: MapPsfLike,
    ax: Axes | None = None,
    *,
    scale: Literal["root", "linear", "log"] = "root",
) -> Axes:
    """Draw the image of a star behind a map of the pupil, as `star_image` does.

    Units: um in the focal plane; brightness in peaks of the star without path differences.
    """
    return _draw_star(
        ax,
        result,
        scale,
        lambda reach: reach,
        f"summed over {result.lit_pixels} pixels of the pupil at f/{result.focal_ratio:.3g}",
    )


def _draw_star(
    ax: Axes | None,
    result: StarImageLike,
    scale: Literal["root", "linear", "log"],
    half_width_um: Callable[[float], float],
    *notes: str,
) -> Axes:
    """Draw an image with its scale and heading, as wide as `half_width_um` makes of its reach."""
    ax = _style.axes_for(ax, 6.0, 5.4)
    shown, reach = _show_light(ax, result, scale)
    _style.square_field(ax, half_width_um(reach), "um")
    _style.scale_beside(ax, shown, f"brightness, perfect star's peak = 1 ({SCALES[scale]})")
    ax.grid(False)
    _style.heading(
        ax,
        f"A star at {result.wavelength_nm:g} nm: Strehl {result.strehl:.3f}",
        _style.SEEN_IN_EYEPIECE,
        *notes,
    )
    return ax


def _show_light(
    ax: Axes, result: StarImageLike, scale: Literal["root", "linear", "log"]
) -> tuple[Any, float]:
    """Show an image with along upward; return what is shown and how far it reaches, um."""
    along, across = np.asarray(result.along_um), np.asarray(result.across_um)
    half_pixel = (across[1] - across[0]) / 2.0, (along[1] - along[0]) / 2.0
    shown = ax.imshow(
        np.asarray(result.image).T,
        origin="lower",
        extent=(
            float(across[0] - half_pixel[0]),
            float(across[-1] + half_pixel[0]),
            float(along[0] - half_pixel[1]),
            float(along[-1] + half_pixel[1]),
        ),
        cmap="gray",
        norm=_brightness(scale),
        interpolation="bilinear",
    )
    return shown, float(along[-1] + half_pixel[1])


def energy(
    result: PsfLike, ax: Axes | None = None, *, radius_um: Any = None, label: str = "this star"
) -> Axes:
    """Draw the share of a star's light inside a circle about the reference point, by its radius.

    The hatched space between the two curves is light that the perfect star would hold closer.

    Units: um in the focal plane; share of all the star's light, 0 to 1.
    """
    ax = _style.axes_for(ax, 6.6, 4.2)
    if radius_um is None:
        radius_um = np.linspace(0.0, 3.0 * float(np.asarray(result.airy.dark_rings_um)[1]), 241)
    radius = np.asarray(radius_um, dtype=float)
    held, perfect = np.asarray(result.encircled_energy(radius)), _perfect(result, radius)
    series = _style.SERIES[1]
    ax.fill_between(
        radius, held, perfect, facecolor="none", edgecolor="0.75", hatch="///", linewidth=0
    )
    ax.plot(radius, perfect, ":", color=_style.INK, linewidth=1.6, label="perfect star")
    ax.plot(radius, held, series.line, color=series.colour, linewidth=1.8, label=label)
    for share in (0.5, 0.8):
        _mark_share(ax, radius, held, share, series)
    ax.set_xlim(0.0, float(radius[-1]))
    ax.set_ylim(0.0, 1.02)
    ax.set_xlabel("radius of the circle in the focal plane (um)")
    ax.set_ylabel("share of the star's light inside")
    _style.open_frame(ax)
    _style.legend(ax, "lower right")
    _style.heading(
        ax, "How the light gathers", f"at {result.wavelength_nm:g} nm, about the reference point"
    )
    return ax


def ring_energy(
    result: PsfLike, ax: Axes | None = None, *, rings: int = 5, label: str = "this star"
) -> Axes:
    """Draw the light of the disc and of each ring beside that of the perfect star.

    Units: per cent of all the star's light. The rings lie between the dark rings of the perfect
    star.
    """
    ax = _style.axes_for(ax, 6.6, 4.0)
    table = result.ring_energy(rings=rings)
    share, perfect = (100.0 * np.asarray(table[name]) for name in ("share", "perfect_share"))
    place = np.arange(len(share), dtype=float)
    series = _style.SERIES[1]
    ax.bar(
        place - 0.2, perfect, 0.38, facecolor="white", edgecolor=_style.INK, label="perfect star"
    )
    ax.bar(place + 0.2, share, 0.38, color=series.colour, label=label)
    for x, value in zip(
        np.concatenate([place - 0.2, place + 0.2]), np.concatenate([perfect, share]), strict=True
    ):
        ax.annotate(
            f"{value:.1f}",
            xy=(float(x), float(value)),
            xytext=(0, 2),
            textcoords="offset points",
            fontsize=8,
            ha="center",
        )
    ax.set_xticks(place, ["disc", *(f"ring {k}" for k in range(1, len(share)))])
    ax.set_ylabel("share of the star's light (%)")
    _style.open_frame(ax)
    ax.grid(False, axis="x")
    _style.legend(ax, "upper right")
    beyond = 100.0 - float(share.sum()), 100.0 - float(perfect.sum())
    _style.heading(
        ax,
        "Where the light lies, ring by ring",
        f"at {result.wavelength_nm:g} nm, between the dark rings of the perfect star",
        f"beyond ring {len(share) - 1}: {beyond[0]:.1f} %, of the perfect star {beyond[1]:.1f} %",
    )
    return ax


def _perfect(result: PsfLike, radius: Any) -> Any:
    return np.asarray(result.airy.encircled_energy(radius))


def _mark_share(ax: Axes, radius: Any, held: Any, share: float, series: _style.Series) -> None:
    """Mark the radius that holds `share` of the light, if the curve gets there."""
    if held[-1] < share:
        return
    at = float(np.interp(share, np.maximum.accumulate(held), radius))
    ax.plot([at], [share], series.marker, color=series.colour, markersize=6)
    ax.annotate(
        f"{100 * share:.0f} % within {at:.2f} um",
        xy=(at, share),
        xytext=(8, -12),
        textcoords="offset points",
        fontsize=8.5,
    )


def _draw_groups(ax: Axes, result: SpotLike) -> None:
    """Draw the rays in three groups of equal number, the outermost part of the mirror on top."""
    met = np.hypot(np.asarray(result.pupil_x_mm), np.asarray(result.pupil_y_mm))
    limits = np.quantile(met, [0.0, 1.0 / 3.0, 2.0 / 3.0, 1.0])
    looks = (
        (_style.SKY, "o", 6.0),
        (_style.VERMILLION, "s", 5.0),
        (_style.INK, "^", 8.0),
    )
    for place, (colour, marker, size) in enumerate(looks):
        chosen = (met >= limits[place]) & (
            (met <= limits[place + 1]) if place == 2 else (met < limits[place + 1])
        )
        ax.scatter(
            np.asarray(result.across_um)[chosen],
            np.asarray(result.along_um)[chosen],
            s=size,
            marker=marker,
            color=colour,
            alpha=0.7,
            linewidths=0,
            label=f"from radius {limits[place]:.0f} to {limits[place + 1]:.0f} mm",
        )


def _field_for(along: Any, across: Any, radius_80_um: float, airy_radius_um: float) -> float:
    """Return a half width that shows the heart of the spot and the whole Airy circle."""
    reach = 1.08 * float(np.maximum(np.abs(along), np.abs(across)).max(initial=0.0))
    return max(1.6 * airy_radius_um, min(reach, 3.0 * max(radius_80_um, airy_radius_um)))


def _brightness(scale: str) -> Normalize:
    from matplotlib.colors import LogNorm, Normalize, PowerNorm

    if scale == "root":
        return PowerNorm(0.5, vmin=0.0, vmax=1.0)
    if scale == "log":
        return LogNorm(vmin=FAINTEST_SHOWN, vmax=1.0, clip=True)
    if scale == "linear":
        return Normalize(vmin=0.0, vmax=1.0)
    from ..errors import InputError

    raise InputError.about("scale", scale, '"root", "linear" or "log"')


def _circle(ax: Axes, radius: float, colour: str, line: str, label: str) -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 181)
    ax.plot(
        radius * np.cos(turn), radius * np.sin(turn), line, color=colour, linewidth=1.4, label=label
    )
