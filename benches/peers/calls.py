"""What a call costs: one spot of 200 rays, properties, and a train with one thing changed."""

from __future__ import annotations

import dataclasses

import catoptric as ct
import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from .measure import Accuracy, Peer, Row

FOCAL_MM, RIM_MM, AXIS_TO_FOCUS_MM, MINOR_MM = 1558.0, 159.0, 235.0, 70.0
RAYS, TILT, MANY = 200, 0.003, 1000

Columns = npt.NDArray[np.float64]

PIECES = 16
KNOTS_MM = np.linspace(0, RIM_MM, PIECES + 1)
HEIGHTS_NM = 30 * np.sin(KNOTS_MM / 14) - 150 * (KNOTS_MM / RIM_MM) ** 12


def splined() -> ct.Train:
    """Return the telescope whose figure is a spline."""
    return train(figure=[ct.RadialProfile(radius_mm=KNOTS_MM, height_nm=HEIGHTS_NM)])


def spline_rows() -> Columns:
    """Return a row of the spline's coefficients for each piece, mm, lowest power first."""
    spline = CubicSpline(KNOTS_MM, HEIGHTS_NM * 1e-6, bc_type=((1, 0.0), (2, 0.0)))
    return np.ascontiguousarray(spline.c[::-1].T)


def train(**mirror: object) -> ct.Train:
    """Return an invented telescope."""
    return ct.Train(
        primary=ct.Primary(clear_aperture_mm=2 * RIM_MM, focal_length_mm=FOCAL_MM, **mirror),
        diagonal=ct.Diagonal(minor_axis_mm=MINOR_MM),
        focal_plane=ct.FocalPlane(axis_to_focus_mm=AXIS_TO_FOCUS_MM),
    )


def beam() -> tuple[Columns, Columns]:
    """Return starts and directions of a parallel beam over the mirror, six full columns."""
    k = np.arange(RAYS) + 0.5
    r, turn = RIM_MM * np.sqrt(k / RAYS), np.pi * (3 - np.sqrt(5)) * k
    down = np.sqrt(1 - TILT**2)
    x = r * np.cos(turn) + TILT / down * 2000
    origins = np.array([x, r * np.sin(turn), np.full(RAYS, 2000.0)])
    return origins, np.array([np.full(RAYS, -TILT), np.zeros(RAYS), np.full(RAYS, -down)])


def numpy_spot(
    o: Columns, w: Columns, coefficients: Columns, offset_mm: float
) -> tuple[int, float]:
    """Trace whole arrays; return who passes and the RMS radius, um."""
    (x, y, z), (a, b, d) = o, w
    c, height = 0.5 / FOCAL_MM, FOCAL_MM - AXIS_TO_FOCUS_MM
    q1 = c * (x * a + y * b) - d
    q0 = c * (x * x + y * y) - 2 * z
    t = -q0 / (q1 + np.sqrt(q1 * q1 - c * (a * a + b * b) * q0))
    for step in range(2):
        px, py = x + a * t, y + b * t
        r2 = px * px + py * py
        r = np.sqrt(r2)
        k = np.minimum((r * (PIECES / RIM_MM)).astype(np.int64), PIECES - 1)
        u = r - k * (RIM_MM / PIECES)
        c0, c1, c2, c3 = coefficients[k].T
        steep = c + (c1 + u * (2 * c2 + u * (3 * c3))) / np.maximum(r, 1e-300)
        zx, zy = px * steep, py * steep
        pz = 0.5 * c * r2 + c0 + u * (c1 + u * (c2 + u * c3))
        if step == 0:
            t -= (z + d * t - pz) / (d - zx * a - zy * b)
    m = 2 * (d - zx * a - zy * b) / (1 + zx * zx + zy * zy)
    ux, uy, uz = a + m * zx, b + m * zy, d - m
    limit = (MINOR_MM / 2) ** 2
    down, up = (height + x - z) / (d - a), (height + px - pz) / (uz - ux)
    lit = (x + a * down + offset_mm) ** 2 + (y + b * down) ** 2 >= limit
    lit &= (px + ux * up + offset_mm) ** 2 + (py + uy * up) ** 2 <= limit
    lit &= r2 <= RIM_MM**2
    reach = (FOCAL_MM - pz) / uz
    along, across = (px + ux * reach)[lit], (py + uy * reach)[lit]
    along -= along.mean()
    across -= across.mean()
    return along.size, 1000 * float(np.sqrt((along * along + across * across).mean()))


def rows() -> list[Row]:
    """Return the rows of this theme."""
    return [given_rays(), own_rings(), a_property(), *changed_trains()]


