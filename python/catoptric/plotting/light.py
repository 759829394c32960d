"""Pictures of the light that reaches the field, and of what stops the rest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import _style
from ._results import IlluminationLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def illumination(result: IlluminationLike, ax: Axes | None = None) -> Axes:
    """Draw the light against the radius in the field, relative to the axis.

    Units: mm in the focal plane; light on the axis is 1.
    """
    ax = _style.axes_for(ax, 6.8, 4.2)
    radius = np.asarray(result.radius_mm)
    ax.fill_between(radius, result.worst, result.best, color=_style.SKY, alpha=0.35, linewidth=0)
    for name, values, line, width in (
        ("best direction", result.best, ":", 1.3),
        ("mean of all directions", result.mean, "-", 2.0),
        ("worst direction", result.worst, "--", 1.3),
    ):
        ax.plot(radius, values, line, color=_style.BLUE, linewidth=width, label=name)
    ax.set_xlim(0.0, float(radius.max()))
    lowest = float(np.min(result.worst))
    ax.set_ylim(max(0.0, np.floor(10.0 * lowest - 0.5) / 10.0), 1.02)
    ax.set_xlabel("radius in the field (mm)")
    ax.set_ylabel("light, relative to the axis")
    _style.open_frame(ax)
    _style.legend(ax, "lower left")
    _style.heading(ax, "Illumination of the field", "the same star, moved away from the axis")
    return ax


def shares(result: IlluminationLike, ax: Axes | None = None) -> Axes:
    """Draw which part stops how much of the mirror's light, against the radius in the field.

    Units: mm in the focal plane; share of the light that meets the clear aperture, 0 to 1.
    """
    ax = _style.axes_for(ax, 6.8, 4.2)
    radius = np.asarray(result.radius_mm)
    looks = (
        (_style.ORANGE, "///"),
        (_style.SKY, "..."),
        (_style.PURPLE, "\\\\\\"),
        (_style.GREEN, "xxx"),
        (_style.YELLOW, "---"),
        (_style.VERMILLION, "+++"),
    )
    floor = np.zeros_like(radius, dtype=float)
    parts = [(name, np.asarray(share)) for name, share in result.stopped.items()]
    for place, (name, share) in enumerate(part for part in parts if np.any(part[1] > 0.0)):
        colour, hatch = looks[place % len(looks)]
        ax.fill_between(
            radius,
            floor,
            floor + share,
            facecolor=colour,
            edgecolor="white",
            hatch=hatch,
            linewidth=0.0,
            label=name,
        )
        floor = floor + share
        ax.plot(radius, floor, color=_style.INK, linewidth=0.8)
    ax.set_xlim(0.0, float(radius.max()))
    ax.set_ylim(0.0, max(0.02, 1.15 * float(floor.max(initial=0.0))))
    ax.set_xlabel("radius in the field (mm)")
    ax.set_ylabel("share of the mirror's light that is stopped")
    _style.open_frame(ax)
    if ax.get_legend_handles_labels()[0]:
        _style.legend(ax, "upper left")
    _style.heading(ax, "What stops the light", "one on top of the other, mean of all directions")
    return ax
