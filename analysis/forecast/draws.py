"""Draws of car and push: standard normal scores for each group of uncertainties, and the slides that follow."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from analysis.base.arrays import FloatArray
from analysis.base.wheels import AXLES, FRONT_LESS_REAR
from analysis.forecast.inputs import (
    ALONG,
    BEARING,
    DRAG_KIND,
    LEAST_ALONG,
    MOST_SENSITIVE,
    PATCH,
    SENSITIVITY,
    SLOPE,
    STEER,
    CarState,
    PushState,
    most_pull,
    pivot_stays,
)
from analysis.sliding.contacts import Contacts, couple_axles
from analysis.sliding.finger import Finger, LoadTransfer
from analysis.statistics.monte_carlo import square_root
from analysis.whole_push.finite import Rule
from analysis.whole_push.together import PushBatch


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn(PushBatch):
    """Draws of one car and push, ready for the solver; the leading axis is the draw. path, settled: see PushState.

    stays: the instant pivot stays where it is, so that one solution tells the whole push.
    """

    path: Rule
    stays: bool
    settled: float | None


STANDS = 0.9
"""Part of what its wheels hold at most that a slope pulls at a car which stands before it is pushed."""


def draw_groups(sizes: Mapping[str, int], count: int, rng: np.random.Generator) -> dict[str, FloatArray]:
    """Independent standard normal scores (count, size) for each group."""
    return {name: rng.standard_normal((count, size)) for name, size in sizes.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Altered:
    """What n draws have otherwise than the cards say.

    log_ratio: (n,), added to the logarithm of the front-to-rear grip ratio.
    station_shift: (n,), m, added to the push station.  extra_load: (n, 4), N, added to the loads.
    drag: (n, 4), in place of the car's.
    """

    log_ratio: FloatArray | float = 0.0
    station_shift: FloatArray | float = 0.0
    extra_load: FloatArray | float = 0.0
    drag: FloatArray | None = None


UNALTERED = Altered()

LIGHTEST = 1e-3
"""N: what a wheel that hardly stands is taken to carry where its grip was measured."""


def assemble(
    car: CarState,
    push: PushState,
    scores: Mapping[str, FloatArray],
    count: int,
    altered: Altered = UNALTERED,
) -> Drawn:
    """Cars and pushes that belong to scores; a missing group stays at its best estimate.

    scores: (count, size) of each group, standard normal.  altered: what is otherwise than on the cards.
    """

    def score(name: str, size: int) -> FloatArray:
        return scores.get(name, np.zeros((count, size)))

    weighed = np.broadcast_to(car.load, (count, 4))
    if "corner weights" in scores:
        weighed = weighed + scores["corner weights"] @ square_root(car.load_covariance).T
    load = weighed + altered.extra_load
    half = 0.5 * (car.grip_ratio_u * score("grip ratio", 1) + np.reshape(altered.log_ratio, (-1, 1)))
    log_grip = car.grip_common_u * score("grip level", 1) + half * FRONT_LESS_REAR
    grip = car.grip * np.exp(log_grip + car.grip_wheel_u * score("grip of single tyres", 4))
    base_drag = car.drag if altered.drag is None else altered.drag
    rolling = np.clip(base_drag + car.drag_u * score("rolling drag", 4), 0.0, 1.0)
    place = np.tile(car.contact_place, (count, 1, 1))
    shift = score("contact places", 6)
    place[..., 0] += car.contact_place_u[:, 0] * shift[:, :4]
    for axle, (left, right) in enumerate(AXLES):
        place[:, left, 1] += car.contact_place_u[left, 1] * shift[:, 4 + axle]
        place[:, right, 1] -= car.contact_place_u[right, 1] * shift[:, 4 + axle]
    place[:, :2, 0] += car.wheelbase_u * score("wheelbase", 1)
    along = np.maximum(car.along + np.repeat(car.along_u * score(ALONG, 2), 2, axis=-1), LEAST_ALONG)
    patch = np.broadcast_to(np.repeat(car.patch, 2, axis=0), (count, 4, 2))
    if PATCH in scores:
        longer = np.exp(np.repeat(car.patch_u * scores[PATCH], 2, axis=-1))
        patch = np.stack([patch[..., 0] * longer, patch[..., 1]], axis=-1)
    coupling, rolling = couple_axles(
        front=car.front_kind,
        rear=car.rear_kind,
        front_held=car.front_held,
        rear_held=car.rear_held,
        shaft=car.shaft,
        drag=rolling,
    )
    sensitivity: FloatArray = np.zeros((count, 4))
    if car.sensitivity is not None:
        both = np.asarray(car.sensitivity) + car.sensitivity_u * score(SENSITIVITY, 1)
        sensitivity = np.repeat(np.clip(both, 0.0, MOST_SENSITIVE), 2, axis=-1)
    bearing = np.maximum(car.bearing + car.bearing_u * score(BEARING, 4), 0.0)
    if np.any(car.drag_open):
        rolling, own = _kinds_of_drag(car, rolling, grip * np.maximum(load, 0.0), score(DRAG_KIND, 2))
        bearing = bearing + own
    heading = car.heading + car.heading_u * score("toe", 4) + np.repeat(car.steer_u * score(STEER, 2), 2, axis=-1)
    fall = push.fall + push.fall_u * score(SLOPE, 2)
    if np.any(fall):
        most = STANDS * most_pull(np.minimum(rolling * grip * load + bearing, grip * load), grip * load) / load.sum(-1)
        fall = np.clip(fall, -most.T, most.T)
    contacts = Contacts(
        place=place,
        load=np.maximum(load, 0.0),
        grip=grip,
        drag=rolling,
        bearing=bearing,
        along=along,
        heading=heading,
        coupling=coupling if np.any(coupling) else None,
        sensitivity=sensitivity,
        nominal_load=np.maximum(weighed, LIGHTEST) if car.grip_measured and sensitivity.any() else None,
        fall=fall if np.any(fall) else None,
        patch=patch if np.any(car.patch[:, 0] > 0) else None,
        together=car.patches_together,
        whole=car.whole_patches,
    )
    station = push.station + push.station_u * score("push position", 1)[:, 0] + altered.station_shift
    angle = push.direction + push.direction_u * score("push direction", 1)[:, 0]
    finger = Finger(
        kind=push.finger,
        place=np.stack([station, np.broadcast_to(push.finger_y, (count,))], axis=-1),
        direction=push.side * np.stack([-np.sin(angle), np.cos(angle)], axis=-1),
        friction=np.maximum(push.finger_friction + push.finger_friction_u * score("finger friction", 1)[:, 0], 0.0),
        height=np.maximum(push.height + push.height_u * score("push height", 1)[:, 0], 0.0),
    )
    track = np.maximum(place[:, [0, 2], 1] - place[:, [1, 3], 1], 1e-6)
    between = np.maximum(place[:, :2, 0].mean(axis=-1) - place[:, 2:, 0].mean(axis=-1), 1e-6)
    transfer = LoadTransfer(
        track_front=track[:, 0],
        track_rear=track[:, 1],
        front_roll_share=np.clip(car.front_roll_share + car.front_roll_share_u * score("roll share", 1)[:, 0], 0, 1),
        wheelbase=between,
    )
    return Drawn(
        contacts=contacts,
        finger=finger,
        transfer=transfer,
        path=push.path,
        settled=push.settled,
        stays=pivot_stays(push),
        count=count,
    )


def _kinds_of_drag(
    car: CarState, drag: FloatArray, capacity: FloatArray, score: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """What of the wheels' drag grows with their load, and what does not (N), where nobody measured that.

    drag: (..., 4), in all.  capacity: (..., 4) N, grip times load at rest.  score: (..., 2), standard normal, front and
    rear; the share of bearings is even from 0 to 1, a half at the score 0. Bearings are alike on both sides of an axle,
    so theirs is what the mean wheel of it has.
    """
    share = np.repeat(ndtr(score), 2, axis=-1) * (np.repeat(car.drag_open, 2) & (drag < 1.0))
    mean = np.repeat(capacity.reshape(*capacity.shape[:-1], 2, 2).mean(axis=-1), 2, axis=-1)
    return (1.0 - share) * drag, share * drag * mean
