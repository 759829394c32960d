"""Readings with holes and readings that cannot be, as a notebook hands them over."""

import copy
import pickle

import catoptric as ct
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from samples import readings, rows

RUN = [0.31, 0.76, 1.26, 1.76]
HOLED = [[0.31, 0.76, 1.26, 1.76], [2.31, None, 3.26, 3.76]]
BENCH = {
    "clear_aperture_mm": 200,
    "radius_of_curvature_mm": 2400,
    "source": "moving",
    "readings_increase": "away_from_mirror",
    "inner_radius_mm": [20, 50, 70, 85],
    "outer_radius_mm": [50, 70, 85, 98],
}


def read(runs_mm, **changes):
    return ct.KnifeEdgeReadings(runs_mm=runs_mm, **(BENCH | changes))


def refusal(runs_mm, **changes):
    with pytest.raises(ct.InputError) as caught:
        read(runs_mm, **changes)
    return caught.value


# Missing readings.


def as_nan():
    return [[np.nan if reading is None else reading for reading in run] for run in HOLED]


def as_masked():
    table = np.array(as_nan())
    return np.ma.masked_array(np.nan_to_num(table, nan=99.0), mask=np.isnan(table))


@pytest.mark.parametrize(
    "given",
    [
        pytest.param(HOLED, id="None in nested lists"),
        pytest.param(as_nan(), id="nan in nested lists"),
        pytest.param(tuple(map(tuple, HOLED)), id="tuples"),
        pytest.param(np.array(as_nan()), id="array"),
        pytest.param(np.array(HOLED, dtype=object), id="array of objects"),
        pytest.param(np.asfortranarray(as_nan()), id="array by columns"),
        pytest.param(as_masked(), id="masked array"),
        pytest.param(pd.DataFrame(as_nan()), id="data frame"),
        pytest.param([np.array(run) for run in as_nan()], id="list of arrays"),
    ],
)
def test_every_way_to_leave_a_reading_out(given):
    taken = read(given)
    np.testing.assert_array_equal(taken.runs_mm, as_nan())
    assert taken == read(HOLED)


def test_one_run_may_be_a_plain_list():
    assert read(RUN).runs_mm.tolist() == [RUN]
    assert read(np.array(RUN)) == read([RUN])
    assert read(np.array(RUN, dtype=np.float32)).run_count == 1


def test_the_callers_array_stays_as_it_was():
    given = np.array(as_nan())
    before = given.copy()
    read(given).runs_mm[:] = 7
    np.testing.assert_array_equal(given, before)


def test_an_empty_field_of_a_table_is_a_missing_reading(tmp_path):
    path = tmp_path / "readings.csv"
    path.write_text(
        "inner_radius_mm,outer_radius_mm,run_1_mm,run_2_mm\n"
        "20,50,0.31,2.31\n50,70,0.76,\n70,85,1.26,3.26\n85,98,1.76,3.76\n"
    )
    bench = {name: value for name, value in BENCH.items() if not name.endswith("er_radius_mm")}
    assert ct.KnifeEdgeReadings.from_csv(path, **bench) == read(HOLED)


def test_readings_with_holes_do_all_that_others_do():
    taken = read(HOLED)
    assert pickle.loads(pickle.dumps(taken)) == taken
    assert copy.copy(taken) == taken
    np.testing.assert_array_equal(taken.to_dict()["runs_mm"], as_nan())
    assert np.all(np.isfinite(taken.mean_mm))
    assert np.all(np.isfinite(taken.sigma_mm))
    assert np.all(np.isfinite(list(taken.table().values())))
    assert 0 < taken.reduce(draws=200).strehl <= 1
    assert "ConicFit(" in repr(taken.conic_fit())


def test_a_picture_leaves_the_missing_reading_out():
    ax = read(HOLED).plot()
    heights = [line.get_ydata() for line in ax.lines if line.get_linestyle() == "None"]
    plt.close(ax.figure)
    first, second = heights[-2:]
    assert np.all(np.isfinite(first))
    assert np.isnan(second).tolist() == [False, True, False, False]
    # The runs differ by their zeros alone: what both have lies on one another.
    there = np.isfinite(second)
    np.testing.assert_allclose(np.asarray(first)[there], np.asarray(second)[there], atol=1e-9)


def test_holes_weigh_as_in_generalised_least_squares():
    # tests/data/make_missing_readings.py: numpy, over the single readings.
    (table,) = rows("missing_readings", kind="means")
    rims = table["rims_mm"]
    taken = read(table["runs_mm"], inner_radius_mm=rims[:-1], outer_radius_mm=rims[1:])
    fit = taken.conic_fit(reading_sigma_mm=table["sigma_mm"], radius_sigma_mm=0)
    for name in ("all", "without_outermost"):
        (truth,) = rows("missing_readings", name=name)
        assert getattr(fit, f"conic_{name}") == pytest.approx(truth["conic"], abs=1e-9)
        assert getattr(fit, f"conic_{name}_sigma") == pytest.approx(truth["conic_sigma"], abs=1e-9)
        assert getattr(fit, f"chi_square_{name}") == pytest.approx(truth["chi_square"], abs=1e-8)


