"""Pictures of the mirror at its centre of curvature: behind a knife edge, and behind a grating."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import _style
from ._results.shadows import BenchPictureLike, GratingPictureLike, KnifePictureLike
from .mirror import half_pixel_edges

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BRIGHTEST_SHOWN = 1.25
"""Brightness that is drawn white; a bright rim may lie above."""


def knife_shadow(result: KnifePictureLike, ax: Axes | None = None, *, rays: bool = False) -> Axes:
    """Draw the mirror as the tester sees it behind the knife; with `rays`, as rays alone show it.

    Units: mm across the mirror; brightness 1 is the mirror without the knife.
    """
    ax = _style.axes_for(ax, 5.6, 5.6)
    _mirror(ax, result, "knife", rays)
    _blade(ax, result.knife_from)
    _style.heading(
        ax,
        f"Knife {_place(result.stage_mm)}",
        f"knife from the {result.knife_from}, edge {_beside_axis(result.edge_um)}; "
        f"{result.source} slit, {result.slit_width_um:g} um",
        _how(result, "knife", rays),
    )
    return ax


def grating_bands(
    result: GratingPictureLike, ax: Axes | None = None, *, rays: bool = False
) -> Axes:
    """Draw the mirror as the tester sees it through the grating; with `rays`, as rays alone do.

    Units: mm across the mirror; brightness 1 is the mirror without the grating.
    """
    ax = _style.axes_for(ax, 5.6, 5.6)
    _mirror(ax, result, "grating", rays)
    lit = (
        "lit through the grating itself"
        if result.slit_width_um is None
        else f"{result.source} slit, {result.slit_width_um:g} um"
    )
    _style.heading(
        ax,
        f"Grating {_place(result.stage_mm)}",
        f"{result.lines_per_mm:g} lines per mm, phase {result.phase:g} periods; {lit}",
        _how(result, "grating", rays),
    )
    return ax


def _mirror(ax: Axes, result: BenchPictureLike, before_eye: str, rays: bool) -> None:
    """Draw the brightness of the mirror in grey, with its scale."""
    edge = half_pixel_edges(result.axis_mm)
    image = np.asarray(result.ray_image if rays else result.image)
    shown = ax.imshow(
        image,
        origin="lower",
        extent=(edge[0], edge[1], edge[0], edge[1]),
        cmap="gray",
        vmin=0.0,
        vmax=BRIGHTEST_SHOWN,
        interpolation="nearest",
    )
    label = f"brightness (1: no {before_eye}; white: {BRIGHTEST_SHOWN:g} and more)"
    _style.scale_beside(ax, shown, label)
    ax.set_xlabel("x on the mirror (mm), to the tester's right")
    ax.set_ylabel("y on the mirror (mm)")
    ax.set_aspect("equal")


def _blade(ax: Axes, side: str) -> None:
    """Mark beside the frame the side from which the knife comes."""
    left = side == "left"
    ax.annotate(
        "knife \N{RIGHTWARDS ARROW}" if left else "\N{LEFTWARDS ARROW} knife",
        xy=(0.03 if left else 0.97, 0.03),
        xycoords="axes fraction",
        ha="left" if left else "right",
        fontsize=9,
        color="white",
    )


def _place(stage_mm: float) -> str:
    if stage_mm == 0.0:
        return "at the centre of curvature"
    side = "outside" if stage_mm > 0.0 else "inside"
    return f"{abs(stage_mm):g} mm {side} the centre of curvature"


def _beside_axis(edge_um: float) -> str:
    if edge_um == 0.0:
        return "on the axis"
    return f"{abs(edge_um):g} um to the {'right' if edge_um > 0.0 else 'left'}"


def _how(result: BenchPictureLike, before_eye: str, rays: bool) -> str:
    seen = f"as seen past the {before_eye}"
    if rays:
        return f"{seen}, by rays alone"
    waves = ", ".join(f"{wave:g}" for wave in result.wavelength_nm)
    return f"{seen}, by diffraction at {waves} nm"
