"""Figure layers that are not round: directions, arrays, files, and what is refused."""

import copy
import pickle
import sys

import catoptric as ct
import numpy as np
import pytest
from samples import primary

FLAT = {"pixel_mm": 4.0, "rows_run": "+y", "columns_run": "+x"}


def net(count=83, pixel_mm=4.0):
    """Return x and y of a map whose rows run toward +y and columns toward +x, mm."""
    places = (np.arange(count) - (count - 1) / 2) * pixel_mm
    return np.meshgrid(places, places)


def bump(x0, y0):
    x, y = net()
    return 40 * np.exp(-((x - x0) ** 2 + (y - y0) ** 2) / 25**2)


def mirror(*layers):
    return ct.Train(primary=primary(figure=layers))


def summit(train):
    """Return where the wavefront is highest, mm."""
    wave = train.wavefront(focus="paraxial")
    row, column = np.unravel_index(np.nanargmax(wave.map_nm), wave.map_nm.shape)
    return wave.map_axis_mm[column], wave.map_axis_mm[row]


def test_terms_of_glass_come_back_doubled():
    # W = 2h/(1 + (r/R)^2): (159/3116)^2 = 2.6e-3 short at the rim.
    layer = ct.ZernikeTerms(coefficients_nm={5: 12.0, 8: -7.0}, indexing="noll")
    terms = mirror(layer).wavefront(focus="paraxial").zernikes(indexing="noll", terms=15)
    assert terms[5] == pytest.approx(24, rel=2.6e-3)
    assert terms[8] == pytest.approx(-14, rel=2.6e-3)
    assert abs(terms[6]) < 1e-6
    same = ct.ZernikeTerms(coefficients_nm={3: 12.0, 8: -7.0}, indexing="osa")
    assert mirror(same).wavefront().rms_nm == mirror(layer).wavefront().rms_nm
    assert layer.coefficients_nm == {5: 12.0, 8: -7.0}
    assert layer.indexing == "noll"


@pytest.mark.parametrize(("x", "y"), [(90, 0), (0, 90), (-60, -60)])
def test_a_hill_stands_where_it_was_put(x, y):
    found = summit(mirror(ct.HeightMap(height_nm=bump(x, y), **FLAT)))
    assert found == pytest.approx((x, y), abs=3)


@pytest.mark.parametrize(
    ("turn", "rows_run", "columns_run"),
    [
        (lambda z: z, "+y", "+x"),
        (np.flipud, "-y", "+x"),
        (np.fliplr, "+y", "-x"),
        (np.transpose, "+x", "+y"),
        (lambda z: np.rot90(z, 2), "-y", "-x"),
        (lambda z: np.flipud(z.T), "-x", "+y"),
        (lambda z: np.fliplr(z.T), "+x", "-y"),
        (lambda z: np.rot90(z, 2).T, "-x", "-y"),
    ],
)
def test_a_turned_table_is_the_same_glass(turn, rows_run, columns_run):
    heights = bump(70, -40) + bump(20, 90)
    turned = ct.HeightMap(
        height_nm=turn(heights), pixel_mm=4, rows_run=rows_run, columns_run=columns_run
    )
    straight = ct.HeightMap(height_nm=heights, **FLAT)
    maps = [mirror(layer).wavefront(focus="paraxial").map_nm for layer in (turned, straight)]
    np.testing.assert_allclose(*maps, atol=1e-6)


@pytest.mark.parametrize(
    "kind",
    [
        np.float32,
        np.float16,
        np.int16,
        lambda z: np.asfortranarray(z),
        lambda z: np.repeat(z, 2, axis=0)[::2],
        lambda z: z[::-1][::-1],
        lambda z: z.tolist(),
        lambda z: z.astype(">f8"),
        np.ma.masked_invalid,
    ],
)
def test_arrays_of_every_kind(kind):
    heights = np.round(bump(30, 30))  # exact in all of them
    layer = ct.HeightMap(height_nm=kind(heights), **FLAT)
    assert layer == ct.HeightMap(height_nm=heights, **FLAT)
    assert layer.height_nm.dtype == np.float64
    assert (layer.rows, layer.columns) == (83, 83)
    assert (layer.centre_row, layer.centre_column) == (41, 41)


