"""Bad input is refused with the field, the value, what is allowed and the likely cause."""

import resource
import subprocess
import sys

import catoptric as ct
import numpy as np
import pytest
from samples import BENCH, HILL, bare, newtonian, primary, readings

NAN, INF = float("nan"), float("inf")


def refusal(make, *arguments, **keywords):
    with pytest.raises(ct.InputError) as caught:
        make(*arguments, **keywords)
    return caught.value


def flat(**changes):
    return newtonian(diagonal=ct.Diagonal(**({"minor_axis_mm": 70} | changes)))


def tube(**changes):
    sizes = {"bore_mm": 47, "length_mm": 50, "outer_end_to_focus_mm": 18}
    return newtonian(drawtube=ct.Drawtube(**(sizes | changes)))


def vanes(**changes):
    return newtonian(spider=ct.Spider(**({"vanes": 4, "thickness_mm": 1.0} | changes)))


def holder(**changes):
    return newtonian(holder=ct.Holder(**({"diameter_mm": 76} | changes)))


def clips(**changes):
    sizes = {"clips": 3, "width_mm": 20, "reach_mm": 6}
    return newtonian(mirror_clips=ct.MirrorClips(**(sizes | changes)))


def board(**changes):
    sizes = {"hole_mm": 60, "axis_to_board_mm": 180}
    return newtonian(focuser_board=ct.FocuserBoard(**(sizes | changes)))


def filter_ring(**changes):
    sizes = {"diameter_mm": 44, "before_focus_mm": 50}
    return newtonian(filter_ring=ct.FilterRing(**(sizes | changes)))


def mask(**changes):
    sizes = {"along_mm": 24, "across_mm": 17, "before_focus_mm": 12}
    return newtonian(sensor_mask=ct.SensorMask(**(sizes | changes)))


def crooked(**changes):
    return flat(misplaced=ct.Misplacement(**changes))


def opening(**changes):
    sizes = {"diameter_mm": 360, "above_vertex_mm": 1650}
    return ct.Train(primary=primary(), front_opening=ct.Opening(**(sizes | changes)))


def edge(**changes):
    return primary(figure=[ct.TurnedEdge(**({"width_mm": 9, "drop_nm": 330} | changes))])


def rolled(**changes):
    return primary(figure=[ct.EdgeRollOff(**({"reach_mm": 3, "drop_nm": 330} | changes))])


def stepped(**changes):
    return primary(figure=[ct.EdgeStep(**({"width_mm": 4, "drop_nm": 60} | changes))])


def central(**changes):
    return primary(figure=[ct.CentralHill(**({"radius_mm": 30, "height_nm": 60} | changes))])


def zone(**changes):
    sizes = {"radius_mm": 95, "half_width_mm": 13, "height_nm": 28}
    return primary(figure=[ct.Zone(**(sizes | changes))])


def profile(radius_mm, height_nm):
    return primary(figure=[HILL, ct.RadialProfile(radius_mm=radius_mm, height_nm=height_nm)])


def ring(**changes):
    sizes = {"inner_radius_mm": 112, "outer_radius_mm": 139, "reflectance": 0.74}
    return primary(coating=ct.Coating(rings=[ct.CoatingRing(**(sizes | changes))]))


def patch(**changes):
    sizes = {"x_mm": -46, "y_mm": 71, "radius_mm": 36, "reflectance": 0.42}
    return primary(coating=ct.Coating(patches=[ct.CoatingPatch(**(sizes | changes))]))


