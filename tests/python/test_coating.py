"""The coating as physics: against tmm and plain sums of numpy, and as it is written down."""

import catoptric as ct
import matplotlib as mpl
import numpy as np
import pytest
import tmm
from samples import dull_map, primary, thin_coat

mpl.use("Agg")  # the tests' own choice; the package never makes it

import matplotlib.pyplot as plt

RIM_MM, FOCAL_MM, GLASS = 100.0, 1200.0, 1.5168


def aluminium(thickness_nm):
    return ct.MetalFilm(metal="aluminium", thickness_nm=thickness_nm, glass_index=GLASS)


def train(**coating):
    sizes = {"clear_aperture_mm": 2 * RIM_MM, "focal_length_mm": FOCAL_MM}
    return ct.Train(primary=ct.Primary(**sizes, coating=ct.Coating(**coating)))


def seen_by_tmm(thickness_nm, wavelength_nm, angle_rad=0.0):
    """Return the mean reflectance and the mean height, nm, of a film: tmm 0.2 (S. Byrnes)."""
    index = complex(*aluminium(10).metal_index(wavelength_nm=wavelength_nm))
    power, height = [], []
    for pol in "sp":
        layers, depths = [1, index, GLASS], [np.inf, thickness_nm, np.inf]
        found = tmm.coh_tmm(pol, layers, depths, angle_rad, wavelength_nm)
        amplitude = found["r"] if pol == "s" else -found["r"]  # its r_p has the other sign
        # A perfect mirror at height h returns -exp(4 pi i (t - h) cos/lambda).
        turn = np.angle(-amplitude)
        height.append(thickness_nm - turn * wavelength_nm / (4 * np.pi * np.cos(angle_rad)))
        power.append(found["R"])
    return np.mean(power), np.mean(height)


@pytest.mark.parametrize("wavelength_nm", [450, 550, 700])
def test_a_thin_ring_is_the_step_that_tmm_makes_of_it(wavelength_nm):
    # A step ring of area share p and phase phi: closed form with both amplitudes.
    worn = ct.ThinRing(inner_radius_mm=60, outer_radius_mm=85, thickness_nm=15)
    thin = train(metal=ct.MetalCoat(film=aluminium(100), rings=[worn]))
    wave = thin.wavefront(focus="paraxial", wavelength_nm=wavelength_nm)
    (fresh_power, fresh_nm), (worn_power, worn_nm) = (
        seen_by_tmm(t, wavelength_nm) for t in (100, 15)
    )
    a, b, p = np.sqrt(fresh_power), np.sqrt(worn_power), (85**2 - 60**2) / RIM_MM**2
    # cos i at the ring's middle: W = 2 h cos i.
    phase = (
        4 * np.pi * (worn_nm - fresh_nm) / wavelength_nm * np.cos(np.arctan(73.6 / (2 * FOCAL_MM)))
    )
    strehl = abs((1 - p) * a + p * b * np.exp(1j * phase)) ** 2 / ((1 - p) * a + p * b) ** 2
    factor = ((1 - p) * a + p * b) ** 2 / ((1 - p) * a**2 + p * b**2)
    assert abs(wave.strehl - strehl) < 2e-5
    assert abs(wave.amplitude_factor - factor) < 1e-6
    assert 0.1 < strehl < 0.9


def test_a_smooth_thin_ring_is_the_integral_that_tmm_makes_of_it():
    # sin^2 from 60 to 85 mm; heights along the normal, W = 2 h cos i, by the midpoint rule in r^2.
    worn = ct.ThinRing(inner_radius_mm=60, outer_radius_mm=85, thickness_nm=12, profile="smooth")
    thin = train(metal=ct.MetalCoat(film=aluminium(100), rings=[worn]))
    wave = thin.wavefront(focus="paraxial")
    r = np.sqrt((np.arange(2000) + 0.5) / 2000) * RIM_MM
    share = np.where((r > 60) & (r < 85), np.sin(np.pi * (r - 60) / 25) ** 2, 0)
    angle = np.arctan(r / (2 * FOCAL_MM))
    film = [seen_by_tmm(100 - 88 * s, 550, i) for s, i in zip(share, angle, strict=True)]
    power, height = np.transpose(film)
    path = 2 * (height - seen_by_tmm(100, 550)[1]) * np.cos(angle)
    field = np.sum(np.sqrt(power) * np.exp(2j * np.pi * path / 550))
    light = np.sum(np.sqrt(power))
    assert abs(wave.strehl - abs(field) ** 2 / light**2) < 1e-5
    assert abs(wave.amplitude_factor - light**2 / (2000 * np.sum(power))) < 1e-5
    assert worn.profile == "smooth"
    assert "smooth" in repr(worn)


