"""Edges fitted to readings, and layers fitted to heights: scipy is the truth of the latter."""

import catoptric as ct
import numpy as np
import pytest
from samples import edges, primary, readings
from scipy import optimize

R_MM = np.linspace(0.0, 100.0, 201)
RIM_MM = 100.0


def zone(r, radius, half_width, height):
    return height * np.exp(-(((r - radius) / half_width) ** 2))


def hill(r, radius, height, power=1.5):
    return height * np.clip(1 - r / radius, 0, None) ** power


def turned(r, width, drop, power=3.0):
    return -drop * np.clip(1 - (RIM_MM - r) / width, 0, None) ** power


def rolled(r, reach, drop):
    return -drop * np.exp(-(RIM_MM - r) / reach)


# Kind, its formula, the truth, where scipy begins, and the power.
KINDS = {
    "zone": (zone, (62.0, 9.0, 30.0), (60.0, 10.0, 20.0), 2.0),
    "central_hill": (hill, (35.0, -70.0), (30.0, -50.0), 1.5),
    "turned_edge": (turned, (18.0, 240.0), (20.0, 200.0), 3.0),
    "edge_roll_off": (rolled, (5.0, 150.0), (6.0, 100.0), 2.0),
}


def heights(kind, noise_nm, seed=5):
    formula, truth, *_ = KINDS[kind]
    square = (R_MM / RIM_MM) ** 2
    clean = formula(R_MM, *truth) + 12.0 - 7.0 * square + 3.0 * square**2
    return clean + noise_nm * np.random.default_rng(seed).normal(size=R_MM.size)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("background", ["focus", "conic"])
def test_fits_of_profiles_agree_with_scipy(kind, background):
    formula, _, start, power = KINDS[kind]
    given = heights(kind, 1.5)
    columns = np.vander((R_MM / RIM_MM) ** 2, {"focus": 2, "conic": 3}[background], increasing=True)

    def left(x):
        return formula(R_MM, *x[: len(start)]) + columns @ x[len(start) :] - given

    first = np.concatenate([start, np.zeros(columns.shape[1])])
    truth = optimize.least_squares(left, first, xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac")
    profile = ct.RadialProfile(radius_mm=R_MM, height_nm=given)
    fit = ct.fit_zone(profile, kind=kind, clear_aperture_mm=200, power=power, background=background)
    # scipy's own derivatives are differences: its sum of squares is the sharper judge.
    assert fit.residual_rms_nm <= np.sqrt(2 * truth.cost / R_MM.size) * (1 + 1e-9)
    assert fit.residual_rms_nm == pytest.approx(np.sqrt(2 * truth.cost / R_MM.size), rel=1e-9)
    np.testing.assert_allclose(fit.values, truth.x, rtol=1e-6, atol=1e-5)
    # Covariance: s^2 (J'J)^-1 with scipy's Jacobian, good to a few parts in ten thousand.
    square = 2 * truth.cost / (R_MM.size - truth.x.size)
    covariance = square * np.linalg.inv(truth.jac.T @ truth.jac)
    np.testing.assert_allclose(fit.sigmas, np.sqrt(np.diag(covariance)), rtol=1e-4)
    np.testing.assert_allclose(fit.covariance, covariance, rtol=1e-3, atol=1e-3 * covariance.max())


def test_standard_errors_hold_the_truth():
    """95 % of many fits lie within two standard errors; 400 of them scatter by 1.1 %."""
    held = []
    for seed in range(200):
        profile = ct.RadialProfile(radius_mm=R_MM, height_nm=heights("zone", 1.5, seed))
        fit = ct.fit_zone(profile, kind="zone", clear_aperture_mm=200, background="conic")
        off = np.abs(fit.values[:2] - KINDS["zone"][1][:2]) / fit.sigmas[:2]
        held += [*(off < 1.96)]
    assert 0.91 < np.mean(held) < 0.985


def test_a_step_is_found_between_two_heights():
    given = np.where(RIM_MM - R_MM < 12.25, -40.0, 0.0) + 5.0
    profile = ct.RadialProfile(radius_mm=R_MM, height_nm=given)
    fit = ct.fit_zone(profile, kind="edge_step", clear_aperture_mm=200, background="level")
    assert isinstance(fit.layer, ct.EdgeStep)
    assert 12.0 <= fit.layer.width_mm <= 12.5
    assert fit.layer.drop_nm == pytest.approx(40, abs=1e-9)
    assert fit.sigmas[0] is None
    assert fit.residual_rms_nm < 1e-9


def test_a_map_and_zernike_terms_can_be_fitted_too():
    axis = np.arange(-62, 63) * 2.0
    x, y = np.meshgrid(axis, axis)
    heights_nm = rolled(np.minimum(np.hypot(x, y), 124), 6.0, 90.0) + 4.0
    heights_nm[np.hypot(x, y) > 110] = np.nan
    net = ct.HeightMap(height_nm=heights_nm, pixel_mm=2, rows_run="-y", columns_run="+x")
    fit = ct.fit_zone(net, kind="edge_roll_off", clear_aperture_mm=200, background="level")
    assert fit.points > 7000
    assert fit.radius_mm.size <= 600
    np.testing.assert_allclose(fit.values, [6.0, 90.0, 4.0], rtol=1e-8)
    terms = ct.ZernikeTerms(coefficients_nm={11: 20.0}, indexing="noll")
    fit = ct.fit_zone(terms, kind="zone", clear_aperture_mm=200)
    # sqrt(5)(6 r^4 - 6 r^2 + 1) has its highest points in the centre and at the rim.
    assert fit.background_rms_nm == pytest.approx(20.0 / 1.0, rel=0.02)
    assert fit.residual_rms_nm < 0.3 * fit.background_rms_nm


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"kind": "lump"}, "kind"),
        ({"background": "tilt"}, "background"),
        ({"power": 0.2, "kind": "turned_edge"}, "power"),
        ({"sigma_nm": -1}, "sigma_nm"),
        ({"sigma_nm": float("nan")}, "sigma_nm"),
        ({"clear_aperture_mm": 0}, "primary.clear_aperture_mm"),
        ({"clear_aperture_mm": 100}, "primary.figure[0].radius_mm[101]"),
    ],
)
def test_fits_that_cannot_be_are_refused(changes, field):
    profile = ct.RadialProfile(radius_mm=R_MM, height_nm=heights("zone", 0.0))
    with pytest.raises(ct.InputError) as caught:
        ct.fit_zone(profile, **({"kind": "zone", "clear_aperture_mm": 200} | changes))
    assert caught.value.problems[0].field == field


