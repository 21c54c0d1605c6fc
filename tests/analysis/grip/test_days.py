"""Grip of one day over that of another, by hand: weighted means of logarithms, and what both days share drops out."""

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.grip.combine import GripMeasurement, GripQuantity
from analysis.grip.days import DayRatio, day_ratio


def of(quantity: GripQuantity, value: float, relative_u: float, **shared: float) -> GripMeasurement:
    return GripMeasurement(quantity=quantity, value=value, relative_u=relative_u, method="tilt", shared=shared)


def test_two_measurements_weigh_by_their_doubts_and_other_kinds_stay_out() -> None:
    # ln of the earlier day: weights 1/0.02² = 2500 and 1/0.04² = 625, so 0.8 : 0.2 of 0.80 and 0.84
    before = [of("front", 0.80, 0.02), of("front", 0.84, 0.04), of("rear", 0.7, 0.01), of("ratio", 1.1, 0.01)]
    now = [of("front", 0.90, 0.03), of("mean", 0.8, 0.01), of("ratio", 1.3, 0.01)]
    found = day_ratio(before, now)
    log = np.log(0.90) - (0.8 * np.log(0.80) + 0.2 * np.log(0.84))
    u = np.sqrt(0.03**2 + max(1.0, 2500 * 0.2**2 * np.log(1.05) ** 2 + 625 * 0.8**2 * np.log(1.05) ** 2) / 3125)
    assert found.ratio == pytest.approx(np.exp(log), rel=1e-12)
    assert found.interval == pytest.approx(np.exp([log - 1.959964 * u, log + 1.959964 * u]), rel=1e-6)
    assert (found.before, found.now, found.agree) == (2, 1, True)
    assert found.by_quantity == (("front", pytest.approx(np.exp(log)), pytest.approx(u)),)


def test_scatter_beyond_what_was_stated_counts() -> None:
    # one day: 0.78, 0.80, 0.86, each to 1 %: Birge's ratio squared is the sum of squares over two
    values = np.array([0.78, 0.80, 0.86])
    found = day_ratio([of("rear", one, 0.01) for one in values], [of("rear", 0.9, 0.005)])
    birge = np.sum((np.log(values) - np.log(values).mean()) ** 2) / 0.01**2 / 2
    assert birge > 20
    (row,) = found.by_quantity
    assert row[2] == pytest.approx(np.hypot(0.005, 0.01 * np.sqrt(birge / 3)))
    # three that scatter less than they state are no surer than they state
    (row,) = day_ratio([of("rear", 0.8, 0.01)] * 3, [of("rear", 0.9, 0.005)]).by_quantity
    assert row[2] == pytest.approx(np.hypot(0.005, 0.01 / np.sqrt(3)))


def test_an_error_that_both_days_share_cancels_as_far_as_it_moves_both_alike() -> None:
    (alike,) = day_ratio([of("mean", 0.8, 0.01, scale=0.05)], [of("mean", 0.8, 0.02, scale=0.05)]).by_quantity
    assert alike[2] == pytest.approx(np.hypot(0.01, 0.02))
    (other,) = day_ratio(
        [of("mean", 0.8, 0.01, scale=0.05, angle=0.03)], [of("mean", 0.8, 0.02, scale=-0.01)]
    ).by_quantity
    assert other[2] == pytest.approx(np.sqrt(0.01**2 + 0.02**2 + 0.06**2 + 0.03**2))
    # of two measurements of a day an error of one counts by that one's weight: 1/0.01² against 1/0.02², 0.8 to 0.2
    (half,) = day_ratio([of("mean", 0.8, 0.01), of("mean", 0.8, 0.02, angle=0.1)], [of("mean", 0.8, 0.01)]).by_quantity
    assert half[2] == pytest.approx(np.sqrt(1 / 12500 + 0.01**2 + 0.02**2))


def days(front: float, rear: float) -> DayRatio:
    """Grip of both axles times so much since, each to one per cent on either day."""
    before = [of("front", 0.8, 0.01), of("rear", 0.7, 0.01)]
    return day_ratio(before, [of("front", 0.8 * front, 0.01), of("rear", 0.7 * rear, 0.01)])


@pytest.mark.parametrize(
    ("front", "rear", "finding"),
    [  # 1.96 √(2)/√2 per cent is what both axles together tell apart; 3.84 is chi-square's 5 % with one degree
        (1.021, 1.021, "more grip"),
        (1.018, 1.018, "no change seen"),
        (0.979, 0.979, "less grip"),
        (0.982, 0.982, "no change seen"),
        (1.040, 1.0, "the measurements tell different changes"),  # (ln 1.04)² / (4 · 0.01²) = 3.85
        (1.039, 1.0, "no change seen"),  # 3.66; the mean 1.0193 less 1.96 % is below one
    ],
)
def test_what_the_interval_allows_to_say(front: float, rear: float, finding: str) -> None:
    assert days(front, rear).finding == finding


def test_days_without_a_measurement_in_common_are_refused() -> None:
    with pytest.raises(InputError, match="same way on both days"):
        day_ratio([of("front", 0.8, 0.01)], [of("rear", 0.8, 0.01)])
