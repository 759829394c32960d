"""The pictures: they draw what the numbers say, carry units, and leave matplotlib as it was.

Most checks use small made-up results whose picture can be told in advance; every picture is also
drawn from results of the core.
"""

import builtins
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import catoptric as ct
import numpy as np
import pytest

matplotlib = pytest.importorskip("matplotlib")
matplotlib.use("Agg")  # the tests' own choice; the package never makes it

import matplotlib.pyplot as plt  # noqa: E402
from catoptric import plotting  # noqa: E402
from catoptric.errors import InputError  # noqa: E402
from catoptric.plotting import _between, _style  # noqa: E402
from catoptric.plotting import light as light_pictures  # noqa: E402
from samples import (  # noqa: E402
    bare,
    coating_outline,
    lamp_spots,
    recoats,
    star_of_a_map,
    thin_coat,
)
from samples import ladder as a_ladder  # noqa: E402
from scipy.interpolate import CubicSpline  # noqa: E402
from scipy.special import j0, j1  # noqa: E402

RADIUS_MM = np.linspace(0.0, 150.0, 61)


def a_spot():
    """A ring-shaped spot: the rim of the mirror sends its rays 40 um out, the rest to a point."""
    turn = np.tile(np.linspace(0.0, 2.0 * np.pi, 100, endpoint=False), 3)
    met = np.repeat([60.0, 100.0, 140.0], 100)
    reach = np.repeat([0.5, 1.0, 40.0], 100)
    return SimpleNamespace(
        along_um=reach * np.cos(turn),
        across_um=reach * np.sin(turn),
        pupil_x_mm=met * np.cos(turn),
        pupil_y_mm=met * np.sin(turn),
        focal_ratio=5.0,
        rms_radius_um=23.1,
        radius_80_um=2.0,
    )


def a_psf():
    """The perfect star at f/5 and 550 nm, its peak set 2 um toward the sky and 4 um across."""
    axis = np.linspace(-12.0, 12.0, 97)
    across, along = np.meshgrid(axis - 4.0, axis - 2.0, indexing="ij")
    v = np.pi * np.hypot(along, across) / (0.55 * 5.0) + 1e-12

    def held(radius_um):
        v = np.pi * np.asarray(radius_um) / (0.55 * 5.0)
        return 1.0 - j0(v) ** 2 - j1(v) ** 2  # Rayleigh 1881; from memory

    airy = SimpleNamespace(dark_rings_um=[3.354, 6.141], encircled_energy=held)
    return SimpleNamespace(
        image=(2.0 * j1(v) / v) ** 2,
        along_um=axis,
        across_um=axis,
        strehl=1.0,
        fwhm_um=2.83,
        wavelength_nm=550.0,
        airy=airy,
        encircled_energy=lambda radius_um: 0.9 * held(radius_um),
        ring_energy=lambda *, rings=5: {
            "share": np.array([0.7, 0.1, 0.05, 0.02, 0.01])[:rings],
            "perfect_share": np.array([0.84, 0.07, 0.03, 0.01, 0.01])[:rings],
        },
    )


def a_strip():
    """Rings of 10 um inside focus and of 20 um outside, brighter inside; a point in focus."""
    axis = np.linspace(-30.0, 30.0, 61)
    r = np.hypot(*np.meshgrid(axis, axis))
    radius = np.linspace(0.0, 30.0, 31)
    shapes = [
        lambda r: 0.02 * np.exp(-((r - 10.0) ** 2)),
        lambda r: np.exp(-(r**2)),
        lambda r: 0.01 * np.exp(-((r - 20.0) ** 2)),
    ]
    return SimpleNamespace(
        images=np.array([shape(r) for shape in shapes]),
        along_um=axis,
        pixel_um=1.0,
        shift_mm=np.array([-0.2, 0.0, 0.2]),
        defocus_waves=np.array([-2.0, 0.0, 2.0]),
        side=("inside focus", "in focus", "outside focus"),
        profile_radius_um=radius,
        profile=np.array([shape(radius) for shape in shapes]),
        wavelength_nm=550.0,
    )


def some_contrast():
    """A perfect aperture, the one with an obstruction a little lower, errors lower still."""
    frequency = np.linspace(0.0, 2.8, 15)
    perfect = 1.0 - frequency / 2.8
    return SimpleNamespace(
        frequency_per_mm=frequency * 132.0,
        frequency_per_arcsec=frequency,
        contrast_along=0.7 * perfect,
        contrast_across=0.6 * perfect,
        contrast_mean=0.65 * perfect,
        perfect_clear=perfect,
        perfect_obstructed=0.9 * perfect,
        obstruction_ratio=0.22,
        wavelength_nm=np.array([550.0]),
        seeing=None,
    )


def a_wavefront():
    """A tilt: the wave is ahead on the focuser's side; dark in the middle."""
    axis = np.linspace(-150.0, 150.0, 61)
    x, y = np.meshgrid(axis, axis)
    lit = (np.hypot(x, y) < 150.0) & (np.hypot(x, y) > 30.0)
    return SimpleNamespace(
        map_nm=np.where(lit, x, np.nan),
        map_axis_mm=axis,
        rms_nm=76.0,
        pv_nm=300.0,
        strehl=0.5,
        wavelength_nm=550.0,
    )


def an_estimate(drop_nm=100.0):
    """Heights with a standard deviation of 5 nm each, each knot for itself."""
    height = -drop_nm * (RADIUS_MM / 150.0) ** 8
    return SimpleNamespace(
        radius_mm=RADIUS_MM, height_nm=height, covariance_nm2=25.0 * np.eye(len(height))
    )


def some_readings(**changes):
    """Exact readings of a paraboloid, the runs with zeros 0, 1 and -2 mm apart."""
    inner, outer = np.array([20.0, 60.0, 100.0]), np.array([60.0, 100.0, 150.0])
    mean = (inner**2 + outer**2) / (4.0 * 3000.0)
    known = {
        "paraboloid_mm": mean,
        "runs_mm": mean + np.array([[0.0], [1.0], [-2.0]]),
        "mean_mm": mean,
        "sigma_mm": np.array([0.1, 0.05, 0.03]),
        "inner_radius_mm": inner,
        "outer_radius_mm": outer,
        "radius_of_curvature_mm": 3000.0,
        "source": "moving",
        "readings_increase": "away_from_mirror",
    }
    return SimpleNamespace(**(known | changes))


