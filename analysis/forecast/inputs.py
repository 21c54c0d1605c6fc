"""What a prediction starts from: the car and the push with their doubts, and draws of both.

Every doubt belongs to a named group of standard normal scores, so that a draw can be told apart into
what each group did to the result.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.base.finger import FingerName
from analysis.base.wheels import AXLES, FRONT_LESS_REAR
from analysis.sliding.contacts import AxleKind, Contacts, Law, couple_axles
from analysis.sliding.finger import Finger, LoadTransfer
from analysis.statistics.monte_carlo import square_root
from analysis.whole_push.finite import Rule
from analysis.whole_push.together import PushBatch


def _zeros(*shape: int) -> FloatArray:
    return np.zeros(shape)


@dataclass(frozen=True, slots=True, kw_only=True)
class CarState:
    """One car as it is pushed, with standard uncertainties (`_u`). Wheels FL, FR, RL, RR; car axes, m.

    wheelbase: m.  Its doubt moves the front contacts.
    contact_place: (4, 2), where the tyres touch, m.  contact_place_u: (4, 2); the two wheels of an axle err
        mirror-wise in y (camber and the ruler do the same on both sides), each on its own in x.
    load: (4,), N at rest.  load_covariance: (4, 4), N².
    grip: (4,), grip factors.  grip_common_u: of the level all four share, relative.  grip_ratio_u: of the
        front-to-rear ratio, relative.  grip_wheel_u: of each wheel on its own, relative. All log-normal.
    drag: (4,), 0 to 1 (1 blocked).  drag_u: (4,); draws are cut to 0..1.
    bearing: (4,), N at the tread, drag of bearings and gears, the same whatever the wheel carries, beside `drag`.
        bearing_u: (4,); draws are not below 0.
    along: (4,), grip along the rolling direction over `grip`, which is that across it, where a side push slides.
        along_u: (2,), front and rear; the two tyres of an axle are taken to be of one kind.
    patch: (2, 2), m, front and rear: length along the rolling direction and width of the tyres' contact patches; 0 for
        contact in points.  patch_u: (2,), of the lengths, relative (log-normal).
    heading: (4,), rad, rolling direction from the x axis (toe, steer).  heading_u: rad, each wheel alone.  steer_u:
        (2,), rad, front and rear: both wheels of the axle together.
    front_kind, rear_kind: how the wheels of an axle turn; front_held, rear_held: its motor is locked.
    front_roll_share: part of a roll moment that the front axle takes; its draws are cut to 0..1.
    sensitivity: (2,), front and rear, of 1: what a tyre loses of its grip factor per share of load above the one at
        which `grip` is its; None: nothing is said of it, grip is the same under any load.  sensitivity_u: of both
        together (one kind of rubber); draws end at 0 and MOST_SENSITIVE.  Grip that was measured is taken to be that
        under the wheels' own loads at rest, grip that was not that under a quarter of the car's weight.
    law: "cut" or "ellipse".  grip_measured: False shows "all four tyres alike" as an assumption.
    """

    wheelbase: float
    contact_place: FloatArray
    load: FloatArray
    grip: FloatArray
    drag: FloatArray
    wheelbase_u: float = 0.0
    contact_place_u: FloatArray = field(default_factory=lambda: _zeros(4, 2))
    load_covariance: FloatArray = field(default_factory=lambda: _zeros(4, 4))
    grip_common_u: float = 0.0
    grip_ratio_u: float = 0.0
    grip_wheel_u: float = 0.0
    drag_u: FloatArray = field(default_factory=lambda: _zeros(4))
    bearing: FloatArray = field(default_factory=lambda: _zeros(4))
    bearing_u: FloatArray = field(default_factory=lambda: _zeros(4))
    along: FloatArray = field(default_factory=lambda: np.ones(4))
    along_u: FloatArray = field(default_factory=lambda: _zeros(2))
    patch: FloatArray = field(default_factory=lambda: _zeros(2, 2))
    patch_u: FloatArray = field(default_factory=lambda: _zeros(2))
    heading: FloatArray = field(default_factory=lambda: _zeros(4))
    heading_u: float = 0.0
    steer_u: FloatArray = field(default_factory=lambda: _zeros(2))
    front_kind: AxleKind = "free"
    rear_kind: AxleKind = "free"
    front_held: bool = False
    rear_held: bool = False
    front_roll_share: float = 0.5
    front_roll_share_u: float = 0.0
    sensitivity: FloatArray | None = None
    sensitivity_u: float = 0.0
    law: Law = "cut"
    grip_measured: bool = True

    @property
    def grip_ratio(self) -> float:
        """Front over rear grip factor, each the mean of its two wheels."""
        return float(np.mean(self.grip[:2]) / np.mean(self.grip[2:]))


@dataclass(frozen=True, slots=True, kw_only=True)
class PushState:
    """One push, with standard uncertainties.

    station: m ahead of the rear axle.  finger_y: m left of the middle, where the finger touches (matters to
        a sticking or rubbing finger only).  side: +1 pushes towards +y (from the right), -1 towards -y.
    direction: rad, turn of the push away from square to the car, anticlockwise; for a rolling finger, which
        presses square to what it touches, that of the touched side.  direction_u: how straight the hand
        pushes; it does nothing to a rolling finger.
    height: m above the floor.  finger: "rolling" (a rolling or slippery tip), "sticking", or "rubbing"
        (with finger_friction).
    path: "fixed on car" (a notch or rail: the finger stays at its place on the car) or "fixed on floor" (the
        finger runs along a straight line and wanders along the car's side as that turns).
    fall: how much the floor falls per length ahead and to the left of the car at the start.  fall_u: of either, each on
        its own. A car that stands does not roll off: draws end where its wheels would just not hold it.
    settled: 1/m, estimated error of kappa in one step of the slide (its own error is a tenth of that where the slide
        is smooth); None: steps all of one length, as earlier forecasts had.
    """

    station: float
    side: int = 1
    station_u: float = 0.0
    finger_y: float = 0.0
    direction: float = 0.0
    direction_u: float = 0.0
    height: float = 0.0
    height_u: float = 0.0
    finger: FingerName = "rolling"
    finger_friction: float = 0.0
    finger_friction_u: float = 0.0
    path: Rule = "fixed on car"
    fall: tuple[float, float] = (0.0, 0.0)
    fall_u: float = 0.0
    settled: float | None = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn(PushBatch):
    """Draws of one car and push, ready for the solver; the leading axis is the draw. path, settled: see PushState.

    stays: the instant pivot stays where it is, so that one solution tells the whole push.
    """

    path: Rule
    stays: bool
    settled: float | None


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
    held = _held(np.minimum(car.drag * car.grip * car.load + car.bearing, car.grip * car.load), car.grip * car.load)
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


def doubt_groups(car: CarState, push: PushState) -> dict[str, int]:
    """Names of all doubts that are not zero, and how many independent scores each has."""
    rubbing = push.finger == "rubbing"
    sizes = {
        "push position": push.station_u > 0,
        "push height": push.height_u > 0,
        # A slippery tip presses square to the side it touches, however the hand moves.
        "push direction": push.finger != "rolling" and push.direction_u > 0,
        "finger friction": rubbing and push.finger_friction_u > 0,
        "corner weights": 4 * bool(np.any(car.load_covariance)),
        "grip ratio": car.grip_ratio_u > 0,
        "grip level": car.grip_common_u > 0,
        "grip of single tyres": 4 * (car.grip_wheel_u > 0),
        "contact places": 6 * bool(np.any(car.contact_place_u)),
        "wheelbase": car.wheelbase_u > 0,
        "rolling drag": 4 * bool(np.any(car.drag_u)),
        "toe": 4 * (car.heading_u > 0),
        "roll share": car.front_roll_share_u > 0,
        # last: the scores of the others are then those of a car whose tyres are sure to grip alike
        ALONG: 2 * bool(np.any(car.along_u)),
        PATCH: 2 * bool(np.any((car.patch[:, 0] > 0) & (car.patch_u > 0))),
        STEER: 2 * bool(np.any(car.steer_u) and _has_directions(car)),
        BEARING: 4 * bool(np.any(car.bearing_u)),
        SLOPE: 2 * bool(push.fall_u > 0),
        SENSITIVITY: car.sensitivity is not None and car.sensitivity_u > 0,
    }
    return {name: int(size) for name, size in sizes.items() if size}


ALONG = "grip along against across"
"""The doubt in how tyres grip along compared with across, front and rear."""

PATCH = "contact patch"
"""The doubt in the length of the tyres' contact patches, front and rear."""

STEER, BEARING, SLOPE = "steering", "bearing drag", "slope of the floor"
"""Doubts: where both wheels of an axle point; drag of bearings; how the floor falls."""

SENSITIVITY, MOST_SENSITIVE = "load sensitivity", 0.9
"""The doubt in how tyres lose grip with load, and the most of it in a draw."""

STANDS = 0.9
"""Part of what its wheels hold at most that a slope pulls at a car which stands before it is pushed."""

LEAST_ALONG = 0.05
"""Draws of grip along over grip across end here."""

PUSH_DOUBTS = ("push position", "push height", "push direction", "finger friction")
"""Doubts that are new in every push; the others belong to the car and repeat from push to push."""


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
        drag=rolling,
    )
    sensitivity: FloatArray = np.zeros((count, 4))
    if car.sensitivity is not None:
        both = np.asarray(car.sensitivity) + car.sensitivity_u * score(SENSITIVITY, 1)
        sensitivity = np.repeat(np.clip(both, 0.0, MOST_SENSITIVE), 2, axis=-1)
    bearing = np.maximum(car.bearing + car.bearing_u * score(BEARING, 4), 0.0)
    heading = car.heading + car.heading_u * score("toe", 4) + np.repeat(car.steer_u * score(STEER, 2), 2, axis=-1)
    fall = push.fall + push.fall_u * score(SLOPE, 2)
    if np.any(fall):
        most = STANDS * _held(np.minimum(rolling * grip * load + bearing, grip * load), grip * load) / load.sum(-1)
        fall = np.clip(fall, -most.T, most.T)
    contacts = Contacts(
        place=place,
        load=np.maximum(load, 0.0),
        grip=grip,
        drag=rolling,
        bearing=bearing,
        along=along,
        heading=heading,
        law=car.law,
        coupling=coupling if np.any(coupling) else None,
        sensitivity=sensitivity,
        nominal_load=np.maximum(weighed, LIGHTEST) if car.grip_measured and sensitivity.any() else None,
        fall=fall if np.any(fall) else None,
        patch=patch if np.any(car.patch[:, 0] > 0) else None,
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


def pivot_stays(push: PushState) -> bool:
    """Whether the instant pivot stays where it is during the whole push.

    On a floor whose slope is a doubt only, it is taken to: the car turns by some degrees under it, which changes that
    doubt by a tenth or so.
    """
    return push.finger == "rolling" and push.path == "fixed on car" and not any(push.fall)


def _held(roll: FloatArray, most: FloatArray) -> FloatArray:
    """(2, ...), N: the pull ahead and sideways that the wheels hold. roll, most: (..., 4), along and in all."""
    return np.stack([roll.sum(axis=-1), most.sum(axis=-1)])


def _has_directions(car: CarState) -> bool:
    """Whether it matters where the wheels point."""
    return bool(np.any(_rolling(car)) or np.any(car.along != 1.0) or np.any(car.along_u))


def _rolling(car: CarState) -> BoolArray:
    """(2,): whether the wheels of the front and the rear axle turn at all."""
    free = np.any((car.drag < 1.0).reshape(2, 2), axis=-1)
    held = [car.front_held and car.front_kind == "solid", car.rear_held and car.rear_kind == "solid"]
    return np.asarray(free & ~np.array(held), bool)


def _wrong(where: str, what: str, remedy: str) -> InputError:
    return InputError(what, where=where, remedy=remedy)
