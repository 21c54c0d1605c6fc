"""What a forecast starts from: the car and the push with their uncertainties, each in a named group."""

from dataclasses import dataclass, field

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.finger import FingerName
from analysis.sliding.contacts import AxleKind, Whole
from analysis.whole_push.finite import Rule


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
    drag_open: (2,), front and rear: nobody measured how much of `drag` is of bearings. `drag` is then what holds a
        wheel in all, at the mean of its axle's wheels at rest; any share of it may be the same under any load.
    along: (4,), grip along the rolling direction over `grip`, which is that across it, where a side push slides.
        along_u: (2,), front and rear; the two tyres of an axle are taken to be of one kind.
    patch: (2, 2), m, front and rear: length along the rolling direction and width of the tyres' contact patches; 0 for
        contact in points.  patch_u: (2,), of the lengths, relative (log-normal).
    heading: (4,), rad, rolling direction from the x axis (toe, steer).  heading_u: rad, each wheel alone.  steer_u:
        (2,), rad, front and rear: both wheels of the axle together.
    front_kind, rear_kind: how the wheels of an axle turn; front_held, rear_held: its motor is locked.
    shaft: front and rear axle are geared together and neither is blocked; of two solid axles all four wheels then turn
        at one speed. Two differentials give way to each other, so a shaft between them does nothing.
    front_roll_share: part of a roll moment that the front axle takes; its draws are cut to 0..1.
    patches_together, whole_patches: see `together` and `whole` of the solver's contacts.
    sensitivity: (2,), front and rear, of 1: what a tyre loses of its grip factor per share of load above the one at
        which `grip` is its; None: nothing is said of it, grip is the same under any load.  sensitivity_u: of both
        together (one kind of rubber); draws end at 0 and MOST_SENSITIVE.  Grip that was measured is taken to be that
        under the wheels' own loads at rest, grip that was not that under a quarter of the car's weight.
    grip_measured: False shows "all four tyres alike" as an assumption.
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
    drag_open: BoolArray = field(default_factory=lambda: np.zeros(2, dtype=bool))
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
    shaft: bool = False
    front_roll_share: float = 0.5
    front_roll_share_u: float = 0.0
    patches_together: bool = True
    whole_patches: Whole = "paced"
    sensitivity: FloatArray | None = None
    sensitivity_u: float = 0.0
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
        DRAG_KIND: 2 * bool(np.any(_rolling(car) & car.drag_open)),
    }
    return {name: int(size) for name, size in sizes.items() if size}


ALONG = "grip along against across"
"""The doubt in how tyres grip along compared with across, front and rear."""

PATCH = "contact patch"
"""The doubt in the length of the tyres' contact patches, front and rear."""

STEER, BEARING, SLOPE = "steering", "bearing drag", "slope of the floor"
"""Doubts: where both wheels of an axle point; drag of bearings; how the floor falls."""

DRAG_KIND = "kind of drag"
"""The doubt whether bearings drag or the tyres do, front and rear: the bearings' share is drawn evenly from 0 to 1."""

SENSITIVITY, MOST_SENSITIVE = "load sensitivity", 0.9
"""The doubt in how tyres lose grip with load, and the most of it in a draw."""


LEAST_ALONG = 0.05
"""Draws of grip along over grip across end here."""

PUSH_DOUBTS = ("push position", "push height", "push direction", "finger friction")
"""Doubts that are new in every push; the others belong to the car and repeat from push to push."""


def pivot_stays(push: PushState) -> bool:
    """Whether the instant pivot stays where it is during the whole push.

    On a floor whose slope is a doubt only, it is taken to: the car turns by some degrees under it, which changes that
    doubt by a tenth or so.
    """
    return push.finger == "rolling" and push.path == "fixed on car" and not any(push.fall)


def most_pull(roll: FloatArray, most: FloatArray) -> FloatArray:
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
