"""From cards and a weighing to what the forecast starts from: a car and a push, each with its uncertainties."""

import math
from typing import Literal

import msgspec
import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.forecast.inputs import MOST_SENSITIVE, CarState, PushState
from rig.base.errors import InputError
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import Axle, CarCard, Chassis
from rig.cards.keys.test import TestCard
from rig.cards.measures import MM, contact_place, contact_place_u, wheelbase


def car_state(car: CarCard, test: TestCard, *, load: FloatArray, load_covariance: FloatArray) -> CarState:
    """The car as it is pushed.

    load: (4,) N.  load_covariance: (4, 4) N².  The wheelbase's uncertainty moves the front
    contacts by itself, so it is taken out of that of the contact places here.
    Raises InputError for front wheels that roll and may steer (where they point during the push, nobody knows), and for
    a shaft to an axle whose wheels turn alone.
    """
    stands, held = _driveline(car, test)
    blocked = np.repeat(stands, 2)
    if test.push.steering == "free" and not blocked[0]:
        raise InputError(
            'push.steering = "free" while the front wheels roll: where they point is not known',
            where=test.name,
            remedy="Hold the steering straight, by a plugged-in servo or a clip, and push again",
        )
    drag = np.repeat([car.front.drag, car.rear.drag], 2)
    drag_u = np.repeat([car.front.drag_u, car.rear.drag_u], 2)
    # toe-in turns the left wheel to the right (clockwise, negative) and the right wheel to the left
    toe = np.radians([-car.front.toe_deg, car.front.toe_deg, -car.rear.toe_deg, car.rear.toe_deg])
    heading = toe + np.radians(np.repeat([car.front.steer_deg, car.rear.steer_deg], 2))
    # a weight hung on the tread of a wheel: grams as a scale of standard gravity shows them
    bearing, bearing_u = (
        np.where(blocked, 0.0, np.repeat(grams, 2) * 1e-3 * STANDARD_GRAVITY)
        for grams in ([car.front.drag_g or 0.0, car.rear.drag_g or 0.0], [car.front.drag_g_u, car.rear.drag_g_u])
    )
    sensitivity, sensitivity_u = load_sensitivity(car)
    patches = [contact_patch(axle, car.geometry.wheel_radius_mm) for axle in (car.front, car.rear)]
    return CarState(
        wheelbase=wheelbase(car),
        wheelbase_u=car.geometry.wheelbase_mm_u * MM,
        contact_place=contact_place(car),
        contact_place_u=contact_place_u(car),
        load=load,
        load_covariance=load_covariance,
        grip=np.repeat([test.grip.front, test.grip.rear], 2),
        grip_common_u=test.grip.level_u,
        grip_ratio_u=test.grip.ratio_u,
        grip_measured=test.grip.measured,
        along=np.repeat([test.grip.front_along, test.grip.rear_along], 2),
        along_u=np.array([test.grip.front_along_u, test.grip.rear_along_u]),
        drag=np.where(blocked, 1.0, drag),
        drag_u=np.where(blocked, 0.0, drag_u),
        patch=np.array([[length, width] for length, _, width in patches]),
        patch_u=np.array([u for _, u, _ in patches]),
        bearing=bearing,
        bearing_u=bearing_u,
        drag_open=np.array([axle.drag_g is None and not axle.drag_g_u for axle in (car.front, car.rear)]),
        heading=heading,
        heading_u=math.radians(max(car.front.toe_deg_u, car.rear.toe_deg_u)),
        steer_u=np.radians([car.front.steer_deg_u, car.rear.steer_deg_u]),
        front_kind=car.front.kind,
        rear_kind=car.rear.kind,
        front_held=held[0],
        rear_held=held[1],
        shaft=car.shaft == "coupled" and not any(stands),
        front_roll_share=car.geometry.front_roll_share,
        front_roll_share_u=car.geometry.front_roll_share_u,
        sensitivity=np.minimum(sensitivity, MOST_SENSITIVE),
        sensitivity_u=sensitivity_u,
    )


def contact_patch(axle: Axle, wheel_radius: float) -> tuple[float, float, float]:
    """Length (m), its relative standard uncertainty, and width (m) of the patch of an axle's tyres.

    wheel_radius: mm.  From memory, no source: a scale tyre stands on about a third of its wheel's radius, and is about
    0.8 radii wide; how much it gives under its load is what nobody knows unless it was measured.
    """
    width = 0.8 * wheel_radius * MM
    if axle.patch_mm is None:
        return 0.32 * wheel_radius * MM, 0.4, width
    return axle.patch_mm * MM, axle.patch_mm_u / axle.patch_mm if axle.patch_mm > 0 else 0.0, width


def _driveline(car: CarCard, test: TestCard) -> tuple[tuple[bool, bool], tuple[bool, bool]]:
    """Front and rear: whether the axle stands, and whether its differential's cage does while its wheels turn.

    A shaft hands on that one axle is blocked: a solid axle then stands, too, a differential's wheels turn oppositely.
    """
    front, rear = blocked_axles(test)
    if car.shaft == "none":
        return (front, rear), (False, False)
    for name, axle in (("front", car.front), ("rear", car.rear)):
        if axle.kind == "free":
            raise InputError(
                f'shaft = "coupled", but {name}.kind = "free": its wheels turn alone, so no shaft drives them',
                where=car.name,
                remedy=f'Give {name}.kind = "solid" or "differential", or shaft = "none"',
            )
    solid = [axle.kind == "solid" for axle in (car.front, car.rear)]
    stands = (front or (rear and solid[0]), rear or (front and solid[1]))
    return stands, (rear and not stands[0], front and not stands[1])


