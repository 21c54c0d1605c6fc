"""The moving car, from cards to answers: phases, reachable balance points, how load arrives, what a change does."""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheel_names import WHEELS
from analysis.moving.chassis import Chassis, stacked
from analysis.moving.equilibrium import equilibrium
from analysis.moving.lift_off import LiftOff, RuleBeside, beside, lift_off
from analysis.moving.modes import Modes, modes
from analysis.moving.phases import DriftPath, Phase, PhaseTable, checked_phases, drift_path, phase_table, with_axis
from analysis.moving.pivots import ReachablePivots, reachable_pivots
from analysis.moving.region import Region, reachable
from analysis.moving.response import Arrival, Manoeuvre, arrival, ramp, respond
from analysis.moving.setup_changes import SetupEffect, effects
from analysis.moving.tyres import Tyres, friction_centre, tyres_like
from analysis.weighing.corner_weights import newtons_from_grams
from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.cards.agreement import refuse_mass
from rig.cards.chassis import Moving, moving_car, springs_on
from rig.cards.read import Choices, read_card, read_set
from rig.cards.schema import CarCard
from rig.log.store import BenchLog
from rig.lookups.belongs import weighing_of
from rig.records.weighing import WEIGHING

_DRAWS = 200
STEP_G = 0.4
RISE = 0.05
"""Side acceleration whose load is timed, g, and the seconds in which it rises."""
GRIP_RATIO_U = 0.05
"""Of front to rear grip, relative, until measured (as on the test card)."""
ALL_ALIKE = (0.8, 0.8)
"""Grip factors front and rear of a car card alone."""
DRIVE_FRONT = {"rear": 0.0, "front": 1.0, "four": 0.5}


@dataclass(frozen=True, slots=True, kw_only=True)
class MovingAnswers:
    """All answers for one car.

    table: steady phases.  balance_half, load_half: (p,) m and (p, 4) N, 95 % half-widths from the cards' uncertainties.
    path: with dampers.  region, pivots, lift, modes, arrival: see analysis.
    ranking: usual changes, those that move the balance point of `phase` most first.  rule: equal shares beside.
    """

    name: str
    car: Moving
    phases: tuple[Phase, ...]
    table: PhaseTable
    balance_half: FloatArray
    load_half: FloatArray
    path: DriftPath
    region: Region
    pivots: ReachablePivots
    lift: LiftOff
    modes: Modes
    arrival: Arrival
    ranking: tuple[SetupEffect, ...]
    ranked_phase: str
    rule: RuleBeside
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftQuestion:
    """What is asked of every car. grip: factors front and rear, at a quarter of its weight.  blend: s, between phases.

    rank_phase: name of the phase in which changes are ranked; the one with most side acceleration when not given.
    """

    phases: Sequence[Phase]
    grip: tuple[float, float] = ALL_ALIKE
    drive: str = "rear"
    rank_phase: str | None = None
    blend: float = 0.1
    seed: int = 0


def weights_for(
    card: CarCard, log: BenchLog | None, typed: Sequence[float] | None, *, where: str, number: str = ""
) -> tuple[FloatArray, tuple[str, ...]]:
    """(4,) N: typed grams, else the weighing of this car in this state in the log; and what to say of it first.

    number: record of the weighing, as asked.  Raises InputError when there is none.
    """
    if typed is not None:
        grams = np.asarray(typed, dtype=float)
        if not np.all(np.isfinite(grams)) or np.any(grams <= 0):
            raise InputError("each wheel must carry something", where="--weights", remedy="Give FL FR RL RR in grams")
        refuse_mass(float(grams.sum()), card.geometry.wheelbase_mm, "--weights", where)
        return newtons_from_grams(grams), ()
    found = None if log is None else weighing_of(card, log, number=number)
    if found is None:
        raise InputError(
            f'there is no weighing of "{card.name}" in the log',
            where=where,
            remedy="Weigh the car first, or give --weights FL FR RL RR in grams",
        )
    result = WEIGHING.of(found.record).result
    return np.array(result.corner_weights_g) * 1e-3 * result.gravity_m_s2, found.remarks


