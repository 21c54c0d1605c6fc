"""When a wheel lifts, and the teaching rule of equal shares beside what springs really do."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.base.wheel_names import WHEELS
from analysis.springs.chassis import Chassis, rows_of, stacked
from analysis.springs.elements import TYRE, elements_of, squash
from analysis.springs.equilibrium import FURTHEST, equilibrium, standing, stiffness

LABEL = "simplification for teaching: every wheel in contact carries an equal share"
STEEPEST = 200.0
"""m/s2; no car on wheels is asked for more."""
MOST_PIECES = 60
"""Of straight line that a car goes through; sixteen hinges let go or touch, seldom more than ten of them."""
TOGETHER = 1e-6
"""Relative: events nearer to each other in acceleration than this happen at once; rounding is 1e-10."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftOff:
    """The acceleration at which the first wheel leaves the floor in one direction, and at which the car rolls over.

    Leading axes (...) of the set-ups.  lifts: (...) m/s2, inf where nothing lifts below STEEPEST.  rolls: (...) m/s2
    from which nothing holds the car, inf likewise.  leaves: (..., 4), the wheels that leave the floor at that very
    moment: more than one where their loads run out together.  loads: (..., 4) N at that moment.
    """

    lifts: FloatArray
    rolls: FloatArray
    leaves: BoolArray
    loads: FloatArray

    @property
    def tips(self) -> BoolArray:
        """(...), whether the car tips at the very moment of lift-off: it never stands with a wheel in the air.

        Two wheels carry no moment about the line between them (statics), so a car of whom no third is left falls.
        """
        few = np.asarray(self.leaves).sum(-1) >= 2
        with np.errstate(invalid="ignore"):
            return np.asarray(np.isfinite(self.lifts) & (few | (self.rolls - self.lifts <= TOGETHER * self.lifts)))

    @property
    def wheel(self) -> int:
        """The first wheel of `leaves`, 0 to 3, of one set-up."""
        return int(np.argmax(self.leaves))


def lift_off(chassis: Chassis, direction: float = np.pi / 2) -> LiftOff:
    """When does a wheel lift, and when does the car roll over? One set-up; `lift_offs` takes many.

    direction: rad, of the acceleration in car axes: 0 forward, pi/2 to the left, pi braking.
    Raises InputError where the car cannot stand at rest, or lifts no wheel below 200 m/s2.
    """
    standing(equilibrium(chassis), what="at rest")
    found = lift_offs(stacked([chassis]), direction)
    if not np.isfinite(found.lifts[0]):
        raise InputError("no wheel lifts below 200 m/s2", where="lift-off", remedy="Check height and track")
    return LiftOff(lifts=found.lifts[0], rolls=found.rolls[0], leaves=found.leaves[0], loads=found.loads[0])


