"""Stars through the air against galsim's Kolmogorov and Airy profiles.

galsim gives transfer functions of both to its own accuracy; their product is brought into the image
by a Hankel transform here, which is sharper than a picture drawn by galsim.
"""

import catoptric as ct
import galsim
import numpy as np
import pytest
from scipy import optimize
from scipy.special import j0, j1

ARCSEC = np.pi / 180 / 3600
NM = 550.0
DIAMETER_MM = 200.0
UNIT_ARCSEC = NM * 1e-6 / DIAMETER_MM / ARCSEC


class GalsimStar:
    """A perfect star of an annular telescope through long-exposure air."""

    def __init__(self, r0_mm, obstruction=0.0):
        sharp = galsim.GSParams(maxk_threshold=1e-6, kvalue_accuracy=1e-8)
        air = galsim.Kolmogorov(lam=NM, r0=r0_mm * 1e-3, gsparams=sharp)
        diam, centre = DIAMETER_MM * 1e-3, obstruction
        optics = galsim.Airy(lam=NM, diam=diam, obscuration=centre, gsparams=sharp)
        node, weight = np.polynomial.legendre.leggauss(400)
        angle = (node + 1) * np.pi / 4
        self.share = np.sin(angle)
        k = 2 * np.pi * self.share / UNIT_ARCSEC
        both = [(air.kValue(q, 0) * optics.kValue(q, 0)).real for q in k]
        self.terms = weight * np.pi / 4 * np.cos(angle) * np.array(both)
        # The perfect peak is 1 where the integral of the transfer function alone is (1 - e^2)/8.
        self.whole = 8 / (1 - obstruction**2)

    def intensity(self, radius_arcsec):
        turn = 2 * np.pi * self.share * radius_arcsec / UNIT_ARCSEC
        return self.whole * np.sum(self.terms * self.share * j0(turn))

    def fwhm_arcsec(self):
        half = self.intensity(0.0) / 2
        return 2 * optimize.brentq(lambda r: self.intensity(r) - half, 1e-6, 20.0)

    def energy(self, radius_arcsec):
        turn = 2 * np.pi * radius_arcsec / UNIT_ARCSEC
        return turn * np.sum(self.terms * j1(turn * self.share))


def telescope(obstruction=0.0):
    """Return a perfect train, so slow (f/30) that its pupil is the textbook's."""
    mirror = ct.Primary(clear_aperture_mm=DIAMETER_MM, focal_length_mm=6000)
    if obstruction == 0.0:
        return ct.Train(primary=mirror)
    flat = ct.Diagonal(minor_axis_mm=obstruction * DIAMETER_MM, offset_mm=0)
    plane = ct.FocalPlane(axis_to_focus_mm=0.501 * DIAMETER_MM)
    return ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)


def seen(train, seeing, **size):
    return train.wavefront(focus="paraxial").in_seeing(seeing, **size)


# The law.


@pytest.mark.parametrize("fwhm", [0.5, 1.0, 2.5])
def test_the_transfer_is_galsims(fwhm):
    # galsim.Kolmogorov, its own accuracy of a transfer function about 1e-5.
    air, theirs = ct.Seeing(fwhm_arcsec=fwhm), galsim.Kolmogorov(fwhm=fwhm)
    cycles = np.linspace(0, 2 / fwhm, 41)
    expected = [theirs.kValue(2 * np.pi * c, 0).real for c in cycles]
    np.testing.assert_allclose(air.transfer(cycles), expected, atol=1e-5)
    assert air.r0_mm == pytest.approx(NM * 1e-6 / (theirs.lam_over_r0 * ARCSEC), rel=1e-5)


def test_frieds_numbers():
    # 0.975863 lambda/r0; 1 arcsec at 550 nm is r0 110.71 mm: Fried's law in mpmath, apart.
    air = ct.Seeing(r0_mm=100)
    assert air.fwhm_arcsec == pytest.approx(0.975863 * NM * 1e-6 / 100 / ARCSEC, rel=1e-6)
    assert ct.Seeing(fwhm_arcsec=1).r0_mm == pytest.approx(110.71, abs=0.005)
    at_500 = ct.Seeing(fwhm_arcsec=1, wavelength_nm=500)
    assert at_500.fwhm_arcsec_at(1000) == pytest.approx(2**-0.2, rel=1e-12)


# A star.


@pytest.mark.parametrize("r0_mm", [1000, 200, 60, 20])
@pytest.mark.parametrize("obstruction", [0.0, 0.3])
def test_a_star_through_the_air_is_galsims(r0_mm, obstruction):
    star, theirs = (
        seen(telescope(obstruction), ct.Seeing(r0_mm=r0_mm)),
        GalsimStar(r0_mm, obstruction),
    )
    assert star.peak == pytest.approx(theirs.intensity(0.0), rel=2e-4)
    assert star.fwhm_arcsec == pytest.approx(theirs.fwhm_arcsec(), rel=3e-4)
    row = star.image[64]
    scale = star.pixel_arcsec / star.pixel_um
    expected = np.array([theirs.intensity(abs(x) * scale) for x in star.along_um])
    np.testing.assert_allclose(row, expected, atol=2e-4 * star.peak + star.error_estimate)


