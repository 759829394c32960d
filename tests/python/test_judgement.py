"""Works, the value ladder, and the judgement of a train."""

import html
import pickle

import catoptric as ct
import numpy as np
import pandas as pd
import pytest
from samples import bare, newtonian, primary, readings, sheet

NAN = float("nan")


def refusal(make, *arguments, **keywords):
    with pytest.raises(ct.InputError) as caught:
        make(*arguments, **keywords)
    return caught.value


def fenlight(*works, **options):
    train = newtonian(
        primary=primary(coating=ct.Coating(reflectance=0.86)),
        diagonal=ct.Diagonal(minor_axis_mm=70, reflectance=0.85),
    )
    return ct.value_ladder(train, readings("before"), works, **options)


def gain(row, name):
    (found,) = (g for g in row.gains if g.name == name)
    return found


MASK = ct.Work.mask(diameter_mm=308, price=4)
COAT = ct.Work.recoat(mirror="primary", reflectance=0.91, price=240)
PROMISE = ct.Work.refigure(after_rms_nm=(5, 20), recoat_reflectance=0.91, price=880)


def test_intervals_of_gains_are_those_of_the_draws():
    row = fenlight(MASK).rows[0]
    for quantity in row.gains[:2]:
        gains = np.sort(quantity.after_draws - quantity.before_draws)
        assert np.median(gains) == pytest.approx(quantity.median_gain, abs=1e-12)
        # numpy.quantile(method="hazen"), and the shortest stretch that holds 95 %.
        tails = np.quantile(gains, [0.025, 0.975], method="hazen")
        steps = int(0.95 * len(gains))
        best = np.argmin(gains[steps:] - gains[:-steps])
        low, high = min(tails[0], gains[best]), max(tails[1], gains[best + steps])
        assert quantity.gain_interval == pytest.approx((low, high), abs=1e-12)
    # Resampled, the ends of the interval scatter around those that are told.
    strehl = gain(row, "Strehl ratio")
    rng = np.random.default_rng(3)
    again = [
        np.quantile(rng.choice(strehl.after_draws - strehl.before_draws, 2000), [0.025, 0.975])
        for _ in range(40)
    ]
    ends = np.array(again)
    assert np.all(np.abs(ends.mean(axis=0) - strehl.gain_interval) < 0.01)


def test_the_draws_are_the_same_figures_as_those_of_the_estimate():
    figure = readings("before").reduce(obstruction_ratio=70 / 318)
    strehl = gain(fenlight(MASK).rows[0], "Strehl ratio")
    # One seed, one prior: but for the quadrature through the ring and a shift, the same numbers.
    shift = np.median(strehl.before_draws - figure.strehl_total_draws)
    np.testing.assert_allclose(
        strehl.before_draws - shift, figure.strehl_total_draws, atol=2e-3, rtol=0
    )
    assert abs(shift) < 0.02


def test_light_of_a_recoat_is_a_product():
    light = gain(fenlight(COAT).rows[0], "light")
    area = 1 - (70 / 318) ** 2
    assert light.before == pytest.approx(area * 0.86 * 0.85, abs=1e-9)
    assert light.after == pytest.approx(area * 0.91 * 0.85, abs=1e-9)
    assert light.gain_per_price == light.median_gain / 240
    assert (light.basis, light.proven) == ("described", True)


def test_a_promise_is_said_to_be_one():
    found = fenlight(MASK, COAT, PROMISE, currency="crowns")
    assert len(found) == 5
    assert found.left_out == [
        "recoat of the primary and refigure and recoat: "
        "the refigure brings a new coat of the primary already."
    ]
    (row,) = (r for r in found.rows if r.name == "refigure and recoat")
    assert "if the promise is kept" in row.words
    assert "880 crowns" in row.words
    assert gain(row, "Strehl ratio").basis == "promised"
    assert row.train_after.primary.coating.reflectance == 0.91


def test_the_table_goes_to_other_readers():
    found = fenlight(MASK, COAT)
    frame = pd.DataFrame(found.table())
    assert frame["name"].tolist() == [row.name for row in found.rows]
    assert frame["price"].tolist() == [row.price for row in found.rows]
    column = frame["contrast_at_1_arcsec_gain_high"].tolist()
    assert column == [gain(r, "contrast at 1 arcsec").gain_interval[1] for r in found.rows]
    assert "usable_field_after_mm" in frame
    assert ct.value_ladder(bare()).table().rows == 0


