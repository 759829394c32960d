"""What one would see, against convolutions of scipy and numpy, and the pictures of it."""

import catoptric as ct
import matplotlib as mpl
import numpy as np
import pytest
from catoptric.errors import InputError
from samples import newtonian, primary
from scipy.signal import fftconvolve
from scipy.special import j1

mpl.use("Agg")

import matplotlib.pyplot as plt

# A telescope so slow that the textbook's pupil holds to 1e-5: lambda F is 33 um, 5.67 arcsec.
SLOW = ct.Train(primary=ct.Primary(clear_aperture_mm=20, focal_length_mm=1200))
UNIT_ARCSEC = np.degrees(33e-3 / 1200) * 3600
PLANET = ct.BandedDisc(
    diameter_arcsec=40,
    spots=[ct.DiscSpot(x_arcsec=9, y_arcsec=4, diameter_arcsec=1.2, contrast=0.6)],
)
EYEPIECE = ct.Eyepiece(focal_length_mm=8, field_stop_mm=8)


def airy(x, y):
    """Return light for each unit of area, lengths in wavelengths times focal ratio."""
    v = np.maximum(np.pi * np.hypot(x, y), 1e-9)
    return (2 * j1(v) / v) ** 2 * np.pi / 4


def refusal(ask):
    with pytest.raises(InputError) as caught:
        ask()
    return caught.value.problems[0].field


@pytest.mark.parametrize("place", [(0.0, 0.0), (0.37, -0.21), (-1.3, 2.45)])
def test_a_star_lies_where_it_is_between_the_pixels(place):
    # Airy's pattern by scipy, the mean of each pixel by 6 x 6 Gauss nodes: exact to 1e-9.
    # A paraboloid's conjugate coordinate r/(f + r^2/(4 f)) spreads the light wider than the
    # textbook's pupil, by the mean of r^2/f^2: 3.5e-5 at f/60.
    sensor = ct.Sensor(pixel_um=11, columns=24, rows=21)
    x, y = (UNIT_ARCSEC * step for step in place)
    field = ct.StarField(x_arcsec=[x], y_arcsec=[y], magnitude=[5])
    seen = SLOW.view(field, sensor=sensor)
    nodes, weights = np.polynomial.legendre.leggauss(6)
    inner = nodes / 2 / 3
    across = (seen.y_arcsec - y)[:, None, None, None] / UNIT_ARCSEC + inner[None, None, :, None]
    along = (seen.x_arcsec - x)[None, :, None, None] / UNIT_ARCSEC + inner[None, None, None, :]
    means = np.einsum("ijkl,k,l->ij", airy(along, across), weights / 2, weights / 2)
    truth = 0.01 * means / UNIT_ARCSEC**2
    np.testing.assert_allclose(seen.image, truth, rtol=0, atol=5e-5 * truth.max())
    assert seen.unit == "magnitude_zero_per_arcsec2"
    assert abs(seen.pixels_per_lambda_f - 3) < 1e-12


def test_a_disc_is_the_convolution_with_the_star():
    disc = ct.BandedDisc(
        diameter_arcsec=10 * UNIT_ARCSEC,
        band_count=3,
        band_contrast=0.4,
        limb_darkening=0.6,
        tilt_deg=30,
        spots=[
            ct.DiscSpot(x_arcsec=12, y_arcsec=-9, diameter_arcsec=1.5 * UNIT_ARCSEC, contrast=0.9)
        ],
    )
    seen = SLOW.view(disc, sensor=ct.Sensor(pixel_um=11, columns=45, rows=45))
    # The page's own words, on a net five times finer than the pixels, in units of lambda F.
    fine = 15
    axis = (np.arange(16 * fine + 1) - 8 * fine) / fine
    x, y = axis[None, :], axis[:, None]
    square = (x**2 + y**2) / 25
    brightness = np.where(square < 1, 1 - 0.6 * (1 - np.sqrt(np.maximum(1 - square, 0))), 0)
    pole = x * np.cos(np.pi / 6) + y * np.sin(np.pi / 6)
    for middle in (-2.5, 0, 2.5):
        brightness = brightness * (1 - 0.4 * np.exp(-((2 * (pole - middle) / 1.0) ** 4)))
    spot = np.hypot(x - 12 / UNIT_ARCSEC, y + 9 / UNIT_ARCSEC) <= 0.75
    brightness = np.where(spot, 0.1 * brightness, brightness)
    window = (np.arange(40 * fine + 1) - 20 * fine) / fine
    star = airy(window[None, :], window[:, None]) / fine**2
    blurred = fftconvolve(brightness, star, mode="same")
    means = blurred[: -1 or None, : -1 or None]
    at = np.searchsorted(axis, seen.x_arcsec / UNIT_ARCSEC - 1e-9)
    truth = np.array(
        [[means[i - 2 : i + 3, j - 2 : j + 3].mean() for j in at[5:-5]] for i in at[5:-5]]
    )
    # Rims without grey steps on the test's own net, and 1.6 % of the light beyond its window.
    scale = 1 / star.sum()
    np.testing.assert_allclose(seen.image[5:-5, 5:-5], truth * scale, rtol=0, atol=0.02)
    assert np.abs(seen.image[5:-5, 5:-5] - truth * scale).mean() < 0.004