# Readings that cannot be.


@pytest.mark.parametrize(
    ("runs_mm", "field", "word"),
    [
        ([RUN, RUN[:3]], "runs_mm", "unequal length"),
        ([RUN, [*RUN[:2], None]], "runs_mm", "Put None"),
        (RUN[:3], "runs_mm[0]", "4 openings"),
        ([RUN, [None, 0.8, None, None]], "runs_mm[1]", "two readings or more"),
        ([RUN, [None] * 4], "runs_mm[1]", "two readings or more"),
        ([[0.31, None, 1.26, 1.76]] * 2, "openings[1]", "leave it out"),
        ([[0.3, 0.8, None, None], [None, None, 1.3, 1.8]], "runs_mm", "opening in common"),
        ([RUN, [0.31, np.inf, 1.26, 1.76]], "runs_mm[1, 1]", "finite"),
        ([RUN, [None, np.inf, 1.26, 1.76]], "runs_mm[1, 1]", "finite"),
        ([RUN, [None, "0.76", 1.26, 1.76]], "runs_mm", "text"),
        ([None, None, None, None], "runs_mm[0]", "two readings or more"),
        ([], "runs_mm", "one run or more"),
        (None, "runs_mm", "left out"),
        (1.0, "runs_mm", "a list is meant"),
        ([[RUN]], "runs_mm", "dimensions"),
    ],
)
def test_what_is_refused_names_its_place(runs_mm, field, word):
    error = refusal(runs_mm)
    assert error.problems[0].field == field
    assert word in str(error)


def test_one_and_two_zones_show_no_figure():
    for zones in (1, 2):
        edges = {name: BENCH[name][:zones] for name in ("inner_radius_mm", "outer_radius_mm")}
        assert "three or more" in str(refusal(RUN[:zones], **edges))


def test_a_zone_listed_twice_names_the_way_out():
    edges = {"inner_radius_mm": [20, 50, 50, 70], "outer_radius_mm": [50, 70, 70, 85]}
    error = refusal([0.31, 0.76, 0.77, 1.26], **edges)
    assert error.problems[0].field == "openings[2].inner_radius_mm"
    assert "one more run" in str(error)
    assert read([RUN, [None, 0.77, 1.26, None]]).run_count == 2


def test_units_that_contradict_each_other_are_named():
    assert "other units" in str(refusal(RUN, clear_aperture_mm=200 / 25.4))
    assert "other units" in str(refusal(RUN, radius_of_curvature_mm=2400 / 25.4))
    inches = {name: np.divide(BENCH[name], 25.4) for name in ("inner_radius_mm", "outer_radius_mm")}
    assert "radii of the openings in inches" in str(refusal(RUN, **inches))
    assert "millimetres read as inches" in str(refusal(np.multiply(RUN, 25.4)))
    question = read(np.divide(RUN, 25.4)).problems()[0]
    assert "inches read as millimetres" in question.cause


def test_a_reversed_list_and_a_reversed_scale_are_named_together():
    for error in (refusal(RUN[::-1]), refusal(RUN, readings_increase="toward_mirror")):
        assert error.field == "readings_increase"
        assert "listed from the rim inward" in str(error)


# What two benches show, and one conic.


def test_the_scatter_of_two_benches():
    found = ct.bench_scatter(readings("after"), readings("after_fixed", "fixed"))
    assert found.p_value > 0.05
    assert found.upper_mm >= found.scatter_mm >= 0
    assert found.reading_mm("fixed") == 2 * found.reading_mm("moving") == 2 * found.scatter_mm
    with pytest.raises(ct.InputError, match="moving"):
        found.reading_mm("both")
    with pytest.raises(ct.InputError, match="twice"):
        ct.bench_scatter(readings("after"), readings("after"))
    with pytest.raises(ct.InputError, match="mask"):
        ct.bench_scatter(
            read(RUN), read(RUN[:3], inner_radius_mm=[20, 50, 70], outer_radius_mm=[50, 70, 85])
        )


def test_a_conic_takes_the_noise_that_is_stated():
    fit = readings("before").conic_fit(reading_sigma_mm=0.04, radius_sigma_mm=0)
    assert fit.correction == "under-corrected"
    assert "No conic fits" in fit.words
    more = readings("before").conic_fit(reading_sigma_mm=[0.04] * 8, radius_sigma_mm=0)
    assert more == fit
    wide = readings("before").conic_fit(reading_sigma_mm=0.04, bench_scatter_mm=1.0)
    assert wide.conic_all_sigma > 5 * fit.conic_all_sigma
    with pytest.raises(ct.InputError, match="8 openings"):
        readings("before").conic_fit(reading_sigma_mm=[0.04] * 3)
