"""Random cars, and the friction power written once more from its definition, for tests of the sliding solver."""

import math
from collections.abc import Callable

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.sliding import Contacts, Finger


def power(
    twist: FloatArray,
    *,
    place: FloatArray,
    capacity: FloatArray,
    drag: FloatArray,
    heading: FloatArray,
    ellipse: FloatArray | bool = False,
) -> FloatArray:
    """Power lost in uncoupled contacts (...,): the two limit curves, straight from their definition.

    Circle cut by the drag: capacity * slip while |along| <= drag * slip, else the corner's work
    drag * |along| + sqrt(1 - drag^2) * |across|.  Ellipse: capacity * sqrt((drag * along)^2 + across^2).
    """
    vx = twist[..., None, 0] - twist[..., None, 2] * place[..., 1]
    vy = twist[..., None, 1] + twist[..., None, 2] * place[..., 0]
    along = vx * np.cos(heading) + vy * np.sin(heading)
    across = vy * np.cos(heading) - vx * np.sin(heading)
    slip = np.sqrt(along**2 + across**2)
    corner = drag * np.abs(along) + np.sqrt(1 - drag**2) * np.abs(across)
    cut = np.where(np.abs(along) <= drag * slip, slip, corner)
    each = np.where(ellipse, np.sqrt((drag * along) ** 2 + across**2), cut)
    total: FloatArray = (capacity * each).sum(axis=-1)
    return total


def power_of_one(
    place: FloatArray, capacity: FloatArray, drag: FloatArray, heading: FloatArray, ellipse: bool = False
) -> Callable[[float, float, float], float]:
    """The same for one car, as a function of vx, vy, omega in plain floats: optimisers call it often."""
    wheels = [
        (float(x), float(y), float(m), float(c), math.cos(d), math.sin(d), math.sqrt(1 - c * c))
        for (x, y), m, c, d in zip(place, capacity, drag, heading, strict=True)
    ]

    def lost(vx: float, vy: float, omega: float) -> float:
        total = 0.0
        for x, y, m, c, cos, sin, rest in wheels:
            px, py = vx - omega * y, vy + omega * x
            along, across = px * cos + py * sin, py * cos - px * sin
            if ellipse:
                total += m * math.hypot(c * along, across)
            else:
                slip = math.hypot(along, across)
                total += m * (slip if abs(along) <= c * slip else c * abs(along) + rest * abs(across))
        return total

    return lost


def random_cars(count: int, rng: np.random.Generator, *, drag: tuple[float, float] = (0.01, 1.0)) -> dict:
    """Places, loads, grips, drags (log-uniform), toe of a degree or so, push station and side of `count` cars."""
    wheelbase, track = rng.uniform(0.2, 0.3, count), rng.uniform(0.14, 0.2, count)
    place = np.zeros((count, 4, 2))
    place[:, :2, 0] = wheelbase[:, None]
    place[..., 1] = track[:, None] / 2 * np.array([1, -1, 1, -1])
    return {
        "place": place + rng.normal(0, 0.002, place.shape),
        "load": rng.uniform(2, 6, (count, 4)),
        "grip": np.repeat(rng.uniform(0.4, 1.1, (count, 2)), 2, axis=1),
        "drag": np.exp(rng.uniform(*np.log(drag), (count, 4))),
        "heading": rng.normal(0, 0.02, (count, 4)),
        "station": rng.uniform(-0.1, 1.2, count) * wheelbase,
        "wheelbase": wheelbase,
        "track": track,
    }


def contacts_of(cars: dict, *, ellipse: bool = False, **more: object) -> Contacts:
    """Contacts of random cars. ellipse: blocked, and what is their drag otherwise is grip along over grip across."""
    ground = {key: cars[key] for key in ("place", "load", "grip", "heading")}
    return Contacts(**ground, **({"along": cars["drag"]} if ellipse else {"drag": cars["drag"]}), **more)


def finger_of(cars: dict, kind: str = "rolling", **more: object) -> Finger:
    """The finger that pushes them towards the left, at the right-hand side."""
    place = np.stack([cars["station"], -0.1 + 0 * cars["station"]], axis=-1)
    return Finger(kind=kind, place=place, **more)
