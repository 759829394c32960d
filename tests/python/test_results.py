"""What every result can do: show itself, be saved, compared, taken apart and drawn."""

import copy
import pickle
import re
import subprocess
import sys
from html.parser import HTMLParser

import catoptric as ct
import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from samples import bare, complete, newtonian, parts, readings, results

mpl.use("Agg")  # the tests' own choice; the package never makes it

import matplotlib.pyplot as plt

every_result = pytest.mark.parametrize("result", results().values(), ids=results().keys())
everything = pytest.mark.parametrize(
    "thing", [*parts().values(), *results().values()], ids=[*parts().keys(), *results().keys()]
)

UNITS = {
    "sr",
    "percent",
    "dioptres",
    "mm",
    "um",
    "nm",
    "nm2",
    "arcmin",
    "arcsec",
    "deg",
    "rad",
    "waves",
}
# Ratios, shares, counts, names and texts, and what holds them.
NAMES = """
absolute absolute_best absolute_mean absolute_worst amplitude_factor best conic error_estimate
focal_ratio gain gain_interval image joined lit_fraction mean obstruction_ratio on_axis peak
points power probability_better reflectance relative stopped strehl strehl_after
strehl_after_draws strehl_after_interval strehl_before strehl_before_draws
strehl_before_interval strehl_draws strehl_interval strehl_least_rms strehl_least_rms_interval
assumption assumed_shares floor_share further_runs second_look
gain_total_interval strehl_total_interval strehl_total_draws
strehl_least_rms_total_interval strehl_before_total_interval strehl_before_total_draws
strehl_after_total_interval strehl_after_total_draws
limited_by limited_mostly_by magnitudes magnitudes_lost worst_magnitudes returns_alone
lit_without_shadow azimuth_error_estimate darkest_corner focuser_board filter_ring sensor_mask
rays passed light
repeats mean_strehl_least_rms
worst draws seed run_count opening_count source readings_increase reasons cautions
chance_better verdict words after before readings wavefront airy primary diagonal focal_plane
front_opening drawtube spider holder mirror_clips vanes clips
focuser_board filter_ring sensor_mask edge misplaced defocus_along defocus_across
matching_conic blocked_share scattered_share left_in_pattern share_within_first_null spikes
coating rings patches figure map film pinhole_share
surface_or_wavefront strehl_range untested_share contradictions assumptions sheet report runs test
coefficients indexing normalisation unit zero_kept whole chance_of_none glass stand together
freedom origin
ray_image knife_from pixels phase
images side profile energy_in_circle name train words spectrum
contrast contrast_along contrast_across contrast_mean perfect_clear perfect_obstructed weight
real imaginary
indexing rows columns rows_run columns_run centre_row centre_column hold_edge
correction conic_all conic_all_sigma chi_square_all freedom_all p_value_all
conic_without_outermost conic_without_outermost_sigma chi_square_without_outermost
freedom_without_outermost p_value_without_outermost p_value freedom
slope band_count band_contrast limb_darkening spots detail_contrast contrast first_magnitude
second_magnitude stars star_count magnitude throughput bands_left spots_left star_gap magnification
pixels_per_lambda_f tail_share scene eyepiece sensor rms greatest
weight spectrum strehl_by_wavelength strehl_marechal strehl_exponential warning alpha at_reference
index glass_index metal overcoat reflectance_s reflectance_p transmittance transmittance_s
transmittance_p lamp_transmittance lamp_transmittance_s lamp_transmittance_p absorptance
shadow_share effective_focal_ratio effective_obstruction_ratio eye_share edge_worst edge_mean
edge_best edge_worst_magnitudes edge_mean_magnitudes dimmed_by spot_of_bare_mirror cautions
pixels_per_fwhm pixels_per_seeing corner_worst corner_mean corner_best corner_worst_magnitudes
corner_coma_pixels corner_rms_radius_pixels refocused_rms_radius_pixels camera items names within
reached out_of_reach focuser mover reaches_all within_limits trains impossible poles extension_tubes
edge_worst_before edge_mean_before edge_best_before mm_per_dioptre
trains azimuths price drawtube drawtubes edge_relative edge_light clipped_axis dominated criteria
findings aim weights batch
seeing contrast_change peak_before peak_after shows count least_contrast_change least_peak_change
shape shapes allowed bounded best_shape no_edge_above_best no_edge_p_value shape_is_told share
chi_square_above_best chi_square_above_best_shape direction strehl_low strehl_high layer values
sigmas covariance
fully_lit_circle holds_cone axis_ratio smallest rules formula quantity by_diameter by_area baffle
answer reason unmasked left_after_mask strehl_low strehl_high light core_light core_light_low
core_light_high core_light_interval peak_brightness peak_brightness_low peak_brightness_high
peak_brightness_interval airy_energy own_airy_energy contrast_low contrast_high contrast_gain
contrast_gain_low contrast_gain_high contrast_intervals contrast_gain_intervals contrast_full
contrast_full_intervals contrast_unmasked contrast_unmasked_intervals seeing_contrast rise remarks
probability_rises probability_brighter holds area_share open_peak masked_peak raises_peak
kind works gains median_gain gain_per_price basis proven score score_interval dominated_by
no_proven_gain upper_bound tied_with train_after order_rule no_gain_rule field_rule left_out
field_loss_magnitudes currency train_now evidence before_interval after_interval before_draws
after_draws value low high meaning numbers ladder next focus figure_words
mask edge coating
profile ratios spot_count reference_reflectance reference_sigma ratio_sigma mean_ratio spots outline
reflectance_sigma reflectance_low reflectance_high covariance seen_by ratio_freedom measured_ratio
expected_ratio mean_ratio_sigma residual_sigmas chi_square p_value widened_by pulls outliers spot
repeat ratio sigmas levels_without part film_reflectance sigma scale offset scale_sigma
offset_sigma pixel_sigma mean_reflectance dark bright expected found agrees
primary_reflectance diagonal_reflectance form limits scattered_share fresh halo throughput_range
of_clear_aperture magnitudes_lost_range fresh_gain_magnitudes light_loss
strehl_range strehl_without_heights strehl_even shape_loss pinhole_scatter throughput_draws
possible_share both years fresh_loss_per_year old_loss_per_year what coat gain_ranges
gain_magnitudes returned_of_lost peak_ratio gain_per_price aged_gain effect
enclosure open_share against_image worst_against_image cautions lines rays
lit_pixels
"""
WITHOUT_UNIT = set(NAMES.split())


