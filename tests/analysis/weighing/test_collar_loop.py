"""Each step of the builder's loop by hand: which collar, how far, what must come, and what is made of what came.

One turn of 0.75 mm at 2500 N/m and a motion ratio of 0.65 moves 2500 * 0.65 * 0.75e-3 N = 124.28 g between the
diagonals (statics: a preload in one spring shifts all of itself onto the diagonals when all springs are alike).
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.base.wheels import CROSS
from analysis.statistics.estimate import DoubtPart
from analysis.weighing.collar_loop import MOST_TURNS, LoopState, Step, next_step
from analysis.weighing.corner_weights import CornerWeights, corner_weights
from analysis.weighing.warp import SpringRates, response_from_rates

TURN_G = 2500 * 0.65 * 0.75e-3 * 1000 / 9.80665
RATES = SpringRates(
    spring=np.full(4, 2500.0),
    motion_ratio=np.full(4, 0.65),
    tyre=np.full(4, math.inf),
    bar=np.zeros(2),
    track=np.array([0.17, 0.17]),
)
START = LoopState(response=response_from_rates(RATES), rates=RATES, pitch=0.75e-3)


def weighed(cross_g: float, sd_g: float = 0.1, *others: DoubtPart) -> CornerWeights:
    """A car of 1600 g with so much more on front-left and rear-right than on the others: 32 g are one point."""
    parts = (DoubtPart(name="noise", covariance=sd_g**2 * np.eye(4)), *others)
    return corner_weights(400.0 + CROSS * cross_g / 4.0, parts)


def turned(before_g: float, sd_g: float = 0.1, turns: float = 1.0, **change: object) -> LoopState:
    """After the advice to turn a rear-left collar."""
    expected = -CROSS * TURN_G * turns / 4.0
    return replace(START, stage="verify turn", before=weighed(before_g, sd_g), expected_g=expected, turned=1, **change)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("cross_g", "wheel", "turns", "says"),
    [
        (124.0, 2, 1.0, "Rear-left collar 1 turn down, more preload: expect +31 g here"),
        (-124.0, 3, 1.0, "Rear-right collar 1 turn down, more preload: expect +31 g here"),
        (32.0, 2, 0.25, "Rear-left collar a quarter turn down, more preload: expect +8 g here"),
        (60.0, 2, 0.5, "half a turn down"),
        (-95.0, 3, 0.75, "three quarters of a turn down"),
        (155.0, 2, 1.25, "1 turn and a quarter turn down"),
        (600.0, 2, 2.0, "2 turns down"),  # never farther in one go
    ],
)
def test_the_rear_collar_of_the_light_side_is_turned_by_quarters(
    cross_g: float, wheel: int, turns: float, says: str
) -> None:
    step = next_step(replace(START, stage="weigh"), weighed(cross_g))
    assert (step.wheel, step.turns, step.weigh, step.done) == (wheel, turns, True, False)
    assert says in step.text
    assert f"Front-right with rear-left carries {50 - cross_g / 32:.1f} %" in step.text
    assert f"front-left with rear-right {50 + cross_g / 32:.1f} %" in step.text
    assert "only known" not in step.text
    expected = -math.copysign(turns * TURN_G / 4.0, cross_g) * CROSS
    np.testing.assert_allclose(step.expected_g, expected, rtol=1e-9)
    np.testing.assert_allclose(step.state.expected_g, expected, rtol=1e-9)
    assert (step.state.stage, step.state.turned) == ("verify turn", 1)


def test_another_target_is_aimed_at_and_the_tolerance_is_kept() -> None:
    state = replace(START, stage="weigh", target_pct=48.0, tolerance_pct=1.0)  # of front right + rear left
    assert next_step(state, weighed(33.0)).state.stage == "verify bars"  # 48.97 %
    assert next_step(state, weighed(95.0)).state.stage == "verify bars"  # 47.03 %
    aside = next_step(state, weighed(31.0))  # 49.03 %: 33 g are lacking, a quarter turn
    assert (aside.wheel, aside.turns) == (3, 0.25)
    assert next_step(state, weighed(97.0)).wheel == 2


def test_less_than_the_doubt_is_said_to_be_so() -> None:
    step = next_step(replace(START, stage="weigh"), weighed(20.0, sd_g=10.0))
    # 10 g a corner: 1.96 * 10 * sqrt(4) g between the diagonals, 2 g of that are 1/16 point
    assert f"only known to {1.96 * 20 / 32:.1f} points" in step.text


def test_after_many_turns_something_else_is_wrong() -> None:
    last = next_step(replace(START, stage="weigh", turned=MOST_TURNS), weighed(40.0))
    assert last.done
    assert f"After {MOST_TURNS} turns" in last.text
    assert "48.8 %" in last.text
    assert last.state.stage == "done"
    again = next_step(last.state)
    assert again.done
    assert "Nothing is left" in again.text
    assert not next_step(replace(START, stage="weigh", turned=MOST_TURNS - 1), weighed(40.0)).done
    assert not next_step(replace(START, stage="weigh", turned=MOST_TURNS), weighed(10.0)).done  # it is right now


@pytest.mark.parametrize(("share", "believed"), [(0.75, 0.75), (1.3, 1.3), (1.0, 1.0)])
def test_a_car_that_answers_otherwise_than_its_card_is_believed(share: float, believed: float) -> None:
    step = next_step(turned(100.0), weighed(100.0 - share * TURN_G))
    assert step.state.response.source == "measured by turning a collar"
    np.testing.assert_allclose(step.state.response.per_preload, believed * START.response.per_preload, rtol=1e-9)
    np.testing.assert_allclose(step.state.response.per_height, believed * START.response.per_height, rtol=1e-9)
    assert step.state.note == ""


@pytest.mark.parametrize("share", [0.4, 1.6, -1.0, 0.1, 5.0])
def test_an_odd_answer_is_weighed_again_first(share: float) -> None:
    step = next_step(turned(300.0), weighed(300.0 - share * TURN_G))
    assert (step.weigh, step.wheel, step.state.retries, step.state.stage) == (True, None, 1, "verify turn")
    assert f"should have changed front-right with rear-left by {TURN_G / 2:+.0f} g" in step.text
    assert f"{share * TURN_G / 2:+.0f} g came" in step.text
    np.testing.assert_allclose(step.expected_g, -CROSS * TURN_G / 4)


@pytest.mark.parametrize(("share", "believed"), [(0.3, 0.5), (0.45, 0.45 / 0.9), (1.6, 1.6), (5.0, 2.0)])
def test_an_odd_answer_that_stays_is_believed_within_reason(share: float, believed: float) -> None:
    step = next_step(turned(300.0, retries=1), weighed(300.0 - share * TURN_G))
    np.testing.assert_allclose(step.state.response.per_preload, believed * START.response.per_preload, rtol=1e-9)
    assert (step.state.retries, step.state.note) == (0, "")


@pytest.mark.parametrize("share", [0.0, -1.0, 0.1])
def test_a_collar_that_does_nothing_or_the_opposite_is_noted(share: float) -> None:
    step = next_step(turned(300.0, retries=1), weighed(300.0 - share * TURN_G))
    assert "binding" in step.state.note
    assert step.state.response == START.response
    told = next_step(replace(step.state, stage="weigh", bars="none"), weighed(0.0))
    assert "binding" in told.text


def test_what_placing_the_car_could_feign_changes_nothing() -> None:
    # 20 g a corner: 1.96 * 40 g twice over, so one turn of 124 g says little, and 240 g of it are no surprise
    step = next_step(turned(100.0, sd_g=20.0), weighed(100.0 - 1.8 * TURN_G, sd_g=20.0))
    assert step.state.response == START.response
    assert (step.state.retries, step.state.note) == (0, "")
    # the pads' own errors are in both weighings and do not matter
    pads = DoubtPart(name="pads", covariance=400.0 * np.eye(4))
    step = next_step(turned(100.0), weighed(100.0 - 0.75 * TURN_G, 0.1, pads))
    assert step.state.response.source == "measured by turning a collar"


def walk(state: LoopState, *cross_g: float) -> list[Step]:
    """The steps that follow; one weighing for each step that asks for one."""
    left, steps = list(cross_g), [next_step(state)]
    while not steps[-1].done:
        steps.append(next_step(steps[-1].state, weighed(left.pop(0)) if steps[-1].weigh else None))
    assert not left
    return steps


@pytest.mark.parametrize(
    ("bars", "unhook", "hooked"),
    [
        ("none", "", []),
        ("front", "Unhook the front anti-roll bar. ", ["front"]),
        ("rear", "Unhook the rear anti-roll bar. ", ["rear"]),
        ("both", "Unhook both anti-roll bars. ", ["rear", "front"]),
    ],
)
def test_bars_come_off_first_and_go_on_one_by_one(bars: str, unhook: str, hooked: list[str]) -> None:
    steps = walk(replace(START, bars=bars), 10.0, *(12.0 for _ in hooked))  # type: ignore[arg-type]
    texts = [step.text for step in steps]
    assert texts[0] == f"{unhook}Motor and battery unplugged, battery in place"
    assert "collars and the damper lengths equal" in texts[1]
    assert [axle for text in texts for axle in ("front", "rear") if f"Hook the {axle} bar" in text] == hooked
    assert any("carries 49.7 %: within 0.5 of 50 %" in text for text in texts)
    if not hooked:
        assert texts[-1].endswith("Done.")
    else:
        assert f"The {hooked[-1]} bar changes nothing" in texts[-1]
        assert texts[-1].endswith("Done")
        for step in steps:
            if step.text.startswith("The") or "Hook" in step.text:
                assert step.expected_g is None or not np.any(step.expected_g)


@pytest.mark.parametrize("change", [40.0, -40.0])
def test_a_bar_that_moves_load_is_twisted(change: float) -> None:
    state = replace(START, stage="verify bars", bars="rear", before=weighed(5.0))
    step = next_step(state, weighed(5.0 + change))
    heavy = "front-left with rear-right" if change > 0 else "front-right with rear-left"
    assert f"The rear bar moved 40 g onto {heavy}" in step.text
    assert (step.weigh, step.state) == (True, state)
    np.testing.assert_allclose(step.expected_g, -CROSS * change / 4)
    front = next_step(replace(state, bars="front"), weighed(5.0 + change))
    assert "one front bar link" in front.text


@pytest.mark.parametrize(
    ("cross_g", "sd_g", "told"),
    [(15.5, 0.1, False), (16.5, 0.1, True), (16.5, 4.0, False), (25.0, 4.0, True)],
)
def test_a_bar_is_blamed_beyond_the_tolerance_and_the_doubt(cross_g: float, sd_g: float, told: bool) -> None:
    # half a point of 1600 g on each diagonal is 16 g; 4 g a corner are 1.96 * 8 * sqrt(2) = 22.2 g
    state = replace(START, stage="verify bars", bars="front", before=weighed(0.0, sd_g))
    step = next_step(state, weighed(cross_g, sd_g))
    assert ("twisted" in step.text) == told
    assert step.done != told
    if sd_g == 4.0 and not told:
        assert "(+16 g, doubt 22 g)" in step.text


@pytest.mark.parametrize("stage", ["weigh", "verify turn", "verify bars"])
def test_a_weighing_that_is_due_is_asked_for(stage: str) -> None:
    with pytest.raises(InputError, match="needs a weighing") as caught:
        next_step(replace(START, stage=stage))  # type: ignore[arg-type]
    assert "weigh" in caught.value.remedy
