"""What lies between the points of a profile, so that a picture shows the curve that is computed."""

from __future__ import annotations

import numpy as np

from .._typing import Floats

STEPS = 400
"""Steps from the middle of the mirror to its rim in a drawn curve."""


def fine_radius_mm(knots_mm: Floats) -> Floats:
    """Return radii close enough for a smooth line, the knots among them.

    Units: mm.
    """
    return np.union1d(np.linspace(0.0, float(knots_mm[-1]), STEPS + 1), knots_mm)


def straight_in_area(knots_mm: Floats, radius_mm: Floats) -> Floats:
    """Return the weight of each knot at each radius, for heights straight in r^2 between knots.

    Units: mm.
    Shapes: a row a radius, a column a knot; `weights @ height_nm` are the heights. Outside the
    first and the last knot the height is held.
    """
    units = np.eye(len(knots_mm))
    return np.stack([np.interp(radius_mm**2, knots_mm**2, unit) for unit in units], axis=1)


def spline(knots_mm: Floats, height_nm: Floats, radius_mm: Floats) -> Floats:
    """Return heights on the cubic spline that is level at the first knot and unbent at the last.

    Units: mm, nm.
    Shapes: as long as `radius_mm`. Outside the first and the last knot the height is held.
    Source: de Boor, A Practical Guide to Splines, chapter IV (slopes from continuous curvature).
    """
    step, rise = np.diff(knots_mm), np.diff(height_nm)
    count = len(knots_mm)
    system, right = np.zeros((count, count)), np.zeros(count)
    system[0, 0] = 1.0
    for knot in range(1, count - 1):
        before, after = step[knot - 1], step[knot]
        system[knot, knot - 1 : knot + 2] = after, 2.0 * (before + after), before
        right[knot] = 3.0 * (after * rise[knot - 1] / before + before * rise[knot] / after)
    system[-1, -2:] = 1.0, 2.0
    right[-1] = 3.0 * rise[-1] / step[-1]
    slope = np.linalg.solve(system, right)

    at = np.clip(radius_mm, knots_mm[0], knots_mm[-1])
    piece = np.clip(np.searchsorted(knots_mm, at, side="right") - 1, 0, count - 2)
    t = (at - knots_mm[piece]) / step[piece]
    leaving, arriving = slope[piece] * step[piece], slope[piece + 1] * step[piece]
    held: Floats = (
        height_nm[piece]
        + rise[piece] * t**2 * (3.0 - 2.0 * t)
        + leaving * t * (1.0 - t) ** 2
        - arriving * t**2 * (1.0 - t)
    )
    return held
