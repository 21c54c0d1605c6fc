"""The car as springs see it: masses, springs, bars, tyres, stops; one object may hold many set-ups.

Design position: the attitude in which all travels are zero, normally the car at rest at its ride height. Wheel travel
is positive in bump, roll when the left side is up, pitch when the nose is down (ISO 8855 senses about x and y).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheels import FRONT

SHAPES = {
    "wheelbase": 0,
    "track": 2,
    "sprung_mass": 0,
    "sprung_place": 3,
    "unsprung_mass": 4,
    "unsprung_height": 4,
    "roll_centre": 2,
    "spring": 4,
    "motion_ratio": 4,
    "spring_force": 4,
    "bar": 2,
    "tyre": 4,
    "tyre_force": 4,
    "bump_gap": 4,
    "bump_rate": 4,
    "droop": 4,
    "droop_rate": 4,
    "side_shift": 0,
}
"""Field -> length of its last axis, 0 for a plain number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chassis:
    """One car or many (leading axes), SI.

    wheelbase: (...) m.  track: (..., 2) m, contact places, front and rear.
    sprung_mass: (...) kg.  sprung_place: (..., 3) m, its centre: ahead of the rear axle, left of the middle, height.
    unsprung_mass: (..., 4) kg per wheel.  unsprung_height: (..., 4) m.  roll_centre: (..., 2) m above the floor.
    spring: (..., 4) N/m at the spring.  motion_ratio: (..., 4) spring travel per wheel travel.
    spring_force: (..., 4) N at the spring, in the design position (set by the collar). A coil pushes, it never pulls.
    bar: (..., 2) N/m per metre of left-right difference of wheel travel (a "rate per wheel" is twice this).
    tyre: (..., 4) N/m vertical.  tyre_force: (..., 4) N, wheel load in the design position.
    bump_gap: (..., 4) m of wheel travel up to the bump stop, inf for none.  bump_rate: (..., 4) N/m at the wheel.
    droop: (..., 4) m of wheel travel down to the limit, inf for none.  droop_rate: (..., 4) N/m at the wheel.
    side_shift: (...) m, by which the weight acts higher sideways than along: tyres that give sideways let it lean out,
    each axle with what it carries.  gravity: m/s2.
    """

    wheelbase: FloatArray
    track: FloatArray
    sprung_mass: FloatArray
    sprung_place: FloatArray
    unsprung_mass: FloatArray
    unsprung_height: FloatArray
    roll_centre: FloatArray
    spring: FloatArray
    motion_ratio: FloatArray
    spring_force: FloatArray
    bar: FloatArray
    tyre: FloatArray
    tyre_force: FloatArray
    bump_gap: FloatArray
    bump_rate: FloatArray
    droop: FloatArray
    droop_rate: FloatArray
    side_shift: FloatArray = field(default_factory=lambda: np.zeros(()))
    gravity: float = STANDARD_GRAVITY

    @property
    def shape(self) -> tuple[int, ...]:
        """Leading axes: () for one car."""
        parts = [np.shape(getattr(self, name))[: None if not last else -1] for name, last in SHAPES.items()]
        return np.broadcast_shapes(*parts)

    @property
    def wheel_rate(self) -> FloatArray:
        """(..., 4) N/m at the wheel, tyre and bar left out.  Source: spring rate times motion ratio squared."""
        return np.asarray(self.spring * np.square(self.motion_ratio), dtype=float)

    @property
    def mass(self) -> FloatArray:
        """(...) kg, whole car."""
        return np.asarray(self.sprung_mass + np.asarray(self.unsprung_mass).sum(-1), dtype=float)

    @property
    def weight(self) -> FloatArray:
        """(...) N."""
        return np.asarray(self.mass * self.gravity, dtype=float)

    @property
    def contact_place(self) -> FloatArray:
        """(..., 4, 2) m, where the tyres touch the floor, car axes."""
        half = np.asarray(self.track) / 2
        y = np.stack([half[..., 0], -half[..., 0], half[..., 1], -half[..., 1]], -1)
        front = np.asarray(self.wheelbase)[..., None] * FRONT
        return np.stack(np.broadcast_arrays(front, y), -1)

    @property
    def centre(self) -> FloatArray:
        """(..., 3) m, centre of gravity of the whole car in the design position, car axes."""
        masses = np.asarray(self.unsprung_mass)
        height = np.asarray(self.unsprung_height)
        ground = self.contact_place
        x, y, z = np.broadcast_arrays(ground[..., 0], ground[..., 1], height)
        places = np.stack([x, y, z], -1)
        moment = np.asarray(self.sprung_mass)[..., None] * self.sprung_place + (masses[..., None] * places).sum(-2)
        return np.asarray(moment / self.mass[..., None], dtype=float)


