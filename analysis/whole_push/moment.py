"""One moment of a push: the slide on patches, begun from points or from the moment before, and no car outruns its push.

Wheels that all roll the same way are held by their drag alone. Where steered wheels and a falling floor overcome it,
least power sends the car off along its own axis, a hundred times as fast as the finger goes: a balance of forces that
a car gets to, from rest, by its own inertia only, long after the push. Up to then the car drives along more slowly.
What such a push turns the car by is told by the moment in which it drives along as fast as the finger goes, and what
would drive it faster accelerates it. Wheels with much toe guide a car along a few times as fast as the finger goes; a
slow push brings it to that, so that is left to least power.
Source: d'Alembert's principle for the motion along; least power for the rest of it.
"""

from dataclasses import dataclass, fields, replace
from typing import Protocol

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.sliding.contacts import Contacts
from analysis.sliding.finger import Finger, LoadTransfer, check_finger
from analysis.sliding.motion import SlideMotion, merge, pick
from analysis.sliding.solve import solve_push, solve_some
from analysis.whole_push.carried_on import carried_on
from analysis.whole_push.patch import at_patches
from analysis.whole_push.together import PushBatch

NEAR_STEPS = 16
"""Of a search from the motion a moment ago, which is the quicker way or none."""
DRIVES_OFF = 25.0
"""Of the finger's speed along its own axis, from which a car cannot come to it during a push: the friction that half of
its weight gives over 30 mm brings it to sqrt(0.8 g 0.03 m) = 0.5 m/s, 25 times as fast as a finger of 20 mm/s. Of cars
with the usual doubts of steering, toe and slope hardly any lie between 1 and 30: drag holds them, or nothing does."""
PACE = 1.0
"""Of the finger's speed: how fast such a car drives along instead."""
PACE_SLACK = 1e-6
"""Of the pace, and of the grip."""
MOST_TURN = 20.0
"""rad per m of the finger, from which that begins."""
PACE_ROUNDS = 4
"""In which the pace of a car along a finger that rubs is found: each leaves a tenth or so of what was wrong."""


class Solve(Protocol):
    """How the motion of points is found: `solve_push` or `solve_some`."""

    def __call__(self, contacts: Contacts, finger: Finger, *, transfer: LoadTransfer | None = None) -> SlideMotion: ...


def slide_begins(contacts: Contacts, finger: Finger, transfer: LoadTransfer | None) -> SlideMotion:
    """The motion (...,) with which pushes begin, on the patches of the contacts.

    Raises InputError as `solve_push` does.
    """
    motion = _from_points(solve_push, contacts, finger, transfer)
    if contacts.whole != "paced" or motion.power.ndim > 1:
        return motion
    flat = _shaped(motion, (motion.power.size,))
    push = PushBatch(contacts=contacts, finger=finger, transfer=transfer, count=motion.power.size)
    return _shaped(_kept_to_pace(flat, push), motion.power.shape)


def slide_goes_on(
    contacts: Contacts, finger: Finger, transfer: LoadTransfer | None, last: SlideMotion, *, partly: bool
) -> SlideMotion:
    """The motion (...,) of pushes that moved so a moment ago (`last`). partly: they are some of a larger batch.

    Raises InputError as `solve_push` does.
    """
    solve = solve_some if partly else solve_push
    if contacts.whole != "paced" or last.power.ndim > 1:
        return _goes_on(contacts, finger, transfer, last, solve)
    if last.power.ndim == 0:
        one = PushBatch(contacts=contacts, finger=finger, transfer=transfer, count=1).picked(np.zeros(1, dtype=np.intp))
        motion = slide_goes_on(one.contacts, one.finger, one.transfer, _shaped(last, (1,)), partly=partly)
        return _shaped(motion, ())
    push = PushBatch(contacts=contacts, finger=finger, transfer=transfer, count=last.power.size)
    ran = at_pace(last)
    if not ran.any():
        return _kept_to_pace(_goes_on(contacts, finger, transfer, last, solve), push)
    motion, settled = _both(push, last, ran)
    motion = _kept_to_pace(motion, push, among=settled & ~ran)
    rows = np.flatnonzero(~settled)
    if rows.size:
        some = push.picked(rows)
        free = _from_points(solve_some, some.contacts, some.finger, some.transfer)
        motion = merge(motion, _kept_to_pace(free, some), rows, np.arange(rows.size))
    return motion