def test_a_telescope_as_wide_as_r0():
    star = seen(telescope(), ct.Seeing(r0_mm=DIAMETER_MM))
    assert star.fwhm_arcsec / UNIT_ARCSEC == pytest.approx(1.41532, abs=1e-3)
    assert GalsimStar(DIAMETER_MM).fwhm_arcsec() / UNIT_ARCSEC == pytest.approx(1.41532, abs=1e-3)


def test_the_energy_is_galsims():
    star, theirs = (
        seen(telescope(), ct.Seeing(fwhm_arcsec=1.5)),
        GalsimStar(ct.Seeing(fwhm_arcsec=1.5).r0_mm),
    )
    scale = star.pixel_arcsec / star.pixel_um
    radius = np.linspace(0, star.along_um[-1], 9)
    expected = [theirs.energy(r * scale) for r in radius]
    np.testing.assert_allclose(star.encircled_energy(radius), expected, atol=3e-4)


def test_a_spectrum_is_the_sum_of_its_colours():
    train, air = telescope(0.3), ct.Seeing(fwhm_arcsec=1.5)
    light = ct.Spectrum(wavelength_nm=[450, 550, 650], weight=[1, 2, 1])
    size = {"half_width_um": 80, "pixels": 41}
    both = seen(train, air, spectrum=light, **size)
    share = light.weight / light.wavelength_nm**2
    alone = [
        train.wavefront(focus="paraxial", wavelength_nm=nm).in_seeing(air, **size).image
        for nm in light.wavelength_nm
    ]
    np.testing.assert_allclose(
        both.image, np.tensordot(share / share.sum(), alone, 1), atol=1e-4 * both.peak
    )


# Nights.


def test_nights_against_galsims_peaks():
    nights = [0.5, 1.0, 2.0, 4.0]
    before, after = telescope(0.3), telescope()
    found = ct.nights_that_show(
        before=before.wavefront(focus="paraxial"),
        after=after.wavefront(focus="paraxial"),
        fwhm_arcsec=nights,
    )
    for i, fwhm in enumerate(nights):
        r0_mm = ct.Seeing(fwhm_arcsec=fwhm).r0_mm
        assert found.peak_after[i] == pytest.approx(GalsimStar(r0_mm).intensity(0.0), rel=3e-4)
        assert found.peak_before[i] == pytest.approx(
            GalsimStar(r0_mm, 0.3).intensity(0.0), rel=1e-3
        )
    assert found.count == found.shows.sum()
    assert f"{found.count} of the 4 nights" in found.words or "all of" in found.words


def test_trains_wavefronts_and_stars_are_judged_alike():
    before, after = telescope(0.3), telescope()
    trains = ct.nights_that_show(before=before, after=after, fwhm_arcsec=[1, 2])
    waves = ct.nights_that_show(
        before=before.wavefront(focus="peak"), after=after.psf(focus="peak"), fwhm_arcsec=[1, 2]
    )
    assert trains == waves


# What cannot be.


@pytest.mark.parametrize(
    ("make", "field", "cause"),
    [
        (lambda: ct.Seeing(fwhm_arcsec=0), "fwhm_arcsec", "no seeing"),
        (lambda: ct.Seeing(fwhm_arcsec=-2), "fwhm_arcsec", ""),
        (lambda: ct.Seeing(fwhm_arcsec=90), "fwhm_arcsec", "milliarcseconds"),
        (lambda: ct.Seeing(fwhm_arcsec="good"), "fwhm_arcsec", ""),
        (lambda: ct.Seeing(), "fwhm_arcsec", ""),
        (lambda: ct.Seeing(fwhm_arcsec=1, r0_mm=100), "fwhm_arcsec", ""),
        (lambda: ct.Seeing(r0_mm=0.1), "r0_mm", "metres"),
        (lambda: ct.Seeing(fwhm_arcsec=1, wavelength_nm=5500), "wavelength_nm", "angstroms"),
        (lambda: ct.Seeing(fwhm_arcsec=1, zenith_angle_deg=88), "zenith_angle_deg", "horizon"),
        (lambda: ct.Seeing(fwhm_arcsec=1).short_exposure(diameter_mm=-1), "diameter_mm", ""),
        (lambda: ct.Seeing(fwhm_arcsec=1).transfer([1.0], wavelength_nm=0), "wavelength_nm", ""),
        (lambda: seen(telescope(), ct.Seeing(fwhm_arcsec=1), pixels=100_000), "pixels", ""),
        (lambda: seen(telescope(), ct.Seeing(fwhm_arcsec=1), half_width_um=0), "half_width_um", ""),
        (
            lambda: ct.nights_that_show(before=telescope(), after=telescope(), fwhm_arcsec=[]),
            "fwhm_arcsec",
            "",
        ),
        (
            lambda: ct.nights_that_show(before=telescope(), after="better", fwhm_arcsec=[1]),
            "after",
            "",
        ),
        (
            lambda: ct.nights_that_show(
                before=telescope(), after=telescope(), fwhm_arcsec=[1], least_peak_change=10
            ),
            "least_peak_change",
            "per cent",
        ),
    ],
)
def test_air_and_nights_that_cannot_be(make, field, cause):
    with pytest.raises(ct.InputError) as caught:
        make()
    assert caught.value.problems[0].field.startswith(field)
    assert cause in caught.value.problems[0].cause
