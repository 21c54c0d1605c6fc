"""Change one thing: what it does to the balance point and the pivot in a wanted phase, and to the region's edge."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.moving.phases import DRIFT, Phase, checked_phases
from analysis.moving.pivots import push_turn_per_travel
from analysis.moving.tyres import Tyres, friction_centre
from analysis.springs.chassis import Chassis, checked, stacked
from analysis.springs.equilibrium import equilibrium

BAR_SIZE = 0.15
"""Of the mean wheel rate: what one size of bar adds (common practice, no source)."""
BALLAST_SHARE = 0.02
"""Of the car's mass: ballast as people try it first, small enough that grams add up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupChange:
    """A set-up change: what people would do, and the car after it."""

    name: str
    chassis: Chassis


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupEffect:
    """What one change does. Stations in per cent of the wheelbase (of the changed car).

    balance, balance_change: balance point in the phase, %.  kappa, kappa_change: turn per travel of a side-push with
    the phase's loads, 1/m.
    rolls_over: the changed car rolls over in the phase.
    """

    name: str
    balance: float
    balance_change: float
    kappa: float
    kappa_change: float
    rolls_over: bool


def with_springs(chassis: Chassis, factor: Sequence[float], *, keep_height: bool = True) -> Chassis:
    """Springs times factor (front, rear). keep_height: collars are set so that the car stands as before."""
    each = np.repeat(np.asarray(factor, dtype=float), 2)
    force = chassis.spring_force if keep_height else chassis.spring_force * each
    return checked(replace(chassis, spring=chassis.spring * each, spring_force=np.asarray(force)))


def with_bars(chassis: Chassis, added: Sequence[float]) -> Chassis:
    """Bars stiffer by `added` (front, rear), N/m per metre of left-right difference."""
    return checked(replace(chassis, bar=np.maximum(chassis.bar + np.asarray(added, dtype=float), 0.0)))


def with_track(chassis: Chassis, added: Sequence[float]) -> Chassis:
    """Contact tracks wider by `added` (front, rear), m, motion ratios as they are."""
    return checked(replace(chassis, track=chassis.track + np.asarray(added, dtype=float)))


def with_height(chassis: Chassis, added: float) -> Chassis:
    """Ride height raised by `added`, m: the sprung mass higher, stops farther or nearer, roll centres with half of it.

    Roll centres move with the lower arms: half the change is a guess without the arms' geometry (common practice).
    """
    place = np.asarray(chassis.sprung_place) + np.array([0.0, 0.0, added])
    return checked(
        replace(
            chassis,
            sprung_place=place,
            roll_centre=chassis.roll_centre + added / 2,
            bump_gap=np.maximum(chassis.bump_gap + added, 0.0),
            droop=np.maximum(chassis.droop - added, 0.0),
        )
    )


def with_collars(chassis: Chassis, travel: FloatArray) -> Chassis:
    """The chassis with collars moved. travel: (..., 4) m at the spring, positive towards it (more preload)."""
    moved = np.asarray(travel, dtype=float)
    return replace(chassis, spring_force=np.asarray(chassis.spring_force + chassis.spring * moved))


def with_ballast(
    chassis: Chassis, mass: float, place: Sequence[float] | FloatArray, *, keep_height: bool = True
) -> Chassis:
    """Ballast of `mass`, kg, fixed to the body. place: (..., 3) m, ahead of the rear axle, left of middle, height.

    keep_height: collars are set so that the car stands level as before; otherwise it settles on its springs.
    """
    whole = np.asarray(chassis.sprung_mass + mass, dtype=float)
    if np.any(whole <= 0):
        raise InputError("more mass is taken off than there is", where="ballast", remedy="Give kilograms")
    moved = (np.asarray(chassis.sprung_mass)[..., None] * chassis.sprung_place + mass * np.asarray(place)) / whole[
        ..., None
    ]
    heavier = checked(replace(chassis, sprung_mass=whole, sprung_place=moved))
    if not keep_height:
        return heavier
    # loads of the settled car, then collars and design loads that give them in the old attitude
    load = equilibrium(heavier, leaning=False).load
    carried = load - heavier.unsprung_mass * heavier.gravity
    return checked(replace(heavier, tyre_force=load, spring_force=np.asarray(carried / heavier.motion_ratio)))


def one_bar_size(chassis: Chassis) -> float:
    """N/m per metre of left-right difference: what the next bar adds, for a car of these wheel rates."""
    return BAR_SIZE * float(chassis.wheel_rate.mean())


