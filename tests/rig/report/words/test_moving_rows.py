"""The moving car's rows and sentences from figures of which no two are alike. By hand."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.base.gravity import STANDARD_GRAVITY as G
from analysis.moving.ranking import Order
from analysis.statistics.drawn import WithRange
from rig.report.words.moving.on_the_move import (
    change_sentence,
    difference_lines,
    facts,
    lifting,
    phase_rows,
    ranged,
    rank_lines,
    reach_lines,
    region_rows,
    share_rows,
    throttle,
)

NAN, INF = float("nan"), float("inf")


def known(value: Any, half: Any, lost: Any = 0.0) -> WithRange:
    """Value and 95 % half-width."""
    middle, wide = np.asarray(value, dtype=float), np.asarray(half, dtype=float)
    wide = np.broadcast_to(wide, middle.shape)
    return WithRange(
        value=middle,
        interval=np.stack([middle - wide, middle + wide], -1),
        lost=np.broadcast_to(np.asarray(lost, dtype=float), middle.shape),
    )


GRAM = G / 1000
PHASES = (
    SimpleNamespace(name="hold", ax=0.05 * G, ay=-0.5 * G, spent=0.95),
    SimpleNamespace(name="flip", ax=-0.1 * G, ay=1.4 * G, spent=0.3),
    SimpleNamespace(name="exit", ax=0.25 * G, ay=0.1 * G, spent=NAN),
)
LOADS = np.array([[410.0, 300.0, 520.0, 370.0], [1.0, 2.0, 3.0, 4.0], [430.0, 421.0, 380.0, 369.0]])


def answers(**more: Any) -> Any:
    """Three phases of a rear-driven car, 260 mm long; it rolls over in the second."""
    ranges = SimpleNamespace(
        load=known(LOADS * GRAM, np.full((3, 4), [11.0, 12.0, 13.0, 14.0]) * GRAM),
        balance=known([[0.130, 0.001], [NAN, NAN], [0.143, 0.002]], [[0.0026, 0.001], [NAN, NAN], [0.0052, 0.001]]),
        lifted=np.array([[0.0, 0.96, 0.04, 0.7], [1.0, 1.0, 1.0, 1.0], [0.0, 0.0, 0.0, 0.06]]),
        words=[
            [("steps out at the rear", 0.97), ("holds", 0.03)],
            [],
            [("holds", 0.7), ("pushes on", 0.26), ("x", 0.04)],
        ],
        spare=known([[0.41, 0.62], [0.1, 0.2], [0.5, 0.6]], [[0.02, 0.03], [0.02, 0.03], [0.01, 0.01]]),
    )
    return SimpleNamespace(
        name="soft",
        phases=PHASES,
        table=SimpleNamespace(rolls_over=np.array([False, True, False])),
        ranges=ranges,
        wheelbase=0.26,
        drive="rear",
        **more,
    )


def test_a_row_of_each_phase_in_its_order() -> None:
    """Accelerations over g, newtons as grams at 9.80665, stations over 260 mm: 130 mm are 50 %, 2.6 mm 1 %."""
    assert phase_rows(answers()) == [
        [
            "hold",
            "+0.05",
            "-0.50",
            "410 ± 11",
            "300 ± 12",
            "520 ± 13",
            "370 ± 14",
            "50.0 ± 1.0",
            "FR perhaps RR",
            "steps out at the rear",
        ],
        ["flip", "-0.10", "+1.40", "-", "-", "-", "-", "-", "-", "rolls over"],
        [
            "exit",
            "+0.25",
            "+0.10",
            "430 ± 11",
            "421 ± 12",
            "380 ± 13",
            "369 ± 14",
            "55.0 ± 2.0",
            "perhaps RR",
            "holds or pushes on",
        ],
    ]


def test_what_the_throttle_decides_is_told_of_the_driven_axles_alone() -> None:
    begin = "hold: steps out at the rear with 95 % of the driven wheels' grip spent along the car (drive, wheelspin or "
    rear, front = answers(), answers()
    front.drive = "front"
    both = answers()
    both.drive = "four"
    assert throttle(rear) == [f"{begin}handbrake); the rear axle below 62 ± 3 % would hold"]
    assert throttle(front) == [f"{begin}handbrake); the front axle below 41.0 ± 2.0 % would hold"]
    assert throttle(both) == [
        f"{begin}handbrake); the front axle below 41.0 ± 2.0 % and the rear axle below 62 ± 3 % would hold"
    ]


def test_a_value_at_the_end_of_its_range_is_told_as_the_range() -> None:
    at_the_end = WithRange(value=np.array(4.0), interval=np.array([4.0, 6.5]), lost=np.array(0.2))
    assert ranged(at_the_end, unit="mm") == "4.0 to 6.5 mm (in 80 of 100 cars that the card leaves open)"
    assert ranged(at_the_end, factor=10) == "40 to 65 (in 80 of 100 cars that the card leaves open)"
    assert ranged(known(1.5, 0.4, lost=0.04), unit="g", sign=True) == "+1.5 ± 0.4 g"
    assert ranged(known(-1.5, 0.4), sign=True) == "−1.5 ± 0.4"
    assert ranged(known(NAN, 0.4)) == ranged(known(1.0, NAN)) == "not known"


def reached(**more: Any) -> Any:
    """Balance point at rest 52 %, from 45 to 60 % on the move; 7 mm to the left, 9 to the right."""
    reach = SimpleNamespace(
        station=known([0.117, 0.156], [0.0052, 0.0104]),
        side=known([-0.009, 0.007], [0.0005, 0.0004]),
        width=known([0.011, 0.014], [0.0006, 0.0007]),
        taper=known(0.003, 0.001),
        lifts=0.4,
    )
    lifted = np.zeros((5, 4), dtype=bool)
    lifted[2, 1] = lifted[3, 2] = True
    for name in set(more) & set(vars(reach)):
        setattr(reach, name, more.pop(name))
    return SimpleNamespace(
        rest=known(0.1352, 0.0026),
        rest_by="the push",
        wheelbase=0.26,
        reach=reach,
        region=SimpleNamespace(lifted=lifted),
    )


def test_the_region_in_rows_and_sentences() -> None:
    assert region_rows(reached()) == [
        ("at rest, by the push, %", "52.0 ± 1.0"),
        ("farthest back, %", "45.0 ± 2.0"),
        ("farthest forward, %", "60 ± 4"),
        ("farthest left, mm", "7.0 ± 0.4"),
        ("farthest right, mm", "9.0 ± 0.5"),
        ("width near the rear end, mm", "11.0 ± 0.6"),
        ("width near the front end, mm", "14.0 ± 0.7"),
    ]
    far = "within its grip the balance point reaches from 45.0 ± 2.0 to 60 ± 4 % and 7.0 ± 0.4 mm to the left, "
    wide = "that region is 11.0 ± 0.6 mm wide near its rear end and 14.0 ± 0.7 mm near its front end: "
    assert reach_lines(reached()) == [
        f"{far}9.0 ± 0.5 mm to the right",
        f"{wide}it is wider at its front end",
        "at its edge a wheel may lift",
    ]
    assert reach_lines(reached(taper=known(-0.003, 0.001), lifts=0.97))[1:] == [
        f"{wide}it is wider at its rear end",
        "at its edge front right and rear left lift",
    ]
    assert reach_lines(reached(taper=known(0.001, 0.002), lifts=0.05))[1:] == [
        f"{wide}whether it is wider in front or at the rear is not known"
    ]


def lift(first: list[float], *, lifts: float = 0.9, rolls: float = 1.1, tips: float = 0.0, held: float = 0.5) -> Any:
    """Wheel lifts at `lifts` g, tips over at `rolls` g; the tyres hold 0.8 g."""
    return SimpleNamespace(
        lifting=SimpleNamespace(
            limit=known(0.8 * G, 0.1 * G),
            first=first,
            lifts=known(lifts * G, 0.05 * G),
            rolls=known(rolls * G, 0.04 * G),
            tips=tips,
            reached=held,
        ),
        lift=SimpleNamespace(lifts=np.array([lifts * G]), rolls=np.array([rolls * G]), wheel=2),
    )


@pytest.mark.parametrize(
    ("found", "says"),
    [
        (
            lift([0.98, 0.0, 0.02, 0.0]),
            "turning left, the front left wheel lifts at 0.90 ± 0.05 g sideways and it tips over at 1.10 ± 0.04 g; the "
            "tyres hold 0.80 ± 0.10 g: whether it lifts or slides first is not known",
        ),
        (
            lift([0.6, 0.0, 0.4, 0.0], rolls=INF, held=0.02),
            "turning left, a wheel lifts (front left or rear left) at 0.90 ± 0.05 g sideways and it does not tip over; "
            "the tyres hold 0.80 ± 0.10 g, so it slides first",
        ),
        (
            lift([0.0, 0.0, 0.0, 0.0], tips=0.96, held=0.96),
            "turning left, the rear left wheel lifts at 0.90 ± 0.05 g sideways and the car tips at that moment, with "
            "no wheel left to stand on beside the outer two; the tyres hold 0.80 ± 0.10 g, so it comes to that",
        ),
    ],
)
def test_which_wheel_lifts_and_what_comes_then(found: Any, says: str) -> None:
    assert lifting(found) == says


def test_the_facts_of_one_car_in_their_order() -> None:
    """1 per metre is 0.573 degrees per centimetre: 1.5, 0.5 and 2.5 of them."""
    found = answers(
        modes=[
            SimpleNamespace(name="roll", frequency=known(3.2, 0.4), damping=known(0.31, 0.04)),
            SimpleNamespace(name="pitch", frequency=known(4.1, 0.5), damping=known(0.22, 0.03)),
        ],
        arrival=SimpleNamespace(
            arrive=known([0.061, 0.072, 0.083, 0.094], [0.004, 0.005, 0.006, 0.007]),
            overshoot=known([0.05, 0.07, 0.21, 0.11], [0.03, 0.03, 0.04, 0.03]),
        ),
        reached=reached(),
        kappa=known([1.5, -0.5, 2.5], [0.05, 0.06, 0.07]),
        warnings=("mind the step",),
        **vars(lift([0.98, 0.0, 0.02, 0.0])),
    )
    said = facts(found)
    assert said[0] == "at rest the balance point is at 52.0 ± 1.0 % by the push"
    assert said[1:4] == reach_lines(reached())
    assert said[4] == (
        "pushed at 80 % with blocked wheels it would turn +0.859 ± 0.029 °/cm at rest, from −0.29 ± 0.03 to +1.43 ± "
        "0.04 with the loads that driving can give, through a straight slide"
    )
    assert (
        said[6]
        == "roll 3.2 ± 0.4 Hz at 0.31 ± 0.04 of critical damping; pitch 4.1 ± 0.5 Hz at 0.22 ± 0.03 of critical damping"
    )
    assert said[7].split(": ", 1)[1] == (
        "90 % of the load has arrived at FL in 61 ± 4 ms, FR in 72 ± 5 ms, RL in 83 ± 6 ms, RR in 94 ± 7 ms; it "
        "overshoots most at RL, by 21 ± 4 %"
    )
    assert said[8:] == [*throttle(found), "mind the step"]


def test_shares_at_rest_and_as_a_wheel_lifts() -> None:
    """The front axle's ±: 0.3 and 0.4 points of two wheels are half a point together."""
    share = known([0.0, 0.46, 0.19, 0.35], [0.0, 0.01, 0.02, 0.03])
    found = answers(
        rest_share=known([0.28, 0.25, 0.24, 0.23], [0.003, 0.004, 0.02, 0.03]),
        rule=SimpleNamespace(rule=np.array([0.0, 1 / 3, 1 / 3, 1 / 3]), rule_front=0.53),
    )
    found.lifting = SimpleNamespace(share=share)
    assert share_rows(found) == [
        ["a quarter each", "25", "25", "25", "25", "50"],
        ["this car at rest", "28.0 ± 0.3", "25.0 ± 0.4", "24.0 ± 2.0", "23 ± 3", "53.0 ± 0.5"],
        ["a third each, one wheel up", "0", "33", "33", "33", "53"],
        ["this car as it lifts", "0", "46.0 ± 1.0", "19.0 ± 2.0", "35 ± 3", "53.0 ± 0.5"],
    ]