def attributes(thing):
    """Return all attributes of an object that are values, not methods."""
    names = [name for name in vars(type(thing)) if not name.startswith("_")]
    return {name: getattr(thing, name) for name in names if not callable(getattr(thing, name))}


@everything
def test_every_attribute_carries_its_unit(thing):
    for name in attributes(thing):
        ending = name.removesuffix("_interval").removesuffix("_draws").removesuffix("_total")
        ending = ending.rsplit("_", 1)[-1]
        assert ending in UNITS or name in WITHOUT_UNIT, name
        assert not (ending in UNITS and name in WITHOUT_UNIT)


@everything
def test_no_answer_is_nan(thing):
    for name, value in attributes(thing).items():
        in_corners = isinstance(thing, ct.CoatingPicture) and name != "axis_mm"
        if name == "map_nm" or (in_corners and isinstance(value, np.ndarray)):
            assert np.isfinite(value).any()  # has blank corners, which are documented
        elif isinstance(value, (float, np.ndarray)):
            assert np.all(np.isfinite(value)), name


@everything
def test_text_is_one_or_two_lines(thing):
    lines = repr(thing).splitlines()
    assert len(lines) <= 2
    assert lines[0].startswith(f"{type(thing).__name__}(")
    assert lines[-1].endswith(")")
    assert all("  " not in line.strip() for line in lines)


class Cells(HTMLParser):
    def __init__(self, html):
        super().__init__()
        self.texts = []
        self.feed(html)

    def handle_data(self, data):
        self.texts.append(data)


@everything
def test_the_notebook_shows_what_the_text_says(thing):
    if isinstance(thing, ct.TrainJudgement):  # has a page of its own: test_page.py
        assert thing.verdict in Cells(thing._repr_html_()).texts
        return
    title, *cells = Cells(thing._repr_html_()).texts
    shown = {name: value for name, value in zip(cells[::2], cells[1::2], strict=True)}
    flat = " ".join(repr(thing).split())
    pairs = ", ".join(f"{name}={value}" for name, value in shown.items())
    assert f"{title}({pairs})" == flat


@every_result
def test_shown_numbers_are_those_of_the_attributes(result):
    for name, text in re.findall(r"(\w+)=(-?[\d.e+-]+)(?=[,)])", repr(result)):
        value = getattr(result, name)
        if isinstance(value, float):
            assert float(text) == pytest.approx(value, rel=1e-5), name


@everything
def test_to_dict_holds_plain_values(thing):
    taken = thing.to_dict()
    assert taken
    for name, value in taken.items():
        attribute = getattr(thing, name)
        if isinstance(attribute, np.ndarray):
            np.testing.assert_array_equal(value, attribute)
        elif isinstance(attribute, (float, int, str, type(None))):
            assert value == attribute
        else:
            assert isinstance(value, (tuple, list, dict)), name


@everything
@pytest.mark.parametrize("protocol", range(2, pickle.HIGHEST_PROTOCOL + 1))
def test_pickling(thing, protocol):
    back = pickle.loads(pickle.dumps(thing, protocol))
    assert back == thing
    assert repr(back) == repr(thing)
    for name, value in attributes(thing).items():
        np.testing.assert_equal(getattr(back, name), value)