def a_verdict():
    draws = np.linspace(0.0, 1.0, 400)
    return SimpleNamespace(
        probability_better=0.9996,
        chance_better="more than 99.9 %",
        strehl_before=0.75,
        strehl_before_interval=(0.73, 0.77),
        strehl_before_total_interval=(0.70, 0.80),
        strehl_after=0.97,
        strehl_after_interval=(0.965, 0.975),
        strehl_after_total_interval=(0.96, 0.98),
        verdict="better",
        strehl_before_total_draws=0.70 + 0.1 * draws,
        strehl_after_total_draws=0.96 + 0.02 * draws,
        before=an_estimate(200.0),
        after=an_estimate(10.0),
    )


def some_light():
    radius = np.linspace(0.0, 20.0, 21)
    mean = 1.0 - 1e-3 * radius**2
    return SimpleNamespace(
        radius_mm=radius,
        worst=mean - 1e-4 * radius**2,
        mean=mean,
        best=mean + 1e-4 * radius**2,
        stopped={"diagonal": 0.05 + 0.0 * radius, "drawtube": 1e-3 * radius**2},
    )


def a_sensor():
    """A turned sensor that is darker toward -along, limited by two parts."""
    u, v = np.meshgrid(np.linspace(-8, 8, 17), np.linspace(-6, 6, 13), indexing="ij")
    turn = np.radians(15)
    along = u * np.cos(turn) - v * np.sin(turn)
    across = u * np.sin(turn) + v * np.cos(turn)
    relative = 1.0 - 0.002 * (along - 4.0) ** 2
    part = np.where(across > 0, "diagonal", "drawtube_inner_end")
    part[np.hypot(along - 4.0, across) < 4] = ""
    return SimpleNamespace(
        rows=17,
        columns=13,
        along_mm=along.ravel(),
        across_mm=across.ravel(),
        relative=relative.ravel(),
        limited_by=list(part.ravel()),
        darkest_corner=SimpleNamespace(
            along_mm=along[0, -1], across_mm=across[0, -1], magnitudes=0.62, limited_by="diagonal"
        ),
    )


def a_field_stop():
    turn = np.arange(0.0, 360.0, 10.0)
    light = 0.8 + 0.1 * np.cos(np.radians(turn))
    return SimpleNamespace(
        diameter_mm=40.0,
        azimuth_deg=turn,
        relative=light,
        limited_by=["diagonal" if 90 < t < 270 else "drawtube_inner_end" for t in turn],
        worst=0.7,
        worst_azimuth_deg=180.0,
        mean=0.8,
        best=0.9,
        best_azimuth_deg=0.0,
    )


def a_light_map():
    """Five points; the one toward the sky end gets the least light."""
    return SimpleNamespace(
        along_mm=np.array([0.0, 10.0, -10.0, 0.0, 0.0]),
        across_mm=np.array([0.0, 0.0, 0.0, 10.0, -10.0]),
        relative=np.array([1.0, 0.4, 0.9, 0.8, 0.8]),
    )


def a_shadow():
    """A disc that is bright to the right, seen past a knife from the left inside of focus."""
    axis = np.linspace(-105.0, 105.0, 43)
    x, y = np.meshgrid(axis, axis)
    lit = np.where(np.hypot(x, y) < 100.0, 1.0, 0.0)
    return SimpleNamespace(
        image=lit * (x > 5.0),
        ray_image=lit * (x > 0.0),
        axis_mm=axis,
        source="moving",
        stage_mm=-3.0,
        edge_um=0.0,
        knife_from="left",
        slit_width_um=20.0,
        wavelength_nm=(550.0,),
        lines_per_mm=4.0,
        phase=0.25,
    )


def real_shadow():
    mirror = real_train().primary
    return ct.knife_edge_picture(mirror, source="moving", stage_mm=2, slit_width_um=20, pixels=41)


def real_bands():
    mirror = real_train().primary
    return ct.grating_picture(mirror, source="moving", stage_mm=-9, lines_per_mm=4, pixels=41)


def real_strip():
    return real_train().through_focus(defocus_waves=[-2, 0, 2], pixels=33)


# Pictures with axes of their own making.
ON_A_FIGURE = {"through_focus_gallery", "views"}


def some_air():
    """A seeing of 1 arcsec whose contrast falls as a bell."""
    return SimpleNamespace(
        fwhm_arcsec=1.0,
        r0_mm=110.7,
        wavelength_nm=550.0,
        diameter_mm=None,
        transfer=lambda cycles, wavelength_nm: np.exp(-((2.0 * np.asarray(cycles)) ** 2)),
    )


def a_seen_star():
    """A bell 2 arcsec wide, its peak set 1 arcsec toward the sky and half of one across."""
    axis = np.linspace(-40.0, 40.0, 81)
    across, along = np.meshgrid(axis - 5.0, axis - 10.0, indexing="ij")
    return SimpleNamespace(
        image=0.1 * np.exp(-np.log(2) * (across**2 + along**2) / 10.0**2),
        along_um=axis,
        pixel_um=1.0,
        pixel_arcsec=0.1,
        peak=0.1,
        peak_along_um=10.0,
        peak_across_um=5.0,
        fwhm_arcsec=2.0,
        wavelength_nm=550.0,
        seeing=some_air(),
    )


@cache
def real_view():
    pair = ct.DoubleStar(separation_arcsec=1.2, first_magnitude=5, second_magnitude=6)
    eyepiece = ct.Eyepiece(focal_length_mm=7, field_stop_mm=9)
    return real_train().view(pair, eyepiece=eyepiece, pixels=33)


def some_ripple():
    return ct.Ripple(rms_nm=5, longest_mm=100, shortest_mm=30, seed=2)


def some_nights():
    """Three nights out of order, of which the best shows the change."""
    return SimpleNamespace(
        fwhm_arcsec=np.array([3.0, 1.0, 2.0]),
        contrast_change=np.array([0.01, 0.08, 0.03]),
        peak_before=np.array([0.010, 0.040, 0.020]),
        peak_after=np.array([0.010, 0.050, 0.021]),
        shows=np.array([False, True, False]),
        least_contrast_change=0.05,
        least_peak_change=0.1,
    )


