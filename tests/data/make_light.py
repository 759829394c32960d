"""Share of a star's light that each part stops, in the folded space -> light.json,
light_drawn.json.

Hand-picked hard trains (light.json) and twenty drawn from seed 20 (light_drawn.json). A row of
kind "train" holds the sizes; the rows of kind "light" that name it hold, for one star (or the
lamp at `lamp_distance_mm`), the shares of the parts in the order in which light meets them
(`parts` of the train: front opening, diagonal's shadow, holder, mask, diagonal, then what lies
beyond the flat by its distance from the tube's axis), and what is lit. Each hit point (x, y) of
the clear aperture carries the cross-section of the beam |d.N| dx dy, of a lamp times the strength
of its light there; all is divided by the whole.

The geometry (folded.py) is that of the real telescope, laws of reflection and straight lines
alone: the flat where it really stands, with its errors of place and tilt, its thickness and its
bevel; the parts of the focuser about the line from the tube's axis along +x. A drawtube is its
two ends: a straight line that passes both passes the wall between. Left out: the notch that a
drawtube cuts into the light on its way down, and light that meets the flat's back or edge on its
way up (nothing of it reaches the focuser).

Two ways, both for every row. Rows in panels (row_panels.py), by rows along x and again by rows
along y: the mean is kept, "rows_minus_columns" is the largest difference of a share, and "change"
the sum of all differences at the last halving of the panels. Rays judged one by one (4.0 million,
two in each of 1414 x 1414 cells of the aperture), by code of its own: "sampled" and
"sampled_4_sigma" (four standard deviations from the cells' own scatter, and eight rays). The last
row of every fourth train has "returns_alone", what would pass more without that part, and
"lit_without_shadow", what would pass without the shadows of diagonal and holder (rows along x
only). The script raises where the two disagree beyond that, or where rows and columns differ by
more than 1e-11.
"""

import sys
import time

import numpy as np
from exact import write
from folded import ARCMIN, Scene, fitted_offset, smallest_flat, star_of
from row_panels import GRID, Rows, sampled

SIDE = 1414
SEED = 20
EVERY = 4


def sizes(aperture, focal, conic=-1.0, **rest):
    return {"clear_aperture_mm": aperture, "focal_length_mm": focal, "conic": conic, **rest}


def flat(to_focus, minor, offset=None, **rest):
    """Focal plane and diagonal; the offset is the fitted one unless stated."""
    return {"axis_to_focus_mm": to_focus, "minor_axis_mm": minor, "offset_mm": offset, **rest}


def body(thickness, edge, bevel=0.0):
    return {"thickness_mm": thickness, "edge": edge, "bevel_mm": bevel}


def ring(diameter, height):
    return {"front_opening_diameter_mm": diameter, "front_opening_above_vertex_mm": height}


def tube(bore, length, outer):
    return {
        "drawtube_bore_mm": bore,
        "drawtube_length_mm": length,
        "drawtube_outer_end_to_focus_mm": outer,
    }


def board(hole, distance):
    return {"board_hole_mm": hole, "axis_to_board_mm": distance}


def filter_ring(diameter, before):
    return {"ring_diameter_mm": diameter, "ring_before_focus_mm": before}


def sensor(along, across, rotation, before):
    return {
        "sensor_along_mm": along,
        "sensor_across_mm": across,
        "sensor_rotation_deg": rotation,
        "sensor_before_focus_mm": before,
    }


def holder(diameter, height):
    return {"holder_diameter_mm": diameter, "holder_above_vertex_mm": height}


ERRORS = {
    "toward_primary_mm": 3.5,
    "toward_focuser_mm": -3.0,
    "across_mm": 2.5,
    "nod_arcmin": 40.0,
    "roll_arcmin": -55.0,
    "turn_arcmin": 75.0,
}
POND = sizes(406.0, 2030.0) | ring(460.0, 2150.0)
MIDDLE = (
    sizes(254.0, 1270.0) | tube(45.0, 60.0, 22.0) | board(56.0, 160.0) | filter_ring(40.0, 12.0)
)
STRAIGHT = MIDDLE | flat(225.0, 57.0) | ring(282.0, 1240.0)