def test_weights_and_details_are_the_callers():
    works = [ct.Work.mask(diameter_mm=250, price=10), COAT]
    dull = bare(conic=-0.7, coating=ct.Coating(reflectance=0.6))
    by = {
        name: ct.value_ladder(dull, works=works, weights={"contrast": 0, "light": 0, name: 1})
        for name in ("contrast", "light")
    }
    assert by["light"].rows[0].name != by["contrast"].rows[0].name
    assert by["light"].weights == {"contrast": 0, "light": 1, "field": 1}
    air = ct.Seeing(fwhm_arcsec=2)
    seen = ct.value_ladder(dull, works=works, details_arcsec=[1, 2], seeing=air)
    names = [g.name for g in seen.rows[0].gains]
    assert names == [
        *("Strehl ratio", "contrast at 1 arcsec", "contrast at 2 arcsec"),
        "contrast at 1 arcsec in 2.0 arcsec of seeing",
        "contrast at 2 arcsec in 2.0 arcsec of seeing",
        *("light", "usable field"),
    ]


def test_a_judgement_says_what_to_do_and_keeps_what_it_rests_on():
    train = newtonian()
    found = ct.judgement(train, readings("before"), [MASK, PROMISE], draws=400)
    assert found.verdict.startswith("First: ")
    assert [n.name for n in found.numbers] == [
        *("Strehl ratio", "gathers light like a clear aperture of", "contrast at 1 arcsec")
    ]
    strehl = found.numbers[0]
    assert strehl.low < 0.770 < strehl.high  # the invented mirror's own, at the peak focus
    assert found.train == train
    assert (
        found.train_now.primary.figure[0]
        == readings("before").reduce(obstruction_ratio=70 / 318, draws=400).as_layer()
    )
    assert found.figure_words == "the figure of the plain reduction"
    assert found.evidence.readings == readings("before")
    assert (found.draws, found.seed, found.focus) == (400, 1, "peak")
    assert len(found.next) > 1
    assert "Strehl" in found.next[-1]
    assert found.works == [MASK, PROMISE]
    assert pickle.loads(pickle.dumps(found)) == found
    for word in ("Sun", "Laser", "glass", "chemicals", "Ladders", "certificate"):
        assert any(word in caution for caution in found.cautions)


def test_mask_edge_and_coating_stand_beside_the_ladder():
    found = ct.judgement(newtonian(), readings("before"), [MASK, COAT], draws=400)
    sweep = found.mask
    # The invented mirror's own Strehl ratios at the peak focus behind each mask.
    for diameter_mm, truth in ((312, 0.862), (308, 0.892)):
        (at,) = np.flatnonzero(np.abs(np.asarray(sweep.diameter_mm) - diameter_mm) < 1e-9)
        assert sweep.strehl_low[at] < truth < sweep.strehl_high[at]
    assert sweep.plateau_mm[0] <= 308
    assert sweep.plateau_mm[1] >= 312
    (edge,) = found.edge
    assert "mm" in edge
    diagonal = newtonian().diagonal.reflectance
    own = newtonian().primary.coating.reflectance
    assert found.coating.throughput == pytest.approx(own * diagonal, abs=1e-9)
    assert found.coating.fresh.primary_reflectance == 0.91
    assert pickle.loads(pickle.dumps(found)) == found
    page = html.unescape(found.to_html())
    for words in (sweep.words, sweep.reason, edge, *found.coating.words):
        assert words in page
    assert len(found.verdict) < 260


def test_what_was_not_measured_brings_no_edge():
    turned = newtonian(primary=primary(figure=[ct.TurnedEdge(width_mm=9, drop_nm=400)]))
    described = ct.judgement(turned, works=[MASK, COAT])
    assert described.edge == []
    assert described.coating is not None
    assert np.max(described.mask.strehl) > described.numbers[0].value + 0.05
    on_paper = ct.judgement(newtonian(), sheet(), [MASK])
    assert (on_paper.mask, on_paper.edge, on_paper.coating) == (None, [], None)
    for found in (described, on_paper):
        assert pickle.loads(pickle.dumps(found)) == found


