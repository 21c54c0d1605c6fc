"""Where the balance of a car can go on the move: its region alone, with its draws, quick enough for a moving slider."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.moving.as_measured import one_by_one
from analysis.moving.region import Reaches, Region, reachable, reaches
from analysis.moving.setup_changes import with_ballast_over, with_bars, with_height, with_springs
from analysis.moving.tyres import Tyres, tyres_like
from analysis.springs.chassis import Chassis, stacked
from analysis.statistics.drawn import WithRange, drawn
from rig.base.errors import InputError
from rig.cards.chassis import Moving, moving_car, springs_on
from rig.cards.keys.car import CarCard
from rig.jobs.moving.drawn_cars import FEW_CARS, DrawnCars, OpenTo, balanced_at, drawn_cars

CAST_DRAWS = 200
"""Draws; fewer for what takes long, whose ± is then known to about a fifth only."""
MM_PER_METRE = 1e3


@dataclass(frozen=True, slots=True, kw_only=True)
class Cast:
    """The best known car and its draws. few, few_tyres: the first of them."""

    car: Moving
    tyres: Tyres
    drawn: DrawnCars
    many: Chassis
    many_tyres: Tyres
    few: Chassis
    few_tyres: Tyres
    balance_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionRanges:
    """Extent of the region with its draws. station: (2,) m, rear and front end.  side: (2,) m.  width: (2,) m, rear and
    front.  taper: m, front less rear width.  area: m2.  lifts: share of the draws in which a wheel lifts somewhere
    within.  many: the draws themselves, for a second set-up to be held against.
    """

    station: WithRange
    side: WithRange
    width: WithRange
    taper: WithRange
    area: WithRange
    lifts: float
    many: Reaches


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """wheelbase: m.  region: of the best known car.  reach: its extent with its draws.  rest: m ahead of the rear axle,
    balance point at rest; rest_by: what says so.
    """

    wheelbase: float
    region: Region
    reach: RegionRanges
    rest: WithRange
    rest_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """A set-up that is tried without a card. springs: factors front and rear.  bars: N/mm at the wheel, front and rear,
    None: as on the card.  ballast_g at ballast_pct of the wheelbase.  height_mm: of the body, higher by so much.
    """

    springs: tuple[float, float] = (1.0, 1.0)
    bars: tuple[float | None, float | None] = (None, None)
    ballast_g: float = 0.0
    ballast_pct: float = 50.0
    height_mm: float = 0.0


AS_IT_IS = Tried()


def cast_of(
    card: CarCard,
    load: FloatArray,
    *,
    grip: tuple[float, float],
    open_to: OpenTo,
    where: str,
    seed: int,
    built: int = CAST_DRAWS,
) -> Cast:
    """The car of a card and its draws. load: (4,) N at rest.  grip: factors front and rear.  built: so many of the
    draws are made into cars; the first are the same whatever their number.
    """
    car = moving_car(card, load, where=where)
    fall, _ = open_to.fall_with_load(card)
    own = np.asarray(load, dtype=float) if open_to.own_loads else None
    tyres = tyres_like(car.chassis, front=grip[0], rear=grip[1], sensitivity=min(fall, 0.99), nominal=own)
    if open_to.balance is not None:
        shift = 0.0 if open_to.balance_shift is None else open_to.balance_shift
        tyres = balanced_at(tyres, np.asarray(load, dtype=float) + shift, open_to.balance)
    rng = np.random.default_rng(seed)
    some = drawn_cars(card, load, count=CAST_DRAWS, rng=rng, open_to=open_to, built=built)
    transfer = open_to.transfer
    if transfer is not None:
        car = replace(car, chassis=transfer.applied(car.chassis)[0])
        then = None
        if transfer.read_on is not None:
            before, carried = transfer.read_on
            rng = np.random.default_rng(seed)  # the same draws, so that what they say of both cards cancels
            old = drawn_cars(before, carried, count=CAST_DRAWS, rng=rng, open_to=open_to, built=built)
            then = stacked(old.cars)
        each = one_by_one(transfer.drawn(stacked(some.cars), seed, then))
        whole = tuple(replace(one, chassis=own) for one, own in zip(some.whole, each, strict=True))
        some = replace(some, cars=tuple(each), whole=whole)
    worn = some.tyres(tyres)
    few = Tyres(grip=worn.grip[:FEW_CARS], sensitivity=worn.sensitivity[:FEW_CARS], nominal=worn.nominal[:FEW_CARS])
    return Cast(
        car=car,
        tyres=tyres,
        drawn=some,
        many=stacked(some.cars),
        many_tyres=worn,
        few=stacked(some.cars[:FEW_CARS]),
        few_tyres=few,
        balance_by=open_to.balance_by,
    )


def reached_by(cast: Cast, tried: Tried = AS_IT_IS) -> Reached:
    """The region of a car, as it is or as it is tried, with the same draws either way.

    Raises InputError for a set-up that cannot be (more ballast off than there is, no standing at rest).
    """
    best, few = (_tried(one, cast.car.chassis, tried) for one in (cast.car.chassis, cast.few))
    region, many = reachable(best, cast.tyres), reaches(few, cast.few_tyres)
    width = region.width
    return Reached(
        wheelbase=float(best.wheelbase),
        region=region,
        reach=RegionRanges(
            station=drawn(np.array(region.station), many.station),
            side=drawn(np.array(region.side), many.side),
            width=drawn(np.array(width), many.width),
            taper=drawn(width[1] - width[0], many.width[:, 1] - many.width[:, 0]),
            area=drawn(region.area, many.area),
            lifts=float(many.lifts.mean()),
            many=many,
        ),
        rest=drawn(region.rest[0], many.rest[:, 0]),
        rest_by=cast.balance_by,
    )


def _tried(chassis: Chassis, card: Chassis, tried: Tried) -> Chassis:
    """A chassis, or many, with what is tried. card: the best known one, whose bars are meant."""
    if min(tried.springs) <= 0:
        raise InputError("a spring without a rate is none", where="springs", remedy="Give more than 0")
    out = chassis
    if tried.springs != AS_IT_IS.springs:
        out = with_springs(out, tried.springs)
    now = np.asarray(card.bar)
    wanted = np.array([b if one is None else one * MM_PER_METRE for one, b in zip(tried.bars, now, strict=True)])
    if np.any(wanted != now):
        out = with_bars(out, (wanted - now).tolist())
    if tried.height_mm:
        out = with_height(out, tried.height_mm / MM_PER_METRE)
    if tried.ballast_g:
        at = tried.ballast_pct / 100 * float(card.wheelbase)
        out = with_ballast_over(out, tried.ballast_g / 1e3, at)
    return out


def tried_values(card: CarCard, tried: Tried, *, mass: float, sprung_mass: float) -> dict[str, float]:
    """What is tried as keys of the car card. mass, sprung_mass: kg, whole and on the springs.

    Ballast is no key: the car is weighed with it. Heights as `with_height` has them.
    """
    section = springs_on(card, where=card.name)
    found: dict[str, float] = {}
    for name, axle, factor, bar in (
        ("front", section.front, tried.springs[0], tried.bars[0]),
        ("rear", section.rear, tried.springs[1], tried.bars[1]),
    ):
        if factor != 1.0:
            found[f"chassis.{name}.spring_n_per_mm"] = round(axle.spring_n_per_mm * factor, 4)
            found[f"chassis.{name}.spring_n_per_mm_u"] = round(axle.spring_n_per_mm_u * factor, 4)
        if bar is not None and bar != axle.bar_n_per_mm:
            found[f"chassis.{name}.bar_n_per_mm"] = bar
        if tried.height_mm:
            found[f"chassis.{name}.roll_centre_mm"] = round(axle.roll_centre_mm + tried.height_mm / 2, 3)
            found[f"chassis.{name}.bump_travel_mm"] = round(max(axle.bump_travel_mm + tried.height_mm, 0.0), 3)
            found[f"chassis.{name}.droop_travel_mm"] = round(max(axle.droop_travel_mm - tried.height_mm, 0.0), 3)
    if tried.height_mm:
        higher = tried.height_mm * sprung_mass / mass
        found["geometry.cg_height_mm"] = round(card.geometry.cg_height_mm + higher, 3)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionChange:
    """The other region less the first. rest, ends: (2,) points, rear and front end.  width: (2,) mm, rear and front.
    area: ratio.
    """

    rest: WithRange
    ends: WithRange
    width: WithRange
    area: WithRange


def region_change(first: Reached, other: Reached, *, shared: bool) -> RegionChange:
    """What differs. shared: both are states of one car: what is not known of it moves both alike and cancels."""
    before, after = first.reach.many, other.reach.many
    if not shared:  # two cars: any order of the draws that is not the same
        after = Reaches(**{name: getattr(after, name)[::-1] for name in Reaches.__slots__})

    def points(answer: Reached, value: FloatArray) -> FloatArray:
        return np.asarray(100.0 * value / answer.wheelbase)

    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = drawn(other.region.area / np.float64(first.region.area), after.area / before.area)
    return RegionChange(
        rest=drawn(
            points(other, other.region.rest[0]) - points(first, first.region.rest[0]),
            points(other, after.rest[:, 0]) - points(first, before.rest[:, 0]),
        ),
        ends=drawn(
            points(other, np.array(other.region.station)) - points(first, np.array(first.region.station)),
            points(other, after.station) - points(first, before.station),
        ),
        width=drawn(
            MM_PER_METRE * (np.array(other.region.width) - np.array(first.region.width)),
            MM_PER_METRE * (after.width - before.width),
        ),
        area=ratio,
    )
