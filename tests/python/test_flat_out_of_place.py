"""Thick glass, a flat out of its place and the parts beyond it, against closed forms."""

import math

import catoptric as ct
import numpy as np
import pytest
from samples import misplaced, newtonian

ARCMIN = math.radians(1 / 60)


def shares(train, along_mm=0, across_mm=0):
    """Return what each part stops at one point of the focal plane."""
    light = train.illumination(along_mm=[along_mm], across_mm=[across_mm])
    return {part: share[0] for part, share in light.stopped.items()}


@pytest.mark.parametrize(
    ("edge", "side"), [("along_tube", 0.0), ("square_to_face", 14 / math.sqrt(2))]
)
def test_the_shadow_of_thick_glass_is_a_stadium(edge, side):
    flat = ct.Diagonal(minor_axis_mm=70, thickness_mm=14, edge=edge, bevel_mm=0.5)
    area = math.pi * 35.5**2 + 2 * 35.5 * side
    found = shares(newtonian(diagonal=flat))["diagonal_shadow"]
    assert found == pytest.approx(area / (math.pi * 159**2), abs=1e-9)


@pytest.mark.parametrize(
    ("turn", "name", "times"),
    [
        ("nod_arcmin", "along_mm", 2),
        ("roll_arcmin", "across_mm", math.sqrt(2)),
        ("turn_arcmin", "across_mm", 1),
    ],
)
def test_a_turned_flat_moves_the_image_and_leans_the_plane(turn, name, times):
    flat = ct.Diagonal(minor_axis_mm=70, offset_mm=0, misplaced=ct.Misplacement(**{turn: 2.0}))
    shift = newtonian(diagonal=flat).image_shift()
    angle = times * 2 * ARCMIN
    # First order in the angle; the next is the angle's square or so of it.
    assert getattr(shift, name) == pytest.approx(235 * angle, rel=2e-3)
    lean = name.removesuffix("_mm")
    assert abs(getattr(shift, f"defocus_{lean}")) == pytest.approx(angle, rel=2e-3)
    assert abs(getattr(shift, f"tilt_{lean}_arcmin")) == pytest.approx(2 * times, rel=2e-3)


def test_a_flat_in_its_place_shifts_nothing_and_a_bare_mirror_has_none():
    shift = newtonian().image_shift()
    assert all(value == 0 for value in shift.to_dict().values())
    assert ct.Train(primary=newtonian().primary).image_shift() is None


def test_a_misplaced_flat_stays_through_changes_and_text():
    train = newtonian(diagonal=misplaced())
    larger = train.with_diagonal(minor_axis_mm=74)
    assert larger.diagonal.misplaced == misplaced().misplaced
    assert larger.with_diagonal(misplaced=None).diagonal.misplaced is None
    assert ct.Train.from_toml(train.to_toml()) == train
    assert ct.Train.from_json(train.to_json()) == train


def test_a_mask_turned_by_a_right_angle_is_the_other_mask():
    wide = ct.SensorMask(along_mm=24, across_mm=14, before_focus_mm=12, rotation_deg=90)
    high = ct.SensorMask(along_mm=14, across_mm=24, before_focus_mm=12)
    for along, across in ((6, 2), (7.5, -3), (0, 11)):
        found, wanted = (
            shares(newtonian(sensor_mask=mask), along, across)["sensor_mask"]
            for mask in (wide, high)
        )
        assert found == pytest.approx(wanted, abs=1e-9)


def test_warnings_say_what_it_costs():
    train = newtonian(
        diagonal=ct.Diagonal(minor_axis_mm=40),
        drawtube=ct.Drawtube(bore_mm=47, length_mm=90, outer_end_to_focus_mm=18),
        filter_ring=ct.FilterRing(diameter_mm=8, before_focus_mm=50),
    )
    found = {problem.field: problem for problem in train.problems()}
    assert found.keys() == {
        "diagonal.minor_axis_mm",
        "drawtube.length_mm",
        "filter_ring.diameter_mm",
    }
    assert f"{train.served_aperture_mm:.0f} mm" in found["diagonal.minor_axis_mm"].cause
    cone = 318 * 50 / (1558 - 318**2 / (16 * 1558))
    assert f"{cone:.2f}" in found["filter_ring.diameter_mm"].allowed
    # The notch: the rim beyond the tube's end, 127 mm from the axis and 51 mm wide.
    y = np.linspace(-25.5, 25.5, 20_001)
    notch = np.trapezoid(np.sqrt(159**2 - y**2) - 127, y) / (math.pi * 159**2)
    assert f"{100 * notch:.2f} %" in found["drawtube.length_mm"].cause
