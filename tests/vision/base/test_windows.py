"""Neighbours in time against SciPy's filters with repeated ends."""

import numpy as np
import pytest
from scipy.ndimage import median_filter, uniform_filter1d

from vision.base.windows import neighbours, runs_of


@pytest.mark.parametrize("count", [1, 2, 40])
def test_medians_and_means_are_those_of_the_filters(count: int) -> None:
    rows = np.random.default_rng(count).normal(size=(count, 2))
    assert np.array_equal(np.median(neighbours(rows, 5), axis=-1), median_filter(rows, size=(5, 1), mode="nearest"))
    mean = uniform_filter1d(rows, 3, axis=0, mode="nearest")
    np.testing.assert_allclose(neighbours(rows, 3).mean(-1), mean, rtol=0, atol=1e-14)


@pytest.mark.parametrize(
    ("holds", "runs"), [("011010", [[1, 2], [4]]), ("1", [[0]]), ("100", [[0]]), ("0", []), ("", [])]
)
def test_runs_of_neighbours_by_hand(holds: str, runs: list[list[int]]) -> None:
    assert [run.tolist() for run in runs_of(np.array([one == "1" for one in holds], bool))] == runs
