"""The model: parts and trains are values, which can be compared, copied, changed and saved."""

import copy
import json
import math
import pickle
import tomllib

import catoptric as ct
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from samples import complete, newtonian, parts, primary

every_part = pytest.mark.parametrize("part", parts().values(), ids=parts().keys())

NEEDED = {
    "TurnedEdge": {"width_mm": 9.0, "drop_nm": 330.0},
    "Zone": {"radius_mm": 95.0, "half_width_mm": 13.0, "height_nm": 28.0},
    "RadialProfile": {"radius_mm": [0.0, 159.0], "height_nm": [0.0, -5.0]},
    "CoatingRing": {"inner_radius_mm": 112.0, "outer_radius_mm": 139.0, "reflectance": 0.74},
    "CoatingPatch": {"x_mm": 10.0, "y_mm": 20.0, "radius_mm": 15.0, "reflectance": 0.5},
    "Coating": {},
    "ThinRing": {"inner_radius_mm": 112.0, "outer_radius_mm": 139.0, "thickness_nm": 40.0},
    "ThinPatch": {"x_mm": 10.0, "y_mm": 20.0, "radius_mm": 15.0, "thickness_nm": 40.0},
    "Primary": {"clear_aperture_mm": 318.0, "focal_length_mm": 1558.0},
    "Diagonal": {"minor_axis_mm": 70.0},
    "FocalPlane": {"axis_to_focus_mm": 235.0},
    "Opening": {"diameter_mm": 360.0, "above_vertex_mm": 1650.0},
    "Drawtube": {"bore_mm": 47.0, "length_mm": 50.0, "outer_end_to_focus_mm": 18.0},
    "Spider": {"vanes": 4, "thickness_mm": 1.0},
    "Holder": {"diameter_mm": 76.0},
    "MirrorClips": {"clips": 3, "width_mm": 20.0, "reach_mm": 6.0},
    "FocuserBoard": {"hole_mm": 60.0, "axis_to_board_mm": 180.0},
    "FilterRing": {"diameter_mm": 44.0, "before_focus_mm": 50.0},
    "SensorMask": {"along_mm": 24.0, "across_mm": 17.0, "before_focus_mm": 12.0},
    "Misplacement": {},
}
DEFAULTS = {
    "Spider": {"angle_deg": 45.0, "above_vertex_mm": None, "bend_radius_mm": None},
    "Holder": {"above_vertex_mm": None},
    "MirrorClips": {"angle_deg": 0.0},
    "TurnedEdge": {"power": 2.0},
    "RadialProfile": {"joined": "spline", "points": 2},
    "CoatingPatch": {"softness_mm": 0.0},
    "CoatingRing": {"softness_mm": 0.0},
    "ThinRing": {"softness_mm": 0.0},
    "ThinPatch": {"softness_mm": 0.0},
    "Coating": {
        "reflectance": 1.0,
        "rings": (),
        "patches": (),
        "map": None,
        "pinhole_share": 0.0,
        "metal": None,
    },
    "Primary": {
        "radius_of_curvature_mm": 3116.0,
        "conic": -1.0,
        "mask_diameter_mm": None,
        "figure": (),
        "coating": ct.Coating(),
    },
    "Diagonal": {
        "offset_mm": None,
        "reflectance": 1.0,
        "thickness_mm": 0.0,
        "edge": None,
        "bevel_mm": 0.0,
        "misplaced": None,
        "film": None,
    },
    "SensorMask": {"rotation_deg": 0.0},
    "Misplacement": {
        "toward_primary_mm": 0.0,
        "toward_focuser_mm": 0.0,
        "across_mm": 0.0,
        "nod_arcmin": 0.0,
        "roll_arcmin": 0.0,
        "turn_arcmin": 0.0,
    },
}


@pytest.mark.parametrize("name", NEEDED)
def test_a_part_holds_what_it_was_given_and_its_defaults(name):
    part = getattr(ct, name)(**NEEDED[name])
    for attribute, value in (NEEDED[name] | DEFAULTS.get(name, {})).items():
        assert np.array_equal(getattr(part, attribute), value), attribute


