"""The slide of cars on patches from a motion that is near it: that of the same contacts as points, or of a moment ago.

Loads are those that the patches' own push brings about, and the patches tell whether a finger that rubs holds the car.
Source: principle of least power (see `whole_patches`); Coulomb's cone at the finger.
"""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray, IntArray
from analysis.sliding.contacts import Contacts
from analysis.sliding.finger import Finger, LoadTransfer, check_finger
from analysis.sliding.motion import SlideMotion
from analysis.whole_push.blocked_patch import free_twists
from analysis.whole_push.patch_cars import PatchCars, cars_at_rest, cars_last, signed
from analysis.whole_push.whole_patches import MOST_STEPS, Searched, least_power, turn_apart

CHANGES = 4
"""Times a finger is tried to hold or to slip, one way or the other, in place of what was taken at first."""
SLACK = 1e-6
"""Of the grip, by which a force may lie outside the finger's cone; and of its speed, by which it may slip back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Touch:
    """Fingers on k cars: place, normal, motion (2, k); friction (k,)."""

    place: FloatArray
    normal: FloatArray
    motion: FloatArray
    friction: FloatArray

    def line(self, holds: BoolArray, way: FloatArray) -> FloatArray:
        """(2, k), along which a finger presses that slips the way (k,), (0, 0) where it holds the car."""
        edge = self.normal + way * self.friction * _across(self.normal)
        return np.where(holds, 0.0, edge / np.sqrt((edge * edge).sum(0)))

    def speed(self, twist: FloatArray) -> FloatArray:
        """(2, k) of the touched point."""
        return np.array([twist[0] - twist[2] * self.place[1], twist[1] + twist[2] * self.place[0]])

    def some(self, rows: IntArray) -> "_Touch":
        return _Touch(
            place=self.place[:, rows],
            normal=self.normal[:, rows],
            motion=self.motion[:, rows],
            friction=self.friction[rows],
        )


def carried_on(
    began: SlideMotion, contacts: Contacts, finger: Finger, transfer: LoadTransfer | None, *, most: int = MOST_STEPS
) -> tuple[SlideMotion, BoolArray]:
    """The motion (...,) of cars whose wheels touch with the patches of `contacts`, and (...,) whether it was found.

    began: a motion near it.  most: steps of a search, at the latest.
    Where it was not found, and where all four wheels turn together, it stays as it is.
    """
    shape = began.sliding.shape
    batch, n = shape[:-1], shape[-1]

    def rows(value: object, *more: int) -> FloatArray:
        return cars_last(value, batch, *more)

    arrays = check_finger(finger)
    touch = _Touch(
        place=rows(arrays.place, 2),
        normal=rows(arrays.direction, 2),
        motion=rows(arrays.motion, 2),
        friction=rows(arrays.friction if finger.kind == "rubbing" else 0.0),
    )
    cars, carried = cars_at_rest(contacts, batch, n, height=arrays.height, transfer=transfer)
    cars = replace(cars, carried=carried)
    push = rows(began.push_force, 2).copy()
    near = Searched(
        twist=rows(began.twist, 3).copy(),
        turning=rows(began.roll_speed, n) * rows(contacts.along, n),
        push=push,
        ended=np.zeros(push.shape[1], dtype=bool),
        power=np.zeros(push.shape[1]),
    )
    holds = np.broadcast_to(began.finger_sticks, batch).reshape(-1).copy()
    some = turn_apart(contacts, shape) & (cars.grip.sum(0) > 0.0) & np.isfinite(near.twist).all(0)
    with np.errstate(all="ignore"):  # a search that goes astray does not end, and is not taken
        _settle(cars, touch, near, holds, np.flatnonzero(some), rubs=finger.kind == "rubbing", most=most)
    found = near.ended
    load, tips = carried.load(near.push)
    found &= ~tips

    def told(new: FloatArray, old: FloatArray) -> FloatArray:
        """(..., more): (more, k) where it was found."""
        back: FloatArray = np.moveaxis(new, -1, 0).reshape(old.shape)
        return np.where(found.reshape((*batch, *([1] * (old.ndim - len(batch))))), back, old)

    motion = replace(
        began,
        twist=told(near.twist, began.twist),
        push_force=told(near.push, began.push_force),
        load=told(load, began.load),
        roll_speed=told(near.turning / rows(contacts.along, n), began.roll_speed),
        finger_sticks=np.where(found, holds, began.finger_sticks.reshape(-1)).reshape(batch),
    )
    return motion, found.reshape(batch)


def _settle(
    cars: PatchCars, touch: _Touch, near: Searched, holds: BoolArray, rows: IntArray, *, rubs: bool, most: int
) -> None:
    """Find the motions of some cars, in place. holds: (k,), whether the finger is taken to hold the car at first."""
    side = (near.push * _across(touch.normal)).sum(0)
    way = np.where(rubs & ~holds, np.where(side > 0.0, 1.0, -1.0), 0.0)
    held_before = np.zeros(len(holds), dtype=bool)
    for _ in range(CHANGES):
        part, finger = cars.some(rows), touch.some(rows)
        at = _begun(near.some(rows), part, finger, holds[rows], way[rows])
        line = finger.line(holds[rows], way[rows])
        free = np.moveaxis(free_twists(line.T, finger.place.T, holds[rows]), 0, -1)
        into = np.einsum("ijnk,jzk->iznk", part.slips, free)
        found = least_power(replace(part, free=free, into=into, line=line), at.twist, at.turning, at.push, most)
        advance = (finger.speed(found.twist) * finger.normal).sum(0)
        wanted = (finger.motion * finger.normal).sum(0)
        moves = holds[rows] | (advance > 0.0)
        scale = np.where(holds[rows] | ~moves, 1.0, wanted / np.where(moves, advance, 1.0))
        found.twist, found.turning = found.twist * scale, found.turning * scale
        near.put(rows, found)
        if not rubs:
            near.ended[rows] &= moves
            return
        across = _across(finger.normal)
        pressing, shearing = ((found.push * one).sum(0) for one in (finger.normal, across))
        cone = finger.friction * pressing + SLACK * part.grip.sum(0)
        slips = ((finger.motion - finger.speed(found.twist)) * across).sum(0) * way[rows]
        fits = np.where(holds[rows], np.abs(shearing) <= cone, moves & ((slips >= -SLACK) | (finger.friction == 0.0)))
        if most < MOST_STEPS:
            fits |= ~found.ended  # it is begun once more from points
        bad = rows[~fits]
        if not bad.size:
            return
        # a finger that cannot hold slips the way it shears; one that slips the wrong way holds, or slips the other way
        was, again = holds[bad], held_before[bad]
        way[bad] = np.where(was, np.where(shearing[~fits] > 0.0, 1.0, -1.0), np.where(again, -way[bad], 0.0))
        holds[bad] = ~was & ~again
        held_before[bad] |= was
        rows = bad
    near.ended[rows] = False


def _begun(near: Searched, cars: PatchCars, touch: _Touch, holds: BoolArray, way: FloatArray) -> Searched:
    """From where to search: the touched point moves as the finger has it, and wheels that turn slip as they did."""
    line = touch.line(holds, way)
    speed = touch.speed(near.twist)
    wanted = (touch.motion * touch.normal).sum(0) / np.where(holds, 1.0, (line * touch.normal).sum(0))
    lacks = np.where(holds, touch.motion - speed, (wanted - (speed * line).sum(0)) * line)
    twist = near.twist.copy()
    twist[:2] += lacks
    faster = np.einsum("jnk,jk->nk", cars.slips[0, :2], lacks)
    faster = np.where(cars.mate != 0.0, 0.5, 1.0) * signed(faster, cars.mate)
    return replace(near, twist=twist, turning=near.turning + np.where(near.turning != 0.0, faster, 0.0))


def _across(normal: FloatArray) -> FloatArray:
    """(2, k), a quarter turn anticlockwise."""
    return np.array([-normal[1], normal[0]])
