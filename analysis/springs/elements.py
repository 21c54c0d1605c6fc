"""The car as scalar push-only elements in series and parallel: one description for statics, dynamics and energy.

Coordinates q = (heave, pitch, roll, four wheel heights), from the design position. Every spring, stop and tyre is a
hinge: force rate * max(0, squash), squash = lever @ q + offset. Bars and gravity on a leaning body are linear.
"""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.springs.chassis import Chassis

HEAVE, PITCH, ROLL, WHEEL = 0, 1, 2, slice(3, 7)
SPRING, BUMP, DROOP, TYRE = slice(0, 4), slice(4, 8), slice(8, 12), slice(12, 16)
"""Places of the four kinds of hinge on the element axis."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Elements:
    """n cars in elements.

    lever: (n, 16, 7).  rate: (n, 16) N/m.  offset: (n, 16) m, squash in the design position.
    linear: (n, 7, 7) N/m, bars and leaning.  travel: (n, 4, 7) wheel travel per coordinate.
    along, across: (n, 7) generalised force per m/s2 of longitudinal and lateral acceleration.
    down: (n, 7) generalised force per m/s2 of gravity.
    """

    lever: FloatArray
    rate: FloatArray
    offset: FloatArray
    linear: FloatArray
    travel: FloatArray
    along: FloatArray
    across: FloatArray
    down: FloatArray


def elements_of(car: Chassis, *, leaning: bool = True) -> Elements:
    """Elements of n cars; every field of `car` is (n, ...).

    leaning: whether the sprung mass moves sideways as it rolls and pitches (gravity then acts off-centre).
    """
    n = car.sprung_mass.shape[0]
    place = car.contact_place
    x, y = place[..., 0] - car.sprung_place[:, None, 0], place[..., 1] - car.sprung_place[:, None, 1]
    travel = np.zeros((n, 4, 7))
    travel[:, :, HEAVE], travel[:, :, PITCH], travel[:, :, ROLL] = -1.0, x, -y
    travel[:, :, WHEEL] = np.eye(4)
    lever = np.zeros((n, 16, 7))
    lever[:, SPRING], lever[:, BUMP], lever[:, DROOP] = travel, travel, -travel
    lever[:, TYRE, WHEEL] = -np.eye(4)
    rate = np.concatenate([car.wheel_rate, car.bump_rate, car.droop_rate, car.tyre], -1)
    offset = np.concatenate(
        [car.spring_force / (car.spring * car.motion_ratio), -car.bump_gap, -car.droop, car.tyre_force / car.tyre], -1
    )
    twist = travel[:, [0, 2]] - travel[:, [1, 3]]
    linear = np.einsum("na,nai,naj->nij", car.bar, twist, twist)
    arm = car.sprung_place[:, 2] - roll_axis(car)
    if leaning:
        linear[:, ROLL, ROLL] -= car.sprung_mass * car.gravity * arm
        linear[:, PITCH, PITCH] -= car.sprung_mass * car.gravity * car.sprung_place[:, 2]
    along, across, down = np.zeros((n, 7)), np.zeros((n, 7)), np.zeros((n, 7))
    unsprung = car.unsprung_mass * car.unsprung_height
    along[:, PITCH] = -(car.sprung_mass * car.sprung_place[:, 2] + unsprung.sum(-1))
    across[:, ROLL] = car.sprung_mass * arm
    # links, wheels and tyres that give hand their part of the lateral transfer straight to the floor
    direct = np.asarray(geometric_per_ay(car) + (unsprung.reshape(n, 2, 2).sum(-1) + shifted(car)) / car.track)
    across[:, 3], across[:, 4] = direct[:, 0], -direct[:, 0]
    across[:, 5], across[:, 6] = direct[:, 1], -direct[:, 1]
    down[:, HEAVE] = -car.sprung_mass
    down[:, WHEEL] = -car.unsprung_mass
    return Elements(
        lever=lever, rate=rate, offset=offset, linear=linear, travel=travel, along=along, across=across, down=down
    )


def roll_axis(car: Chassis) -> FloatArray:
    """(...) m, height of the roll axis under the sprung mass."""
    share = car.sprung_place[..., 0] / car.wheelbase
    height: FloatArray = car.roll_centre[..., 1] + share * (car.roll_centre[..., 0] - car.roll_centre[..., 1])
    return height


def shifted(car: Chassis) -> FloatArray:
    """(..., 2) kg m, moment per m/s2 that each axle's part of the car has since its tyres give: mass times shift."""
    front = np.asarray(car.sprung_place[..., 0] / car.wheelbase)
    carried = np.asarray(car.sprung_mass)[..., None] * np.stack([front, 1 - front], -1)
    wheels = np.asarray(car.unsprung_mass)
    own = np.stack([wheels[..., :2].sum(-1), wheels[..., 2:].sum(-1)], -1)
    return np.asarray((carried + own) * np.asarray(car.side_shift)[..., None], dtype=float)


def geometric_per_ay(car: Chassis) -> FloatArray:
    """(..., 2) N per m/s2 that links carry across at each axle: sprung side force times roll centre / track.

    The axles share the sprung mass's side force by its place (no yaw acceleration).
    """
    front = np.asarray(car.sprung_place[..., 0] / car.wheelbase)
    share = np.stack([front, 1 - front], -1)
    return np.asarray(np.asarray(car.sprung_mass)[..., None] * share * car.roll_centre / car.track, dtype=float)


def squash(parts: Elements, q: FloatArray, floor: FloatArray) -> FloatArray:
    """(n, 16) m, positive where a hinge pushes. floor: (n, 4) m, height of the floor under each wheel.

    q: (n, 7) coordinates, m and rad.
    """
    if len(parts.lever) == 1:
        out: FloatArray = q @ parts.lever[0].T + parts.offset
    else:
        out = np.matmul(parts.lever, q[..., None])[..., 0] + parts.offset
    out[:, TYRE] += floor
    return out
