"""A car and a finger for the virtual push: what the equations of motion are asked."""

import math
from dataclasses import dataclass
from typing import get_args

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.finger import FingerName
from rig.base.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class PushedCar:
    """The car as the slide sees it, car axes (origin on the ground at mid rear axle, x forward, y left).

    contacts: (4, 2) m.  loads: (4,) N at rest.  grip: (4,) friction factors.  drag: (4,) share 0..1 of
    the grip that a wheel passes along its rolling direction (1 blocked).  heading: (4,) rad, wheel
    steer, positive to the left.  mass: kg.  yaw_inertia: kg m^2 about the centre of gravity.
    cg: (2,) m.  roll_share: part of a sideways load transfer that the front axle takes.
    solid: front, rear axle: True when its two wheels turn together.
    """

    contacts: FloatArray
    loads: FloatArray
    grip: FloatArray
    drag: FloatArray
    mass: float
    yaw_inertia: float
    cg: FloatArray
    heading: FloatArray
    roll_share: float = 0.5
    solid: tuple[bool, bool] = (False, False)


@dataclass(frozen=True, slots=True, kw_only=True)
class FingerPush:
    """How the finger pushes a straight side of the car.

    station: m ahead of the rear axle where it first touches.  side_y: m, the pushed side's line in car
    axes; negative: the right side, pushed to the left.  speed: m/s.  distance: m of finger travel.
    ramp: s for easing in, and again for easing out.  kind: "rolling" (no friction), "sticking" (the
    touched point stays on the finger) or "rubbing" with factor `friction`.  height: m above the floor.
    rest: s of standing still before and after.
    """

    station: float
    side_y: float
    speed: float = 0.030
    distance: float = 0.050
    ramp: float = 0.4
    kind: FingerName = "rolling"
    friction: float = 0.0
    height: float = 0.0
    rest: float = 0.8


def check_push(car: PushedCar, push: FingerPush) -> None:
    """Refuse what cannot be, naming it."""
    for name, array, shape in (
        ("contacts", car.contacts, (4, 2)),
        ("loads", car.loads, (4,)),
        ("grip", car.grip, (4,)),
        ("drag", car.drag, (4,)),
        ("heading", car.heading, (4,)),
        ("cg", car.cg, (2,)),
    ):
        if np.shape(array) != shape or not np.all(np.isfinite(array)):
            raise InputError(
                f"{name} must be {shape} finite numbers",
                where=f"car {name}",
                remedy="Give one entry per wheel in the order FL, FR, RL, RR",
            )
    if np.any(car.loads < 0) or np.any(car.grip <= 0) or np.any((car.drag < 0) | (car.drag > 1)):
        raise InputError(
            "loads may not be negative, grip must be positive and drag within 0..1",
            where="car wheels",
            remedy="Correct the car's wheels",
        )
    for name, number in (
        ("mass", car.mass),
        ("yaw inertia", car.yaw_inertia),
        ("speed", push.speed),
        ("distance", push.distance),
        ("ramp", push.ramp),
    ):
        if not (math.isfinite(number) and number > 0):
            raise InputError(f"{name} must be positive, not {number!r}", where=name, remedy="Correct it")
    if push.kind not in get_args(FingerName):
        raise InputError(
            f"finger kind {push.kind!r} is not known", where="finger", remedy="Choose rolling, rubbing or sticking"
        )
    if push.side_y == 0 or push.friction < 0 or push.height < 0 or push.rest < 0:
        raise InputError(
            "side_y may not be 0; friction, height and rest may not be negative",
            where="push",
            remedy="Correct the push",
        )
    if push.distance < push.speed * push.ramp:
        raise InputError(
            "the push is too short for its ramps", where="push", remedy="Use a distance of at least speed times ramp"
        )