def _both(push: PushBatch, last: SlideMotion, ran: BoolArray) -> tuple[SlideMotion, BoolArray]:
    """The motion (k,) of those that were at pace a moment ago (`ran`), most likely still held back, and of the others,
    and (k,) whether it is right so far."""
    rows = np.flatnonzero(ran)
    some = push.picked(rows)
    if push.finger.kind == "rubbing" or push.contacts.patch is None:
        held, outrun = _held_back(some, pick(last, rows))
        motion = merge(last, held, rows, np.arange(rows.size))
        others = np.flatnonzero(~ran)
        settled = np.ones(push.count, dtype=bool)
        settled[rows] = outrun
        if others.size:
            rest = push.picked(others)
            free = _goes_on(rest.contacts, rest.finger, rest.transfer, pick(last, others), solve_some)
            motion = merge(motion, free, others, np.arange(others.size))
        return motion, settled
    touch, brace = check_finger(push.finger), _Brace.of(some, pick(last, rows))
    speed, pace = brace.speed(np.zeros(rows.size))
    place, normal, way = (
        np.broadcast_to(one, (push.count, 2)).copy() for one in (touch.place, touch.direction, touch.motion)
    )
    place[rows], normal[rows], way[rows] = brace.place, speed, speed
    near = merge(last, _faster(pick(last, rows), 1.0 / pace), rows, np.arange(rows.size))
    finger = Finger(kind="rolling", place=place, direction=normal, motion=way, height=touch.height)
    near = replace(near, finger_sticks=ran)  # at the place where the line of its press meets the middle line
    motion, found = carried_on(near, push.contacts, finger, push.transfer, most=NEAR_STEPS)
    held, outrun = brace.told(_faster(pick(motion, rows), pace))
    motion = merge(replace(motion, certified=found), held, rows, np.arange(rows.size))
    motion.certified[rows] = found[rows]
    settled = found.copy()
    settled[rows] &= outrun
    return motion, settled


def _from_points(solve: Solve, contacts: Contacts, finger: Finger, transfer: LoadTransfer | None) -> SlideMotion:
    """The motion on patches, begun from that of points."""
    return at_patches(solve(contacts, finger, transfer=transfer), contacts, finger, transfer)


def _goes_on(
    contacts: Contacts, finger: Finger, transfer: LoadTransfer | None, last: SlideMotion, solve: Solve
) -> SlideMotion:
    """From the last motion where that leads to the end, else from that of points."""
    if contacts.patch is None or contacts.whole not in ("all", "paced"):
        return _from_points(solve, contacts, finger, transfer)
    motion, found = carried_on(last, contacts, finger, transfer, most=NEAR_STEPS)
    motion, rows = replace(motion, certified=found), np.flatnonzero(~found)
    if not rows.size:
        return motion
    if found.ndim != 1:
        return _from_points(solve, contacts, finger, transfer)
    lost = PushBatch(contacts=contacts, finger=finger, transfer=transfer, count=found.size).picked(rows)
    again = _from_points(solve_some, lost.contacts, lost.finger, lost.transfer)
    return merge(motion, again, rows, np.arange(rows.size))


def at_pace(motion: SlideMotion) -> BoolArray:
    """(...,): cars that are held back to the finger's pace, and slip under it."""
    off = np.abs(np.abs(motion.twist[..., 0]) - PACE)
    return np.asarray(~motion.finger_sticks & (off <= PACE * PACE_SLACK), bool)


def _kept_to_pace(motion: SlideMotion, push: PushBatch, among: BoolArray | None = None) -> SlideMotion:
    """The motion (k,) with those held back that would outrun the finger. among: (k,), of which that is asked."""
    off = ~motion.finger_sticks & (np.abs(motion.twist[:, 0]) >= DRIVES_OFF)
    fast = off & ~motion.no_friction & ~motion.tips
    rows = np.flatnonzero(fast if among is None else fast & among)
    if not rows.size or push.finger.kind == "sticking":
        return motion
    held, outrun = _held_back(push.picked(rows), pick(motion, rows))
    return merge(motion, held, rows[outrun], outrun)


