"""Set-up questions: when a wheel lifts, and what a collar turn moves."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.wheel_names import WHEELS
from analysis.moving.chassis import Chassis
from analysis.moving.equilibrium import Equilibrium, equilibrium, standing

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


def with_collars(chassis: Chassis, travel: FloatArray) -> Chassis:
    """The chassis with collars moved. travel: (..., 4) m at the spring, positive towards it (more preload)."""
    moved = np.asarray(travel, dtype=float)
    return replace(chassis, spring_force=np.asarray(chassis.spring_force + chassis.spring * moved))
