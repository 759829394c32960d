"""The scatter of two benches, estimated again with scipy from the same means and noises."""

import catoptric as ct
import numpy as np
import pytest
from samples import readings
from scipy import linalg, optimize, stats

PRIOR_FREEDOM = 3
"""Degrees of freedom that the usual noise is worth beside the repeats: see `sigma_mm`."""


class Side:
    """One bench, brought to a moving source."""

    def __init__(self, bench):
        gain = {"moving": 1.0, "fixed": 2.0}[bench.source]
        self.error_mm = (bench.mean_mm - bench.table()["paraboloid_mm"]) / gain
        self.variance_mm2 = bench.sigma_mm**2 / bench.run_count / gain**2
        freedom = PRIOR_FREEDOM + (bench.run_count - 1) * (bench.opening_count - 1)
        # Five equally probable scales of the noise.
        self.scales = freedom / stats.chi2.ppf((np.arange(5) + 0.5) / 5, freedom)


def weighed(difference_mm, variance_mm2):
    """Return the weighted squares about the weighted mean, which the free zero takes away."""
    weight = 1 / variance_mm2
    return np.sum(weight * (difference_mm - np.average(difference_mm, weights=weight)) ** 2)


def solved(function):
    """Return where a function of the scatter's variance crosses zero upward or downward, or 0."""
    if function(0.0) * function(10.0) > 0:
        return 0.0
    return optimize.brentq(function, 0.0, 10.0, xtol=1e-16, rtol=1e-13)


def by_scipy(first, second):
    """Return estimate, upper bound and p-value."""
    one, other = Side(first), Side(second)
    difference, freedom = one.error_mm - other.error_mm, first.opening_count - 1
    best = one.variance_mm2 + other.variance_mm2
    possible = [
        one.variance_mm2 * a + other.variance_mm2 * b for a in one.scales for b in other.scales
    ]
    free_of_zero = linalg.null_space(np.ones((1, freedom + 1))).T

    def chance(scatter_mm2):
        squares = [weighed(difference, v + 2 * scatter_mm2) for v in possible]
        return np.mean(stats.chi2.sf(squares, freedom))

    def chance_of_the_noise(scatter_mm2):
        noise = free_of_zero @ np.diag(best) @ free_of_zero.T
        kinds = [free_of_zero @ np.diag(v + 2 * scatter_mm2) @ free_of_zero.T for v in possible]
        squares = [mean_weighed(noise, kind) for kind in kinds]
        return np.mean(stats.chi2.sf(squares, freedom))

    def mean_weighed(noise, kind):
        # Squares along the axes of the possible noise, as large as the best noise is there.
        values, axes = linalg.eigh(kind)
        return np.sum(np.diag(axes.T @ noise @ axes) / values)

    estimate = solved(lambda t: weighed(difference, best + 2 * t) - freedom)
    upper = max(solved(lambda t, c=c: c(t) - 0.95) for c in (chance, chance_of_the_noise))
    return np.sqrt(estimate), np.sqrt(upper), chance(0.0)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (("after", "moving"), ("after_fixed", "fixed")),
        (("after", "moving"), ("touch_up", "moving")),
        (("before", "moving"), ("after", "moving")),
        (("before", "moving"), ("after_fixed", "fixed")),
    ],
)
def test_estimate_bound_and_chance_agree_with_scipy(first, second):
    pair = readings(*first), readings(*second)
    found = ct.bench_scatter(*pair)
    scatter_mm, upper_mm, p_value = by_scipy(*pair)
    assert found.scatter_mm == pytest.approx(scatter_mm, rel=1e-6, abs=1e-9)
    assert found.upper_mm == pytest.approx(upper_mm, rel=1e-6)
    assert found.p_value == pytest.approx(p_value, rel=1e-9, abs=1e-13)
    assert found.freedom == 7