Numbers = Sequence[float] | FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A car at rest on a level floor. wheelbase: m.  track: (2,) m, contact places, front and rear.

    load: (4,) N.  height: m, centre of gravity of the whole car.  gravity: m/s2.
    """

    wheelbase: float
    track: Numbers
    load: Numbers
    height: float
    gravity: float = STANDARD_GRAVITY


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspension:
    """What carries the body, as in `Chassis`: spring (4,) N/m, motion_ratio (4,), tyre (4,) N/m, bar (2,) N/m,
    roll_centre (2,) m."""

    spring: Numbers
    motion_ratio: Numbers
    tyre: Numbers
    bar: Numbers = (0.0, 0.0)
    roll_centre: Numbers = (0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unsprung:
    """What moves with each wheel. mass: (4,) kg.  height: (4,) m."""

    mass: Numbers = (0.0, 0.0, 0.0, 0.0)
    height: Numbers = (0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stops:
    """Ends of the wheels' travel, as in `Chassis`; (4,), or a plain number for all four wheels: m and N/m.

    bump_gap, droop: m of wheel travel.  bump_rate, droop_rate: N/m at the wheel.
    """

    bump_gap: float | FloatArray = np.inf
    bump_rate: float | FloatArray = 0.0
    droop: float | FloatArray = np.inf
    droop_rate: float | FloatArray = 0.0


NO_UNSPRUNG, NO_STOPS = Unsprung(), Stops()


def car_at_rest(
    standing: Standing, suspension: Suspension, unsprung: Unsprung = NO_UNSPRUNG, stops: Stops = NO_STOPS
) -> Chassis:
    """A car that stands in its design position with these wheel loads: collars are set so that it does.

    Raises InputError naming the quantity that cannot be.
    Source: force and moment balance of the sprung part on its four supports.
    """
    gravity = standing.gravity
    load, masses, radius = (np.asarray(v, dtype=float) for v in (standing.load, unsprung.mass, unsprung.height))
    tracks, ratio = np.asarray(standing.track, dtype=float), np.asarray(suspension.motion_ratio, dtype=float)
    carried = load - masses * gravity
    if load.shape != (4,) or not np.all(np.isfinite(load)) or np.any(carried <= 0):
        raise _refuse("each wheel must carry more than its own unsprung weight at rest", "Weigh the car again")
    sprung = float(carried.sum()) / gravity
    x = standing.wheelbase * float(carried[:2].sum() / carried.sum())
    y = float(((carried[0] - carried[1]) * tracks[0] + (carried[2] - carried[3]) * tracks[1]) / 2 / carried.sum())
    h = (standing.height * float(load.sum()) / gravity - float(masses @ radius)) / sprung
    with np.errstate(divide="ignore", invalid="ignore"):
        force = np.where(ratio > 0, carried / ratio, np.nan)

    def four(value: float | FloatArray) -> FloatArray:
        return np.asarray(np.broadcast_to(np.asarray(value, dtype=float), (4,)))

    return checked(
        Chassis(
            wheelbase=np.asarray(standing.wheelbase, dtype=float),
            track=tracks,
            sprung_mass=np.asarray(sprung),
            sprung_place=np.array([x, y, h]),
            unsprung_mass=masses,
            unsprung_height=radius,
            roll_centre=np.asarray(suspension.roll_centre, dtype=float),
            spring=np.asarray(suspension.spring, dtype=float),
            motion_ratio=ratio,
            spring_force=force,
            bar=np.asarray(suspension.bar, dtype=float),
            tyre=np.asarray(suspension.tyre, dtype=float),
            tyre_force=load,
            bump_gap=four(stops.bump_gap),
            bump_rate=four(stops.bump_rate),
            droop=four(stops.droop),
            droop_rate=four(stops.droop_rate),
            gravity=gravity,
        )
    )


def checked(chassis: Chassis) -> Chassis:
    """The same chassis, or InputError that names what cannot be (a negative rate, a motion ratio of 0)."""
    for name, last in SHAPES.items():
        given = np.asarray(getattr(chassis, name), dtype=float)
        if last and (given.ndim == 0 or given.shape[-1] != last):
            raise _refuse(f"{_words(name)} needs {last} numbers, not shape {given.shape}", "Give one for each place")
        if np.isfinite(given).all():
            continue
        if np.any(np.isnan(given)) and name != "spring_force":
            raise _refuse(f"{_words(name)} holds a number that is not one", "Give finite numbers")
        if name not in ("bump_gap", "droop", "spring_force"):
            raise _refuse(f"{_words(name)} is not finite", "Give a large number for something rigid")
    positive = ("wheelbase", "track", "sprung_mass", "spring", "tyre")
    for name in positive:
        _least(chassis, name, strictly=True)
    for name in ("unsprung_mass", "unsprung_height", "bar", "bump_gap", "bump_rate", "droop", "droop_rate"):
        _least(chassis, name, strictly=False)
    ratio = np.asarray(chassis.motion_ratio)
    if np.any(ratio <= 0) or np.any(ratio > 5):
        raise _refuse(
            f"motion ratio {ratio[(ratio <= 0) | (ratio > 5)][0]:g} lets no spring work",
            "Give spring travel divided by wheel travel, usually 0.4 to 1",
        )
    if not np.all(np.isfinite(chassis.spring_force)):
        raise _refuse("spring force in the design position is not finite", "Set it from the wheel loads at rest")
    if np.any(np.asarray(chassis.sprung_place)[..., 2] <= 0):
        raise _refuse("the sprung mass lies below the floor", "Check centre of gravity and unsprung heights")
    if not (np.isfinite(chassis.gravity) and chassis.gravity > 0):
        raise _refuse("gravity must be positive", "Leave it at 9.80665 m/s2")
    return chassis


def stacked(cars: Sequence[Chassis]) -> Chassis:
    """Several set-ups in one object, along a new first axis."""
    if not cars:
        raise _refuse("no set-up was given", "Give at least one")
    parts = {
        name: np.stack(np.broadcast_arrays(*[np.asarray(getattr(car, name), dtype=float) for car in cars]))
        for name in SHAPES
    }
    return Chassis(**parts, gravity=cars[0].gravity)


def rows_of(chassis: Chassis, shape: tuple[int, ...]) -> Chassis:
    """The same cars with every field spread to (n, ...), n the product of `shape`."""
    count = int(np.prod(shape, dtype=int))
    parts: dict[str, Any] = {}
    for name, last in SHAPES.items():
        end = (last,) if last else ()
        wide = np.broadcast_to(np.asarray(getattr(chassis, name), dtype=float), shape + end)
        parts[name] = wide.reshape((count, *end))
    return replace(chassis, **parts)


def _least(chassis: Chassis, name: str, *, strictly: bool) -> None:
    given = np.asarray(getattr(chassis, name))
    bad = given <= 0 if strictly else given < 0
    if bad.any():
        worst = float(given[bad].min())
        raise _refuse(
            f"{_words(name)} {worst:g} must {'be more than 0' if strictly else 'not be negative'}",
            "Correct it on the chassis card",
        )


def _words(name: str) -> str:
    rate = {"spring": "spring rate", "tyre": "tyre rate", "bar": "bar rate", "droop": "droop travel"}
    return rate.get(name, name.replace("_", " "))


def _refuse(what: str, remedy: str) -> InputError:
    return InputError(what, where="chassis", remedy=remedy)
