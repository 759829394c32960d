"""Masks over an edge: against outside truth, with progress and Ctrl-C, and what is refused."""

import itertools
import os
import signal
import threading
import time

import catoptric as ct
import numpy as np
import pytest
from samples import HILL, newtonian, primary, readings, rows

MASKS = [315, 312, 308, 300, 280]


def mirror(row):
    edge = ct.TurnedEdge(width_mm=row["edge_width_mm"], drop_nm=row["edge_drop_nm"])
    return newtonian(
        primary=primary(conic=row["conic"], figure=[edge, HILL]),
        diagonal=ct.Diagonal(minor_axis_mm=70, offset_mm=0),
    )


@pytest.fixture(scope="module")
def figure():
    return readings("before").reduce(obstruction_ratio=70 / 318, draws=400)


def test_exact_paths_behind_masks():
    truths = rows("mask", kind="exact", name="before")
    sweep = ct.mask_sweep(mirror(truths[0]), diameters_mm=MASKS, detail_arcsec=[])
    for truth in truths:
        where = truth["mask_diameter_mm"]
        row = sweep.unmasked if where == 318 else sweep.at(diameter_mm=where)
        assert abs(row.strehl - truth["strehl"]) < 1e-6
        assert abs(row.fwhm_arcsec - truth["fwhm_arcsec"]) < 1e-6
        assert abs(row.airy_energy - truth["airy_energy"]) < 1e-5
        assert abs(row.own_airy_energy - truth["own_airy_energy"]) < 1e-5
        assert row.strehl_interval is None


def test_the_contrast_is_that_of_the_masked_train():
    train = newtonian(
        primary=primary(conic=-0.9, figure=[HILL]), spider=ct.Spider(vanes=4, thickness_mm=1)
    )
    air = ct.Seeing(fwhm_arcsec=1.5)
    sweep = ct.mask_sweep(
        train, diameters_mm=[300], detail_arcsec=[0.6, 1.5], seeing=air, star_image=False
    )
    masked = train.with_primary(mask_diameter_mm=300)
    scale = 180 * 3600 / np.pi / 1558
    through = masked.mtf(frequency_per_mm=scale / np.array([0.6, 1.5]), focus="peak")
    np.testing.assert_allclose(sweep.contrast[0], through.contrast_mean, atol=2e-5)
    left = [
        air.transfer([1 / 0.6], wavelength_nm=550)[0],
        air.transfer([1 / 1.5], wavelength_nm=550)[0],
    ]
    np.testing.assert_allclose(sweep.seeing_contrast[0], left * sweep.contrast[0], rtol=1e-9)
    lit = masked.light().lit_fraction / train.light().lit_fraction
    assert abs(sweep.light[0] - lit) < 1e-7
    gain = sweep.contrast[0] - np.array(sweep.unmasked.contrast)
    np.testing.assert_allclose(sweep.contrast_gain[0], gain, rtol=1e-12)


def test_readings_with_their_uncertainty(figure):
    sweep = ct.mask_sweep(figure, diameters_mm=np.arange(298, 318), star_image=False)
    assert sweep.draws == 400
    assert sweep.seed == 1
    for truth in rows("mask", kind="exact", name="before"):
        if truth["mask_diameter_mm"] in (312, 308, 300):
            low, high = sweep.at(diameter_mm=truth["mask_diameter_mm"]).strehl_interval
            assert low < truth["strehl"] < high
    low, high = sweep.plateau_mm
    assert low <= 308
    assert high >= 312
    assert low <= sweep.recommended_mm <= high
    # Figures drawn on another grid: ends scatter by more with few draws.
    own = figure.strehl_total_interval
    assert np.abs(np.subtract(sweep.unmasked.strehl_interval, own)).max() < 0.04
    assert "interval" in " ".join(sweep.remarks)
    table = sweep.table()
    assert {"strehl_low", "contrast_gain_at_1_arcsec_high", "probability_rises"} <= set(table)


def test_a_train_beside_readings_gives_shadow_and_light(figure):
    train = newtonian(spider=ct.Spider(vanes=4, thickness_mm=3))
    asked = {"diameters_mm": [310], "detail_arcsec": [], "star_image": False}
    plain = ct.mask_sweep(figure, **asked)
    beside = ct.mask_sweep(figure, train=train, **asked)
    assert abs(beside.obstruction_ratio - 70 / 318) < 1e-9
    masked = train.with_primary(mask_diameter_mm=310).light().lit_fraction
    assert abs(beside.light[0] - masked / train.light().lit_fraction) < 1e-6
    assert abs(beside.strehl[0] - plain.strehl[0]) < 1e-9


def test_readings_are_reduced_on_the_way():
    asked = {"diameters_mm": [310], "detail_arcsec": [], "star_image": False}
    given = ct.mask_sweep(readings("before"), train=newtonian(), **asked)
    reduced = readings("before").reduce(obstruction_ratio=70 / 318)
    assert given == ct.mask_sweep(reduced, train=newtonian(), **asked)


