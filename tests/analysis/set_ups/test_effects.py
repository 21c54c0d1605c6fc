"""An effect of a series in points, and what another place of the push costs: by hand, and by published figures."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.balance.results import ChangeFinding
from analysis.base.errors import InputError
from analysis.set_ups.change_words import change_sentences
from analysis.set_ups.effects import EffectOfSeries, effect_in_points
from analysis.set_ups.signal import even_car_turn, points_told_apart, signal_at
from tests.analysis.set_ups.test_change import balance, swung

TWO_EACH = EffectOfSeries(
    value=2.6,
    own_u=0.3,
    dof=2,
    weights=np.array([-0.5, 0.5, 0.5, -0.5]),
    level=np.array([-1.0, 1.0, 1.0, -1.0]),
    averaged=1.0,
    visit=2.0,
)
ALONG = "along/across grip of the front tyres"


def half_of(change) -> float:
    return 0.5 * (change.moved.interval[1] - change.moved.interval[0])


def test_scatter_and_causes_add_up_as_by_hand() -> None:
    # t for 2 degrees of freedom is 4.3027 (tables): 4.3027 * 0.3 = 1.2908. Unshared: each level's mean effect, 0.5
    # and 0.1: 1.96 * sqrt(0.25 + 0.01) = 0.9994. Together 1.6325.
    pushes = [balance(50.0, along=0.4), balance(52.5, along=0.1), balance(52.5, along=0.1), balance(50.0, along=0.6)]
    found = effect_in_points(pushes, TWO_EACH)
    assert half_of(found) == pytest.approx(1.6325, abs=2e-4)
    assert found.finding is ChangeFinding.MOVED_FORWARD
    # shared: the difference, 0.4: 1.96 * 0.4 = 0.7840, with 1.2908 1.5102
    shared = effect_in_points(pushes, TWO_EACH, shared={ALONG})
    assert half_of(shared) == pytest.approx(1.5102, abs=2e-4)
    assert change_sentences(shared, wheelbase=0.26) == (
        "The balance moved forward by 2.6 ± 1.5 points (7 mm; two pushes each). Beyond chance.",
    )


def test_pushes_that_fall_together_claim_no_more_than_they_state() -> None:
    # by hand: placing 0.4, four pushes with half a weight each: 0.4 * sqrt(4 * 0.25) = 0.4; 1.96 * 0.4 = 0.784
    lucky = replace(TWO_EACH, own_u=0.0, value=0.1)
    found = effect_in_points([balance(50.0)] * 4, lucky)
    assert half_of(found) == pytest.approx(0.784, abs=1e-3)
    assert found.finding is ChangeFinding.NO_CHANGE_SEEN
    assert found.bound == pytest.approx(0.884, abs=1e-3)
    # half a point: 0.784 * sqrt(2 / (2 + m)) <= 0.5 needs m >= 2.92
    assert found.more_pushes == 3
    # what differs from visit to visit no number of pushes in a visit averages
    assert effect_in_points([balance(50.0)] * 4, replace(lucky, averaged=0.1)).more_pushes is None


def test_backward_and_wide() -> None:
    assert effect_in_points([balance(50.0)] * 4, replace(TWO_EACH, value=-2.5)).finding is ChangeFinding.MOVED_BACKWARD
    wide = effect_in_points([balance(50.0)] * 4, replace(TWO_EACH, own_u=0.8))
    assert wide.finding is ChangeFinding.CANNOT_TELL  # 4.3 * 0.8 = 3.4 points would hide a tenth more grip
    with pytest.raises(InputError, match="gives no balance point"):
        effect_in_points([balance(50.0)] * 3 + [swung("front")], TWO_EACH)


def test_a_push_at_85_shows_a_tenth_of_the_signal() -> None:
    # Minimum power found by another path (a fine grid over the rotation centre): the power of four equal contacts.
    contacts = np.array([[1.0, 0.32], [1.0, -0.32], [0.0, 0.32], [0.0, -0.32]])
    for station, ratio in ((85.0, 1.0), (85.0, 1.1), (50.0, 1.1), (30.0, 0.8)):
        turn = np.linspace(-3.0, 3.0, 600001)
        # the touched place goes 1 across: with yaw rate w the middle goes 1 - w (s - 1/2)
        yaw = turn / (1.0 + turn * (station / 100 - 0.5))
        middle = 1.0 - yaw * (station / 100 - 0.5)
        grip = [ratio, ratio, 1.0, 1.0]
        power = sum(
            mu * np.hypot(-yaw * y, middle + yaw * (x - 0.5)) for mu, (x, y) in zip(grip, contacts, strict=True)
        )
        assert even_car_turn(station, ratio) == pytest.approx(turn[np.argmin(power)], abs=2e-3)
    assert signal_at(85.0) == pytest.approx(0.1, abs=0.01)
    assert signal_at(50.0) == 1.0
    # by hand: 1.96 * sqrt(0.4² + 0.5²) * sqrt(2 / 4)
    assert points_told_apart(4) == pytest.approx(0.887, abs=1e-3)