# What is wrong, the field, the value, and a word of what is allowed and of the cause. A cause is
# left out where nothing is more likely than anything else.
WRONG_SIZES = [
    (primary, {"clear_aperture_mm": -318}, "primary.clear_aperture_mm", "-318", "above 0", "sign"),
    (primary, {"clear_aperture_mm": 0}, "primary.clear_aperture_mm", "0", "above 0", "empty cell"),
    (primary, {"focal_length_mm": -1558}, "primary.focal_length_mm", "-1558", "above 0", "sign"),
    (primary, {"focal_length_mm": 61.3}, "primary.focal_length_mm", "61.3", "f/1", "inches"),
    (primary, {"conic": 1e4}, "primary.conic", "10000", "1000", ""),
    (primary, {"conic": 500}, "primary.conic", "500", "reaches the rim", "sign"),
    (primary, {"mask_diameter_mm": 330}, "primary.mask_diameter_mm", "330", "aperture", "outer"),
    (primary, {"mask_diameter_mm": -1}, "primary.mask_diameter_mm", "-1", "0.001", "units"),
    (edge, {"width_mm": 0}, "figure.width_mm", "0", "above 0", "units"),
    (edge, {"width_mm": 200}, "primary.figure[0].width_mm", "200", "half", "diameter"),
    (edge, {"drop_nm": 3e5}, "figure.drop_nm", "300000", "nanometres", "millimetres"),
    (edge, {"power": 0.5}, "figure.power", "0.5", "1 to 50", ""),
    (rolled, {"reach_mm": 0}, "figure.reach_mm", "0", "eighth", "units"),
    (rolled, {"reach_mm": 40}, "primary.figure[0].reach_mm", "40", "eighth", "diameter"),
    (rolled, {"drop_nm": -3e5}, "figure.drop_nm", "-300000", "nanometres", "millimetres"),
    (stepped, {"width_mm": -2}, "figure.width_mm", "-2", "above 0", "units"),
    (stepped, {"width_mm": 160}, "primary.figure[0].width_mm", "160", "half", "diameter"),
    (stepped, {"drop_nm": 3e5}, "figure.drop_nm", "300000", "nanometres", "inches"),
    (central, {"radius_mm": 0}, "figure.radius_mm", "0", "above 0", "units"),
    (central, {"radius_mm": 160}, "primary.figure[0].radius_mm", "160", "half", "diameter"),
    (central, {"height_nm": 2e5}, "figure.height_nm", "200000", "nanometres", "inches"),
    (central, {"power": 60}, "figure.power", "60", "1 to 50", ""),
    (zone, {"radius_mm": 190}, "primary.figure[0].radius_mm", "190", "half", "diameter"),
    (zone, {"radius_mm": -5}, "figure.radius_mm", "-5", "from 0", ""),
    (zone, {"half_width_mm": 0}, "figure.half_width_mm", "0", "above 0", "sign"),
    (zone, {"height_nm": -2e5}, "figure.height_nm", "-200000", "nanometres", "inches"),
    (ring, {"inner_radius_mm": -1}, "coating.rings[0].inner_radius_mm", "-1", "from 0", ""),
    (ring, {"outer_radius_mm": 278}, "primary.coating.rings[0].outer_radius_mm", "278", "half", ""),
    (ring, {"outer_radius_mm": 80}, "coating.rings[0].outer_radius_mm", "80", "", "exch"),
    (ring, {"reflectance": 74}, "coating.rings[0].reflectance", "74", "share", "per cent"),
    (patch, {"x_mm": 170}, "primary.coating.patches[0].x_mm", "170", "on the mirror", "rim"),
    (patch, {"radius_mm": -1}, "coating.patches[0].radius_mm", "-1", "above 0", "diameter"),
    (patch, {"softness_mm": 90}, "coating.patches[0].softness_mm", "90", "radius", ""),
    (patch, {"reflectance": 42}, "coating.patches[0].reflectance", "42", "share", "per cent"),
    (flat, {"minor_axis_mm": 318}, "diagonal.minor_axis_mm", "318", "clear aperture", "inches"),
    (flat, {"minor_axis_mm": 0}, "diagonal.minor_axis_mm", "0", "above 0", ""),
    (flat, {"offset_mm": 40}, "diagonal.offset_mm", "40", "half the minor axis", "primary"),
    (flat, {"reflectance": 0}, "diagonal.reflectance", "0", "above 0", ""),
    (flat, {"reflectance": 92}, "diagonal.reflectance", "92", "share", "per cent"),
    (opening, {"diameter_mm": -360}, "front_opening.diameter_mm", "-360", "above 0", "sign"),
    (opening, {"above_vertex_mm": 0}, "front_opening.above_vertex_mm", "0", "above 0", "empty"),
    (tube, {"bore_mm": 0}, "drawtube.bore_mm", "0", "above 0", "empty"),
    (tube, {"length_mm": -50}, "drawtube.length_mm", "-50", "above 0", "sign"),
    (tube, {"outer_end_to_focus_mm": 240}, "drawtube.outer_end_to_focus_mm", "240", "", "sign"),
    (vanes, {"vanes": 0}, "spider.vanes", "0", "1 to 12", ""),
    (vanes, {"thickness_mm": 0}, "spider.thickness_mm", "0", "tenth", "depth"),
    (vanes, {"thickness_mm": 40}, "spider.thickness_mm", "40", "tenth", "depth"),
    (vanes, {"angle_deg": 2700}, "spider.angle_deg", "2700", "360", "arcmin"),
    (vanes, {"bend_radius_mm": 100}, "spider.bend_radius_mm", "100", "0.55", "height"),
    (vanes, {"above_vertex_mm": -3}, "spider.above_vertex_mm", "-3", "above 0", "sign"),
    (holder, {"diameter_mm": 400}, "holder.diameter_mm", "400", "below", "tube"),
    (clips, {"clips": 40}, "mirror_clips.clips", "40", "1 to 24", ""),
    (clips, {"reach_mm": 150}, "mirror_clips.reach_mm", "150", "tenth", "centre"),
    (clips, {"width_mm": -20}, "mirror_clips.width_mm", "-20", "0.001", ""),
    (flat, {"thickness_mm": -9}, "diagonal.thickness_mm", "-9", "minor axis", "sign"),
    (flat, {"thickness_mm": 9}, "diagonal.edge", "nothing", "square_to_face", "shadow"),
    (flat, {"edge": "round"}, "edge", "round", "along_tube", ""),
    (flat, {"bevel_mm": 30}, "diagonal.bevel_mm", "30", "quarter", "one side"),
    (crooked, {"toward_primary_mm": 36}, "diagonal.misplaced.toward_primary_mm", "36", "half", ""),
    (
        crooked,
        {"toward_focuser_mm": -36},
        "diagonal.misplaced.toward_focuser_mm",
        "-36",
        "half",
        "",
    ),
    (crooked, {"across_mm": 99}, "diagonal.misplaced.across_mm", "99", "half", "offset"),
    (crooked, {"nod_arcmin": 400}, "misplaced.nod_arcmin", "400", "300", "arcsec"),
    (crooked, {"roll_arcmin": -400}, "misplaced.roll_arcmin", "-400", "300", "arcsec"),
    (crooked, {"turn_arcmin": 400}, "misplaced.turn_arcmin", "400", "300", "arcsec"),
    (board, {"hole_mm": 0}, "focuser_board.hole_mm", "0", "above 0", "empty"),
    (board, {"axis_to_board_mm": 90}, "focuser_board.axis_to_board_mm", "90", "half", "wall"),
    (filter_ring, {"diameter_mm": -44}, "filter_ring.diameter_mm", "-44", "above 0", "sign"),
    (filter_ring, {"before_focus_mm": 300}, "filter_ring.before_focus_mm", "300", "", "sign"),
    (mask, {"along_mm": 0}, "sensor_mask.along_mm", "0", "above 0", "empty"),
    (mask, {"across_mm": -1}, "sensor_mask.across_mm", "-1", "above 0", "sign"),
    (mask, {"before_focus_mm": -2}, "sensor_mask.before_focus_mm", "-2", "from 0", "sign"),
    (mask, {"rotation_deg": 5400}, "sensor_mask.rotation_deg", "5400", "360", "arcmin"),
]