def test_a_smooth_ring_of_haze_dims_as_sin_squared():
    worn = ct.CoatingRing(
        inner_radius_mm=60, outer_radius_mm=85, reflectance=0.72, profile="smooth"
    )
    hazy = train(reflectance=0.85, rings=[worn])
    for r in (59, 60, 64.2, 72.5, 80, 85):
        dip = 0.13 * np.sin(np.pi * (r - 60) / 25) ** 2 if 60 < r < 85 else 0
        assert abs(hazy.reflectance(0, r) - (0.85 - dip)) < 1e-14
    assert hazy.wavefront().rms_nm < 1e-6


def test_light_and_height_place_by_place_against_tmm():
    patch = ct.ThinPatch(x_mm=40, y_mm=-30, radius_mm=25, thickness_nm=10, softness_mm=4)
    worn = train(metal=ct.MetalCoat(film=aluminium(90), patches=[patch]))
    for wavelength_nm in (420, 550, 780):
        seen = worn.coating_picture(wavelength_nm=wavelength_nm, size=41)
        _, fresh_nm = seen_by_tmm(90, wavelength_nm)
        for row, column in ((20, 20), (14, 28), (10, 30), (16, 33), (35, 5), (20, 40)):
            x_mm, y_mm = seen.axis_mm[column], seen.axis_mm[row]
            share = 1 / (1 + np.exp((np.hypot(x_mm - 40, y_mm + 30) - 25) / 4))
            if np.hypot(x_mm, y_mm) > RIM_MM:
                assert np.isnan(seen.reflectance[row, column])
                continue
            thickness_nm = 90 + share * (10 - 90)
            assert abs(seen.thickness_nm[row, column] - thickness_nm) < 1e-9
            angle = np.arctan(np.hypot(x_mm, y_mm) / (2 * FOCAL_MM))
            power, height_nm = seen_by_tmm(thickness_nm, wavelength_nm, angle)
            assert abs(seen.reflectance[row, column] - power) < 1e-10
            assert abs(seen.height_nm[row, column] - (height_nm - fresh_nm)) < 2e-6
            found = worn.reflectance(x_mm, y_mm, wavelength_nm=wavelength_nm)
            assert abs(found - power) < 1e-10


def test_a_star_behind_a_soft_thin_patch_against_the_plain_sum():
    # 2048 x 2048 places of the pupil; by the rim weighted by how much of the cell is lit.
    patch = ct.ThinPatch(x_mm=38, y_mm=-25, radius_mm=28, thickness_nm=12, softness_mm=4)
    worn = train(metal=ct.MetalCoat(film=aluminium(90), patches=[patch]))
    side = 2048
    axis = (np.arange(side) + 0.5) * 2 * RIM_MM / side - RIM_MM
    x, y = np.meshgrid(axis, axis)
    r = np.hypot(x, y)
    lit = np.clip((RIM_MM - r) / (2 * RIM_MM / side) + 0.5, 0, 1)
    thickness = 90 + (12 - 90) / (1 + np.exp((np.hypot(x - 38, y + 25) - 28) / 4))
    grid = np.linspace(11.5, 90.5, 4000)
    table = np.array([seen_by_tmm(t, 550) for t in grid])
    amplitude = lit * np.sqrt(np.interp(thickness, grid, table[:, 0]))
    cosine = 1 / np.sqrt(1 + (r / (2 * FOCAL_MM)) ** 2)
    path = 2 * (np.interp(thickness, grid, table[:, 1]) - seen_by_tmm(90, 550)[1]) * cosine
    wave = worn.wavefront(focus="paraxial")
    star = wave.psf(pixels=33, half_width_um=20)
    for row, column in ((16, 16), (10, 20), (25, 7), (3, 16)):
        # Pictures are counted from the reference point, which the patch's hollow moves aside.
        along = star.along_um[column] + wave.reference_along_um
        across = star.across_um[row] + wave.reference_across_um
        # The transverse part of the line to the image is -(r/f)/(1 + r^2/4f^2) outward.
        moved = 1000 * (along * x + across * y) / FOCAL_MM * cosine**2
        field = np.sum(amplitude * np.exp(2j * np.pi * (path + moved) / 550))
        truth = abs(field) ** 2 / np.sum(amplitude) ** 2
        assert abs(star.image[row, column] - truth) < 1e-4  # cells by the rim: some 1e-5