@pytest.mark.parametrize("name", NEEDED)
def test_a_part_takes_keywords_only(name):
    with pytest.raises(TypeError, match="positional"):
        getattr(ct, name)(*NEEDED[name].values(), 1.0)


@pytest.mark.parametrize(
    ("name", "missing"), [(name, key) for name in NEEDED for key in NEEDED[name]]
)
def test_a_part_needs_all_its_sizes(name, missing):
    fewer = {key: value for key, value in NEEDED[name].items() if key != missing}
    with pytest.raises((TypeError, ct.InputError), match=missing):
        getattr(ct, name)(**fewer)


@every_part
def test_a_part_is_frozen(part):
    for attribute in part.to_dict():
        with pytest.raises(AttributeError):
            setattr(part, attribute, getattr(part, attribute))
    with pytest.raises(AttributeError):
        part.another_mm = 1.0


@every_part
def test_a_part_cannot_be_subclassed(part):
    with pytest.raises(TypeError, match="base type"):
        type("Other", (type(part),), {})


@every_part
@pytest.mark.parametrize("protocol", range(2, pickle.HIGHEST_PROTOCOL + 1))
def test_a_part_survives_pickling(part, protocol):
    assert pickle.loads(pickle.dumps(part, protocol)) == part


@every_part
def test_copies_of_a_part_are_the_part(part):
    assert copy.copy(part) is part
    assert copy.deepcopy(part) is part
    assert copy.deepcopy([part])[0] is part


@every_part
def test_a_part_equals_itself_and_nothing_else(part):
    assert part != "another thing"
    assert part != None  # noqa: E711
    assert [other for other in parts().values() if other == part] == [part]


@pytest.mark.parametrize(
    ("name", "changed"),
    [(name, key) for name in NEEDED for key in NEEDED[name]]
    + [("Primary", "conic"), ("Diagonal", "offset_mm"), ("TurnedEdge", "power")],
)
def test_a_part_with_another_value_is_another_part(name, changed):
    given = NEEDED[name] | {
        k: v for k, v in DEFAULTS.get(name, {}).items() if k == changed and v is not None
    }
    value = given.get(changed, 1.0)
    smaller = (lambda v: v - 1) if isinstance(value, int) else (lambda v: v * 0.9)
    other = [smaller(v) for v in value] if isinstance(value, list) else smaller(value)
    cls = getattr(ct, name)
    assert cls(**(given | {changed: other})) != cls(**given)


def test_the_radius_of_curvature_stands_for_twice_the_focal_length():
    by_radius = ct.Primary(clear_aperture_mm=318, radius_of_curvature_mm=3116)
    assert by_radius == primary()
    assert by_radius.focal_length_mm == 1558
    assert by_radius.radius_of_curvature_mm == 3116


def test_arrays_are_taken_and_given_as_copies():
    radius_mm = np.array([0.0, 80.0, 159.0])
    profile = ct.RadialProfile(radius_mm=radius_mm, height_nm=[0.0, 5.0, 2.0])
    radius_mm[1] = 90.0
    profile.height_nm[1] = -1.0
    assert profile.radius_mm.tolist() == [0.0, 80.0, 159.0]
    assert profile.height_nm.tolist() == [0.0, 5.0, 2.0]


def test_what_a_wavefront_draws_is_made_once_and_not_to_be_written_to():
    wave = newtonian().wavefront()
    assert wave.map_nm is wave.map_nm
    assert wave.map_axis_mm is wave.map_axis_mm
    with pytest.raises(ValueError, match="read-only"):
        wave.map_nm[0, 0] = 1.0
    assert wave == pickle.loads(pickle.dumps(wave))
    assert np.array_equal(pickle.loads(pickle.dumps(wave)).map_nm, wave.map_nm, equal_nan=True)


