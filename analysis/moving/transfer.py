"""Set-up questions: when a wheel lifts, what a collar turn moves, which turns give a wanted cross weight."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.wheel_names import WHEELS
from analysis.base.wheels import CROSS
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


def cross_share(load: FloatArray) -> FloatArray:
    """(...) cross weight: share of the weight on front right and rear left. load: (..., 4) N."""
    return np.asarray((load[..., 1] + load[..., 2]) / load.sum(-1), dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class CollarPlan:
    """Collar travels that give a wanted cross weight.

    travel: (4,) m at the spring, positive more preload.  cross: share of front right + rear left that results.
    load: (4,) N.  heave: m, change of the sprung centre's height.  text: in words.
    """

    travel: FloatArray
    cross: float
    load: FloatArray
    heave: float
    text: str


def collars_for_cross(
    chassis: Chassis, wanted: float, *, wheels: tuple[int, ...] = (0, 1, 2, 3), pitch: float | None = None
) -> CollarPlan:
    """Which collar travel brings front right + rear left to `wanted`, a share of the weight (0 to 1).

    wheels: collars that may be turned; all of them by the same amount, diagonals in opposite senses, which leaves the
    ride height nearly as it is.  pitch: m of collar travel per turn, for the words.
    Raises InputError when the share cannot be reached without lifting a wheel or slackening a coil.
    Source: equilibrium, inverted by secant steps; it is linear while all wheels and coils stay in touch.
    """
    if not 0 < wanted < 1 or not wheels:
        raise InputError(
            f"a cross weight of {100 * wanted:g} % cannot be",
            where="cross weight",
            remedy="Give a share between 0 and 1 and at least one collar to turn",
        )
    sense = CROSS * np.isin(np.arange(4), wheels)

    def state(turn: float) -> Equilibrium:
        return equilibrium(with_collars(chassis, sense * turn))

    start = standing(state(0.0), what="at rest")
    t0, c0 = 0.0, float(cross_share(start.load))
    t1 = -1e-4
    for _ in range(30):
        now = state(t1)
        if bool(now.rolls_over) or bool(now.lifted.any()) or abs(t1) > 0.1:
            break
        c1 = float(cross_share(now.load))
        if abs(c1 - wanted) < 1e-12 or c1 == c0:
            break
        t0, c0, t1 = t1, c1, t1 + (wanted - c1) * (t1 - t0) / (c1 - c0)
    now = state(t1)
    reached = float(cross_share(now.load))
    if not abs(reached - wanted) < 1e-9:
        raise InputError(
            f"{100 * wanted:.1f} % cannot be reached with these collars",
            where="cross weight",
            remedy="Ask for less, or use stiffer springs or more collars",
        )
    travel = sense * t1
    each = [
        f"{WHEELS[i]} {1e3 * travel[i]:+.2f} mm" + (f" ({travel[i] / pitch:+.2f} turns)" if pitch else "")
        for i in range(4)
        if travel[i]
    ]
    return CollarPlan(
        travel=travel,
        cross=reached,
        load=now.load,
        heave=float(now.heave - start.heave),
        text="collars, + is more preload: " + (", ".join(each) or "leave them"),
    )
