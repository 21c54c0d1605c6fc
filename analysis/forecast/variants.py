"""Turn per travel as a function of what is unknown, and what the doubts of a push do to it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.wheels import FRONT
from analysis.forecast.draws import Altered, Drawn, assemble
from analysis.forecast.inputs import PUSH_DOUBTS, CarState, PushState, doubt_groups
from analysis.forecast.slide import DEFAULT_TURN, slides_together
from analysis.whole_push.finite import Until


@dataclass(frozen=True, slots=True, kw_only=True)
class Variants:
    """n variants of one push; arguments that are arrays have n rows and belong together.

    log_ratio: added to the logarithm of the car's front-to-rear grip ratio.  station_shift: m, added to the
    push station.  extra_load: (n, 4), N.  drag: (n, 4), in place of the car's.
    scores: standard normal scores of doubts, (n, size) each.  turn: rad, or None for a usual one.
    """

    car: CarState
    push: PushState
    log_ratio: FloatArray | float = 0.0
    station_shift: FloatArray | float = 0.0
    extra_load: FloatArray | float = 0.0
    drag: FloatArray | None = None
    scores: Mapping[str, FloatArray] = field(default_factory=dict)
    turn: float | None = None

    def drawn(self) -> Drawn:
        """The same, ready for the solver."""
        given = [np.shape(self.log_ratio), np.shape(self.station_shift), np.shape(self.extra_load)[:1]]
        given += [] if self.drag is None else [self.drag.shape[:1]]
        sizes = [shape[0] for shape in given if shape] + [len(group) for group in self.scores.values()]
        return assemble(
            self.car,
            self.push,
            self.scores,
            sizes[0] if sizes else 1,
            Altered(
                log_ratio=self.log_ratio, station_shift=self.station_shift, extra_load=self.extra_load, drag=self.drag
            ),
        )


def kappa_of(variants: Sequence[Variants]) -> list[FloatArray]:
    """kappa (n,), 1/m, of each set of variants of one car's pushes, solved together."""
    if not variants:
        return []
    untils = [Until(turn=DEFAULT_TURN if one.turn is None else abs(one.turn)) for one in variants]
    slides = slides_together([one.drawn() for one in variants], variants[0].car.wheelbase, untils)
    return [one.kappa for one in slides]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtEffects:
    """Change of kappa per standard uncertainty, 1/m, at k places of an unknown.

    own: (k, p): doubts that are new in every push.  common: (k, q): those of the car, in the order `names`.
    """

    own: FloatArray
    common: FloatArray
    names: tuple[str, ...]


def doubt_variants(places: Variants) -> Variants:
    """Every doubt but the grip ratio's, one standard uncertainty up and down, at each of k places."""
    sizes = _doubts(places)
    width = sum(sizes.values())
    if width == 0:
        return places
    count = len(np.atleast_1d(places.log_ratio))
    table = np.tile(np.concatenate([np.eye(width), -np.eye(width)]), (count, 1))
    splits = np.split(table, np.cumsum(list(sizes.values()))[:-1], axis=1)

    def repeated(rows: FloatArray | float) -> FloatArray | float:
        return np.repeat(rows, 2 * width, axis=0) if isinstance(rows, np.ndarray) else rows

    return replace(
        places,
        log_ratio=repeated(np.atleast_1d(places.log_ratio)),
        extra_load=repeated(places.extra_load),
        drag=None if places.drag is None else np.repeat(places.drag, 2 * width, axis=0),
        scores=dict(zip(sizes, splits, strict=True)),
    )


def doubt_effects(places: Variants, kappa: FloatArray) -> DoubtEffects:
    """Central differences from kappa of `doubt_variants(places)`."""
    sizes = _doubts(places)
    width, count = sum(sizes.values()), len(np.atleast_1d(places.log_ratio))
    names = tuple(f"{name} {i}" for name, size in sizes.items() for i in range(size))
    own = np.array([name.rsplit(" ", 1)[0] in PUSH_DOUBTS for name in names], dtype=bool)
    if width == 0:
        return DoubtEffects(own=np.zeros((count, 0)), common=np.zeros((count, 0)), names=())
    both = kappa.reshape(count, 2, width)
    effect = 0.5 * (both[:, 0] - both[:, 1])
    common = tuple(name for name, is_own in zip(names, own, strict=True) if not is_own)
    return DoubtEffects(own=effect[:, own], common=effect[:, ~own], names=common)


def _doubts(places: Variants) -> dict[str, int]:
    return {name: size for name, size in doubt_groups(places.car, places.push).items() if name != "grip ratio"}


def balance_doubt(car: CarState, push: PushState) -> float:
    """Standard uncertainty, m, of push station less balance point, the grip ratio taken as known."""
    front = float(np.sum(car.load[:2] * car.grip[:2]) / np.sum(car.load * car.grip))
    length = car.wheelbase
    slope = np.array([1.0 - front, 1.0 - front, -front, -front]) * car.grip / np.sum(car.load * car.grip) * length
    loads = float(slope @ car.load_covariance @ slope)
    capacity = car.load * car.grip / np.sum(car.load * car.grip)
    places = float(np.sum((capacity * car.contact_place_u[:, 0]) ** 2)) + (front * car.wheelbase_u) ** 2
    tyres = float(np.sum((capacity * (FRONT - front) * length * car.grip_wheel_u) ** 2))
    return float(np.sqrt(push.station_u**2 + loads + places + tyres))
