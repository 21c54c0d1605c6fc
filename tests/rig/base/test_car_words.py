"""Points of the car in words: ahead and behind, left and right (car axes: x forward, y to the left, ISO 8855)."""

import numpy as np
import pytest

from analysis.base.pivot import PivotEstimate
from rig.base.car_words import side_words_mm, station_words_mm
from rig.jobs.demo.first_try import SeenPush, pin_sentence
from rig.report.words.sentences import pivot_words

LENGTH = 0.250


@pytest.mark.parametrize(
    ("x", "y", "along", "across"),
    [
        (-0.031, 0.012, "31 mm behind the rear axle", "12 mm to the left of the middle"),
        (0.2, -0.0074, "200 mm ahead of the rear axle", "7 mm to the right of the middle"),
    ],
)
def test_a_pivot_lies_in_the_same_words_for_report_and_first_try(x: float, y: float, along: str, across: str) -> None:
    kappa = 1 / (LENGTH / 2 - x)  # turn per travel of the middle: 1 over the way from the pivot to the middle
    estimate = PivotEstimate(
        kappa=kappa, kappa_u=0.01, interval=(kappa - 0.02, kappa + 0.02), wheelbase=LENGTH, count=1, method="by hand"
    )
    seen = SeenPush(poses=np.zeros((2, 3)), kappa=kappa, place=np.array([x, y]), station=0.2)
    assert station_words_mm(x) == along
    assert side_words_mm(y) == across
    assert pivot_words(estimate).endswith(f"), {along}")
    assert f"about a point {along} (" in pin_sentence(seen, np.zeros(2), LENGTH)
