"""Cars and pushes that cannot be: refused, with the quantity and what to do."""

import numpy as np

from analysis.base.errors import InputError
from analysis.forecast.inputs import LEAST_ALONG, MOST_SENSITIVE, CarState, PushState, most_pull


def check_states(car: CarState, push: PushState) -> None:
    """Raise InputError, naming the quantity, where car or push cannot be.

    The solver checks what only it can see (tipping, impossible contact data).
    """
    if not (np.isfinite(car.wheelbase) and car.wheelbase > 0):
        raise _wrong("wheelbase", "must be above zero", "Measure from axle to axle")
    for name, values, shape in (
        ("contact places", car.contact_place, (4, 2)),
        ("contact places' uncertainty", car.contact_place_u, (4, 2)),
        ("wheel loads", car.load, (4,)),
        ("loads' covariance", car.load_covariance, (4, 4)),
        ("grip factors", car.grip, (4,)),
        ("rolling drag", car.drag, (4,)),
        ("drag's uncertainty", car.drag_u, (4,)),
        ("bearing drag", car.bearing, (4,)),
        ("bearing drag's uncertainty", car.bearing_u, (4,)),
        ("kind of drag", car.drag_open, (2,)),
        ("steering's uncertainty", car.steer_u, (2,)),
        ("floor's slope", push.fall, (2,)),
        ("grip along", car.along, (4,)),
        ("grip along's uncertainty", car.along_u, (2,)),
        ("contact patches", car.patch, (2, 2)),
        ("contact patches' uncertainty", car.patch_u, (2,)),
        ("toe", car.heading, (4,)),
        ("load sensitivity", np.zeros(2) if car.sensitivity is None else car.sensitivity, (2,)),
    ):
        if np.shape(values) != shape or not np.all(np.isfinite(values)):
            raise _wrong(name, f"needs {' by '.join(map(str, shape))} finite numbers", "Give one per wheel")
    if np.any(car.load < 0) or np.sum(car.load) <= 0:
        raise _wrong("wheel loads", "cannot be negative, nor all zero", "Zero the empty pads, then weigh again")
    if np.any(car.grip < 0) or np.sum(car.grip * car.load) <= 0:
        raise _wrong("grip factors", "cannot be negative, nor leave the car without friction", "Measure the grip")
    if np.any(car.drag < 0) or np.any(car.drag > 1):
        raise _wrong("rolling drag", "must lie between 0 (rolls freely) and 1 (blocked)", "About 0.02 rolls well")
    if np.any(car.bearing < 0):
        raise _wrong("bearing drag", "cannot be negative", "Give 0 where the wheels spin freely off the floor")
    held = most_pull(np.minimum(car.drag * car.grip * car.load + car.bearing, car.grip * car.load), car.grip * car.load)
    if np.any(np.abs(push.fall) * np.sum(car.load) > held):
        raise _wrong(
            "floor's slope",
            "the car would roll or slide off by itself before anybody pushes it",
            "Measure the slope again, with the spirit level turned round as well, or block the wheels",
        )
    if np.any(car.along < LEAST_ALONG):
        raise _wrong("grip along", f"cannot be below {LEAST_ALONG}", "Give grip along over grip across, about 1")
    if car.sensitivity is not None and not np.all((car.sensitivity >= 0) & (car.sensitivity <= MOST_SENSITIVE)):
        raise _wrong("load sensitivity", f"must lie between 0 and {MOST_SENSITIVE:g}", "0.05 to 0.3 is usual")
    if np.any(car.patch < 0):
        raise _wrong("contact patches", "cannot be negative", "Give the patch's length and width, or 0 for a point")
    if not 0 <= car.front_roll_share <= 1:
        raise _wrong("front roll share", "must lie between 0 and 1", "Give 0.5 if it is unknown")
    if np.any(car.contact_place[[0, 2], 1] <= car.contact_place[[1, 3], 1]):
        raise _wrong("contact places", "the left wheels must lie left of the right ones", "y points to the left")
    doubts = {
        "wheelbase": car.wheelbase_u,
        "grip level": car.grip_common_u,
        "grip ratio": car.grip_ratio_u,
        "grip of a wheel": car.grip_wheel_u,
        "toe": car.heading_u,
        "front roll share": car.front_roll_share_u,
        "push position": push.station_u,
        "push direction": push.direction_u,
        "push height": push.height_u,
        "finger friction": push.finger_friction_u,
        "contact places": float(np.min(car.contact_place_u)),
        "rolling drag": float(np.min(car.drag_u)),
        "bearing drag": float(np.min(car.bearing_u)),
        "steering": float(np.min(car.steer_u)),
        "floor's slope": push.fall_u,
        "grip along": float(np.min(car.along_u)),
        "contact patches": float(np.min(car.patch_u)),
        "load sensitivity": car.sensitivity_u,
    }
    for name, doubt in doubts.items():
        if not (np.isfinite(doubt) and doubt >= 0):
            raise _wrong(name, "its uncertainty cannot be negative", "Give 0 only for what is exactly known")
    if push.side not in (1, -1):
        raise _wrong("push side", "must be +1 or -1", "+1 pushes towards the car's left")
    given = {
        "push position": push.station,
        "push height": push.height,
        "finger friction": push.finger_friction,
        "push direction": push.direction,
        "finger's place": push.finger_y,
    }
    for name, value in given.items():
        if not np.isfinite(value):
            raise _wrong(name, "must be a number", "Measure it")
    for name in ("push height", "finger friction"):
        if given[name] < 0:
            raise _wrong(name, "cannot be negative", "Measure it from the floor" if "height" in name else "Give 0")


def _wrong(where: str, what: str, remedy: str) -> InputError:
    return InputError(what, where=where, remedy=remedy)
