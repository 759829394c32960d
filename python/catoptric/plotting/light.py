"""Pictures of the light that reaches the field, and of what stops the rest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import _style
from ._results import IlluminationLike, LightMapLike

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_NUMBERS = 25
"""Points of the focal plane that still get a number each."""


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


def illumination_map(result: LightMapLike, ax: Axes | None = None) -> Axes:
    """Draw the light at points of the focal plane: one dot a point, the darker the less light.

    A few points are also written out. Points on a grid become a map.

    Units: mm in the focal plane; light in the middle of the field is 1.
    """
    ax = _style.axes_for(ax, 5.8, 5.0)
    along, across = np.asarray(result.along_mm), np.asarray(result.across_mm)
    relative = np.asarray(result.relative)
    reach = max(float(np.abs(along).max()), float(np.abs(across).max()), 1.0)
    shown = ax.scatter(
        across,
        along,
        c=relative,
        s=min(300.0, 1.2e5 / len(relative)),
        cmap=_style.SIGNED_MAP,
        vmin=min(float(relative.min()), 0.99),
        vmax=max(float(relative.max()), 1.0),
        edgecolor="0.4",
        linewidth=0.4,
    )
    if len(relative) <= MOST_NUMBERS:
        for place in zip(across, along, relative, strict=True):
            ax.annotate(
                f"{place[2]:.2f}",
                xy=place[:2],
                xytext=(0, -12),
                textcoords="offset points",
                ha="center",
                va="top",
                fontsize=8.5,
            )
    _style.square_field(ax, 1.15 * reach, "mm")
    _style.scale_beside(ax, shown, "light, relative to the middle of the field")
    _style.heading(ax, "Illumination of the field", _style.SEEN_IN_EYEPIECE)
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
            label=name.replace("_", " "),
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