def test_a_train_gives_its_parts_back():
    train = complete()
    assert train.primary.figure[1] == ct.Zone(radius_mm=95, half_width_mm=13, height_nm=28)
    assert train.primary.coating.rings[0].reflectance == 0.74
    assert train.diagonal == ct.Diagonal(minor_axis_mm=70, offset_mm=3.25, reflectance=0.9)
    assert train.diagonal_offset_mm == 3.25
    assert train.front_opening.above_vertex_mm == 1650
    assert train.focal_ratio == 1558 / 310
    assert train.obstruction_ratio == pytest.approx(70 / 310, rel=1e-12)


OPTIONAL = (
    "diagonal",
    "focal_plane",
    "front_opening",
    "drawtube",
    "spider",
    "holder",
    "mirror_clips",
    "focuser_board",
    "filter_ring",
    "sensor_mask",
)


def test_parts_left_out_are_none():
    train = ct.Train(primary=primary())
    for name in OPTIONAL:
        assert getattr(train, name) is None
    assert train.diagonal_offset_mm is None
    assert train.fully_lit_diameter_mm is None
    assert train.obstruction_ratio == 0


# Changed copies.

CHANGES = {
    "primary": {"conic": -0.97},
    "diagonal": {"minor_axis_mm": 64.0},
    "focal_plane": {"axis_to_focus_mm": 240.0},
    "front_opening": {"diameter_mm": 350.0},
    "drawtube": {"bore_mm": 60.0},
    "spider": {"vanes": 3},
    "holder": {"diameter_mm": 72.0},
    "mirror_clips": {"reach_mm": 4.0},
    "focuser_board": {"hole_mm": 62.0},
    "filter_ring": {"diameter_mm": 45.0},
    "sensor_mask": {"rotation_deg": -20.0},
}


@pytest.mark.parametrize("part", CHANGES)
def test_one_value_of_one_part_is_changed(part):
    train = complete()
    changed = getattr(train, f"with_{part}")(**CHANGES[part])
    (name, value), *_ = CHANGES[part].items()
    assert train == complete()
    old, new = train.to_dict(), changed.to_dict()
    assert new[part].pop(name) == value
    old[part].pop(name)
    assert repr(new) == repr(old)


@pytest.mark.parametrize("part", CHANGES)
def test_a_whole_part_is_replaced(part):
    train = complete()
    other = getattr(getattr(train, f"with_{part}")(**CHANGES[part]), part)
    changed = getattr(train, f"with_{part}")(other)
    assert getattr(changed, part) == other
    assert getattr(changed, f"with_{part}")(getattr(train, part)) == train


@pytest.mark.parametrize("part", OPTIONAL[2:])
def test_a_part_is_taken_out_and_put_in(part):
    train = complete()
    without = getattr(train, f"with_{part}")(None)
    assert getattr(without, part) is None
    assert getattr(without, f"with_{part}")(**getattr(train, part).to_dict()) == train


def answers(train):
    """Return what a train says, bit for bit."""
    found = [train.spot_of_rings(field_arcmin=(3, -2), rings=20, rays_per_ring=30)]
    found += [train.light(field_arcmin=(3, -2)), train.fully_lit_circle, train.focal_ratio]
    return [repr(a.__reduce__()[1] if hasattr(a, "_from_json") else a) for a in found]


@pytest.mark.parametrize("used", [False, True])
@pytest.mark.parametrize("part", CHANGES)
def test_a_changed_copy_answers_as_the_same_train_made_whole(part, used):
    train = complete()
    if used:  # Then the copy shares what was compiled.
        answers(train)
    changed = getattr(train, f"with_{part}")(**CHANGES[part])
    twice = changed.with_diagonal(minor_axis_mm=66)
    for copied in (changed, twice, twice.with_primary(mask_diameter_mm=300), copy.copy(twice)):
        assert answers(copied) == answers(ct.Train.from_json(copied.to_json()))
    assert answers(train) == answers(complete())


