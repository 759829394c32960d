"""Trains, readings and results that several tests look at.

The telescope and its readings are the invented ones of the first notebook; the surface behind the
readings is known, see notebooks-demo/data/README.md.
"""

import functools
import json
from pathlib import Path

import catoptric as ct

ROOT = Path(__file__).resolve().parents[2]
READINGS = ROOT / "notebooks-demo" / "data"
TRUTH = ROOT / "tests" / "data"

BENCH = {
    "clear_aperture_mm": 318,
    "radius_of_curvature_mm": 3116,
    "source": "moving",
    "readings_increase": "away_from_mirror",
}

HILL = ct.Zone(radius_mm=95, half_width_mm=13, height_nm=28)
HOLLOW = ct.Zone(radius_mm=60, half_width_mm=16, height_nm=-9)
WIDE_EDGE = ct.TurnedEdge(width_mm=9, drop_nm=330)
NARROW_EDGE = ct.TurnedEdge(width_mm=3, drop_nm=60)
FENLIGHT = {
    "before": {"conic": -0.88, "figure": [WIDE_EDGE, HILL]},
    "after": {"conic": -0.985, "figure": [NARROW_EDGE, HOLLOW]},
    "touch_up": {"conic": -0.97, "figure": [NARROW_EDGE, HOLLOW]},
}


def rows(file, /, **wanted):
    """Return the rows of a file of outside truth that have these values; there must be some."""
    found = [
        row
        for row in json.loads((TRUTH / f"{file}.json").read_text())["rows"]
        if all(row.get(key) == value for key, value in wanted.items())
    ]
    assert found, f"no rows of {file}.json with {wanted}"
    return found


def primary(**changes):
    return ct.Primary(**({"clear_aperture_mm": 318, "focal_length_mm": 1558} | changes))


def bare(**changes):
    """Return a train of a primary alone."""
    return ct.Train(primary=primary(**changes))


def newtonian(**changes):
    """Return a train with a diagonal and a focal plane."""
    parts = {
        "primary": primary(),
        "diagonal": ct.Diagonal(minor_axis_mm=70),
        "focal_plane": ct.FocalPlane(axis_to_focus_mm=235),
    }
    return ct.Train(**(parts | changes))


def complete():
    """Return a train with every part, and a primary with every kind of layer."""
    profile = ct.RadialProfile(radius_mm=[0, 80, 159], height_nm=[0, 1.5, -2.5])
    ring = ct.CoatingRing(inner_radius_mm=112, outer_radius_mm=139, reflectance=0.74)
    return newtonian(
        primary=primary(
            conic=-0.98,
            mask_diameter_mm=310,
            figure=[WIDE_EDGE, HILL, profile],
            coating=ct.Coating(reflectance=0.88, rings=[ring]),
        ),
        diagonal=ct.Diagonal(minor_axis_mm=70, offset_mm=3.25, reflectance=0.9),
        front_opening=ct.Opening(diameter_mm=360, above_vertex_mm=1650),
        drawtube=ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18),
    )


@functools.cache
def readings(name, source="moving"):
    return ct.KnifeEdgeReadings.from_csv(
        READINGS / f"fenlight_{name}.csv", **(BENCH | {"source": source})
    )


@functools.cache
def parts():
    """Return one object of each class that describes something, by class name."""
    train = complete()
    found = [
        *train.primary.figure,
        train.primary.coating.rings[0],
        train.primary.coating,
        train.primary,
        train.diagonal,
        train.focal_plane,
        train.front_opening,
        train.drawtube,
        train,
        readings("before"),
    ]
    return {type(part).__name__: part for part in found}


@functools.cache
def results():
    """Return one object of each class that answers something, by class name."""
    train = complete()
    found = [
        train.spot(field_arcmin=(6, -3), points=300),
        train.illumination(along_mm=[-10, 0, 10], across_mm=[0, 2, 4]),
        train.illumination(radius_mm=[0, 5, 10, 15]),
        train.airy(),
        ct.smallest_diagonal(primary=train.primary, axis_to_focus_mm=235, fully_lit_diameter_mm=15),
        train.wavefront(field_arcmin=(6, -3)),
        train.psf(half_width_um=20, pixels=41),
        readings("before").conic_fit(),
        ct.bench_scatter(readings("after"), readings("after_fixed", "fixed")),
        readings("before").reduce(draws=200),
        ct.judge_refigure(before=readings("before"), after=readings("after"), draws=200),
    ]
    return {type(result).__name__: result for result in found}