@dataclass(frozen=True, slots=True, kw_only=True)
class DrivenCar:
    """A car as it is asked about. load: (4,) N at rest.  grip: factors front and rear.  remarks: to be told first."""

    card: CarCard
    load: FloatArray
    grip: tuple[float, float]
    remarks: tuple[str, ...]


def driven_car(
    path: Path,
    log: BenchLog | None,
    *,
    weights: Sequence[float] | None = None,
    grip: tuple[float, float] | None = None,
    weighing: str = "",
) -> DrivenCar:
    """The car behind a test card, with that card's weights and grip, or of a car card alone.

    weights: grams, grip: factors front and rear, both instead of what the cards and the log say.  log: may be None
    where weights are given.  weighing: number of its record, as asked.  Raises InputError.
    """
    if _is_car_card(path):
        card = read_card(path, CarCard)
        load, remarks = weights_for(card, log, weights, where=str(path), number=weighing)
        return DrivenCar(card=card, load=load, grip=grip or ALL_ALIKE, remarks=remarks)
    cards = read_set(path, Choices(weighing=weighing))
    typed = cards.test.typed.weights_g if not weighing else None
    load, remarks = weights_for(cards.car, log, weights or typed, where=str(path), number=weighing)
    said = cards.test.grip
    if grip is None:
        how = "" if said.measured else ", not measured"
        remarks = (*remarks, f"Grip front {said.front:g}, rear {said.rear:g}, from {path.name}{how}")
    return DrivenCar(card=cards.car, load=load, grip=grip or (said.front, said.rear), remarks=remarks)


def _is_car_card(path: Path) -> bool:
    """Whether a file says so itself; one that cannot be read is explained where it is read as a test card."""
    try:
        return tomllib.loads(path.read_text("utf-8-sig")).get("card") == "car"
    except (OSError, ValueError, RecursionError):
        return False


def answer_moving(
    card: CarCard,
    load: FloatArray,
    asked: DriftQuestion,
    *,
    where: str = "car card",
) -> MovingAnswers:
    """Everything that the command shows of one car. load: (4,) N at rest.

    Raises InputError where the cards make no car or no drift.
    """
    checked = checked_phases(asked.phases)
    car = moving_car(card, load, where=where)
    section = springs_on(card, where=where)
    tyres = tyres_like(
        car.chassis,
        front=asked.grip[0],
        rear=asked.grip[1],
        sensitivity=min(section.load_sensitivity, 0.99),
    )
    table = phase_table(car.chassis, tyres, checked, drive_front=DRIVE_FRONT[asked.drive])
    warnings = [
        f'phase "{one.name}": the car rolls over' for one, over in zip(checked, table.rolls_over, strict=True) if over
    ]
    balance_half, load_half = _uncertainties(
        card, load, tyres, checked, where=where, rng=np.random.default_rng(asked.seed)
    )
    path = drift_path(car.chassis, tyres, checked, blend=asked.blend, damper=car.damper, inertia=car.inertia)
    which = _ranked_phase(checked, table, asked.rank_phase)
    time = np.arange(0.0, 1.2, 2e-3)
    step = respond(
        car.chassis,
        car.damper,
        car.inertia,
        Manoeuvre(
            time=time, ax=np.zeros_like(time), ay=ramp(time, start=0.0, rise=RISE, size=STEP_G * STANDARD_GRAVITY)
        ),
    )
    if bool(step.rolls_over):
        warnings.append(f"{STEP_G:g} g sideways rolls the car over: no arrival times")
    lift = lift_off(car.chassis)
    ranking: tuple[SetupEffect, ...] = ()
    if which is not None:
        found = effects(car.chassis, tyres, checked[which])
        ranking = tuple(sorted(found, key=lambda one: (one.rolls_over, -abs(one.balance_change))))
    grips = float(np.mean(asked.grip))
    raised = equilibrium(car.chassis, 0.0, min(lift.lifts * 1.02, 0.5 * (lift.lifts + lift.rolls)))
    return MovingAnswers(
        name=card.name,
        car=car,
        phases=checked,
        table=table,
        balance_half=balance_half,
        load_half=load_half,
        path=path,
        region=reachable(car.chassis, tyres),
        pivots=reachable_pivots(car.chassis, tyres),
        lift=lift,
        modes=modes(car.chassis, car.damper, car.inertia),
        arrival=arrival(step),
        ranking=ranking,
        ranked_phase="" if which is None else checked[which].name,
        rule=beside(car.chassis, raised, grip=grips, lift=lift),
        warnings=tuple(warnings),
    )