def test_before_and_after_differ_where_the_numbers_say():
    after = newtonian()
    before = newtonian(primary=primary(figure=[ct.TurnedEdge(width_mm=20, drop_nm=300)]))
    seen = [t.view(PLANET, eyepiece=EYEPIECE, pixels=129) for t in (before, after)]
    assert seen[0].spots_left < 0.85 * seen[1].spots_left
    assert seen[0].difference(seen[1]).rms > 0.005
    night = ct.Seeing(fwhm_arcsec=3)
    soft = [
        t.view(PLANET, eyepiece=EYEPIECE, pixels=129, seeing=night, half_width_arcsec=30)
        for t in (before, after)
    ]
    assert abs(soft[0].spots_left / soft[1].spots_left - 1) < 0.25
    assert soft[1].magnification == 1558 / 8
    assert abs(soft[1].exit_pupil_mm - 8 * 318 / 1558) < 1e-12


def test_colours_and_places_off_the_axis_work():
    day = ct.Spectrum.photopic(count=5)
    options = {"eyepiece": EYEPIECE, "pixels": 65, "half_width_arcsec": 26}
    on_axis = newtonian().view(PLANET, spectrum=day, **options)
    off_axis = newtonian().view(PLANET, spectrum=day, field_arcmin=(20, 0), **options)
    assert off_axis.spots_left < on_axis.spots_left
    assert off_axis.field_arcmin == (20.0, 0.0)
    assert on_axis.spectrum == day
    assert on_axis.seeing is None
    assert on_axis.sensor is None


def test_coating_dims_the_view():
    bright = newtonian().view(PLANET, eyepiece=EYEPIECE, pixels=33)
    dull = newtonian(primary=primary(coating=ct.Coating(reflectance=0.5)))
    dull = dull.view(PLANET, eyepiece=EYEPIECE, pixels=33)
    np.testing.assert_allclose(dull.image, 0.5 * bright.image, rtol=0, atol=1e-9)


def test_eye_is_that_of_the_paper():
    # Watson 2013, Journal of Vision 13(6):18, by numpy.
    u = np.array([0.0, 4.0, 12.0, 25.0])
    for d in (2.0, 3.5, 6.0):
        limit = d * np.pi * 1e6 / 555 / 180
        h = u / limit
        pupil = 2 / np.pi * (np.arccos(h) - h * np.sqrt(1 - h**2))
        u1 = 21.95 - 5.512 * d + 0.3922 * d**2
        truth = (1 + (u / u1) ** 2) ** -0.62 * np.sqrt(pupil)
        np.testing.assert_allclose(ct.eye_mtf(u, pupil_mm=d), truth, rtol=1e-12)