PICTURES = {
    "air_contrast": (plotting.air_contrast, some_air, "arcsec", "contrast"),
    "seen_star": (plotting.seen_star, a_seen_star, "arcsec", "arcsec"),
    "nights": (plotting.nights, some_nights, "arcsec", "%"),
    "view": (plotting.view, real_view, "arcsec", "arcsec"),
    "ripple_map": (plotting.ripple_map, some_ripple, "mm", "mm"),
    "grating_bands": (plotting.grating_bands, a_shadow, "mm", "mm"),
    "knife_shadow": (plotting.knife_shadow, a_shadow, "mm", "mm"),
    "spot": (plotting.spot, a_spot, "um", "um"),
    "star_image": (plotting.star_image, a_psf, "um", "um"),
    "map_star_image": (plotting.map_star_image, star_of_a_map, "um", "um"),
    "energy": (plotting.energy, a_psf, "um", "share"),
    "ring_energy": (plotting.ring_energy, a_psf, "", "share"),
    "through_focus": (plotting.through_focus, a_strip, "um", "um"),
    "through_focus_profiles": (plotting.through_focus_profiles, a_strip, "um", "brightness"),
    "contrast": (plotting.contrast, some_contrast, "arcsec", "contrast"),
    "wavefront_map": (plotting.wavefront_map, a_wavefront, "mm", "mm"),
    "figure_profile": (plotting.figure_profile, an_estimate, "mm", "nm"),
    "figure_estimate": (plotting.figure_estimate, an_estimate, "mm", "nm"),
    "readings": (plotting.readings, some_readings, "mm", "mm"),
    "noise_study": (plotting.noise_study, lambda: a_noise_study(), "Strehl", "%"),
    "verdict": (plotting.verdict, a_verdict, "Strehl ratio", ""),
    "profiles": (plotting.profiles, a_verdict, "mm", "nm"),
    "illumination": (plotting.illumination, some_light, "mm", "relative to the axis"),
    "illumination_map": (plotting.illumination_map, a_light_map, "mm", "mm"),
    "shares": (plotting.shares, some_light, "mm", "share"),
    "sensor_light": (plotting.sensor_light, a_sensor, "mm", "mm"),
    "field_stop_light": (plotting.field_stop_light, a_field_stop, "degrees", "relative"),
    "diagonals": (plotting.diagonals, lambda: a_choice(), "%", "%"),
    "mask_sweep": (plotting.mask_sweep, lambda: some_masks(), "mm", "share"),
    "value_ladder": (plotting.value_ladder, lambda: some_works(), "steps", "price"),
    "focus_ladder": (plotting.focus_ladder, a_ladder, "", "mm"),
    "exit_pupils": (plotting.exit_pupils, lambda: some_pupils(), "", "mm"),
    "train_section": (plotting.train_section, lambda: a_section(), "mm", "mm"),
    "sights_in_section": (plotting.sights_in_section, lambda: a_section(), "mm", "mm"),
    "sight_lines": (plotting.sight_lines, lambda: some_sights(), "mm", "%"),
    "coating": (plotting.coating, lambda: a_coating(), "mm", "mm"),
    "coating_spots": (plotting.coating_spots, lambda: some_spots(), "mm", "share"),
    "recoat": (plotting.recoat, lambda: some_recoats(), "%", ""),
    "edge_curves": (plotting.edge_curves, lambda: some_edges(), "mm", "nm"),
    "edge_family": (plotting.edge_family, lambda: some_edges(), "mm", "nm"),
    "layer_fit": (plotting.layer_fit, lambda: a_layer_fit(), "mm", "nm"),
}

DATA = Path(__file__).resolve().parents[2] / "notebooks-demo" / "data"


@cache
def real_train():
    """A 318 mm f/4.9 mirror, its diagonal and its drawtube."""
    return ct.Train(
        primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, figure=[a_layer()]),
        diagonal=ct.Diagonal(minor_axis_mm=70),
        focal_plane=ct.FocalPlane(axis_to_focus_mm=235),
        drawtube=ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18),
    )


@cache
def a_choice():
    return ct.compare_diagonals(
        real_train(), minor_axis_mm=[50, 63, 70, 80], field_radius_mm=[0, 15], price=[4, 5, 6, 8]
    )


@cache
def some_masks():
    return ct.mask_sweep(
        real_readings().reduce(draws=200), diameters_mm=[300, 306, 312], star_image=False
    )


def some_edges():
    return ct.fit_edges(real_readings(), widths_mm=[2, 3, 5, 9])


def a_layer_fit():
    height_nm = 28 * np.exp(-(((RADIUS_MM - 95) / 13) ** 2)) + 0.3 * np.cos(RADIUS_MM)
    profile = ct.RadialProfile(radius_mm=RADIUS_MM, height_nm=height_nm)
    return ct.fit_zone(profile, kind="zone", clear_aperture_mm=318)


def some_pupils():
    eyepieces = [ct.Eyepiece(focal_length_mm=f, field_stop_mm=f) for f in (32, 9)]
    return [real_train().behind(one, eye_pupil_mm=6) for one in eyepieces]


def a_section():
    return real_train().section(field_radius_mm=12)


def some_sights():
    return real_train().sight_lines(field_radius_mm=12)


def a_layer(joined="spline"):
    return ct.RadialProfile(
        radius_mm=[0, 40, 80, 120, 159], height_nm=[5, -10, 20, 10, -80], joined=joined
    )


@cache
def a_noise_study():
    return real_readings().noise_study(repeats=500, obstruction_ratio=0.22)


def real_readings(name="before"):
    return ct.KnifeEdgeReadings.from_csv(
        DATA / f"fenlight_{name}.csv",
        clear_aperture_mm=318,
        radius_of_curvature_mm=3116,
        source="moving",
        readings_increase="away_from_mirror",
    )


@cache
def real_verdict():
    before, after = real_readings("before"), real_readings("after")
    return ct.judge_refigure(before=before, after=after, train=real_train(), draws=200, seed=1)


