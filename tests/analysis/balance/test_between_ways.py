"""Between the ways of the finger for which curves were made beforehand, figures lie on straight lines (by hand)."""

import numpy as np
import pytest

from analysis.balance.curve import BalanceCurve
from analysis.balance.so_far import WAYS, OneFinger
from analysis.forecast.inputs import PushState

PCT = np.array([30.0, 50.0, 70.0])


def curve(of: float) -> BalanceCurve:
    """Unlike in everything, and unlike each of the others."""
    return BalanceCurve(pct=PCT + of, heading=1 - of * PCT / 100, drift=of + PCT / 50, log_ratio=of * of + PCT / 10)


MADE = {0.011: 1.0, 0.02: 3.0, 0.035: -2.0, 0.06: 5.0}


@pytest.mark.parametrize(
    ("way", "parts"),
    [
        (0.011, {0.011: 1.0}),
        (0.013, {0.011: 7 / 9, 0.02: 2 / 9}),
        (0.02, {0.02: 1.0}),
        (0.023, {0.02: 0.8, 0.035: 0.2}),
        (0.055, {0.035: 0.2, 0.06: 0.8}),
        (0.06, {0.06: 1.0}),
        (0.004, {0.011: 1.0}),  # before the first one and beyond the last the nearest is taken
        (0.3, {0.06: 1.0}),
    ],
)
def test_a_curve_between_two_ways(way: float, parts: dict[float, float]) -> None:
    assert tuple(MADE) == WAYS
    finger = OneFinger(
        push=PushState(station=0.2),
        curves=tuple(curve(of) for of in MADE.values()),
        knots=np.zeros(1),
        below=np.zeros(1),
        above=np.zeros(1),
    )
    found = finger.curve(way)
    for name in ("pct", "heading", "drift", "log_ratio"):
        wanted = sum(share * getattr(curve(MADE[at]), name) for at, share in parts.items())
        np.testing.assert_allclose(getattr(found, name), wanted, rtol=1e-12, atol=1e-12)
