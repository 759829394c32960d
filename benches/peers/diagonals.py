"""Light past a thousand diagonals beside what a good numpy user would write."""

from __future__ import annotations

import catoptric as ct
import numpy as np

from .measure import Accuracy, Peer, Row

Answer = np.ndarray

FOCAL_MM, RIM_MM, TO_FOCUS_MM, RAYS = 2030.0, 203.0, 303.0, 10_000
SPAN_MM = FOCAL_MM - RIM_MM**2 / (4 * FOCAL_MM) - TO_FOCUS_MM


def rays_at_the_flat(field_arcmin: float, rays: int) -> tuple[Answer, ...]:
    """Return where rays of an even net cross the flat's plane, going down and coming up.

    A paraboloid of 406 mm f/5 with the focal plane 303 mm from the axis; traced in whole arrays.
    """
    height = FOCAL_MM - TO_FOCUS_MM
    number = np.arange(rays) + 0.5
    radius = RIM_MM * np.sqrt(number / rays)
    turn = np.pi * (3 - np.sqrt(5)) * np.arange(rays)
    start_x, start_y = radius * np.cos(turn), radius * np.sin(turn)
    tangent = np.tan(np.radians(field_arcmin / 60))
    tx, tz = tangent / np.hypot(1, tangent), 1 / np.hypot(1, tangent)
    x, y = start_x, start_y
    for _ in range(3):
        x = start_x - tx / tz * (RIM_MM**2 - x**2 - y**2) / (4 * FOCAL_MM)
    z = (x**2 + y**2) / (4 * FOCAL_MM)
    sx, sy = x / (2 * FOCAL_MM), y / (2 * FOCAL_MM)
    scale = 2 * (tz - tx * sx) / (1 + sx**2 + sy**2)
    dx, dy, dz = -tx - scale * sx, -scale * sy, scale - tz
    up = (x - z + height) / (dz - dx)
    down = (x - z + height) / (tz - tx)
    return x + dx * up, y + dy * up, x + tx * down, y


def fitted_slope(minor_axis_mm: Answer) -> Answer:
    """Return the slope k of the cone that a flat offset for its own lit circle cuts."""
    wider = 2 * RIM_MM - minor_axis_mm
    return wider / (SPAN_MM + np.sqrt(SPAN_MM**2 - minor_axis_mm * wider))


def by_critical_sizes(sizes: Answer, fields: Answer, rays: int) -> Answer:
    """Return the lit shares by each ray's own two sizes, sorted into the list of sizes."""
    shares = np.empty((len(fields), len(sizes)))
    for row, field in enumerate(fields):
        places = []
        up_x, up_y, down_x, down_y = rays_at_the_flat(field, rays)
        for x, y in ((up_x, up_y), (down_x, down_y)):
            far = SPAN_MM + x
            root = np.sqrt(far**2 * x**2 + y**2 * (far**2 - RIM_MM**2 + x**2 + y**2))
            k = (RIM_MM * far - root) / (far**2 + y**2)
            places.append(np.searchsorted(sizes, 2 * (RIM_MM - k * SPAN_MM) / (1 - k * k)))
        begin, end = places
        lit = begin < end
        change = np.bincount(begin[lit], minlength=len(sizes) + 1)
        change -= np.bincount(end[lit], minlength=len(sizes) + 1)
        shares[row] = np.cumsum(change)[:-1] / rays
    return shares


def by_one_size_after_another(sizes: Answer, fields: Answer, rays: int) -> Answer:
    """Return the lit shares, each size asked of all rays."""
    shares = np.empty((len(fields), len(sizes)))
    offsets = sizes * fitted_slope(sizes) / 2
    for row, field in enumerate(fields):
        up_x, up_y, down_x, down_y = rays_at_the_flat(field, rays)
        for column, (size, offset) in enumerate(zip(sizes, offsets, strict=True)):
            passes = (up_x + offset) ** 2 + up_y**2 <= (size / 2) ** 2
            dark = (down_x + offset) ** 2 + down_y**2 < (size / 2) ** 2
            shares[row, column] = np.count_nonzero(passes & ~dark) / rays
    return shares


def rows() -> list[Row]:
    """Return the row of a thousand diagonals."""
    flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=TO_FOCUS_MM)
    mirror = ct.Primary(clear_aperture_mm=2 * RIM_MM, focal_length_mm=FOCAL_MM)
    telescope = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    sizes, fields = np.linspace(60, 110, 1000), np.linspace(0, 24, 25)

    def ours() -> Answer:
        return np.asarray(
            ct.light_by_size(
                telescope, minor_axis_mm=sizes, x_arcmin=fields, y_arcmin=0 * fields, rays=RAYS
            )
        )

    def accuracy() -> list[Accuracy]:
        found = np.rint(ours() * RAYS)
        critical = np.rint(by_critical_sizes(sizes, fields, RAYS) * RAYS)
        one = np.rint(by_one_size_after_another(sizes[::50], fields, RAYS) * RAYS)
        return [
            Accuracy(
                "ours and numpy, one size after another, rays", largest(found[:, ::50], one), 0
            ),
            Accuracy("ours and numpy by critical sizes, rays", largest(found, critical), 0),
            Accuracy(
                "numpy by critical sizes and one by one, rays", largest(critical[:, ::50], one)
            ),
        ]

    return [
        Row(
            title="1000 diagonals x 25 field radii x 1e4 rays",
            ours=ours,
            peers=[
                Peer(
                    "numpy by critical sizes",
                    lambda: by_critical_sizes(sizes, fields, RAYS),
                    7,
                ),
                Peer(
                    "numpy, one size after another",
                    lambda: by_one_size_after_another(sizes[::50], fields, RAYS),
                    800,
                    len(sizes[::50]) / len(sizes),
                ),
            ],
            accuracy=accuracy,
            count=len(fields) * RAYS,
            pieces="rays",
            bound=(
                "60 products, three divisions and a root for each ray that is not sure to pass "
                "all sizes (two in five), and two counts in memory"
            ),
            repeats=5,
        )
    ]


def largest(a: Answer, b: Answer) -> float:
    """Return the largest difference."""
    return float(np.abs(np.asarray(a) - np.asarray(b)).max())
