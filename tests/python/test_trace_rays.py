"""Many rays at once: what may be given, what comes back, and whose numbers they are."""

import os
import threading
import time

import catoptric as ct
import numpy as np
import pytest
from samples import bare, newtonian, rows

FIGURES = {
    "none": [],
    "edge_and_zone": [
        ct.TurnedEdge(width_mm=9, drop_nm=330),
        ct.Zone(radius_mm=95, half_width_mm=13, height_nm=28),
    ],
}
PROFILE = {
    "radius_mm": [0, 25, 50, 75, 100, 125, 150, 159],
    "height_nm": [12, -30, 45, 8, -21, 60, -15, -140],
}
FIGURES["spline"] = [ct.RadialProfile(**PROFILE)]
FIGURES["straight_in_area"] = [ct.RadialProfile(**PROFILE, joined="straight_in_area")]


def beam(count=1000, *, radius_mm=165.0, tilt=0.003):
    """Return the columns of a parallel beam over an even net."""
    k = np.arange(count) + 0.5
    r, turn = radius_mm * np.sqrt(k / count), np.pi * (3 - np.sqrt(5)) * k
    down = np.sqrt(1 - tilt**2)
    x = r * np.cos(turn) + tilt / down * 2000
    origins = np.array([x, r * np.sin(turn), np.full(count, 2000.0)])
    directions = np.array([np.full(count, -tilt), np.zeros(count), np.full(count, -down)])
    return origins, directions


def test_rays_land_where_exact_rays_do():
    # Truth: own rays in 40 digits, tests/data/rays.json.
    for row in rows("rays", kind="ray"):
        train = bare(conic=row["conic"], figure=FIGURES[row["figure"]])
        found = train.trace_rays(
            origins_mm=[row[f"origin_{axis}_mm"] for axis in "xyz"],
            directions=[row[f"direction_{axis}"] for axis in "xyz"],
            focus_shift_mm=row["focus_shift_mm"],
        )
        assert found["passed"].all()
        for name in ("along_um", "across_um"):
            assert abs(found[name][0] - row[name]) < 2e-9


def test_every_way_of_giving_columns_is_the_same():
    train, (origins, directions) = newtonian(), beam()
    plain = train.trace_rays(origins_mm=origins, directions=directions)
    assert list(plain) == ["along_um", "across_um", "passed", "light"]
    assert plain["passed"].dtype == bool
    assert 800 < plain["passed"].sum() < 1000
    strided = np.repeat(origins, 2, axis=1)[:, ::2]
    upside_down = np.asfortranarray(origins)
    one = tuple(directions[:, 0])
    for given in (strided, upside_down, list(origins), tuple(map(list, origins))):
        assert train.trace_rays(origins_mm=given, directions=directions) == plain
    assert train.trace_rays(origins_mm=(origins[0], origins[1], 2000), directions=one) == plain
    single = train.trace_rays(
        origins_mm=origins.astype(np.float32), directions=directions.astype(np.float32)
    )
    passed = single["passed"] & plain["passed"]
    assert passed.sum() > 800
    assert np.abs(single["along_um"] - plain["along_um"])[passed].max() < 1.0  # 1e-7 of 1558 mm


def test_statistics_are_those_of_the_columns():
    train, (origins, directions) = newtonian(), beam(5000)
    weights = np.linspace(0, 1, 5000)
    rays = {"origins_mm": origins, "directions": directions, "weights": weights}
    traced, spot = train.trace_rays(**rays), train.spot_of_rays(**rays)
    light = traced["light"]
    centre = [np.average(traced[name], weights=light) for name in ("along_um", "across_um")]
    square = (traced["along_um"] - centre[0]) ** 2 + (traced["across_um"] - centre[1]) ** 2
    assert spot.rays == 5000
    assert spot.passed == traced["passed"].sum()
    assert abs(spot.light / light.sum() - 1) < 1e-12
    assert abs(spot.centroid_along_um - centre[0]) < 1e-8
    assert abs(spot.rms_radius_um - np.sqrt(np.average(square, weights=light))) < 1e-8
    arrived = traced["along_um"][traced["passed"]]
    ends = spot.along_range_um
    assert abs(ends[0] - arrived.min()) < 1e-8
    assert abs(ends[1] - arrived.max()) < 1e-8


def test_arrays_of_the_callers_are_filled():
    train, (origins, directions) = newtonian(), beam()
    plain = train.trace_rays(origins_mm=origins, directions=directions, weights=0.5)
    out = (np.full(1000, 7.0), np.full(1000, 7.0), np.ones(1000, bool), np.full(1000, 7.0))
    rays = {"origins_mm": origins, "directions": directions, "weights": 0.5}
    assert train.trace_rays(**rays, out=out) is out
    for column, array in zip(plain.values(), out, strict=True):
        assert np.array_equal(column, array)
    assert train.trace_rays(**rays, out=out[:3])[0] is out[0]