def test_quantities_are_converted():
    units = pytest.importorskip("astropy.units")
    layer = ct.HeightMap(
        height_nm=bump(0, 0) / 1000 * units.um,
        pixel_mm=0.4 * units.cm,
        rows_run="+y",
        columns_run="+x",
    )
    assert layer.pixel_mm == 4.0
    np.testing.assert_allclose(layer.height_nm, bump(0, 0), rtol=1e-14)


def test_what_was_not_measured_is_nan_and_comes_back():
    x, y = net()
    heights = np.where(np.hypot(x, y) <= 159, bump(0, 50), np.nan)
    layer = ct.HeightMap(height_nm=heights, hold_edge=True, **FLAT)
    masked = np.ma.masked_invalid(heights)
    assert layer == ct.HeightMap(height_nm=masked, hold_edge=True, **FLAT)
    assert np.isnan(layer.height_nm[0, 0])
    for back in (pickle.loads(pickle.dumps(layer)), copy.deepcopy(layer)):
        assert back == layer
    train = mirror(layer)
    assert ct.Train.from_json(train.to_json()) == train
    assert ct.Train.from_toml(train.to_toml()) == train
    (problem,) = train.problems()
    assert problem.severity == "warning"
    assert problem.field == "primary.figure[0].height_nm"
    with pytest.raises(ct.InputError, match="hold_edge"):
        mirror(ct.HeightMap(height_nm=heights, **FLAT))


def test_displays():
    layer = ct.HeightMap(height_nm=bump(0, 0), **FLAT)
    text = "HeightMap(rows=83, columns=83, pixel_mm=4, rows_run=+y, columns_run=+x)"
    assert repr(layer) == text
    terms = ct.ZernikeTerms(coefficients_nm={5: 12.0}, indexing="noll")
    assert repr(terms) == "ZernikeTerms(coefficients_nm={5: 12.0}, indexing=noll)"
    assert terms.to_dict() == {"coefficients_nm": {5: 12.0}, "indexing": "noll"}
    assert layer.to_dict()["rows_run"] == "+y"
    assert "coefficients_nm" in terms._repr_html_()


# Files.

SCALE = {**FLAT, "unit": "nm", "kind": "surface"}


def test_npy_files(tmp_path):
    path = tmp_path / "mirror.npy"
    np.save(path, bump(60, 0).astype(np.float32))
    layer = ct.HeightMap.from_file(path, **SCALE)
    np.testing.assert_allclose(layer.height_nm, bump(60, 0), atol=4e-6)  # narrowed to 24 bits
    assert summit(mirror(layer)) == pytest.approx((60, 0), abs=3)
    assert ct.HeightMap.from_file(str(path), **SCALE) == layer
    placed = ct.HeightMap.from_file(path, **SCALE, centre_row=40, centre_column=41, hold_edge=True)
    assert (placed.centre_row, placed.centre_column, placed.hold_edge) == (40, 41, True)


@pytest.mark.parametrize(
    ("said", "worth_nm"),
    [
        ({"unit": "nm", "kind": "surface"}, 1),
        ({"unit": "um", "kind": "surface"}, 1000),
        ({"unit": "nm", "kind": "wavefront"}, 0.5),
        ({"unit": "waves", "kind": "surface", "wavelength_nm": 632.8}, 632.8),
        ({"unit": "waves", "kind": "wavefront", "wavelength_nm": 550}, 275),
    ],
)
def test_units_and_kinds(tmp_path, said, worth_nm):
    path = tmp_path / "mirror.npy"
    np.save(path, np.full((50, 50), 3.0))
    layer = ct.HeightMap.from_file(path, **FLAT, **said)
    np.testing.assert_allclose(layer.height_nm, 3 * worth_nm, rtol=1e-15)


@pytest.mark.parametrize("ending", [".fits", ".fit", ".fits.gz", ".FITS"])
def test_fits_files(tmp_path, ending):
    fits = pytest.importorskip("astropy.io.fits")
    path = tmp_path / f"mirror{ending}"
    heights = bump(0, 60).astype(">f4")
    heights[0, 0] = np.nan
    # An empty first part, as many instruments write it.
    fits.HDUList([fits.PrimaryHDU(), fits.ImageHDU(heights)]).writeto(path)
    layer = ct.HeightMap.from_file(path, **SCALE)
    assert np.isnan(layer.height_nm[0, 0])
    assert summit(mirror(layer)) == pytest.approx((0, 60), abs=3)


