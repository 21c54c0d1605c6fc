"""A value beside its draws."""

import numpy as np

from analysis.statistics.drawn import drawn


def test_the_interval_is_the_middle_95_per_cent_and_holds_the_value() -> None:
    draws = np.stack([np.linspace(0.0, 100.0, 1001), np.linspace(-1.0, 1.0, 1001)], -1)
    found = drawn(np.array([40.0, 3.0]), draws)
    # by hand, median-unbiased: place 0.025 (1001 + 1/3) + 1/3 of 1001, counted from 1; widened to the value
    at = (0.025 * (1001 + 1 / 3) + 1 / 3 - 1.0) / 1000.0
    np.testing.assert_allclose(found.interval, [[100 * at, 100 * (1 - at)], [2 * at - 1, 3.0]])
    assert found.pair(0) == tuple(found.interval[0])
    np.testing.assert_allclose(found.scaled(10.0).interval[0], [1000 * at, 1000 * (1 - at)])
    np.testing.assert_array_equal(found.lost, [0.0, 0.0])


def test_draws_without_a_value_are_counted_not_mixed_in() -> None:
    draws = np.concatenate([np.linspace(10.0, 20.0, 60), np.full(20, np.nan), np.full(20, np.inf)])
    found = drawn(15.0, draws)
    assert found.lost == 0.4
    at = (0.025 * (60 + 1 / 3) + 1 / 3 - 1.0) / 59.0  # of sixty values
    np.testing.assert_allclose(found.interval, [10 + 10 * at, 20 - 10 * at])
    for nothing in (drawn(1.0, np.full(5, np.nan)), drawn(np.nan, np.ones(5))):
        assert np.isnan(nothing.interval).all()
