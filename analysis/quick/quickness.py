"""Was a push slow enough? Inertia against friction from the measured track, and which prediction applies."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.measured.speeds import LEAST_ON_WAY, left_rest, smooth_motion
from analysis.quick.slide import Body
from analysis.quick.step import ground_of
from analysis.sliding.contacts import Contacts

Choice = Literal["quasi-static", "dynamic", "neither applies"]

SUDDEN_ENERGY, EASED_ENERGY = 0.004, 0.17
"""Kinetic energy over friction work that keep the swing pivot within 1 % of the wheelbase of the slow push.

Computed with the dynamic slide for a blocked 1:10 car and 15 mm of travel: a sudden start at 0.03 m/s, and ramps
up to 0.2 m/s.
"""
FAR_RATIO, NEAR_RATIO = 0.06, 0.01
"""Inertia over friction with the same effect for a push at least 20 % (10 %) of the wheelbase from the balance
point. Computed as above."""
FASTEST_CHECKED = 1.0
"""m/s. The dynamic prediction has been compared with other integrators up to here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InertiaRatio:
    """Inertia against friction during one slide.

    peak, peak_u: largest of the inertia force and torque over what friction can hold, with its standard
    uncertainty.
    energy, energy_u: largest kinetic energy over the friction work of the whole slide.
    peak_speed, peak_speed_u: m/s, of the centre of gravity.
    """

    peak: float
    peak_u: float
    energy: float
    energy_u: float
    peak_speed: float
    peak_speed_u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Recommendation:
    """Which prediction a measured push may be compared with, and why, in a sentence for people."""

    choice: Choice
    reason: str


def inertia_ratio(
    time: FloatArray, pose: FloatArray, covariance: FloatArray, *, contacts: Contacts, body: Body
) -> InertiaRatio:
    """Ratio of inertia to friction from a measured track of one slide, its rests included.

    time (n,) s, pose (n, 3), covariance (n, 3, 3): as for `measure_pivot`, from shortly before the slide to shortly
    after it.  contacts, body: of one car (no leading axes).
    Raises InputError for fewer than 7 frames or a car that does not move.
    """
    ground = ground_of(contacts, body.mass, body.yaw_inertia, body.centre)
    if ground.batch != () or len(time) < 7:
        raise InputError(
            "give one car and at least 7 frames of one slide", where="quick push", remedy="Film at 30 frames or more"
        )
    motion = smooth_motion(time, pose, covariance, point=ground.centre)
    reach = np.linalg.norm(ground.rows[:, :, 2], axis=-1)  # of each contact from the centre of gravity
    hold = np.array([ground.capacity.sum()] * 2 + [(ground.capacity * reach).sum()])
    share = motion.acceleration * ground.inertia / hold
    share_u = motion.acceleration_u * ground.inertia / hold
    ratio = np.linalg.norm(share, axis=-1)
    ratio_u = np.sqrt((share**2 * share_u**2).sum(-1)) / np.maximum(ratio, 1e-12)
    own = left_rest(pose, pose[0], pose[-1], arm=float(reach.mean()))
    if own.stop - own.start >= LEAST_ON_WAY:
        motion = smooth_motion(time[own], pose[own], covariance[own], point=ground.centre)
    kinetic = 0.5 * (motion.velocity**2 * ground.inertia).sum(-1)
    kinetic_u = np.sqrt(((motion.velocity * ground.inertia * motion.velocity_u) ** 2).sum(-1))
    work = _friction_work(pose, contacts)
    moving = kinetic > 0.05 * kinetic.max()
    if work <= 0 or not moving.any():
        raise InputError("the car does not move", where="quick push", remedy="Give the frames of one slide")
    worst, fastest = int(np.argmax(ratio)), int(np.argmax(kinetic))
    return InertiaRatio(
        peak=float(ratio[worst]),
        peak_u=float(ratio_u[worst]),
        energy=float(kinetic[fastest] / work),
        energy_u=float(kinetic_u[fastest] / work),
        peak_speed=float(motion.speed[fastest]),
        peak_speed_u=float(motion.speed_u[fastest]),
    )


