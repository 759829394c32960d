"""Rays beside what a good user of numpy and numba would write, in one process.

A paraboloid with a spline figure, the elliptical flat's cut and shadow, the focal plane. Rounds
alternate between the peers; a row gives the median over the rounds of (peer's time / our time),
the quartiles of that ratio, and the goal. Times are those of the processor, so that other work on
the machine counts little; memory that others load still does. Needs numba and scipy. Run pinned to
one core, with one thread:

    export CATOPTRIC_NUM_THREADS=1 NUMBA_NUM_THREADS=1 OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1
    taskset -c 0 python benches/side_by_side_rays.py
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any

import catoptric as ct
import numba
import numpy as np
from scipy.interpolate import CubicSpline

FOCAL_MM, RIM_MM, AXIS_TO_FOCUS_MM, MINOR_MM = 1558.0, 159.0, 235.0, 70.0
PIECES = 16
BLOCK = 8192
SIZES = (1_000_000, 10_000_000)
Answer = Any

KNOTS_MM = np.linspace(0, RIM_MM, PIECES + 1)
HEIGHTS_NM = 30 * np.sin(KNOTS_MM / 14) - 150 * (KNOTS_MM / RIM_MM) ** 12


def train() -> ct.Train:
    """Return an invented telescope."""
    profile = ct.RadialProfile(radius_mm=KNOTS_MM, height_nm=HEIGHTS_NM)
    return ct.Train(
        primary=ct.Primary(
            clear_aperture_mm=2 * RIM_MM, focal_length_mm=FOCAL_MM, figure=[profile]
        ),
        diagonal=ct.Diagonal(minor_axis_mm=MINOR_MM),
        focal_plane=ct.FocalPlane(axis_to_focus_mm=AXIS_TO_FOCUS_MM),
    )


def rows_of_the_spline() -> Answer:
    """Return a row of coefficients for each piece, lowest power first."""
    spline = CubicSpline(KNOTS_MM, HEIGHTS_NM * 1e-6, bc_type=((1, 0.0), (2, 0.0)))
    return np.ascontiguousarray(spline.c[::-1].T)


def beam(count: int, tilt: float) -> tuple[Answer, Answer]:
    """Return starts and directions of a parallel beam over the mirror, six full columns."""
    k = np.arange(count) + 0.5
    r, turn = RIM_MM * np.sqrt(k / count), np.pi * (3 - np.sqrt(5)) * k
    down = np.sqrt(1 - tilt**2)
    x = r * np.cos(turn) + tilt / down * 2000
    origins = np.array([x, r * np.sin(turn), np.full(count, 2000.0)])
    directions = np.array([np.full(count, -tilt), np.zeros(count), np.full(count, -down)])
    return origins, directions


@numba.njit(fastmath=True, error_model="numpy", inline="always")
def one_ray(x, y, z, a, b, d, rows, offset):
    """Trace one ray: the conic, then one Newton step to the figure."""
    c, height = 0.5 / FOCAL_MM, FOCAL_MM - AXIS_TO_FOCUS_MM
    per_mm, width = PIECES / RIM_MM, RIM_MM / PIECES
    q2 = c * (a * a + b * b)
    q1 = c * (x * a + y * b) - d
    q0 = c * (x * x + y * y) - 2 * z
    t = -q0 / (q1 + np.sqrt(q1 * q1 - q2 * q0))
    px, py, pz, zx, zy = x, y, z, 0.0, 0.0
    for step in range(2):
        px, py = x + a * t, y + b * t
        r2 = px * px + py * py
        r = np.sqrt(r2)
        k = min(int(r * per_mm), PIECES - 1)
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
    reach = (FOCAL_MM - pz) / uz
    return px + ux * reach, py + uy * reach, passed


@numba.njit(parallel=True, fastmath=True, error_model="numpy")
def numba_spot(o, w, rows, offset, cx):
    """Return light, centroid and mean square, in sums about a centre."""
    count, along, across, square = 0.0, 0.0, 0.0, 0.0
    for i in numba.prange(o.shape[1]):
        x, y, passed = one_ray(o[0, i], o[1, i], o[2, i], w[0, i], w[1, i], w[2, i], rows, offset)
        lit = 1.0 if passed else 0.0
        x -= cx
        count += lit
        along += lit * x
        across += lit * y
        square += lit * (x * x + y * y)
    return count, along, across, square


@numba.njit(parallel=True, fastmath=True, error_model="numpy")
def numba_arrays(o, w, rows, offset, along, across, lit):
    """Fill arrays with places."""
    for i in numba.prange(o.shape[1]):
        x, y, passed = one_ray(o[0, i], o[1, i], o[2, i], w[0, i], w[1, i], w[2, i], rows, offset)
        along[i] = 1000 * x if passed else 0.0
        across[i] = 1000 * y if passed else 0.0
        lit[i] = passed


def numpy_rays(o: Answer, w: Answer, rows: Answer, offset: float) -> tuple[Answer, ...]:
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
        k = np.minimum((r * (PIECES / RIM_MM)).astype(np.int64), PIECES - 1)
        u = r - k * (RIM_MM / PIECES)
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
    reach = (FOCAL_MM - pz) / uz
    return px + ux * reach, py + uy * reach, lit


def numpy_sums(o: Answer, w: Answer, rows: Answer, offset: float, cx: float) -> Answer:
    """Return the sums that `numba_spot` returns."""
    x, y, lit = numpy_rays(o, w, rows, offset)
    x, y = x[lit] - cx, y[lit]
    return np.array([x.size, x.sum(), y.sum(), (x * x + y * y).sum()])


def in_blocks(o: Answer, w: Answer, rows: Answer, offset: float, cx: float) -> Answer:
    """Return the same, block by block."""
    total = np.zeros(4)
    for k in range(0, o.shape[1], BLOCK):
        total += numpy_sums(o[:, k : k + BLOCK], w[:, k : k + BLOCK], rows, offset, cx)
    return total


def rms_um(sums: Answer) -> float:
    """Return the RMS radius of such sums, um."""
    count, along, across, square = sums
    mean = (along / count) ** 2 + (across / count) ** 2
    return 1000 * float(np.sqrt(square / count - mean))


def timed(work: Callable[[], object], repeats: int) -> float:
    """Return the processor's seconds that one call takes."""
    start = time.process_time()
    for _ in range(repeats):
        work()
    return (time.process_time() - start) / repeats


