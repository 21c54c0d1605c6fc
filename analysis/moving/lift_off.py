"""When a wheel lifts, and the teaching rule of equal shares beside what springs really do."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.base.wheel_names import WHEELS
from analysis.moving.chassis import Chassis
from analysis.moving.equilibrium import Equilibrium, equilibrium, standing

LABEL = "simplification for teaching: every wheel in contact carries an equal share"
STEEPEST = 200.0
"""m/s2; no car on wheels is asked for more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftOff:
    """The acceleration at which the first wheel leaves the floor in one direction, and at which the car rolls over.

    lifts: m/s2.  wheel: which one, 0 to 3.  rolls: m/s2 from which nothing holds the car.
    loads: (4,) N at lift-off.  text: one sentence.
    """

    lifts: float
    wheel: int
    rolls: float
    loads: FloatArray
    text: str


def lift_off(chassis: Chassis, direction: float = np.pi / 2) -> LiftOff:
    """When does a wheel lift, and when does the car roll over?

    direction: rad, of the acceleration in car axes: 0 forward, pi/2 to the left, pi braking.
    Found by bisection on the equilibrium, to 1e-9 m/s2; exact because loads are continuous in the acceleration.
    """
    along, across = float(np.cos(direction)), float(np.sin(direction))

    def state(a: FloatArray) -> Equilibrium:
        return equilibrium(chassis, a * along, a * across)

    standing(state(np.zeros(1)), what="at rest")
    rolls = _first(lambda a: state(a).rolls_over, STEEPEST)
    lifts = _first(lambda a: state(a).rolls_over | state(a).lifted.any(-1), STEEPEST)
    if not np.isfinite(lifts):
        raise InputError("no wheel lifts below 200 m/s2", where="lift-off", remedy="Check height and track")
    at = state(np.array([max(lifts - 1e-7, 0.0)]))
    wheel = int(np.argmin(at.load[0]))
    text = f"the {WHEELS[wheel]} wheel lifts at {lifts:.2f} m/s2 ({lifts / chassis.gravity:.2f} g)"
    if np.isfinite(rolls):
        text += f"; from {rolls:.2f} m/s2 on the car rolls over"
    return LiftOff(lifts=lifts, wheel=wheel, rolls=rolls, loads=at.load[0], text=text)


def _first(hit, highest: float) -> float:  # type: ignore[no-untyped-def]
    low, high = 0.0, highest
    for _ in range(8):  # each round looks at 64 places at once
        at = np.linspace(low, high, 65)
        found = np.asarray(hit(at))
        if not found.any():
            return float("inf")
        k = int(np.argmax(found))
        if k == 0:
            return low
        low, high = float(at[k - 1]), float(at[k])
    return 0.5 * (low + high)


def equal_shares(in_contact: BoolArray) -> FloatArray:
    """(..., 4) share of the weight per wheel: equal over the wheels that touch, 0 for the others.

    4 x 25 %; with one front wheel up 3 x 33 %, so two thirds on the rear. A rule of thumb, not mechanics: common
    practice, no source.  Raises InputError when no wheel touches.
    in_contact: (..., 4).
    """
    touching = np.asarray(in_contact, dtype=bool)
    count = touching.sum(-1, keepdims=True)
    if touching.shape[-1:] != (4,) or np.any(count == 0):
        raise InputError("some wheel must touch the floor", where="equal shares", remedy="Say which of the four touch")
    return np.asarray(touching / count, dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleBeside:
    """The rule and the equilibrium for the same wheels in contact.

    rule, model: (4,) share of the weight.  rule_front, model_front: front axle's share.
    label: says that the rule is a simplification.  why: reasons for the difference.
    """

    rule: FloatArray
    model: FloatArray
    rule_front: float
    model_front: float
    label: str
    why: tuple[str, ...]


def beside(
    chassis: Chassis, state: Equilibrium, *, grip: float | None = None, lift: LiftOff | None = None
) -> RuleBeside:
    """The rule beside the equilibrium `state` of one car. grip: what its tyres can do, to say whether it can lift.

    lift: where it lifts a wheel sideways, if that is known already.
    """
    touching = ~state.lifted
    rule, model = equal_shares(touching), np.asarray(state.load / state.load.sum(), dtype=float)
    lift = lift or lift_off(chassis)
    centre = chassis.centre
    station, wheelbase = float(centre[0]), float(chassis.wheelbase)
    why = [
        f"axle shares follow from the place of the centre of gravity ({100 * station / wheelbase:.0f} % of the "
        "wheelbase) and from braking or driving, whichever wheels touch: moments about the axles must balance",
        "left and right follow from roll stiffness, roll centres and the acceleration, not from counting wheels",
    ]
    up = [WHEELS[i] for i in np.flatnonzero(state.lifted)]
    if up:
        why.append(f"{' and '.join(up)} up: its load went to its neighbour on the axle, not in equal parts to all")
    if grip is not None and lift.lifts > grip * chassis.gravity:
        why.append(
            f"this car lifts a wheel sideways only at {lift.lifts / chassis.gravity:.2f} g; its tyres give about "
            f"{grip:.2f} g"
        )
    return RuleBeside(
        rule=rule,
        model=model,
        rule_front=float(rule[:2].sum()),
        model_front=float(model[:2].sum()),
        label=LABEL,
        why=tuple(why),
    )