def test_a_height_is_needed_where_no_diagonal_gives_one():
    for part in (
        {"spider": ct.Spider(vanes=3, thickness_mm=1)},
        {"holder": ct.Holder(diameter_mm=60)},
    ):
        error = refusal(ct.Train, primary=primary(), **part)
        (name,) = part
        assert (error.field, error.value) == (f"{name}.above_vertex_mm", "nothing")
    bent = ct.Spider(vanes=3, thickness_mm=1, above_vertex_mm=1300, bend_radius_mm=250)
    error = refusal(ct.Train, primary=primary(), spider=bent)
    assert error.field == "spider.bend_radius_mm"


@pytest.mark.parametrize("distance_mm", [0, -5, 3000, float("nan")])
def test_an_artificial_star_inside_the_centre_of_curvature(distance_mm):
    train = newtonian()
    for ask in (train.wavefront, train.psf, train.best_focus):
        error = refusal(ask, star_distance_mm=distance_mm)
        assert error.field == "star_distance_mm"
    assert refusal(train.artificial_star, distance_mm).allowed
    for wrong in (0, -1, 1e9):
        assert refusal(train.smallest_star_distance, largest_pv_nm=wrong).field == "largest_pv_nm"


def test_a_holder_that_hides_the_whole_mask_leaves_no_light():
    train = newtonian().with_primary(mask_diameter_mm=80).with_holder(ct.Holder(diameter_mm=100))
    scene = ct.BandedDisc(diameter_arcsec=40)
    sensor = ct.Sensor(pixel_um=3, columns=100, rows=100)
    for ask in (
        train.wavefront,
        train.psf,
        train.mtf,
        train.strehl,
        train.through_focus,
        lambda: train.view(scene, sensor=sensor),
        lambda: ct.typical_faults(train),
        lambda: ct.nights_that_show(before=train, after=train, fwhm_arcsec=[2.0]),
    ):
        error = refusal(ask)
        assert (error.field, error.allowed) == ("field_arcmin", "a field point that light reaches")
        assert "stops most of it" in error.cause


@pytest.mark.parametrize(("make", "given", "field", "value", "allowed", "cause"), WRONG_SIZES)
def test_a_size_that_cannot_be(make, given, field, value, allowed, cause):
    error = refusal(make, **given)
    assert (error.field, error.value) == (field, value)
    assert allowed in error.allowed
    assert error.allowed
    assert cause in error.cause
    assert len(error.problems) == 1


@pytest.mark.parametrize(
    ("radius_mm", "height_nm", "field", "cause"),
    [
        ([0, 80, 80], [0, 1, 2], "figure.radius_mm[2]", "sorted"),
        ([0, 80, 50], [0, 1, 2], "figure.radius_mm[2]", "sorted"),
        ([0, 80, 300], [0, 1, 2], "primary.figure[1].radius_mm[2]", "diameter"),
        ([0, 80], [0, 1, 2], "figure.radius_mm", "cut short"),
        ([80], [0], "figure.radius_mm", "cut short"),
        ([0, 80], [0, 1e6], "figure.height_nm[1]", "nanometres"),
    ],
)
def test_a_profile_that_cannot_be(radius_mm, height_nm, field, cause):
    error = refusal(profile, radius_mm, height_nm)
    assert error.field == field
    assert cause in error.cause


def test_the_focal_plane_is_outside_of_the_light_that_falls_on_the_mirror():
    for length in (159, 100, 1558):
        plane = ct.FocalPlane(axis_to_focus_mm=length)
        error = refusal(newtonian, focal_plane=plane)
        assert (error.field, error.value) == ("focal_plane.axis_to_focus_mm", str(length))
        assert "more than half the clear aperture" in error.allowed
        assert "wall" in error.cause


def test_a_diagonal_and_a_focal_plane_go_together():
    error = refusal(newtonian, focal_plane=None)
    assert (error.field, error.value) == ("focal_plane", "nothing")
    assert "axis_to_focus_mm" in error.allowed
    error = refusal(newtonian, diagonal=None)
    assert (error.field, error.value) == ("diagonal", "nothing")
    assert "minor_axis_mm" in error.allowed


def test_a_primary_has_one_length_and_not_two():
    error = refusal(primary, radius_of_curvature_mm=3116)
    assert error.field == "primary.radius_of_curvature_mm"
    assert "twice the focal length" in error.cause
    error = refusal(ct.Primary, clear_aperture_mm=318)
    assert (error.field, error.value) == ("primary.focal_length_mm", "nothing")


