"""Noisy repeats of readings, against quadratures and random numbers made elsewhere."""

import math
import os
import subprocess
import sys
from pathlib import Path

import catoptric as ct
import numpy as np
import pytest
from samples import readings
from scipy import stats

OPENINGS, SIGMA_MM, RADIUS_MM, RATIO = 12, 0.05, 3116.0, 0.22
RIMS_MM = 20.0 + 139.0 * np.sqrt(np.arange(OPENINGS + 1) / OPENINGS)
OFF_MM = 0.05 * np.sin(1.3 * np.arange(OPENINGS)) + 0.004 * np.arange(OPENINGS)
OPTIONS = {"reading_sigma_mm": SIGMA_MM, "obstruction_ratio": RATIO}


def twelve():
    """Return readings of an invented mirror through openings that touch."""
    return ct.KnifeEdgeReadings(
        clear_aperture_mm=318,
        radius_of_curvature_mm=RADIUS_MM,
        source="moving",
        readings_increase="away_from_mirror",
        inner_radius_mm=RIMS_MM[:-1],
        outer_radius_mm=RIMS_MM[1:],
        runs_mm=(RIMS_MM[:-1] ** 2 + RIMS_MM[1:] ** 2) / (4.0 * RADIUS_MM) + OFF_MM,
    )


def phases(errors_mm):
    """Return the phases at best focus at many rings, and the rings' shares of the light.

    Heights straight in r^2 from rim to rim, W = 2h/(1 + (r/R)^2); 800 midpoints in each opening.
    """
    knots = np.concatenate([[0.0], RIMS_MM[1:]]) ** 2
    inner = (RATIO * RIMS_MM[-1]) ** 2
    low, high = np.maximum(knots[:-1], inner), np.maximum(knots[1:], inner)
    share = (np.arange(800) + 0.5) / 800
    square = (low[:, None] + (high - low)[:, None] * share).ravel()
    weight = np.repeat((high - low) / 800, 800) / (high - low).sum()
    square, weight = square[weight > 0], weight[weight > 0]
    rises = -1e6 / (2.0 * RADIUS_MM**2) * np.diff(knots) * errors_mm
    heights = np.concatenate([np.zeros((len(errors_mm), 1)), np.cumsum(rises, axis=1)], axis=1)
    height = np.array([np.interp(square, knots, row) for row in heights])
    tilt = 1.0 / (1.0 + square / RADIUS_MM**2)
    wave, t = 2.0 * tilt * height, tilt * square
    t = t - weight @ t
    wave = wave - (wave @ weight)[:, None]
    wave = wave - np.outer(wave @ (weight * t) / (weight @ t**2), t)
    return 2.0 * np.pi / 550.0 * wave, weight


def test_each_repeat_is_what_rings_give_for_its_readings():
    study = twelve().noise_study(repeats=300, **OPTIONS)
    phase, weight = phases(study.zone_errors_mm(first=0, count=300))
    strehl = np.abs(np.exp(1j * phase) @ weight) ** 2
    np.testing.assert_allclose(study.strehl_least_rms, strehl, rtol=0, atol=1e-7)
    rms_nm = 550.0 / (2.0 * np.pi) * np.sqrt(phase**2 @ weight)
    np.testing.assert_allclose(study.rms_nm, rms_nm, rtol=1e-6)


def philox(counter, key):
    """Return the words of Philox4x32 with ten rounds (Salmon et al. 2011), by Python integers."""
    a, b, c, d = counter
    k, m = key
    for _ in range(10):
        first, second = 0xD2511F53 * a, 0xCD9E8D57 * c
        a, b, c, d = (
            (second >> 32) ^ b ^ k,
            second & 0xFFFFFFFF,
            (first >> 32) ^ d ^ m,
            first & 0xFFFFFFFF,
        )
        k, m = (k + 0x9E3779B9) & 0xFFFFFFFF, (m + 0xBB67AE85) & 0xFFFFFFFF
    return a, b, c, d