def test_a_recoat_takes_all_of_the_old_coat_away():
    film = ct.MetalFilm(metal="aluminium", thickness_nm=25)
    ring = ct.ThinRing(inner_radius_mm=60, outer_radius_mm=100, thickness_nm=22)
    coat = ct.Coating(metal=ct.MetalCoat(film=film, rings=[ring]), pinhole_share=0.01)
    worn = newtonian(
        primary=primary(coating=coat), diagonal=ct.Diagonal(minor_axis_mm=70, film=film)
    )
    both = ct.Work.recoat(mirror="both", reflectance=(0.91, 0.94), price=270)
    smaller = ct.Work.change_diagonal(minor_axis_mm=63.5, price=60)
    after = {r.name: r.train_after for r in ct.value_ladder(worn, works=[both, smaller]).rows}
    fresh = after["recoat of both mirrors"]
    assert fresh.primary.coating == ct.Coating(reflectance=0.91)
    assert (fresh.diagonal.film, fresh.diagonal.reflectance) == (None, 0.94)
    assert after["diagonal of 63.5 mm"].diagonal.film == film


def test_readings_that_cannot_tell_are_said_to():
    work = ct.Work.mask(diameter_mm=312, price=4)
    found = ct.judgement(newtonian(), readings("after"), [work], draws=400)
    assert found.verdict.startswith("What was measured cannot tell")
    assert found.ladder.rows[0].no_proven_gain


def test_numbers_on_paper_prove_no_mask():
    found = ct.judgement(newtonian(), sheet(), [MASK])
    (row,) = found.ladder.rows
    assert gain(row, "Strehl ratio").basis == "assumed_shape"
    assert row.no_proven_gain
    assert found.figure_words == "spherical aberration of the stated RMS"
    assert any("do not say where" in line for line in found.next)


def test_what_was_measured_after_a_refigure_is_drawn_beside_what_was_before():
    work = ct.Work.refigure(after=readings("after"), price=880)
    strehl = gain(fenlight(work).rows[0], "Strehl ratio")
    assert strehl.basis == "drawn"
    assert strehl.gain_interval[0] < 0.988 - 0.770 < strehl.gain_interval[1]  # the invented truth
    assert work.after.readings == readings("after")


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: ct.Work.mask(diameter_mm=308, price=-4), "price"),
        (lambda: ct.Work.mask(diameter_mm=308, price=NAN), "price"),
        (lambda: ct.Work.mask(diameter_mm=NAN, price=4), "diameter_mm"),
        (lambda: ct.Work.mask(diameter_mm=308, price=4, name=" "), "name"),
        (lambda: ct.Work.recoat(mirror="primary", reflectance=91, price=1), "primary_reflectance"),
        (lambda: ct.Work.recoat(mirror="finder", reflectance=0.9, price=1), "mirror"),
        (lambda: ct.Work.recoat(mirror="primary", reflectance=[0.9, 0.9], price=1), "reflectance"),
        (lambda: ct.Work.refigure(price=1), "after"),
        (lambda: ct.Work.refigure(price=1, after="perfect"), "after"),
        (lambda: ct.Work.refigure(price=1, after=3), "after"),
        (lambda: ct.Work.refigure(price=1, after_rms_nm=(20, 5)), "after_rms_nm"),
        (lambda: ct.Work.refigure(price=1, after_rms_nm=[5]), "after_rms_nm"),
        (lambda: ct.value_ladder(bare(), works=[MASK, MASK]), "works[1].name"),
        (lambda: ct.value_ladder(bare(), works=["mask"]), "works[0]"),
        (lambda: ct.value_ladder(bare(), weights={"strehl": 1}), "weights"),
        (lambda: ct.value_ladder(bare(), details_arcsec=[]), "details_arcsec"),
        (lambda: ct.value_ladder(bare(), field_loss_magnitudes=-1), "field_loss_magnitudes"),
        (
            lambda: ct.value_ladder(
                bare(), works=[ct.Work.change_diagonal(minor_axis_mm=60, price=1)]
            ),
            "works[0].diagonal",
        ),
        (
            lambda: ct.judgement(bare(clear_aperture_mm=300), readings("before")),
            "evidence.clear_aperture_mm",
        ),
        (lambda: ct.judgement(bare(), 3), "evidence"),
    ],
)
def test_bad_input_names_its_field(make, field):
    assert refusal(make).problems[0].field == field