def _ranked_phase(phases: Sequence[Phase], table: PhaseTable, wanted: str | None) -> int | None:
    names = [one.name for one in phases]
    if wanted is not None and wanted not in names:
        raise InputError(f'there is no phase "{wanted}"', where="--phase", remedy=f"Choose one of: {', '.join(names)}")
    if wanted is not None:
        return None if table.rolls_over[names.index(wanted)] else names.index(wanted)
    stands = [i for i in range(len(names)) if not table.rolls_over[i]]
    return max(stands, key=lambda i: abs(phases[i].ay)) if stands else None


def _uncertainties(
    card: CarCard,
    load: FloatArray,
    tyres: Tyres,
    phases: Sequence[Phase],
    *,
    where: str,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """95 % half-widths per phase: balance point (p,) m and loads (p, 4) N, drawn from the cards' uncertainties.

    Drawn: springs, motion ratios, height of the centre of gravity, load sensitivity, front to rear grip (5 %).
    A draw in which the car rolls over is left out.  Source: Monte Carlo (JCGM 101:2008), normal inputs.
    """
    some = drawn_cars(card, load, where=where, count=_DRAWS, rng=rng)
    q, r = some.sensitivity[:, None, None], some.ratio[:, None, None]
    # one more axis before the wheels: draws, phases, wheels
    drawn = Tyres(
        grip=tyres.grip * np.concatenate([r, r, 1 / r, 1 / r], -1),
        sensitivity=np.broadcast_to(q, (_DRAWS, 1, 4)),
        nominal=tyres.nominal,
    )
    many = stacked(some.cars)
    state = phase_table(many, tyres, phases)
    centre = friction_centre(with_axis(many), drawn, state.load)[..., 0]
    return _half_width(centre), _half_width(state.load)


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnCars:
    """cars: n set-ups drawn from the card's uncertainties.  sensitivity: (n,) load sensitivity.  ratio: (n,) factor on
    the front grip, its inverse on the rear.
    """

    cars: tuple[Chassis, ...]
    sensitivity: FloatArray
    ratio: FloatArray


def drawn_cars(card: CarCard, load: FloatArray, *, where: str, count: int, rng: np.random.Generator) -> DrawnCars:
    """Cars as the card leaves open. Drawn: springs, motion ratios, height of the centre of gravity, load sensitivity,
    front to rear grip.  load: (4,) N.  Source: Monte Carlo (JCGM 101:2008), normal inputs.
    """
    section = springs_on(card, where=where)
    car = moving_car(card, load, where=where)
    cars, sensitivity, ratio = [], [], []
    mass = float(load.sum()) / STANDARD_GRAVITY
    least = float((car.chassis.unsprung_mass * car.chassis.unsprung_height).sum()) / mass * 1.05 + 1e-3
    for _ in range(count):
        z = rng.standard_normal(7)
        scale = {}
        for i, (axle, name) in enumerate(((section.front, "front"), (section.rear, "rear"))):
            spring, motion = axle.spring_n_per_mm_u / axle.spring_n_per_mm, axle.motion_ratio_u / axle.motion_ratio
            scale[f"spring_{name}"] = max(1 + spring * z[i], 0.1)
            scale[f"ratio_{name}"] = max(1 + motion * z[2 + i], 0.1)
        height = max((card.geometry.cg_height_mm + card.geometry.cg_height_mm_u * z[4]) * 1e-3, least)
        cars.append(moving_car(card, load, where=where, scale=scale, height=height).chassis)
        sensitivity.append(np.clip(section.load_sensitivity + section.load_sensitivity_u * z[5], 0.0, 0.99))
        ratio.append(np.exp(GRIP_RATIO_U * z[6] / 2))
    return DrawnCars(cars=tuple(cars), sensitivity=np.array(sensitivity), ratio=np.array(ratio))


def _half_width(drawn: FloatArray) -> FloatArray:
    """Half the 95 % range over the first axis; nan where no draw stands."""
    stands = np.isfinite(drawn).any(0)
    kept = np.where(stands, drawn, 0.0)
    low, high = np.nanquantile(kept, [0.025, 0.975], axis=0)
    return np.where(stands, 0.5 * (high - low), np.nan)


def moving_json(answers: MovingAnswers) -> Json:
    """One car's answers as plain JSON: grams, millimetres, degrees, per cent of the wheelbase. nan becomes missing."""
    length, table = float(answers.car.chassis.wheelbase), answers.table
    grams = 1e3 / STANDARD_GRAVITY
    phases = []
    for i, phase in enumerate(answers.phases):
        entry: Json = {
            "name": phase.name,
            "ax_g": phase.ax / STANDARD_GRAVITY,
            "ay_g": phase.ay / STANDARD_GRAVITY,
            "steer_deg": float(np.degrees(phase.steer)),
            "duration_s": phase.duration,
            "rolls_over": bool(table.rolls_over[i]),
        }
        if not table.rolls_over[i]:
            entry |= {
                "load_g": (table.load[i] * grams).tolist(),
                "load_half_g": (answers.load_half[i] * grams).tolist(),
                "lifted": [WHEELS[k] for k in np.flatnonzero(table.lifted[i])],
                "balance_pct": 100 * float(table.centre[i, 0]) / length,
                "balance_half_pct": 100 * float(answers.balance_half[i]) / length,
                "balance_side_mm": 1e3 * float(table.centre[i, 1]),
                "roll_deg": float(np.degrees(table.roll[i])),
                "pitch_deg": float(np.degrees(table.pitch[i])),
                "side_grip_used": [float(v) if np.isfinite(v) else None for v in table.balance.used[i]],
                "behaviour": str(table.balance.words[i]),
            }
        phases.append(entry)
    low, high = answers.region.station_pct(length)
    slow = [k for k, name in enumerate(answers.modes.name) if name in ("heave", "pitch", "roll")]
    return {
        "car": answers.name,
        "phases": phases,
        "region": {
            "area_cm2": 1e4 * answers.region.area,
            "station_pct": [low, high],
            "side_mm": [1e3 * v for v in answers.region.side],
            "lifts_a_wheel": answers.region.lifts,
        },
        "pivot_of_a_push": {
            "push_pct": 80.0,
            "kappa_rest_per_m": answers.pivots.rest,
            "kappa_per_m": [answers.pivots.lowest, answers.pivots.highest],
            "passes_straight": answers.pivots.through_straight,
        },
        "lift_off": {
            "lifts_g": answers.lift.lifts / STANDARD_GRAVITY,
            "wheel": WHEELS[answers.lift.wheel],
            "rolls_over_g": answers.lift.rolls / STANDARD_GRAVITY,
            "text": answers.lift.text,
        },
        "modes": [
            {
                "name": answers.modes.name[k],
                "frequency_hz": float(answers.modes.frequency[k]),
                "damping_ratio": float(answers.modes.damping[k]),
            }
            for k in slow
        ],
        "step": {
            "ay_g": STEP_G,
            "rise_ms": 1e3 * RISE,
            "arrive_ms": _finite(1e3 * answers.arrival.arrive),
            "overshoot_pct": _finite(100 * answers.arrival.overshoot),
            "peak_ms": _finite(1e3 * answers.arrival.peak_time),
        },
        "changes": {
            "phase": answers.ranked_phase,
            "ranked": [
                {
                    "name": one.name,
                    "balance_change_pct": one.balance_change,
                    "kappa_change_per_m": one.kappa_change,
                    "rolls_over": one.rolls_over,
                }
                for one in answers.ranking
            ],
        },
        "equal_shares": {
            "label": answers.rule.label,
            "rule_front_pct": 100 * answers.rule.rule_front,
            "model_front_pct": 100 * answers.rule.model_front,
            "why": list(answers.rule.why),
        },
        "warnings": list(answers.warnings),
    }


def _finite(values: FloatArray) -> list[float | None]:
    return [float(v) if np.isfinite(v) else None for v in values]