REAL = {
    "air_contrast": lambda: ct.Seeing(fwhm_arcsec=2).short_exposure(diameter_mm=318),
    "seen_star": lambda: real_train().psf(focus="peak").in_seeing(ct.Seeing(fwhm_arcsec=2)),
    "nights": lambda: ct.nights_that_show(
        before=real_train(), after=real_train().with_primary(figure=[]), fwhm_arcsec=[1, 2, 4]
    ),
    "view": real_view,
    "ripple_map": some_ripple,
    "grating_bands": real_bands,
    "knife_shadow": real_shadow,
    "spot": lambda: real_train().spot(field_arcmin=(10, 5)),
    "star_image": lambda: real_train().psf(focus="peak"),
    "map_star_image": star_of_a_map,
    "energy": lambda: real_train().psf(focus="peak"),
    "ring_energy": lambda: real_train().psf(focus="peak"),
    "through_focus": lambda: real_strip(),
    "through_focus_profiles": lambda: real_strip(),
    "contrast": lambda: real_train().mtf(frequency_per_mm=[0, 40, 120, 250], field_arcmin=(5, 0)),
    "wavefront_map": lambda: real_train().wavefront(field_arcmin=(10, 5)),
    "figure_profile": a_layer,
    "figure_estimate": lambda: real_readings().reduce(draws=200),
    "readings": real_readings,
    "verdict": real_verdict,
    "profiles": real_verdict,
    "illumination": lambda: real_train().illumination(radius_mm=[0, 5, 10, 15, 20]),
    "illumination_map": lambda: real_train().illumination(along_mm=[0, 9], across_mm=[0, -9]),
    "shares": lambda: real_train().illumination(radius_mm=[0, 5, 10, 15, 20]),
    "sensor_light": lambda: real_train().light_map(along_mm=24, across_mm=16, points=9),
    "field_stop_light": lambda: real_train().field_stop_light(diameter_mm=36, azimuths=24),
    "diagonals": a_choice,
    "mask_sweep": some_masks,
    "noise_study": lambda: a_noise_study(),
    "value_ladder": lambda: some_works(),
    "coating": lambda: a_coating(),
    "coating_spots": lambda: some_spots(),
    "recoat": lambda: some_recoats(),
    "focus_ladder": a_ladder,
    "exit_pupils": some_pupils,
    "train_section": a_section,
    "sights_in_section": a_section,
    "sight_lines": some_sights,
    "edge_curves": some_edges,
    "edge_family": some_edges,
    "layer_fit": a_layer_fit,
}

# How the results themselves draw, where they do.
OWN_PLOT = {
    "air_contrast": lambda result, ax: result.plot(ax),
    "seen_star": lambda result, ax: result.plot(ax),
    "nights": lambda result, ax: result.plot(ax),
    "grating_bands": lambda result, ax: result.plot(ax),
    "knife_shadow": lambda result, ax: result.plot(ax, rays=True),
    "spot": lambda result, ax: result.plot(ax, wavelength_nm=500),
    "star_image": lambda result, ax: result.plot(ax, scale="log"),
    "map_star_image": lambda result, ax: result.plot(ax, scale="log"),
    "energy": lambda result, ax: result.plot_energy(ax),
    "through_focus": lambda result, ax: result.plot(ax, scale="log", own_scale=True),
    "through_focus_profiles": lambda result, ax: result.plot_profiles(ax),
    "contrast": lambda result, ax: result.plot(ax),
    "wavefront_map": lambda result, ax: result.plot(ax),
    "figure_estimate": lambda result, ax: result.plot(ax, label="before", series=2),
    "readings": lambda result, ax: result.plot(ax),
    "verdict": lambda result, ax: result.plot(ax),
    "illumination": lambda result, ax: result.plot(ax),
    "shares": lambda result, ax: result.plot_shares(ax),
    "sensor_light": lambda result, ax: result.plot(ax),
    "field_stop_light": lambda result, ax: result.plot(ax),
    "diagonals": lambda result, ax: result.plot(ax),
    "mask_sweep": lambda result, ax: result.plot(ax),
    "noise_study": lambda result, ax: result.plot(ax),
    "value_ladder": lambda result, ax: result.plot(ax),
    "coating": lambda result, ax: result.plot(ax),
    "coating_spots": lambda result, ax: result.plot(ax),
    "recoat": lambda result, ax: result.plot(ax),
    "focus_ladder": lambda result, ax: result.plot(ax),
    "train_section": lambda result, ax: result.plot(ax),
    "edge_curves": lambda result, ax: result.plot(ax),
    "edge_family": lambda result, ax: result.plot_family(ax),
    "layer_fit": lambda result, ax: result.plot(ax),
    "sight_lines": lambda result, ax: result.plot(ax),
}


@pytest.fixture(autouse=True)
def no_figure_left_open():
    yield
    plt.close("all")


@cache
def a_coating():
    """A coat of thin metal, seen place by place."""
    coat = ct.Coating(metal=thin_coat())
    return bare().with_primary(coating=coat).coating_picture(size=41)


@cache
def some_spots():
    """Lamp readings of an old mirror, with an outline of what is seen."""
    return lamp_spots().fit(coating_outline())


@cache
def some_recoats():
    """Two coats, three choices of mirrors each."""
    return recoats()


@cache
def some_works():
    """Works of every kind: free, proven, dominated, of no use, and an upper bound."""
    works = [
        ct.Work.mask(diameter_mm=308, price=4),
        ct.Work.recoat(mirror="primary", reflectance=0.9, price=0),
        ct.Work.refigure(after_rms_nm=(5, 20), price=880),
        ct.Work.refigure(after="perfect_paraboloid", price=700),
    ]
    mirror = ct.Primary(
        clear_aperture_mm=318, focal_length_mm=1558, coating=ct.Coating(reflectance=0.8)
    )
    train = ct.Train(primary=mirror)
    return ct.value_ladder(train, real_readings(), works, draws=200, currency="pounds")


def test_rungs_of_a_ladder_rise_with_the_price():
    ax = some_works().plot()
    listed = [" ".join(text.get_text().split()) for text in ax.get_yticklabels()]
    rows = sorted(some_works().rows, key=lambda row: row.price)
    for label, row in zip(listed, rows, strict=True):
        assert label.startswith(row.name)
        assert label.endswith(f"({row.price:g})" if row.price else "(free)")
    assert "pounds" in ax.get_ylabel()
    assert ax.yaxis_inverted()


def words_on(ax):
    return " ".join([ax.get_title(loc="left"), *(text.get_text() for text in ax.texts)])


def test_every_public_picture_is_tested():
    assert set(PICTURES) == set(plotting.__all__) - ON_A_FIGURE == set(REAL)


