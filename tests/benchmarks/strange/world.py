"""Good cards of random scale cars, as people write them, with what else is known of the car.

Cars are drawn from classes of real models (sizes and weights as kits are sold: common knowledge of the trade, no
single source), independently of any rule of the program. A push is drawn at a multiple of five per cent, or at a
place measured with a ruler that is at least a finger's width (8 mm) from an axle or exactly at it.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

Values = dict[str, Any]

CLASSES: tuple[tuple[str, tuple[float, float], tuple[float, float], tuple[float, float], float], ...] = (
    # name, wheelbase mm, weight g, track per wheelbase, height of the centre of gravity per wheelbase
    ("1:64", (40, 46), (20, 60), (0.60, 0.72), 0.19),
    ("1:28", (86, 102), (150, 200), (0.62, 0.76), 0.15),
    ("1:24", (105, 120), (130, 260), (0.58, 0.72), 0.16),
    ("1:18", (140, 165), (420, 700), (0.65, 0.85), 0.18),
    ("1:12", (185, 205), (680, 1000), (0.72, 0.86), 0.11),
    ("1:10", (248, 268), (1200, 1700), (0.58, 0.70), 0.14),
    ("1:10 crawler", (295, 330), (1900, 3400), (0.55, 0.75), 0.26),
    ("1:8", (305, 340), (2900, 4600), (0.75, 0.92), 0.16),
    ("1:14 long truck", (430, 640), (2800, 8000), (0.24, 0.40), 0.20),
    ("1:5", (510, 620), (8000, 15000), (0.60, 0.75), 0.17),
)


@dataclass
class World:
    """One car, its three cards as dotted keys, and what else speaks of it.

    in_log: the good weights were recorded before.  template: the cards hold every key, defaults and all.
    """

    kind: str
    car: Values
    bench: Values
    test: Values
    in_log: bool
    template: bool
    known: set[str] = field(default_factory=set)


def draw_world(rng: np.random.Generator) -> World:
    """A good car with a good push."""
    kind, lengths, weights, tracks, high = CLASSES[int(rng.integers(len(CLASSES)))]
    length = round(float(rng.uniform(*lengths)), 1)
    total = float(np.exp(rng.uniform(np.log(weights[0]), np.log(weights[1]))))
    front, left, cross = rng.uniform(0.30, 0.70), rng.uniform(0.47, 0.53), rng.uniform(-0.02, 0.02)
    step = 0.1 if total < 300 else 1.0
    corners = total * np.array([front * left, front * (1 - left), (1 - front) * left, (1 - front) * (1 - left)])
    corners = np.round((corners + total * cross * np.array([1, -1, -1, 1]) / 4) / step) * step
    track = [round(length * float(rng.uniform(*tracks)), 1) for _ in range(2)]
    track[1] = round(float(np.clip(track[1], 0.9 * track[0], 1.1 * track[0])), 1)
    unsure = rng.random() < 0.15
    centre = length * high * float(rng.uniform(0.8, 1.25))
    car: Values = {
        "name": f"{kind} no. {int(rng.integers(1000))}",
        "geometry.wheelbase_mm": length,
        "geometry.track_front_mm": track[0],
        "geometry.track_rear_mm": track[1],
        "geometry.cg_height_mm": round(centre, 1),
        "geometry.cg_height_mm_u": round(centre * (0.6 if unsure else 0.15), 1),
        "geometry.track_front_mm_u": round(0.01 * length, 2),
        "geometry.track_rear_mm_u": round(0.01 * length, 2),
        "front.drag": round(float(rng.uniform(0.005, 0.1)), 3),
        "rear.drag": round(float(rng.uniform(0.005, 0.1)), 3),
    }
    known = set()
    if rng.random() < 0.6:
        car["masses.total_g"] = float(np.round(corners.sum() * (1 + 0.002 * rng.standard_normal()) / step) * step)
        known.add("total")
    if rng.random() < 0.4:
        half = [track[0] / 2, -track[0] / 2, track[1] / 2, -track[1] / 2]
        ahead = np.array([length, length, 0, 0]) + rng.normal(0, 0.001 * length, 4)
        car["geometry.contacts_mm"] = [
            [round(float(x), 1), round(float(y), 1)] for x, y in zip(ahead, half, strict=True)
        ]
        known.add("contacts")
    if rng.random() < 0.6:
        car["geometry.wheel_radius_mm"] = round(length * (0.07 if "truck" in kind else 0.13), 1)
        car["plate.height_mm"] = round(centre * float(rng.uniform(1.3, 2.4)), 1)
        known.add("sizes")
    if rng.random() < 0.5:
        car["geometry.body_front_mm"] = round(length * float(rng.uniform(0.15, 0.32)), 0)
        car["geometry.body_rear_mm"] = round(length * float(rng.uniform(0.15, 0.32)), 0)
        car["geometry.body_width_mm"] = round(max(track) * float(rng.uniform(1.0, 1.25)), 0)
        known.add("body")
    if rng.random() < 0.35:
        part = round(total * float(rng.uniform(0.03, 0.15)), 1)
        car["masses.parts"] = [
            {"name": "ballast", "mass_g": part, "x_mm": round(length * float(rng.uniform(0.1, 0.95)), 0), "y_mm": 0.0}
        ]
    test = _push(rng, length, step, corners, unsure=unsure)
    bench: Values = {"name": "Workshop bench", "pads.reseat_g": round(0.002 * total, 3)}
    in_log = bool(rng.random() < 0.5)
    if in_log:
        known.add("log")
    return World(kind, car, bench, test, in_log, bool(rng.random() < 0.3), known)


def _push(rng: np.random.Generator, length: float, step: float, corners: np.ndarray, *, unsure: bool) -> Values:
    place = float(rng.integers(-6, 27) * 5)
    if rng.random() < 0.4:
        ahead = float(rng.uniform(-0.3, 1.3)) * length
        nearest = min((0.0, length), key=lambda axle: abs(ahead - axle))
        place = round(100 * (nearest if abs(ahead - nearest) < 8 else ahead) / length, 1)
    front = float(rng.uniform(0.3, 1.5))
    return {
        "name": "a push",
        "push.position_pct": place,
        "push.position_pct_u": 3.0 if unsure else 0.5,
        "push.side": str(rng.choice(["left", "right"])),
        "push.height_mm": round(max(1.5, length * float(rng.uniform(0.03, 0.08))), 1),
        "push.distance_mm": round(length * float(rng.uniform(0.15, 0.35)), 0),
        "push.speed_mm_s": float(rng.integers(10, 60)),
        "push.finger": str(rng.choice(["rolling", "rubbing"])),
        "push.finger_friction": round(float(rng.uniform(0.1, 0.6)), 2),
        "push.wheels": str(rng.choice(["blocked", "as on the car card"], p=[0.8, 0.2])),
        "grip.front": round(front, 2),
        "grip.rear": round(front * float(rng.uniform(0.75, 1.35)), 2),
        "grip.ratio_u": 0.4 if unsure else round(float(rng.uniform(0.02, 0.1)), 3),
        "grip.level_u": 0.4 if unsure else round(float(rng.uniform(0.05, 0.3)), 2),
        "typed.weights_g": [round(float(one), 1) for one in corners],
        "typed.weights_resolution_g": step,
    }


def write_world(world: World, folder: Path, texts: Mapping[str, str] | None = None) -> Path:
    """The three cards as files; answers the test card. texts: instead of some cards, what stands there."""
    folder.mkdir(parents=True, exist_ok=True)
    for kind in ("car", "bench", "test"):
        (folder / f"{kind}.toml").write_text((texts or {}).get(kind) or card(world, kind), encoding="utf-8")
    return folder / "test.toml"


def card(world: World, kind: str) -> str:
    """One card as a text, short or with every key."""
    values: Values = getattr(world, kind)
    if world.template:
        from rig.cards.template import card_text

        return card_text(kind, {"id": "abcdefgh"[::-1] if kind == "car" else "abcdefgh"} | values)
    return "".join(f"{key} = {_toml(value)}\n" for key, value in ({"card": kind} | values).items())


def _toml(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(one)}" for key, one in value.items()) + "}"
    return json.dumps(value)
