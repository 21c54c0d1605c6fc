"""Few draws whose spread is known: balanced blocks, and quantiles that are not drawn inwards."""

import numpy as np
import pytest

from analysis.statistics.drawn import drawn
from analysis.statistics.monte_carlo import balanced_normals

CAUSES = np.array([1.0, 0.8, 0.5, 0.3, 0.3, 0.2, 0.2, 0.2, 0.2, 0.1, 0.1, 0.1])


def test_every_block_has_mean_zero_and_unit_covariance() -> None:
    rows = balanced_normals(np.random.default_rng(3), 130, 12, block=60)
    for block in (rows[:60], rows[60:120]):
        np.testing.assert_allclose(block.mean(axis=0), 0.0, atol=1e-12)
        np.testing.assert_allclose(np.cov(block.T, bias=True), np.eye(12), atol=1e-10)
    # ten rows are too few for twelve columns: as drawn
    np.testing.assert_array_equal(rows[120:], np.random.default_rng(3).standard_normal((130, 12))[120:])


def test_sixty_draws_know_their_interval_to_a_tenth() -> None:
    """Truth: a sum of normal causes has the half-width 1.96 times the root of their squares."""
    true = 1.959964 * float(np.sqrt((CAUSES**2).sum()))
    halves = []
    for seed in range(300):
        draws = balanced_normals(np.random.default_rng(seed), 60, 12, block=60) @ CAUSES
        low, high = drawn(0.0, draws).interval
        halves.append(0.5 * (high - low) / true)
    assert float(np.mean(halves)) == pytest.approx(1.0, abs=0.04)
    assert float(np.std(halves)) < 0.09
