"""Turns per travel as angles: by hand, and the shortest way between two of them."""

import numpy as np
import pytest

from analysis.base.pivot import PivotEstimate
from analysis.statistics.headings import heading_from, heading_of, heading_step

L = 0.257


def test_headings_of_known_pivots() -> None:
    # by hand: station = L/2 - 1/kappa; the rear axle has kappa = 2/L, the front axle -2/L, a straight slide 0
    found = heading_from(np.array([2 / L, -2 / L, 0.0]), L)
    np.testing.assert_allclose(found, [np.pi / 4, -np.pi / 4, 0.0], atol=1e-15)
    rear = PivotEstimate(kappa=2 / L, kappa_u=0.1, interval=(7.0, 8.0), wheelbase=L, count=1, method="")
    assert heading_of(rear) == pytest.approx(np.pi / 4)


def test_the_shortest_way_goes_through_a_pivot_in_the_middle() -> None:
    # by hand, degrees: 80 -> -80 is 20 onwards, through 90, where kappa is infinite; 10 -> -30 is 40 back
    step = heading_step(np.radians([80.0, 10.0, -85.0]), np.radians([-80.0, -30.0, 70.0]))
    np.testing.assert_allclose(np.degrees(step), [20.0, -40.0, -25.0], atol=1e-12)
    assert float(heading_step(np.radians(80.0), np.radians(-80.0))) == pytest.approx(np.radians(20.0))
