"""Batches of diagonals: rows against single trains, streaming, progress, advice, bad input."""

import subprocess
import sys
import threading
import time

import catoptric as ct
import matplotlib as mpl
import numpy as np
import pytest
from samples import diagonals, newtonian

mpl.use("Agg")

import matplotlib.pyplot as plt

TUBE = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)


def ponds(**changes):
    """Return the invented 406 mm f/5 with its eyepiece 303 mm from the axis."""
    parts = {
        "primary": ct.Primary(clear_aperture_mm=406, focal_length_mm=2030),
        "diagonal": ct.Diagonal(minor_axis_mm=70),
        "focal_plane": ct.FocalPlane(axis_to_focus_mm=303),
        "front_opening": ct.Opening(diameter_mm=460, above_vertex_mm=2150),
        "drawtube": ct.Drawtube(bore_mm=47, length_mm=70, outer_end_to_focus_mm=18),
    }
    return ct.Train(**(parts | changes))


OFFERS = [63.5, 66, 70, 79.4, 88.9, 101.6]


def many(rows=50_000, **changes):
    """Return a batch of so many rows, each quick."""
    sizes = np.linspace(60, 110, 50)
    heights = 300 + 0.01 * np.arange(rows // 50)
    return ct.DiagonalBatch(
        ponds(), minor_axis_mm=sizes, field_radius_mm=[0, 15], axis_to_focus_mm=heights, **changes
    )


def test_rows_are_those_of_single_trains():
    found = ct.compare_diagonals(
        newtonian(drawtube=TUBE), minor_axis_mm=[70, 55], field_radius_mm=[0, 14]
    )
    table = found.table()
    for i, size in enumerate([70, 55]):
        train = newtonian(drawtube=TUBE, diagonal=ct.Diagonal(minor_axis_mm=size))
        light = train.illumination(radius_mm=[0, 14])
        assert table["on_axis"][i] == pytest.approx(light.on_axis, abs=1e-9)
        assert table["relative_worst_at_14_mm"][i] == pytest.approx(light.worst[1], abs=2e-9)
        assert table["relative_mean_at_14_mm"][i] == pytest.approx(light.mean[1], abs=2e-9)
        assert table["offset_mm"][i] == train.diagonal_offset_mm
        lost = -2.5 * np.log10(light.on_axis)
        assert table["lost_on_axis_magnitudes"][i] == pytest.approx(lost, abs=1e-8)


def test_the_ponds_tell_their_story():
    camera = ponds(
        focal_plane=ct.FocalPlane(axis_to_focus_mm=340),
        drawtube=ct.Drawtube(bore_mm=47, length_mm=70, outer_end_to_focus_mm=55),
    )
    found = ct.compare_diagonals([ponds(), camera], minor_axis_mm=OFFERS, field_radius_mm=[0, 20])
    table = found.table()
    assert table["train"].tolist() == [0] * 6 + [1] * 6
    cut = table["clipped_axis"] & (table["train"] == 1)
    assert table["minor_axis_mm"][cut].tolist() == [63.5, 66]
    assert 375 < table["acts_as_aperture_mm"][6] < 380
    assert any("works as one of 37" in words for words in found.findings)
    beyond = [words for words in found.findings if words.startswith("Beyond 88.9 mm")]
    assert "the drawtube's" in beyond[0]
    assert beyond[0].endswith("is the stop.")


def test_drawtubes_are_named_by_their_bore():
    tubes = [
        ct.Drawtube(bore_mm=bore, length_mm=length, outer_end_to_focus_mm=18)
        for bore, length in [(47, 70), (65, 70), (65, 60)]
    ]
    sizes = {"minor_axis_mm": [88.9, 101.6], "field_radius_mm": [0, 20]}
    two = ct.compare_diagonals(ponds(), drawtubes=tubes[:2], **sizes)
    assert two.batch.drawtubes == tuple(tubes[:2])
    assert "and the drawtube of 47 mm, because" in two.findings[0]
    legend = [text.get_text() for text in two.plot().get_legend().get_texts()]
    assert [words.split(", ")[1] for words in legend] == ["drawtube of 47 mm", "drawtube of 65 mm"]
    plt.close("all")
    # Two of one bore are told apart by their numbers.
    alike = ct.compare_diagonals(ponds(), drawtubes=tubes[1:], **sizes)
    legend = [text.get_text() for text in alike.plot().get_legend().get_texts()]
    assert [words.split(", ")[1] for words in legend] == ["drawtube 0", "drawtube 1"]
    plt.close("all")
    assert ct.DiagonalBatch(ponds(), **sizes).drawtubes == ()


def test_unsorted_sizes_keep_their_order():
    given = [79.4, 63.5, 101.6]
    found = ct.compare_diagonals(ponds(), minor_axis_mm=given, field_radius_mm=[10])
    assert found.minor_axis_mm.tolist() == given
    sort = np.argsort(given)
    other = ct.compare_diagonals(ponds(), minor_axis_mm=sorted(given), field_radius_mm=[10])
    np.testing.assert_array_equal(found.on_axis[sort], other.on_axis)
    np.testing.assert_array_equal(found.dominated[sort], other.dominated)


def test_pieces_and_parts_are_the_whole():
    batch = diagonals()
    whole = batch.run()
    pieces = list(batch.chunks(rows=4))
    for name, column in whole.table().items():
        if name != "dominated":  # known only where all candidates are
            joined = np.concatenate([piece[name] for piece in pieces])
            np.testing.assert_array_equal(joined, column)
    parts = [batch.part(k, of=4).run() for k in range(4)]
    assert ct.DiagonalComparison.join(parts) == whole
    with pytest.raises(ct.InputError, match="out of order"):
        ct.DiagonalComparison.join(parts[::-1])


def test_progress_rises_to_the_end():
    seen = []
    found = many(20_000).run(progress=lambda done, total: seen.append((done, total)))
    assert len(found) == 20_000
    assert seen[-1] == (20_000, 20_000)
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)


