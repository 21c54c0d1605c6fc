"""A value beside its draws."""

import numpy as np

from analysis.statistics.drawn import drawn


def test_the_interval_is_the_middle_95_per_cent_and_holds_the_value() -> None:
    draws = np.stack([np.linspace(0.0, 100.0, 1001), np.linspace(-1.0, 1.0, 1001)], -1)
    found = drawn(np.array([40.0, 3.0]), draws)
    np.testing.assert_allclose(found.interval, [[2.5, 97.5], [-0.95, 3.0]])  # quantiles by hand; widened to the value
    assert found.pair(0) == (2.5, 97.5)
    np.testing.assert_allclose(found.scaled(10.0).interval[0], [25.0, 975.0])
    np.testing.assert_array_equal(found.lost, [0.0, 0.0])


def test_draws_without_a_value_are_counted_not_mixed_in() -> None:
    draws = np.concatenate([np.linspace(10.0, 20.0, 60), np.full(20, np.nan), np.full(20, np.inf)])
    found = drawn(15.0, draws)
    assert found.lost == 0.4
    np.testing.assert_allclose(found.interval, [10.25, 19.75])
    for nothing in (drawn(1.0, np.full(5, np.nan)), drawn(np.nan, np.ones(5))):
        assert np.isnan(nothing.interval).all()