def test_what_cannot_be_is_refused():
    train = newtonian()
    assert refusal(lambda: ct.BandedDisc(diameter_arcsec=-4)) == "diameter_arcsec"
    assert refusal(lambda: ct.BandedDisc(diameter_arcsec=40, seed=-1)) == "seed"
    assert (
        refusal(
            lambda: ct.DoubleStar(
                separation_arcsec=1, first_magnitude=float("nan"), second_magnitude=2
            )
        )
        == "first_magnitude"
    )
    assert (
        refusal(lambda: ct.StarField(x_arcsec=[1, 2], y_arcsec=[1], magnitude=[1])) == "magnitude"
    )
    assert refusal(lambda: train.view(PLANET)) == "eyepiece"
    assert refusal(lambda: train.view("planet", eyepiece=EYEPIECE)) == "scene"
    huge = ct.Sensor(pixel_um=3, columns=100_000, rows=100_000)
    assert refusal(lambda: train.view(PLANET, sensor=huge)) == "sensor"
    assert refusal(lambda: train.view(PLANET, eyepiece=EYEPIECE, pixels=100_000)) == "pixels"
    none = ct.Eyepiece(focal_length_mm=0, field_stop_mm=8)
    assert refusal(lambda: train.view(PLANET, eyepiece=none)) == "eyepiece.focal_length_mm"
    assert refusal(lambda: train.view(PLANET, eyepiece=EYEPIECE, wavelength_nm=5500)) == (
        "wavelength_nm"
    )
    assert refusal(lambda: train.view(PLANET, eyepiece=EYEPIECE, seeing=ct.Seeing(r0_mm=0)))
    both = {"wavelength_nm": 500, "spectrum": ct.Spectrum.photopic()}
    assert refusal(lambda: train.view(PLANET, eyepiece=EYEPIECE, **both)) == "wavelength_nm"
    with pytest.raises(InputError):
        ct.eye_mtf([1.0], pupil_mm=0)
    with pytest.raises(InputError):
        ct.eye_mtf([-1.0], pupil_mm=2)


# Pictures.


def test_a_picture_stands_as_the_eye_sees_it():
    star = ct.StarField(x_arcsec=[8], y_arcsec=[3], magnitude=[1])
    seen = newtonian().view(star, sensor=ct.Sensor(pixel_um=3, columns=61, rows=61))
    axes = seen.plot()
    (picture,) = axes.get_images()
    row, column = np.unravel_index(np.argmax(picture.get_array()), (61, 61))
    left, right, bottom, top = picture.get_extent()
    x = top + (bottom - top) * (row + 0.5) / 61
    y = left + (right - left) * (column + 0.5) / 61
    assert abs(x - 8) < 0.5
    assert abs(y - 3) < 0.5
    # +x (the focuser's side) down, +y to the left: the sky on its head.
    assert axes.transData.transform((0, 8))[1] < axes.transData.transform((0, 0))[1]
    assert axes.transData.transform((3, 0))[0] < axes.transData.transform((0, 0))[0]
    plt.close("all")


def test_views_on_a_sensor_keep_their_size_side_by_side():
    star = ct.StarField(x_arcsec=[0], y_arcsec=[0], magnitude=[1])
    seen = newtonian().view(star, sensor=ct.Sensor(pixel_um=3, columns=21, rows=21))
    axes = ct.plotting.views({"one": seen, "two": seen, "three": seen})
    axes[0].figure.canvas.draw()
    shares = [ax.get_position().width for ax in axes]
    # Three in a row of 11.4 in, each with room for its numbers: 0.25 of the width is 2.85 in.
    assert min(shares) > 0.2
    assert ct.plotting.view(seen).get_title(loc="left") == "A star"
    plt.close("all")


def test_views_share_one_grey_scale():
    trains = {"full": newtonian(), "dull": newtonian()}
    trains["dull"] = newtonian(primary=primary(coating=ct.Coating(reflectance=0.5)))
    seen = {name: t.view(PLANET, eyepiece=EYEPIECE, pixels=65) for name, t in trains.items()}
    axes = ct.plotting.views(seen)
    norms = [ax.get_images()[0].norm for ax in axes]
    assert norms[0].vmax == norms[1].vmax == max(v.image.max() for v in seen.values())
    assert [ax.get_title(loc="left") for ax in axes] == ["full", "dull"]
    _, own = plt.subplots(1, 2)
    assert ct.plotting.views(seen, own, scale="log")[0] is own[0]
    pair = ct.DoubleStar(separation_arcsec=1, first_magnitude=1, second_magnitude=2)
    mixed = seen | {"pair": newtonian().view(pair, eyepiece=EYEPIECE, pixels=65)}
    assert refusal(lambda: ct.plotting.views(mixed)) == "results"
    assert refusal(lambda: ct.plotting.views({})) == "results"
    assert refusal(lambda: ct.plotting.views(seen, own[:1])) == "axes"
    assert refusal(lambda: seen["full"].plot(scale="bright")) == "scale"
    assert refusal(lambda: seen["full"].plot(white=-1.0)) == "white"
    plt.close("all")