def test_whole_numbers_of_a_fits_file_with_blanks(tmp_path):
    fits = pytest.importorskip("astropy.io.fits")
    path = tmp_path / "mirror.fits"
    part = fits.PrimaryHDU(np.full((40, 40), 12, dtype=np.int16))
    part.data[0, 0] = -32768
    part.header["BLANK"] = -32768
    part.writeto(path)
    layer = ct.HeightMap.from_file(path, **SCALE)
    assert np.isnan(layer.height_nm[0, 0])
    assert layer.height_nm[5, 5] == 12


def test_without_astropy_the_error_says_so(tmp_path, monkeypatch):
    path = tmp_path / "mirror.fits"
    path.write_bytes(b"SIMPLE")
    monkeypatch.setitem(sys.modules, "astropy.io.fits", None)
    with pytest.raises(ct.InputError, match="astropy is not installed"):
        ct.HeightMap.from_file(path, **SCALE)


# What is refused.


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"unit": "mm"}, "unit"),
        ({"unit": "NM"}, "unit"),
        ({"kind": "error"}, "kind"),
        ({"unit": "waves"}, "wavelength_nm"),
        ({"unit": "waves", "wavelength_nm": 0.633}, "wavelength_nm"),
        ({"unit": "waves", "wavelength_nm": float("nan")}, "wavelength_nm"),
        ({"wavelength_nm": 633}, "wavelength_nm"),
        ({"rows_run": "down"}, "rows_run"),
        ({"columns_run": "-y"}, "columns_run"),
        ({"pixel_mm": 0}, "pixel_mm"),
    ],
)
def test_wrong_words_about_a_file(tmp_path, changes, field):
    path = tmp_path / "mirror.npy"
    np.save(path, bump(0, 0))
    with pytest.raises(ct.InputError) as caught:
        ct.HeightMap.from_file(path, **(SCALE | changes))
    assert caught.value.field.endswith(field)


def test_files_that_cannot_be(tmp_path):
    with pytest.raises(ct.InputError, match=r"\.npy or \.fits"):
        ct.HeightMap.from_file(tmp_path / "mirror.dat", **SCALE)
    for ending in ("npy", "fits"):
        with pytest.raises(OSError, match="mirror"):
            ct.HeightMap.from_file(tmp_path / f"mirror.{ending}", **SCALE)
        (tmp_path / f"torn.{ending}").write_bytes(b"no such thing")
        with pytest.raises(ct.InputError, match="torn"):
            ct.HeightMap.from_file(tmp_path / f"torn.{ending}", **SCALE)
    for table in (np.zeros((3, 4, 5)), np.zeros(7), np.zeros((5, 5), complex), np.array([["a"]])):
        np.save(tmp_path / "odd.npy", table)
        with pytest.raises(ct.InputError, match=r"odd\.npy"):
            ct.HeightMap.from_file(tmp_path / "odd.npy", **SCALE)
    np.save(tmp_path / "object.npy", np.array([[None]], dtype=object), allow_pickle=True)
    with pytest.raises(ct.InputError, match=r"object\.npy"):
        ct.HeightMap.from_file(tmp_path / "object.npy", **SCALE)


def test_numbering_and_orientation_have_no_default():
    with pytest.raises(TypeError, match="indexing"):
        ct.ZernikeTerms(coefficients_nm={5: 1.0})
    for missing in ("rows_run", "columns_run", "pixel_mm"):
        given = {name: value for name, value in FLAT.items() if name != missing}
        with pytest.raises(TypeError, match=missing):
            ct.HeightMap(height_nm=bump(0, 0), **given)
    for missing in ("unit", "kind"):
        given = {name: value for name, value in SCALE.items() if name != missing}
        with pytest.raises(TypeError, match=missing):
            ct.HeightMap.from_file("mirror.npy", **given)


