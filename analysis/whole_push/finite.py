"""The finite push: the slide integrated over the rotation that was measured, and its swing pivot."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import BoolArray, FloatArray, IntArray
from analysis.base.errors import InputError
from analysis.sliding import Contacts, Finger, LoadTransfer, SlideMotion
from analysis.sliding.contacts import check_contacts
from analysis.sliding.finger import check_finger
from analysis.sliding.motion import pick
from analysis.whole_push.moment import slide_begins, slide_goes_on
from analysis.whole_push.together import PushBatch

Rule = Literal["fixed on car", "fixed on floor"]

TRAVEL_SHARE = 0.5
"""Longest advance of the finger when none is given, in parts of the distance between the outermost contacts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FinitePush:
    """A slide of finite length. Leading axes `...` as in the solver; floor axes are the car axes at the start.

    kappa: (...,), 1/m: 2 sin(dpsi/2)/dy_mid, dy_mid the displacement of the mid-wheelbase point across the
        middle heading; 0 when the car slides straight.
    pole: (..., 2), m: the point of the car, in its axes, that is in the same floor place before and after;
        infinite when straight.
    turn: (...,), rad, signed.  displacement: (..., 2), m, of the mid-wheelbase point, floor axes.
    travel: (...,), m: advance of the finger.
    path: (steps + 1, ..., 3): x, y of the car's origin and yaw at every step.
    station: (steps + 1, ...,): x of the touched point in car axes at every step, m.
    residual: (...,), the worst certificate on the way.  certified: (...,), all steps certified.
    """

    kappa: FloatArray
    pole: FloatArray
    turn: FloatArray
    displacement: FloatArray
    travel: FloatArray
    path: FloatArray
    station: FloatArray
    residual: FloatArray
    certified: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Until:
    """Where a push ends: when the car has turned by `turn`, or the finger has advanced by `travel`, if that is sooner.

    turn: (...,), rad, size of the rotation.  travel: (...,), m; None: half the distance between the outermost contacts.
    """

    turn: FloatArray | float
    travel: FloatArray | float | None = None


def integrate_push(
    contacts: Contacts,
    finger: Finger,
    *,
    until: Until,
    steps: int = 2,
    rule: Rule = "fixed on car",
    transfer: LoadTransfer | None = None,
    middle: npt.ArrayLike | None = None,
) -> FinitePush:
    """Push a car as far as `until` says.

    contacts, finger, transfer: as for solve_push.
    steps: Runge-Kutta steps of fourth order; two suffice for 15 degrees unless the motion switches on the way.
    rule: "fixed on car": the touched point stays where it is on the car (notch, ball in a dimple).
        "fixed on floor": the finger runs along a fixed line on the floor and touches the car's flat side, so the
        touched point wanders along the car as it turns.
        Under both the normal of a sliding finger turns with the car's side; the line along which a finger drives
        a point that sticks is fixed on the floor. A "line" force keeps its direction on the floor under
        "fixed on floor" and on the car under "fixed on car".
    middle: (...,), m, station of the mid-wheelbase point; None: midway between the outermost contacts.
    Raises InputError as solve_push does, and for a turn, travel or number of steps that is no use.
    Source: turn per travel of a finite planar displacement (pole of the displacement), exact for any pole.
    """
    if steps < 1:
        raise InputError("at least one step is needed", where="steps", remedy="Give 2 or more")
    limit, longest, mid = checked_extent(contacts, finger, until, rule, middle)
    run = PushRates(contacts, finger, transfer, rule, limit, longest)
    run.start()
    batch = run.worst.shape
    pose = np.zeros((*batch, 4))
    poses, h = [pose], 1.0 / steps
    for _ in range(steps):
        k1 = run.rate(pose)
        k2 = run.rate(pose + h / 2 * k1)
        k3 = run.rate(pose + h / 2 * k2)
        k4 = run.rate(pose + h * k3)
        pose = pose + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        poses.append(pose)
    path = np.stack(poses)
    kappa, moved = swing(pose, mid)
    return FinitePush(
        kappa=kappa,
        pole=_pole(pose),
        turn=pose[..., 2],
        displacement=moved,
        travel=pose[..., 3],
        path=path[..., :3],
        station=np.stack([run.touched(p)[..., 0] for p in poses]),
        residual=run.worst,
        certified=run.good,
    )


