"""Pictures of a coating: what each place returns, and where thin metal is a hollow."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .._typing import Floats
from ..errors import InputError, Problem
from . import _style
from ._results.coating import CoatingPictureLike
from .mirror import half_pixel_edges

if TYPE_CHECKING:
    from matplotlib.axes import Axes

DULL_TO_BRIGHT = "gray"
"""A mirror looks as it is: dark where it returns little."""

PAPER = 0.12
"""Share of the scale between the brightest place and the white of the paper."""

EVEN_SHARE = 0.01
EVEN_NM = 0.5
"""Differences below these are no picture: such a coating counts as even, and gets a wider scale."""


def coating(result: CoatingPictureLike, ax: Axes | None = None, *, height: bool = False) -> Axes:
    """Draw what the coating returns over the face of the mirror, or the height of its metal.

    The reflectance is drawn as one sees it, dark where little returns. Of the metal's height,
    bright is high; lines of equal height are full above the even film and broken below it.

    Units: mm across the mirror; a share of the power, or nm along the normal.
    Errors: `InputError` for the height of a coating whose metal does not count.
    """
    values = result.height_nm if height else result.reflectance
    if values is None:
        allowed = "a height where the thickness of the metal counts: Coating(metal=...)"
        raise InputError([Problem("fault", "height", "True", allowed, "")])
    ax = _style.axes_for(ax, 6.2, 5.2)
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    even = EVEN_NM if height else EVEN_SHARE
    if high - low < even:
        low, high = (low - 10.0 * even, high + 10.0 * even) if height else (low - 5.0 * even, high)
    edge = half_pixel_edges(result.axis_mm)
    shown = ax.imshow(
        values,
        origin="lower",
        extent=(edge[0], edge[1], edge[0], edge[1]),
        cmap=_style.SIGNED_MAP if height else DULL_TO_BRIGHT,
        vmin=low,
        # What is whole stays a light grey, told from the paper.
        vmax=high if height else high + PAPER * (high - low),
        interpolation="nearest",
    )
    rim = np.linspace(0.0, 2.0 * np.pi, 361)
    radius = float(result.axis_mm[-1])
    ax.plot(radius * np.cos(rim), radius * np.sin(rim), color=_style.QUIET, linewidth=0.8)
    label = "height of the reflecting plane (nm)" if height else "reflectance (share of the light)"
    _style.scale_beside(ax, shown, label)
    for side in ax.spines.values():
        side.set_visible(False)
    ax.set_xlabel("x on the mirror (mm)")
    ax.set_ylabel("y on the mirror (mm)")
    ax.set_aspect("equal")
    if height:
        _contours(ax, result.axis_mm, values)
        title = f"Metal: {_range(values, '.1f')} nm against the even film"
    else:
        title = f"Coating: {_range(values, '.3f')} of the light returned"
    note = f"at {result.wavelength_nm:g} nm; {_lines(height, values)}"
    _style.heading(ax, title, _style.SEEN_FROM_SKY, note)
    return ax


def _range(values: Floats, digits: str) -> str:
    # Adding 0 turns -0.0 into 0.0.
    low, high = (
        format(round(float(end), 6) + 0.0, digits) for end in (np.nanmin(values), np.nanmax(values))
    )
    return low if low == high else f"{low} to {high}"


def _step(values: Floats) -> float:
    """Return the distance of lines of equal height, nm: about five of them."""
    span = float(np.nanmax(values) - np.nanmin(values))
    rough = max(span, EVEN_NM) / 5.0
    unit = 10.0 ** np.floor(np.log10(rough))
    return float(unit * min((1.0, 2.0, 5.0, 10.0), key=lambda k: abs(k * unit - rough)))


def _lines(height: bool, values: Floats) -> str:
    if not height:
        return "dark where little returns"
    span = float(np.nanmax(values) - np.nanmin(values))
    return f"a line every {_step(values):g} nm" if span >= EVEN_NM else "even"


def _contours(ax: Axes, axis_mm: Floats, values: Floats) -> None:
    """Draw lines of equal height, full above the even film and broken below."""
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    if high - low < EVEN_NM:
        return
    step = _step(values)
    # Half a step aside: the even film itself lies at 0 and would be all line.
    levels = step * (np.arange(np.floor(low / step), np.ceil(high / step) + 1.0) + 0.5)
    for signed, colour, line in (
        (levels[levels > 0.0], "black", "solid"),
        (levels[levels < 0.0], "white", "dashed"),
    ):
        if signed.size:
            ax.contour(
                axis_mm,
                axis_mm,
                values,
                levels=signed,
                colors=colour,
                linestyles=line,
                linewidths=0.6,
            )
