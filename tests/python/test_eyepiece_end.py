"""Eyepieces, sensors and the focus ladder: closed forms, directions, bad input, pictures."""

import catoptric as ct
import matplotlib as mpl
import numpy as np
import pytest
from catoptric import plotting
from samples import bare, ladder, newtonian, rows

mpl.use("Agg")

import matplotlib.pyplot as plt


@pytest.fixture(autouse=True)
def no_figure_left_open():
    yield
    plt.close("all")


def ponds(**changes):
    """Return the invented 406 mm f/5 of the demo."""
    parts = {
        "primary": ct.Primary(clear_aperture_mm=406, focal_length_mm=2030),
        "diagonal": ct.Diagonal(minor_axis_mm=79.4),
        "focal_plane": ct.FocalPlane(axis_to_focus_mm=303),
        "front_opening": ct.Opening(diameter_mm=460, above_vertex_mm=2150),
        "drawtube": ct.Drawtube(bore_mm=47, length_mm=70, outer_end_to_focus_mm=18),
    }
    return ct.Train(**(parts | changes))


def eyepiece(focal_length_mm=24, place_mm=0.0):
    return ct.Eyepiece(
        focal_length_mm=focal_length_mm, field_stop_mm=27, shoulder_to_stop_mm=place_mm
    )


FOCUSER = ct.Focuser(racked_in_mm=270, racked_out_mm=310)


def one_rung(**item):
    items = [ct.FocusItem(name="it", **item)]
    return ponds().focus_ladder(focuser=FOCUSER, items=items)


def refusal(make, *arguments, **keywords):
    with pytest.raises(ct.InputError) as caught:
        make(*arguments, **keywords)
    return caught.value.problems[0]


# Truth: tests/data/focus.json, see its generator.