def hard():
    """Name, sizes, and image points (along, across) in mm or stars ("arcmin", a, b)."""
    yield (
        "ponds, thick flat",
        POND | flat(340.0, 63.5) | body(14.0, "along_tube", 1.0) | tube(47.0, 70.0, 55.0),
        [(0.0, 0.0), (11.0, -4.0)],
    )
    yield (
        "ponds, board and sensor",
        POND
        | flat(340.0, 88.9)
        | tube(47.0, 70.0, 55.0)
        | board(62.0, 232.0)
        | sensor(23.5, 15.7, 0.0, 17.5),
        [(0.0, 0.0), (11.5, 7.5), (-12.6, 0.0), (0.0, 9.0)],
    )
    yield (
        "thick flat cut square, no offset",
        sizes(200.0, 800.0)
        | flat(150.0, 52.0, 0.0)
        | body(12.0, "square_to_face", 0.8)
        | ring(204.0, 900.0)
        | tube(32.0, 40.0, 15.0),
        [(0.0, 0.0), (-9.0, 0.0), (5.0, 8.0)],
    )
    for name, value in ERRORS.items():
        yield f"misplaced: {name}", STRAIGHT | {name: value}, [(0.0, 0.0), (9.0, -13.0)]
    yield (
        "misplaced in all six, sphere",
        STRAIGHT | ERRORS | {"conic": 0.0} | body(15.0, "along_tube", 0.7) | holder(50.0, 1075.0),
        [(0.0, 0.0), (-12.0, 8.0)],
    )
    yield (
        "misplaced in all six, thick and square, sensor turned",
        sizes(254.0, 1270.0, -0.9)
        | ERRORS
        | flat(225.0, 68.0)
        | body(15.0, "square_to_face", 1.2)
        | tube(45.0, 60.0, 22.0)
        | sensor(17.6, 13.3, 30.0, 14.0),
        [(0.0, 0.0), (7.0, 8.5)],
    )
    yield (
        "the centre hidden by the drawtube",
        sizes(300.0, 1350.0) | flat(245.0, 82.0) | tube(40.0, 45.0, 42.0),
        [(22.5, 0.0), (-14.0, 19.0), (0.0, 25.1)],
    )
    yield (
        "the centre hidden by the flat's rim",
        sizes(250.0, 1250.0) | flat(200.0, 50.0, 14.0) | {"across_mm": 24.0} | ring(262.0, 1300.0),
        [(0.0, 0.0), (0.0, 6.0), (4.0, -9.0)],
    )
    yield (
        "the centre hidden by the board",
        sizes(250.0, 1125.0, -1.1)
        | flat(190.0, 66.0)
        | board(38.0, 150.0)
        | tube(52.0, 40.0, 10.0),
        [(0.0, 21.5), (14.0, 16.5)],
    )
    yield (
        "the centre hidden by the sensor's mask",
        sizes(250.0, 950.0)
        | flat(200.0, 78.0)
        | sensor(17.6, 13.3, -20.0, 16.0)
        | filter_ring(28.0, 30.0),
        [(9.9, -3.6), (10.0, 5.0), (8.4, 0.0)],
    )
    yield (
        "the shadow over the rim",
        sizes(150.0, 900.0) | flat(115.0, 60.0) | holder(118.0, 840.0) | tube(64.0, 30.0, 10.0),
        [("arcmin", 75.0, 0.0), ("arcmin", -40.0, 66.0), ("arcmin", 57.0, 20.0)],
    )
    yield (
        "the shadow touches the rim",
        # The holder's shadow has its centre height * tan 60' from the middle and reaches 75 mm.
        sizes(150.0, 900.0)
        | flat(115.0, 60.0)
        | holder(2 * (75.0 - 840.0 * float(np.tan(60 * ARCMIN))), 840.0)
        | tube(64.0, 30.0, 10.0),
        [("arcmin", 60.0, 0.0), ("arcmin", 0.0, -60.0)],
    )
    yield (
        "nearly and wholly dark",
        sizes(318.0, 1558.0) | flat(235.0, 70.0) | ring(360.0, 1650.0) | tube(47.0, 50.0, 18.0),
        [(24.6, 0.0), (0.0, -24.9), (30.0, 40.0)],
    )
    yield (
        "a lamp at 25 m",
        sizes(250.0, 1250.0, lamp_distance_mm=25_000.0)
        | flat(260.0, 58.0)
        | ring(254.0, 1200.0)
        | tube(46.0, 60.0, -25.0),
        [("arcmin", 0.0, 0.0), ("arcmin", 25.0, -35.0)],
    )
    yield (
        "racked in beyond the board, ring inside",
        sizes(280.0, 1260.0)
        | flat(225.0, 66.0, 2.0)
        | board(46.0, 172.0)
        | tube(44.0, 90.0, 8.0)
        | filter_ring(41.0, 60.0),
        [(0.0, 0.0), (-15.0, 12.0), (18.5, 0.0)],
    )
    yield (
        "masked, opening and holder",
        sizes(406.0, 1624.0, mask_diameter_mm=380.0)
        | flat(300.0, 92.0)
        | ring(410.0, 1500.0)
        | holder(101.0, 1345.0)
        | tube(48.0, 60.0, 30.0),
        [(0.0, 0.0), (14.0, 10.0)],
    )
    yield (
        "a mirror, an opening, a holder",
        sizes(200.0, 1200.0) | ring(206.0, 1150.0) | holder(46.0, 1000.0),
        [("arcmin", 0.0, 0.0), ("arcmin", 35.0, 12.0)],
    )
    yield (
        "thick flats along the tube, far off the axis",
        sizes(385.0, 2163.0) | flat(284.0, 99.8) | body(17.5, "along_tube", 0.1),
        [("arcmin", 36.531897843069814, 21.520384822898734), ("arcmin", -36.0, -4.5)],
    )


