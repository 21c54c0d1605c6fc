"""How an answer about a push begins: who led, both balance points, the verdict, the next push."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analysis.balance.results import BalanceCause, MeasuredBalance, NoseAndTail, Saw
from rig.jobs.pushing.balance import ByWeights, PushAnswer, WouldFit
from rig.report.words.push_answer import push_lines, wheels_words

LENGTH = 0.257


def balance(**more: Any) -> MeasuredBalance:
    plain: dict[str, Any] = {
        "pushed_pct": 50.0,
        "kappa": -1.2,
        "wheelbase": LENGTH,
        "pct": 53.4,
        "u": 0.56,
        "interval_pct": (52.3, 54.5),
        "axle": None,
        "odds": None,
        "bounds_pct": None,
        "causes": (
            BalanceCause(name="placing the finger", effect=0.5, own=True),
            BalanceCause(name="corner weights", effect=0.25),
        ),
        "distance": 3.4,
        "next_push_pct": 53.0,
    }
    return MeasuredBalance(**(plain | more))


def seen(nose: float, tail: float, saw: Saw = Saw.TAIL_LED) -> NoseAndTail:
    ratio = (nose - tail) / (nose + tail)
    return NoseAndTail(saw=saw, nose_mm=nose, tail_mm=tail, side=1, ratio=ratio, interval=(ratio - 0.01, ratio + 0.01))


def answer(**more: Any) -> PushAnswer:
    plain: dict[str, Any] = {
        "number": 1,
        "pushed_pct": 50.0,
        "side": 1,
        "blocked": (True, True),
        "wheelbase": LENGTH,
        "saw": seen(51.2, 68.8),
        "end": (0.0, 0.06, -0.07),
        "balance": balance(),
        "by_weights": ByWeights(pct=54.42, u=0.51, interval_pct=(53.42, 55.42)),
        "verdict": "agrees",
    }
    return PushAnswer(**(plain | more))


def test_a_push_at_the_middle_reads_as_a_person_would_say_it() -> None:
    assert push_lines(answer()) == [
        "Pushed at the middle (50 %), wheels blocked: the tail led by 18 mm (nose 51, tail 69).",
        "Balance by this push          53.4 ± 1.1 %   (137 mm ahead of the rear axle)",  # 53.4 % of 257 mm
        "Balance by weights and grip   54.4 ± 1.0 %   agrees",
        "",
        # 0.5 points of 257 mm are 1.3 mm; without it 1.96 * 0.56 * sqrt(1 - 0.8) = 0.49 is left
        "Most of the ± is where the finger stood: 1.3 mm is 0.5 points. A rail with notches would make it ± 0.5.",
        "Next: push once more at 53 %; it should go straight.",
    ]


def test_without_weights_only_what_was_seen_is_said() -> None:
    lines = push_lines(answer(balance=None, by_weights=None, verdict=None))
    assert lines[0].endswith("the tail led by 18 mm (nose 51, tail 69).")
    assert "Weigh the car" in lines[1]
    assert not any("±" in line for line in lines)


def test_no_verdict_is_said_where_none_was_made() -> None:
    assert not any("agrees" in line for line in push_lines(answer(verdict=None)))
    assert any(line.endswith("disagrees") for line in push_lines(answer(verdict="disagrees")))


def test_a_push_far_from_the_balance_says_so_and_where_to_push() -> None:
    far = answer(
        pushed_pct=85.0,
        saw=seen(70.0, 15.0, Saw.REAR_HELD),
        balance=balance(pushed_pct=85.0, pct=52.0, interval_pct=(45.0, 59.0), distance=33.0, next_push_pct=52.0),
        swung_mm=-69.0,
        forecast_mm=-66.0,
    )
    lines = push_lines(far)
    assert lines[0].startswith("Pushed at 85 %, wheels blocked: the rear held, the nose came round")
    assert "It swung about a point 69 mm behind the rear axle (forecast: 66 mm behind the rear axle)." in lines
    assert "Pushed 33 points ahead of the balance point: push at 52 % to know it better." in lines
    behind = replace(far, pushed_pct=15.0, balance=balance(pct=52.0, distance=37.0, next_push_pct=52.0))
    assert any("37 points behind the balance point" in line for line in push_lines(behind))


def test_a_car_that_went_straight_is_given_no_place() -> None:
    straight = answer(saw=seen(60.0, 60.6, Saw.STRAIGHT), swung_mm=400.0, forecast_mm=300.0)
    assert not any("swung about" in line for line in push_lines(straight))


@pytest.mark.parametrize(("axle", "other"), [("front", "rear"), ("rear", "front")])
def test_rolling_wheels_name_the_axle_that_grips_better_and_no_figure(axle: str, other: str) -> None:
    rolling = balance(
        pct=None,
        u=None,
        interval_pct=None,
        axle=axle,
        odds=1000.0,
        bounds_pct=(50.4, 100.0),
        causes=(),
        distance=None,
        next_push_pct=None,
        reason="x",
    )
    lines = push_lines(answer(balance=rolling, blocked=(False, False)))
    assert (
        f"The car swung about the {axle} axle: it grips better than the {other}, odds over 1000 to 1. "
        "Rolling wheels tell which, not how much: block them to measure."
    ) in lines
    (row,) = [line for line in lines if line.startswith("Balance by this push")]
    assert "between 50 and 100 %" in row
    assert "±" not in row
    guess = push_lines(answer(balance=replace(rolling, odds=12.4), blocked=(False, False)))
    assert any(f"cannot tell which axle grips better, odds only 12 to 1 for the {axle}" in line for line in guess)


def test_wheels_of_each_axle_are_named() -> None:
    assert wheels_words((True, False)) == "front wheels blocked, rear wheels rolling"
    assert wheels_words((False, True)) == "rear wheels blocked, front wheels rolling"


def test_remarks_stand_after_the_figures() -> None:
    lines = push_lines(answer(remarks=("In the clip the car goes to its right.",)))
    assert lines.index("In the clip the car goes to its right.") > lines.index(
        "Balance by weights and grip   54.4 ± 1.0 %   agrees"
    )


def test_no_zero_stands_beside_a_plus_minus() -> None:
    rng = np.random.default_rng(3)
    for _ in range(200):
        half = float(10 ** rng.uniform(-4, 1.3))
        pct = float(rng.uniform(20, 80))
        lines = push_lines(
            answer(balance=balance(pct=pct, u=half / 1.96, interval_pct=(pct - half, pct + half), distance=5.0))
        )
        assert not any(f"± {zero} " in f"{line} " for line in lines for zero in ("0", "0.0", "0.00", "0.000"))


def test_a_wrong_weighing_is_suspected_and_chance_is_not_named() -> None:
    """By hand: ln(57.2 / 42.8) = 0.29; the push is ln(50.4 / 49.6) - ln(56.5 / 43.5) = -0.2455 away, and weights move a
    balance by 0.9 of their own logarithm: 0.29 - 0.2455 / 0.9 = 0.0172, which is 50.4 % in front;
    -0.0717 and 0.1062 at the ends."""
    push = balance(pct=50.4, interval_pct=(48.4, 52.4))
    given = ByWeights(pct=56.5, u=1.2, interval_pct=(54.1, 58.9), front_weight_pct=57.2, sensitivity=0.1)
    wild = WouldFit(name="the height was meant in cm", odds=1.4)
    lines = push_lines(answer(balance=push, by_weights=given, verdict="disagrees", would_fit=(wild,)))
    (told,) = [line for line in lines if line.startswith("Or it is the weights: ")]
    assert "would have to carry 50.4 % (48.2 to 52.7) of the car, not the 57.2 % that were weighed" in told
    assert not any("in cm" in line for line in lines)
    assert "No single one of the usual mistakes would make them fit better than chance." in lines
    likely = replace(wild, odds=3.2)
    assert any(
        "It would fit if the height was meant in cm (odds 3 to 1)." in line
        for line in push_lines(answer(balance=push, by_weights=given, verdict="disagrees", would_fit=(likely, wild)))
    )
    earlier = replace(given, front_weight_pct=None, sensitivity=None)  # a record that did not keep them
    assert not any("the weights:" in line for line in push_lines(answer(by_weights=earlier, verdict="disagrees")))


def test_where_they_disagree_it_may_be_the_tyres() -> None:
    """By hand: (54.5 / 45.5) / (50.6 / 49.4) = 1.169; (53.1 / 46.9) / … = 1.105; (55.9 / 44.1) / … = 1.238."""
    push, weights = balance(pct=54.5, interval_pct=(53.1, 55.9)), ByWeights(pct=50.6, u=1.2, interval_pct=(48.2, 53.0))
    lines = push_lines(answer(balance=push, by_weights=weights, verdict="disagrees"))
    (told,) = [line for line in lines if line.startswith("Or it is the tyres: ")]
    assert "front ones that grip 1.17 times (1.11 to 1.24) as well against the rear as the test card says" in told
    assert not any("the tyres:" in line for line in push_lines(answer(balance=push, by_weights=weights)))
    beyond = balance(pct=-4.0, interval_pct=(-30.0, 20.0))
    assert not any(
        "the tyres:" in line
        for line in push_lines(answer(balance=beyond, by_weights=weights, verdict="disagrees", pushed_pct=5.0))
    )