def load_sensitivity(car: CarCard) -> tuple[FloatArray, float]:
    """(2,), front and rear: grip that a tyre loses per share of load, and the standard uncertainty that both share.

    Where the card says nothing, 0.1 ± 0.1 (from memory, no source: rubber loses a tenth, more or less).
    """
    usual = USUAL_SENSITIVITY if car.chassis is None else _said(car.chassis)
    sensitivities = [usual if axle.load_sensitivity is None else _said(axle) for axle in (car.front, car.rear)]
    return np.array([q for q, _ in sensitivities], dtype=float), max(u for _, u in sensitivities)


def mean_load_sensitivity(car: CarCard) -> tuple[float, float]:
    """The same for all four tyres alike, as the moving car takes it."""
    each, u = load_sensitivity(car)
    return float(each.mean()), u


def without_load_sensitivity(car: CarCard) -> CarCard:
    """The card of a car whose tyres grip the same under any load, as answers of earlier versions took it."""
    front, rear = (
        msgspec.structs.replace(axle, load_sensitivity=0.0, load_sensitivity_u=0.0) for axle in (car.front, car.rear)
    )
    return msgspec.structs.replace(car, front=front, rear=rear)


def with_drag_by_load(car: CarCard) -> CarCard:
    """The card of a car whose rolling wheels drag by the load they carry, as answers of earlier versions took it."""
    front, rear = (
        msgspec.structs.replace(axle, drag_g=0.0) if axle.drag_g is None else axle for axle in (car.front, car.rear)
    )
    return msgspec.structs.replace(car, front=front, rear=rear)


USUAL_SENSITIVITY = (0.1, 0.1)


def _said(by: Axle | Chassis) -> tuple[float, float]:
    return (0.0 if by.load_sensitivity is None else by.load_sensitivity), by.load_sensitivity_u


def tyres_across(front: Axle, rear: Axle, *, softest: bool = True) -> FloatArray | None:
    """(2,) N/m of one tyre sideways; an axle that the card leaves out is like the other. None: nobody measured it.

    softest: softer than the card says by its standard uncertainty, at most by four fifths: what gives more counts more.
    """
    known = [
        None
        if (stiff := axle.tyre_across_n_per_mm) is None
        # earlier forecasts took the card at its word
        else (max(stiff - axle.tyre_across_n_per_mm_u, 0.2 * stiff) if softest else stiff)
        for axle in (front, rear)
    ]
    if known == [None, None]:
        return None
    of = [one if one is not None else other for one, other in zip(known, reversed(known), strict=True)]
    return np.array(of, dtype=float) * 1000.0


def blocked_axles(test: TestCard) -> tuple[bool, bool]:
    """Whether the front and the rear wheels are blocked during the push."""
    push = test.push
    front, rear = (push.wheels if axle == "as above" else axle for axle in (push.front, push.rear))
    return front == "blocked", rear == "blocked"


def pushed_wheels(test: TestCard) -> str:
    """The state of the wheels during the push as the card says it, axle by axle where they differ."""
    front, rear = ("blocked" if blocked else "as on the car card" for blocked in blocked_axles(test))
    return front if front == rear else f"front {front}, rear {rear}"


def push_state(car: CarCard, test: TestCard) -> PushState:
    """The push. A car touched on its right side is pushed to the left (+1)."""
    push, length = test.push, wheelbase(car)
    side = 1 if push.side == "right" else -1
    return PushState(
        station=push.position_pct / 100 * length,
        station_u=push.position_pct_u / 100 * length,
        side=side,
        finger_y=-side * car.geometry.body_width_mm / 2 * MM,
        direction_u=math.radians(push.direction_deg_u),
        height=push.height_mm * MM,
        height_u=push.height_mm_u * MM,
        finger=push.finger,
        path="fixed on car" if push.finger_path == "stays on the car" else "fixed on floor",
        finger_friction=push.finger_friction,
        finger_friction_u=push.finger_friction_u,
        fall=(math.tan(math.radians(push.floor_ahead_deg)), math.tan(math.radians(push.floor_left_deg))),
        fall_u=math.radians(push.floor_deg_u),
    )


def rolling_over_load(car: CarCard, test: TestCard, axle: Literal["front", "rear"], load: float) -> tuple[float, float]:
    """What the free wheels of an axle resist with as they roll, over the load on them: value, standard uncertainty.

    load: N on both wheels. The card tells that drag as a share of the tyres' grip, beside the bearings' own.
    """
    one, grip = (car.front, test.grip.front) if axle == "front" else (car.rear, test.grip.rear)
    bearings, bearings_u = (2 * grams * 1e-3 * STANDARD_GRAVITY / load for grams in (one.drag_g or 0.0, one.drag_g_u))
    u = math.hypot(one.drag_u * grip, one.drag * grip * test.grip.level_u, bearings_u)
    return one.drag * grip + bearings, u


def place_gravity(bench: BenchCard) -> float:
    """m/s² at the bench: normal gravity of its latitude and height, or the standard value."""
    if bench.place.latitude_deg is None:
        return STANDARD_GRAVITY
    from analysis.pads.local_gravity import normal_gravity

    return float(normal_gravity(math.radians(bench.place.latitude_deg), bench.place.height_m))