def lift_offs(chassis: Chassis, direction: float = np.pi / 2) -> LiftOff:
    """The same for (n,) set-ups at once; a car that does not stand at rest lifts and rolls at 0.

    Between two changes of contact the loads run on straight lines, so the next wheel, stop or coil to let go (or to
    touch) is found in closed form and the walk goes on from there. What lets go at the same moment is found as such,
    whichever rounding would have named first.  Source: the pieces of the equilibrium's piecewise quadratic energy.
    """
    car = rows_of(chassis, chassis.shape)
    count, rest = chassis.shape[0], equilibrium(chassis)
    parts = elements_of(car)
    pull = parts.along * float(np.cos(direction)) + parts.across * float(np.sin(direction))
    q = np.concatenate([np.stack([rest.heave, rest.pitch, rest.roll], -1), rest.wheel_height], -1)
    fallen = np.asarray(rest.rolls_over)
    q = np.where(fallen[:, None], 0.0, q)
    s = squash(parts, q, np.zeros((count, 4)))
    on, at = s > 0, np.zeros(count)
    lifts, rolls = np.where(fallen | rest.lifted.any(-1), 0.0, np.inf), np.where(fallen, 0.0, np.inf)
    leaves, loads = np.array(rest.lifted), np.nan_to_num(rest.load)
    going = ~fallen
    for _ in range(MOST_PIECES):
        stiff = stiffness(parts, np.where(on, 1.0, -1.0), floor=1e-9)
        falls = going & ~(np.linalg.eigvalsh(stiff)[:, 0] > 0)
        if falls.any():  # what it stood on gave way: it falls, unless it is caught, by a droop stop for instance
            beyond = at * (1.0 + 2.0 * TOGETHER)
            held = equilibrium(car, beyond * np.cos(direction), beyond * np.sin(direction))
            caught = falls & ~held.rolls_over
            there = np.concatenate([np.stack([held.heave, held.pitch, held.roll], -1), held.wheel_height], -1)
            at, q = np.where(caught, beyond, at), np.where(caught[:, None], there, q)
            s = np.where(caught[:, None], squash(parts, q, np.zeros((count, 4))), s)
            on = np.where(caught[:, None], s > 0, on)
            first = caught & held.lifted.any(-1) & np.isinf(lifts)
            lifts = np.where(first, at, lifts)
            leaves = np.where(first[:, None], held.lifted, leaves)
            loads = np.where(first[:, None], held.load, loads)
            falls = falls & ~caught
            rolls, going = np.where(falls, at, rolls), going & ~falls
            if not going.any():
                break
            stiff = stiffness(parts, np.where(on, 1.0, -1.0), floor=1e-9)
        stiff = np.where(going[:, None, None], stiff, np.eye(7))
        speed = np.linalg.solve(stiff, pull[..., None])[..., 0]
        change = np.matmul(parts.lever, speed[..., None])[..., 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            ahead = np.where(np.where(on, change < 0, change > 0), np.maximum(-s / change, 0.0), np.inf)
            lean = ((FURTHEST - np.sign(speed[:, 1:3]) * q[:, 1:3]) / np.abs(speed[:, 1:3])).min(-1)
        step = ahead.min(-1)
        leans = going & (lean <= step)
        rolls = np.where(leans, at + lean, rolls)
        s = np.where(leans[:, None], s + change * np.where(leans, lean, 0.0)[:, None], s)
        going = going & ~leans & (at + step < STEEPEST)
        step = np.where(going, step, 0.0)
        flip = going[:, None] & (ahead <= (step + TOGETHER * (at + step))[:, None])
        at, q, s = at + step, q + speed * step[:, None], s + change * step[:, None]
        s, on = np.where(flip, 0.0, s), on ^ flip
        first = (flip & ~on)[:, TYRE].any(-1) & np.isinf(lifts)
        lifts = np.where(first, at, lifts)
        leaves = np.where(first[:, None], ~on[:, TYRE], leaves)
        loads = np.where(first[:, None], parts.rate[:, TYRE] * np.maximum(s[:, TYRE], 0.0), loads)
    # it may fall with all wheels down, when its coils go slack: then the lightest wheels are the ones that leave
    fell = np.isinf(lifts) & np.isfinite(rolls)
    then = parts.rate[:, TYRE] * np.maximum(s[:, TYRE], 0.0)
    lightest = then <= then.min(-1, keepdims=True) + TOGETHER * then.sum(-1, keepdims=True)
    leaves, loads = np.where(fell[:, None], lightest, leaves), np.where(fell[:, None], then, loads)
    lifts = np.minimum(lifts, rolls)
    return LiftOff(
        lifts=np.where(lifts < STEEPEST, lifts, np.inf),
        rolls=np.where(rolls < STEEPEST, rolls, np.inf),
        leaves=leaves,
        loads=loads,
    )


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
    """The rule and the model for the same wheels in contact.

    rule, model: (4,) share of the weight.  rule_front, model_front: front axle's share.
    label: says that the rule is a simplification.  why: reasons for the difference.
    """

    rule: FloatArray
    model: FloatArray
    rule_front: float
    model_front: float
    label: str
    why: tuple[str, ...]


def beside(load: FloatArray, touching: BoolArray) -> RuleBeside:
    """The rule of equal shares beside what the wheels of one car carry. load: (4,) N.  touching: (4,)."""
    rule, model = equal_shares(touching), np.asarray(load / load.sum(), dtype=float)
    why = [
        "axle shares follow from the place of the centre of gravity and from braking or driving, whichever wheels "
        "touch: moments about the axles must balance",
        "left and right follow from roll stiffness, roll centres and the acceleration, not from counting wheels",
    ]
    up = [WHEELS[i] for i in np.flatnonzero(~np.asarray(touching))]
    if up:
        why.append(f"{' and '.join(up)} up: its load went to its neighbour on the axle, not in equal parts to all")
    return RuleBeside(
        rule=rule,
        model=model,
        rule_front=float(rule[:2].sum()),
        model_front=float(model[:2].sum()),
        label=LABEL,
        why=tuple(why),
    )
