"""Cars and pushes as cards state them, by their defaults, and what such a car then really is.

The cards give nominal values only. The truth is drawn here from the doubts that the cards state for them, by its own
draws: loads, contact places, grip ratio and level, grip along and across, load sensitivity, patches, drag and its kind,
toe and steering, the floor's fall, place, height and direction of the finger, its tip's radius, the springs' share of
the roll.
"""

from dataclasses import dataclass

import msgspec
import numpy as np
from pushed_truth import TrueCars, TruePush

from analysis.base.arrays import FloatArray
from analysis.forecast.inputs import CarState, PushState
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard
from rig.cards.mechanics import car_state, push_state

LOAD_U, WEIGHT = 0.03, 1.6 * 9.80665
TURN, TRAVEL = float(np.radians(10.0)), 0.06
TIP, TIP_U = 0.008, 0.003
"""m, of a fingertip's radius, which no card states (from memory)."""
ROLLING = (
    {"wheels": "as on the car card"},
    {"front": "blocked", "wheels": "as on the car card"},
    {"rear": "blocked", "wheels": "as on the car card"},
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """One car and push by the cards. load: (4,) N, as weighed."""

    car: CarCard
    test: TestCard
    load: FloatArray

    @property
    def state(self) -> CarState:
        """The car, as forecasts take it."""
        return car_state(self.car, self.test, load=self.load, load_covariance=np.eye(4) * LOAD_U**2)

    @property
    def push(self) -> PushState:
        """The push."""
        return push_state(self.car, self.test)


def stated(rng: np.random.Generator, *, push: dict[str, object], ratio: float, share: float | None = None) -> Stated:
    """Cards of a drawn car. push: keys of the test card.  ratio: of the stated grip factors.

    share: where the finger pushes, of the wheelbase; None: anywhere, 15 % or more beside the balance of rolling cars.
    """
    front = rng.uniform(0.42, 0.58)
    load = WEIGHT / 2 * np.array([front, front, 1 - front, 1 - front]) * (1 + rng.normal(0, 0.02, 4))
    if share is None:
        ahead, behind = load[:2].sum() * ratio, load[2:].sum()
        while True:
            share = float(rng.uniform(0.05, 0.95))
            if push["wheels"] == "blocked" or abs(share - ahead / (ahead + behind)) > 0.15:
                break
    geometry = {
        "wheelbase_mm": rng.uniform(240, 280),
        "track_front_mm": rng.uniform(150, 190),
        "track_rear_mm": rng.uniform(150, 190),
    }
    test = {
        "push": {"position_pct": 100 * share, "side": str(rng.choice(["left", "right"])), **push},
        "grip": {"measured": True, "front": 0.8 * ratio**0.5, "rear": 0.8 / ratio**0.5},
    }
    return Stated(
        car=msgspec.convert({"card": "car", "name": "Drawn", "geometry": geometry}, CarCard),
        test=msgspec.convert({"card": "test", "name": "drawn", "car": "-", "bench": "-", **test}, TestCard),
        load=load,
    )


def truth_of(
    rng: np.random.Generator, cards: list[Stated], log_ratio: FloatArray | None = None
) -> tuple[TrueCars, FloatArray]:
    """The cars (n) as they are, and (n,) m of their wheelbases' middles. log_ratio: (n,) of the true grip, in place of
    what the cards state."""
    n = len(cards)

    def of(key: str) -> FloatArray:
        """(n, 2) of the cards' front and rear axles."""
        return np.array([[getattr(one.car.front, key), getattr(one.car.rear, key)] for one in cards], dtype=float)

    def wheels(axles: FloatArray) -> FloatArray:
        return np.repeat(axles, 2, axis=1)

    g = [one.car.geometry for one in cards]
    length = 1e-3 * (np.array([one.wheelbase_mm for one in g]) + rng.normal(0, [one.wheelbase_mm_u for one in g]))
    tracks = np.array([[one.track_front_mm, one.track_rear_mm] for one in g])
    tracks = 1e-3 * (tracks + rng.normal(0, [[one.track_front_mm_u, one.track_rear_mm_u] for one in g]))
    place = np.zeros((n, 4, 2))
    place[:, :2, 0] = length[:, None]
    place[..., 1] = wheels(tracks / 2) * [1, -1, 1, -1]
    said = [one.test.grip for one in cards]
    if log_ratio is None:
        log_ratio = np.log([one.front / one.rear for one in said]) + rng.normal(0, [one.ratio_u for one in said])
    level = np.sqrt([one.front * one.rear for one in said]) * np.exp(rng.normal(0, [one.level_u for one in said]))
    grip = level[:, None] * np.exp(0.5 * log_ratio[:, None] * [1, 1, -1, -1])
    along = np.array([[one.front_along, one.rear_along] for one in said])
    along = along + rng.normal(0, [[one.front_along_u, one.rear_along_u] for one in said])
    load = np.array([one.load for one in cards]) + rng.normal(0, LOAD_U, (n, 4))
    drag = np.clip(wheels(of("drag")) + wheels(of("drag_u")) * rng.standard_normal((n, 4)), 0, 1)
    bearings = wheels(rng.uniform(0, 1, (n, 2)))
    mean = wheels((grip * load).reshape(n, 2, 2).mean(-1))
    push = [one.test.push for one in cards]
    blocked = np.array(
        [["blocked" in (axle, p.wheels if axle == "as above" else "") for axle in (p.front, p.rear)] for p in push]
    )
    patch = np.zeros((n, 4, 2))
    radius = 1e-3 * np.array([one.wheel_radius_mm for one in g])
    patch[..., 0] = wheels(0.32 * radius[:, None] * np.exp(0.4 * rng.standard_normal((n, 2))))
    patch[..., 1] = 0.8 * radius[:, None]
    toe = np.radians(of("toe_deg_u")[:, :1]) * rng.standard_normal((n, 4))
    steer = wheels(np.radians(of("steer_deg_u")) * rng.standard_normal((n, 2)))
    sensitive = np.clip(0.1 + 0.1 * rng.standard_normal(n), 0, 0.9)
    roll = np.array([one.front_roll_share for one in g]) + rng.normal(0, [one.front_roll_share_u for one in g])
    cars = TrueCars(
        place=place,
        load=load,
        grip=grip,
        along=wheels(along),
        share=np.where(wheels(blocked), 1.0, (1 - bearings) * drag),
        bearing=np.where(wheels(blocked), 0.0, bearings * drag * mean),
        heading=toe + steer,
        patch=patch,
        fall=np.radians([one.floor_deg_u for one in push])[:, None] * rng.standard_normal((n, 2)),
        sensitivity=sensitive,
        roll_share=np.clip(roll, 0, 1),
        faster=np.zeros(n),
    )
    return cars, length / 2


def pushes_of(rng: np.random.Generator, cards: list[Stated]) -> TruePush:
    """The pushes (n) as they are; all with one kind of finger and path."""
    n, push = len(cards), [one.test.push for one in cards]
    lengths = 1e-3 * np.array([one.car.geometry.wheelbase_mm for one in cards])
    station = np.array([p.position_pct + p.position_pct_u * rng.standard_normal() for p in push]) / 100 * lengths
    side = np.array([1.0 if p.side == "right" else -1.0 for p in push])
    half = 0.5e-3 * np.array([one.car.geometry.body_width_mm for one in cards])
    tip = np.maximum(TIP + TIP_U * rng.standard_normal(n), 0.0)
    height = np.array([p.height_mm + p.height_mm_u * rng.standard_normal() for p in push])
    sticks, on_floor = push[0].finger == "sticking", push[0].finger_path != "stays on the car"
    return TruePush(
        station=station,
        side=side,
        height=1e-3 * np.maximum(height, 0.0),
        angle=np.radians([p.direction_deg_u * rng.standard_normal() for p in push]),
        finger_y=-side * (half + (tip if on_floor else 0.0)),
        sticks=sticks,
        on_floor=on_floor,
    )
