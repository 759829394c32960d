"""Ripple: its spectrum by numpy's transform, its loss against the formula of scatter, its seeds."""

import catoptric as ct
import matplotlib as mpl
import numpy as np
import pytest
from catoptric.errors import InputError

mpl.use("Agg")

import matplotlib.pyplot as plt

CLEAR_MM, LONGEST_MM, SHORTEST_MM = 400.0, 100.0, 25.0


def spectrum(slope, seeds=30):
    """Return frequency (cycles/mm) and mean density (nm^2 mm^2) of many surfaces.

    A Hann window in both directions, divided by its mean square: what it leaks is two steps wide.
    """
    total = 0.0
    for seed in range(seeds):
        ripple = ct.Ripple(
            rms_nm=6,
            longest_mm=LONGEST_MM,
            shortest_mm=SHORTEST_MM,
            slope=slope,
            seed=seed,
        )
        layer = ripple.as_layer(clear_aperture_mm=CLEAR_MM)
        height = np.asarray(layer.height_nm)
        window = np.hanning(len(height))
        window = np.outer(window, window)
        power = np.abs(np.fft.fft2(height * window)) ** 2
        total = total + power * layer.pixel_mm**2 / np.sum(window**2)
    f = np.fft.fftfreq(len(height), layer.pixel_mm)
    return np.hypot(f[:, None], f[None, :]), total / seeds


@pytest.mark.parametrize("slope", [0.0, 2.0, 3.5])
def test_spectrum_is_the_stated_one(slope):
    f, density = spectrum(slope)
    low, high = 1 / LONGEST_MM, 1 / SHORTEST_MM
    step = 1 / CLEAR_MM
    inside = (f > low + 3 * step) & (f < high - 3 * step)
    # A periodogram scatters by its own size: some 800 cells of 30 surfaces, half of them mirrored.
    found = np.polyfit(np.log(f[inside]), np.log(density[inside]), 1)[0]
    assert abs(found + slope) < 0.15
    # Closed form: the integral of A f^-slope over the ring is the mean square.
    power = 2 - slope
    ring = 2 * np.pi * (np.log(high / low) if power == 0 else (high**power - low**power) / power)
    truth = 6.0**2 / ring * f[inside] ** -slope
    assert abs(np.mean(density[inside] / truth) - 1) < 0.06
    outside = (f > high + 3 * step) & (f < 2 * high)
    assert density[outside].max() < 1e-4 * density[inside].mean()


def test_rms_is_as_stated_on_the_mirror():
    ripple = ct.Ripple(rms_nm=6, longest_mm=300, shortest_mm=40, seed=5)
    layer = ripple.as_layer(clear_aperture_mm=300)
    axis = (np.arange(layer.rows) - layer.centre_row) * layer.pixel_mm
    on_glass = np.hypot(axis[:, None], axis[None, :]) <= 150
    heights = np.asarray(layer.height_nm)[on_glass]
    assert abs(heights.std() - 6) < 1e-9
    assert abs(heights.mean()) < 1e-9
    again = ct.Ripple(rms_nm=6, longest_mm=300, shortest_mm=40, seed=5)
    assert again == ripple
    assert again.as_layer(clear_aperture_mm=300) == layer
    assert ct.Ripple(rms_nm=6, longest_mm=300, shortest_mm=40, seed=6) != ripple


def test_loss_is_that_of_the_formula():
    # Bennett & Porteus 1961: 1 - exp(-(4 pi s cos i/lambda)^2).
    for rms_nm, angle in [(5, 0), (20, 45), (60, 80)]:
        phase = 4 * np.pi * rms_nm * np.cos(np.radians(angle)) / 632.8
        found = ct.scatter_loss(rms_nm, wavelength_nm=632.8, incidence_deg=angle)
        assert abs(found - (1 - np.exp(-(phase**2)))) < 1e-14
    rough = ct.Ripple(rms_nm=12, longest_mm=40, shortest_mm=20, seed=2)
    mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1600, figure=[rough])
    wave = ct.Train(primary=mirror).wavefront(focus="paraxial")
    assert abs(1 - wave.strehl - ct.scatter_loss(12)) < 1e-3
    assert mirror.figure == (rough,)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"rms_nm": -1}, "rms_nm"),
        ({"rms_nm": float("nan")}, "rms_nm"),
        ({"longest_mm": 0}, "longest_mm"),
        ({"shortest_mm": 90}, "shortest_mm"),
        ({"slope": 9}, "slope"),
        ({"seed": -1}, "seed"),
        ({"seed": 1.5}, "seed"),
    ],
)
def test_ripple_that_cannot_be_is_refused(change, field):
    given = {"rms_nm": 6, "longest_mm": 100, "shortest_mm": 25, "seed": 1} | change
    with pytest.raises(InputError) as caught:
        ct.Ripple(**given)
    assert field in caught.value.problems[0].field


def test_ripple_longer_than_the_mirror_is_refused():
    rough = ct.Ripple(rms_nm=6, longest_mm=300, shortest_mm=25, seed=1)
    with pytest.raises(InputError, match="clear aperture"):
        ct.Primary(clear_aperture_mm=200, focal_length_mm=1600, figure=[rough])
    with pytest.raises(InputError, match="longest_mm"):
        rough.plot(clear_aperture_mm=200)


def test_map_is_drawn_with_its_hills_where_they_are():
    rough = ct.Ripple(rms_nm=6, longest_mm=100, shortest_mm=25, seed=1)
    axes = rough.plot(clear_aperture_mm=200)
    (picture,) = axes.get_images()
    layer = rough.as_layer(clear_aperture_mm=200)
    drawn = np.ma.filled(picture.get_array(), np.nan)
    np.testing.assert_array_equal(
        drawn[np.isfinite(drawn)], np.asarray(layer.height_nm)[np.isfinite(drawn)]
    )
    assert picture.origin == "lower"
    assert "6 nm" in axes.get_title(loc="left")
    plt.close("all")