def _friction_work(pose: FloatArray, contacts: Contacts) -> float:
    """Least work friction can have done between the first and the last pose, J: each contact's straight way.

    A rolling wheel's way along itself is counted with its drag.
    """
    ground = ground_of(contacts, 1.0, 1.0, (0.0, 0.0))  # rows about the axes' own origin
    turn = pose[-1, 2] - pose[0, 2]
    middle = (pose[0, 2] + pose[-1, 2]) / 2.0
    c, s = np.cos(middle), np.sin(middle)
    way = pose[-1, :2] - pose[0, :2]
    displacement = np.array([c * way[0] + s * way[1], c * way[1] - s * way[0], 2.0 * np.sin(turn / 2.0)])
    slip = np.abs(ground.rows @ displacement)
    return float((ground.capacity * np.hypot(ground.drag * slip[:, 0], slip[:, 1])).sum())


def planned_speed_warning(*, speed: float, distance: float, mass: float, force: float) -> str:
    """What a push as quick as that would make of the forecast for a slow one; "" where it is slow enough.

    speed: m/s, of the finger.  distance: m, that it goes.  mass: kg, of the car.  force: N, of the slow push.
    Kinetic energy over friction work is held against the same limits as that of a measured push.
    """
    fastest = {share: np.sqrt(2.0 * share * force * distance / mass) for share in (SUDDEN_ENERGY, EASED_ENERGY)}
    if speed <= 1.5 * fastest[SUDDEN_ENERGY]:  # cards say "slow: at most 50 mm/s", at the edge of a sudden start
        return ""
    slow = f"{1e3 * fastest[SUDDEN_ENERGY]:.0f} mm/s whatever the start"
    if speed <= fastest[EASED_ENERGY]:
        return (
            f"At {1e3 * speed:.0f} mm/s inertia counts unless the finger starts and stops gently: this forecast is of "
            f"a slow push ({slow})"
        )
    return (
        f"At {1e3 * speed:.0f} mm/s inertia counts, and this forecast is of a slow push: at most {slow}, up to "
        f"{1e3 * fastest[EASED_ENERGY]:.0f} mm/s if it starts and stops gently. Slow down, or correct push.speed_mm_s"
    )


def recommend(ratio: InertiaRatio, *, distance_pct: float | None = None) -> Recommendation:
    """Which prediction applies to a push with this ratio.

    distance_pct: how far from the balance point it was pushed, per cent of the wheelbase; None counts as 10.
    Upper ends (two standard uncertainties) decide, so that a noisy track is not taken for a slow push.
    """
    energy, peak = ratio.energy + 2.0 * ratio.energy_u, ratio.peak + 2.0 * ratio.peak_u
    far = distance_pct is not None and abs(distance_pct) >= 20.0
    limit = FAR_RATIO if far else NEAR_RATIO
    speed_mm = 1e3 * ratio.peak_speed
    if energy <= SUDDEN_ENERGY:
        return Recommendation(
            choice="quasi-static", reason=f"Pushed slowly enough ({speed_mm:.0f} mm/s): inertia does not count."
        )
    if energy <= EASED_ENERGY and peak <= limit:
        return Recommendation(
            choice="quasi-static",
            reason=f"Pushed gently enough: inertia is at most {100 * peak:.1f} % of friction.",
        )
    if ratio.peak_speed > FASTEST_CHECKED:
        return Recommendation(
            choice="neither applies",
            reason=f"Pushed too quickly ({speed_mm:.0f} mm/s, the dynamic forecast is checked up to "
            f"{1e3 * FASTEST_CHECKED:.0f}): push slower.",
        )
    if ratio.energy - 2.0 * ratio.energy_u > SUDDEN_ENERGY:
        return Recommendation(
            choice="dynamic",
            reason=f"Inertia counted (up to {100 * ratio.peak:.0f} % of friction at {speed_mm:.0f} mm/s): "
            "compare with the dynamic forecast, or push slower.",
        )
    return Recommendation(
        choice="neither applies",
        reason="The track does not tell whether inertia counted: film with more frames a second, or push slower.",
    )
