"""First try: push the virtual car, look at it without a camera, and say how far a pin was from the pivot."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.plane import compose, invert, swing_pole, turn_per_travel
from analysis.base.signs import true_minus
from rig.base.car_words import station_words_mm
from rig.base.errors import InputError
from rig.cards.measures import MM, contact_place
from rig.cards.read import CardSet
from rig.virtual.bench import virtual_finger
from rig.virtual.dunlin import Truth
from rig.virtual.push_truth import simulate_push
from rig.virtual.pushed_car import PushedCar

FRAMES_SHOWN = 48
PLAIN_CORNER_G = 400.0
LONGEST_LOOK_S = 20.0
FARTHEST_NAMED = 30.0
"""Wheelbases from the middle; the point of a slide that turns less is not named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenPush:
    """A push of the virtual car as it really went, seen without a camera.

    poses: (n, 3) in the car axes of the start, evenly in time.  kappa: 1/m.  place: (2,) m, car axes, the point
    that stayed; not finite when the car did not turn.  station: m of the push.
    """

    poses: FloatArray
    kappa: float
    place: FloatArray
    station: float


def plain_car(cards: CardSet) -> Truth:
    """A car of the card's size that is alike all round, for a first try with nothing set up."""
    contacts = contact_place(cards.car)
    length, mass = float(np.ptp(contacts[:, 0])), 4 * PLAIN_CORNER_G * 1e-3
    corner_g = np.full(4, PLAIN_CORNER_G)
    pushed = PushedCar(
        contacts=contacts,
        loads=corner_g * 1e-3 * STANDARD_GRAVITY,
        grip=np.full(4, 0.8),
        drag=np.ones(4),
        mass=mass,
        yaw_inertia=mass * (0.37 * length) ** 2,  # as of the virtual bench's car
        cg=contacts.mean(axis=0),
        heading=np.zeros(4),
    )
    height = cards.test.push.height_mm * 1e-3
    return Truth(corner_g=corner_g, pushed=pushed, station_shift=0.0, height=height, plate_shift=np.zeros(3))


def see_push(truth: Truth, cards: CardSet) -> SeenPush:
    """Push a car and look without a camera: for the first try, in less than a second. Raises as `simulate_push`."""
    push = cards.test.push
    if push.distance_mm > LONGEST_LOOK_S * push.speed_mm_s:
        raise InputError(
            f"this push would take {push.distance_mm / push.speed_mm_s:.0f} s",
            where="test card, push.speed_mm_s",
            remedy="Push faster or less far for a first look",
        )
    length = cards.car.geometry.wheelbase_mm * 1e-3
    finger = virtual_finger(cards, truth, rest=0.1)
    # rounder friction than in a filmed push: off by at most 60 um over the push, and three times as quick
    moved = simulate_push(truth.pushed, finger, slip_floor=2e-5, rate=60.0, tolerance=1e-5)
    first, last = moved.pose[0], moved.pose[-1]
    rows = np.linspace(0, len(moved.pose) - 1, FRAMES_SHOWN).round().astype(int)
    return SeenPush(
        poses=compose(invert(first), moved.pose[rows]),
        kappa=float(turn_per_travel(first, last, length)),
        place=swing_pole(first, last),
        station=finger.station,
    )


def pin_sentence(seen: SeenPush, pin: FloatArray, length: float) -> str:
    """Where the car swung, and how far a pin was from there. pin: (2,) m, car axes.  length: m, wheelbase."""
    x = float(seen.place[0])
    if not (np.all(np.isfinite(seen.place)) and abs(x / length - 0.5) < FARTHEST_NAMED):
        return "It slid almost straight: there is no point that stayed where it was."
    away, pct = float(np.hypot(*(pin - seen.place))) / MM, 100 * x / length
    sentence = f"It swung about a point {station_words_mm(x)} ({pct:.0f} %). Your ring was {away:.0f} mm away."
    return true_minus(sentence)
