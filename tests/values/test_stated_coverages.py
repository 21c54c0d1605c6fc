"""A short rerun of the coverages and accuracies that tests/benchmarks/README.md states, with wide limits of their own.

Weighing: tests/analysis/weighing/test_coverage.py. Truth: each benchmark's simulation, which knows nothing of the code
under test. Limits: 3.5 standard errors of a binomial around 95 %; twice the stated error. Seeds are none of theirs.
"""

import math

import numpy as np
import pytest

from tests.benchmarks import pivot_statistics, prediction_coverage

pytestmark = pytest.mark.thorough
SEED = 20270117


def limits(count: int) -> tuple[float, float]:
    """Shares that so many intervals of 95 % may hold."""
    slack = 3.5 * math.sqrt(0.95 * 0.05 / count)
    return 0.95 - slack, min(0.95 + slack, 1.0)


def test_forecast_intervals_hold_the_truth() -> None:
    for rolling in (False, True):
        kappa, balance = prediction_coverage.forecast_part(
            np.random.default_rng(SEED), 24, 300, prediction_coverage.FINGERS[0], rolling=rolling
        )
        low, high = limits(len(kappa.hits))
        assert low <= np.mean(kappa.hits) <= high
        assert low <= np.mean(balance.hits) <= high
        assert np.mean(kappa.base_hits) < np.mean(kappa.hits)  # what the first models knew of promises too much


def test_inferred_grip_ratios_hold_the_truth() -> None:
    held = prediction_coverage.ratio_coverage(np.random.default_rng(SEED), 20)
    low, high = limits(len(held.hits))
    assert low <= np.mean(held.hits) <= high
    assert np.mean(held.base_hits) < 0.8  # cards taken at their word


def test_effects_of_a_series_hold_the_truth() -> None:
    held = prediction_coverage.effect_coverage(np.random.default_rng(SEED), 100)
    low, high = limits(len(held.hits))
    assert low <= np.mean(held.hits) <= high
    assert np.mean(held.base_hits) < np.mean(held.hits)


def test_measured_pivots_hold_the_truth_and_are_as_near_as_stated() -> None:
    rng = np.random.default_rng(SEED)
    held = pivot_statistics.coverage(rng, 150, 2.5, 24.0, True)
    low, high = limits(150)
    assert low <= held["coverage"] <= high
    assert held["not_one_pivot"] <= 1
    near = pivot_statistics.coverage(rng, 60, 8.0, 24.0, False)
    assert near["p95_error_pct"] < 2 * 0.15
    assert near["p95_error_pct"] < near["p95_error_pct_baseline"]  # first against last pose


def test_straight_slides_are_given_no_pivot_and_wandering_ones_are_told() -> None:
    rng = np.random.default_rng(SEED)
    assert pivot_statistics.straight_slides(rng, 20)["straight_given_pivot"] == 0.0
    assert pivot_statistics.wandering(rng, 20)["wander_reported"] == 1.0
