"""Lines of sight past the diagonal, what closes them, the cone on the flat, and the section."""

import catoptric as ct
import matplotlib as mpl
import numpy as np
import pytest
from samples import bare, newtonian, primary, shroud

mpl.use("Agg")

import matplotlib.pyplot as plt

NAN = float("nan")
TUBE = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)


def telescope(**changes):
    return newtonian(**({"drawtube": TUBE} | changes))


def refusal(make, *arguments, **keywords):
    with pytest.raises(ct.InputError) as caught:
        make(*arguments, **keywords)
    return caught.value


def test_the_drawtube_on_the_axis_is_a_cone():
    # Closed form: 2 pi (1 - cos q), q the half angle.
    seen = telescope().sight_lines(along_mm=[0], across_mm=[0])
    angle = np.arctan2(23.5, 68)
    assert seen.view_sr[0] == pytest.approx(2 * np.pi * (1 - np.cos(angle)), rel=1e-12)
    ended = seen.diagonal_sr + seen.holder_sr + seen.baffle_sr + seen.front_ring_sr + seen.wall_sr
    np.testing.assert_allclose(ended + seen.open_sr, seen.view_sr, rtol=1e-12)
    assert seen.cautions == []


def test_the_brightness_is_that_of_the_solid_angles():
    seen = telescope().sight_lines(field_radius_mm=10)
    assert len(seen.along_mm) == 13
    image = np.pi / (4 * telescope().focal_ratio ** 2)
    np.testing.assert_allclose(seen.against_image, seen.open_projected_sr / image, rtol=1e-12)
    assert seen.worst_against_image == seen.against_image.max()
    assert f"{100 * seen.worst_against_image:.0f} %" in seen.words


def test_closing_parts_close():
    train = telescope()
    sheet = train.closing_baffle(field_radius_mm=12, axis_to_baffle_mm=200).baffle
    seen = train.sight_lines(field_radius_mm=12, enclosure=ct.Enclosure(baffle=sheet))
    assert seen.open_sr.max() < 1e-12
    short = ct.Enclosure(tube_diameter_mm=380, upper_edge_mm=1380, lower_edge_mm=1300)
    front = train.closing_front(field_radius_mm=12, enclosure=short)
    closed = ct.Enclosure(
        tube_diameter_mm=380, upper_edge_mm=front.upper_edge_mm, lower_edge_mm=front.lower_edge_mm
    )
    assert train.sight_lines(field_radius_mm=12, enclosure=closed).open_sr.max() < 1e-12
    assert train.sight_lines(field_radius_mm=12, enclosure=short).open_sr.max() > 0.001
    assert "grow" in front.words
    enough = train.closing_front(
        field_radius_mm=12, enclosure=ct.Enclosure(tube_diameter_mm=380, upper_edge_mm=1900)
    )
    assert enough.extension_mm == 0
    assert enough.words.endswith("it is long enough.")


def test_words_name_the_middle_and_one_side():
    assert telescope().sight_lines(along_mm=[0], across_mm=[0]).words.startswith("The middle of")
    aside = telescope().sight_lines(along_mm=[4], across_mm=[0]).words
    assert aside.startswith("The point at along +4.0 mm, across +0.0 mm")
    # A tube that is open below leaves lines on one side of the focuser's axis alone.
    shroud = ct.Enclosure(tube_diameter_mm=380, upper_edge_mm=1900, lower_edge_mm=1250)
    sheet = telescope().closing_baffle(field_radius_mm=12, axis_to_baffle_mm=190, enclosure=shroud)
    assert sheet.above_axis_mm < 0 < sheet.below_axis_mm
    assert f"to {-sheet.above_axis_mm:.1f} mm below the focuser's axis" in sheet.words