def given_rays() -> Row:
    """Compare statistics of 200 rays that the caller gives."""
    telescope, (o, w), coefficients = splined(), beam(), spline_rows()
    offset_mm = float(telescope.diagonal_offset_mm or 0.0)

    def accuracy() -> list[Accuracy]:
        passed, rms_um = numpy_spot(o, w, coefficients, offset_mm)
        spot = telescope.spot_of_rays(origins_mm=o, directions=w)
        return [
            Accuracy("rays that pass in one alone", abs(spot.passed - passed), 0),
            Accuracy(
                "RMS radius beside numpy's, relative", abs(spot.rms_radius_um / rms_um - 1), 1e-9
            ),
        ]

    return Row(
        "one spot of 200 given rays",
        lambda: telescope.spot_of_rays(origins_mm=o, directions=w),
        [Peer("numpy", lambda: numpy_spot(o, w, coefficients, offset_mm), goal=15)],
        accuracy,
        count=1,
        pieces="spots",
        bound="the call itself: arguments checked and read, a result made, about 1 us",
        repeats=MANY,
    )


def own_rings() -> Row:
    """Compare the same from the library's own pupil."""
    telescope, (o, w), coefficients = splined(), beam(), spline_rows()
    offset_mm = float(telescope.diagonal_offset_mm or 0.0)
    field = (60 * float(np.degrees(np.arcsin(TILT))), 0.0)

    def accuracy() -> list[Accuracy]:
        few = telescope.spot_of_rings(field_arcmin=field, rings=10, rays_per_ring=20)
        fine = telescope.spot_of_rings(field_arcmin=field, rings=2000, rays_per_ring=2000)
        _, rms_um = numpy_spot(o, w, coefficients, offset_mm)
        truth = fine.rms_radius_um
        return [
            Accuracy(
                "RMS radius of 10 x 20 rings, relative", abs(few.rms_radius_um / truth - 1), 0.03
            ),
            Accuracy("numpy's of as many rays, relative", abs(rms_um / truth - 1)),
        ]

    return Row(
        "one spot of 200 rays of our own rings",
        lambda: telescope.spot_of_rings(field_arcmin=field, rings=10, rays_per_ring=20),
        [Peer("numpy", lambda: numpy_spot(o, w, coefficients, offset_mm), goal=15)],
        accuracy,
        count=1,
        pieces="spots",
        bound="the call itself, about 1 us",
        repeats=MANY,
    )


@dataclasses.dataclass(frozen=True, slots=True)
class Plain:
    """A record as Python has it."""

    minor_axis_mm: float


def a_property() -> Row:
    """Compare reading a number of a part with reading one of a plain record."""
    part, plain = ct.Diagonal(minor_axis_mm=MINOR_MM), Plain(MINOR_MM)

    def ours() -> None:
        for _ in range(MANY):
            _ = part.minor_axis_mm

    def theirs() -> None:
        for _ in range(MANY):
            _ = plain.minor_axis_mm

    return Row(
        "1000 readings of a property",
        ours,
        [Peer("attribute of a frozen dataclass", theirs)],
        lambda: [Accuracy("difference", abs(part.minor_axis_mm - plain.minor_axis_mm), 0.0)],
        count=MANY,
        pieces="readings",
        bound="a call through the interpreter's C interface and a new float: no plain attribute",
        repeats=20,
    )


def changed_trains() -> list[Row]:
    """Compare a changed copy with the same train made and compiled whole, up to its first spot."""
    x = np.arange(512)
    height_nm = 10 * np.sin(x / 20)[:, None] + 8 * np.cos(x / 31)
    height_map = ct.HeightMap(
        height_nm=height_nm, pixel_mm=330 / 511, rows_run="-y", columns_run="+x"
    )
    film = ct.MetalFilm(metal="aluminium", thickness_nm=90)
    ring = ct.ThinRing(inner_radius_mm=60, outer_radius_mm=80, thickness_nm=40, softness_mm=2)
    worn = ct.Coating(metal=ct.MetalCoat(film=film, rings=[ring]))
    return [
        changed_row("a height map of 512 x 512", {"figure": [height_map]}, repeats=1),
        changed_row("a worn film of metal", {"coating": worn}, repeats=3),
    ]


def changed_row(what: str, mirror: dict[str, object], repeats: int) -> Row:
    """Compare both ways to a mirror of this kind behind another diagonal."""
    given = train(**mirror)
    first_spot(given)
    state = {"minor_axis_mm": MINOR_MM}

    def another() -> ct.Diagonal:
        state["minor_axis_mm"] += 1e-6
        return ct.Diagonal(minor_axis_mm=state["minor_axis_mm"])

    def whole(flat: ct.Diagonal) -> ct.Train:
        return ct.Train(primary=given.primary, diagonal=flat, focal_plane=given.focal_plane)

    def accuracy() -> list[Accuracy]:
        flat = another()
        ours, theirs = first_spot(given.with_diagonal(flat)), first_spot(whole(flat))
        return [Accuracy("spots that differ in a bit", float(ours != theirs), 0.0)]

    return Row(
        f"another diagonal before a mirror with {what}, up to the first spot",
        lambda: first_spot(given.with_diagonal(another())),
        [Peer("the train made whole", lambda: first_spot(whole(another())))],
        accuracy,
        count=1,
        pieces="trains",
        bound="the call, the stops made anew, and 200 rays",
        repeats=repeats,
    )


def first_spot(telescope: ct.Train) -> ct.RaySpot:
    """Return the spot that makes a train compile whatever a spot needs."""
    return telescope.spot_of_rings(rings=10, rays_per_ring=20)