@pytest.mark.parametrize("name", PICTURES)
def test_given_axes_are_drawn_on_and_returned(name):
    draw, result, x_unit, y_unit = PICTURES[name]
    figure, ax = plt.subplots()
    assert draw(result(), ax) is ax
    assert plt.get_fignums() == [figure.number]
    assert x_unit in ax.get_xlabel()
    assert y_unit in ax.get_ylabel()
    assert ax.get_title(loc="left")
    figure.canvas.draw()  # everything that can fail when drawn fails here


@pytest.mark.parametrize("name", PICTURES)
def test_real_results_are_drawn(name):
    draw, _, x_unit, y_unit = PICTURES[name]
    figure, ax = plt.subplots(layout="constrained")
    assert draw(REAL[name](), ax) is ax
    assert x_unit in ax.get_xlabel()
    assert y_unit in ax.get_ylabel()
    figure.canvas.draw()


@pytest.mark.parametrize("name", OWN_PLOT)
def test_real_results_draw_themselves(name):
    result = REAL[name]()
    figure, ax = plt.subplots(layout="constrained")
    assert OWN_PLOT[name](result, ax) is ax
    assert ax.get_title(loc="left")
    figure.canvas.draw()
    assert OWN_PLOT[name](result, None) is not ax


@pytest.mark.parametrize("name", PICTURES)
def test_without_axes_one_new_figure_is_made(name):
    draw, result, *_ = PICTURES[name]
    ax = draw(result())
    assert len(plt.get_fignums()) == 1
    assert ax.figure.number == plt.get_fignums()[0]
    ax.figure.canvas.draw()


@pytest.mark.parametrize("name", PICTURES)
def test_no_setting_of_matplotlib_changes(name):
    draw, result, *_ = PICTURES[name]
    before, backend = dict(matplotlib.rcParams), matplotlib.get_backend()
    _, other = plt.subplots()
    _, ax = plt.subplots()
    plt.sca(other)
    draw(result(), ax)
    draw(result(), ax=None)
    assert dict(matplotlib.rcParams) == before
    assert matplotlib.get_backend() == backend
    assert not other.has_data()


@pytest.mark.parametrize("name", ["spot", "star_image"])
def test_image_pictures_say_how_they_are_seen(name):
    draw, result, *_ = PICTURES[name]
    assert "as seen through the eyepiece" in words_on(draw(result()))


def test_mirror_pictures_say_how_they_are_seen():
    ax = plotting.wavefront_map(a_wavefront())
    assert "seen from the sky, +x (focuser side) to the right" in words_on(ax)


# Direction pins. An eye behind the focuser looks toward -x; with the sky end (+z, `along`) up, its
# right hand is (-x) x (+z) = +y, which is `across`.


def test_along_is_up_and_across_to_the_right_in_a_star_image():
    ax = plotting.star_image(a_psf())
    shown = ax.images[0]
    row, column = np.unravel_index(np.argmax(shown.get_array()), shown.get_array().shape)
    left, right, bottom, top = shown.get_extent()
    assert shown.origin == "lower"
    pixel = (right - left) / 97.0
    assert left + (column + 0.5) * pixel == pytest.approx(4.0, abs=pixel / 2.0)
    assert bottom + (row + 0.5) * pixel == pytest.approx(2.0, abs=pixel / 2.0)
    assert left < right
    assert bottom < top


def test_along_is_up_and_across_to_the_right_in_a_spot():
    spot = a_spot()
    spot.along_um = spot.along_um + 3.0
    spot.across_um = spot.across_um + 7.0
    points = np.concatenate(
        [np.asarray(group.get_offsets()) for group in plotting.spot(spot).collections]
    )
    assert points.mean(axis=0) == pytest.approx([7.0, 3.0], abs=1e-9)


def test_the_focuser_side_is_to_the_right_in_a_wavefront_map():
    ax = plotting.wavefront_map(a_wavefront())
    shown = np.ma.filled(ax.images[0].get_array(), np.nan)
    assert np.nanmean(shown[:, -10:]) > 100.0
    assert np.nanmean(shown[:, :10]) < -100.0


def test_the_airy_circle_has_the_radius_of_the_first_dark_ring():
    # 1.21966989 lambda F: Born & Wolf, Principles of Optics, ch. 8; from memory.
    (circle,) = plotting.spot(a_spot(), wavelength_nm=600.0).lines
    assert np.hypot(*circle.get_data()) == pytest.approx(1.21966989 * 0.6 * 5.0, rel=1e-8)
    (circle,) = plotting.spot(a_spot(), airy_radius_um=3.0).lines
    assert np.hypot(*circle.get_data()) == pytest.approx(3.0, rel=1e-12)


def test_rays_outside_the_drawn_field_are_counted():
    ax = plotting.spot(a_spot(), half_width_um=10.0)
    assert "33 % of the rays land outside" in words_on(ax)
    assert "40 um" in words_on(ax)
    assert "outside" not in words_on(plotting.spot(a_spot(), half_width_um=50.0))


def test_all_rays_of_a_spot_are_drawn_in_three_groups():
    groups = plotting.spot(a_spot()).collections
    assert [len(group.get_offsets()) for group in groups] == [100, 100, 100]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, [0.0, 0.0, 0.0]),
        # A paraboloid read the other way round: the mean and the runs both change sign.
        ({"readings_increase": "toward_mirror", "flip": True}, [0.0, 0.0, 0.0]),
    ],
)
def test_a_paraboloid_gives_a_level_row_of_bars(changes, expected):
    readings = some_readings(**{k: v for k, v in changes.items() if k != "flip"})
    if changes.get("flip"):
        readings.mean_mm, readings.runs_mm = -readings.mean_mm, -readings.runs_mm
        readings.paraboloid_mm = -readings.paraboloid_mm
    assert bars_of(plotting.readings(readings)) == pytest.approx(expected, abs=1e-12)