def test_all_faults_are_found_at_once():
    error = refusal(
        ct.Train.from_toml,
        """
        primary = { clear_aperture_mm = 318, focal_length_mm = 1558 }
        diagonal = { minor_axis_mm = -1, reflectance = 92 }
        focal_plane = { axis_to_focus_mm = 10 }
        front_opening = { diameter_mm = 0, above_vertex_mm = -2 }
        drawtube = { bore_mm = -1, length_mm = 50, outer_end_to_focus_mm = 18 }
        """,
    )
    assert [problem.field for problem in error.problems] == [
        "diagonal.minor_axis_mm",
        "diagonal.reflectance",
        "focal_plane.axis_to_focus_mm",
        "front_opening.diameter_mm",
        "front_opening.above_vertex_mm",
        "drawtube.bore_mm",
    ]
    assert all(problem.severity == "fault" for problem in error.problems)
    assert str(error).count("\n") == 5


def test_all_faults_of_a_primary_are_found_at_once():
    worn = ct.CoatingRing(inner_radius_mm=200, outer_radius_mm=220, reflectance=0.5)
    far = ct.Zone(radius_mm=190, half_width_mm=13, height_nm=28)
    coating = ct.Coating(rings=[worn])
    error = refusal(primary, mask_diameter_mm=400, coating=coating, figure=[HILL, far])
    assert [problem.field for problem in error.problems] == [
        "primary.mask_diameter_mm",
        "primary.coating.rings[0].inner_radius_mm",
        "primary.coating.rings[0].outer_radius_mm",
        "primary.figure[1].radius_mm",
    ]


# Numbers that are none.


@pytest.mark.parametrize(
    ("value", "cause"),
    [
        (NAN, "not a finite number"),
        (INF, "not a finite number"),
        (-INF, "not a finite number"),
        (np.float32("nan"), "not a finite number"),
        (10**400, "too large"),
        ("318", "text"),
        (b"318", "bytes"),
        (318 + 0j, "complex"),
        (np.complex128(318), "complex"),
        (True, "true or false"),
        (np.True_, "true or false"),
        ([318], "list"),
        (np.array([318.0]), "list"),
        (object(), "object"),
    ],
    ids=repr,
)
@pytest.mark.parametrize(
    ("make", "name"),
    [
        (primary, "clear_aperture_mm"),
        (primary, "conic"),
        (edge, "drop_nm"),
        (flat, "offset_mm"),
        (lambda **a: bare().spot(**a), "focus_shift_mm"),
        (lambda **a: bare().wavefront(**a), "wavelength_nm"),
        (lambda **a: bare().psf(**a), "half_width_um"),
        (lambda **a: ct.Airy(focal_ratio=5, **a), "obstruction_ratio"),
    ],
)
def test_a_number_must_be_one_finite_number(make, name, value, cause):
    error = refusal(make, **{name: value})
    assert error.field.endswith(name)
    assert error.allowed
    assert cause in error.cause


@pytest.mark.parametrize(
    ("value", "field", "cause"),
    [
        ([0.0, NAN], "radius_mm[1]", "empty cell"),
        ([0.0, INF], "radius_mm[1]", "empty cell"),
        ([0.0, None], "radius_mm", "left out"),
        (["0", "5"], "radius_mm", "text"),
        ([0j, 5 + 0j], "radius_mm", "complex"),
        ([True, False], "radius_mm", "true or false"),
        ([[0.0, 5.0]], "radius_mm", ""),
        ([[0.0], [5.0, 6.0]], "radius_mm", "unequal"),
        (np.ma.array([0.0, 5.0], mask=[0, 1]), "radius_mm", "missing"),
        (5.0, "radius_mm", "single number"),
        ({0.0, 5.0}, "radius_mm", ""),
    ],
    ids=repr,
)
def test_a_list_must_be_of_finite_numbers(value, field, cause):
    error = refusal(newtonian().illumination, radius_mm=value)
    assert error.field == field
    assert "finite number" in error.allowed
    assert cause in error.cause


def test_names_that_do_not_exist_are_answered_with_those_that_do():
    train = newtonian()
    for make, name, offered in [
        (lambda: train.spot(focus="sharpest"), "focus", "least_rms"),
        (lambda: train.best_focus(by="eye"), "by", "least_spot"),
        (lambda: train.wavefront().zernikes(indexing="malacara"), "indexing", "noll"),
        (lambda: ct.RadialProfile(radius_mm=[0, 1], height_nm=[0, 1], joined="line"), "joined", ""),
        (lambda: train.psf(pixels=11).plot(scale="cube"), "scale", "root"),
        (lambda: measured(source="both"), "source", "moving"),
        (lambda: measured(readings_increase="up"), "readings_increase", "away_from_mirror"),
    ]:
        error = refusal(make)
        assert error.field == name
        assert offered in error.allowed


@pytest.mark.parametrize(
    "make",
    [
        lambda: ct.Train(primary=318),
        lambda: newtonian(diagonal=70),
        lambda: newtonian(diagonal=ct.FocalPlane(axis_to_focus_mm=235)),
        lambda: primary(coating=0.88),
        lambda: ct.Coating(rings=[0.74]),
        lambda: primary(figure=HILL),
        lambda: primary(figure="hill"),
        lambda: newtonian().with_diagonal(70),
        lambda: newtonian().spot(focus=1),
        lambda: newtonian().spot(points=1.5),
        lambda: newtonian().psf(pixels="129"),
        lambda: ct.Train.from_json(b"{}"),
        lambda: ct.Train.load(7),
        lambda: ct.Wavefront.from_zernikes([0, 0, 1], indexing="noll"),
        lambda: readings("before").reduce(seed=1.5),
    ],
)
def test_things_of_the_wrong_kind_are_a_type_error(make):
    with pytest.raises((TypeError, ct.InputError)):
        make()