def test_what_is_odd_is_flagged():
    train = telescope()
    narrow = ct.Enclosure(tube_diameter_mm=310, upper_edge_mm=1500)
    seen = train.sight_lines(field_radius_mm=5, enclosure=narrow)
    assert "narrower than the light" in seen.cautions[0]
    found = train.closing_baffle(field_radius_mm=5, axis_to_baffle_mm=120)
    assert "inside the light" in found.cautions[0]
    beyond = train.sight_lines(along_mm=[0, 60], across_mm=[0, 0])
    assert "beyond its field" in beyond.cautions[0]
    assert beyond.view_sr[1] == 0


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: ct.Enclosure(tube_diameter_mm=NAN, upper_edge_mm=1500), "tube_diameter_mm"),
        (lambda: ct.Enclosure(tube_diameter_mm=380), "upper_edge_mm"),
        (lambda: ct.Enclosure(upper_edge_mm=380), "tube_diameter_mm"),
        (
            lambda: ct.OppositeBaffle(
                width_mm=10, above_axis_mm=5, below_axis_mm=-5, axis_to_baffle_mm=200
            ),
            "below_axis_mm",
        ),
        (lambda: telescope().sight_lines(along_mm=[0, NAN], across_mm=[0, 0]), "along_mm[1]"),
        (lambda: telescope().sight_lines(along_mm=[0], across_mm=[0, 0]), "across_mm"),
        (lambda: telescope().sight_lines(along_mm=[0]), "along_mm"),
        (lambda: telescope().sight_lines(field_radius_mm=-1), "field_radius_mm"),
        (lambda: telescope().closing_baffle(axis_to_baffle_mm=200), "field_radius_mm"),
        (
            lambda: telescope().closing_front(field_radius_mm=5, enclosure=ct.Enclosure()),
            "tube_diameter_mm",
        ),
        (lambda: newtonian().sight_lines(along_mm=[0], across_mm=[0]), "drawtube"),
        (lambda: bare().sight_lines(along_mm=[0], across_mm=[0]), "diagonal"),
        (lambda: bare().cone_on_flat(), "focal_plane"),
        (lambda: bare().diagonal_shadow(), "diagonal"),
        (lambda: telescope().section(rays_each=1), "rays_each"),
        (lambda: telescope().section(field_radius_mm=500), "field_radius_mm"),
        (lambda: telescope().misplacement_effects(nod_arcmin=1e4), "nod_arcmin"),
        (lambda: telescope().misplacement_effects(wavelength_nm=0), "wavelength_nm"),
        (
            lambda: ct.cone_on_flat(primary=primary(), axis_to_focus_mm=100),
            "axis_to_focus_mm",
        ),
        (
            lambda: telescope().cone_on_flat().clearance(minor_axis_mm=-70),
            "minor_axis_mm",
        ),
    ],
)
def test_refused_by_name(make, field):
    assert refusal(make).field.endswith(field)


def test_the_section_is_drawn_to_scale():
    axes = telescope().section(field_radius_mm=10, enclosure=shroud()).plot()
    near = axes.figure.axes[1]
    assert axes.get_aspect() == 1
    assert near.get_aspect() == 1
    assert "(mm)" in axes.get_xlabel()
    assert "(mm)" in axes.get_ylabel()
    texts = {text.get_text() for panel in (axes, near) for text in panel.texts}
    assert {"mirror", "focal plane", "diagonal", "drawtube"} <= texts
    plt.close(axes.figure)
    _, own = plt.subplots()
    assert telescope().section().plot(ax=own) is own
    plt.close(own.figure)


def test_lines_of_sight_in_the_section_are_open_where_the_solid_angles_say():
    train = telescope()
    sheet = train.closing_baffle(field_radius_mm=10, axis_to_baffle_mm=185).baffle
    for enclosure, is_open in ((ct.Enclosure(), True), (ct.Enclosure(baffle=sheet), False)):
        section = train.section(field_radius_mm=10, enclosure=enclosure)
        axes = ct.plotting.sights_in_section(section)
        notes = " ".join(text.get_text() for text in axes.texts)
        assert ("heavy: 0 lines" not in notes) == is_open
        assert (
            train.sight_lines(field_radius_mm=10, enclosure=enclosure).open_sr.max() > 0
        ) == is_open
        plt.close(axes.figure)
    with pytest.raises(ValueError, match="without a diagonal"):
        ct.plotting.sights_in_section(bare().section())


def test_bars_add_up_to_the_whole_view():
    seen = telescope().sight_lines(field_radius_mm=10, enclosure=shroud())
    axes = seen.plot()
    heights = np.zeros(len(seen.along_mm))
    for bars in axes.containers:
        heights += [bar.get_height() for bar in bars]
    np.testing.assert_allclose(heights, 100, rtol=1e-9)
    plt.close(axes.figure)
