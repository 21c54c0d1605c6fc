"""Where a car balances with another ratio of grip, and on which side of it pushes were made: by hand."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.forecast.inputs import CarState, PushState
from analysis.grip.one_sided import balance_station, one_side, one_sided_words

L = 0.25
CAR = CarState(
    wheelbase=L,
    contact_place=np.array([[L, 0.08], [L, -0.08], [0.0, 0.08], [0.0, -0.08]]),
    load=np.array([5.0, 4.0, 3.5, 2.5]),
    grip=np.array([0.9, 0.9, 0.6, 0.6]),
    drag=np.ones(4),
    along_u=np.array([0.05, 0.05]),
)


@pytest.mark.parametrize("ratio", [1.5, 0.8, 2.0])
def test_a_blocked_car_balances_at_its_centre_of_friction(ratio: float) -> None:
    # statics: front 9 N, rear 6 N; with a ratio r the front holds 9 r for each 6 of the rear, whatever the card's own
    assert balance_station(CAR, float(np.log(ratio))) == pytest.approx(L * 9 * ratio / (9 * ratio + 6))


@pytest.mark.parametrize(
    ("stations", "side"),
    [
        ((0.22, 0.24), 1),
        ((0.10, 0.05), -1),
        ((0.22, 0.05), 0),
        ((0.22, 0.173 + 0.0049), 0),  # nearer than two hundredths of the wheelbase: at the balance point
        ((0.22, 0.173 + 0.0051), 1),
        ((0.05, 0.173 - 0.0051), -1),
        ((), 0),
    ],
)
def test_sides_of_pushes_of_a_car_that_balances_at_173_mm(stations: tuple[float, ...], side: int) -> None:
    # 9 · 1.5 of 9 · 1.5 + 6 is 0.6923, of 250 mm 173.08 mm
    pushes = [(CAR, PushState(station=one + 8e-5)) for one in stations]
    assert one_side(pushes, float(np.log(1.5))) == side


def test_tyres_that_surely_grip_alike_have_no_side() -> None:
    sure = replace(CAR, along_u=np.zeros(2))
    assert one_side([(sure, PushState(station=0.24))], 0.4) == 0
    rear_only = replace(CAR, along_u=np.array([0.0, 0.02]))
    assert one_side([(rear_only, PushState(station=0.24))], 0.4) == 1


def test_what_is_said_of_it_and_when() -> None:
    # by hand: 5 % in all, 3 % without: 4 % are the tyres', four fifths; 95 % are 1.96 times as much
    said = one_sided_words(1, u=0.05, without=0.03, balance_pct=61.6)
    assert said.startswith("All of these pushes were made ahead of the balance point (about 62 %)")
    assert "by ±7.8 of the ±9.8 %" in said
    assert "made behind the balance point" in one_sided_words(-1, u=0.05, without=0.03, balance_pct=61.6)
    assert one_sided_words(1, u=0.05, without=0.0434, balance_pct=61.6) == ""  # 2.48 %: less than half of it
    assert one_sided_words(1, u=0.05, without=0.0432, balance_pct=61.6) != ""