def test_a_layer_of_the_wrong_kind_is_named():
    error = refusal(primary, figure=[HILL, 28])
    assert (error.field, error.value) == ("figure[1]", "int")
    assert "Zone" in error.allowed


@pytest.mark.parametrize("misspelt", ["aperture_mm", "focal_length", "focal_lenght_mm"])
def test_an_unknown_keyword_is_named(misspelt):
    with pytest.raises(TypeError, match=misspelt):
        primary(**{misspelt: 1.0})


# Questions that cannot be asked.


@pytest.mark.parametrize(
    ("make", "field", "cause"),
    [
        (lambda t: t.spot(field_arcmin=(6000, 0)), "field_arcmin[0]", "arcseconds"),
        (lambda t: t.spot(field_arcmin=(1, 2, 3)), "field_arcmin", ""),
        (lambda t: t.spot(field_arcmin=5), "field_arcmin", "single number"),
        (lambda t: t.wavefront(field_arcmin=(600, 0)), "field_arcmin", "stops"),
        (lambda t: t.spot(focus_shift_mm=1e4), "focus_shift_mm", "micrometres"),
        (lambda t: t.spot(focus="peak", focus_shift_mm=0.1), "focus", ""),
        (lambda t: t.wavefront(wavelength_nm=0.55), "wavelength_nm", "micrometres"),
        (lambda t: t.wavefront(wavelength_nm=-550), "wavelength_nm", ""),
        (lambda t: t.psf(pixels=0), "pixels", ""),
        (lambda t: t.psf(pixels=100_000), "pixels", ""),
        (lambda t: t.psf(half_width_um=-1), "half_width_um", ""),
        (lambda t: t.psf(half_width_um=1e6), "half_width_um", "nanometres"),
        (lambda t: t.illumination(), "radius_mm", ""),
        (lambda t: t.illumination(along_mm=[1]), "radius_mm", ""),
        (lambda t: t.illumination(radius_mm=[-1]), "radius_mm[0]", "sign"),
        (lambda t: t.illumination(along_mm=[1], across_mm=[1, 2]), "across_mm", ""),
        (lambda t: t.light(field_arcmin=(900, 0)), "field_arcmin[0]", "arcseconds"),
        (lambda t: t.light(star_distance_mm=40), "star_distance_mm", "metres"),
        (lambda t: t.light_map(along_mm=0, across_mm=13), "along_mm", ""),
        (lambda t: t.light_map(along_mm=17, across_mm=float("nan")), "across_mm", ""),
        (lambda t: t.light_map(along_mm=17, across_mm=1e5), "across_mm", "micrometres"),
        (lambda t: t.light_map(along_mm=17, across_mm=13, points=1), "points", "MB"),
        (lambda t: t.light_map(along_mm=17, across_mm=13, points=10**7), "points", "MB"),
        (lambda t: t.light_map(along_mm=17, across_mm=13, rotation_deg=5e3), "rotation_deg", ""),
        (lambda t: t.field_stop_light(diameter_mm=-30), "diameter_mm", "sign"),
        (lambda t: t.field_stop_light(diameter_mm=30, azimuths=4), "azimuths", ""),
        (lambda t: t.wavefront().zernikes(indexing="noll", terms=0), "terms", ""),
        (lambda t: t.wavefront().encircled_energy([-1]), "radius_um[0]", ""),
        (lambda t: t.airy(wavelength_nm=0), "wavelength_nm", ""),
        (lambda t: t.mtf(frequency_per_mm=[-1]), "frequency_per_mm[0]", ""),
        (lambda t: t.mtf(frequency_per_mm=[]), "frequency_per_mm", ""),
        (lambda t: t.mtf(wavelength_nm=5500), "wavelength_nm", "angstroms"),
        (lambda t: t.wavefront().otf(azimuth_deg=1e3), "azimuth_deg", "radians"),
        (lambda t: t.mtf(frequency_per_mm=[0]).at_detail(0), "detail_arcsec", ""),
        (lambda t: t.mtf(frequency_per_mm=[0]).at_detail(-1), "detail_arcsec", ""),
        (
            lambda t: t.mtf(frequency_per_mm=[0]).equivalent_aperture_mm(0.1),
            "detail_arcsec",
            "finer",
        ),
        (
            lambda t: (
                ct.Wavefront.from_zernikes({}, indexing="noll", focal_ratio=5)
                .mtf(frequency_per_mm=[10])
                .in_seeing(ct.Seeing(fwhm_arcsec=1))
            ),
            "wavefront",
            "",
        ),
        (lambda t: ct.perfect_mtf(-0.1), "frequency_ratio", ""),
        (lambda t: ct.perfect_mtf(0.1, obstruction_ratio=1), "obstruction_ratio", ""),
    ],
)
def test_a_question_that_cannot_be_asked(make, field, cause):
    error = refusal(make, newtonian())
    assert error.field == field
    assert cause in error.cause