def test_too_few_or_level_heights_are_refused():
    few = ct.RadialProfile(radius_mm=[0, 50, 100], height_nm=[0, 1, 0])
    with pytest.raises(ct.InputError, match="heights or more"):
        ct.fit_zone(few, kind="zone", clear_aperture_mm=200)
    with pytest.raises(ct.InputError, match="TurnedEdge"):
        ct.fit_zone(3, kind="zone", clear_aperture_mm=200)


def test_the_invented_edge_and_its_twin_are_both_allowed():
    """2 mm and 1036 nm, or 9 mm and 330 nm, give the same last reading."""
    found = edges()
    power = found.shapes[0]
    assert power.allows(width_mm=2, drop_nm=1036)
    assert power.allows(width_mm=9, drop_nm=330)
    assert not power.allows(width_mm=9, drop_nm=-330)
    assert not found.shape_is_told
    assert "cannot be told" in found.words
    table = power.to_table()
    np.testing.assert_array_equal(table["width_mm"], [2, 5, 9])
    assert (table["drop_low_nm"] < table["drop_nm"]).all()
    assert (table["drop_nm"] < table["drop_high_nm"]).all()


def test_an_estimate_brings_its_own_options():
    estimate = readings("before").reduce(obstruction_ratio=0.22, draws=200)
    found = ct.fit_edges(estimate, widths_mm=[2, 9])
    again = ct.fit_edges(readings("before"), widths_mm=[2, 9], obstruction_ratio=0.22)
    assert found.obstruction_ratio == 0.22
    np.testing.assert_array_equal(found.shapes[0].strehl, again.shapes[0].strehl)


def test_figures_of_the_family_go_into_a_train():
    found = edges()
    for shape, kind in enumerate((ct.TurnedEdge, ct.EdgeRollOff, ct.EdgeStep)):
        figures = found.family(2, shape=shape)
        assert all(isinstance(figure[1], kind) for figure in figures)
        rows = np.flatnonzero(found.shapes[shape].allowed)[[0, -1]]
        for figure, row in zip(figures, rows, strict=True):
            wave = ct.Train(primary=primary(figure=figure)).wavefront(focus="peak")
            assert wave.strehl == pytest.approx(found.shapes[shape].strehl[row], abs=1e-3)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"powers": [0.5]}, "powers"),
        ({"powers": [], "roll_off": False, "step": False}, "powers"),
        ({"widths_mm": [5, 3]}, "widths_mm"),
        ({"widths_mm": [0]}, "widths_mm"),
        ({"widths_mm": [90]}, "widths_mm"),
        ({"largest_drop_nm": -1}, "largest_drop_nm"),
        ({"share": 95}, "share"),
        ({"radius_sigma_mm": -0.1}, "radius_sigma_mm"),
        ({"wavelength_nm": 0}, "wavelength_nm"),
    ],
)
def test_options_that_cannot_be_are_refused(changes, field):
    with pytest.raises(ct.InputError) as caught:
        ct.fit_edges(readings("before"), **changes)
    assert caught.value.problems[0].field == field


def test_what_is_not_readings_is_refused():
    with pytest.raises(ct.InputError, match="KnifeEdgeReadings or a FigureEstimate"):
        ct.fit_edges([1, 2, 3])
    with pytest.raises(ct.InputError) as caught:
        edges().family(100)
    assert caught.value.problems[0].field == "figures"
    with pytest.raises(ct.InputError) as caught:
        edges().family(1, shape=9)
    assert caught.value.problems[0].field == "shape"
