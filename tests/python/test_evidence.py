"""Other evidence about a mirror: test sheets, reports of Zernike terms, turned runs."""

import catoptric as ct
import numpy as np
import pytest
from samples import report, rows, sheet, turned_runs

SHEET = {
    "clear_aperture_mm": 300,
    "tested_diameter_mm": 300,
    "surface_or_wavefront": "wavefront",
    "wavelength_nm": 632.8,
}
REPORT = {
    "coefficients": {11: 20.0},
    "indexing": "noll",
    "normalisation": "rms",
    "unit": "nm",
    "surface_or_wavefront": "wavefront",
    "test": "at_focus",
    "tested_diameter_mm": 200,
    "clear_aperture_mm": 200,
    "radius_of_curvature_mm": 2400,
}


def test_a_flattering_sheet_is_taken_for_what_was_tested():
    figure = sheet().figure(wavelength_nm=550)
    assert figure.contradictions == []
    assert figure.tested_rms_range_nm == pytest.approx((0.00645 * 632.8, 0.00655 * 632.8))
    assert figure.untested_share == pytest.approx(1 - (312 / 318) ** 2)
    low, high = figure.strehl_range
    assert low < 0.9 < 0.995 < high
    assert "turned edge" in figure.words
    draws = figure.strehl_draws(count=1000, seed=3)
    assert low <= draws.min() < draws.max() <= high
    np.testing.assert_array_equal(draws, figure.strehl_draws(count=1000, seed=3))


def test_the_factor_of_two_is_named():
    mixed = ct.TestSheet(
        **(SHEET | {"surface_or_wavefront": "surface"}), rms_waves=0.05, strehl=0.906
    )
    figure = mixed.figure()
    assert "factor of two" in figure.contradictions[0]
    assert "contradicts itself" in figure.words
    assert figure.rms_range_nm[0] < 32 < 63 < figure.rms_range_nm[1]


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("rms_waves", {}),
        ("strehl", {"strehl": 1.2}),
        ("rms_nm", {"rms_nm": 0}),
        ("rms_nm", {"rms_nm": 5, "rms_waves": 0.01}),
        ("wavelength_nm", {"strehl": 0.9, "wavelength_nm": 6328}),
        ("wavelength_nm", {"strehl": 0.9, "wavelength_nm": 0.6328}),
        ("tested_diameter_mm", {"strehl": 0.9, "tested_diameter_mm": 320}),
        ("surface_or_wavefront", {"strehl": 0.9, "surface_or_wavefront": "glass"}),
    ],
)
def test_sheets_that_cannot_be(field, changes):
    with pytest.raises(ct.InputError) as refused:
        ct.TestSheet(**(SHEET | changes))
    assert refused.value.field == field


@pytest.mark.parametrize("missing", ["tested_diameter_mm", "surface_or_wavefront", "wavelength_nm"])
def test_what_has_no_default_on_a_sheet(missing):
    given = {name: value for name, value in SHEET.items() if name != missing}
    with pytest.raises(TypeError, match=missing):
        ct.TestSheet(**given, strehl=0.9)


@pytest.mark.parametrize(
    "row", rows("zernike_report", kind="term"), ids=lambda r: f"{r['name']}-{r['indexing']}"
)
def test_one_wavefront_in_every_numbering(row):
    # Textbook polynomials and galsim, tests/data/zernike_report.json.
    given = REPORT | {"coefficients": {row["j"]: row["value_nm"]}}
    given |= {"indexing": row["indexing"], "normalisation": row["normalisation"]}
    found = ct.ZernikeReport(**given).reported_nm
    assert found == {row["noll"]: pytest.approx(row["noll_nm"], rel=1e-14)}


def test_a_paraboloid_without_a_null_is_no_error():
    (row,) = rows("zernike_report", kind="null", tested_diameter_mm=318.0)
    given = {"test": "at_centre_of_curvature", "coefficients": {11: row["noll_11_nm"]}}
    given |= {"tested_diameter_mm": 318, "clear_aperture_mm": 318, "radius_of_curvature_mm": 3116}
    perfect = ct.ZernikeReport(**(REPORT | given))
    assert perfect.null_nm[11] == pytest.approx(row["noll_11_nm"], abs=1e-9)
    assert perfect.figure(draws=100).rms_nm < 1e-4
    (words,) = (
        ct.ZernikeReport(**(REPORT | given | {"coefficients": {11: -row["noll_11_nm"]}}))
        .figure(draws=100)
        .cautions
    )
    assert "opposite sign" in words


def test_a_report_says_how_sure_it_is():
    figure = report().figure(draws=2000, seed=4)
    assert figure.rms_nm_interval[0] < figure.rms_nm < figure.rms_nm_interval[1]
    assert len(figure.strehl_draws) == 2000
    assert figure == report().figure(draws=2000, seed=4) != report().figure(draws=2000, seed=5)
    exact = ct.ZernikeReport(**REPORT).figure(draws=100)
    assert "taken as exact" in exact.words
    np.testing.assert_allclose(exact.rms_nm_draws, 20.0, rtol=1e-9)


@pytest.mark.parametrize(
    "missing", ["indexing", "normalisation", "unit", "test", "surface_or_wavefront"]
)
def test_what_has_no_default_in_a_report(missing):
    given = {name: value for name, value in REPORT.items() if name != missing}
    with pytest.raises(TypeError, match=missing):
        ct.ZernikeReport(**given)


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("indexing", {"indexing": "born"}),
        ("normalisation", {"normalisation": "unit"}),
        ("wavelength_nm", {"unit": "waves"}),
        ("coefficients[-1]", {"coefficients": {-1: 1.0}}),
        ("coefficients[0]", {"coefficients": {0: 1.0}}),
        ("radius_of_curvature_mm", {"radius_of_curvature_mm": 300}),
    ],
)
def test_reports_that_cannot_be(field, changes):
    with pytest.raises(ct.InputError) as refused:
        ct.ZernikeReport(**(REPORT | changes))
    assert refused.value.field == field


def test_glass_and_stand_are_told_apart():
    # Exact normals in numpy, tests/data/make_turned.py: 80 nm at 110 degrees, 60 nm at 20 degrees.
    found = turned_runs("both_all").estimate()
    assert found.origin == "both"
    assert found.glass.amplitude_nm == pytest.approx(80, rel=1.3e-3)
    assert found.glass.axis_deg == pytest.approx(110, abs=0.1)
    assert found.stand.amplitude_nm == pytest.approx(60, rel=1.3e-3)
    assert found.stand.axis_deg == pytest.approx(20, abs=0.1)


def test_what_the_angles_do_not_show_is_none():
    two = turned_runs("glass_two").estimate()
    assert (two.stand, two.glass.axis_deg, two.glass.sine_nm) == (None, None, None)
    assert turned_runs("glass_hidden").estimate().origin == "cannot tell"
    mask = turned_runs("mask_only").estimate()
    assert (mask.glass, mask.stand) == (None, None)
    assert mask.together.amplitude_nm > 50


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("zero_kept", {"zero_kept": False}),
        ("mirror_angle_deg", {"mirror_angle_deg": [0, 90]}),
        ("reseating_sigma_mm", {"reseating_sigma_mm": -1}),
        ("source", {"source": "both"}),
    ],
)
def test_runs_that_cannot_be(field, changes):
    with pytest.raises(ct.InputError) as refused:
        turned_runs("glass_four", **changes)
    assert refused.value.field == field


def test_few_runs_need_their_reseating():
    with pytest.raises(ct.InputError, match="reseating_sigma_mm"):
        turned_runs("glass_four", reseating_sigma_mm=None).estimate()