def test_a_paraboloid_read_with_a_fixed_source_gives_a_level_row_of_bars():
    # r^2/R + r^4/(2 R^3), averaged over each opening with weight r by a sum over 20 000 rings.
    means = []
    for inner, outer in zip([20.0, 60.0, 100.0], [60.0, 100.0, 150.0], strict=True):
        edges = np.linspace(inner, outer, 20_001)
        r = (edges[1:] + edges[:-1]) / 2.0
        means.append(np.average(r**2 / 3000.0 + r**4 / (2.0 * 3000.0**3), weights=r))
    mean = np.array(means)
    bench = {"clear_aperture_mm": 300, "radius_of_curvature_mm": 3000, "source": "fixed"}
    bench |= {"inner_radius_mm": [20, 60, 100], "outer_radius_mm": [60, 100, 150]}
    readings = ct.KnifeEdgeReadings(
        readings_increase="away_from_mirror", runs_mm=np.array([mean, mean + 5.0]), **bench
    )
    assert bars_of(plotting.readings(readings)) == pytest.approx(0.0, abs=1e-8)


def test_a_single_radius_is_a_point_with_its_error_bar():
    radius = np.array([40.0, 80.0, 120.0])
    mean = radius**2 / 6000.0 + np.array([0.0, 0.2, 0.0])
    ax = plotting.readings(
        some_readings(
            inner_radius_mm=radius,
            outer_radius_mm=radius,
            paraboloid_mm=radius**2 / 6000.0,
            mean_mm=mean,
            runs_mm=mean + np.array([[0.0], [1.0], [-2.0], [3.0]]),
        )
    )
    (container,) = ax.containers
    points, _, (bars,) = container
    low, high, last = points.get_ydata()
    assert list(points.get_xdata()) == [40.0, 80.0, 120.0]
    assert (high - low, last - low) == pytest.approx((0.2, 0.0), abs=1e-12)
    half = [np.ptp(bar[:, 1]) / 2.0 for bar in bars.get_segments()]
    # 1.959964 standard deviations hold 95 % of a normal error; four runs halve it.
    assert half == pytest.approx(1.959964 / 2.0 * np.array([0.1, 0.05, 0.03]), rel=1e-6)
    assert "opening" not in ax.get_xlabel()
    assert "bars" not in words_on(ax)


def test_openings_and_single_radii_can_stand_side_by_side():
    readings = some_readings()
    readings.inner_radius_mm = np.array([60.0, 60.0, 100.0])  # the first has no width
    ax = plotting.readings(readings)
    assert len(bars_of(ax, containers=1)) == 2
    assert len(ax.containers) == 1


def test_a_zone_read_too_long_stands_high_and_the_runs_lose_their_zeros():
    readings = some_readings()
    readings.mean_mm = readings.mean_mm + np.array([0.0, 0.0, 0.3])
    readings.runs_mm = readings.runs_mm + np.array([0.0, 0.0, 0.3])
    ax = plotting.readings(readings)
    low, _, high = bars_of(ax)
    assert high - low == pytest.approx(0.3, abs=1e-12)
    runs = [line.get_ydata() for line in ax.lines if len(line.get_ydata()) == 3]
    assert len(runs) == 3
    for run in runs:
        assert run == pytest.approx([low, low, high], abs=1e-12)


def bars_of(ax, containers=0):
    """The levels of the bars, once the error bars of single radii are set aside."""
    lines = [c for c in ax.collections if type(c).__name__ == "LineCollection"]
    others = [bars for container in ax.containers for bars in container[2]]
    assert len(others) == containers
    (bars,) = [c for c in lines if c not in others]
    return np.array([segment[0, 1] for segment in bars.get_segments()])


def test_the_band_of_an_estimate_is_two_sided_95_percent():
    ax = plotting.figure_estimate(an_estimate())
    bottom, top = ax.collections[0].get_datalim(ax.transData).get_points()[:, 1]
    # 1.959964 standard deviations hold 95 % of a normal error.
    assert top == pytest.approx(5.0 * 1.959964, rel=1e-5)
    assert bottom == pytest.approx(-100.0 - 5.0 * 1.959964, rel=1e-5)


def test_an_estimate_is_straight_in_the_square_of_the_radius_with_the_band_that_follows():
    # Two knots, 0 and 100 mm, heights 0 and -80 nm; at 60 mm the weights are 0.64 and 0.36.
    estimate = SimpleNamespace(
        radius_mm=np.array([0.0, 100.0]),
        height_nm=np.array([0.0, -80.0]),
        covariance_nm2=np.array([[9.0, -6.0], [-6.0, 16.0]]),
    )
    ax = plotting.figure_estimate(estimate)
    *_, curve = ax.lines
    assert np.interp(60.0, *curve.get_data()) == pytest.approx(-28.8, abs=1e-9)
    # The outline of the band: below the curve outward, and above it back again.
    radius, height = ax.collections[0].get_paths()[0].vertices.T
    outward = np.diff(radius, prepend=-1.0) > 0.0
    back = np.diff(radius, append=radius[-1] - 1.0) < 0.0
    lower = np.interp(60.0, radius[outward], height[outward])
    upper = np.interp(60.0, radius[back][::-1], height[back][::-1])
    variance = 0.64**2 * 9.0 + 0.36**2 * 16.0 - 2.0 * 0.64 * 0.36 * 6.0
    half_nm = 1.959964 * variance**0.5
    assert [lower, upper] == pytest.approx([-28.8 - half_nm, -28.8 + half_nm], rel=1e-6)


@pytest.mark.parametrize("count", [2, 3, 5, 12])
def test_the_drawn_spline_is_level_in_the_middle_and_unbent_at_the_rim(count):
    random = np.random.default_rng(count)
    knots = np.concatenate([[0.0], np.cumsum(random.uniform(5.0, 30.0, count - 1))])
    heights = random.normal(0.0, 50.0, count)
    radius = _between.fine_radius_mm(knots)
    wanted = CubicSpline(knots, heights, bc_type=((1, 0.0), (2, 0.0)))(radius)
    assert _between.spline(knots, heights, radius) == pytest.approx(wanted, abs=1e-10)


def test_a_profile_is_drawn_as_it_is_joined():
    at_60 = {}
    for joined in ("spline", "straight_in_area"):
        ax = plotting.figure_profile(a_layer(joined))
        curve = max(ax.lines, key=lambda line: len(line.get_xdata()))
        at_60[joined] = float(np.interp(60.0, *curve.get_data()))
    # Between -10 nm at 40 mm and 20 nm at 80 mm: (3600 - 1600)/(6400 - 1600) of the way.
    assert at_60["straight_in_area"] == pytest.approx(-10.0 + 30.0 * 2000.0 / 4800.0, abs=0.01)
    spline = CubicSpline([0, 40, 80, 120, 159], [5, -10, 20, 10, -80], bc_type=((1, 0.0), (2, 0.0)))
    assert at_60["spline"] == pytest.approx(float(spline(60.0)), abs=0.01)


