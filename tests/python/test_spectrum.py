"""Light of several colours against colour-science, and the Strehl over a spectrum."""

import catoptric as ct
import colour
import numpy as np
import pytest

PHOTOPIC = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]
NM = np.asarray(PHOTOPIC.wavelengths)
V = np.asarray(PHOTOPIC.values) / np.sum(PHOTOPIC.values)


def test_the_mean_of_the_eye_by_day():
    day = ct.Spectrum.photopic()
    assert day.mean_nm == pytest.approx(float(NM @ V), abs=1e-4)
    assert day.weight.sum() == pytest.approx(1.0, abs=1e-14)
    assert (np.diff(day.wavelength_nm) > 0).all()
    assert (day.weight > 0).all()


@pytest.mark.parametrize("power", range(2, 18))
def test_powers_up_to_seventeen_come_out(power):
    # A Gauss rule of nine nodes is exact for them over the points of its table, every fifth value.
    day = ct.Spectrum.photopic()
    scaled, seen = (NM[::5] - 560) / 100, V[::5] / V[::5].sum()
    found = day.weight @ ((day.wavelength_nm - 560) / 100) ** power
    assert found == pytest.approx(seen @ scaled**power, rel=1e-9)


@pytest.mark.parametrize(
    ("path_nm", "off"), [(300, 1e-6), (1100, 1e-6), (2200, 2e-5), (2750, 2e-3)]
)
def test_averages_of_waves(path_nm, off):
    day = ct.Spectrum.photopic()
    found = day.weight @ np.cos(2 * np.pi * path_nm / day.wavelength_nm)
    assert found == pytest.approx(V @ np.cos(2 * np.pi * path_nm / NM), abs=off)


@pytest.mark.parametrize("kelvin", [2856, 5000, 12000])
def test_a_black_body_is_that_of_colour_science(kelvin):
    # The second radiation constant is that of CODATA 2018, as in the library.
    source = colour.colorimetry.planck_law(NM * 1e-9, kelvin, c2=1.438776877e-2)
    seen = V * source / (V @ source)
    day = ct.Spectrum.photopic(temperature_k=kelvin)
    assert day.mean_nm == pytest.approx(float(NM @ seen), abs=2e-4)


def test_the_strehl_by_day_is_the_average_of_single_colours():
    # The average over colour-science's wavelengths, each with V/lambda^2; every tenth is enough for
    # so smooth a function: a rectangle rule on a bell.
    train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, conic=-0.6))
    found = train.strehl(focus="least_rms")
    nm, seen = NM[5::10], V[5::10]
    strehl = [train.wavefront(focus="least_rms", wavelength_nm=w).strehl for w in nm]
    assert found.strehl == pytest.approx(np.average(strehl, weights=seen / nm**2), abs=2e-5)
    assert found.wavelength_nm == ct.Spectrum.photopic().mean_nm


def test_the_approximate_forms_say_where_they_fail():
    steep = ct.Primary(
        clear_aperture_mm=200,
        focal_length_mm=1200,
        figure=[ct.TurnedEdge(width_mm=3, drop_nm=900, power=1)],
    )
    by = ct.Train(primary=steep).wavefront(focus="peak").strehl_approximations()
    assert by.strehl - by.strehl_exponential > 0.1
    assert f"{by.strehl - by.strehl_exponential:.3f} too low" in by.warning
    assert by.strehl_exponential == pytest.approx(np.exp(-((2 * np.pi * by.rms_waves) ** 2)))
    assert by.strehl_marechal == pytest.approx((1 - 2 * np.pi**2 * by.rms_waves**2) ** 2)


@pytest.mark.parametrize(
    ("make", "field", "cause"),
    [
        (lambda: ct.Spectrum(wavelength_nm=[600, 500], weight=[1, 1]), "wavelength_nm[1]", "order"),
        (lambda: ct.Spectrum(wavelength_nm=[5500], weight=[1]), "wavelength_nm", "angstroms"),
        (lambda: ct.Spectrum(wavelength_nm=["green"], weight=[1]), "wavelength_nm", ""),
        (lambda: ct.Spectrum(wavelength_nm=[500], weight=[1, 2]), "weight", ""),
        (lambda: ct.Spectrum(wavelength_nm=[500, 600], weight=[1, -2]), "weight[1]", ""),
        (lambda: ct.Spectrum.band(from_nm=0.5, to_nm=600), "from_nm", "micrometres"),
        (lambda: ct.Spectrum.band(from_nm=600, to_nm=500), "to_nm", "exchanged"),
        (lambda: ct.Spectrum.photopic(count=0), "count", ""),
        (lambda: ct.Spectrum.photopic(temperature_k=5.8), "temperature_k", "thousands"),
    ],
)
def test_light_that_cannot_be(make, field, cause):
    with pytest.raises(ct.InputError) as caught:
        make()
    assert caught.value.problems[0].field.startswith(field)
    assert cause in caught.value.problems[0].cause
