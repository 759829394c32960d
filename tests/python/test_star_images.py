"""Star images in any light, through focus, and what they say of the light's place."""

import catoptric as ct
import numpy as np
import pytest
from samples import bare, newtonian
from scipy.special import j0

LIGHT = ct.Spectrum(wavelength_nm=[480, 560, 640], weight=[1, 2, 1])


def refusal(call):
    with pytest.raises(ct.InputError) as caught:
        call()
    return caught.value


def test_colours_add_up():
    train = newtonian(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, conic=-0.97))
    wave = train.wavefront(focus="paraxial", wavelength_nm=560)
    options = {"half_width_um": 20, "pixels": 24}
    together = wave.psf(spectrum=LIGHT, **options)
    counts = LIGHT.weight / LIGHT.wavelength_nm**2
    alone = [
        train.psf(focus="paraxial", wavelength_nm=float(nm), **options).image
        for nm in LIGHT.wavelength_nm
    ]
    summed = sum(c * image for c, image in zip(counts, alone, strict=True)) / counts.sum()
    assert np.abs(together.image - summed).max() < 1e-7
    assert together.spectrum == LIGHT
    assert together.wavelength_nm == pytest.approx(560)
    radius = [2.0, 8.0, 18.0]
    parts = [
        train.psf(focus="paraxial", wavelength_nm=float(nm), **options).encircled_energy(radius)
        for nm in LIGHT.wavelength_nm
    ]
    energies = sum(w * part for w, part in zip(LIGHT.weight, parts, strict=True))
    assert np.abs(together.encircled_energy(radius) - energies).max() < 1e-7


def test_a_round_star_is_scipys_sum_with_j0():
    # scipy's J0 on numpy's Gauss nodes; W = 2h/(1 + (r/R)^2), s = (r/f)/(1 + (r/2f)^2).
    edge = ct.TurnedEdge(width_mm=9, drop_nm=90)
    star = bare(figure=[edge]).psf(focus="paraxial", spectrum=LIGHT, half_width_um=25, pixels=25)
    nodes, weights = np.polynomial.legendre.leggauss(120)
    parts = [(0.0, 150.0**2), (150.0**2, 159.0**2)]
    square = np.concatenate([(a + b) / 2 + (b - a) / 2 * nodes for a, b in parts])
    weight = np.concatenate([(b - a) / 2 * weights for a, b in parts])
    r = np.sqrt(square)
    sine = (r / 1558) / (1 + (r / 3116) ** 2)
    path = -180 * np.clip((r - 150) / 9, 0, None) ** 2 / (1 + (r / 3116) ** 2)
    out = np.hypot(*np.meshgrid(star.along_um, star.across_um)).ravel()
    total, counts = np.zeros(len(out)), LIGHT.weight / LIGHT.wavelength_nm**2
    for nm, count in zip(LIGHT.wavelength_nm, counts, strict=True):
        table = j0(2e3 * np.pi / nm * np.outer(out, sine))
        field = weight * np.exp(2j * np.pi * path / nm)
        total += count * np.abs(table @ field) ** 2 / weight.sum() ** 2
    assert np.abs(star.image.ravel() - total / counts.sum()).max() < 1e-8


def test_a_pixel_or_a_half_width():
    train = bare()
    assert train.psf(pixel_um=0.5, pixels=20).pixel_um == pytest.approx(0.5)
    both = refusal(lambda: train.psf(pixel_um=0.5, half_width_um=5, pixels=20))
    assert both.field == "pixel_um"
    assert "one of the two" in str(both)
    large = refusal(lambda: train.psf(pixel_um=30, half_width_um=5))
    assert "smaller than the field" in str(large)
    assert refusal(lambda: train.psf(pixel_um=0)).field == "pixel_um"
    huge = refusal(lambda: train.psf(pixel_um=1e5))
    assert "pixels larger than the field" in str(huge)
    many = refusal(lambda: train.psf(pixels=100_000))
    assert "76294 MiB" in str(many)


@pytest.mark.parametrize(
    ("nm", "words"), [(0, "200 to 3000"), (5500, "angstroms"), ("green", "number")]
)
def test_light_that_cannot_be(nm, words):
    for call in (bare().psf, bare().through_focus):
        error = refusal(lambda call=call: call(wavelength_nm=nm))
        assert error.field == "wavelength_nm"
        assert words in str(error)
    both = refusal(lambda: bare().psf(wavelength_nm=550, spectrum=LIGHT))
    assert "one of the two" in str(both)


def test_rings_add_up_to_the_encircled_energy():
    star = newtonian().psf(half_width_um=15, pixels=33)
    rings = star.ring_energy(rings=6)
    inside = star.encircled_energy(rings["outer_radius_um"])
    assert np.cumsum(rings["share"]) == pytest.approx(inside, abs=1e-12)
    assert rings["share"].sum() < rings["perfect_share"].sum() < 1
    assert refusal(lambda: star.ring_energy(rings=0)).field == "rings"
    assert refusal(lambda: star.rectangle_energy(half_along_um=0, half_across_um=1)).field


def test_a_strip_is_the_stars_of_each_focus():
    train = newtonian(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, conic=-0.95))
    shift = [-0.2, 0.0, 0.3]
    options = {"half_width_um": 25, "pixels": 25}
    strip = train.through_focus(focus="paraxial", shift_mm=shift, spectrum=LIGHT, **options)
    for image, dz in zip(strip.images, shift, strict=True):
        alone = train.psf(focus_shift_mm=dz, spectrum=LIGHT, **options)
        assert np.abs(image - alone.image).max() < 1e-6
    assert strip.side == ("inside focus", "in focus", "outside focus")
    assert strip.defocus_waves == pytest.approx(
        np.array(shift) / (8 * train.focal_ratio**2 * 560e-6), rel=1e-9
    )
    assert strip.profile.shape == (3, len(strip.profile_radius_um))


def test_steps_that_cannot_be():
    train = bare()
    assert refusal(lambda: train.through_focus(defocus_waves=[])).field == "defocus_waves"
    assert refusal(lambda: train.through_focus(defocus_waves=[99])).field == "defocus_waves[0]"
    both = refusal(lambda: train.through_focus(defocus_waves=[1], shift_mm=[1]))
    assert "one of the two" in str(both)
    assert refusal(lambda: ct.typical_faults(train, wavefront_waves=0)).field == "wavefront_waves"


def test_faults_are_named_and_sized():
    faults = {fault.name: fault for fault in ct.typical_faults(bare(), wavefront_waves=0.5)}
    assert set(faults) == {
        "none",
        "undercorrected",
        "overcorrected",
        "turned-down edge",
        "raised edge",
        "zone",
        "astigmatism",
        "pinching by three clips",
        "coma",
    }
    for fault in faults.values():
        wave = fault.train.wavefront()
        assert wave.pv_nm / 550 == pytest.approx(0.0 if fault.name == "none" else 0.5, abs=1e-3)
    assert (
        faults["undercorrected"].train.primary.conic
        > -1
        > faults["overcorrected"].train.primary.conic
    )


def test_a_call_stays_small():
    # The promise is 16 MiB for 256 x 256, seen in what the process holds at most.
    import resource

    wave = newtonian().wavefront()
    wave.psf(pixels=64)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    wave.psf(pixels=256)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 16 * 1024