def drawn():
    """Twenty trains within what makers build, two stars each: one inside, one near what limits."""
    draw = np.random.default_rng(SEED)

    def between(low, high, step):
        return float(round(draw.uniform(low, high) / step) * step)

    for number in range(20):
        aperture = between(150, 450, 1)
        focal = between(3.8 * aperture, 6.2 * aperture, 5)
        conic = (-1.0, -1.0, -1.0, -0.95, 0.0, -1.08)[draw.integers(6)]
        to_focus = between(aperture / 2 + 75, aperture / 2 + 135, 1)
        minor = round(smallest_flat(aperture, focal, to_focus, draw.uniform(-25, 25))[0], 1)
        train = sizes(aperture, focal, conic) | flat(
            to_focus, minor, (None, None, 0.0, between(0, 6, 0.1))[draw.integers(4)]
        )
        if draw.random() < 0.7:
            train |= ring(aperture + between(4, 60, 1), between(0.85 * focal, 1.1 * focal, 5))
        if draw.random() < 0.4:
            edge = ("along_tube", "square_to_face")[draw.integers(2)]
            train |= body(between(8, 20, 0.5), edge, between(0, 1.5, 0.1))
        if draw.random() < 0.4:
            train |= holder(
                round(minor * draw.uniform(0.9, 1.15), 1), focal - to_focus + between(-5, 30, 1)
            )
        if draw.random() < 0.3:
            train |= {"mask_diameter_mm": aperture - between(2, 25, 1)}
        bore, outer = between(36, 52, 1), between(8, 35, 1)
        train |= tube(bore, between(25, 55, 1), outer)
        if draw.random() < 0.5:
            train |= board(bore + between(1, 12, 1), aperture / 2 + between(15, 35, 1))
        if draw.random() < 0.4:
            train |= filter_ring(between(26, 44, 1), between(4, 30, 1))
        if draw.random() < 0.4:
            train |= sensor(
                between(16, 25, 0.1), between(11, 17, 0.1), between(-90, 90, 1), between(5, 16, 0.5)
            )
        if draw.random() < 0.3:
            spread = {"mm": 2.5, "arcmin": 40}
            train |= {
                k: round(draw.uniform(-1, 1) * spread[k.rsplit("_", 1)[1]], 1) for k in ERRORS
            }
        limit = min(
            bore / 2, train.get("sensor_along_mm", 99) * 0.6, train.get("ring_diameter_mm", 99) / 2
        )
        points = []
        for low, high in ((0, 0.6), (0.7, 1.02)):
            radius, angle = limit * draw.uniform(low, high), draw.uniform(0, 2 * np.pi)
            points.append(
                tuple(round(float(radius * along(angle)), 2) for along in (np.cos, np.sin))
            )
        yield f"drawn {number + 1}", train, points


