"""The moving car, from cards to answers: phases, reachable balance points, how load arrives, what a change does."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.moving.phases import DriftPath, Phase, PhaseTable, checked_phases, drift_path, phase_table
from analysis.moving.pivots import pivot_spans, reachable_pivots
from analysis.moving.ranking import RankedEffect, ranked
from analysis.moving.region import grip_limit
from analysis.moving.setup_changes import changed, effects, usual_changes
from analysis.moving.tyres import Driveline
from analysis.springs.chassis import Chassis, stacked
from analysis.springs.dampers import BodyInertia, Dampers
from analysis.springs.lift_off import LiftOff, RuleBeside, beside, lift_offs
from analysis.springs.modes import modes
from analysis.springs.response import Arrival, Manoeuvre, arrival, ramp, respond
from analysis.statistics.drawn import WithRange, drawn
from rig.base.errors import InputError
from rig.cards.chassis import Moving
from rig.cards.keys.car import CarCard
from rig.jobs.moving.drawn_cars import FEW_CARS, NOTHING_ELSE, OpenTo
from rig.jobs.moving.driven_car import ALL_ALIKE, DrivenCar
from rig.jobs.moving.reach import Cast, Reached, cast_of, reached_by

STEP_G = 0.4
RISE = 0.05
"""Side acceleration whose load is timed, g, and the seconds in which it rises."""
DRIVE_FRONT = {"rear": 0.0, "front": 1.0, "four": 0.5}
BODY_MODES = ("heave", "pitch", "roll")
SIDEWAYS = np.array([np.pi / 2])


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseRanges:
    """Steady values of p phases with their draws.

    balance: (p, 2) m; many_balance (n, p, 2) its draws.  load: (p, 4) N.  roll, pitch: (p,) rad.  used, spare: (p, 2)
    as in `tyres.Balance`.  lifted: (p, 4) share of the draws with that wheel in the air.  words: (p,) what the car
    does, with the share of the draws, most first.
    """

    balance: WithRange
    many_balance: FloatArray
    load: WithRange
    roll: WithRange
    pitch: WithRange
    used: WithRange
    spare: WithRange
    lifted: FloatArray
    words: tuple[tuple[tuple[str, float], ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftRanges:
    """Sideways to the left. lifts, rolls: m/s2.  limit: m/s2 that the tyres hold.  first: (4,) share of the draws in
    which each wheel is (among) the first.  tips: share in which the car tips as soon as a wheel leaves.
    reached: share in which the tyres hold long enough.  share: (4,) of the weight at that moment.
    """

    lifts: WithRange
    rolls: WithRange
    limit: WithRange
    first: FloatArray
    tips: float
    reached: float
    share: WithRange


@dataclass(frozen=True, slots=True, kw_only=True)
class ModeRange:
    """One motion of the body. frequency: Hz.  damping: of critical."""

    name: str
    frequency: WithRange
    damping: WithRange


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrivalRanges:
    """How the load of a ramp arrives, (4,): arrive, peak s; overshoot share of the change."""

    arrive: WithRange
    overshoot: WithRange
    peak: WithRange


@dataclass(frozen=True, slots=True, kw_only=True)
class MovingAnswers:
    """All answers for one car, each with its draws.

    table: steady phases.  path: with dampers.  lift: of the best known car.  kappa: (3,) 1/m, turn per travel of a push
    at 80 % at rest, lowest, highest.  rest_share: (4,) of the weight.  rule, rest_rule: equal shares beside lift-off
    (None where no wheel lifts) and rest.
    ranking: usual changes in `ranked_phase`.  drive: which wheels are driven.
    """

    card: CarCard
    car: Moving
    drive: str
    phases: tuple[Phase, ...]
    table: PhaseTable
    ranges: PhaseRanges
    path: DriftPath
    reached: Reached
    kappa: WithRange
    lift: LiftOff
    lifting: LiftRanges
    modes: tuple[ModeRange, ...]
    arrival: ArrivalRanges
    ranking: tuple[RankedEffect, ...]
    ranked_phase: str
    rest_share: WithRange
    rest_rule: RuleBeside
    rule: RuleBeside | None
    warnings: tuple[str, ...]

    @property
    def name(self) -> str:
        """What the car card calls it."""
        return self.card.name

    @property
    def wheelbase(self) -> float:
        """m."""
        return float(self.car.chassis.wheelbase)


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftQuestion:
    """What is asked of every car. grip: factors front and rear, at a quarter of its weight.  blend: s, between phases.

    open_to: what is not known beside its springs.  rank_phase: name of the phase in which changes are ranked; the one
    with most side acceleration when not given.
    """

    phases: Sequence[Phase]
    grip: tuple[float, float] = ALL_ALIKE
    open_to: OpenTo = NOTHING_ELSE
    drive: str = "rear"
    rank_phase: str | None = None
    blend: float = 0.1
    seed: int = 0


def answer_driven(car: DrivenCar, asked: DriftQuestion, *, where: str) -> MovingAnswers:
    """`answer_moving` of a car with its own grip and its own uncertainties."""
    return answer_moving(car.card, car.load, replace(asked, grip=car.grip, open_to=car.open_to), where=where)


def answer_moving(card: CarCard, load: FloatArray, asked: DriftQuestion, *, where: str = "car card") -> MovingAnswers:
    """Everything that the command shows of one car. load: (4,) N at rest.

    Raises InputError where the cards make no car or no drift.
    """
    checked = checked_phases(asked.phases)
    cast = cast_of(card, load, grip=asked.grip, open_to=asked.open_to, where=where, seed=asked.seed)
    car, tyres = cast.car, cast.tyres
    drive = DRIVE_FRONT[asked.drive]
    table = phase_table(car.chassis, tyres, checked, driveline=Driveline(drive_front=drive))
    ranges, over = _phase_ranges(table, cast, checked, drive)
    warnings = [
        f'phase "{one.name}": the car rolls over'
        if table.rolls_over[i]
        else f'phase "{one.name}": {100 * over[i]:.0f} of 100 cars that the card leaves open roll over'
        for i, one in enumerate(checked)
        if table.rolls_over[i] or over[i] > 0
    ]
    lift, lifting = _lifting(cast)
    best, arriving = _arriving(cast)
    if not np.all(np.isfinite(best.change)):
        warnings.append(f"{STEP_G:g} g sideways rolls the car over: no arrival times")
    which = _ranked_phase(checked, table, asked.rank_phase)
    reached = reached_by(cast)
    pivots = reachable_pivots(car.chassis, tyres)
    spans = np.array([pivots.rest, pivots.lowest, pivots.highest])
    rest = np.asarray(load) / load.sum()
    carried = np.asarray(cast.many.tyre_force)
    upright = bool(np.isfinite(lift.lifts[0]))
    return MovingAnswers(
        card=card,
        car=car,
        drive=asked.drive,
        phases=checked,
        table=table,
        ranges=ranges,
        path=drift_path(car.chassis, tyres, checked, blend=asked.blend, damper=car.damper, inertia=car.inertia),
        reached=reached,
        kappa=drawn(spans, pivot_spans(cast.few, cast.few_tyres)),
        lift=lift,
        lifting=lifting,
        modes=_modes(cast),
        arrival=arriving,
        ranking=() if which is None else _ranking(cast, checked[which]),
        ranked_phase="" if which is None else checked[which].name,
        rest_share=drawn(rest, carried / carried.sum(-1, keepdims=True)),
        rest_rule=beside(load, np.full(4, True)),
        rule=beside(lift.loads[0], ~lift.leaves[0]) if upright else None,
        warnings=tuple(warnings),
    )


def _phase_ranges(
    table: PhaseTable, cast: Cast, phases: Sequence[Phase], drive_front: float
) -> tuple[PhaseRanges, FloatArray]:
    """The table with its draws; and the share of the draws that roll over, (p,)."""
    many = phase_table(cast.many, cast.many_tyres, phases, driveline=Driveline(drive_front=drive_front))
    words = []
    for i in range(len(phases)):
        stands = ~many.rolls_over[:, i]
        kinds, count = np.unique(many.balance.words[stands, i], return_counts=True)
        each = sorted(zip(kinds, count / max(int(stands.sum()), 1), strict=True), key=lambda one: -one[1])
        words.append(tuple((str(word), float(share)) for word, share in each))
    ranges = PhaseRanges(
        balance=drawn(table.centre, many.centre),
        many_balance=many.centre,
        load=drawn(table.load, many.load),
        roll=drawn(table.roll, many.roll),
        pitch=drawn(table.pitch, many.pitch),
        used=drawn(table.balance.used, many.balance.used),
        spare=drawn(table.balance.spare_along, many.balance.spare_along),
        lifted=np.asarray((many.lifted & ~many.rolls_over[..., None]).mean(0)),
        words=tuple(words),
    )
    return ranges, np.asarray(many.rolls_over.mean(0))


def _lifting(cast: Cast) -> tuple[LiftOff, LiftRanges]:
    lift, many = lift_offs(stacked([cast.car.chassis])), lift_offs(cast.many)
    limit = float(grip_limit(cast.car.chassis, cast.tyres, SIDEWAYS)[0][0])
    held = grip_limit(cast.many, cast.many_tyres, SIDEWAYS)[0][:, 0]
    total = many.loads.sum(-1, keepdims=True)
    shares = np.where(np.isfinite(many.lifts)[:, None], many.loads / np.where(total > 0, total, 1.0), np.nan)
    upright = np.isfinite(lift.lifts[0])
    return lift, LiftRanges(
        lifts=drawn(lift.lifts[0], many.lifts),
        rolls=drawn(lift.rolls[0], many.rolls),
        limit=drawn(limit, held),
        first=np.asarray((many.leaves & np.isfinite(many.lifts)[:, None]).mean(0)),
        tips=float(many.tips.mean()),
        reached=float((many.lifts <= held).mean()),
        share=drawn(lift.loads[0] / lift.loads[0].sum() if upright else np.full(4, np.nan), shares),
    )


def _modes(cast: Cast) -> tuple[ModeRange, ...]:
    best = modes(cast.car.chassis, cast.car.damper, cast.car.inertia)
    many = [modes(one.chassis, one.damper, one.inertia) for one in cast.drawn.whole[:FEW_CARS]]
    found = []
    for k, name in enumerate(best.name):
        if name in BODY_MODES and name not in best.name[:k]:
            places = [one.name.index(name) if name in one.name else -1 for one in many]
            each = np.array(
                [
                    [one.frequency[at], one.damping[at]] if at >= 0 else [np.nan, np.nan]
                    for one, at in zip(many, places, strict=True)
                ]
            )
            found.append(
                ModeRange(
                    name=name,
                    frequency=drawn(best.frequency[k], each[:, 0]),
                    damping=drawn(best.damping[k], each[:, 1]),
                )
            )
    return tuple(found)


def _arriving(cast: Cast) -> tuple[Arrival, ArrivalRanges]:
    best = _step(cast.car.chassis, cast.car.damper, cast.car.inertia, every=2e-3, longest=1e-3)
    inertia = [one.inertia for one in cast.drawn.whole[:FEW_CARS]]
    many = _step(
        cast.few,
        cast.car.damper,
        BodyInertia(roll=np.array([one.roll for one in inertia]), pitch=np.array([one.pitch for one in inertia])),
        every=4e-3,
        longest=4e-3,
    )
    return best, ArrivalRanges(
        arrive=drawn(best.arrive, many.arrive),
        overshoot=drawn(best.overshoot, many.overshoot),
        peak=drawn(best.peak_time, many.peak_time),
    )


def _step(chassis: Chassis, damper: Dampers, inertia: BodyInertia, *, every: float, longest: float) -> Arrival:
    """The load of a ramp to STEP_G. every: s between moments.  longest: s, of one step of integration."""
    time = np.arange(0.0, 1.2, every)
    ay = ramp(time, start=0.0, rise=RISE, size=STEP_G * STANDARD_GRAVITY)
    asked = Manoeuvre(time=time, ax=np.zeros_like(time), ay=ay)
    return arrival(respond(chassis, damper, inertia, asked, longest=longest))


def _ranking(cast: Cast, phase: Phase) -> tuple[RankedEffect, ...]:
    chassis = cast.car.chassis
    found = effects(chassis, cast.tyres, phase)
    many = changed(cast.few, cast.few_tyres, phase, usual_changes(cast.few, like=chassis))
    return ranked(found, (many.balance[1:] - many.balance[0]).T, (many.kappa[1:] - many.kappa[0]).T)


def _ranked_phase(phases: Sequence[Phase], table: PhaseTable, wanted: str | None) -> int | None:
    names = [one.name for one in phases]
    if wanted is not None and wanted not in names:
        raise InputError(f'there is no phase "{wanted}"', where="--phase", remedy=f"Choose one of: {', '.join(names)}")
    if wanted is not None:
        return None if table.rolls_over[names.index(wanted)] else names.index(wanted)
    stands = [i for i in range(len(names)) if not table.rolls_over[i]]
    return max(stands, key=lambda i: abs(phases[i].ay)) if stands else None