def effect(name: str, change: float, half: float, order: Order, rank: int = 0, *, tied: bool = False) -> Any:
    return SimpleNamespace(
        effect=SimpleNamespace(name=name, balance_change=change),
        balance_interval=(change - half, change + half),
        order=order,
        rank=rank,
        tied=tied,
    )


def test_ranks_are_told_as_far_as_they_are_known() -> None:
    found = SimpleNamespace(
        ranking=(
            effect("bar off", -3.1, 0.4, Order.RANKED, 1),
            effect("soft rear", 1.2, 0.3, Order.RANKED, 2, tied=True),
            effect("higher", 1.1, 1.6, Order.WAY_UNKNOWN),
            effect("toe", 0.1, 0.22, Order.TOO_SMALL),
            effect("camber", -0.2, 0.23, Order.TOO_SMALL),
            effect("tall", 0.0, 0.0, Order.ROLLS_OVER),
        )
    )
    lines = [" ".join(line.split()) for line in rank_lines(found)]  # type: ignore[arg-type]
    assert lines == [
        "1. bar off −3.1 ± 0.4 points",
        "2= soft rear +1.2 ± 0.3 points",
        "? higher +1.1 ± 1.6 points (which way is not known)",
        "tall: the car would roll over, or might",
        "without a rank, since each is below the 0.5 points that a push can show (at most 0.43): toe; camber",
        "=: which of these does more is not known",
    ]


