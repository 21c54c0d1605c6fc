"""The loop a builder goes through for cross weight, the share of front right with rear left.

A pure state machine: state and weighing in, next step out.

Bars unhooked, collars and dampers equal, settle, weigh, turn one collar, weigh again, until within tolerance; then hook
the bars up: what changes now is the bar's, and it is cured at the bar's link, not at a spring.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheel_names import WHEELS
from analysis.base.wheels import CROSS
from analysis.statistics.quantiles import NORMAL_95
from analysis.weighing.corner_weights import CornerWeights
from analysis.weighing.warp import SpringRates, WarpResponse, collar_turn

WHEEL_NAMES = tuple(name.replace(" ", "-") for name in WHEELS)
Stage = Literal["bars off", "collars equal", "weigh", "verify turn", "bars on", "verify bars", "done"]
Bars = Literal["none", "front", "rear", "both"]
SMALLEST_TURN = 0.25
MOST_TURNS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopState:
    """Where the builder is. Start with LoopState(...), then pass on the state each Step carries.

    response, rates: of this car.  pitch: m of travel per turn of the rear collars, which are the ones turned.
    target_pct: wanted cross weight, of FR and RL.  tolerance_pct: points either side.  bars: which axles have one.
    before: the weighing that the next one is compared with.  expected_g: (4,) g, change that the last advice promised.
    turned: collar turns advised so far.  retries: settlings repeated because a turn did not do what it should.
    """

    response: WarpResponse
    rates: SpringRates
    pitch: float
    target_pct: float = 50.0
    tolerance_pct: float = 0.5
    bars: Bars = "both"
    gravity: float = STANDARD_GRAVITY
    stage: Stage = "bars off"
    before: CornerWeights | None = None
    expected_g: FloatArray | None = None
    turned: int = 0
    retries: int = 0
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What to do now. text: one sentence or two.  weigh: whether a weighing must follow.

    expected_g: (4,) g change of the corner weights that doing so should bring, or None.
    wheel, turns: the collar to turn (FL, FR, RL, RR as 0 to 3) and by how much; + is towards more preload.
    done: nothing is left to do.  state: give it to the next call.
    """

    text: str
    state: LoopState
    weigh: bool = False
    expected_g: FloatArray | None = None
    wheel: int | None = None
    turns: float | None = None
    done: bool = False


def _turns(turns: float) -> str:
    whole, quarters = divmod(round(abs(turns) / SMALLEST_TURN), 4)
    part = ("", "a quarter turn", "half a turn", "three quarters of a turn")[quarters]
    if not whole:
        return part
    return f"{whole} turn{'s' if whole > 1 else ''}" + (f" and {part}" if part else "")


def _collar_words(wheel: int, turns: float, change: FloatArray) -> str:
    way = "down, more preload" if turns > 0 else "up, less preload"
    return f"{WHEEL_NAMES[wheel].capitalize()} collar {_turns(turns)} {way}: expect {change[wheel]:+.0f} g here"


def collar_words(step: Step) -> str:
    """Which collar a step turns, how far, and what that should do there; "" for a step that turns none."""
    if step.wheel is None or step.turns is None or step.expected_g is None:
        return ""
    return _collar_words(step.wheel, step.turns, step.expected_g)


def over_target(share_pct: float, total_g: float, target_pct: float) -> float:
    """g that a group of wheels carries beyond its wanted share of the total; negative for too little."""
    return (share_pct - target_pct) / 100.0 * total_g


def next_step(state: LoopState, weighing: CornerWeights | None = None) -> Step:
    """The builder's next step.

    weighing: the weighing that the last step asked for; None when it asked for none.
    Raises InputError when a weighing is due and missing.
    """
    if state.stage == "bars off":
        hooked = {
            "none": "",
            "front": "Unhook the front anti-roll bar. ",
            "rear": "Unhook the rear anti-roll bar. ",
            "both": "Unhook both anti-roll bars. ",
        }[state.bars]
        return Step(
            text=f"{hooked}Motor and battery unplugged, battery in place", state=replace(state, stage="collars equal")
        )
    if state.stage == "collars equal":
        return Step(
            text="Set the spring collars and the damper lengths equal left and right. Bounce the car, let it "
            "settle, roll it on and weigh",
            weigh=True,
            state=replace(state, stage="weigh"),
        )
    if state.stage == "done":
        return Step(text="Nothing is left to do", state=state, done=True)
    if state.stage == "bars on":
        return _hook_up(state, state.before)
    if weighing is None:
        raise InputError("this step needs a weighing", where="cross weight", remedy="Settle the car and weigh it")
    if state.stage == "weigh":
        return _judge(state, weighing)
    if state.stage == "verify turn":
        return _verify(state, weighing)
    return _judge_bars(state, weighing)


def _judge(state: LoopState, weighing: CornerWeights) -> Step:
    found = weighing.diagonal_fr_rl_pct
    off = found.value - state.target_pct
    if abs(off) <= state.tolerance_pct:
        return _hook_up(state, weighing)
    doubt = ""
    if abs(off) <= found.half_width:
        doubt = f" (only known to {found.half_width:.1f} points: weigh more placements first)"
    if state.turned >= MOST_TURNS:
        return Step(
            text=f"After {state.turned} turns the cross weight (front-right with rear-left) is still at "
            f"{found.value:.1f} %: look for a bent arm, a binding ball joint or unequal springs",
            done=True,
            state=replace(state, stage="done", before=weighing),
        )
    wheel, turns, change = _advise(state, weighing, off)
    text = (
        f"Front-right with rear-left carries {found.value:.1f} %, front-left with rear-right "
        f"{100 - found.value:.1f} %{doubt}. {_collar_words(wheel, turns, change)}. Settle and weigh"
    )
    return Step(
        text=text,
        weigh=True,
        wheel=wheel,
        turns=turns,
        expected_g=change,
        state=replace(state, stage="verify turn", before=weighing, expected_g=change, turned=state.turned + 1),
    )