def _held_back(push: PushBatch, near: SlideMotion) -> tuple[SlideMotion, BoolArray]:
    """The motion (k,) of cars that drive along just as fast as the finger goes, ahead or back as `near` does, and
    (k,) whether they would go faster if nothing held them."""
    brace = _Brace.of(push, near)
    turn, motion = np.clip(near.twist[:, 2], -MOST_TURN, MOST_TURN), None
    for _ in range(PACE_ROUNDS if push.finger.kind == "rubbing" else 1):
        speed, pace = brace.speed(turn)
        finger = Finger(kind="sticking", place=brace.place, direction=speed, height=push.finger.height)
        if motion is None:
            motion = _from_points(solve_some, push.contacts, finger, push.transfer)
        else:
            motion = _goes_on(push.contacts, finger, push.transfer, _faster(motion, 1.0 / pace), solve_some)
        motion = _faster(motion, pace)
        turn = motion.twist[:, 2]
    assert motion is not None
    return brace.told(motion)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Brace:
    """What holds k cars back to the finger's pace, beside its press.

    It acts in the car's middle line, as inertia does. Both together hold still, or at a given speed, the point in which
    that line meets the line of the press: a finger that sticks there does the same.
    ahead: (k,), 1 or -1.  wanted: (k,), speed of the touched point along the normal (k, 2).  press: (k, 2), along which
    the finger pushes.  place: (k, 2) m.  lever: (k,) m, of a turn about there, to what the finger goes by.
    """

    ahead: FloatArray
    wanted: FloatArray
    normal: FloatArray
    press: FloatArray
    place: FloatArray
    lever: FloatArray

    @staticmethod
    def of(push: PushBatch, near: SlideMotion) -> "_Brace":
        """For pushes of cars that move so, or nearly."""
        touch = check_finger(push.finger)
        press = normal = touch.direction
        across = np.stack([-normal[:, 1], normal[:, 0]], axis=-1)
        if touch.kind == "rubbing":  # along the edge of the finger's cone
            way = np.sign((near.push_force * across).sum(axis=-1))
            press = normal + (way * touch.friction)[:, None] * across
            press = press / np.hypot(press[:, 0], press[:, 1])[:, None]
        place = touch.place - (touch.place[:, 1] / press[:, 1])[:, None] * press  # y = 0
        return _Brace(
            ahead=np.sign(near.twist[:, 0]),
            wanted=(touch.motion * normal).sum(axis=-1),
            normal=normal,
            press=press,
            place=place,
            lever=((place - touch.place) * across).sum(axis=-1),
        )

    def speed(self, turn: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(k, 2) of the place, and its size, where the car turns so (k,)."""
        along = PACE * self.ahead
        aside = (self.wanted - along * self.normal[:, 0] - turn * self.lever) / self.normal[:, 1]
        return np.stack([along, aside], axis=-1), np.hypot(along, aside)

    def told(self, motion: SlideMotion) -> tuple[SlideMotion, BoolArray]:
        """The motion (k,) with the finger's own press, and (k,) whether the car would go faster without the brace."""
        pressing = motion.push_force[:, 1] / self.press[:, 1]
        holds = motion.push_force[:, 0] - pressing * self.press[:, 0]
        outrun = (holds * self.ahead <= PACE_SLACK * motion.load.sum(axis=-1)) & (pressing > 0.0)
        slips = np.zeros_like(motion.finger_sticks)
        force = pressing[:, None] * self.press
        return replace(motion, push_force=force, finger_sticks=slips), np.asarray(outrun, bool)


def _faster(motion: SlideMotion, pace: FloatArray) -> SlideMotion:
    """The same slide (k,) so many times as fast."""
    return replace(
        motion,
        twist=motion.twist * pace[:, None],
        roll_speed=motion.roll_speed * pace[:, None],
        power=motion.power * pace,
    )


def _shaped(motion: SlideMotion, batch: tuple[int, ...]) -> SlideMotion:
    """With other leading axes."""
    rank = motion.power.ndim
    each = {one.name: getattr(motion, one.name) for one in fields(SlideMotion)}
    return SlideMotion(**{name: value.reshape((*batch, *value.shape[rank:])) for name, value in each.items()})