def draws(seed, number):
    """Return the normal draws of one repeat (Box and Muller 1958) by the functions of Python."""
    found = []
    for block in range(OPENINGS // 4):
        words = philox(
            (block, number & 0xFFFFFFFF, number >> 32, 0), (seed & 0xFFFFFFFF, seed >> 32)
        )
        for distance, angle in (words[:2], words[2:]):
            size = math.sqrt(-2.0 * math.log((distance + 0.5) / 2**32))
            turn = 2.0 * math.pi * (angle + 0.5) / 2**32
            found += [size * math.cos(turn), size * math.sin(turn)]
    return found


def test_the_published_words_give_the_draws():
    zero = (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)
    assert philox((0, 0, 0, 0), (0, 0)) == zero
    for seed in (1, 2**40 + 7):
        study = twelve().noise_study(repeats=500, seed=seed, **OPTIONS)
        for number in (0, 1, 63, 64, 499):
            errors = study.zone_errors_mm(first=number, count=1)[0]
            base = OFF_MM - OFF_MM.mean()
            np.testing.assert_allclose((errors - base) / SIGMA_MM, draws(seed, number), atol=2e-9)


def test_the_draws_are_normal_and_independent():
    study = twelve().noise_study(repeats=20_000, **OPTIONS)
    normals = (study.zone_errors_mm(first=0, count=20_000) - OFF_MM + OFF_MM.mean()) / SIGMA_MM
    # scipy 1.x: chance gives less once in a thousand.
    assert stats.kstest(normals.ravel(), "norm").pvalue > 1e-3
    correlation = np.corrcoef(normals.T) - np.eye(OPENINGS)
    assert np.abs(correlation).max() < 5.0 / math.sqrt(20_000)
    neighbours = np.mean(normals[1:] * normals[:-1])
    assert abs(neighbours) < 5.0 / math.sqrt(normals.size)


def test_the_spread_is_that_of_numpys_noise():
    study = twelve().noise_study(repeats=10_000, **OPTIONS)
    noise = SIGMA_MM * np.random.default_rng(3).standard_normal((4_000, OPENINGS))
    phase, weight = phases(OFF_MM + noise)
    other = (np.cos(phase) @ weight) ** 2 + (np.sin(phase) @ weight) ** 2
    assert stats.ks_2samp(study.strehl_least_rms, other).pvalue > 1e-3


def test_a_repeat_does_not_depend_on_its_company():
    many, few = (twelve().noise_study(repeats=count, **OPTIONS) for count in (60_000, 100))
    assert np.array_equal(many.strehl_least_rms[:100], few.strehl_least_rms)
    assert np.array_equal(many.rms_nm[:100], few.rms_nm)
    again = twelve().noise_study(repeats=60_000, **OPTIONS)
    assert many == again
    assert many != twelve().noise_study(repeats=60_000, seed=2, **OPTIONS)


def test_the_answer_does_not_depend_on_the_number_of_threads():
    script = """
import hashlib, sys
sys.path.insert(0, sys.argv[1])
from test_noise_study import twelve, OPTIONS
study = twelve().noise_study(repeats=70_001, **OPTIONS)
print(hashlib.sha256(study.strehl_least_rms.tobytes() + study.rms_nm.tobytes()).hexdigest())
"""
    here = str(Path(__file__).parent)
    found = set()
    for threads in ("1", "2", "3", "8"):
        setting = os.environ | {"CATOPTRIC_NUM_THREADS": threads}
        run = [sys.executable, "-c", script, here]
        found.add(subprocess.run(run, capture_output=True, check=True, env=setting).stdout)
    assert len(found) == 1


def test_the_focus_of_least_rms_and_the_brightest_differ_by_what_the_page_says():
    for name, least, most in (("after", 0.0, 1e-5), ("before", 0.075, 0.09)):
        study = readings(name).noise_study(repeats=4_000, obstruction_ratio=RATIO)
        slow = readings(name).repeat_with_noise(draws=4_000, obstruction_ratio=RATIO)
        apart = float(np.median(slow["strehl"] - slow["strehl_least_rms"]))
        assert least <= apart < most
        # The two ways have noise of their own, but one distribution.
        assert stats.ks_2samp(study.strehl_least_rms, slow["strehl_least_rms"]).pvalue > 1e-3


def test_means_and_quantiles_are_those_of_the_arrays():
    study = readings("after").noise_study(repeats=999)
    assert study.mean_strehl_least_rms == pytest.approx(study.strehl_least_rms.mean(), rel=1e-13)
    assert study.mean_rms_nm == pytest.approx(study.rms_nm.mean(), rel=1e-13)
    shares = [0.0, 0.025, 0.3, 0.5, 0.975, 1.0]
    for values, found in (
        (study.strehl_least_rms, study.strehl_quantiles(shares)),
        (study.rms_nm, study.rms_quantiles_nm(shares)),
    ):
        np.testing.assert_allclose(found, np.quantile(values, shares, method="hazen"), rtol=1e-13)


def test_no_more_memory_than_the_arrays():
    # In a process of its own: what it holds before, and the peak, kilobytes. Not by `getrusage`,
    # whose peak is also that of the process which started this one.
    script = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from test_noise_study import twelve, OPTIONS
status = lambda name: int(Path("/proc/self/status").read_text().split(name + ":")[1].split()[0])
twelve().noise_study(repeats=60_000, **OPTIONS)
before = status("VmRSS")
study = twelve().noise_study(repeats=6_000_000, **OPTIONS)
print(status("VmHWM") - before)
"""
    here = str(Path(__file__).parent)
    run = subprocess.run([sys.executable, "-c", script, here], capture_output=True, check=True)
    arrays_kb = 6_000_000 * 16 / 1024
    assert 0.9 * arrays_kb < float(run.stdout) < 1.1 * arrays_kb
