"""Turn per travel as a function of what is unknown, and what the doubts of a push do to it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from analysis.prediction_inputs import (
    PUSH_DOUBTS,
    CarState,
    PushState,
    assemble,
    doubt_groups,
)
from analysis.prediction_slide import DEFAULT_TURN, slide


def kappa_at(
    car: CarState,
    push: PushState,
    *,
    log_ratio: FloatArray | float = 0.0,
    station_shift: FloatArray | float = 0.0,
    extra_load: FloatArray | float = 0.0,
    drag: FloatArray | None = None,
    scores: Mapping[str, FloatArray] | None = None,
    turn: float | None = None,
) -> FloatArray:
    """kappa (n,), 1/m, of n variants of one push; arguments that are arrays have n rows and belong together.

    log_ratio: added to the logarithm of the car's front-to-rear grip ratio.  station_shift: m, added to the
    push station.  extra_load: (n, 4), N.  drag: (n, 4), in place of the car's.
    """
    given = [np.shape(log_ratio), np.shape(station_shift), np.shape(extra_load)[:1]]
    given += [] if drag is None else [drag.shape[:1]]
    sizes = [shape[0] for shape in given if shape] + [len(group) for group in (scores or {}).values()]
    count = sizes[0] if sizes else 1
    drawn = assemble(
        car,
        push,
        scores or {},
        count,
        log_ratio=log_ratio,
        station_shift=station_shift,
        extra_load=extra_load,
        drag=drag,
    )
    return slide(drawn, car.wheelbase, turn=DEFAULT_TURN if turn is None else turn).kappa


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtEffects:
    """Change of kappa per standard uncertainty, 1/m, at k places of an unknown.

    own: (k, p): doubts that are new in every push.  common: (k, q): those of the car, in the order `names`.
    """

    own: FloatArray
    common: FloatArray
    names: tuple[str, ...]


def doubt_effects(
    car: CarState,
    push: PushState,
    log_ratio: FloatArray,
    *,
    extra_load: FloatArray | float = 0.0,
    drag: FloatArray | None = None,
    turn: float | None = None,
) -> DoubtEffects:
    """Central differences over one standard uncertainty of every doubt but the grip ratio's.

    log_ratio: (k,), places.  extra_load, drag: as in `kappa_at`, (k, 4).
    """
    sizes = {name: size for name, size in doubt_groups(car, push).items() if name != "grip ratio"}
    width, places = sum(sizes.values()), len(log_ratio)
    names = tuple(f"{name} {i}" for name, size in sizes.items() for i in range(size))
    own = np.array([name.rsplit(" ", 1)[0] in PUSH_DOUBTS for name in names], dtype=bool)
    if width == 0:
        return DoubtEffects(own=np.zeros((places, 0)), common=np.zeros((places, 0)), names=())
    unit = np.concatenate([np.eye(width), -np.eye(width)])  # (2w, w)
    table = np.tile(unit, (places, 1))
    splits = np.split(table, np.cumsum(list(sizes.values()))[:-1], axis=1)
    rows = 2 * width
    kappa = kappa_at(
        car, push, log_ratio=np.repeat(log_ratio, rows), turn=turn,
        scores=dict(zip(sizes, splits, strict=True)),
        extra_load=np.repeat(extra_load, rows, axis=0) if np.ndim(extra_load) else extra_load,
        drag=None if drag is None else np.repeat(drag, rows, axis=0),
    )  # fmt: skip
    both = kappa.reshape(places, 2, width)
    effect = 0.5 * (both[:, 0] - both[:, 1])
    common = tuple(name for name, is_own in zip(names, own, strict=True) if not is_own)
    return DoubtEffects(own=effect[:, own], common=effect[:, ~own], names=common)


def balance_doubt(car: CarState, push: PushState) -> float:
    """Standard uncertainty, m, of push station less balance point, the grip ratio taken as known."""
    front = float(np.sum(car.load[:2] * car.grip[:2]) / np.sum(car.load * car.grip))
    length = car.wheelbase
    slope = np.array([1.0 - front, 1.0 - front, -front, -front]) * car.grip / np.sum(car.load * car.grip) * length
    loads = float(slope @ car.load_covariance @ slope)
    capacity = car.load * car.grip / np.sum(car.load * car.grip)
    places = float(np.sum((capacity * car.contact_place_u[:, 0]) ** 2)) + (front * car.wheelbase_u) ** 2
    tyres = float(np.sum((capacity * (np.array([1, 1, 0, 0]) - front) * length * car.grip_wheel_u) ** 2))
    return float(np.sqrt(push.station_u**2 + loads + places + tyres))
