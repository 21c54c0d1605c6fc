"""Quick pushes: the dynamic Coulomb slide of a car with mass and yaw inertia, pushed by a finger, until it stops.

Each time step minimises 1/2 (V - V_before) M (V - V_before) + h D(V) over the twist V, D the power lost in the
contacts: a convex problem with one answer, for which sticking, sliding and stopping are ordinary. At the first step
from rest it is the algebraic law "D + A/2 a M a" for a push that starts with the acceleration A.
Every array may carry leading axes for many cars at once.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import AnalysisError, InputError
from analysis.base.plane import swing_pole, turn_per_travel
from analysis.quick.step import Ground, ground_of, step_twist
from analysis.sliding.contacts import Contacts


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """What moves.  mass: (...), kg.  yaw_inertia: (...), kg m2 about the centre of gravity.

    centre: (..., 2), m, centre of gravity in car axes.
    """

    mass: FloatArray | float
    yaw_inertia: FloatArray | float
    centre: FloatArray | tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class FingerMotion:
    """A slippery finger that pushes the car's side along the floor and is then taken away.

    station: m, where it first touches.  face: m, y of the touched side of the car, which is parallel to its x axis
    (as the car yaws the contact wanders along it, the more the farther out it is).
    side: +1 pushes to the left (+y), -1 to the right.
    speed: m/s.  travel: m.  ramp: s, of constant acceleration at the start and deceleration at the end (0: sudden).
    leaves: s, when the finger is taken away, for all or one a car; None: when it stops.
    follows: "floor" runs straight on the floor, so its station on the car shifts as the car yaws; "car" keeps its
    station and stays square to the car.
    """

    station: float
    face: float = 0.0
    side: int = 1
    speed: float = 0.03
    travel: float = 0.015
    ramp: float = 0.0
    leaves: FloatArray | float | None = None
    follows: Literal["floor", "car"] = "floor"

    @property
    def duration(self) -> float:
        """s, until the finger stops."""
        if self.ramp * self.speed > self.travel:  # never reaches its speed
            return float(2.0 * np.sqrt(self.travel * self.ramp / self.speed))
        return self.travel / self.speed + self.ramp

    def distance(self, time: float) -> float:
        """m, travelled at a time since the start."""
        ramp = min(self.ramp, self.duration / 2.0)
        top = self.speed if self.ramp == 0 else self.speed / self.ramp * ramp
        time = float(np.clip(time, 0.0, self.duration))
        if ramp == 0:
            return top * time
        late = max(time - (self.duration - ramp), 0.0)
        early = min(time, ramp)
        return float(top * (early**2 / (2 * ramp) + max(time - ramp, 0.0) - late**2 / (2 * ramp)))


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickSlide:
    """How the car went.  Leading axes as given.

    time: (t,) s.  pose: (t, ..., 3) of the car axes in floor axes that coincide with them at the start.
    twist: (t, ..., 3) vx, vy (m/s, car axes, of the centre of gravity) and yaw rate (rad/s).
    stop_time: (...) s.  end_pose: (..., 3), extrapolated to a vanishing time step.  kappa: (...) 1/m of the whole
    slide.  pole: (..., 2) m.  step_error: (...) m, by how much the two finest steps differ at the worse axle end.
    """

    time: FloatArray
    pose: FloatArray
    twist: FloatArray
    stop_time: FloatArray
    end_pose: FloatArray
    kappa: FloatArray
    pole: FloatArray
    step_error: FloatArray


def push_quickly(
    contacts: Contacts,
    body: Body,
    finger: FingerMotion,
    *,
    wheelbase: float,
    steps: int = 100,
    progress: Callable[[float], None] | None = None,
) -> QuickSlide:
    """Slide of a car at rest that a finger pushes and leaves, until the car has stopped.

    contacts: as for slow pushes (loads at rest).  steps: time steps for the finger's part.
    progress: called with 0 to 1.  Raises InputError for quantities that cannot be, AnalysisError when the car does
    not stop.
    """
    _positive(finger.speed, "finger speed")
    _positive(finger.travel, "finger travel")
    _positive(steps, "time steps")
    if finger.side not in (1, -1) or finger.ramp < 0:
        raise InputError("side must be 1 or -1 and the ramp not negative", where="finger", remedy="Check both")
    ground = ground_of(contacts, body.mass, body.yaw_inertia, body.centre)
    return _both(ground, finger, wheelbase, finger.duration / steps, progress)


def _positive(quantity: float, where: str) -> None:
    if not np.isfinite(quantity) or quantity <= 0:
        raise InputError(f"{quantity:g} cannot be used", where=where, remedy="Give a number above zero")


def _both(
    ground: Ground,
    finger: FingerMotion,
    wheelbase: float,
    step: float,
    progress: Callable[[float], None] | None,
) -> QuickSlide:
    """Run with a step and with half of it, and extrapolate the end: the scheme is of first order."""
    _positive(wheelbase, "wheelbase")
    coarse = _run(ground, finger, step, None)
    time, poses, twists, stop = _run(ground, finger, step / 2.0, progress)
    rough, fine = coarse[1][-1], poses[-1]
    end = 2.0 * fine - rough
    ends = np.array([0.0, wheelbase])
    apart = fine - rough
    axle = [
        np.hypot(
            apart[..., 0] - x * np.sin(fine[..., 2]) * apart[..., 2],
            apart[..., 1] + x * np.cos(fine[..., 2]) * apart[..., 2],
        )
        for x in ends
    ]
    at_rest = np.zeros_like(end)
    return QuickSlide(
        time=time,
        pose=poses,
        twist=twists,
        stop_time=2.0 * stop - coarse[3],
        end_pose=end,
        kappa=turn_per_travel(at_rest, end, wheelbase),
        pole=swing_pole(at_rest, end),
        step_error=np.maximum(axle[0], axle[1]),
    )


def _run(
    ground: Ground,
    finger: FingerMotion,
    step: float,
    progress: Callable[[float], None] | None,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """March until every car has stopped: times (t,), poses (t, ..., 3), twists (t, ..., 3), stop times (...)."""
    centre = ground.centre
    place = np.concatenate([np.broadcast_to(centre, (*ground.batch, 2)), np.zeros((*ground.batch, 1))], -1).copy()
    twist = np.zeros((*ground.batch, 3))
    duration = finger.duration
    leaves = np.broadcast_to(duration if finger.leaves is None else np.minimum(finger.leaves, duration), ground.batch)
    if finger.ramp == 0:
        # A finger that starts suddenly gives a blow that brings the touched point to its speed, no faster.
        normal = _finger_contact(ground, place, finger, 0.0, step)[0]
        kick = normal / ground.inertia
        twist += kick * (finger.speed / (normal * kick).sum(-1))[..., None]
    still = np.zeros(ground.batch, bool)
    stop = np.zeros(ground.batch)
    times, places, twists = [0.0], [place.copy()], [twist.copy()]
    most = int(duration / step) + 200_000
    for count in range(1, most + 1):
        now = count * step
        pushing = now <= leaves + step / 2
        if pushing.any():
            normal, advance = _finger_contact(ground, place, finger, now, step)
        else:
            normal, advance = np.zeros((*ground.batch, 3)), np.zeros(ground.batch)
        new, _ = step_twist(ground, twist, step, normal, advance, pushing)
        still_new = (np.abs(new[..., :2]).max(-1) < ground.speed_floor) & (
            np.abs(new[..., 2]) * ground.lever < ground.speed_floor
        )
        # In its last step a car decelerates to nothing before the step ends.
        last = still_new & ~still & ~pushing
        share = np.ones(ground.batch)
        if last.any() and count > 1:
            lost = np.linalg.norm((twists[-2] - twist), axis=-1)
            have = np.linalg.norm(twist, axis=-1)
            share = np.where(last & (lost > 0), np.minimum(have / np.maximum(lost, 1e-300), 1.0), 1.0)
        stop = np.where(last, now - step + share * step, stop)
        middle = (twist + new) / 2.0
        turned = middle[..., 2] * step * share
        place = _moved(place, middle, step * share)
        # The floor speed stays; told in car axes it turns back as the car turns.
        c, s = np.cos(turned), np.sin(turned)
        twist = np.stack([c * new[..., 0] + s * new[..., 1], c * new[..., 1] - s * new[..., 0], new[..., 2]], -1)
        still = still_new & ~pushing
        times.append(now)
        places.append(place.copy())
        twists.append(twist.copy())
        if progress is not None and count % 50 == 0:
            progress(min(now / max(2.0 * duration, 100 * step), 0.99))
        if bool(np.all(still)):
            break
    else:
        raise AnalysisError(
            "the car does not come to rest", where="quick push", remedy="Check grip and drag: is there any friction?"
        )
    poses = np.array(places)
    c, s = np.cos(poses[..., 2]), np.sin(poses[..., 2])
    poses[..., 0] -= c * centre[..., 0] - s * centre[..., 1]
    poses[..., 1] -= s * centre[..., 0] + c * centre[..., 1]
    if progress is not None:
        progress(1.0)
    return np.array(times), poses, np.array(twists), stop


def _moved(place: FloatArray, twist: FloatArray, step: FloatArray) -> FloatArray:
    """Place of the centre of gravity and yaw after moving with a body twist (at its middle heading) for a time."""
    turn = twist[..., 2] * step
    heading = place[..., 2] + turn / 2.0
    c, s = np.cos(heading), np.sin(heading)
    out: FloatArray = np.stack(
        [
            place[..., 0] + (c * twist[..., 0] - s * twist[..., 1]) * step,
            place[..., 1] + (s * twist[..., 0] + c * twist[..., 1]) * step,
            place[..., 2] + turn,
        ],
        -1,
    )
    return out


def _finger_contact(
    ground: Ground, place: FloatArray, finger: FingerMotion, now: float, step: float
) -> tuple[FloatArray, FloatArray]:
    """Contact normal as a row on the twist (..., 3), and the least speed along it (...), m/s, not to be overrun."""
    side = finger.side
    reached = finger.distance(now)
    c, s = np.cos(place[..., 2]), np.sin(place[..., 2])
    if finger.follows == "floor":
        # The finger began at (station, face) of the car axes and touches the line y = face of the car.
        away = np.stack([finger.station - place[..., 0], finger.face + side * reached - place[..., 1]], -1)
        lever = c * away[..., 0] + s * away[..., 1]
        overrun = side * (-s * away[..., 0] + c * away[..., 1] + ground.centre[..., 1] - finger.face)
        least = overrun / step  # speed that just closes the gap by the end of the step
    else:
        lever = finger.station - ground.centre[..., 0] + np.zeros(ground.batch)
        least = np.full(ground.batch, (reached - finger.distance(now - step)) / step)
    normal = np.stack([np.zeros_like(lever), np.ones_like(lever), lever], -1) * side
    return normal, least
