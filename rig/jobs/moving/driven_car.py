"""The car that a question of the moving car is about: its card, its weights and its grip, and where each comes from."""

import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.set_ups.pooled import PooledBalance
from analysis.statistics.quantiles import NORMAL_95
from analysis.weighing.corner_weights import newtons_from_grams, square_newtons_from_grams
from rig.base.errors import BenchError, InputError
from rig.cards.agreement import refuse_mass
from rig.cards.identity import same_id, subjects_differ
from rig.cards.keys.bench import Pads
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard, Typed
from rig.cards.left_out import sizes_not_measured
from rig.cards.read import CardSet, Choices, read_card, read_set
from rig.jobs.moving.by_tilted_pads import measured_car
from rig.jobs.moving.drawn_cars import OpenTo
from rig.jobs.weighing.kitchen_scales import read_off_scales
from rig.jobs.weighing.weights import as_pushed, typed_weighing
from rig.log.store import BenchLog
from rig.lookups.belongs import weighing_of
from rig.records.weighing import WEIGHING

ALL_ALIKE = (0.8, 0.8)
"""Grip factors front and rear of a car card alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownWeights:
    """load: (4,) N.  covariance: (4, 4) N².  remarks: to be told first."""

    load: FloatArray
    covariance: FloatArray
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ByPushes:
    """The balance point at rest by `count` pushes, % of the wheelbase; u standard."""

    pct: float
    u: float
    count: int

    @property
    def words(self) -> str:
        """Where the pushes say that it lies."""
        half = NORMAL_95 * self.u
        return f"Balance point at rest {self.pct:.1f} ± {half:.1f} % by {_times(self.count)} of this card"


@dataclass(frozen=True, slots=True, kw_only=True)
class DrivenCar:
    """A car as it is asked about. load: (4,) N at rest.  grip: factors front and rear.  open_to: what is not known of
    it beside its springs.  remarks: to be told first.  test: its test card, None: there is none.
    """

    card: CarCard
    load: FloatArray
    grip: tuple[float, float]
    open_to: OpenTo
    remarks: tuple[str, ...]
    test: TestCard | None = None


def weights_for(
    card: CarCard,
    log: BenchLog | None,
    typed: Sequence[float] | None,
    *,
    where: str,
    number: str = "",
) -> KnownWeights:
    """Typed grams, else the weighing of this car in this state in the log; and what to say of it first.

    typed: as an option gives them, read off scales that nobody described.  number: record of the weighing, as asked.
    Raises InputError when there is none.
    """
    if typed is not None:
        grams = np.asarray(typed, dtype=float)
        if not np.all(np.isfinite(grams)) or np.any(grams <= 0):
            raise InputError("each wheel must carry something", where="--weights", remedy="Give FL FR RL RR in grams")
        refuse_mass(float(grams.sum()), card.geometry.wheelbase_mm, "--weights", where)
        parts = read_off_scales(grams, Typed(), reseat_g=Pads().reseat_g)
        square = sum(part.covariance for part in parts)
        return KnownWeights(
            load=newtons_from_grams(grams), covariance=square_newtons_from_grams(np.asarray(square)), remarks=()
        )
    found = None if log is None else weighing_of(card, log, number=number)
    if found is None:
        raise InputError(
            f'there is no weighing of "{card.name}" in the log',
            where=where,
            remedy="Weigh the car first, or give --weights FL FR RL RR in grams",
        )
    result = WEIGHING.of(found.record).result
    gravity = result.gravity_m_s2
    square = np.sum([part.covariance_g2 for part in result.doubt], axis=0) if result.doubt else np.zeros((4, 4))
    return KnownWeights(
        load=newtons_from_grams(np.array(result.corner_weights_g), gravity=gravity),
        covariance=square_newtons_from_grams(square, gravity=gravity),
        remarks=found.remarks,
    )


def driven_car(
    path: Path,
    log: BenchLog | None,
    *,
    weights: Sequence[float] | None = None,
    grip: tuple[float, float] | None = None,
    weighing: str = "",
    by_pushes: ByPushes | None = None,
) -> DrivenCar:
    """The car behind a test card, as `driven_cards` tells it, or of a car card alone.

    log: may be None where weights are given.  weighing: number of its record, as asked.  Raises InputError.
    """
    if is_car_card(path):
        card = read_card(path, CarCard)
        known = weights_for(card, log, weights, where=str(path), number=weighing)
        return DrivenCar(
            card=card,
            load=known.load,
            grip=grip or ALL_ALIKE,
            open_to=OpenTo(load_covariance=known.covariance),
            remarks=(*_sizes(card), *known.remarks),
        )
    cards = read_set(path, Choices(weighing=weighing))
    return driven_cards(cards, log, path=path, weights=weights, grip=grip, by_pushes=by_pushes)


def _sizes(card: CarCard) -> tuple[str, ...]:
    """What is said where nobody measured wheelbase or tracks, which are in no ± on the move."""
    return tuple(f"{one}. No ± here holds that" for one in sizes_not_measured(card))


def driven_cards(
    cards: CardSet,
    log: BenchLog | None,
    *,
    path: Path,
    weights: Sequence[float] | None = None,
    grip: tuple[float, float] | None = None,
    by_pushes: ByPushes | None = None,
) -> DrivenCar:
    """The car of three cards, with the test card's weights, grip and pushes. path: of the test card.

    weights: grams, grip: factors front and rear, both instead of what the cards and the log say; then the pushes are
    not gone by either.  by_pushes: what this card's recorded pushes say of the balance point; None: nothing.
    Raises InputError.
    """
    weighing = cards.choices.weighing
    if cards.test.typed.weights_g is not None and not weighing and not weights:
        typed = typed_weighing(cards)
        _, _, counted = as_pushed(cards, np.array(cards.test.typed.weights_g), [])
        known = KnownWeights(load=typed.load, covariance=typed.load_covariance, remarks=(*typed.remarks, *counted))
    else:
        known = weights_for(cards.car, log, weights, where=str(path), number=weighing)
    sizes = sizes_not_measured(cards.car)
    own = [one for one in known.remarks if one not in sizes]
    card_grip, remarks = cards.test.grip, (*_sizes(cards.car), *own)
    open_to = OpenTo(load_covariance=known.covariance)
    if grip is None:
        how = "" if card_grip.measured else ", not measured"
        remarks = (*remarks, f"Grip front {card_grip.front:g}, rear {card_grip.rear:g}, from {path.name}{how}")
        open_to = OpenTo(
            load_covariance=known.covariance,
            ratio_u=card_grip.ratio_u,
            level_u=card_grip.level_u,
            own_loads=card_grip.measured,
        )
        if by_pushes is not None and weights is None:
            remarks = (
                *remarks,
                f"{by_pushes.words}: front against rear grip follows from that, its level from the card",
            )
            open_to = replace(
                open_to,
                balance=by_pushes.pct / 100,
                balance_u=by_pushes.u / 100,
                balance_by=_times(by_pushes.count),
            )
    if log is not None and weights is None:
        open_to, more = measured_car(cards, log, known.load, open_to)
        remarks = (*remarks, *more)
    return DrivenCar(
        card=cards.car,
        load=known.load,
        grip=grip or (card_grip.front, card_grip.rear),
        open_to=open_to,
        remarks=remarks,
        test=cards.test,
    )


def with_pushes_of(car: DrivenCar, other: DrivenCar) -> DrivenCar:
    """A set-up that was not pushed, its front against rear grip as the pushes of another one of this car say.

    Only where the tyres are the same; otherwise, or where it has pushes of its own, as it was: a difference between the
    two would else be that between a push and the cards' grip.
    """
    mine, others = car.open_to, other.open_to
    a, b = car.test, other.test
    if (
        mine.balance is not None
        or others.balance is None
        or a is None
        or b is None
        or not same_id(car.card, other.card)
    ):
        return car
    if car.grip != other.grip or mine.ratio_u != others.ratio_u or subjects_differ(a, b):
        return car
    reason = f"Front against rear grip of {car.card.name} follows from {others.balance_by} of {other.card.name}, too"
    open_to = replace(
        mine,
        balance=others.balance,
        balance_u=others.balance_u,
        balance_by=f"{others.balance_by} of {other.card.name}",
        balance_shift=other.load - car.load,
    )
    return replace(car, open_to=open_to, remarks=(*car.remarks, f"{reason}, the tyres being the same"))


def pushed_balance(
    cards: CardSet, log: BenchLog, look: Callable[[CardSet, BenchLog], tuple[PooledBalance | None, tuple[str, ...]]]
) -> tuple[ByPushes | None, tuple[str, ...]]:
    """What the recorded pushes of these cards say of the balance point at rest, and what to say first.

    look: finds them in the log. Without them, and whatever is wrong with them, a card still has its grip.
    """
    try:
        found, remarks = look(cards, log)
    except BenchError as error:
        return None, (f"The pushes of this card are not gone by here: {error}",)
    return (None if found is None else ByPushes(pct=found.pct, u=found.u, count=found.count)), remarks


def _times(count: int) -> str:
    return "one push" if count == 1 else f"{count} pushes"


def is_car_card(path: Path) -> bool:
    """Whether a file says so itself; one that cannot be read is explained where it is read as a test card."""
    try:
        return tomllib.loads(path.read_text("utf-8-sig")).get("card") == "car"
    except (OSError, ValueError, RecursionError):
        return False
