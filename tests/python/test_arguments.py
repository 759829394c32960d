"""Arguments of all kinds that stand for the same numbers give the same answer, to the last bit."""

import decimal
import fractions

import astropy.units as u
import catoptric as ct
import numpy as np
import pandas as pd
import pytest
from samples import bare, newtonian, primary

RADII = [0.0, 5.0, 10.0, 15.0]
SAME_LISTS = {
    "list": RADII,
    "tuple": tuple(RADII),
    "ints": [0, 5, 10, 15],
    "range": range(0, 20, 5),
    "mixed": [0, np.float32(5), np.int64(10), 15.0],
    "float64": np.array(RADII),
    "float32": np.array(RADII, dtype=np.float32),
    "float16": np.array(RADII, dtype=np.float16),
    "int64": np.array(RADII, dtype=np.int64),
    "uint8": np.array(RADII, dtype=np.uint8),
    "big-endian": np.array(RADII, dtype=">f8"),
    "strided": np.repeat(RADII, 3)[::3],
    "reversed twice": np.array(RADII[::-1])[::-1],
    "column of a table": np.array([RADII, RADII]).T[:, 1],
    "read-only": np.broadcast_to(np.array(RADII), (2, 4))[0],
    "masked, nothing hidden": np.ma.array(RADII, mask=False),
    "pandas": pd.Series(RADII),
    "Table": ct.Table(radius_mm=RADII)["radius_mm"],
    "mm": RADII * u.mm,
    "m": np.array(RADII) / 1000 * u.m,
    "list of quantities": [r * u.mm for r in RADII],
}


@pytest.mark.parametrize("given", SAME_LISTS.values(), ids=SAME_LISTS.keys())
def test_a_list_may_come_in_any_form(given):
    expected = newtonian().illumination(radius_mm=RADII)
    found = newtonian().illumination(radius_mm=given)
    assert found.radius_mm.dtype == np.float64
    np.testing.assert_allclose(found.radius_mm, RADII, rtol=1e-15)
    np.testing.assert_allclose(found.mean, expected.mean, rtol=1e-12)


SAME_NUMBERS = [
    70,
    70.0,
    np.float64(70),
    np.float32(70),
    np.float16(70),
    np.int16(70),
    np.uint8(70),
    np.array(70.0),
    fractions.Fraction(70),
    70 * u.mm,
    7 * u.cm,
    0.07 * u.m,
    70_000 * u.um,
]


@pytest.mark.parametrize("given", SAME_NUMBERS, ids=repr)
def test_a_number_may_come_in_any_form(given):
    assert ct.Diagonal(minor_axis_mm=given).minor_axis_mm == pytest.approx(70, rel=1e-15)


def test_a_decimal_is_not_a_real_number_for_python_and_is_refused():
    with pytest.raises(ct.InputError, match="Decimal"):
        ct.Diagonal(minor_axis_mm=decimal.Decimal(70))


# Quantities with units. One inch is 25.4 mm, one degree 60 arcmin, one arcmin 60 arcsec, exactly.


def test_lengths_in_inches():
    mirror = ct.Primary(clear_aperture_mm=12.5 * u.imperial.inch, focal_length_mm=5 * u.imperial.ft)
    assert mirror.clear_aperture_mm == pytest.approx(317.5, rel=1e-15)
    assert mirror.focal_length_mm == pytest.approx(1524.0, rel=1e-15)
    assert ct.inches(12.5) == 317.5
    assert ct.inches(np.float32(0.5)) == 12.7


def test_the_default_unit_is_that_of_the_name():
    assert ct.Zone(radius_mm=95, half_width_mm=13, height_nm=28 * u.nm).height_nm == 28
    assert ct.Zone(radius_mm=95, half_width_mm=13, height_nm=0.028 * u.um).height_nm == (
        pytest.approx(28, rel=1e-15)
    )


@pytest.mark.parametrize(
    "given",
    [
        (10 * u.arcmin, -5 * u.arcmin),
        [600, -300] * u.arcsec,
        (600 * u.arcsec, -5 * u.arcmin),
        np.array([10.0, -5.0]) / 60 * u.deg,
        np.radians([10 / 60, -5 / 60]) * u.rad,
        [10, -5],
        np.array([10, -5], dtype=np.int8),
    ],
    ids=repr,
)
def test_field_angles(given):
    spot = bare().spot(field_arcmin=given, points=100)
    assert spot.field_arcmin == pytest.approx((10, -5), rel=1e-14)


