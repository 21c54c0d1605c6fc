"""A car that drives off: one of its wheels rolls without slipping at all, so that the car does not turn.

Friction's power has an edge there, at which Newton's method comes to no end. The motion is known then: straight on, the
way that wheel points. It is the least if the wheel can give the force that the others and the finger ask of it.
Source: conditions for the least of a convex function (elementary); a wheel can give a force if no slip of its patch
loses less than the force would do along it.
"""

from collections.abc import Callable

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray, IntArray
from analysis.whole_push.patch_cars import PatchCars

NEAR = 0.1
"""Of the car's speed: a wheel that slips faster is not tried."""
TRIED = 2
"""Wheels at most, first those that slip least across."""
LOADS = 5
"""Times that loads follow the push: each leaves a hundredth or so of what was wrong."""
SAME_WAY = 1e-9
"""Of the car's speed: another wheel that slips no faster points the same way, and what it gives is open."""


LeastPower = Callable[[PatchCars, FloatArray, FloatArray], FloatArray]
"""(cars, twists, turning) to (k,): the least power, searched for from there."""


def straight_on(cars: PatchCars, twist: FloatArray, least: LeastPower) -> tuple[FloatArray, FloatArray, BoolArray]:
    """(3, k) twists, (3, n, k) N what the wheels give, and (k,) whether that is the least: the car goes the way a wheel
    points.

    twist: (3, k), near to which the search is.
    """
    pace = np.maximum(np.hypot(twist[0], twist[1]), 1e-300)
    slip = np.einsum("ijnk,jk->ink", cars.slips, twist)
    aside = np.where(np.isfinite(cars.held) & (cars.mate == 0.0), np.abs(slip[1]), np.inf) / pace
    found, given = twist.copy(), np.zeros((3, *aside.shape))
    holds = np.zeros(twist.shape[1], dtype=bool)
    for wheel in np.argsort(aside, axis=0)[:TRIED]:
        rows = np.flatnonzero(~holds & (aside[wheel, np.arange(len(holds))] < NEAR))
        if rows.size:
            found[:, rows], given[..., rows], holds[rows] = _along(cars.some(rows), twist[:, rows], wheel[rows], least)
    return found, given, holds


def _along(
    cars: PatchCars, twist: FloatArray, wheel: IntArray, least: LeastPower
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """The same for the way that this wheel (k,) points."""
    count = twist.shape[1]
    cols = np.arange(count)
    ahead = cars.slips[:, :2, wheel, cols]  # (3, 2, k)
    way = np.array([ahead[1, 1], -ahead[1, 0]])  # square to what it slips across
    normal = _speed_left(cars.free)  # (3, k): what no free twist changes
    speed, per = (normal * twist).sum(0), (normal[:2] * way).sum(0)
    tried = per != 0.0
    found = np.zeros_like(twist)
    found[:2] = way * np.where(tried, speed / np.where(per != 0.0, per, 1.0), 0.0)
    for _ in range(LOADS):
        given, wanted, known = _given(cars, found, wheel)
        cars = cars.loaded(cars.push(given))
    tried &= known & np.isfinite(wanted).all(0) & (np.abs(wanted[1]) < 1.0)
    rows = np.flatnonzero(tried)
    holds = np.zeros(count, dtype=bool)
    holds[rows] = within_limits(wanted[:, rows], cars.half[:, wheel[rows], rows], least)
    return found, given, holds


def _given(cars: PatchCars, twist: FloatArray, wheel: IntArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """(3, n, k) N, what all wheels give, where the one (k,) that does not slip gives what is asked of it; that over its
    grip (3, k); and (k,) whether it is known."""
    cols = np.arange(twist.shape[1])
    force, open_ = _of_others(cars, twist, wheel)
    given = np.where(np.arange(len(cars.grip))[:, None] == wheel, 0.0, force)
    asked = np.einsum("jk,jzk->zk", cars.pull, cars.free) - np.einsum("ink,iznk->zk", given, cars.into)
    own = cars.into[:, :, wheel, cols]  # (3, 2, k)
    along = force[0, wheel, cols]
    asked = asked - along * own[0]
    det = own[1, 0] * own[2, 1] - own[1, 1] * own[2, 0]
    known = ~open_ & (det != 0.0)
    det = np.where(det != 0.0, det, 1.0)
    across = (asked[0] * own[2, 1] - asked[1] * own[2, 0]) / det
    moment = (asked[1] * own[1, 0] - asked[0] * own[1, 1]) / det
    given[:, wheel, cols] = np.array([along, across, moment])
    return given, given[:, wheel, cols] / np.maximum(cars.grip[wheel, cols], 1e-300), known


def within_limits(force: FloatArray, half: FloatArray, least: LeastPower) -> BoolArray:
    """(k,): whether a patch can give a force and moment (3, k), along, across and m, per newton of grip, while it
    slips or rests. half: (2, k) m."""
    count = force.shape[1]
    size = np.array([np.ones(count), np.ones(count), 1.0 / np.maximum(half[0], half[1])])
    f = force * size  # slips in which all three are of one size
    length = np.sqrt((f * f).sum(0))
    e = f / np.maximum(length, 1e-300)
    # two directions square to e
    least_axis = np.argmin(np.abs(e), axis=0)
    axis = np.eye(3)[:, least_axis]
    one = np.cross(e, axis, axis=0)
    one /= np.sqrt((one * one).sum(0))
    other = np.cross(e, one, axis=0)
    free = np.stack([one, other], axis=1) * size[:, None]
    endless, ones = np.full((1, count), np.inf), np.ones((1, count))
    wheel = PatchCars(
        slips=np.broadcast_to(np.eye(3)[:, :, None, None], (3, 3, 1, count)),
        half=half[:, None],
        grip=ones,
        held=endless,
        mate=np.zeros((1, count)),
        free=free,
        into=free[:, :, None],
        pull=np.zeros((3, count)),
    )
    lost = least(wheel, e * size, np.zeros((1, count)))
    return np.asarray(lost >= length, bool)


def _speed_left(free: FloatArray) -> FloatArray:
    """(3, k): square to both free twists (3, 2, k)."""
    return np.cross(free[:, 0], free[:, 1], axis=0)


def _of_others(cars: PatchCars, twist: FloatArray, wheel: IntArray) -> tuple[FloatArray, BoolArray]:
    """(3, n, k) N, what wheels give that go straight on with the twist (3, k), and (k,) whether another than `wheel`
    (k,) does not slip either. A wheel that turns does so at the speed at which it loses least."""
    slip = np.einsum("ijnk,jk->ink", cars.slips, twist)
    turns = np.isfinite(cars.held) & (cars.held < cars.grip)
    held = np.where(turns, np.sign(slip[0]) * np.where(turns, cars.held, 0.0), 0.0)
    size = np.maximum(np.hypot(slip[0], slip[1]), 1e-300)
    sideways = np.sign(slip[1]) * np.sqrt(np.maximum(cars.grip**2 - held**2, 0.0))
    along = np.where(turns, held, cars.grip * slip[0] / size)
    across = np.where(turns, sideways, cars.grip * slip[1] / size)
    others = np.arange(len(slip[1]))[:, None] != wheel
    rests = np.where(turns, np.abs(slip[1]), size) <= SAME_WAY * np.hypot(twist[0], twist[1])
    open_ = (others & (rests | (cars.mate != 0.0))).any(0)
    return np.array([along, across, np.zeros_like(along)]), open_