def test_a_changed_copy_outlives_the_train_it_came_from():
    train = newtonian(primary=primary(figure=[ct.TurnedEdge(width_mm=9, drop_nm=330)]))
    answers(train)
    changed = train.with_diagonal(minor_axis_mm=66)
    del train
    assert answers(changed) == answers(ct.Train.from_json(changed.to_json()))


def test_a_changed_radius_of_curvature_replaces_the_focal_length():
    changed = newtonian().with_primary(radius_of_curvature_mm=3000)
    assert changed.primary.focal_length_mm == 1500
    with pytest.raises(ct.InputError, match="not both"):
        newtonian().with_primary(radius_of_curvature_mm=3000, focal_length_mm=1500)


def test_a_change_passes_the_checks_of_construction():
    with pytest.raises(ct.InputError, match=r"diagonal\.minor_axis_mm"):
        newtonian().with_diagonal(minor_axis_mm=400)
    with pytest.raises(TypeError, match="minor_axis'"):
        newtonian().with_diagonal(minor_axis=64)
    with pytest.raises(TypeError, match="Diagonal"):
        newtonian().with_diagonal(ct.FocalPlane(axis_to_focus_mm=235))


# Files.


@st.composite
def trains(draw):
    """Draw trains that can be, with numbers that are awkward to write in full."""

    def within(low, high):
        return draw(st.floats(low, high))

    def maybe(value):
        return value if draw(st.booleans()) else None

    aperture = within(50.0, 2000.0)
    focal = aperture * within(3.0, 15.0)
    rim = aperture / 2
    layers = st.lists(
        st.one_of(
            st.builds(
                ct.TurnedEdge,
                width_mm=st.floats(rim * 1e-3, rim),
                drop_nm=st.floats(-1e5, 1e5),
                power=st.floats(1.0, 50.0),
            ),
            st.builds(
                ct.Zone,
                radius_mm=st.floats(0.0, rim),
                half_width_mm=st.floats(1e-3, 1e6),
                height_nm=st.floats(-1e5, 1e5),
            ),
            st.lists(st.floats(0.0, rim), min_size=2, max_size=5, unique=True).map(
                lambda radii: ct.RadialProfile(
                    radius_mm=sorted(radii),
                    height_nm=[r * -0.1 for r in radii],
                    joined="straight_in_area",
                )
            ),
        ),
        max_size=3,
    )
    rings = [
        ct.CoatingRing(
            inner_radius_mm=rim * within(0.0, 0.4),
            outer_radius_mm=rim * within(0.5, 1.0),
            reflectance=within(1e-9, 1.0),
        )
        for _ in range(draw(st.integers(0, 2)))
    ]
    minor = aperture * within(0.05, 0.3)
    axis_to_focus = aperture * within(0.51, 0.8)
    mirror = ct.Primary(
        clear_aperture_mm=aperture,
        focal_length_mm=focal,
        conic=within(-2.0, 0.5),
        mask_diameter_mm=maybe(aperture * within(0.1, 1.0)),
        figure=draw(layers),
        coating=ct.Coating(reflectance=within(1e-9, 1.0), rings=rings),
    )
    opening = ct.Opening(diameter_mm=within(1e-3, 1e5), above_vertex_mm=within(1e-3, 1e5))
    if draw(st.booleans()):
        return ct.Train(primary=mirror, front_opening=maybe(opening))
    flat = ct.Diagonal(
        minor_axis_mm=minor,
        offset_mm=maybe(minor * within(-0.5, 0.5)),
        reflectance=within(1e-9, 1.0),
    )
    tube = ct.Drawtube(
        bore_mm=within(1e-3, 1e4),
        length_mm=within(1e-3, 1e4),
        outer_end_to_focus_mm=within(-1e4, axis_to_focus * 0.999),
    )
    return ct.Train(
        primary=mirror,
        diagonal=flat,
        focal_plane=ct.FocalPlane(axis_to_focus_mm=axis_to_focus),
        front_opening=maybe(opening),
        drawtube=maybe(tube),
    )