def test_the_energy_of_a_star_is_that_of_its_pupil():
    # Within a wide circle nearly all of the light arrives: the share is normalised by the pupil.
    patch = ct.ThinPatch(x_mm=38, y_mm=-25, radius_mm=28, thickness_nm=12)
    wave = train(metal=ct.MetalCoat(film=aluminium(90), patches=[patch])).wavefront(focus="peak")
    held = wave.encircled_energy([5, 20, 200])
    assert np.all(np.diff(held) > 0)
    assert 0.98 < held[2] < 1


def test_haze_beside_metal_is_a_warning():
    dusty = train(reflectance=0.95, metal=ct.MetalCoat(film=aluminium(90)))
    assert any("coating.reflectance" in p.field for p in dusty.problems())
    assert not train(metal=ct.MetalCoat(film=aluminium(90))).problems()


def test_two_mirrors_in_magnitudes():
    film = aluminium(90)
    both = ct.Train(
        primary=primary(coating=ct.Coating(metal=ct.MetalCoat(film=film))),
        diagonal=ct.Diagonal(minor_axis_mm=70, film=film),
        focal_plane=ct.FocalPlane(axis_to_focus_mm=235),
    )
    share = seen_by_tmm(90, 550)[0] * seen_by_tmm(90, 550, np.pi / 4)[0]
    assert abs(both.reflectance(0, 0) - share) < 1e-10
    assert abs(-2.5 * np.log10(both.reflectance(0, 0)) - 0.197) < 0.003


def test_trains_come_back_from_files(tmp_path):
    coating = ct.Coating(map=dull_map(), pinhole_share=0.01, metal=thin_coat())
    worn = ct.Train(primary=primary(coating=coating))
    for ending in ("json", "toml"):
        path = tmp_path / f"worn.{ending}"
        worn.save(path)
        assert ct.Train.load(path) == worn
    assert worn.primary.coating.metal.rings == thin_coat().rings
    assert worn.with_primary(coating=ct.Coating()).primary.coating.metal is None


def coating(**changes):
    return primary(coating=ct.Coating(**changes))


def reflectance_map(**changes):
    given = {"reflectance": np.full((50, 50), 0.9), "pixel_mm": 8, "rows_run": "+y"}
    return coating(map=ct.ReflectanceMap(**(given | {"columns_run": "+x"} | changes)))


def thin_ring(**changes):
    given = {"inner_radius_mm": 100, "outer_radius_mm": 120, "thickness_nm": 40}
    return coating(metal=ct.MetalCoat(film=aluminium(90), rings=[ct.ThinRing(**(given | changes))]))


def thin_patch(**changes):
    given = {"x_mm": -46, "y_mm": 71, "radius_mm": 36, "thickness_nm": 40}
    patch = ct.ThinPatch(**(given | changes))
    return coating(metal=ct.MetalCoat(film=aluminium(90), patches=[patch]))


HOLED = np.full((50, 50), 0.9)
HOLED[25, 25] = np.nan


