"""Rays through a paraboloid with a spline figure, past the flat's shadow and face, to the focus.

The rays are a parallel beam over the mirror, six full columns. Truth: own rays in 40 digits,
tests/data/rays.json (mpmath), which every peer is held against as well.

numba is tuned: parallel, fast mathematics, no checks of division, a constant number of steps, which
is what makes its loop a vector loop.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path
from typing import Any

import catoptric as ct
import numba
import numpy as np
from scipy.interpolate import CubicSpline

from .measure import Accuracy, Peer, Row

FOCAL_MM, RIM_MM, AXIS_TO_FOCUS_MM, MINOR_MM = 1558.0, 159.0, 235.0, 70.0
PIECES = 16
BLOCK = 8192
TILT = 0.003
CENTRE_MM = -FOCAL_MM * TILT / np.sqrt(1 - TILT**2)
FIELD_ARCMIN = 60 * np.degrees(np.arcsin(TILT))
TRUTH = Path(__file__).parents[2] / "tests" / "data" / "rays.json"
PLACE_MM = 2e-12
Answer = Any

KNOTS_MM = np.linspace(0, RIM_MM, PIECES + 1)
HEIGHTS_NM = 30 * np.sin(KNOTS_MM / 14) - 150 * (KNOTS_MM / RIM_MM) ** 12


def train(knots_mm: Answer, heights_nm: Answer, *, flat: bool) -> ct.Train:
    """Return an invented telescope with such a figure."""
    profile = ct.RadialProfile(radius_mm=knots_mm, height_nm=heights_nm)
    primary = ct.Primary(clear_aperture_mm=2 * RIM_MM, focal_length_mm=FOCAL_MM, figure=[profile])
    if not flat:
        return ct.Train(primary=primary)
    plane = ct.FocalPlane(axis_to_focus_mm=AXIS_TO_FOCUS_MM)
    return ct.Train(
        primary=primary, diagonal=ct.Diagonal(minor_axis_mm=MINOR_MM), focal_plane=plane
    )


def rows_of_the_spline(knots_mm: Answer, heights_nm: Answer) -> Answer:
    """Return a row of coefficients for each piece, lowest power first."""
    ends = ((1, 0.0), (2, 0.0))
    spline = CubicSpline(knots_mm, np.asarray(heights_nm) * 1e-6, bc_type=ends)
    return np.ascontiguousarray(spline.c[::-1].T)


def beam(count: int) -> tuple[Answer, Answer]:
    """Return starts and directions of a parallel beam over the mirror, six full columns."""
    k = np.arange(count) + 0.5
    r, turn = RIM_MM * np.sqrt(k / count), np.pi * (3 - np.sqrt(5)) * k
    down = np.sqrt(1 - TILT**2)
    x = r * np.cos(turn) + TILT / down * 2000
    origins = np.array([x, r * np.sin(turn), np.full(count, 2000.0)])
    directions = np.array([np.full(count, -TILT), np.zeros(count), np.full(count, -down)])
    return origins, directions


@numba.njit(fastmath=True, error_model="numpy", inline="always")
def one_ray(x, y, z, a, b, d, rows, width, offset, plane):
    """Trace one ray: the conic, then one Newton step to the figure."""
    c, height = 0.5 / FOCAL_MM, FOCAL_MM - AXIS_TO_FOCUS_MM
    per_mm, last = 1 / width, rows.shape[0] - 1
    q2 = c * (a * a + b * b)
    q1 = c * (x * a + y * b) - d
    q0 = c * (x * x + y * y) - 2 * z
    t = -q0 / (q1 + np.sqrt(q1 * q1 - q2 * q0))
    px, py, pz, zx, zy = x, y, z, 0.0, 0.0
    for step in range(2):
        px, py = x + a * t, y + b * t
        r2 = px * px + py * py
        r = np.sqrt(r2)
        k = min(int(r * per_mm), last)
        u = r - k * width
        h = rows[k, 0] + u * (rows[k, 1] + u * (rows[k, 2] + u * rows[k, 3]))
        s = rows[k, 1] + u * (2 * rows[k, 2] + u * 3 * rows[k, 3])
        steep = c + s / max(r, 1e-300)
        zx, zy, pz = px * steep, py * steep, 0.5 * c * r2 + h
        if step == 0:
            t -= (z + d * t - pz) / (d - zx * a - zy * b)
    m = 2 * (d - zx * a - zy * b) / (1 + zx * zx + zy * zy)
    ux, uy, uz = a + m * zx, b + m * zy, d - m
    down = (height + x - z) / (d - a)
    up = (height + px - pz) / (uz - ux)
    dark = (x + a * down + offset) ** 2 + (y + b * down) ** 2 < (MINOR_MM / 2) ** 2
    face = (px + ux * up + offset) ** 2 + (py + uy * up) ** 2 <= (MINOR_MM / 2) ** 2
    passed = (px * px + py * py <= RIM_MM**2) & face & (not dark)
    reach = (plane - pz) / uz
    return px + ux * reach, py + uy * reach, passed


@numba.njit(parallel=True, fastmath=True, error_model="numpy")
def numba_sums(o, w, rows, width, offset, plane):
    """Return light, centroid and mean square, in sums about a centre."""
    count, along, across, square = 0.0, 0.0, 0.0, 0.0
    for i in numba.prange(o.shape[1]):
        x, y, passed = one_ray(
            o[0, i], o[1, i], o[2, i], w[0, i], w[1, i], w[2, i], rows, width, offset, plane
        )
        lit = 1.0 if passed else 0.0
        x -= CENTRE_MM
        count += lit
        along += lit * x
        across += lit * y
        square += lit * (x * x + y * y)
    return count, along, across, square


@numba.njit(parallel=True, fastmath=True, error_model="numpy")
def numba_arrays(o, w, rows, width, offset, plane, along, across, lit):
    """Fill arrays with places in um and who passes."""
    for i in numba.prange(o.shape[1]):
        x, y, passed = one_ray(
            o[0, i], o[1, i], o[2, i], w[0, i], w[1, i], w[2, i], rows, width, offset, plane
        )
        along[i] = 1000 * x if passed else 0.0
        across[i] = 1000 * y if passed else 0.0
        lit[i] = passed


@numba.njit(parallel=True, fastmath=True, error_model="numpy")
def numba_places(o, w, rows, width, offset, plane, along, across):
    """Fill arrays with the places of all rays, stopped or not."""
    for i in numba.prange(o.shape[1]):
        x, y, _ = one_ray(
            o[0, i], o[1, i], o[2, i], w[0, i], w[1, i], w[2, i], rows, width, offset, plane
        )
        along[i], across[i] = 1000 * x, 1000 * y


def numpy_rays(
    o: Answer, w: Answer, rows: Answer, width: float, offset: float, plane: float
) -> tuple[Answer, ...]:
    """Trace whole arrays: places in mm and who passes."""
    (x, y, z), (a, b, d) = o, w
    c, height = 0.5 / FOCAL_MM, FOCAL_MM - AXIS_TO_FOCUS_MM
    q2 = c * (a * a + b * b)
    q1 = c * (x * a + y * b) - d
    q0 = c * (x * x + y * y) - 2 * z
    t = -q0 / (q1 + np.sqrt(q1 * q1 - q2 * q0))
    for step in range(2):
        px, py = x + a * t, y + b * t
        r2 = px * px + py * py
        r = np.sqrt(r2)
        k = np.minimum((r * (1 / width)).astype(np.int64), len(rows) - 1)
        u = r - k * width
        c0, c1, c2, c3 = rows[k].T
        h = c0 + u * (c1 + u * (c2 + u * c3))
        s = c1 + u * (2 * c2 + u * (3 * c3))
        steep = c + s / np.maximum(r, 1e-300)
        zx, zy, pz = px * steep, py * steep, 0.5 * c * r2 + h
        if step == 0:
            t -= (z + d * t - pz) / (d - zx * a - zy * b)
    m = 2 * (d - zx * a - zy * b) / (1 + zx * zx + zy * zy)
    ux, uy, uz = a + m * zx, b + m * zy, d - m
    down = (height + x - z) / (d - a)
    up = (height + px - pz) / (uz - ux)
    limit = (MINOR_MM / 2) ** 2
    lit = (x + a * down + offset) ** 2 + (y + b * down) ** 2 >= limit
    lit &= (px + ux * up + offset) ** 2 + (py + uy * up) ** 2 <= limit
    lit &= px * px + py * py <= RIM_MM**2
    reach = (plane - pz) / uz
    return px + ux * reach, py + uy * reach, lit


def numpy_sums(o: Answer, w: Answer, *rest: Answer) -> Answer:
    """Return the sums that `numba_sums` returns."""
    x, y, lit = numpy_rays(o, w, *rest)
    x, y = x[lit] - CENTRE_MM, y[lit]
    return np.array([x.size, x.sum(), y.sum(), (x * x + y * y).sum()])


def sums_in_blocks(o: Answer, w: Answer, *rest: Answer) -> Answer:
    """Return the same, block by block."""
    total = np.zeros(4)
    for k in range(0, o.shape[1], BLOCK):
        total += numpy_sums(o[:, k : k + BLOCK], w[:, k : k + BLOCK], *rest)
    return total


def numpy_arrays(o: Answer, w: Answer, *rest: Answer) -> tuple[Answer, ...]:
    """Return whole arrays of places in um and who passes."""
    x, y, lit = numpy_rays(o, w, *rest)
    return np.where(lit, 1000 * x, 0), np.where(lit, 1000 * y, 0), lit


def arrays_in_blocks(out: tuple[Answer, ...], o: Answer, w: Answer, *rest: Answer) -> None:
    """Fill such arrays, block by block."""
    for k in range(0, o.shape[1], BLOCK):
        part = slice(k, k + BLOCK)
        filled = numpy_arrays(o[:, part], w[:, part], *rest)
        for array, values in zip(out, filled, strict=True):
            array[part] = values


def fresh(count: int) -> tuple[Answer, ...]:
    """Return room for places and who passes."""
    return np.empty(count), np.empty(count), np.empty(count, bool)


def rms_um(sums: Answer) -> float:
    """Return the RMS radius of such sums, um."""
    count, along, across, square = sums
    mean = (along / count) ** 2 + (across / count) ** 2
    return 1000 * float(np.sqrt(square / count - mean))


@cache
def errors_mm() -> dict[str, float]:
    """Return how far our rays and those of the peers land from rays in 40 digits, mm, at most."""
    table = json.loads(TRUTH.read_text())["rows"]
    rays = [r for r in table if r["figure"] == "spline" and r["conic"] == -1.0]
    assert len(rays) >= 9, "the truth of this file"
    # The figure of tests/data/make_rays.py: pieces of 25 mm, the last one shorter.
    knots_mm = [0, 25, 50, 75, 100, 125, 150, 159]
    heights_nm = [12, -30, 45, 8, -21, 60, -15, -140]
    ours, rows = train(knots_mm, heights_nm, flat=False), rows_of_the_spline(knots_mm, heights_nm)
    worst = dict.fromkeys(("ours", "numba", "numpy"), 0.0)
    for ray in rays:
        o = np.array([[ray[f"origin_{axis}_mm"]] for axis in "xyz"])
        w = np.array([[ray[f"direction_{axis}"]] for axis in "xyz"])
        # A whole block of one ray, so that the vector loops are asked, not what is left over.
        o, w = np.repeat(o, 512, 1), np.repeat(w, 512, 1)
        shift_mm = ray["focus_shift_mm"]
        mine = ours.trace_rays(origins_mm=o, directions=w, focus_shift_mm=shift_mm)
        rest = (rows, 25.0, 0.0, FOCAL_MM + shift_mm)
        along, across, _ = fresh(512)
        numba_places(o, w, *rest, along, across)
        x, y, _ = numpy_rays(o, w, *rest)
        found = {
            "ours": (mine["along_um"], mine["across_um"]),
            "numba": (along, across),
            "numpy": (1000 * x, 1000 * y),
        }
        for name, (x_um, y_um) in found.items():
            off_um = np.hypot(x_um - ray["along_um"], y_um - ray["across_um"]).max()
            worst[name] = max(worst[name], off_um / 1000)
    return worst


def places() -> list[Accuracy]:
    """Return the accuracy of single rays."""
    return [
        Accuracy(f"{name}: rays beside 40 digits, mm", off, PLACE_MM if name == "ours" else None)
        for name, off in errors_mm().items()
    ]


def asked(count: int) -> tuple[ct.Train, Answer, Answer, tuple[Any, ...]]:
    """Return the telescope, starts and directions of rays, and what the peers know of the rest."""
    telescope = train(KNOTS_MM, HEIGHTS_NM, flat=True)
    rest = (
        rows_of_the_spline(KNOTS_MM, HEIGHTS_NM),
        RIM_MM / PIECES,
        float(telescope.diagonal_offset_mm),
        FOCAL_MM,
    )
    return telescope, *beam(count), rest


def statistics(count: int) -> tuple[Row, Row]:
    """Return the rows of statistics: of given rays, and of rays on the library's own rings."""
    telescope, o, w, rest = asked(count)
    ours = partial(telescope.spot_of_rays, origins_mm=o, directions=w)
    ring = round(count**0.5)
    rings = partial(
        telescope.spot_of_rings, field_arcmin=(FIELD_ARCMIN, 0), rings=ring, rays_per_ring=ring
    )

    def peers(*goals: float) -> list[Peer]:
        return [
            Peer("numba, tuned", partial(numba_sums, o, w, *rest), goals[0]),
            Peer("numpy in blocks", partial(sums_in_blocks, o, w, *rest), goals[1]),
            Peer("numpy, whole arrays", partial(numpy_sums, o, w, *rest), goals[2]),
        ]

    def given() -> list[Accuracy]:
        spot, by_numba, by_numpy = ours(), numba_sums(o, w, *rest), sums_in_blocks(o, w, *rest)
        return [
            *places(),
            Accuracy("rays that pass, ours less numpy's", abs(spot.passed - by_numpy[0]), 0),
            Accuracy(
                "RMS radius beside numpy", abs(spot.rms_radius_um / rms_um(by_numpy) - 1), 1e-9
            ),
            Accuracy(
                "RMS radius of numba beside numpy", abs(rms_um(by_numba) / rms_um(by_numpy) - 1)
            ),
        ]

    def own() -> list[Accuracy]:
        fine = telescope.spot_of_rings(
            field_arcmin=(FIELD_ARCMIN, 0), rings=3000, rays_per_ring=3000
        )
        lines = (
            ("ours", rings().rms_radius_um),
            ("numba", rms_um(numba_sums(o, w, *rest))),
        )
        # Weights by the beam's cross-section, which rays even over the sky have of themselves.
        return [
            Accuracy(
                f"RMS radius, {name}, beside 3000 x 3000 rings",
                abs(rms / fine.rms_radius_um - 1),
                4e-5 if name == "ours" else None,
            )
            for name, rms in lines
        ]

    size = f"{count:.0e}".replace("+0", "")
    return (
        Row(
            f"statistics of {size} given rays",
            ours,
            peers(4, 25, 40),
            given,
            count,
            "rays",
            "15 cycles a ray of products, divisions and roots; 1.3 ns of six columns from memory",
        ),
        Row(
            f"statistics of {size} rays on our own rings",
            rings,
            peers(12, 75, 120),
            own,
            ring * ring,
            "rays",
            "0.56 ns a ray: products and one division",
        ),
    )