def test_wavelengths_and_image_sizes():
    train = newtonian()
    plain = train.psf(wavelength_nm=600, half_width_um=10, pixels=11)
    same = train.psf(wavelength_nm=0.6 * u.um, half_width_um=10_000 * u.nm, pixels=11)
    assert same.wavelength_nm == pytest.approx(600, rel=1e-15)
    np.testing.assert_allclose(same.image, plain.image, rtol=1e-9, atol=1e-12)
    energy = plain.encircled_energy([1, 2] * u.um)
    np.testing.assert_allclose(energy, plain.encircled_energy([1.0, 2.0]), rtol=1e-15)


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: ct.Diagonal(minor_axis_mm=70 * u.arcmin), "minor_axis_mm"),
        (lambda: ct.Diagonal(minor_axis_mm=70 * u.dimensionless_unscaled), "minor_axis_mm"),
        (lambda: primary(conic=-1 * u.mm), "conic"),
        (lambda: bare().spot(field_arcmin=(1, 2) * u.mm), "field_arcmin"),
        (lambda: bare().spot(field_arcmin=(1 * u.arcmin, 2 * u.mm)), "field_arcmin"),
        (lambda: bare().wavefront(wavelength_nm=550 * u.THz), "wavelength_nm"),
        (lambda: newtonian().illumination(radius_mm=[0, 1] * u.s), "radius_mm"),
        (lambda: ct.Seeing(fwhm_arcsec=1).transfer([1.0] * u.arcsec), "cycles_per_arcsec"),
        (lambda: ct.eye_mtf([10.0] * u.deg, pupil_mm=3), "cycles_per_deg"),
        (lambda: bare().mtf(frequency_per_mm=[100.0] * u.mm), "frequency_per_mm"),
    ],
)
def test_a_quantity_of_another_kind_is_refused(make, field):
    with pytest.raises(ct.InputError) as caught:
        make()
    assert caught.value.field == field
    assert "convert" in caught.value.allowed
    assert caught.value.cause


def test_quantities_for_each_unit_are_converted():
    air = ct.Seeing(fwhm_arcsec=1)
    assert air.transfer([30.0] / u.arcmin) == pytest.approx(air.transfer([0.5]), rel=1e-12)
    eye = ct.eye_mtf([10.0], pupil_mm=3)
    assert ct.eye_mtf([10.0 / 60] / u.arcmin, pupil_mm=3) == pytest.approx(eye, rel=1e-12)
    lamp = ct.Spectrum.photopic(temperature_k=3000)
    assert ct.Spectrum.photopic(temperature_k=3 * u.kK) == lamp


def test_per_cent_are_a_plain_number_for_astropy():
    assert ct.Diagonal(minor_axis_mm=70, reflectance=92 * u.percent).reflectance == 0.92


@pytest.mark.parametrize(
    "runs_mm",
    [
        [[0.3, 0.7, 1.3], [0.4, 0.8, 1.4]],
        ((0.3, 0.7, 1.3), (0.4, 0.8, 1.4)),
        np.array([[0.3, 0.7, 1.3], [0.4, 0.8, 1.4]]),
        np.asfortranarray([[0.3, 0.7, 1.3], [0.4, 0.8, 1.4]]),
        np.array([[0.3, 0.4], [0.7, 0.8], [1.3, 1.4]]).T,
        [np.array([0.3, 0.7, 1.3]), np.array([0.4, 0.8, 1.4])],
        pd.DataFrame([[0.3, 0.7, 1.3], [0.4, 0.8, 1.4]]),
        [[0.03, 0.07, 0.13], [0.04, 0.08, 0.14]] * u.cm,
    ],
    ids=["lists", "tuples", "array", "fortran", "transposed", "rows", "pandas", "cm"],
)
def test_a_table_may_come_in_any_form(runs_mm):
    readings = ct.KnifeEdgeReadings(
        clear_aperture_mm=200,
        radius_of_curvature_mm=2400,
        source="moving",
        readings_increase="away_from_mirror",
        radius_mm=[40, 60, 80],
        runs_mm=runs_mm,
    )
    np.testing.assert_allclose(readings.runs_mm, [[0.3, 0.7, 1.3], [0.4, 0.8, 1.4]], rtol=1e-15)


def test_one_run_may_be_a_plain_list():
    bench = {
        "clear_aperture_mm": 200,
        "radius_of_curvature_mm": 2400,
        "source": "moving",
        "readings_increase": "away_from_mirror",
        "radius_mm": [40, 60, 80],
    }
    one = ct.KnifeEdgeReadings(runs_mm=[0.3, 0.7, 1.3], **bench)
    assert one == ct.KnifeEdgeReadings(runs_mm=[[0.3, 0.7, 1.3]], **bench)
    in_cm = ct.KnifeEdgeReadings(runs_mm=[0.03, 0.07, 0.13] * u.cm, **bench)
    np.testing.assert_allclose(in_cm.runs_mm, one.runs_mm, rtol=1e-15)


def test_layers_and_rings_may_come_in_any_sequence():
    layers = [ct.TurnedEdge(width_mm=9, drop_nm=330)]
    assert primary(figure=tuple(layers)) == primary(figure=layers)
    rings = [ct.CoatingRing(inner_radius_mm=1, outer_radius_mm=2, reflectance=0.5)]
    assert ct.Coating(rings=tuple(rings)) == ct.Coating(rings=rings)


def test_coefficients_may_be_of_any_number_type():
    plain = ct.Wavefront.from_zernikes({4: 20.0, 11: 10.0}, indexing="noll")
    other = ct.Wavefront.from_zernikes(
        {np.int64(4): 0.02 * u.um, 11: np.float32(10)}, indexing="noll"
    )
    assert other.rms_nm == pytest.approx(plain.rms_nm, rel=1e-14)


def test_none_stands_for_the_default_value():
    train = bare(conic=-0.9)
    assert train.wavefront(wavelength_nm=None, field_arcmin=None) == train.wavefront()
    assert train.spot(points=None) == train.spot()
    assert train.spot(wavelength_nm=600).wavelength_nm == 600
    assert train.spot(wavelength_nm=None).wavelength_nm == ct.DEFAULT_WAVELENGTH_NM