@pytest.mark.parametrize(
    ("make", "changes", "words"),
    [
        (coating, {"reflectance": 90}, ["coating.reflectance", "90", "per cent"]),
        (coating, {"pinhole_share": 5}, ["pinhole_share", "5", "per cent"]),
        (coating, {"reflectance": 0.9, "map": dull_map()}, ["reflectance", "beside a map"]),
        (reflectance_map, {"reflectance": np.full((50, 50), 88.0)}, ["[0][0]", "88", "per cent"]),
        (reflectance_map, {"reflectance": HOLED}, ["map.reflectance", "without a share"]),
        (reflectance_map, {"pixel_mm": 2}, ["map.pixel_mm", "covers the clear aperture"]),
        (reflectance_map, {"pixel_mm": 6}, ["map.reflectance", "without a share"]),
        (reflectance_map, {"rows_run": "up"}, ["rows_run", "up"]),
        (reflectance_map, {"columns_run": "-y"}, ["columns_run", "-y"]),
        (reflectance_map, {"centre_row": 80}, ["centre_row", "80"]),
        (thin_ring, {"thickness_nm": -1}, ["thickness_nm", "-1", "micrometres"]),
        (thin_ring, {"outer_radius_mm": 90}, ["outer_radius_mm", "90", "exchanged"]),
        (thin_ring, {"softness_mm": 30}, ["softness_mm", "30", "width"]),
        (thin_ring, {"softness_mm": 2, "profile": "smooth"}, ["softness_mm", "2", "flat ring"]),
        (thin_ring, {"profile": "round"}, ["profile", "round", "'flat' or 'smooth'"]),
        (thin_ring, {"thickness_nm": float("nan")}, ["thickness_nm", "NaN", "finite"]),
        (thin_patch, {"x_mm": 200}, ["x_mm", "200", "place on the mirror"]),
        (thin_patch, {"softness_mm": 40}, ["softness_mm", "40"]),
        (thin_patch, {"thickness_nm": 4e4}, ["thickness_nm", "40000"]),
    ],
)
def test_what_cannot_be_is_refused(make, changes, words):
    with pytest.raises(ct.InputError) as refusal:
        ct.Train(primary=make(**changes))
    for word in words:
        assert word in str(refusal.value)


def test_no_map_without_its_orientation():
    with pytest.raises(TypeError):
        ct.ReflectanceMap(reflectance=np.full((9, 9), 0.9), pixel_mm=5)
    with pytest.raises(TypeError):
        ct.ThicknessMap(thickness_nm=np.full((9, 9), 90.0), pixel_mm=5, rows_run="+y")


def test_a_flat_has_a_film_or_a_reflectance():
    with pytest.raises(ct.InputError, match="beside a film"):
        ct.Diagonal(minor_axis_mm=70, reflectance=0.9, film=aluminium(90))


def test_light_of_which_the_metal_is_not_known_is_refused():
    worn = train(metal=ct.MetalCoat(film=aluminium(90)))
    with pytest.raises(ct.InputError, match="250 to 3000"):
        worn.wavefront(wavelength_nm=220)
    with pytest.raises(ct.InputError, match="250 to 3000"):
        worn.reflectance(0, 0, wavelength_nm=220)
    light = ct.Spectrum(wavelength_nm=[230, 550], weight=[1, 1])
    with pytest.raises(ct.InputError, match="250 to 3000"):
        worn.wavefront().psf(spectrum=light)


def test_the_picture_shows_the_mirror_as_it_lies():
    worn = train(
        reflectance=0.9, patches=[ct.CoatingPatch(x_mm=50, y_mm=20, radius_mm=20, reflectance=0.4)]
    )
    axes = worn.coating_picture(size=101).plot()
    shown = axes.images[0]
    pixels = shown.get_array()
    assert shown.origin == "lower"
    assert (pixels[60, 75], pixels[60, 25]) == (0.4, 0.9)  # darker toward the focuser
    assert "+x (focuser side) to the right" in axes.texts[0].get_text()
    assert "share of the light" in axes.child_axes[0].get_ylabel()
    thin = train(
        metal=ct.MetalCoat(
            film=aluminium(90),
            rings=[ct.ThinRing(inner_radius_mm=60, outer_radius_mm=80, thickness_nm=30)],
        )
    )
    axes = thin.coating_picture(size=101).plot(height=True)
    assert "nm" in axes.child_axes[0].get_ylabel()
    assert abs(np.nanmin(axes.images[0].get_array()) + 60) < 1
    with pytest.raises(ct.InputError, match="thickness of the metal"):
        worn.coating_picture().plot(height=True)
    plt.close("all")