def trains(some):
    for name, train, points in some:
        fitted = "minor_axis_mm" in train and train["offset_mm"] is None
        if fitted:
            train = train | {
                "offset_mm": fitted_offset(
                    train["clear_aperture_mm"],
                    train["focal_length_mm"],
                    train["axis_to_focus_mm"],
                    train["minor_axis_mm"],
                )
            }
        if "minor_axis_mm" in train:
            train = train | {"offset_is_default": fitted}
        yield name, train, points


def tangents(train, point):
    if point[0] == "arcmin":
        return tuple(np.tan(angle * ARCMIN) for angle in point[1:])
    return star_of(train, *point)


def light_row(name, train, point, seed, side=None):
    # The test gives the star in arcmin: the truth is that of the rounded angle.
    minutes = [float(np.arctan(t) / ARCMIN) for t in tangents(train, point)]
    scene = Scene(train, *(np.tan(m * ARCMIN) for m in minutes))
    # A sliver between two rows of the search for breaks is a few 1e-11: then search more finely.
    for grid in (GRID, 8 * GRID):
        (rows, total, change), (columns, _, change2) = (
            Rows(scene, way, grid).shares() for way in (True, False)
        )
        differ = float(np.abs(rows - columns).max())
        if differ < 2e-12:
            break
    left = np.concatenate([[1.0], (rows + columns) / 2])
    shares = np.append(left[:-1] - left[1:], left[-1])
    by_rays, four_sigma = sampled(scene, total, side or SIDE, seed)
    off = np.abs(by_rays - shares) / four_sigma
    row = {
        "kind": "light",
        "name": name,
        "field_a_arcmin": minutes[0],
        "field_b_arcmin": minutes[1],
    }
    if point[0] != "arcmin":
        row |= {"along_mm": point[0], "across_mm": point[1]}
    row |= {
        "stopped": [float(s) for s in shares[:-1]],
        "lit_fraction": float(shares[-1]),
        "sampled": [round(float(s), 9) for s in by_rays],
        "sampled_4_sigma": [float(f"{s:.3g}") for s in four_sigma],
        "rows_minus_columns": float(f"{differ:.2g}"),
        "change": float(f"{max(change, change2):.2g}"),
    }
    problem = None
    if differ > 1e-11 or max(change, change2) > 1e-11:
        problem = f"rows and columns differ by {differ}, halving changes {change} {change2}"
    if off.max() > 1:
        problem = f"rays: {shares} {by_rays} {four_sigma}"
    return row, scene, problem, float(off.max())


def without_parts(scene, lit):
    """What passes with each part taken away, less what passes; and what passes without shadows."""

    def left(*without):
        return float(Rows(scene, True, without=without).shares()[0][-1])

    return {
        "returns_alone": [left(part) - lit for part in scene.parts],
        "lit_without_shadow": left("diagonal_shadow", "holder"),
    }


def table(topic, some):
    rows, problems, started = [], [], time.process_time()
    for index, (name, train, points) in enumerate(trains(some)):
        parts = None
        for number, point in enumerate(points):
            row, scene, problem, off = light_row(name, train, point, [SEED, len(rows), number])
            if problem:
                problems.append(f"{name} {point}: {problem}")
            if parts is None:
                parts = scene.parts
                rows.append({"kind": "train", "name": name, "parts": " ".join(parts), **train})
            if index % EVERY == 0 and number == len(points) - 1:
                row |= without_parts(scene, row["lit_fraction"])
            rows.append(row)
            spent = time.process_time() - started
            print(
                f"{name} {point} lit {row['lit_fraction']:.6f} differ {row['rows_minus_columns']}"
                f" change {row['change']} rays {off:.2f} of 4 sigma, {spent:.0f} s",
                flush=True,
            )
    if problems:
        raise ArithmeticError("\n".join(problems))
    write(topic, " ".join(__doc__.split()), UNITS, rows)


UNITS = {
    "*_mm": "millimetres; offset toward the primary and equally away from the focuser; "
    "heights above the vertex",
    "*_arcmin": "star's place; errors of the flat's tilt",
    "along_mm, across_mm": "where the ray of the mirror's vertex meets the real focal plane",
    "stopped": "share of the clear aperture's light, in the order of the train's parts",
    "sampled": "the same by single rays, the lit fraction last",
}


def main():
    topics = {"light": hard, "light_drawn": drawn}
    for topic in sys.argv[1:] or topics:
        table(topic, topics[topic]())


if __name__ == "__main__":
    main()
