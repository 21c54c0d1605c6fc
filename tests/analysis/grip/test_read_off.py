"""Readings that are all equal are not exact: the step of the scale stays."""

import numpy as np
import pytest

from analysis.grip.bench_tests import read_off_u


@pytest.mark.parametrize(
    ("readings", "step"),
    [
        ([38, 38, 38], 1.0),
        ([38.5, 39, 38], 0.5),
        ([11.8, 12.1], 0.1),
        ([0.35, 0.4], 0.05),
        ([12.34, 12.3], 0.01),
        ([12.345], 0.01),  # finer than any protractor or spring balance is read
    ],
)
def test_the_step_is_what_all_readings_stand_on(readings: list[float], step: float) -> None:
    # JCGM 100:2008, F.2.2.1: a rectangle as wide as the step, its standard deviation step / sqrt(12)
    assert read_off_u(np.array(readings, float)) == pytest.approx(step / 12**0.5)
    # the same by drawing: what a true value may be that is read off as it is
    drawn = np.random.default_rng(1).uniform(-step / 2, step / 2, 200_000)
    assert read_off_u(np.array(readings, float)) == pytest.approx(drawn.std(), rel=0.01)