def test_order_is_kept_and_results_do_not_depend_on_neighbours(figure):
    several = ct.mask_sweep(newtonian(), diameters_mm=[300, 316, 308], detail_arcsec=[1])
    assert several.diameter_mm.tolist() == [300, 316, 308]
    alone = ct.mask_sweep(newtonian(), diameters_mm=[316], detail_arcsec=[1])
    assert alone.strehl[0] == several.strehl[1]


@pytest.mark.parametrize(
    ("clear_aperture_mm", "details"), [(318, [0.5, 1, 2]), (150, [1, 2]), (50, [])]
)
def test_the_usual_details_are_those_that_the_mirror_resolves(clear_aperture_mm, details):
    # Resolved is what is coarser than lambda/D: 0.36, 0.76 and 2.27 arcsec.
    primary = ct.Primary(clear_aperture_mm=clear_aperture_mm, focal_length_mm=1500)
    train = ct.Train(primary=primary)
    sweep = ct.mask_sweep(train, diameters_mm=[0.9 * clear_aperture_mm], star_image=False)
    assert sweep.detail_arcsec.tolist() == details
    assert sweep.contrast.shape == (1, len(details))


def test_progress_counts_to_the_end(figure):
    seen = []
    ct.mask_sweep(figure, diameters_mm=[310, 312], progress=lambda *done: seen.append(done))
    assert seen[-1][0] == seen[-1][1] > 3
    assert all(a[0] <= b[0] for a, b in itertools.pairwise(seen))
    with pytest.raises(ZeroDivisionError):
        ct.mask_sweep(figure, diameters_mm=[310, 312], progress=lambda done, total: 1 / 0)


def test_ctrl_c_ends_a_long_sweep(figure):
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    asked = []

    def ask():
        asked.append(time.monotonic())
        os.kill(os.getpid(), signal.SIGINT)

    try:
        timer = threading.Timer(0.3, ask)
        timer.start()
        with pytest.raises(KeyboardInterrupt):
            ct.mask_sweep(figure, diameters_mm=np.linspace(200, 318, 900))
        waited = time.monotonic() - asked[0]
        timer.join()
    finally:
        signal.signal(signal.SIGINT, before)
    # A glance every 0.05 s; the rest is a busy machine.
    assert waited < 0.2


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("diameters_mm", {"diameters_mm": []}),
        ("diameters_mm[0]", {"diameters_mm": [319]}),
        ("diameters_mm[1]", {"diameters_mm": [300, 70]}),
        ("diameters_mm[0]", {"diameters_mm": [-300]}),
        ("diameters_mm[0]", {"diameters_mm": [float("nan"), 300]}),
        ("diameters_mm[2]", {"diameters_mm": [300, 310, 300]}),
        ("detail_arcsec[0]", {"detail_arcsec": [0.3]}),
        ("seeing", {"detail_arcsec": [], "seeing": ct.Seeing(fwhm_arcsec=2)}),
        ("rise", {"rise": 5}),
        ("rise", {"rise": 0}),
        ("wavelength_nm", {"wavelength_nm": 0.55}),
    ],
)
def test_what_cannot_be_swept_is_refused(field, changes):
    given = {"diameters_mm": [310], "detail_arcsec": [1]} | changes
    with pytest.raises(ct.InputError) as caught:
        ct.mask_sweep(newtonian(), **given)
    assert caught.value.problems[0].field == field


def test_what_is_no_mirror_is_refused(figure):
    given = {"diameters_mm": [310]}
    with pytest.raises(ct.InputError, match="numbers on paper"):
        ct.mask_sweep("before", **given)
    with pytest.raises(ct.InputError, match="second train"):
        ct.mask_sweep(newtonian(), train=newtonian(), **given)
    with pytest.raises(ct.InputError, match="another telescope"):
        ct.mask_sweep(figure, train=newtonian(primary=primary(focal_length_mm=1900)), **given)
    with pytest.raises(TypeError):
        ct.mask_sweep(newtonian(), seeing=1.5, **given)
    with pytest.raises(ct.InputError):
        ct.mask_sweep(newtonian(), **given).at(diameter_mm=311)


@pytest.mark.parametrize("step", [30.0, 68.0, 100.0, 207.0, 260.0])
@pytest.mark.parametrize("share", [0.01, 0.2, 0.6, 0.7])
def test_the_bound_is_the_sign_of_the_change(share, step):
    bound = ct.masking_bound(area_share=share, surface_step_nm=step)
    open_peak = abs(1 - share + share * np.exp(4j * np.pi * step / 550)) ** 2
    assert abs(bound.open_peak - open_peak) < 1e-12
    assert bound.raises_peak == ((1 - share) ** 2 > open_peak)
    if bound.raising_step_nm is None:
        assert share > 2 / 3


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("area_share", {"area_share": 0}),
        ("area_share", {"area_share": 5}),
        ("surface_step_nm", {"surface_step_nm": 1e9}),
        ("wavelength_nm", {"wavelength_nm": 5500}),
    ],
)
def test_a_bound_of_nothing_is_refused(field, changes):
    given = {"area_share": 0.1, "surface_step_nm": 100} | changes
    with pytest.raises(ct.InputError) as caught:
        ct.masking_bound(**given)
    assert caught.value.problems[0].field == field