@everything
def test_copies_are_the_thing_itself(thing):
    assert copy.copy(thing) is thing
    assert copy.deepcopy(thing) is thing


@every_result
def test_frozen(result):
    for name in attributes(result):
        with pytest.raises(AttributeError):
            setattr(result, name, None)


@every_result
def test_equality(result):
    others = [other for other in results().values() if other == result]
    assert others == [result]
    assert result != 1


def test_the_same_question_gets_an_equal_answer():
    ask = {
        "spot": lambda t: t.spot(field_arcmin=(3, 4)),
        "wavefront": lambda t: t.wavefront(focus="peak"),
        "psf": lambda t: t.psf(half_width_um=10, pixels=21),
        "light": lambda t: t.illumination(radius_mm=[0, 10]),
    }
    for question in ask.values():
        assert question(complete()) == question(complete())
        assert question(complete()) != question(newtonian())


# What the results say that could be said wrongly.


def test_a_spot_holds_its_points_and_their_statistics():
    spot = bare().spot(field_arcmin=(10, 5), points=1000)
    assert 500 <= len(spot.along_um) <= 2000
    lengths = {len(getattr(spot, name)) for name in ("across_um", "pupil_x_mm", "pupil_y_mm")}
    assert lengths == {len(spot.along_um)}
    assert np.hypot(spot.pupil_x_mm, spot.pupil_y_mm).max() <= 159 * (1 + 1e-12)
    # The handed-out rays sample the pupil evenly, so their scatter is near the exact statistics.
    scatter = np.sqrt(np.mean(spot.along_um**2 + spot.across_um**2))
    assert scatter == pytest.approx(spot.rms_radius_um, rel=0.02)
    within = np.hypot(spot.along_um, spot.across_um) <= spot.radius_80_um
    assert np.mean(within) == pytest.approx(0.8, abs=0.02)


def test_the_fate_of_all_light_is_told():
    train = complete()
    for field in ((0, 0), (20, 0), (-20, 10)):
        spot = train.spot(field_arcmin=field)
        light = train.light(field_arcmin=field)
        assert spot.lit_fraction == pytest.approx(light.lit_fraction, abs=1e-9)
        assert light.lit_fraction + sum(light.stopped.values()) == pytest.approx(1, abs=1e-12)
        assert light.stopped.keys() == spot.stopped.keys() == light.returns_alone.keys()
        assert all(value >= 0 for value in light.stopped.values())
        # A part returns no more than what meets it, and the shadows no more than all of them stop.
        whole = 1 - light.lit_fraction
        assert all(0 <= value <= whole + 1e-12 for value in light.returns_alone.values())
        assert light.lit_fraction <= light.lit_without_shadow <= 1 + 1e-12
        assert light.magnitudes_lost == pytest.approx(-2.5 * np.log10(light.lit_fraction))


def test_a_lamp_is_a_star_when_it_is_far():
    train = complete()
    star, lamp = (train.light(field_arcmin=(15, -9), star_distance_mm=d) for d in (None, 1e11))
    assert lamp.lit_fraction == pytest.approx(star.lit_fraction, abs=1e-7)
    assert train.light(star_distance_mm=20_000).lit_fraction < star.lit_fraction


def test_a_map_a_ring_and_single_points_say_the_same():
    train = complete()
    sensor = train.light_map(
        along_mm=17.6, across_mm=13.3, rotation_deg=20, centre_along_mm=2, points=9
    )
    points = train.illumination(along_mm=sensor.along_mm, across_mm=sensor.across_mm)
    np.testing.assert_allclose(sensor.absolute, points.absolute, atol=1e-14)
    assert sensor.limited_by == points.limited_by
    assert (sensor.rows, sensor.columns) == (9, 7)
    corner = sensor.darkest_corner
    assert corner.relative == sensor.relative[[0, 6, 56, 62]].min()
    half = np.hypot(17.6, 13.3) / 2
    assert np.hypot(corner.along_mm - 2, corner.across_mm) == pytest.approx(half)
    ring = train.field_stop_light(diameter_mm=32, azimuths=24)
    radial = train.illumination(radius_mm=[16])
    assert (ring.worst, ring.mean, ring.best) == pytest.approx(
        (radial.worst[0], radial.mean[0], radial.best[0]), abs=1e-12
    )
    assert ring.to_table().rows == 24
    assert "diagonal_share" in ring.to_table()