@pytest.mark.parametrize(
    ("keywords", "field"),
    [
        ({"coefficients": {0: 1.0}}, "coefficients[0]"),
        ({"coefficients": {4: NAN}}, "coefficient_nm"),
        ({"coefficients": {10**6: 1.0}}, "coefficients[1000000]"),
        ({"obstruction_ratio": 1.0}, "obstruction_ratio"),
        ({"obstruction_ratio": 30}, "obstruction_ratio"),
        ({"focal_ratio": 0.0}, "focal_ratio"),
    ],
)
def test_terms_that_cannot_be(keywords, field):
    given = {"coefficients": {4: 10.0}, "indexing": "noll"} | keywords
    assert refusal(ct.Wavefront.from_zernikes, **given).field == field


def test_terms_without_a_focal_ratio_have_no_image():
    wave = ct.Wavefront.from_zernikes({4: 10.0}, indexing="noll")
    assert refusal(wave.psf).field == "focal_ratio"


# Files.

GOOD = '{"primary": {"clear_aperture_mm": 318, "focal_length_mm": 1558}}'


@pytest.mark.parametrize(
    ("text", "field", "word"),
    [
        (GOOD.replace("clear_", ""), "primary.aperture_mm", "clear_aperture_mm"),
        (GOOD.replace("primary", "mirror"), "mirror", "primary"),
        (GOOD.replace("318", '"318"'), "primary.clear_aperture_mm", "string"),
        (GOOD.replace("318", "null"), "primary.clear_aperture_mm", "null"),
        (GOOD.replace("318", "[]"), "primary.clear_aperture_mm", "sequence"),
        (GOOD[:-1], "?", "EOF"),
        ("", "?", "EOF"),
        ("{}", "?", "primary"),
        (GOOD.replace("}}", ', "figure": [{"kind": "dent"}]}}'), "primary.figure[0]", "dent"),
    ],
)
def test_json_that_is_no_train(text, field, word):
    error = refusal(ct.Train.from_json, text)
    assert error.field.startswith(field) or field == "?"
    assert word in str(error)


def test_toml_that_is_no_train():
    error = refusal(ct.Train.from_toml, "[primary]\nclear_aperture_mm = 318\nfocal = 1558\n")
    assert error.field == "primary.focal"
    assert "focal_length_mm" in str(error)
    assert "line 1" in str(refusal(ct.Train.from_toml, "[primary\n"))


def test_files_pass_the_checks_of_construction():
    both = GOOD.replace("318", "-318").replace("}}", '}, "diagonal": {"minor_axis_mm": 0}}')
    fields = [problem.field for problem in refusal(ct.Train.from_json, both).problems]
    assert fields == ["primary.clear_aperture_mm", "focal_plane", "diagonal.minor_axis_mm"]
    error = refusal(
        ct.Train.from_toml, "primary = { clear_aperture_mm = nan, focal_length_mm = 1 }"
    )
    assert (error.field, error.cause) == ("primary.clear_aperture_mm", "not a finite number")


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(OSError, match=r"nowhere\.json"):
        ct.Train.load(tmp_path / "nowhere.json")
    with pytest.raises(OSError, match=r"nowhere\.csv"):
        ct.KnifeEdgeReadings.from_csv(tmp_path / "nowhere.csv", **BENCH)


def test_a_file_of_another_kind(tmp_path):
    assert refusal(newtonian().save, tmp_path / "train.odt").field == "path"


# Readings. A paraboloid reads r^2/(2R) with a moving source, exactly (references in test_readings).

RADII = [40.0, 60.0, 80.0, 95.0]
IDEAL = [r * r / (2 * 2400.0) for r in RADII]


def measured(**changes):
    given = {
        "clear_aperture_mm": 200,
        "radius_of_curvature_mm": 2400,
        "source": "moving",
        "readings_increase": "away_from_mirror",
        "runs_mm": [IDEAL],
        "radius_mm": RADII,
    } | changes
    return ct.KnifeEdgeReadings(**given)


def through(inner, outer):
    runs = [(a * a + b * b) / (4 * 2400.0) for a, b in zip(inner, outer, strict=True)]
    return {
        "radius_mm": None,
        "inner_radius_mm": inner,
        "outer_radius_mm": outer,
        "runs_mm": [runs],
    }


@pytest.mark.parametrize(
    ("changes", "field", "cause"),
    [
        ({"clear_aperture_mm": 0}, "clear_aperture_mm", "empty cell"),
        ({"radius_of_curvature_mm": -2400}, "radius_of_curvature_mm", "sign"),
        # f for R, where the mirror is so fast that it shows by itself.
        ({"radius_of_curvature_mm": 390}, "radius_of_curvature_mm", "focal length"),
        (through([10, 50, 70], [55, 70, 90]), "openings[1].inner_radius_mm", "overlap"),
        (through([70, 50, 10], [90, 70, 50]), "openings[1].inner_radius_mm", "rim inward"),
        (through([10, 50, 70], [50, 70, 130]), "openings[2].outer_radius_mm", "diameters"),
        (through([10, 70, 70], [50, 60, 90]), "openings[1].outer_radius_mm", "exchanged"),
        (through([10, 50], [50, 70]), "openings", ""),
        ({"radius_mm": RADII[::-1], "runs_mm": [IDEAL[::-1]]}, "openings[1].inner_radius_mm", ""),
        ({"runs_mm": [IDEAL[:3]]}, "runs_mm[0]", "exchanged"),
        ({"runs_mm": np.transpose([IDEAL])}, "runs_mm[0]", "exchanged"),
        ({"runs_mm": np.empty((0, 4))}, "runs_mm", ""),
        ({"runs_mm": [[*IDEAL[:3], NAN]]}, "openings[3]", "leave it out"),
        ({"runs_mm": [[*IDEAL[:3], "about 1.9"]]}, "runs_mm", "text"),
        ({"runs_mm": [[v * 25.4 for v in IDEAL]]}, "runs_mm", "inches"),
        ({"runs_mm": [[-v for v in IDEAL]]}, "readings_increase", "other way"),
        ({"radius_mm": None}, "radius_mm", ""),
        ({"inner_radius_mm": RADII, "outer_radius_mm": RADII}, "radius_mm", ""),
    ],
)
def test_readings_that_cannot_be(changes, field, cause):
    error = refusal(measured, **changes)
    assert error.field == field
    assert cause in error.cause
    assert error.allowed