def arrays(count: int) -> tuple[Row, Row]:
    """Return the rows of arrays: into the caller's, and into new ones."""
    telescope, o, w, rest = asked(count)
    out, mine = fresh(count), fresh(count)
    trace = partial(telescope.trace_rays, origins_mm=o, directions=w)

    def accuracy() -> list[Accuracy]:
        trace(out=mine)
        x, y, lit = numpy_rays(o, w, *rest)
        both = lit & mine[2]
        apart = np.hypot(1000 * x - mine[0], 1000 * y - mine[1])[both].max() / 1000
        alone = float((lit ^ mine[2]).sum())
        return [
            *places(),
            Accuracy("ours beside numpy, mm", apart, 4e-12),
            Accuracy("rays that pass in one alone", alone, 0),
        ]

    def peers(room: Callable[[], tuple[Answer, ...]], *goals: float) -> list[Peer]:
        return [
            Peer("numba, tuned", lambda: numba_arrays(o, w, *rest, *room()), goals[0]),
            Peer("numpy in blocks", lambda: arrays_in_blocks(room(), o, w, *rest), goals[1]),
            Peer("numpy, whole arrays", partial(numpy_arrays, o, w, *rest), goals[2]),
        ]

    bound = (
        "15 cycles a ray of products, divisions and roots; 1.2 ns of six columns from memory, "
        "three to it"
    )
    return (
        Row(
            f"arrays of {count:.0e} rays, the caller's".replace("+0", ""),
            partial(trace, out=mine),
            peers(lambda: out, 4.5, 22, 42),
            accuracy,
            count,
            "rays",
            bound,
        ),
        Row(
            f"arrays of {count:.0e} rays, fresh (ours with the light)".replace("+0", ""),
            trace,
            peers(lambda: fresh(count), 2.5, 11, 20),
            accuracy,
            count,
            "rays",
            bound + "; and the making of the arrays",
        ),
    )


def rows() -> list[Row]:
    """Return all rows; single spots of few rays stand in `calls.py`."""
    million, ten = statistics(1_000_000), statistics(10_000_000)
    return [*million, *ten, *arrays(1_000_000)]