def region(rest: float, half: float, width: Any, wide: Any) -> Any:
    return SimpleNamespace(rest=known(rest, half), ends=known([-0.02, 1.3], [0.02, 0.4]), width=known(width, wide))


def test_what_the_other_set_up_does_otherwise() -> None:
    found = SimpleNamespace(
        balance=known([1.8, NAN, 0.2], [2.4, NAN, 0.1]), region=region(-1.4, 0.3, [0.4, -1.6], [0.6, 0.5])
    )
    other = answers()
    other.name = "stiff"
    assert difference_lines(answers(), other, found) == [  # type: ignore[arg-type]
        "hold: balance point +1.8 ± 2.4 points in stiff (which way is not known)",
        "exit: the balance point differs by less than the 0.5 points that a push shows",
        "From soft to stiff: at rest the balance point moves −1.4 ± 0.3 points; on the move the region it can reach "
        "gets narrower near its front end: −1.6 ± 0.5 mm.",
        "the region of balance points: its rear end stays (within 0.05 points); its front end +1.3 ± 0.4 points; its "
        "width near the rear end +0.4 ± 0.6 mm (which may be nothing); its width near the front end −1.6 ± 0.5 mm",
    ]
    assert change_sentence("a", "b", region(0.9, 1.2, [2.5, -1.6], [2.9, 0.5])) == (
        "From a to b: at rest the balance point moves +0.9 ± 1.2 points (which may be nothing); on the move the region "
        "it can reach gets wider near its rear end: +2.5 ± 2.9 mm (which may be nothing)."
    )
    assert change_sentence("a", "b", region(0.1, 0.2, [0.02, -0.03], [0.02, 0.03])) == (
        "From a to b: at rest the balance point moves by less than the 0.5 points that a push shows; on the move the "
        "region it can reach stays."
    )
    assert change_sentence("a", "b", region(0.1, 0.2, [NAN, 0.1], [NAN, 0.1])).endswith(
        "on the move the car rolls over."
    )
