"""Movements that hands made are no pushes: which, and what is said, by hand."""

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from analysis.measured.pushes import MeasuredPush
from rig.jobs.measuring.by_hand import lift_words, on_the_floor, unlike_warning
from rig.jobs.measuring.setup_doubts import plate_warning
from vision.tracking.lifted import lift_of

TIME = np.arange(90) / 30


def push(number: int, start: float, end: float, kappa: float = 5.0, kappa_u: float = 0.2) -> MeasuredPush:
    estimate = SimpleNamespace(kappa=kappa, kappa_u=kappa_u)
    return cast(MeasuredPush, SimpleNamespace(number=number, start_time=start, end_time=end, estimate=estimate))


def held(first: int, last: int, high: float) -> np.ndarray:
    """(90,) m, a plate that seems 13 mm too high all the while, scatters by 0.2 mm, and is lifted in between."""
    rise = 0.013 + np.random.default_rng(2).normal(0, 2e-4, 90)
    rise[first:last] += high
    return rise


def test_a_car_is_lifted_where_its_plate_rises_for_more_than_two_pictures() -> None:
    lift = lift_of(held(12, 27, 0.021))
    assert np.flatnonzero(lift).tolist() == list(range(12, 27))
    assert lift[12:27] == pytest.approx(np.full(15, 0.021), abs=0.001)
    assert not lift_of(held(12, 14, 0.021)).any()  # a finger over a marker in two pictures
    assert not lift_of(held(12, 27, 0.002)).any()  # springs
    assert not lift_of(held(12, 27, -0.021)).any()


def test_what_hands_did_is_no_push_as_long_as_another_is() -> None:
    first, second = push(1, 0.3, 1.0), push(2, 1.5, 2.4)
    lift = lift_of(held(12, 27, 0.021))  # 0.4 to 0.87 s
    assert on_the_floor([first, second], TIME, lift) == (second,)
    assert on_the_floor([first], TIME, lift) == (first,)
    assert on_the_floor([first, second], TIME, None) == (first, second)
    (words,), warnings = lift_words([second], TIME, lift)
    assert warnings == ()
    assert words.startswith("The car was lifted by 21 mm at 0.4 to 0.9 s")
    assert words.endswith("not counted as a push.")
    notes, (words,) = lift_words([first], TIME, lift)
    assert notes == ()
    assert "push 1 is then a hand's doing" in words
    assert lift_words([first], TIME, 0 * lift) == ((), ())


def test_a_small_rise_is_a_hand_or_soft_springs() -> None:
    first, second = push(1, 0.3, 1.0), push(2, 1.5, 2.4)
    lift = lift_of(held(12, 27, 0.004))
    assert np.flatnonzero(lift).tolist() == list(range(12, 27))
    assert on_the_floor([first, second], TIME, lift) == (second,)
    notes, (words,) = lift_words([first], TIME, lift)
    assert notes == ()
    assert words.startswith("The car rose by 4 mm at 0.4 to 0.9 s: if a hand lifted it, push 1 is that")
    (words,), warnings = lift_words([second], TIME, lift)
    assert warnings == ()
    assert words.startswith("The car rose, or was lifted, by 4 mm at 0.4 to 0.9 s: what moved it then is not counted")
    _, (words,) = lift_words([first], TIME, lift_of(held(12, 45, 0.0062)))  # held on until after the push: 1.5 s
    assert words.startswith("The car was lifted by 6 mm at 0.4 to 1.5 s: push 1 is then")


def test_pushes_of_one_clip_that_contradict_each_other_are_named() -> None:
    """Turn per travel 5 and 3 a metre, each ± 0.2: 7 times the doubt of their difference, and more than a third."""
    ones = [push(1, 0.1, 0.4), push(2, 0.8, 1.2, kappa=5.1), push(4, 1.5, 2.4, kappa=3.0)]
    assert unlike_warning(ones).startswith("Pushes 2 and 4 of this clip contradict each other")
    assert unlike_warning(ones[:2]) == ""
    assert unlike_warning([ones[0], push(2, 0.8, 1.2, kappa=3.9)]) == ""
    assert unlike_warning([push(1, 0.1, 0.4, kappa_u=0.6), push(2, 0.8, 1.2, kappa=3.0)]) == ""


def turning(*warnings: str, turn: float = 0.1) -> MeasuredPush:
    own = {"number": 2, "start_time": 0.5, "end_time": 2.0, "turn": turn, "warnings": warnings}
    return cast(MeasuredPush, SimpleNamespace(**own))


def test_what_looks_like_a_pivot_that_wanders_is_said_beside_it() -> None:
    steady, wanders = turning("The rests drift by 0.10 mm a second"), turning("…", "The pivot wandered by 14 mm along")
    yaw = np.interp(TIME, [0.5, 2.0], [0.0, 0.1])
    assert "plate that slips" in plate_warning([steady, wanders], TIME, yaw)
    assert plate_warning([steady], TIME, yaw) == ""
    assert plate_warning([], TIME, yaw) == ""


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_plate_that_turns_back_on_the_way_is_told(way: float) -> None:
    one = turning(turn=0.1 * way)
    back = np.radians(3.0) * np.interp(TIME, [1.0, 1.2], [0.0, 1.0])
    yaw = way * (np.interp(TIME, [0.5, 2.0], [0.0, 0.1]) - back)
    # by hand: 3° less 0.2 s of turning on at 0.1 rad in 1.5 s, 0.76°; the median of three takes one picture's turn
    # (0.127°) off either end
    told = float(plate_warning([one], TIME, yaw).split("turned back by ")[1].split("°")[0])
    assert told == pytest.approx(3.0 - 0.76 - 2 * 0.127, abs=0.06)
    odd = way * np.interp(TIME, [0.5, 2.0], [0.0, 0.1])
    odd[30] -= way * 0.05  # a single picture
    assert plate_warning([one], TIME, odd) == ""
    after = way * (np.interp(TIME, [0.5, 2.0], [0.0, 0.1]) - 0.02 * (TIME > 2.0))  # springs back afterwards
    assert plate_warning([one], TIME, after) == ""