def bits(value):
    """Return a value with every number in a form that shows its last bit and the sign of zero."""
    if isinstance(value, dict):
        return {key: bits(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [bits(item) for item in value]
    return float(value).hex() if isinstance(value, float) else value


@settings(max_examples=150, deadline=None)
@given(trains())
def test_a_train_comes_back_bit_for_bit(train):
    for back in (
        ct.Train.from_json(train.to_json()),
        ct.Train.from_toml(train.to_toml()),
        pickle.loads(pickle.dumps(train)),
    ):
        assert back == train
        assert bits(back.to_dict()) == bits(train.to_dict())


@settings(max_examples=50, deadline=None)
@given(trains())
def test_other_readers_find_the_same_numbers(train):
    for read in (json.loads(train.to_json()), tomllib.loads(train.to_toml())):
        held = read["primary"]
        assert bits(float(held["clear_aperture_mm"])) == bits(train.primary.clear_aperture_mm)
        assert bits(float(held["focal_length_mm"])) == bits(train.primary.focal_length_mm)
        assert bits(float(held["conic"])) == bits(train.primary.conic)
        assert len(held.get("figure", [])) == len(train.primary.figure)


def test_numbers_that_are_hard_to_write_come_back():
    # 0.1 + 0.2 and its neighbours, and numbers that a short print rounds; Python's own repr is
    # the shortest text that comes back.
    for number in (0.1 + 0.2, math.nextafter(0.3, 1), 1 / 3, math.pi, 5e-324, 1.7e-308):
        profile = ct.RadialProfile(radius_mm=[0, 159], height_nm=[number, -number])
        train = ct.Train(primary=primary(figure=[profile]))
        for back in (
            ct.Train.from_json(train.to_json()),
            ct.Train.from_toml(train.to_toml()),
        ):
            assert back.primary.figure[0].height_nm.tolist() == [number, -number]


@pytest.mark.parametrize("ending", ["json", "toml"])
def test_a_train_is_saved_and_loaded(tmp_path, ending):
    for path in (tmp_path / f"train.{ending}", str(tmp_path / f"again.{ending}")):
        complete().save(path)
        assert ct.Train.load(path) == complete()


def test_files_may_leave_out_what_has_a_default():
    read = ct.Train.from_toml(
        "[primary]\nclear_aperture_mm = 318\nradius_of_curvature_mm = 3116\n"
        "[[primary.figure]]\nkind = 'turned_edge'\nwidth_mm = 9\ndrop_nm = 330\n"
    )
    edge = ct.TurnedEdge(width_mm=9, drop_nm=330)
    assert read == ct.Train(primary=primary(figure=[edge]))


# Warnings.


def test_a_sound_train_has_no_problems():
    assert newtonian().problems() == []


@pytest.mark.parametrize(
    ("train", "field", "cause"),
    [
        (newtonian(diagonal=ct.Diagonal(minor_axis_mm=40)), "diagonal.minor_axis_mm", "stops"),
        (ct.Train(primary=primary(conic=-3)), "primary.conic", "sign"),
        (
            ct.Train(primary=primary(focal_length_mm=3116)),
            "primary.focal_length_mm",
            "radius of curvature given for focal length",
        ),
        (
            newtonian(front_opening=ct.Opening(diameter_mm=160, above_vertex_mm=1650)),
            "front_opening.diameter_mm",
            "radius given for diameter",
        ),
        (
            newtonian(drawtube=ct.Drawtube(bore_mm=47, length_mm=20, outer_end_to_focus_mm=-50)),
            "drawtube.outer_end_to_focus_mm",
            "sign",
        ),
    ],
)
def test_what_is_odd_is_a_warning_that_names_its_cause(train, field, cause):
    (problem,) = train.problems()
    assert problem.severity == "warning"
    assert problem.field == field
    assert cause in problem.cause
