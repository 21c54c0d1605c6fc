"""What brings the balance at rest where it is wanted, from what is known of this car."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.balance.aim import CarNow, Needed, WaysToBalance, balance_with_grip, ways_to_balance
from analysis.set_ups.change import PUSH_SCATTER
from analysis.set_ups.pooled import PooledBalance, pool_balances
from analysis.statistics.quantiles import NORMAL_95
from rig.base.errors import InputError
from rig.cards.identity import car_changes, changes_in_words, same_id
from rig.cards.mechanics import push_state
from rig.cards.read import CardSet
from rig.jobs.pushing.balance import ByWeights, balance_by_weights
from rig.jobs.series.answered_pushes import answers_of_clips
from rig.jobs.series.own_pushes import each_clip_once, pushes_of
from rig.jobs.weighing.weights import Weighing, weighed_car
from rig.log.store import BenchLog
from rig.lookups.moving_car import tyres_fall


@dataclass(frozen=True, slots=True, kw_only=True)
class BallastMove:
    """A mass that is on the car already. start_mm: where it lies.  end_mm: where it would have to lie, ahead of the
    rear axle.  on_car: whether that is within the body.
    """

    mass_g: float
    start_mm: float
    end_mm: Needed
    on_car: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TyreOption:
    """Tyres of another test card on this car. pct: the balance they would give.  measured: whether their grip was."""

    name: str
    pct: Needed
    measured: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """now_pct: balance gone by, % of the wheelbase, now_half its 95 % half-width, from so many pushes; 0: by weights
    and grip.  by_weights: that, in any case.  wheelbase_mm: for "half as far".  remarks: to be told first.
    """

    now_pct: float
    now_half: float
    pushes: int
    by_weights: ByWeights
    ways: WaysToBalance
    ballast: BallastMove | None
    tyres: tuple[TyreOption, ...]
    remarks: tuple[str, ...]


def aim_at(
    cards: CardSet,
    weighing: Weighing,
    log: BenchLog,
    wanted_pct: float,
    *,
    ballast: tuple[float, float] | None = None,
    tyres: Mapping[str, CardSet] | None = None,
    seed: int = 0,
) -> Aim:
    """Grams, ballast place and tyres that bring the balance to wanted_pct. Writes nothing.

    The balance gone by is that of this card's recorded pushes, without any the one by weights and grip.
    ballast: (g, mm ahead of the rear axle) of a mass that is on the car.  tyres: name here -> a test card whose grip
    is looked at.
    Raises InputError where the wanted balance is not between the axles, or tyres belong to another car.
    """
    if 0.0 < wanted_pct <= 1.0:
        raise InputError(
            f"{wanted_pct:g} would be just in front of the rear axle",
            where="--balance",
            remedy=f"Did you mean {100 * wanted_pct:g}? Give per cent of the wheelbase ahead of the rear axle",
        )
    rng = np.random.default_rng(seed)
    by_weights = balance_by_weights(weighed_car(cards, weighing), push_state(cards.car, cards.test), seed=seed)
    pushed, remarks = balance_by_pushes(cards, log)
    pct, u = (by_weights.pct, by_weights.u) if pushed is None else (pushed.pct, pushed.u)
    total = float(weighing.load.sum())
    fall, fall_u, fall_remarks = tyres_fall(cards, log)
    car = CarNow(
        balance_pct=pct,
        balance_pct_u=u,
        front_pct=100.0 * float(weighing.load[:2].sum()) / total,
        front_pct_u=weighing.weights.front_pct.half_width / NORMAL_95,
        total_g=weighing.weights.total_g.value,
        total_g_u=weighing.weights.total_g.half_width / NORMAL_95,
        sensitivity=fall,
        sensitivity_u=fall_u,
    )
    ways = ways_to_balance(car, wanted_pct, rng=rng)
    return Aim(
        now_pct=pct,
        now_half=NORMAL_95 * u,
        pushes=0 if pushed is None else pushed.count,
        by_weights=by_weights,
        ways=ways,
        ballast=None if ballast is None else _ballast_move(cards, ways.moved_g, *ballast),
        tyres=tuple(_tyre_option(cards, name, other, car, rng) for name, other in (tyres or {}).items()),
        remarks=tuple(dict.fromkeys([*weighing.remarks, *remarks, *fall_remarks])),
    )


def balance_by_pushes(cards: CardSet, log: BenchLog) -> tuple[PooledBalance | None, tuple[str, ...]]:
    """The balance point by this card's pushes, None where they do not tell it; and remarks, why among them."""
    own = pushes_of(cards, log)
    clips = each_clip_once(own.records, log)
    if not clips:
        return None, ()
    changed = car_changes(own.cards[clips[-1].id].car, cards.car)
    if changed:
        why = f"The car card has changed since its pushes ({changes_in_words(changed)}): they are not gone by here"
        return None, (why,)
    answers, _ = answers_of_clips(clips, log)
    balances = [one.balance for one in answers if one.balance is not None and one.balance.pct is not None]
    if len(balances) < len(answers):
        return None, ("Not every push of this card gives a balance point: what follows goes by weights and grip",)
    return pool_balances(balances, scatter=PUSH_SCATTER), own.remarks


def _ballast_move(cards: CardSet, moved: Needed, mass_g: float, start_mm: float) -> BallastMove:
    g = cards.car.geometry
    per_gram = g.wheelbase_mm / mass_g
    low, high = (start_mm - per_gram * grams for grams in reversed(moved.interval))
    end = start_mm - per_gram * moved.value
    return BallastMove(
        mass_g=mass_g,
        start_mm=start_mm,
        end_mm=Needed(value=end, interval=(low, high)),
        on_car=-g.body_rear_mm <= end <= g.wheelbase_mm + g.body_front_mm,
    )


def _tyre_option(cards: CardSet, name: str, other: CardSet, car: CarNow, rng: np.random.Generator) -> TyreOption:
    if not same_id(other.car, cards.car):
        raise InputError(
            f'these tyres are on another car, "{other.car.name}"',
            where=name,
            remedy="Name a test card of this car with those tyres' grip",
        )
    grip = other.test.grip
    if not grip.rear > 0:
        raise InputError("the rear tyres have no grip", where=f"{name}, grip", remedy="Measure the grip")
    pct = balance_with_grip(car, grip.front / grip.rear, grip.ratio_u, rng=rng)
    return TyreOption(name=name, pct=pct, measured=grip.measured)