def test_illumination_agrees_between_its_two_forms():
    train = complete()
    radial = train.illumination(radius_mm=[0, 8, 16])
    turn = np.radians(np.arange(0, 360, 5))
    points = train.illumination(along_mm=16 * np.cos(turn), across_mm=16 * np.sin(turn))
    assert points.relative.min() == pytest.approx(radial.worst[2], abs=1e-4)
    assert points.relative.max() == pytest.approx(radial.best[2], abs=1e-4)
    assert points.relative.mean() == pytest.approx(radial.mean[2], abs=1e-4)
    assert radial.absolute_mean[0] == pytest.approx(radial.on_axis, abs=1e-9)
    np.testing.assert_allclose(radial.absolute_mean, radial.mean * radial.on_axis, rtol=1e-12)


def test_tables_go_to_other_readers():
    light = complete().illumination(radius_mm=[0, 5, 10])
    table = light.to_table()
    frame = pd.DataFrame(table)
    assert frame["mean"].tolist() == light.mean.tolist()
    assert {f"{part}_share" for part in light.stopped} <= set(table)
    points = complete().illumination(along_mm=[0, 5], across_mm=[1, 2]).to_table()
    assert points["across_mm"].tolist() == [1, 2]
    bench = readings("before").table()
    np.testing.assert_allclose(
        bench["mean_mm"], readings("before").runs_mm.mean(axis=0), rtol=1e-13
    )


def test_a_wavefront_map_lies_on_the_mirror():
    wave = newtonian().wavefront()
    assert wave.map_nm.shape == (len(wave.map_axis_mm),) * 2
    x, y = np.meshgrid(wave.map_axis_mm, wave.map_axis_mm)
    lit = np.isfinite(wave.map_nm)
    assert np.hypot(x, y)[lit].max() <= 159 * (1 + 1e-12)
    # The diagonal's shadow is blank: 70 mm wide, moved by the offset away from the focuser.
    offset = newtonian().diagonal_offset_mm
    inside = np.hypot(x + offset, y) < 34
    assert not lit[inside].any()
    pixel_mm = wave.map_axis_mm[1] - wave.map_axis_mm[0]
    area_mm2 = np.pi * (159**2 - 35**2)
    assert lit.sum() * pixel_mm**2 == pytest.approx(area_mm2, rel=0.005)


def test_a_psf_is_a_picture_with_axes():
    star = complete().psf(half_width_um=10, pixels=21)
    assert star.image.shape == (21, 21)
    assert star.along_um[10] == 0
    np.testing.assert_allclose(np.diff(star.along_um), star.pixel_um, rtol=1e-12)
    assert star.image[10, 10] == pytest.approx(star.strehl, abs=1e-6)
    assert star.wavefront.strehl == pytest.approx(star.strehl, abs=1e-6)
    assert star.peak >= star.image.max() - 1e-9
    # Arcseconds in a radian over the focal length.
    assert star.pixel_arcsec == pytest.approx(star.pixel_um / 1558e3 * 206264.806247, rel=1e-9)
    assert star.airy == complete().airy()


def test_every_result_says_its_wavelength():
    assert ct.DEFAULT_WAVELENGTH_NM == 550
    for name in ("Airy", "Wavefront", "Psf", "FigureEstimate", "Verdict"):
        assert results()[name].wavelength_nm == 550
        assert "wavelength_nm=550" in repr(results()[name])


# Pictures.

PICTURES = [
    pytest.param(getattr(thing, name), id=f"{key}.{name}")
    for key, thing in {**parts(), **results()}.items()
    for name in ("plot", "plot_shares", "plot_energy")
    if hasattr(thing, name)
]


@pytest.fixture(autouse=True)
def no_figure_left_open():
    yield
    plt.close("all")


def test_every_result_but_plain_numbers_draws_itself():
    drawn = {key for key, thing in {**parts(), **results()}.items() if hasattr(thing, "plot")}
    assert drawn >= {
        *("KnifeEdgeReadings", "FigureEstimate", "Verdict"),
        *("Spot", "RadialIllumination", "Wavefront", "Psf"),
    }


@pytest.mark.parametrize("draw", PICTURES)
def test_given_axes_are_drawn_on_and_returned(draw):
    figure, ax = plt.subplots()
    assert draw(ax) is ax
    assert draw(ax=ax) is ax
    assert plt.get_fignums() == [figure.number]
    assert ax.has_data()
    figure.canvas.draw()


@pytest.mark.parametrize("draw", PICTURES)
def test_no_setting_changes_and_a_new_figure_is_made(draw):
    before, backend = dict(mpl.rcParams), mpl.get_backend()
    ax = draw()
    ax.figure.canvas.draw()
    assert len(plt.get_fignums()) == 1
    assert dict(mpl.rcParams) == before
    assert mpl.get_backend() == backend


def test_the_package_itself_does_not_load_matplotlib():
    program = "import sys, catoptric; assert 'matplotlib' not in sys.modules"
    subprocess.run([sys.executable, "-c", program], check=True, timeout=60)