def checked_extent(
    contacts: Contacts, finger: Finger, until: Until, rule: Rule, middle: npt.ArrayLike | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Turn (...,) rad and advance (...,) m at which the push ends, and the mid-wheelbase station (...,) m.

    Raises InputError for those that are no use.
    """
    ground = check_contacts(contacts, check_finger(finger).batch)
    limit = np.asarray(until.turn, dtype=float)
    x = ground.place[..., 0]
    reach = np.hypot(np.ptp(x, axis=-1), np.ptp(ground.place[..., 1], axis=-1))
    longest = TRAVEL_SHARE * reach if until.travel is None else np.asarray(until.travel, dtype=float)
    if not np.all(np.isfinite(limit)) or np.any(limit <= 0) or np.any(limit >= np.pi):
        raise InputError("not between 0 and half a turn", where="turn", remedy="Give the rotation in radians")
    if not np.all(np.isfinite(longest)) or np.any(longest <= 0):
        raise InputError("not above zero", where="travel", remedy="Give the finger's advance in metres")
    if rule not in ("fixed on car", "fixed on floor"):
        raise InputError("unknown rule", where="contact rule", remedy='Give "fixed on car" or "fixed on floor"')
    mid = np.asarray((x.max(axis=-1) + x.min(axis=-1)) / 2 if middle is None else middle, dtype=float)
    return limit, longest, mid


def swing(pose: FloatArray, middle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """kappa (...,) 1/m and displacement (..., 2) m of the mid-wheelbase point; see FinitePush.

    pose: (..., 4).  middle: (...,) m, how far the middle of the wheelbase lies ahead of the rear axle.
    """
    moved = _mid(pose, middle) - np.stack([middle, np.zeros_like(middle)], axis=-1)
    half = pose[..., 2] / 2
    sideways = moved[..., 1] * np.cos(half) - moved[..., 0] * np.sin(half)
    with np.errstate(divide="ignore", invalid="ignore"):
        kappa = np.where(pose[..., 2] == 0, 0.0, 2 * np.sin(half) / sideways)
    return kappa, moved


class PushRates:
    """How fast a push goes on: the pose (x, y, yaw, finger advance) moves on a clock that ends at 1.

    turn: (...,) rad, travel: (...,) m: see Until.  worst: (...,) certificate so far, good: (...,) all certified.
    """

    def __init__(
        self,
        contacts: Contacts,
        finger: Finger,
        transfer: LoadTransfer | None,
        rule: Rule,
        turn: FloatArray,
        travel: FloatArray,
    ) -> None:
        self.contacts, self.finger, self.transfer = contacts, finger, transfer
        touch = check_finger(finger)
        self.place, self.line, self.rule = touch.place, touch.motion, rule
        self.turn, self.travel = turn, travel
        self.known: SlideMotion | None = None
        self.last: SlideMotion
        self.partly = False
        self.steady = rule == "fixed on car" and finger.kind in ("rolling", "line") and contacts.fall is None

    def start(self) -> SlideMotion:
        """Solve at the start, where the finger's line and the normal are one."""
        self.known = self.last = slide_begins(self.contacts, self.finger, self.transfer)
        shape = np.broadcast_shapes(self.known.power.shape, self.turn.shape, self.travel.shape)
        self.worst = np.broadcast_to(self.known.residual, shape)
        self.good = np.broadcast_to(self.known.certified, shape)
        return self.known

    def go_on(self, worst: FloatArray, good: BoolArray, last: SlideMotion) -> None:
        """From another moment than the start, of some of many pushes, with the certificates (...,) and the motion so
        far."""
        self.worst, self.good, self.last, self.partly = worst, good, last, True

    def some(self, rows: IntArray) -> "PushRates":
        """Of some of many pushes (k,), as far as they are. rows: which."""
        if rows.size == self.worst.size:
            return self
        batch = PushBatch(contacts=self.contacts, finger=self.finger, transfer=self.transfer, count=self.worst.size)
        part = batch.picked(rows)
        rates = PushRates(part.contacts, part.finger, part.transfer, self.rule, self.turn[rows], self.travel[rows])
        rates.go_on(self.worst[rows], self.good[rows], pick(self.last, rows))
        return rates

    def touched(self, pose: FloatArray) -> FloatArray:
        """(..., 2), touched point in car axes."""
        if self.rule == "fixed on car":
            return np.broadcast_to(self.place, (*pose.shape[:-1], 2))
        tip = self.place + pose[..., 3, None] * self.line  # on the floor
        return _turned(tip - pose[..., :2], -pose[..., 2])

    def rate(self, pose: FloatArray) -> FloatArray:
        """Change of the pose per unit of the clock."""
        motion, self.known = self.known, self.known if self.steady else None
        if motion is None:
            line = _turned(np.broadcast_to(self.line, (*pose.shape[:-1], 2)), -pose[..., 2])
            moved = replace(self.finger, place=self.touched(pose), motion=line)
            if self.finger.kind == "line":
                moved = replace(moved, direction=line)
            contacts = self.contacts
            if contacts.fall is not None:  # the floor falls the same way while the car turns on it
                contacts = replace(contacts, fall=_turned(np.asarray(contacts.fall, dtype=float), -pose[..., 2]))
            motion = self.last = slide_goes_on(contacts, moved, self.transfer, self.last, partly=self.partly)
            self.worst = np.maximum(self.worst, motion.residual)
            self.good = self.good & motion.certified
        vx, vy, omega = np.moveaxis(motion.twist, -1, 0)
        with np.errstate(divide="ignore"):
            pace = np.minimum(self.turn / np.abs(omega), self.travel)
        cos, sin = np.cos(pose[..., 2]), np.sin(pose[..., 2])
        ones = np.ones(pose.shape[:-1])
        speed = np.stack([cos * vx - sin * vy, sin * vx + cos * vy, omega * ones, ones], axis=-1)
        return np.asarray(pace[..., None] * speed)


def _turned(vector: FloatArray, angle: FloatArray) -> FloatArray:
    cos, sin = np.cos(angle), np.sin(angle)
    return np.stack([cos * vector[..., 0] - sin * vector[..., 1], sin * vector[..., 0] + cos * vector[..., 1]], axis=-1)


def _mid(pose: FloatArray, mid: FloatArray) -> FloatArray:
    ahead = np.stack([np.cos(pose[..., 2]), np.sin(pose[..., 2])], axis=-1)
    return np.asarray(pose[..., :2] + mid[..., None] * ahead)


def _pole(pose: FloatArray) -> FloatArray:
    """The fixed point p of p -> R p + d: (I - R)^-1 d, written with the half angle so that it stays exact."""
    half = pose[..., 2] / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        cot = 1.0 / np.tan(half)
        pole = np.stack([pose[..., 0] - cot * pose[..., 1], pose[..., 1] + cot * pose[..., 0]], axis=-1) / 2
    return np.where(np.isfinite(pole), pole, np.inf)
