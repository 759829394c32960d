"""Contrast against spatial frequency, against closed forms and independent sums."""

import catoptric as ct
import numpy as np
import pytest
from samples import WIDE_EDGE, bare, newtonian, rows
from scipy import special

CUTOFF_F5 = 1.0 / (550e-6 * 5.0)


@pytest.mark.parametrize("row", rows("mtf", kind="perfect"), ids=lambda r: r["obstruction_ratio"])
def test_perfect_apertures_are_o_neills(row):
    ratio, wanted = row["obstruction_ratio"], row["contrast"]
    found = ct.perfect_mtf(row["frequency_ratio"], obstruction_ratio=ratio)
    assert found == pytest.approx(wanted, abs=1e-14)
    wave = ct.Wavefront.from_zernikes({}, indexing="noll", obstruction_ratio=ratio, focal_ratio=5)
    mtf = wave.mtf(frequency_per_mm=np.array(row["frequency_ratio"]) * CUTOFF_F5)
    assert mtf.contrast_mean == pytest.approx(wanted, abs=1e-6)
    assert mtf.perfect_obstructed == pytest.approx(wanted, abs=1e-12)
    assert 0 < mtf.error_estimate <= 1e-5


@pytest.mark.parametrize("row", rows("mtf", kind="terms"))
def test_uneven_wavefronts_agree_with_columns(row):
    coefficients = dict(zip(row["noll"], row["coefficient_nm"], strict=True))
    wave = ct.Wavefront.from_zernikes(
        coefficients,
        indexing="noll",
        obstruction_ratio=row["obstruction_ratio"],
        focal_ratio=5,
    )
    frequency = np.array(row["frequency_ratio"]) * CUTOFF_F5
    otf = wave.otf(azimuth_deg=row["azimuth_deg"], frequency_per_mm=frequency)
    assert otf.real == pytest.approx(row["real"], abs=3e-6)
    assert otf.imaginary == pytest.approx(row["imaginary"], abs=3e-6)
    assert otf.contrast == pytest.approx(np.hypot(row["real"], row["imaginary"]), abs=5e-6)


def test_a_detail_is_a_full_period():
    mtf = newtonian().mtf(frequency_per_mm=[0, 100])
    there = mtf.at_detail(1.25)
    radians = 1.25 * np.pi / 648_000
    assert there.frequency_per_mm == pytest.approx(1 / (radians * 1558), rel=1e-12)
    assert mtf.frequency_per_arcsec[1] == pytest.approx(100 * 1558 * np.pi / 648_000, rel=1e-12)
    same = newtonian().mtf(frequency_per_mm=[there.frequency_per_mm])
    assert same.contrast_along[0] == there.contrast_along


def test_a_turned_edge_is_worth_a_smaller_aperture():
    turned = newtonian().with_primary(figure=[WIDE_EDGE]).mtf(focus="peak", frequency_per_mm=[0])
    sound = newtonian().mtf(focus="peak", frequency_per_mm=[0])
    detail = 1.2
    assert turned.equivalent_aperture_mm(detail) < sound.equivalent_aperture_mm(detail) < 318
    # The aperture found has the contrast found: closed form.
    there = turned.at_detail(detail)
    ratio = 550e-6 / there.equivalent_aperture_mm / (detail * np.pi / 648_000)
    assert ct.perfect_mtf(ratio)[0] == pytest.approx(there.contrast_mean, abs=1e-9)


def test_beyond_the_cut_off_nothing_is_left():
    mtf = bare().mtf(frequency_per_mm=[0, 1e4])
    assert mtf.contrast_along.tolist() == [1, 0]
    assert mtf.cutoff_per_mm < mtf.textbook_cutoff_per_mm < 1e4
    assert mtf.at_detail(0.01).equivalent_aperture_mm is None


def test_light_of_several_colours_is_the_mean_of_them():
    colours = ct.Spectrum(wavelength_nm=[480, 600], weight=[1, 3])
    asked = {"frequency_per_mm": [50, 150], "focus_shift_mm": 0.02}
    both = bare().mtf(spectrum=colours, **asked)
    blue, red = (
        bare().mtf(spectrum=ct.Spectrum(wavelength_nm=[nm], weight=[1]), **asked)
        for nm in (480, 600)
    )
    # On the axis of a round mirror out of focus the transfer function is real; here it is above 0.
    wanted = 0.25 * blue.contrast_mean + 0.75 * red.contrast_mean
    assert both.contrast_mean == pytest.approx(wanted, abs=1e-6)
    assert both.weight.tolist() == [0.25, 0.75]


def test_coma_shows_in_the_phase():
    wave = bare().wavefront(field_arcmin=(15, 0), focus="paraxial")
    along, across = (wave.otf(azimuth_deg=azimuth, frequency_per_mm=[2.0]) for azimuth in (0, 90))
    # The star's image and its flare lie at negative along, away from the axis: a positive phase.
    assert along.phase_rad[0] > 1e-3
    assert abs(across.phase_rad[0]) < 1e-6
    assert wave.mtf(frequency_per_mm=[2.0]).at_azimuth(180).imaginary[0] == pytest.approx(
        -along.imaginary[0], abs=1e-7
    )


def test_coefficients_alone_know_no_angles():
    wave = ct.Wavefront.from_zernikes({}, indexing="noll", focal_ratio=5)
    mtf = wave.mtf(frequency_per_mm=[10])
    assert mtf.frequency_per_arcsec is None
    with pytest.raises(ct.InputError, match="focal length"):
        mtf.at_detail(1)
    with pytest.raises(ct.InputError, match="focal_ratio"):
        ct.Wavefront.from_zernikes({}, indexing="noll").mtf()


def test_each_colour_goes_through_the_air_by_itself():
    # Fried 1966: exp(-((24/5) Gamma(6/5))^(5/6) (lambda nu f/r0)^(5/3)), by hand for each colour.
    steepness = (4.8 * special.gamma(1.2)) ** (5 / 6)
    train = ct.Train(primary=ct.Primary(clear_aperture_mm=100, focal_length_mm=20_000))
    night = ct.Seeing(r0_mm=90, wavelength_nm=500)
    colours, shares = np.array([450.0, 650.0]), np.array([0.25, 0.75])
    nu = np.array([0.0, 1.0, 2.5, 5.0])
    light = ct.Spectrum(wavelength_nm=colours, weight=shares)
    seen = train.mtf(frequency_per_mm=nu, spectrum=light, focus="paraxial").in_seeing(night)
    wanted = np.zeros_like(nu)
    for nm, share in zip(colours, shares, strict=True):
        baseline_mm = nu * nm * 1e-6 * 20_000
        r0_mm = 90 * (nm / 500) ** 1.2
        air = np.exp(-steepness * (baseline_mm / r0_mm) ** (5 / 3))
        wanted += share * ct.perfect_mtf(baseline_mm / 100) * air
    assert seen.contrast_mean == pytest.approx(wanted, abs=1e-5)
    assert seen.perfect_clear == pytest.approx(wanted, abs=1e-5)
    # Air counts once, and a perfect mirror is its own equal in it.
    assert seen.in_seeing(night).contrast_mean == pytest.approx(seen.contrast_mean, abs=1e-12)
    assert seen.equivalent_aperture_mm(2.0) == pytest.approx(100, abs=0.01)
    assert seen.seeing == night
    assert train.mtf(frequency_per_mm=nu).seeing is None