def test_all_faults_of_readings_are_found_at_once():
    error = refusal(
        measured, clear_aperture_mm=0, radius_of_curvature_mm=-1, runs_mm=[IDEAL[:2]] * 2
    )
    fields = [problem.field for problem in error.problems]
    assert {"clear_aperture_mm", "radius_of_curvature_mm", "runs_mm[1]"} <= set(fields)


def test_a_focal_length_given_for_the_radius_is_suspected():
    # R is half of what it should be: the paraboloid's readings, r^2/(2R), twice of those taken.
    odd, alone = measured(radius_of_curvature_mm=1200).problems()
    assert (odd.severity, odd.field) == ("warning", "runs_mm")
    assert "focal length given for radius of curvature" in odd.cause
    assert "fixed" in odd.cause  # the two cannot be told apart
    # A single run has nothing to know its noise from.
    assert (alone.value, "assumed" in alone.cause) == ("one run", True)


def test_inches_read_as_millimetres_may_be_a_sphere():
    odd = measured(runs_mm=[[v / 25.4 for v in IDEAL]]).problems()[0]
    assert odd.severity == "warning"
    assert "a sphere or nearly one, or inches read as millimetres" in odd.cause


def test_a_fixed_source_taken_for_a_moving_one_is_suspected():
    twice = [[2 * v for v in IDEAL]] * 2
    (odd,) = measured(runs_mm=twice).problems()
    assert "fixed source taken as moving" in odd.cause
    assert measured(runs_mm=twice, source="fixed").problems() == []


CSV = "radius_mm,run_1_mm\n40,0.3333\n60,0.7500\n80,1.3333\n95,1.8802\n"


@pytest.mark.parametrize(
    ("text", "place", "word"),
    [
        (CSV.replace("1.3333", "about 1.3"), "line 4", "about 1.3"),
        (CSV.replace("1.3333", ""), "openings[2]", "no reading"),
        (CSV.replace("radius_mm", "radius"), "first line", "radius_mm"),
        (CSV.replace("radius_mm", "outer_radius_mm"), "first line", "inner_radius_mm"),
        (CSV.replace("run_1_mm", "run_1"), "first line", "run_1_mm"),
        (CSV.replace(",run_1_mm", ""), "first line", "run_..._mm"),
        ("radius_mm\n40\n60\n", "first line", "run_..._mm"),
        (CSV.replace("60,0.7500", "60,0.7500,9"), "line 3", ""),
        ("", "first line", ""),
    ],
)
def test_a_table_of_readings_that_cannot_be_read(tmp_path, text, place, word):
    path = tmp_path / "readings.csv"
    path.write_text(text)
    bench = BENCH | {"clear_aperture_mm": 200, "radius_of_curvature_mm": 2400}
    error = refusal(ct.KnifeEdgeReadings.from_csv, path, **bench)
    assert place in error.field
    assert word in str(error)


@pytest.mark.parametrize(
    ("value", "field"),
    [("nan", "openings[2]"), ("inf", "runs_mm[0][2]"), ("-1e99", "runs_mm[0][2]")],
)
def test_a_table_with_a_number_that_is_none(tmp_path, value, field):
    path = tmp_path / "readings.csv"
    path.write_text(CSV.replace("1.3333", value))
    bench = BENCH | {"clear_aperture_mm": 200, "radius_of_curvature_mm": 2400}
    assert refusal(ct.KnifeEdgeReadings.from_csv, path, **bench).field == field


@pytest.mark.parametrize(
    ("keywords", "field"),
    [
        ({"obstruction_ratio": 22}, "obstruction_ratio"),
        ({"wavelength_nm": 0.55}, "wavelength_nm"),
        ({"draws": 10}, "draws"),
        ({"draws": 10**9}, "draws"),
    ],
)
def test_a_reduction_that_cannot_be(keywords, field):
    assert refusal(readings("before").reduce, **keywords).field == field


@pytest.mark.parametrize(
    ("keywords", "field"),
    [
        ({"obstruction_ratio": 22}, "obstruction_ratio"),
        ({"obstruction_ratio": NAN}, "obstruction_ratio"),
        ({"wavelength_nm": 0.55}, "wavelength_nm"),
        ({"reading_sigma_mm": 0}, "reading_sigma_mm"),
        ({"reading_sigma_mm": [0.05, 0.05]}, "reading_sigma_mm"),
        ({"reading_sigma_mm": "little"}, "reading_sigma_mm"),
        ({"repeats": 0}, "repeats"),
        ({"repeats": 10_000_001}, "repeats"),
        ({"repeats": -1}, "repeats"),
        ({"repeats": 1.5}, "repeats"),
        ({"seed": -1}, "seed"),
    ],
)
def test_a_noise_study_that_cannot_be(keywords, field):
    assert refusal(readings("before").noise_study, **keywords).field == field