def bad_outs():
    x, y, p = np.zeros(1000), np.zeros(1000), np.zeros(1000, bool)
    fixed = np.empty(1000)
    fixed.flags.writeable = False
    return [
        ([x, y, p], "out"),
        ((x, y), "out"),
        ((x, y, x), "out[2]"),
        ((x.astype(np.float32), y, p), "out[0]"),
        ((np.empty(2000)[::2], y, p), "out[0]"),
        ((x, x, p), "out[1]"),
        ((x, fixed, p), "out[1]"),
        ((x, y, p, np.empty(3)), "out.light"),
        ((np.empty(999), y, p), "out.along_um"),
    ]


@pytest.mark.parametrize(("out", "field"), bad_outs())
def test_arrays_that_cannot_be_filled_are_refused(out, field):
    origins, directions = beam()
    with pytest.raises(ct.InputError) as caught:
        newtonian().trace_rays(origins_mm=origins, directions=directions, out=out)
    assert caught.value.field == field


def test_an_array_of_the_rays_is_not_written_to():
    origins, directions = beam()
    out = (origins[0], np.empty(1000), np.empty(1000, bool))
    with pytest.raises(ct.InputError, match="shared"):
        newtonian().trace_rays(origins_mm=origins, directions=directions, out=out)


def changed(origins, directions, place, value):
    origins, directions = origins.copy(), directions.copy()
    (origins if place < 3 else directions)[place % 3, 500] = value
    return origins, directions


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("place", range(6))
def test_no_number_is_refused_with_its_place(place, value):
    origins, directions = changed(*beam(), place, value)
    field = "origins_mm[:, 500]" if place < 3 else "directions[:, 500]"
    for call in (newtonian().trace_rays, newtonian().spot_of_rays):
        with pytest.raises(ct.InputError) as caught:
            call(origins_mm=origins, directions=directions)
        assert caught.value.field == field


def test_bad_rays_are_refused_with_their_cause():
    train, (origins, directions) = newtonian(), beam()

    def refusal(**rays):
        with pytest.raises(ct.InputError) as caught:
            train.spot_of_rays(**({"origins_mm": origins, "directions": directions} | rays))
        return caught.value.field, str(caught.value)

    field, words = refusal(directions=-directions)
    assert field == "directions[:, 0]"
    assert "toward the star" in words
    field, words = refusal(directions=1.001 * directions)
    assert field == "directions[:, 0]"
    assert "length 1" in words
    field, words = refusal(origins_mm=origins.T)
    assert field == "origins_mm"
    assert "transposed" in words
    assert refusal(origins_mm=origins[:2])[0] == "origins_mm"
    assert refusal(origins_mm=5.0)[0] == "origins_mm"
    assert refusal(origins_mm="far away")[0] == "origins_mm"
    assert refusal(origins_mm=(origins[0], origins[1, :-1], 2000))[0] == "origins_mm[1]"
    assert refusal(directions=directions[:, :-1])[0] == "directions[0]"
    assert refusal(origins_mm=(1j, 0, 0))[0] == "origins_mm"
    assert refusal(weights=-1)[0] == "weights[0]"
    assert refusal(weights=[1.0, 2.0])[0] == "weights"
    assert refusal(focus_shift_mm=1e5)[0] == "focus_shift_mm"
    assert refusal(origins_mm=([], [], []), directions=(0, 0, -1))[0] == "origins_mm[0]"
    field, words = refusal(origins_mm=origins + 1000)
    assert field == "origins_mm"
    assert "none arrives" in words


def test_rings_agree_with_rays_by_the_same_points():
    # The beam's cross-section |d.N| weighs rays that are spread evenly over the mirror.
    train = bare(figure=FIGURES["edge_and_zone"])
    exact = train.spot(field_arcmin=(9, 0)).rms_radius_um
    errors = [
        train.spot_of_rings(field_arcmin=(9, 0), rings=n, rays_per_ring=301).rms_radius_um - exact
        for n in (300, 600)
    ]
    assert abs(errors[0] / errors[1] - 4) < 0.1  # the midpoint rule is of second order
    assert abs(errors[1] / exact) < 3e-5
    with pytest.raises(ct.InputError, match="rings"):
        train.spot_of_rings(rings=0)
    with pytest.raises(ct.InputError, match="rays_per_ring"):
        train.spot_of_rings(rays_per_ring=2)
    blocked = newtonian(diagonal=ct.Diagonal(minor_axis_mm=40))
    with pytest.raises(ct.InputError, match="field_arcmin"):
        blocked.spot_of_rings(field_arcmin=(300, 0))


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core shares nothing")
def test_the_interpreter_is_free_meanwhile():
    uneven = bare(figure=[ct.ZernikeTerms(coefficients_nm={6: 12.0}, indexing="noll")])
    origins, directions = beam(300_000)
    ticks, done = [], threading.Event()

    def tick():
        while not done.is_set():
            ticks.append(time.perf_counter())
            time.sleep(0.001)

    watcher = threading.Thread(target=tick)
    watcher.start()
    start = time.perf_counter()
    uneven.spot_of_rays(origins_mm=origins, directions=directions)
    end = time.perf_counter()
    done.set()
    watcher.join()
    assert sum(start < t < end for t in ticks) >= 3
