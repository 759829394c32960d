"""Lamp readings to a coating, its effect and its recoat: against numpy, scipy and closed forms."""

import catoptric as ct
import numpy as np
import pytest
from samples import (
    READINGS,
    coating_outline,
    fresh_coat,
    lamp_photo,
    lamp_spots,
    old_newtonian,
    outlying_spots,
    recoats,
)
from scipy import stats
from scipy.integrate import dblquad


def design(spots, *, smooth=True):
    """Return what base, ring and patch count at each spot, by formulas of their own."""
    x, y = np.asarray(spots.x_mm), np.asarray(spots.y_mm)
    r = np.hypot(x, y)
    inside = (r >= 112) & (r < 139)
    ring = np.where(inside, np.sin(np.pi * (r - 112) / 27) ** 2 if smooth else 1.0, 0.0)
    patch = 1 / (1 + np.exp((np.hypot(x + 46, y - 71) - 36) / 3))
    return np.column_stack(((1 - ring) * (1 - patch), ring * (1 - patch), patch))


@pytest.mark.parametrize("smooth", [True, False])
def test_the_fit_is_that_of_numpy_and_scipy(smooth):
    spots = lamp_spots()
    outline = coating_outline()
    if not smooth:
        ring = ct.OutlineRing(inner_radius_mm=112, outer_radius_mm=139)
        outline = ct.CoatingOutline(rings=[ring], patches=outline.patches)
    estimate = spots.fit(outline)
    x = design(spots, smooth=smooth)
    readings = np.array(spots.ratios)
    mean, repeats = readings.mean(axis=1), readings.shape[1]
    levels, *_ = np.linalg.lstsq(x * repeats**0.5, mean * repeats**0.5, rcond=None)
    freedom = readings.size - len(mean)
    noise = ((readings - mean[:, None]) ** 2).sum() / freedom
    chi_square = repeats * ((mean - x @ levels) ** 2).sum() / noise
    spare = len(mean) - 3
    p_value = stats.f.sf(chi_square / spare, spare, freedom)
    np.testing.assert_allclose(estimate.reflectance, 0.90 * levels, rtol=1e-10)
    assert estimate.ratio_sigma == pytest.approx(noise**0.5, rel=1e-10)
    assert estimate.chi_square == pytest.approx(chi_square, rel=1e-10)
    assert estimate.p_value == pytest.approx(p_value, rel=1e-8)
    wide = max(1.0, (chi_square / spare) ** 0.5) if p_value < 0.05 else 1.0
    covariance = 0.81 * noise * wide**2 * np.linalg.inv(x.T @ x * repeats)
    np.testing.assert_allclose(estimate.covariance, covariance, rtol=1e-9, atol=1e-18)
    t = stats.t.ppf(0.975, freedom)
    if wide > 1:
        t = max(t / wide, stats.t.ppf(0.975, spare))
    half = t * np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(estimate.reflectance_high - estimate.reflectance, half, rtol=1e-9)
    assert (estimate.widened_by > 1) == (not smooth)


def reflectance(x, y):
    """Return the truth of the old mirror, see notebooks-demo/data/README.md."""
    r = np.hypot(x, y)
    dip = 0.13 * np.sin(np.pi * (r - 112) / 27) ** 2 if 112 < r < 139 else 0.0
    share = 1 / (1 + np.exp((np.hypot(x + 46, y - 71) - 36) / 3))
    return (1 - share) * (0.85 - dip) + share * 0.42


def test_old_lane_has_its_story():
    estimate = lamp_spots().fit(coating_outline())
    prices = ct.RecoatPrices(diagonal=35, primary=240)
    found = ct.recoat(
        old_newtonian(), fresh=fresh_coat(), prices=prices, estimate=estimate, wear="haze"
    )
    total = 0.0
    for inner, outer in ((37, 112), (112, 139), (139, 178)):
        total += dblquad(
            lambda t, r: r * reflectance(r * np.cos(t), r * np.sin(t)),
            inner,
            outer,
            0,
            2 * np.pi,
            epsabs=1e-2,
        )[0]
    truth = 0.78 * total / (np.pi * (178**2 - 37**2))
    low, high = found.effect.throughput_range
    assert low < truth < high
    assert high - low < 0.02
    assert found.returned_of_lost[0] > 0.5  # the diagonal, for a seventh of the price
    assert found.price[1] / found.price[0] == pytest.approx(7, abs=0.2)
    assert found.effect.shape_loss < 0.01
    assert "hardly blurs" in " ".join(found.effect.words)
    assert found.gain_per_price.argmax() == 0


def test_magnitudes_are_those_of_the_two_reflectances():
    train = old_newtonian(coating=ct.Coating(reflectance=0.85))
    effect = ct.coating_effect(train, fresh=fresh_coat())
    assert effect.magnitudes_lost == pytest.approx(-2.5 * np.log10(0.85 * 0.78), abs=1e-12)
    assert effect.acts_like_fresh_mm == pytest.approx(356 * (0.663 / 0.8281) ** 0.5, rel=1e-12)
    assert effect.throughput_range is None
    assert effect.throughput_draws.size == 0


def test_a_comparison_has_a_table_and_says_what_is_dominated():
    table = recoats().to_table()
    assert list(table["what"]) == ["diagonal", "primary", "both"] * 2
    assert set(table) >= {"gain", "gain_low", "gain_high", "price", "gain_per_price", "aged_gain"}
    assert (table["gain_low"] <= table["gain"]).all()
    assert len(recoats().trains) == 6