def test_a_light_map_has_along_up_and_writes_its_numbers():
    ax = plotting.illumination_map(a_light_map())
    (dots,) = ax.collections
    places, light = np.asarray(dots.get_offsets()), np.asarray(dots.get_array())
    assert places[np.argmin(light)] == pytest.approx([0.0, 10.0])  # across, along
    assert "0.40" in words_on(ax)
    assert "as seen through the eyepiece" in words_on(ax)


def test_two_estimates_are_told_apart_without_colour():
    ax = plotting.figure_estimate(an_estimate(), label="before", series=0)
    plotting.figure_estimate(an_estimate(10.0), ax, label="after", series=1)
    lines = {
        line.get_label(): line.get_linestyle() for line in ax.lines if line.get_label()[0] != "_"
    }
    assert set(lines) == {"before", "after"}
    assert lines["before"] != lines["after"]
    notes = [text for text in ax.texts if "above zero" in text.get_text()]
    assert len(notes) == 1  # the second call replaces the small print of the first


def test_an_edge_that_is_wide_open_does_not_flatten_the_rest_of_the_picture():
    estimate = an_estimate()
    rims = np.asarray(estimate.radius_mm)
    estimate.smooth_radius_mm = rims
    estimate.smooth_height_nm = np.asarray(estimate.height_nm)
    estimate.smooth_sigma_nm = np.where(rims < rims[-1], 20.0, 5000.0)
    ax = plotting.figure_estimate(estimate)
    low, high = ax.get_ylim()
    shown = np.asarray(estimate.height_nm)[:-1]
    assert low < shown.min() - 39.0  # 1.96 times 20 nm
    assert shown.max() + 39.0 < high
    assert high - low < 1000.0
    assert "beyond the picture" in words_on(ax)


def test_openings_are_marked_when_the_estimate_knows_them():
    estimate = an_estimate()
    assert "openings" not in words_on(plotting.figure_estimate(estimate))
    estimate.inner_radius_mm, estimate.outer_radius_mm = [20.0, 60.0], [60.0, 140.0]
    assert "openings" in words_on(plotting.figure_estimate(estimate))


def test_the_verdict_shows_fifty_chances_of_each_and_the_words():
    ax = plotting.verdict(a_verdict())
    heaps = [heap.get_offsets() for heap in ax.collections]
    assert [len(heap) for heap in heaps] == [50, 50]
    for heap, interval in zip(heaps, [(0.70, 0.80), (0.96, 0.98)], strict=True):
        assert interval[0] - 0.01 < heap[:, 0].min() < heap[:, 0].max() < interval[1] + 0.01
    assert "Verdict: better" in words_on(ax)
    assert "more than 99.9 %" in words_on(ax)
    assert "0.750 (0.700 to 0.800)" in words_on(ax)
    assert len(ax.figure.axes) == 2  # the profiles beside it


def test_no_dot_stands_beyond_a_strehl_of_one():
    perfect = a_verdict()
    perfect.strehl_after_total_draws = np.linspace(0.98, 1.0, 400)
    ax = plotting.verdict(perfect)
    dots = np.concatenate([heap.get_offsets()[:, 0] for heap in ax.collections])
    assert dots.max() < 1.0


def test_a_verdict_without_draws_and_profiles_is_bars_alone():
    bare = a_verdict()
    for name in ("strehl_before_total_draws", "strehl_after_total_draws", "before", "after"):
        delattr(bare, name)
    ax = plotting.verdict(bare)
    assert len(ax.figure.axes) == 1
    assert "one chance in 50" not in words_on(ax)
    with pytest.raises(InputError, match="before and after"):
        plotting.profiles(bare)


@pytest.mark.parametrize("scale", ["root", "linear", "log"])
def test_star_images_share_one_scale_of_brightness(scale):
    norm = plotting.star_image(a_psf(), scale=scale).images[0].norm
    assert norm.vmax == 1.0
    assert norm(1.0) == pytest.approx(1.0)
    assert norm(0.25) == pytest.approx({"root": 0.5, "linear": 0.25, "log": 0.8494850}[scale])


def test_an_unknown_scale_is_refused_by_name():
    with pytest.raises(InputError, match="scale = cube"):
        plotting.star_image(a_psf(), scale="cube")


def test_the_radius_that_holds_half_the_light_is_marked():
    ax = plotting.energy(a_psf())
    assert "50 % within" in words_on(ax)
    (at,) = [
        line.get_xdata()[0]
        for line in ax.lines
        if line.get_marker() == "o" and line.get_ydata()[0] == 0.5
    ]
    assert a_psf().encircled_energy(at) == pytest.approx(0.5, abs=1e-3)


def test_a_part_that_stops_nothing_is_not_in_the_legend():
    light = some_light()
    light.stopped["front_opening"] = np.zeros(21)
    light.stopped["drawtube_outer_end"] = np.full(21, 0.01)
    labels = plotting.shares(light).get_legend_handles_labels()[1]
    assert labels == ["diagonal too small", "drawtube", "drawtube's outer end"]


def test_every_part_that_stops_light_has_a_look_of_its_own():
    stopped = {part: np.full(21, 0.01) for part in light_pictures._LOOKS}
    ax = plotting.shares(SimpleNamespace(radius_mm=np.linspace(0, 20, 21), stopped=stopped))
    looks = {(c.get_hatch(), tuple(c.get_facecolor()[0])) for c in ax.collections}
    assert len(looks) == len(stopped) >= 12
    # The list beside the picture has the layers from top to bottom.
    words = [text.get_text() for text in ax.get_legend().get_texts()]
    plain = {"diagonal": "diagonal too small", "focuser_board": "focuser board's hole"}
    for part in ("diagonal_shadow", "drawtube_inner_end", "drawtube_outer_end"):
        plain[part] = part.replace("_", "'s ", 1).replace("_", " ")
    assert words == [plain.get(part, part.replace("_", " ")) for part in reversed(stopped)]