def compare(
    title: str,
    rays: int,
    ours: Callable[[], object],
    peers: dict[str, tuple[Callable[[], object], float]],
    rounds: int,
    repeats: int = 1,
) -> None:
    """Print our time and the ratios of all peers, measured in turn."""
    ours()
    for peer, _ in peers.values():
        peer()
    mine: list[float] = []
    ratios: dict[str, list[float]] = {name: [] for name in peers}
    for _ in range(rounds):
        for name, (peer, _) in peers.items():
            own = timed(ours, repeats)
            mine.append(own)
            ratios[name].append(timed(peer, repeats) / own)
    own = float(np.median(mine))
    print(f"{title}: ours {1e3 * own:.4f} ms, {1e9 * own / rays:.2f} ns a ray")
    for name, found in ratios.items():
        low, middle, high = np.quantile(found, [0.25, 0.5, 0.75])
        goal = peers[name][1]
        print(f"    {name:30s} {middle:8.2f} x   ({low:.2f} to {high:.2f})   goal {goal:g}")


def main() -> None:
    """Measure and print all rows."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    telescope, tilt, rows = train(), 0.003, rows_of_the_spline()
    offset = float(telescope.diagonal_offset_mm)
    cx = -FOCAL_MM * tilt / np.sqrt(1 - tilt**2)
    field = 60 * np.degrees(np.arcsin(tilt))
    for count in SIZES:
        o, w = beam(count, tilt)
        rays = {"origins_mm": o, "directions": w}
        args = (o, w, rows, offset, cx)
        if count == 1_000_000:
            out = (np.empty(count), np.empty(count), np.empty(count, bool))
            telescope.trace_rays(**rays, out=out)
            spot = telescope.spot_of_rays(**rays)
            x, y, lit = numpy_rays(*args[:4])
            both = lit & out[2]
            apart = np.hypot(1000 * x - out[0], 1000 * y - out[1])[both].max() / 1000
            print(f"numpy's rays beside ours: {apart:.1e} mm apart at most;", end=" ")
            print(f"{int((lit ^ out[2]).sum())} pass in one alone, {int(both.sum())} in both")
            for name, sums in (("numba", numba_spot(*args)), ("numpy", in_blocks(*args))):
                off = rms_um(np.array(sums)) / spot.rms_radius_um - 1
                print(f"    RMS radius by {name}: {off:.1e} relative to ours")
            rings = telescope.spot_of_rings(field_arcmin=(field, 0), rings=1000, rays_per_ring=1000)
            fine = telescope.spot_of_rings(field_arcmin=(field, 0), rings=3000, rays_per_ring=3000)
            off = rings.rms_radius_um / fine.rms_radius_um - 1
            print(f"    RMS radius of 1000 x 1000 rings: {off:.1e} relative to 3000 x 3000")
        many = rounds if count == 1_000_000 else max(3, rounds // 3)
        name = f"{count:.0e}".replace("+0", "")

        def peers(
            goals: tuple[float, float, float], args: tuple[Any, ...] = args
        ) -> dict[str, tuple[Callable[[], object], float]]:
            return {
                "numba, tuned": (lambda: numba_spot(*args), goals[0]),
                "numpy in blocks": (lambda: in_blocks(*args), goals[1]),
                "numpy, whole arrays": (lambda: numpy_sums(*args), goals[2]),
            }

        compare(
            f"statistics of {name} given rays",
            count,
            lambda rays=rays: telescope.spot_of_rays(**rays),  # type: ignore[misc]
            peers((4, 25, 40)),
            many,
        )
        ring = round(count**0.5)
        compare(
            f"statistics of {name} rays of our own rings",
            ring * ring,
            lambda ring=ring: telescope.spot_of_rings(  # type: ignore[misc]
                field_arcmin=(field, 0), rings=ring, rays_per_ring=ring
            ),
            peers((12, 75, 120)),
            many,
        )
    o, w = beam(1_000_000, tilt)
    rays = {"origins_mm": o, "directions": w}
    out = (np.empty(1_000_000), np.empty(1_000_000), np.empty(1_000_000, bool))
    mine = tuple(a.copy() for a in out)

    def blocked(arrays: tuple[Answer, ...]) -> None:
        for k in range(0, 1_000_000, BLOCK):
            part = slice(k, k + BLOCK)
            x, y, lit = numpy_rays(o[:, part], w[:, part], rows, offset)
            arrays[0][part] = np.where(lit, 1000 * x, 0)
            arrays[1][part] = np.where(lit, 1000 * y, 0)
            arrays[2][part] = lit

    def fresh() -> tuple[Answer, ...]:
        return (np.empty(1_000_000), np.empty(1_000_000), np.empty(1_000_000, bool))

    def whole() -> object:
        x, y, lit = numpy_rays(o, w, rows, offset)
        return np.where(lit, 1000 * x, 0), np.where(lit, 1000 * y, 0), lit

    compare(
        "arrays of 1e6 rays, the caller's",
        1_000_000,
        lambda: telescope.trace_rays(**rays, out=mine),
        {
            "numba, tuned": (lambda: numba_arrays(o, w, rows, offset, *out), 4.5),
            "numpy in blocks": (lambda: blocked(out), 22),
            "numpy, whole arrays": (whole, 42),
        },
        rounds,
    )
    compare(
        "arrays of 1e6 rays, fresh (ours with a fourth, the light)",
        1_000_000,
        lambda: telescope.trace_rays(**rays),
        {
            "numba, tuned": (lambda: numba_arrays(o, w, rows, offset, *fresh()), 2.5),
            "numpy in blocks": (lambda: blocked(fresh()), 11),
            "numpy, whole arrays": (whole, 20),
        },
        rounds,
    )
    few_o, few_w = beam(200, tilt)
    few = {"origins_mm": few_o, "directions": few_w}
    numpy_few = (lambda: numpy_sums(few_o, few_w, rows, offset, cx), 15.0)
    compare(
        "one spot of 200 given rays",
        200,
        lambda: telescope.spot_of_rays(**few),
        {"numpy": numpy_few},
        3 * rounds,
        200,
    )
    compare(
        "one spot of 200 rays of our own rings",
        200,
        lambda: telescope.spot_of_rings(field_arcmin=(10.0, 0.0), rings=10, rays_per_ring=20),
        {"numpy": numpy_few},
        3 * rounds,
        200,
    )


if __name__ == "__main__":
    main()
