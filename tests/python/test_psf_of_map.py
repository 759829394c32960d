"""Stars behind maps that a caller gives pixel by pixel, against numpy's sums over all pixels."""

import catoptric as ct
import numpy as np
import pytest

SCALE = {"pixel_mm": 2.5, "focal_length_mm": 900.0, "rows_run": "+y", "columns_run": "+x"}
HALF_UM = 30.0


def a_pupil(rows=90, columns=110):
    """Return paths of chance over an annulus, nm, and amplitudes."""
    rng = np.random.default_rng(5)
    y = np.linspace(-1, 1, rows)[:, None]
    x = np.linspace(-1, 1, columns)[None, :]
    radius = np.hypot(x, y)
    path = 150 * rng.standard_normal((rows, columns)) + 200 * x * y + 90 * x**3
    return np.where((radius < 0.97) & (radius > 0.3), path, np.nan), rng.random((rows, columns))


def sines(count, step):
    """Return the sines of a line of pixels about its middle."""
    return (np.arange(count) - (count - 1) / 2) * step


def by_numpy(path, amplitude, wavelength_nm, position_um, pixel_mm, focal_mm):
    """Return the sum over all pixels by two matrix products: rows along +y, columns along +x."""
    lit = np.where(np.isnan(path), 0.0, amplitude)
    field = lit * np.exp(2j * np.pi / wavelength_nm * np.nan_to_num(path))
    turn = [
        np.exp(
            2j
            * np.pi
            * 1e3
            / wavelength_nm
            * np.outer(position_um, sines(count, pixel_mm / focal_mm))
        )
        for count in path.shape
    ]
    return np.abs(turn[0] @ field @ turn[1].T) ** 2 / lit.sum() ** 2


def test_a_map_is_summed_to_1e_14_of_the_peak():
    path, amplitude = a_pupil()
    star = ct.psf_of_map(
        path_nm=path, amplitude=amplitude, **SCALE, half_width_um=HALF_UM, pixels=64
    )
    truth = by_numpy(path, amplitude, 550.0, star.along_um, 2.5, 900.0)
    assert np.abs(star.image - truth).max() < 1e-14
    middle = by_numpy(path, amplitude, 550.0, np.zeros(1), 2.5, 900.0)[0, 0]
    assert abs(star.strehl - middle) < 1e-14
    assert star.lit_pixels == np.count_nonzero(~np.isnan(path))


def test_colours_add_up_by_their_energy():
    path, amplitude = a_pupil()
    light = ct.Spectrum(wavelength_nm=[480, 560, 650], weight=[1, 3, 2])
    given = {"path_nm": path, "amplitude": amplitude} | SCALE
    star = ct.psf_of_map(**given, half_width_um=HALF_UM, pixels=33, spectrum=light)
    counts = light.weight / light.wavelength_nm**2
    truth = sum(
        count * by_numpy(path, amplitude, nm, star.along_um, 2.5, 900.0)
        for nm, count in zip(light.wavelength_nm, counts, strict=True)
    )
    assert np.abs(star.image - truth / counts.sum()).max() < 1e-14


@pytest.mark.parametrize(
    ("rows_run", "columns_run", "turn"),
    [
        ("+y", "-x", lambda image: image[:, ::-1]),
        ("-y", "+x", lambda image: image[::-1]),
        ("+x", "+y", lambda image: image.T),
        ("-x", "+y", lambda image: image.T[:, ::-1]),
        ("+x", "-y", lambda image: image.T[::-1]),
    ],
)
def test_directions_turn_the_picture(rows_run, columns_run, turn):
    path, amplitude = a_pupil()
    given = {"path_nm": path, "amplitude": amplitude, "half_width_um": HALF_UM, "pixels": 40}
    plain = ct.psf_of_map(**given, **SCALE)
    turned = ct.psf_of_map(**given, **(SCALE | {"rows_run": rows_run, "columns_run": columns_run}))
    assert np.array_equal(turned.image, turn(plain.image))


def test_a_path_that_grows_toward_the_focuser_moves_the_star_away_from_it():
    # W - m.s with m = -x/f: the sum is in step where dW/dx = -s/f, 10 nm/mm x 900 mm = 9 um.
    path = np.tile(10.0 * 2.5 * np.arange(80.0), (80, 1))
    star = ct.psf_of_map(path_nm=path, **SCALE, half_width_um=20, pixels=81)
    row, column = np.unravel_index(np.argmax(star.image), star.image.shape)
    assert star.across_um[row] == pytest.approx(0.0, abs=1e-9)
    assert star.along_um[column] == pytest.approx(-9.0, abs=0.25)


def test_the_train_and_its_own_map_show_the_same_star():
    # A slow mirror, where mm on its face are sines to (r/2f)^2 = 4e-6. The rim is a staircase.
    train = ct.Train(
        primary=ct.Primary(
            clear_aperture_mm=80,
            focal_length_mm=10_000,
            figure=[ct.Zone(radius_mm=25, half_width_mm=6, height_nm=40)],
        )
    )
    wave = train.wavefront(focus="paraxial")
    points = 400
    axis = (np.arange(points) - (points - 1) / 2) * 0.2
    x, y = np.meshgrid(axis, axis)
    radius = np.hypot(x, y)
    path = np.where(radius < 40, 2 * 40 * np.exp(-(((radius - 25) / 6) ** 2)), np.nan)
    given = {"pixel_mm": 0.2, "focal_length_mm": 10_000, "rows_run": "+y", "columns_run": "+x"}
    star = ct.psf_of_map(path_nm=path, **given, half_width_um=500, pixels=65)
    assert np.abs(star.image - wave.psf(half_width_um=500, pixels=65).image).max() < 1e-3


def test_lists_and_narrow_arrays_are_maps_too():
    path = np.zeros((20, 20))
    plain = ct.psf_of_map(path_nm=path, **SCALE, pixels=9)
    # Twelve wavelengths times f/18 would be more than pixels of this size allow.
    assert plain.across_um[-1] + plain.pixel_um / 2 == pytest.approx(0.55 * 900 / (2 * 2.5))
    assert plain == ct.psf_of_map(path_nm=path.tolist(), **SCALE, pixels=9)
    assert plain == ct.psf_of_map(path_nm=path.astype(np.float32), **SCALE, pixels=9)
    assert plain == ct.psf_of_map(path_nm=np.zeros((40, 40))[::2, ::2], **SCALE, pixels=9)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"path_nm": np.full((9, 9), np.nan)}, "path_nm"),
        ({"path_nm": np.zeros(9)}, "path_nm"),
        ({"path_nm": np.zeros((9, 9), complex)}, "path_nm"),
        ({"path_nm": np.full((9, 9), 2e6)}, "path_nm[0][0]"),
        ({"amplitude": np.ones((9, 8))}, "amplitude"),
        ({"amplitude": -np.ones((9, 9))}, "amplitude[0][0]"),
        ({"pixel_mm": 0}, "pixel_mm"),
        ({"pixel_mm": "wide"}, "pixel_mm"),
        ({"focal_length_mm": 5}, "focal_length_mm"),
        ({"rows_run": "up"}, "rows_run"),
        ({"rows_run": "-x"}, "columns_run"),
        ({"half_width_um": 1000}, "half_width_um"),
        ({"pixels": 1}, "pixels"),
        ({"wavelength_nm": 5}, "wavelength_nm"),
    ],
)
def test_bad_maps_are_refused_with_their_field(changes, field):
    given = {"path_nm": np.zeros((9, 9))} | SCALE | changes
    with pytest.raises(ct.InputError) as caught:
        ct.psf_of_map(**given)
    assert caught.value.field == field