def test_a_sensor_has_its_outline_its_regions_and_its_darkest_corner():
    ax = plotting.sensor_light(a_sensor())
    words = " ".join(words_on(ax).split())
    for word in ("0.62 mag", "diagonal too small", "drawtube's inner end"):
        assert word in words
    outline = max(ax.lines, key=lambda line: len(line.get_xdata()))
    corners = np.stack(outline.get_data(), axis=1)
    sides = np.linalg.norm(np.diff(corners, axis=0), axis=1)
    assert sides == pytest.approx([12, 16, 12, 16])


def test_a_ring_names_its_darkest_place_and_what_limits():
    ax = plotting.field_stop_light(a_field_stop())
    assert "darkest 0.700" in words_on(ax)
    assert "mean 0.800" in words_on(ax)
    assert {"diagonal too small", "drawtube's inner end"} <= set(ax.get_legend_handles_labels()[1])


def test_series_differ_in_line_and_marker_too():
    assert len({series.line for series in _style.SERIES}) == len(_style.SERIES)
    assert len({series.marker for series in _style.SERIES}) == len(_style.SERIES)


def test_without_matplotlib_the_error_says_what_to_install(monkeypatch):
    real = builtins.__import__

    def refuse(name, *args, **kwargs):
        if name.startswith("matplotlib"):
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.raises(ImportError, match=r"pip install catoptric\[plot\]"):
        plotting.illumination(some_light())


def test_a_shadow_is_drawn_as_it_is_seen():
    ax = plotting.knife_shadow(a_shadow())
    (image,) = ax.images
    np.testing.assert_array_equal(image.get_array(), a_shadow().image)
    assert image.origin == "lower"
    assert image.get_extent() == pytest.approx([-107.5, 107.5, -107.5, 107.5])
    assert image.get_clim() == (0.0, 1.25)
    words = words_on(ax)
    assert "3 mm inside the centre of curvature" in words
    assert "knife from the left" in words
    assert "diffraction at 550 nm" in words
    (image,) = plotting.knife_shadow(a_shadow(), rays=True).images
    np.testing.assert_array_equal(image.get_array(), a_shadow().ray_image)


def test_bands_say_how_the_mirror_is_lit():
    shown = a_shadow()
    assert "moving slit, 20 um" in words_on(plotting.grating_bands(shown))
    shown.slit_width_um = None
    words = words_on(plotting.grating_bands(shown, rays=True))
    assert "through the grating itself" in words
    assert "by rays alone" in words


def test_a_strip_puts_inside_focus_on_the_left_and_says_its_scale():
    ax = plotting.through_focus(a_strip())
    places = [image.get_extent()[0] for image in ax.images]
    assert places == sorted(places)
    inside, _, outside = (np.asarray(image.get_array()) for image in ax.images)
    # One scale: white is the middle one of 0.02 and 0.01, the grey its square root.
    assert inside.max() == 1.0
    assert outside.max() == pytest.approx(np.sqrt(0.01 / 0.015), rel=1e-6)
    words = words_on(ax)
    assert "2 waves inside focus" in words
    assert "0.015 and more" in words
    own = plotting.through_focus(a_strip(), own_scale=True)
    assert all(np.asarray(image.get_array()).max() == pytest.approx(1.0) for image in own.images)
    assert "OWN WHITE" in words_on(own)
    with pytest.raises(InputError):
        plotting.through_focus(a_strip(), scale="cube")


def test_two_strips_can_share_one_white():
    ax = plotting.through_focus(a_strip(), white=0.04)
    inside, _, outside = (np.asarray(image.get_array()) for image in ax.images)
    # The brightest points are 0.02 and 0.01; the grey is the square root of their share of white.
    assert inside.max() == pytest.approx(np.sqrt(0.02 / 0.04), rel=1e-6)
    assert outside.max() == pytest.approx(np.sqrt(0.01 / 0.04), rel=1e-6)
    assert "0.04 and more" in words_on(ax)
    for options in ({"white": 0.0}, {"white": np.nan}, {"white": 0.04, "own_scale": True}):
        with pytest.raises(InputError, match="white"):
            plotting.through_focus(a_strip(), **options)


def test_profiles_mirror_each_other_about_the_middle():
    ax = plotting.through_focus_profiles(a_strip())
    left, right = ax.lines[:2]
    assert left.get_xdata()[-1] == -30.0
    assert right.get_xdata()[-1] == 30.0
    assert left.get_ydata().max() == pytest.approx(1.0)
    assert right.get_ydata().max() == pytest.approx(0.5)


def test_a_gallery_has_a_strip_and_words_for_each_fault():
    train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1600))
    faults = ct.typical_faults(train)[:2]
    figure = plotting.through_focus_gallery(faults, defocus_waves=[-2, 2], pixels=17)
    texts = " ".join(text.get_text() for ax in figure.axes for text in ax.texts)
    assert all(fault.name in texts for fault in faults)
    assert len(figure.axes) == 6
    figure.canvas.draw()


def test_a_star_in_the_air_stands_where_its_peak_is():
    ax = plotting.seen_star(a_seen_star())
    (circle,) = ax.lines
    x, y = circle.get_data()
    # A whole turn closes on its first point, so the middle is that of the extremes.
    np.testing.assert_allclose(
        [(x.max() + x.min()) / 2, (y.max() + y.min()) / 2], [0.5, 1.0], atol=1e-3
    )
    np.testing.assert_allclose(np.ptp(y), 2.0, atol=1e-3)
    shown = ax.images[0]
    row, column = np.unravel_index(np.argmax(shown.get_array()), shown.get_array().shape)
    left, right, low, high = shown.get_extent()
    place = (left + (column + 0.5) * (right - left) / 81, low + (row + 0.5) * (high - low) / 81)
    np.testing.assert_allclose(place, (0.5, 1.0), atol=1e-9)


def test_nights_stand_in_order_and_filled_where_they_show():
    ax = plotting.nights(some_nights())
    curve = ax.lines[0]
    np.testing.assert_allclose(curve.get_xdata(), [1.0, 2.0, 3.0])
    np.testing.assert_allclose(curve.get_ydata(), [8.0, 3.0, 1.0])
    filled = [
        line
        for line in ax.lines
        if line.get_markerfacecolor() != "white" and line.get_marker() == "o"
    ]
    assert [list(line.get_xdata()) for line in filled if len(line.get_xdata())] == [[1.0]]
    assert "1 of 3 nights" in ax.get_title(loc="left")