def test_a_wild_reading_is_named_and_kept():
    estimate = outlying_spots().fit(ct.CoatingOutline())
    readings = np.array(outlying_spots().ratios)
    assert estimate.reflectance[0] == pytest.approx(0.9 * readings.mean(), abs=1e-12)
    (odd,) = estimate.outliers
    assert (odd.spot, odd.repeat, odd.ratio) == (2, 2, 0.6)
    rest = np.array([*readings[[0, 1, 3]].ravel(), *readings[2, :2]]).mean()
    assert odd.levels_without[0] == pytest.approx(0.9 * rest, abs=1e-12)
    assert any("stays in the fit" in words for words in estimate.words)


def test_a_photograph_becomes_a_coating():
    photo = lamp_photo()
    coating = ct.Coating(map=photo.map())
    mirror = ct.Primary(clear_aperture_mm=190, focal_length_mm=1000, coating=coating)
    effect = ct.coating_effect(ct.Train(primary=mirror), fresh=fresh_coat())
    assert effect.throughput == pytest.approx(photo.mean_reflectance, abs=0.01)


REFUSED = {
    "reflectance above 1": (lambda: lamp_spots(reference_reflectance=90), "per cent"),
    "text": (lambda: lamp_spots(reference_reflectance="90"), "reference_reflectance"),
    "wear not stated": (lambda: lamp_spots().fit(coating_outline()).coating(), "wear"),
    "wear unknown": (lambda: lamp_spots().fit(coating_outline()).coating(wear="dust"), "haze"),
    "wear not stated in an effect": (
        lambda: ct.coating_effect(
            old_newtonian(), fresh=fresh_coat(), estimate=lamp_spots().fit(coating_outline())
        ),
        "wear",
    ),
    "wear without an estimate": (
        lambda: ct.coating_effect(old_newtonian(), fresh=fresh_coat(), wear="haze"),
        "estimate",
    ),
    "negative price": (
        lambda: ct.recoat(
            old_newtonian(), fresh=fresh_coat(), prices=ct.RecoatPrices(diagonal=-1, primary=240)
        ),
        "prices[0].diagonal",
    ),
    "a coat in per cent": (
        lambda: ct.coating_effect(old_newtonian(), fresh=fresh_coat(primary_reflectance=91)),
        "per cent",
    ),
    "spots off the mirror": (lambda: lamp_spots(clear_aperture_mm=200), "counted from its centre"),
    "one repeat only": (
        lambda: ct.CoatingSpots(
            x_mm=[1, 2],
            y_mm=[0, 0],
            ratios=[0.9, 0.9],
            clear_aperture_mm=99,
            reference_reflectance=0.9,
        ),
        "ratio_sigma",
    ),
    "rows and places unequal": (
        lambda: ct.CoatingSpots(
            x_mm=[1, 2],
            y_mm=[0, 0],
            ratios=[[0.9, 0.9]],
            clear_aperture_mm=99,
            reference_reflectance=0.9,
        ),
        "one row of ratios",
    ),
    "a patch that no spot touches": (
        lambda: lamp_spots().fit(
            ct.CoatingOutline(patches=[ct.OutlinePatch(x_mm=120, y_mm=-90, radius_mm=10)])
        ),
        "no spot touches",
    ),
    "a photograph in per cent": (
        lambda: ct.ReflectancePhoto(
            values=np.arange(1600.0).reshape(40, 40),
            pixel_mm=5,
            rows_run="-y",
            columns_run="+x",
            clear_aperture_mm=190,
            dark=ct.KnownPatch(x_mm=-75, y_mm=0, radius_mm=15, reflectance=20),
            bright=ct.KnownPatch(x_mm=50, y_mm=0, radius_mm=15, reflectance=90),
        ),
        "per cent",
    ),
    "grain that cannot be": (
        lambda: ct.HazeScatter(rms_nm=-1, correlation_length_um=5, form="gaussian"),
        "rms_nm",
    ),
    "a profile unknown": (
        lambda: ct.OutlineRing(inner_radius_mm=1, outer_radius_mm=2, profile="round"),
        "profile",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_is_refused_by_name(case):
    make, named = REFUSED[case]
    with pytest.raises(ct.InputError, match=named.replace("[", r"\[").replace("]", r"\]")):
        make()


def test_a_photograph_needs_its_orientation():
    with pytest.raises(TypeError, match="rows_run"):
        ct.ReflectancePhoto(
            values=np.ones((40, 40)),
            pixel_mm=5,
            columns_run="+x",
            clear_aperture_mm=190,
            dark=lamp_photo().dark,
            bright=lamp_photo().bright,
        )


def test_a_table_without_a_column_says_which(tmp_path):
    path = tmp_path / "lamp.csv"
    path.write_text("x_mm,ratio_1,ratio_2\n40,0.96,0.95\n")
    with pytest.raises(ct.InputError, match="y_mm"):
        ct.CoatingSpots.from_csv(path, clear_aperture_mm=356, reference_reflectance=0.9)
    with pytest.raises(OSError, match="none"):
        ct.CoatingSpots.from_csv(
            READINGS / "none.csv", clear_aperture_mm=356, reference_reflectance=0.9
        )
