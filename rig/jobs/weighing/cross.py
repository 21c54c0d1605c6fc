"""The builder's loop to a wanted cross weight, and what the floor and shims have to do with it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analysis.base.wheel_names import WHEELS
from analysis.weighing.collar_loop import LoopState, collar_words, next_step, over_target
from analysis.weighing.collar_loop import Step as BuilderStep
from analysis.weighing.corner_weights import CornerWeights
from analysis.weighing.cross_weight import FloorVerdict, ShimPlan, floor_verdict, plan_shims
from analysis.weighing.warp import WarpResponse, response_from_rates, response_from_shim
from rig.cards.chassis import spring_rates, spring_track, warp_response
from rig.cards.keys.car import CarCard
from rig.cards.measures import MM, contact_place
from rig.cards.mechanics import place_gravity
from rig.cards.read import CardSet
from rig.jobs.weighing.pads import Ask, OpenPads
from rig.jobs.weighing.scale import scale_of
from rig.jobs.weighing.weigh import set_on, weigh_on_pads
from rig.jobs.weighing.weights import RecordedWeighing, Weighing, weights_but_for
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.pads.steps import Step
from rig.records.record import Record
from rig.records.weighing import CROSS_WEIGHT, SHIM, CrossInputs, CrossResult, ShimInputs, ShimResult

MOST_STEPS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossTarget:
    """What is wanted. share_pct, tolerance_pct: of front right with rear left.  bars: axles with one."""

    share_pct: float = 50.0
    tolerance_pct: float = 0.5
    bars: Literal["none", "front", "rear", "both"] = "both"


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossRun:
    """How the loop went. steps: what was done, in order.  record: in the log."""

    steps: tuple[BuilderStep, ...]
    record: Record[CrossInputs, CrossResult]


def builder_loop(
    cards: CardSet,
    pads: OpenPads,
    log: BenchLog,
    *,
    target: CrossTarget,
    ask: Ask,
    say: Callable[[str], None],
    placings: int = 1,
) -> CrossRun:
    """Go through the loop: bars unhooked, collars equal, settle, weigh, turn, verify, bars hooked up, verify.

    Every weighing is in the log at once.
    """
    state = _at_first(cards, target, unhooked=True)
    steps: list[BuilderStep] = []
    weighings: list[RecordedWeighing] = []
    step = next_step(state)
    while len(steps) < MOST_STEPS:
        steps.append(step)
        say(f"{step.text}.")
        if step.done:
            break
        if step.weigh:
            weighings.append(weigh_on_pads(cards, pads, log, placings=placings, ask=ask))
            step = next_step(step.state, weighings[-1].weights)
        else:
            ask(Step(text="Done so", action="empty"))
            step = next_step(step.state)
    record = log.record(
        CROSS_WEIGHT,
        cards.car.name,
        inputs=CrossInputs(target_pct=target.share_pct, tolerance_pct=target.tolerance_pct, bars=target.bars),
        result=CrossResult(
            steps=tuple(one.text for one in steps),
            done=steps[-1].done,
            diagonal_fr_rl_pct=tuple(one.weights.diagonal_fr_rl_pct.value for one in weighings),
        ),
        cards=keep_cards(log, cards),
        parents=[one.record.id for one in weighings],
    )
    return CrossRun(steps=tuple(steps), record=record)


def _at_first(cards: CardSet, target: CrossTarget, *, unhooked: bool) -> LoopState:
    """The loop before its first step. Raises InputError as `spring_rates`.

    unhooked: the bars that are asked about are off while collars are turned: a bar that holds one axle straight makes
    a collar of the other up to twice as much worth.
    """
    rates = spring_rates(cards.car)
    if unhooked:
        off = [target.bars in ("front", "both"), target.bars in ("rear", "both")]
        rates = replace(rates, bar=np.where(off, 0.0, rates.bar))
    assert cards.car.chassis is not None  # spring_rates has seen to it
    return LoopState(
        response=response_from_rates(rates),
        rates=rates,
        pitch=cards.car.chassis.rear.collar_pitch_mm * MM,
        target_pct=target.share_pct,
        tolerance_pct=target.tolerance_pct,
        bars=target.bars,
        gravity=place_gravity(cards.bench),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossGap:
    """How far a weighing is from the wanted cross weight.

    over_g: g that front right with rear left carry too much, negative for too little; half_width_g: of its 95 %.
    advice: what to turn, from the springs on the card; why nothing can be said where it is not known.
    """

    over_g: float
    half_width_g: float
    advice: str


def cross_gap(cards: CardSet, weights: CornerWeights, target: CrossTarget) -> CrossGap:
    """Grams and collar turns from a weighing to the wanted cross weight."""
    share, total = weights.diagonal_fr_rl_pct, weights.total_g.value
    over = over_target(share.value, total, target.share_pct)
    half = share.half_width / 100.0 * total
    if abs(over) <= half:
        advice = "Nothing to turn: the weighing does not tell it from the target."
    elif abs(share.value - target.share_pct) <= target.tolerance_pct:
        advice = f"Within {target.tolerance_pct:g} points of the target."
    elif cards.car.chassis is None:
        advice = "Give the springs on the car card ([chassis]) to know how far to turn a collar."
    else:
        state = replace(_at_first(cards, target, unhooked=False), bars="none", stage="weigh")
        advice = f"{collar_words(next_step(state, weights))}; then settle and weigh."
    return CrossGap(over_g=over, half_width_g=half, advice=advice)


def judge_floor(cards: CardSet, weighing: Weighing, *, response: WarpResponse | None = None) -> FloorVerdict:
    """Can the cross weight of a weighing be told from an uneven floor?"""
    return floor_verdict(
        weights_but_for("pad heights", weighing, cards),  # the floor is counted here, and not twice
        response or warp_response(cards.car),
        cards.bench.pads.level_mm_u * MM,
        gravity=place_gravity(cards.bench),
    )


def shims_for(car: CarCard, heights_mm: tuple[float, float, float, float]) -> ShimPlan:
    """Which shims bring the pads, measured against a straight edge, into one plane under this car.

    heights: FL FR RL RR.
    """
    return plan_shims(np.array(heights_mm) * MM, contact_place(car))


def measure_response(
    cards: CardSet,
    pads: OpenPads,
    log: BenchLog,
    *,
    wheel: int,
    shim_mm: float,
    ask: Ask,
) -> tuple[WarpResponse, Record[ShimInputs, ShimResult]]:
    """Measure what one millimetre of pad height is worth on this car by putting a known shim under one pad.

    wheel: 0..3, FL FR RL RR.
    """
    scale = scale_of(cards.bench, log, pads=pads, calibration=cards.choices.calibration)
    loads, raw = [], []
    for text in (
        f"{set_on(cards.bench)}; bounce it",
        f"Put the {shim_mm:g} mm shim under the {WHEELS[wheel]} pad, bounce the car",
    ):
        ask(Step(text=text, action="car"))
        placed = scale.place_once(pads)
        loads.append(scale.wheels(placed.loads.load_g) * place_gravity(cards.bench) / 1000.0)
        raw.append(placed.raw)
    scatter = (cards.bench.pads.reseat_g / 4 * place_gravity(cards.bench) / 1000.0) ** 2  # not lifted off in between
    track = spring_track(cards.car)
    found = response_from_shim(loads[0], loads[1], scatter * np.eye(4), wheel=wheel, shim=shim_mm * MM, track=track)
    record = log.record(
        SHIM,
        cards.car.name,
        inputs=ShimInputs(wheel=wheel, shim_mm=shim_mm, placings=tuple(raw)),
        result=ShimResult(
            grams_per_mm=found.grams_per_mm(), cross_g_per_mm=found.cross_per_mm(), relative_u=found.relative_u
        ),
        cards=keep_cards(log, cards),
        parents=scale.records,
        files=[log.add_file("raw readings", pads.raw_file)],
    )
    return found, record