def with_ballast_over(chassis: Chassis, mass: float, station: float) -> Chassis:
    """A mass, kg, put low into the body on its middle line. station: m ahead of the rear axle."""
    height = 0.5 * np.asarray(chassis.sprung_place)[..., 2]
    place = np.stack(np.broadcast_arrays(station, 0.0, height), -1)
    return with_ballast(chassis, mass, place)


def usual_changes(chassis: Chassis, *, like: Chassis | None = None) -> tuple[SetupChange, ...]:
    """Changes that people try first, of a usual size (common practice): springs, bars, height, track, ballast.

    like: one set-up whose bars and mass say how large a bar and the ballast are, where `chassis` holds many (draws).
    """
    model = chassis if like is None else like
    if model.shape:
        raise InputError("one set-up at a time", where="set-up changes", remedy="Pick one")
    bar, length, ballast = one_bar_size(model), float(model.wheelbase), BALLAST_SHARE * float(model.mass)

    def one(name: str, car: Chassis) -> SetupChange:
        return SetupChange(name=name, chassis=car)

    return (
        one("front springs 20 % stiffer", with_springs(chassis, (1.2, 1.0))),
        one("front springs 20 % softer", with_springs(chassis, (0.8, 1.0))),
        one("rear springs 20 % stiffer", with_springs(chassis, (1.0, 1.2))),
        one("rear springs 20 % softer", with_springs(chassis, (1.0, 0.8))),
        one("front bar one size stiffer", with_bars(chassis, (bar, 0.0))),
        one("rear bar one size stiffer", with_bars(chassis, (0.0, bar))),
        one("ride height 1 mm up", with_height(chassis, 1e-3)),
        one("ride height 1 mm down", with_height(chassis, -1e-3)),
        one("front track 4 mm wider", with_track(chassis, (4e-3, 0.0))),
        one("rear track 4 mm wider", with_track(chassis, (0.0, 4e-3))),
        one("2 % ballast at the front axle", with_ballast_over(chassis, ballast, length)),
        one("2 % ballast at the rear axle", with_ballast_over(chassis, ballast, 0.0)),
        one("1 mm more preload front left and rear right", with_collars(chassis, np.array([1e-3, -1e-3, -1e-3, 1e-3]))),
    )


def effects(
    chassis: Chassis,
    tyres: Tyres,
    phase: Phase = DRIFT[2],
    changes: Sequence[SetupChange] | None = None,
    *,
    push_pct: float = 80.0,
) -> tuple[SetupEffect, ...]:
    """What each change does in a phase, in the order given (None: the usual changes).

    Tyres keep their grip, sensitivity and nominal load.  Raises InputError for a phase that cannot be.
    """
    tried = usual_changes(chassis) if changes is None else tuple(changes)
    found = changed(chassis, tyres, phase, tried, push_pct=push_pct)
    if bool(found.rolls_over[0]):
        raise InputError(
            "the car rolls over in this phase", where=f'phase "{phase.name}"', remedy="Ask for smaller accelerations"
        )
    station, kappa = found.balance, found.kappa
    return tuple(
        SetupEffect(
            name=one.name,
            balance=float(station[i]),
            balance_change=float(station[i] - station[0]),
            kappa=float(kappa[i]),
            kappa_change=float(kappa[i] - kappa[0]),
            rolls_over=bool(found.rolls_over[i]),
        )
        for i, one in enumerate(tried, start=1)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """The car as it is and after each of k changes, (k + 1, ...): `balance` % of each car's own wheelbase, `kappa` 1/m
    of a side-push with the phase's loads, `rolls_over`. Where it does, the figures are nan.
    """

    balance: FloatArray
    kappa: FloatArray
    rolls_over: BoolArray


def changed(
    chassis: Chassis, tyres: Tyres, phase: Phase, changes: Sequence[SetupChange], *, push_pct: float = 80.0
) -> Changed:
    """What a phase shows before and after each change, of one set-up or of many (leading axes).

    tyres: fields (4,), or with the set-ups' leading axes.  push_pct: where a finger would push, % of the wheelbase.
    """
    checked_phases([phase])
    cars = stacked([chassis, *[one.chassis for one in changes]])
    state = equilibrium(cars, phase.ax, phase.ay)
    return Changed(
        balance=100 * friction_centre(cars, tyres, state.load)[..., 0] / np.asarray(cars.wheelbase),
        kappa=push_turn_per_travel(cars, tyres, state.load, push_pct=push_pct),
        rolls_over=state.rolls_over,
    )