def test_what_a_callback_raises_comes_back_unchanged():
    class OwnError(Exception):
        pass

    mine = OwnError("enough")

    def progress(done, total):
        if done < total:
            raise mine

    start = time.monotonic()
    with pytest.raises(OwnError) as caught:
        many(400_000).run(progress=progress)
    assert caught.value is mine
    # One glance is 0.05 s; all rows would take many seconds.
    assert time.monotonic() - start < 5
    assert not [t for t in threading.enumerate() if t.name.startswith("catoptric")]


def test_ten_million_rows_are_refused_with_their_memory_and_streamed():
    batch = ct.DiagonalBatch(
        ponds(),
        minor_axis_mm=np.linspace(60, 110, 10_000),
        field_radius_mm=[0],
        axis_to_focus_mm=np.linspace(290, 340, 1000),
    )
    assert len(batch) == 10_000_000
    with pytest.raises(ct.InputError, match=r"GB") as caught:
        batch.run()
    assert "chunks" in str(caught.value)
    assert next(iter(batch.chunks(rows=7))).rows == 7


@pytest.mark.skipif(sys.platform != "linux", reason="reads the peak of the resident memory")
def test_memory_does_not_grow_with_the_number_of_rows():
    program = """
import resource, sys
import numpy as np, catoptric as ct
sys.path.insert(0, "tests/python")
from test_diagonals import many
def peak_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
rows = 0
for number, table in enumerate(many(40_000, azimuths=4).chunks(rows=2000)):
    rows += table.rows
    if number == 3:
        early = peak_mb()
assert rows == 40_000
print(peak_mb() - early)
"""
    grown = subprocess.run(
        [sys.executable, "-c", program], check=True, capture_output=True, text=True, timeout=300
    )
    # 40 000 rows held at once would be 20 MB and more.
    assert float(grown.stdout) < 6