def test_what_a_noise_study_has_not():
    study = readings("before").noise_study(repeats=10)
    assert refusal(study.strehl_quantiles, [0.5, 50]).field == "shares"
    assert refusal(study.rms_quantiles_nm, [-0.1]).field == "shares"
    assert refusal(study.zone_errors_mm, first=5, count=6).field == "count"


def test_two_mirrors_are_not_compared():
    error = refusal(ct.judge_refigure, before=readings("before"), after=measured(), draws=100)
    assert error.field == "after.clear_aperture_mm"
    assert "two different mirrors" in error.cause
    error = refusal(ct.judge_refigure, before=readings("before"), after="better")
    assert (error.field, error.value) == ("after", "str")
    for keywords in ({"obstruction_ratio": 0.2}, {"wavelength_nm": 600}, {"draws": 200}):
        error = refusal(
            ct.judge_refigure,
            before=readings("before").reduce(**({"draws": 100} | keywords)),
            after=readings("after").reduce(draws=100),
        )
        assert error.field == f"after.{next(iter(keywords))}"


# Sizes that would take all of the machine's memory or time.


def limited(program, seconds=60):
    """Run a program that may use 4 GB; return how it ended."""

    def limits():
        resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))

    run = [sys.executable, "-c", f"import catoptric as ct\n{program}"]
    return subprocess.run(
        run, preexec_fn=limits, timeout=seconds, capture_output=True, text=True, check=False
    )


PRIMARY = "ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)"


@pytest.mark.parametrize(
    ("question", "field"),
    [
        ("ct.Wavefront.from_zernikes({4: 1e9}, indexing='noll')", "coefficients[4]"),
        pytest.param(
            f"ct.Train(primary={PRIMARY}).spot(points=10**9)",
            "points",
        ),
    ],
)
def test_a_question_too_large_to_answer_is_refused(question, field):
    done = limited(f"try:\n    {question}\nexcept ct.InputError as error:\n    print(error.field)")
    assert done.returncode == 0, done.stderr[-300:]
    assert done.stdout.strip() == field


@pytest.mark.parametrize(
    ("make", "field"),
    [
        pytest.param(
            lambda: ct.Train.from_json(GOOD + "}"),
            "the end of the text",
            id="text after the JSON",
        ),
        pytest.param(
            lambda: bare().spot(points=0),
            "points",
            id="no points",
        ),
        pytest.param(
            lambda: bare().spot(points=-1),
            "points",
            id="-1 points",
        ),
        pytest.param(
            lambda: bare().psf(pixels=-1),
            "pixels",
            id="-1 pixels",
        ),
        pytest.param(
            lambda: readings("after").reduce(draws=-1),
            "draws",
            id="-1 draws",
        ),
        pytest.param(
            lambda: readings("after").reduce(seed=-1),
            "seed",
            id="seed -1",
        ),
        pytest.param(
            lambda: bare().spot(wavelength_nm=-3),
            "wavelength_nm",
            id="spot",
        ),
        pytest.param(
            lambda: bare().best_focus(by="least_spot", wavelength_nm=-3),
            "wavelength_nm",
            id="focus",
        ),
        pytest.param(
            lambda: ct.Wavefront.from_zernikes({-1: 10}, indexing="noll"),
            "coefficients[-1]",
            id="index -1",
        ),
        pytest.param(
            lambda: newtonian().illumination(radius_mm=[]),
            "radius_mm",
            id="no radii",
        ),
        pytest.param(
            lambda: newtonian().illumination(radius_mm=[0, 1e6]),
            "radius_mm[1]",
            id="far radius",
        ),
        pytest.param(
            lambda: ct.Airy(focal_ratio=5).encircled_energy([0, -1]),
            "radius_um[1]",
            id="negative",
        ),
        pytest.param(
            lambda: ct.Diagonal(minor_axis_mm=-70),
            "minor_axis_mm",
            id="part alone",
        ),
        pytest.param(
            lambda: ct.Zone(radius_mm=-1, half_width_mm=1, height_nm=1),
            "",
            id="zone",
        ),
    ],
)
def test_refused_by_name(make, field):
    error = refusal(make)
    assert error.field.endswith(field)


def test_numbers_that_are_none_are_all_found_at_once():
    error = refusal(primary, clear_aperture_mm=NAN, focal_length_mm=INF, conic=NAN)
    assert [problem.field for problem in error.problems] == [
        "primary.clear_aperture_mm",
        "primary.focal_length_mm",
        "primary.conic",
    ]


def test_a_change_of_something_that_is_no_part_is_a_type_error():
    with pytest.raises(TypeError):
        newtonian().with_diagonal(70, offset_mm=2)


def test_a_missing_file_is_python_s_own_error(tmp_path):
    with pytest.raises(FileNotFoundError):
        ct.Train.load(tmp_path / "nowhere.json")


def test_a_faulty_file_names_the_value_that_was_found():
    error = refusal(ct.Train.from_json, GOOD.replace("318", '"wide"'))
    assert "wide" in error.value