@pytest.mark.parametrize(
    ("coefficients", "indexing", "field"),
    [
        ({0: 1.0}, "noll", "figure.coefficients_nm[0]"),
        ({-1: 1.0}, "osa", "coefficients_nm[-1]"),
        ({38: 1.0}, "fringe", "figure.coefficients_nm[38]"),
        ({900: 1.0}, "noll", "figure.coefficients_nm[900]"),
        ({5: 1e6}, "noll", "figure.coefficients_nm[5]"),
        ({5: 1.0}, "zernike", "indexing"),
    ],
)
def test_terms_that_cannot_be(coefficients, indexing, field):
    with pytest.raises(ct.InputError) as caught:
        ct.ZernikeTerms(coefficients_nm=coefficients, indexing=indexing)
    assert caught.value.field == field


@pytest.mark.parametrize("value", [float("nan"), float("inf"), "12", None, True, 1j])
def test_coefficients_that_are_no_numbers(value):
    with pytest.raises(ct.InputError):
        ct.ZernikeTerms(coefficients_nm={5: value}, indexing="noll")


def with_one(value):
    heights = bump(0, 0)
    heights[7, 9] = value
    return heights


@pytest.mark.parametrize(
    ("heights", "changes", "field"),
    [
        (with_one(np.inf), {}, "figure.height_nm[7][9]"),
        (with_one(2e5), {}, "figure.height_nm[7][9]"),
        (bump(0, 0)[0], {}, "height_nm"),
        (np.zeros((2, 50)), {}, "figure.height_nm"),
        (np.zeros((0, 0)), {}, "figure.height_nm"),
        ([[1.0, 2.0], [3.0]], {}, "height_nm"),
        ("heights", {}, "height_nm"),
        (bump(0, 0).astype(complex), {}, "height_nm"),
        (bump(0, 0) > 3, {}, "height_nm"),
        (bump(0, 0), {"pixel_mm": 0}, "figure.pixel_mm"),
        (bump(0, 0), {"pixel_mm": float("nan")}, "figure.pixel_mm"),
        (bump(0, 0), {"centre_row": 100}, "figure.centre_row"),
        (bump(0, 0), {"rows_run": "-x"}, "figure.columns_run"),
        (bump(0, 0), {"rows_run": "y"}, "rows_run"),
    ],
)
def test_maps_that_cannot_be(heights, changes, field):
    with pytest.raises(ct.InputError) as caught:
        ct.HeightMap(height_nm=heights, **(FLAT | changes))
    assert caught.value.field == field


def test_maps_that_do_not_fit_their_mirror():
    hole = bump(0, 0)
    hole[41, 50] = np.nan
    for heights, changes, words in [
        (bump(0, 0)[5:-5, 5:-5], {}, "of its area"),
        (hole, {"hold_edge": True}, "a hole in the map"),
        (bump(0, 0), {"pixel_mm": 0.004}, "other units"),
        (bump(0, 0), {"centre_row": 30}, "another centre"),
    ]:
        layer = ct.HeightMap(height_nm=heights, **(FLAT | changes))
        with pytest.raises(ct.InputError, match=words) as caught:
            mirror(layer)
        assert caught.value.field.startswith("primary.figure[0].")


def test_everything_else_of_a_train_works_on_an_uneven_mirror():
    x, y = net()
    layers = [
        ct.HeightMap(height_nm=25 * np.sin(x / 40) * np.cos(y / 30 + 0.3), **FLAT),
        ct.ZernikeTerms(coefficients_nm={6: 15.0}, indexing="noll"),
        ct.Zone(radius_mm=95, half_width_mm=13, height_nm=10),
    ]
    train = ct.Train(
        primary=primary(figure=layers),
        diagonal=ct.Diagonal(minor_axis_mm=70),
        focal_plane=ct.FocalPlane(axis_to_focus_mm=235),
    )
    assert train.primary.figure == tuple(layers)
    star = train.psf(field_arcmin=(5, -3), focus="peak", pixels=41)
    wave = train.wavefront(field_arcmin=(5, -3), focus="peak")
    assert star.image[20, 20] == pytest.approx(wave.strehl, abs=1e-5)
    assert wave.error_estimate < 1e-6
    spot = train.spot(field_arcmin=(5, -3), focus="least_spot")
    assert spot.error_um < 1e-4 * spot.rms_radius_um
    light = train.illumination(radius_mm=[0, 12])
    assert light.error_estimate < 1e-7
    assert wave.encircled_energy([5.0])[0] < train.airy().encircled_energy([5.0])[0]
