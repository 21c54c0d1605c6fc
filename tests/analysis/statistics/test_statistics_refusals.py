"""Statistics refuse numbers that determine nothing, and names what is wrong and where."""

from collections.abc import Callable

import numpy as np
import pytest

from analysis.statistics.least_squares import least_squares
from analysis.statistics.monte_carlo import adaptive_monte_carlo, coverage_interval, square_root
from tests.analysis.refused import Refusal, check_refused

REFUSED: list[Refusal] = [
    (lambda: least_squares(np.ones((3, 2)), np.ones(3)), "fit", "3 observations do not determine 2"),
    (lambda: least_squares(np.eye(1, 2), np.ones(1)), "fit", "1 observations do not determine 2"),
    (lambda: least_squares(np.eye(2), np.ones(2), covariance=-np.eye(2)), "fit", "no positive variance"),
    (lambda: coverage_interval(np.array([])), "coverage interval", "no samples"),
    (lambda: square_root(np.ones((2, 3))), "covariance", "square"),
    (lambda: square_root(np.ones(4)), "covariance", "square"),
    (lambda: square_root(np.array([[np.nan]])), "covariance", "finite"),
    (
        lambda: adaptive_monte_carlo(lambda n, _: np.zeros(n), rng=np.random.default_rng(1), block=10, max_draws=19),
        "Monte Carlo",
        "two blocks",
    ),
]


@pytest.mark.parametrize(("call", "where", "what"), REFUSED, ids=range(len(REFUSED)))
def test_what_cannot_be_is_refused_by_name(call: Callable[[], object], where: str, what: str) -> None:
    check_refused(call, where, what)