def test_advice_says_its_weights_and_its_reason():
    found = ct.compare_diagonals(ponds(), minor_axis_mm=OFFERS, field_radius_mm=[0, 20])
    planets, sensor = found.recommend(aim="planets"), found.recommend(aim="sensor")
    assert planets.alike_mm[0] < sensor.alike_mm[0]
    assert planets.weights["contrast"] > sensor.weights["contrast"]
    assert any(words.startswith("Beyond 88.9 mm") for words in planets.reasons)
    table = planets.table()
    weights = planets.weights
    worths = ["contrast", "axis_light", "edge_light", "fully_lit"]
    score = sum(weights[name] * table[name] for name in worths) / sum(weights[n] for n in worths)
    np.testing.assert_allclose(table["score"], score, rtol=1e-12)
    one = found.recommend(aim="planets", weights=dict.fromkeys(worths, 0) | {"edge_light": 1})
    assert one.table()["minor_axis_mm"][0] == found.minor_axis_mm[np.argmax(found.edge_light)]


def test_light_by_size_agrees_with_the_exact_rows():
    sizes = np.linspace(60, 100, 30)
    light = ct.light_by_size(ponds(), minor_axis_mm=sizes, x_arcmin=[0], y_arcmin=[0], rays=100_000)
    exact = ct.compare_diagonals(ponds(), minor_axis_mm=sizes, field_radius_mm=[0]).on_axis
    np.testing.assert_allclose(light[0], exact, atol=1e-4)


GOOD = {"minor_axis_mm": [66, 79.4], "field_radius_mm": [0, 15]}
BAD = [
    ({"minor_axis_mm": []}, "minor_axis_mm", "one size or more"),
    ({"minor_axis_mm": [66, 66]}, "minor_axis_mm[1]", "two offers of one size"),
    ({"minor_axis_mm": [66, 500]}, "minor_axis_mm[1]", "the primary's own diameter"),
    ({"field_radius_mm": []}, "field_radius_mm", "one radius or more"),
    ({"field_radius_mm": [-1]}, "field_radius_mm[0]", "a sign"),
    ({"field_radius_mm": [300]}, "field_radius_mm[0]", "half of the smallest clear aperture"),
    ({"axis_to_focus_mm": [190]}, "axis_to_focus_mm[0]", "half the clear aperture"),
    ({"price": [10, -5]}, "price[1]", "a number of 0 or more"),
    ({"price": [10]}, "price", "one price a size"),
    ({"azimuths": 1}, "azimuths", "from 2"),
    ({"detail_arcsec": [0.05]}, "detail_arcsec[0]", "every mirror resolves"),
    ({"offset": "large"}, "offset", "'fitted' or 'none'"),
    ({"offset": "none", "offset_mm": 2}, "offset", "offset_mm alone"),
    ({"offset_mm": 40}, "minor_axis_mm[0]", "twice a stated offset"),
]


@pytest.mark.parametrize(("change", "field", "words"), BAD)
def test_bad_batches_are_refused(change, field, words):
    with pytest.raises(ct.InputError) as caught:
        ct.DiagonalBatch(ponds(), **(GOOD | change))
    fields = {problem.field for problem in caught.value.problems}
    assert field in fields
    assert words in str(caught.value)


def test_what_is_no_train_is_refused():
    for wrong in (3, [ponds(), "a train"]):
        with pytest.raises(ct.InputError, match="a Train or a list"):
            ct.DiagonalBatch(wrong, **GOOD)
    with pytest.raises(ct.InputError, match="one train or more"):
        ct.DiagonalBatch([], **GOOD)


def test_one_candidate_works():
    found = ct.compare_diagonals(ponds(), minor_axis_mm=[79.4], field_radius_mm=[10])
    assert len(found) == 1
    assert not found.dominated[0]
    assert "one size alone" in found.recommend(aim="planets").words
    found.plot()


def test_bad_questions_to_a_comparison():
    found = diagonals().run()
    for ask, field in (
        (lambda: found.recommend(aim="comets"), "aim"),
        (lambda: found.recommend(aim="planets", weights={"colour": 1}), "weights"),
        (lambda: found.recommend(aim="planets", weights={"price": -1}), "weights.price"),
        (lambda: found.by("beauty"), "criteria"),
        (lambda: diagonals().part(3, of=3), "k"),
        (lambda: diagonals().chunks(rows=0), "rows"),
    ):
        with pytest.raises(ct.InputError) as caught:
            ask()
        assert caught.value.field == field
