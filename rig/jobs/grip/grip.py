"""Grip factors measured at the bench, combined, and inferred backwards from pushes."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.forecast.forecast import kind_of_test
from analysis.forecast.inputs import CarState
from analysis.grip.bench_tests import (
    OnBalance,
    OnBoard,
    mean_of_pulls,
    mean_of_repeats,
    pull,
    read_off_u,
    tilt_axle,
    tilt_car,
)
from analysis.grip.combine import Assumed, GripEstimate, GripMeasurement, combine
from analysis.grip.days import DayRatio, day_ratio
from analysis.grip.inference import Inference, infer
from analysis.grip.next_push import NextPush, most_informative_station
from analysis.grip.one_sided import balance_station
from analysis.grip.push_force import pooled
from analysis.grip.sweep import SweepNull, ratio_from_null, sweep_null
from analysis.grip.unknowns import Unknown
from analysis.weighing.corner_weights import newtons_from_grams
from rig.base.errors import InputError
from rig.cards.keys.test import Grip
from rig.cards.left_out import OTHER_TYRES_RATIO_U
from rig.cards.measures import MM, wheelbase
from rig.cards.mechanics import place_gravity, push_state, pushed_wheels, rolling_over_load
from rig.cards.read import CardSet
from rig.jobs.grip.matching_grips import ACROSS, ALONG, GripRecord, like_grips
from rig.jobs.series.evidence import PushOnRecord, conditions_that_differ, measured_pushes, notes_of
from rig.jobs.weighing.bench_figures import refuse_gauge, refuse_pulls, refuse_slopes
from rig.jobs.weighing.weights import Weighing, written
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.grip import GRIP, INFERENCE, GripInputs, GripResult, InferenceInputs, InferenceResult, UnknownRow
from rig.records.record import Record

Tested = Literal["front", "rear", "car"]
State = Literal["static", "sliding"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltTest:
    """Slopes at which it slips. angles_deg: repeats; their scatter enters.  angle_u_deg: of the protractor, common."""

    part: Tested
    angles_deg: Sequence[float]
    angle_u_deg: float = 0.5
    nose: Literal["up", "down"] = "up"
    state: State = "static"


@dataclass(frozen=True, slots=True, kw_only=True)
class PullTest:
    """Pulls on a spring balance. forces: N, repeats.  gauge_u: of the balance, relative.  angle_deg: of the string."""

    part: Tested
    forces: Sequence[float]
    gauge_u: float = 0.02
    angle_deg: float = 0.0
    state: State = "sliding"


def measure_tilt(
    cards: CardSet, log: BenchLog, weighing: Weighing, test: TiltTest
) -> tuple[GripMeasurement, GripRecord]:
    """Grip from the slope at which the car slips: one axle (the other on rollers), or the whole car, wheels blocked."""
    refuse_slopes(test.angles_deg)
    angles = np.radians(np.asarray(test.angles_deg, dtype=float))
    step = float(np.radians(read_off_u(np.asarray(test.angles_deg, dtype=float))))
    mean, own = mean_of_repeats(angles, usual=float(np.radians(0.7)), read_off=step)
    geometry, front = cards.car.geometry, weighing.weights.front_pct
    board = OnBoard(
        angle=mean,
        angle_u=own,
        angle_shared_u=float(np.radians(test.angle_u_deg)),
        front_share=front.value / 100,
        front_share_u=front.u / 100,
        height_ratio=geometry.cg_height_mm / geometry.wheelbase_mm,
        height_ratio_u=geometry.cg_height_mm_u / geometry.wheelbase_mm,
        nose=test.nose,
    )
    if test.part == "car":
        found = tilt_car(board, state=test.state, notes=notes_of(cards))
    else:
        other: Literal["front", "rear"] = "rear" if test.part == "front" else "front"
        there = float(weighing.load[2:].sum() if other == "rear" else weighing.load[:2].sum())
        rolling, rolling_u = rolling_over_load(cards.car, cards.test, other, there)
        found = tilt_axle(
            board, axle=test.part, rolling=rolling, rolling_u=rolling_u, state=test.state, notes=notes_of(cards)
        )
    return found, _keep(
        cards,
        log,
        found,
        GripInputs(angles_deg=tuple(test.angles_deg), part=test.part, nose=test.nose, direction=ALONG),
        weighing,
    )


def measure_pull(
    cards: CardSet,
    log: BenchLog,
    weighing: Weighing,
    test: PullTest,
) -> tuple[GripMeasurement, GripRecord]:
    """Grip from a horizontal pull on a spring balance."""
    values = np.asarray(test.forces, dtype=float)
    mean, own = mean_of_pulls(values)
    gravity = place_gravity(cards.bench)
    wheels = {"front": [0, 1], "rear": [2, 3], "car": [0, 1, 2, 3]}[test.part]
    chosen = np.isin(np.arange(4), wheels).astype(float)
    load = float(newtons_from_grams(weighing.weights.load_g[wheels].sum(), gravity=gravity))
    load_u = float(np.sqrt(chosen @ weighing.load_covariance @ chosen))
    refuse_gauge(test.gauge_u)
    refuse_pulls(test.forces, load)
    balance = OnBalance(
        force=mean,
        force_u=own,
        gauge_shared_u=test.gauge_u,
        load=load,
        load_u=load_u,
        angle=float(np.radians(test.angle_deg)),
        angle_u=float(np.radians(2.0)),
    )
    found = pull(
        balance,
        quantity="mean" if test.part == "car" else test.part,
        front_weight=weighing.weights.front_pct.value / 100,
        state=test.state,
        notes=notes_of(cards),
    )
    return found, _keep(
        cards, log, found, GripInputs(forces_N=tuple(test.forces), part=test.part, direction=ACROSS), weighing
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """Balance point of several pushes, and the grip ratio that follows."""

    null: SweepNull
    grip: GripMeasurement
    warnings: tuple[str, ...]
    record: GripRecord
    remarks: tuple[str, ...]


def measure_sweep(sets: Sequence[CardSet], log: BenchLog) -> Sweep:
    """Balance point by interpolation over measured pushes at several stations.

    Raises InputError for too few pushes, and for wheels that were not alike in all of them.
    """
    gathered = measured_pushes(sets, log)
    pushes, sets = gathered.pushes, gathered.sets
    states = [push.evidence for push in pushes]
    if len(pushes) < 2:
        raise InputError("one push is no sweep", where="sweep", remedy="Name the test cards of two or more pushes")
    if len({round(one.push.station, 6) for one in states}) < 2:
        raise InputError(
            "all these pushes are at one position",
            where="sweep",
            remedy="Push at two or more positions, on both sides of the balance point",
        )
    wheels = {pushed_wheels(cards.test): cards.test.name for cards in sets}
    if len(wheels) > 1:
        (one, name), (other, another) = list(wheels.items())[:2]
        raise InputError(
            f'the wheels differ: {one} on "{name}", {other} on "{another}"',
            where="sweep",
            remedy="Sweep with the wheels alike: they turn the car by unlike amounts at one place",
        )
    null = sweep_null(
        np.array([one.push.station for one in states]),
        np.array([push.measured.kappa for push in pushes]),
        kappa_u=np.array([push.measured.kappa_u for push in pushes]),
        station_u=np.array([one.push.station_u for one in states]),
        rolling=kind_of_test(states[0].car) == "switch",
    )
    front = pushes[0].weighing.weights.front_pct
    grip = ratio_from_null(
        null,
        wheelbase=wheelbase(sets[0].car),
        front_share=front.value / 100,
        front_share_u=front.u / 100,
        wheelbase_u=sets[0].car.geometry.wheelbase_mm_u * MM,
        notes=notes_of(sets[0]),
    )
    record = _keep(
        sets[0],
        log,
        grip,
        GripInputs(
            tests=tuple(cards.test.name for cards in sets),
            null_m=null.station,
            null_interval_m=null.interval,
            direction=ACROSS,
        ),
        pushes[0].weighing,
        pushes,
    )
    return Sweep(
        null=null, grip=grip, warnings=tuple(conditions_that_differ(sets)), record=record, remarks=gathered.remarks
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CombinedGrip:
    """What is known of the grip of this car on these tyres and this surface. remarks: to be told first."""

    estimate: GripEstimate
    days: tuple[str, ...]
    remarks: tuple[str, ...]
    left_out: tuple[str, ...]


def combined_grip(cards: CardSet, log: BenchLog, *, state: State = "sliding") -> CombinedGrip:
    """The grip measurements of this car, tyres and surface in the log, in one estimate."""
    like, usual = like_grips(cards, log), Grip()
    ratio_u = usual.ratio_u if cards.test.grip.same_tyres else OTHER_TYRES_RATIO_U
    assumed = Assumed(ratio_u=ratio_u, level_u=usual.level_u)  # as a forecast takes it from a card that says nothing
    return CombinedGrip(
        estimate=combine(like.measurements(state), state=state, assumed=assumed),
        days=tuple(like.days),
        remarks=like.remarks,
        left_out=like.left_out,
    )


def grip_against(cards: CardSet, log: BenchLog, day: str, *, state: State = "sliding") -> tuple[DayRatio, str]:
    """Grip of the newest day over that of another day, and which day is the newest. Raises InputError."""
    like = like_grips(cards, log)
    found = [grip for grip in like.grips if grip.measurement.state == state and grip.measurement.quantity != "ratio"]
    days = sorted({grip.day for grip in found})
    others = [one for one in days if one != day]
    if day not in days or not others:
        raise InputError(
            f"there is no {state} grip of {'another day than ' if day in days else ''}{day} on these tyres and surface",
            where="--against",
            remedy=f"There is grip of: {', '.join(days)}"
            if days
            else "Measure with: pivotbench grip pull, or pivotbench grip tilt",
        )
    now = others[-1]
    ratio = day_ratio(
        pooled([grip.measurement for grip in found if grip.day == day]),
        pooled([grip.measurement for grip in found if grip.day == now]),
    )
    return ratio, now


@dataclass(frozen=True, slots=True, kw_only=True)
class Backwards:
    """Grip ratio from pushes, and the push that would tell most next."""

    inference: Inference
    next_push: NextPush
    warnings: tuple[str, ...]
    record: Record[InferenceInputs, InferenceResult]
    remarks: tuple[str, ...]


def infer_grip(sets: Sequence[CardSet], log: BenchLog, *, also: Unknown | None = None) -> Backwards:
    """The front-to-rear grip ratio (and a further unknown) from the measured pushes of these test cards."""
    gathered = measured_pushes(sets, log)
    pushes, sets = gathered.pushes, gathered.sets
    found = infer([push.evidence for push in pushes], also=also)
    usual = float(np.median([push.measured.kappa_u for push in pushes]))
    first = pushes[0]
    following = most_informative_station(
        first.evidence.car,
        push_state(first.cards.car, first.cards.test),
        kappa_u=max(usual, 1e-3),
        now_u=found.grip_ratio.u,
        now_log_ratio=float(np.log(found.grip_ratio.value)),
        stations=_other_side(first.evidence.car, found),
    )
    other = found.other
    record = log.record(
        INFERENCE,
        first.cards.car.name,
        inputs=InferenceInputs(tests=tuple(c.test.name for c in sets), also=also),
        result=InferenceResult(
            grip_ratio=found.grip_ratio.value,
            grip_ratio_u=found.grip_ratio.u,
            interval=found.grip_ratio.interval,
            chance=found.chance,
            sentence=found.sentence,
            next_station_pct=following.station_pct,
            other=None
            if other is None
            else UnknownRow(
                name=other.name,
                unit=other.unit,
                value=other.value,
                interval=other.interval,
                informed=other.informed,
            ),
        ),
        cards=keep_cards(log, first.cards),
        parents=[p.record.id for p in pushes],
    )
    return Backwards(
        inference=found,
        next_push=following,
        warnings=(*conditions_that_differ(sets), *([] if also == "cg station" else [_weights_taken(first)])),
        record=record,
        remarks=gathered.remarks,
    )


def _other_side(car: CarState, found: Inference) -> list[float] | None:
    """Where to look for the next push, m: at the balance point and beyond it, where all were made on one side of it."""
    if not found.side:
        return None
    balance = balance_station(car, float(np.log(found.grip_ratio.value)))
    places = np.linspace(0.0, car.wheelbase, 21)
    beyond = places[found.side * (balance - places) > -0.03 * car.wheelbase]
    return [float(place) for place in beyond] or None


def _weights_taken(push: PushOnRecord) -> str:
    """That the weights are taken as right, and what a point of them is worth: d ln ratio = -d logit(share).

    The ratio is that of grip under the loads the car stands with, so load sensitivity does not come into it.
    """
    front = push.weighing.weights.front_pct.value
    worth = 100.0 * 100.0 / (front * (100.0 - front))
    return (
        f"The weights are taken as right ({front:.1f} % in front): one point more in front than was weighed would "
        f"leave the front tyres {worth:.0f} % less grip. A push alone does not tell wrong weights from other tyres"
    )


def _keep(
    cards: CardSet,
    log: BenchLog,
    found: GripMeasurement,
    inputs: GripInputs,
    weighing: Weighing,
    pushes: Sequence[PushOnRecord] = (),
) -> GripRecord:
    return log.record(
        GRIP,
        cards.car.name,
        inputs=inputs,
        result=GripResult(
            quantity=found.quantity,
            value=found.value,
            relative_u=found.relative_u,
            method=found.method,
            state=found.state,
            front_weight=found.front_weight,
            shared=dict(found.shared),
        ),
        cards=keep_cards(log, cards),
        parents=[written(weighing, cards, log).record.id, *(push.record.id for push in pushes)],
    )