@pytest.mark.parametrize("row", rows("focus", kind="near", focal_length_mm=2030))
def test_a_near_object_s_image(row):
    camera = ct.Camera(shoulder_to_sensor_mm=0)
    found = one_rung(camera=camera, object_distance_mm=row["object_distance_mm"])
    assert found.image_mm[0] - 303 == pytest.approx(row["shift_mm"], rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("row", rows("focus", kind="eye"))
def test_an_eye_without_its_glasses(row):
    item = ct.FocusItem(
        name="it", eyepiece=eyepiece(row["eyepiece_mm"]), eye_dioptres=row["eye_dioptres"]
    )
    assert item.eye_shift_mm == pytest.approx(row["shift_mm"], rel=1e-12)
    assert np.sign(item.eye_shift_mm) == np.sign(row["eye_dioptres"])  # short-sighted: inward


@pytest.mark.parametrize("row", rows("focus", kind="pole"))
def test_a_pole_s_length(row):
    poles = ct.Poles(length_mm=row["length_mm"], slant_deg=row["slant_deg"])
    assert poles.change_mm(row["rise_mm"]) == pytest.approx(row["change_mm"], abs=1e-9)
    assert poles.per_mm == pytest.approx(row["cosine"], abs=1e-14)


def test_the_ladder_s_columns_and_its_table():
    found = ponds().focus_ladder(
        focuser=FOCUSER,
        items=[
            ct.FocusItem(name="out", eyepiece=eyepiece(place_mm=-20)),
            ct.FocusItem(name="in", camera=ct.Camera(shoulder_to_sensor_mm=44, adapters_mm=11)),
            ct.FocusItem(name="there", eyepiece=eyepiece(place_mm=3)),
        ],
    )
    assert found.names == ("out", "in", "there")
    assert found.shoulder_mm.tolist() == [323, 248, 300]
    assert found.misses_by_mm.tolist() == [13, -22, 0]
    assert found.within.tolist() == [False, False, True]
    assert found.out_of_reach == ("out", "in")
    assert (found.reached, found.spread_mm, found.shifts_for_all_mm) == (1, 75, None)
    table = found.to_table()
    assert table["name"].tolist() == ["out", "in", "there"]
    assert table["misses_by_mm"].tolist() == [13, -22, 0]


def test_moves_and_their_trains():
    found = one_rung(camera=ct.Camera(shoulder_to_sensor_mm=55))
    moves = found.moves(
        poles=ct.Poles(length_mm=1600, slant_deg=12), fully_lit_diameter_mm=20, edge_radius_mm=11
    )
    assert moves.mover == ("primary", "poles", "focuser")
    assert moves.primary_mm.tolist() == [22, 0, 0]
    assert moves.upper_end_mm.tolist() == [0, -22, 0]
    assert moves.focuser_mm.tolist() == [0, 0, -22]
    height, span = 1600 * np.cos(np.radians(12)), 1600 * np.sin(np.radians(12))
    exact = np.hypot(height - 22, span) - 1600
    assert moves.pole_change_mm == pytest.approx([0, exact, 0], abs=1e-9)
    first = -22 * np.cos(np.radians(12))
    assert moves.pole_change_first_order_mm == pytest.approx([0, first, 0], abs=1e-12)
    after = moves.trains[0]
    assert after.focal_plane.axis_to_focus_mm == 325
    assert after.front_opening.above_vertex_mm == 2128
    assert moves.trains[2] == ponds()
    fit = ct.smallest_diagonal(
        primary=after.primary, axis_to_focus_mm=325, fully_lit_diameter_mm=20
    )
    assert moves.smallest_minor_axis_mm[0] == fit.minor_axis_mm
    assert moves.smallest_offset_mm[0] == fit.offset_mm
    light = after.illumination(radius_mm=[0, 11])
    assert moves.edge_mean[0] == pytest.approx(light.mean[1], abs=1e-12)
    before = ponds().illumination(radius_mm=[0, 11])
    assert moves.edge_worst_before == pytest.approx(before.worst[1], abs=1e-12)
    table = moves.to_table()
    assert table["mover"].tolist() == list(moves.mover)
    assert table["reaches_all"].all()


def test_extension_tubes_bring_down_what_lies_too_far_out():
    items = [
        ct.FocusItem(name="out", eyepiece=eyepiece(place_mm=-20)),
        ct.FocusItem(name="in", camera=ct.Camera(shoulder_to_sensor_mm=55)),
    ]
    found = ponds().focus_ladder(focuser=FOCUSER, items=items)
    assert found.shift_with_tubes_mm == 22
    moves = found.moves(extension_tubes=True)
    assert moves.needed_mm == 22
    assert moves.names == ("out", "in")
    assert moves.extensions_mm.tolist() == [[35, 0], [35, 0]]
    assert moves.reaches_all.all()
    assert not found.moves().reaches_all.any()


def test_what_cannot_move_says_why():
    focuser = ct.Focuser(racked_in_mm=205, racked_out_mm=225)
    far_out = ct.FocusItem(name="far out", eyepiece=eyepiece(place_mm=-60))
    moves = ponds().focus_ladder(focuser=focuser, items=[far_out]).moves()
    assert moves.mover == ("focuser",)
    assert "axis_to_focus_mm" in moves.impossible["primary"]


def test_facts_behind_an_eyepiece_are_closed_forms():
    wide = ct.Eyepiece(focal_length_mm=31, field_stop_mm=40, apparent_field_deg=78)
    facts = ponds().behind(wide, accommodation_dioptres=2)
    assert facts.magnification == pytest.approx(2030 / 31)
    assert facts.exit_pupil_mm == pytest.approx(6.2)
    assert facts.true_field_arcmin == pytest.approx(2 * np.degrees(np.arctan(20 / 2030)) * 60)
    assert facts.true_field_by_apparent_arcmin == pytest.approx(78 * 60 * 31 / 2030)
    assert facts.shadow_share == pytest.approx((79.4 / 406) ** 2)
    assert facts.accommodation_mm == pytest.approx(2 * 31**2 / 1000)
    assert facts.depth_of_focus_mm == pytest.approx(2 * 550e-6 * 25)
    assert facts.depth_of_focus_dioptres == pytest.approx(2 * 550e-9 / 0.0062**2)
    light = ponds().illumination(radius_mm=[20])
    assert facts.edge_worst == pytest.approx(light.worst[0], abs=1e-12)
    assert 10 ** (-0.4 * facts.edge_worst_magnitudes) == pytest.approx(facts.edge_worst)
    assert facts.dimmed_by == "diagonal"
    edge = ponds().spot(field_arcmin=(0, facts.true_field_arcmin / 2))
    on_sky = edge.tangential_coma_um / 2030e3 * 180 * 60 / np.pi
    assert facts.edge_coma_at_eye_arcmin == pytest.approx(on_sky * facts.magnification, rel=1e-9)
    # Third order, Schroeder, Astronomical Optics, chapter 6: 3 t/(16 F^2); 1/(12 F^2) is left out.
    third = 3 * (20 / 2030) / (16 * 25) * 180 * 60 / np.pi * facts.magnification
    assert facts.edge_coma_at_eye_arcmin == pytest.approx(third, rel=5e-3)


def test_a_comparison_is_the_single_facts():
    eyepieces = [ct.Eyepiece(focal_length_mm=f, field_stop_mm=0.9 * f) for f in (31, 13, 5)]
    table = ct.compare_eyepieces(ponds(), iter(eyepieces), eye_pupil_mm=5)
    for row, one in enumerate(eyepieces):
        facts = ponds().behind(one, eye_pupil_mm=5)
        for name, column in table.items():
            value = getattr(one if hasattr(one, name) else facts, name)
            assert column[row] == ("" if value is None else value), name


def test_a_dark_edge_loses_infinitely_many_magnitudes():
    narrow = newtonian(drawtube=ct.Drawtube(bore_mm=20, length_mm=30, outer_end_to_focus_mm=-1))
    wide = ct.Eyepiece(focal_length_mm=30, field_stop_mm=40)
    facts = narrow.behind(wide)
    assert (facts.edge_best, facts.edge_worst_magnitudes) == (0, None)
    assert facts.spot_of_bare_mirror
    assert "wider than the drawtube's bore" in facts.cautions[0]
    table = ct.compare_eyepieces(narrow, [wide])
    assert np.isinf(table["edge_worst_magnitudes"][0])


def test_facts_on_a_sensor_are_closed_forms():
    sensor = ct.Sensor(pixel_um=5, columns=3520, rows=2660)
    facts = ponds().on_sensor(sensor, seeing=ct.Seeing(fwhm_arcsec=2), wavelength_nm=600)
    assert facts.pixel_arcsec == pytest.approx(5e-3 / 2030 * 206264.806247)
    corner = 2 * np.degrees(np.arctan(np.hypot(17.6, 13.3) / 2 / 2030)) * 60
    assert facts.field_diagonal_arcmin == pytest.approx(corner)
    assert facts.nyquist_pixel_um == pytest.approx(0.6 * 5 / 2)
    seeing = ct.Seeing(fwhm_arcsec=2)
    # Seen at another wavelength the same air is narrower by the fifth root (Fried 1966).
    assert facts.pixels_per_seeing == pytest.approx(
        seeing.fwhm_arcsec * (550 / 600) ** 0.2 / facts.pixel_arcsec, rel=1e-5
    )
    light = ponds().illumination(
        along_mm=[8.8, 8.8, -8.8, -8.8], across_mm=[6.65, -6.65, 6.65, -6.65]
    )
    assert facts.corner_worst == pytest.approx(light.relative.min(), abs=1e-12)
    assert facts.corner_mean == pytest.approx(light.relative.mean(), abs=1e-12)
    assert facts.corner_coma_pixels == pytest.approx(facts.corner_coma_um / 5)


REFUSALS = [
    (lambda: ct.Focuser(racked_in_mm=310, racked_out_mm=270), "racked_out_mm", "exchanged"),
    (lambda: ct.Focuser(racked_in_mm=270, racked_out_mm=310, bore_mm=47), "tube_length_mm", ""),
    (lambda: ct.Focuser(racked_in_mm=float("nan"), racked_out_mm=310), "racked_in_mm", "finite"),
    (lambda: ct.Camera(shoulder_to_sensor_mm=44, adapters_mm=-1), "adapters_mm", "sign"),
    (lambda: ct.Poles(length_mm=1600, slant_deg=90), "slant_deg", "rings"),
    (lambda: ct.Poles(length_mm=100, slant_deg=60).change_mm(-60), "rise_mm", "height"),
    (lambda: ct.FocusItem(name="it"), "eyepiece", ""),
    (
        lambda: ct.FocusItem(
            name="it", eyepiece=eyepiece(), camera=ct.Camera(shoulder_to_sensor_mm=1)
        ),
        "eyepiece",
        "",
    ),
    (
        lambda: ct.FocusItem(name="it", eyepiece=ct.Eyepiece(focal_length_mm=24, field_stop_mm=27)),
        "item.eyepiece.shoulder_to_stop_mm",
        "caliper",
    ),
    (
        lambda: ct.FocusItem(name="it", eyepiece=eyepiece(), eye_dioptres=60),
        "item.eye_dioptres",
        "millimetres given for dioptres",
    ),
    (
        lambda: ct.FocusItem(name="it", camera=ct.Camera(shoulder_to_sensor_mm=1), eye_dioptres=1),
        "item.eye_dioptres",
        "no eye",
    ),
    (lambda: ponds().focus_ladder(focuser=FOCUSER, items=[]), "items", ""),
    (lambda: ponds().focus_ladder(focuser=FOCUSER, items=[eyepiece()]), "items[0]", ""),
    (
        lambda: one_rung(camera=ct.Camera(shoulder_to_sensor_mm=1), object_distance_mm=4000),
        "items[0].object_distance_mm",
        "metres",
    ),
    (
        lambda: bare().focus_ladder(focuser=FOCUSER, items=ladder().items),
        "train.focal_plane",
        "bare mirror",
    ),
    (
        lambda: ponds().focus_ladder(
            focuser=ct.Focuser(racked_in_mm=67, racked_out_mm=107), items=ladder().items
        ),
        "focuser.racked_in_mm",
        "tube's wall",
    ),
    (lambda: ladder().moves(primary_limit_mm=-1), "primary_limit_mm", "sign"),
    (lambda: ladder().moves(fully_lit_diameter_mm=-1), "fully_lit_diameter_mm", "sign"),
    (lambda: ladder().train_for(2), "item", ""),
    (lambda: ladder().train_for(-1), "item", ""),
    (lambda: ct.compare_eyepieces(ponds(), []), "eyepieces", ""),
    (lambda: ct.compare_eyepieces(ponds(), [FOCUSER]), "eyepieces[0]", ""),
    (
        lambda: ct.compare_eyepieces(
            ponds(), [eyepiece(), ct.Eyepiece(focal_length_mm=2030, field_stop_mm=1)]
        ),
        "eyepieces[1].focal_length_mm",
        "telescope's",
    ),
    (lambda: ponds().behind(eyepiece(), eye_pupil_mm=0), "eye_pupil_mm", "radius"),
    (
        lambda: ponds().behind(eyepiece(), accommodation_dioptres=-1),
        "accommodation_dioptres",
        "sign",
    ),
    (lambda: ponds().behind(eyepiece(), wavelength_nm=0.55), "wavelength_nm", "micrometres"),
    (
        lambda: ponds().on_sensor(ct.Sensor(pixel_um=5, columns=0, rows=1)),
        "sensor.columns",
        "",
    ),
    (lambda: plotting.exit_pupils([]), "results", ""),
]


@pytest.mark.parametrize(("make", "field", "cause"), REFUSALS)
def test_what_cannot_be_is_refused(make, field, cause):
    problem = refusal(make)
    assert problem.field.endswith(field)
    assert cause in problem.cause
    assert problem.allowed


# Pictures.


def words(ax):
    return [text.get_text() for text in ax.texts]


def test_the_ladder_draws_each_rung_at_its_height():
    found = ladder()
    ax = found.plot()
    rungs = [line for line in ax.lines if line.get_marker() in ("o", "^")]
    heights = [line.get_ydata()[0] for line in rungs]
    assert heights == found.shoulder_mm.tolist()
    assert [line.get_marker() for line in rungs] == ["o", "^"]
    assert any(text.startswith("camera") and "too far in" in text for text in words(ax))
    assert any(text.startswith("24 mm") and "too far" not in text for text in words(ax))
    assert "reaches 1 of 2" in ax.get_title(loc="left")


def test_words_of_near_rungs_stand_apart():
    items = [
        ct.FocusItem(name=f"{place}", eyepiece=eyepiece(place_mm=place))
        for place in (0.0, 0.1, 0.2, 0.3, -25, -25.1)
    ]
    found = ponds().focus_ladder(focuser=FOCUSER, items=items)
    ax = found.plot()
    named = [text for text in ax.texts if text.get_text().split(":")[0] in found.names]
    places = sorted(text.xy[1] for text in named)
    bottom, top = ax.get_ylim()
    assert np.diff(places).min() > 0.055 * (top - bottom)
    assert bottom < places[0]
    assert places[-1] < top


def test_exit_pupils_are_drawn_to_scale():
    eyepieces = [ct.Eyepiece(focal_length_mm=f, field_stop_mm=f) for f in (31, 13, 5)]
    facts = [ponds().behind(one, eye_pupil_mm=5) for one in eyepieces]
    ax = plotting.exit_pupils(facts)
    radii = sorted({round(patch.radius, 9) for patch in ax.patches})
    wanted = {2.5}
    for one in facts:
        wanted |= {one.exit_pupil_mm / 2, one.shadow_mm / 2, min(5, one.exit_pupil_mm) / 2}
    assert radii == sorted({round(radius, 9) for radius in wanted})
    assert ax.get_aspect() == 1
    assert sum("31 mm, 65x" in text for text in words(ax)) == 1
    assert sum("uses 327 mm" in text for text in words(ax)) == 1  # 5 mm times 65.48