def _advise(state: LoopState, weighing: CornerWeights, off_pct: float) -> tuple[int, float, FloatArray]:
    """A rear collar gets more preload, in quarter turns: loosening one may free its spring at full droop."""
    per_turn = [
        collar_turn(state.response, state.rates, wheel, 1.0, state.pitch) * 1000.0 / state.gravity for wheel in range(4)
    ]
    wanted = 2.0 * off_pct / 100.0 * weighing.total_g.value  # change of (FL + RR) - (FR + RL), g
    wheel = 3 if off_pct > 0 else 2
    turns = wanted / float(CROSS @ per_turn[wheel])
    turns = math.copysign(max(SMALLEST_TURN, round(abs(turns) / SMALLEST_TURN) * SMALLEST_TURN), turns)
    turns = math.copysign(min(abs(turns), 2.0), turns)  # never far in one go: springs are not that well known
    return wheel, turns, turns * per_turn[wheel]


def _verify(state: LoopState, weighing: CornerWeights) -> Step:
    if state.before is None or state.expected_g is None:
        return _judge(state, weighing)
    seen = float(CROSS @ (weighing.load_g - state.before.load_g))
    expected = float(CROSS @ state.expected_g)
    # The pads' own errors are the same in both weighings; what differs is the scatter of placing the car.
    doubt = math.hypot(_placing(weighing), _placing(state.before), state.response.relative_u * NORMAL_95 * expected)
    odd = abs(seen - expected) > max(doubt, 0.5 * abs(expected))
    if odd and state.retries == 0:
        return Step(
            text=f"The collar should have changed front-right with rear-left by {-expected / 2:+.0f} g, "
            f"{-seen / 2:+.0f} g came. Bounce the car, let it settle and weigh again",
            weigh=True,
            expected_g=state.expected_g,
            state=replace(state, retries=1),
        )
    note = state.note
    response = state.response
    shown = abs(expected) > 3.0 * doubt if not odd else abs(seen) > doubt and seen * expected > 0
    if shown:
        # The car has told its own rate: believe it more than the card, within reason.
        factor = min(max(seen / expected, 0.5), 2.0)
        response = replace(
            response,
            per_height=response.per_height * factor,
            per_preload=response.per_preload * factor,
            source="measured by turning a collar",
        )
    elif odd:
        note = "a collar did not do what it should: look for binding in the suspension"
    return _judge(replace(state, response=response, retries=0, note=note), weighing)


def _placing(weighing: CornerWeights) -> float:
    """95 % half-width of the cross weight from placing and noise alone, g."""
    shared = ("curves", "masses", "pads", "pad offsets", "pad gains", "pad heights", "parts", "scale")
    own = sum(float(CROSS @ part.covariance @ CROSS) for part in weighing.parts if part.name not in shared)
    return NORMAL_95 * math.sqrt(max(own, 0.0))


def _hook_up(state: LoopState, weighing: CornerWeights | None) -> Step:
    found = (
        ""
        if weighing is None
        else (
            f"Front-right with rear-left carries {weighing.diagonal_fr_rl_pct.value:.1f} %: within "
            f"{state.tolerance_pct:.1f} of {state.target_pct:.0f} %. "
        )
    )
    extra = f" Note: {state.note}." if state.note else ""
    if state.bars == "none":
        return Step(text=f"{found}Done.{extra}", done=True, state=replace(state, stage="done", before=weighing))
    axle = "rear" if state.bars in ("rear", "both") else "front"
    return Step(
        text=f"{found}Hook the {axle} bar up, settle and weigh: a change now is the bar's.{extra}",
        weigh=True,
        expected_g=np.zeros(4),
        state=replace(state, stage="verify bars", before=weighing, expected_g=np.zeros(4)),
    )


def _judge_bars(state: LoopState, weighing: CornerWeights) -> Step:
    axle = "rear" if state.bars in ("rear", "both") else "front"
    before = state.before
    change = 0.0 if before is None else float(CROSS @ (weighing.load_g - before.load_g))
    doubt = _placing(weighing) if before is None else math.hypot(_placing(weighing), _placing(before))
    allowed = 2.0 * state.tolerance_pct / 100.0 * weighing.total_g.value
    if abs(change) > max(allowed, doubt):
        heavy = "front-left with rear-right" if change > 0 else "front-right with rear-left"
        return Step(
            text=f"The {axle} bar moved {abs(change):.0f} g onto {heavy}: it is twisted at rest. Lengthen or shorten "
            f"one {axle} bar link until it slips on without force; leave the springs alone. Settle and weigh",
            weigh=True,
            expected_g=-CROSS * change / 4.0,
            state=state,
        )
    sentence = f"The {axle} bar changes nothing that can be told ({change:+.0f} g, doubt {doubt:.0f} g)"
    if state.bars == "both":
        return Step(
            text=f"{sentence}. Now the front bar", state=replace(state, stage="bars on", bars="front", before=weighing)
        )
    extra = f". Note: {state.note}" if state.note else ""
    return Step(text=f"{sentence}. Done{extra}", done=True, state=replace(state, stage="done", before=weighing))
