"""A moment of driving frozen at rest: ballast that gives the standing car that moment's loads, and what a push says."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY as G
from analysis.moving.frozen import FreeBallast, Frozen, frozen_moment, loads_with
from analysis.moving.phases import Phase, checked_phases
from analysis.moving.ranking import SEEN_POINTS
from analysis.moving.tyres import Tyres, friction_centre
from analysis.springs.chassis import stacked
from analysis.springs.equilibrium import equilibrium
from analysis.statistics.drawn import WithRange, drawn
from analysis.statistics.quantiles import NORMAL_95
from rig.base.errors import InputError
from rig.cards.measures import MM
from rig.jobs.moving.driven_car import ByPushes, DrivenCar
from rig.jobs.moving.reach import cast_of

FREEZE_DRAWS = 150


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenPhase:
    """One phase, all in per cent of the wheelbase or of the weight. phase: as asked.

    wanted: front axle's share of load in the phase.  ballast: where it goes and what is left over.  on_move: balance
    point in the phase.  at_rest: balance point of the standing car with its ballast, where a push would find it.
    sideways: what the load that moves sideways does to the balance point, points.  offered: fore and aft alone, or
    since the sideways part can be seen.
    """

    phase: Phase
    wanted: WithRange
    ballast: Frozen
    on_move: WithRange
    at_rest: WithRange
    sideways: WithRange
    offered: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Landed:
    """The balance point by pushes of the frozen car, beside where it should be. gap: points, with its 95 %."""

    by_pushes: ByPushes
    expected: WithRange
    gap: WithRange

    @property
    def agrees(self) -> bool:
        """Whether the balance lands where the region says."""
        low, high = self.gap.pair()
        return low <= 0.0 <= high


def frozen_phases(
    car: DrivenCar, phases: Sequence[Phase], *, mass_g: float, start_mm: float | None, where: str, seed: int = 0
) -> tuple[FrozenPhase, ...]:
    """Every phase of a drift frozen, in order. mass_g: ballast that one has.  start_mm: where it lies on the car, ahead
    of the rear axle; None: it is not on it.

    A phase in which the car rolls over is left out. Raises InputError for a ballast or cards that cannot be.
    """
    card = car.card
    geometry = card.geometry
    ballast = FreeBallast(
        mass=mass_g * 1e-3,
        along=(-geometry.body_rear_mm * MM, (geometry.wheelbase_mm + geometry.body_front_mm) * MM),
        across=(-geometry.body_width_mm / 2 * MM, geometry.body_width_mm / 2 * MM),
        start=None if start_mm is None else (start_mm * MM, 0.0),
    )
    cast = cast_of(card, car.load, grip=car.grip, open_to=car.open_to, where=where, seed=seed, built=FREEZE_DRAWS)
    best, tyres, worn = cast.car.chassis, cast.tyres, cast.many_tyres
    every = Tyres(
        grip=np.concatenate([[tyres.grip], worn.grip]),
        sensitivity=np.concatenate([[tyres.sensitivity], worn.sensitivity]),
        nominal=np.concatenate([[tyres.nominal], worn.nominal]),
    )
    many = stacked([best, *cast.drawn.cars])
    contact, length = best.contact_place, float(best.wheelbase)

    def pct(load: FloatArray) -> FloatArray:
        return np.asarray(100 * friction_centre(many, every, load)[..., 0] / length)

    found = []
    for phase in checked_phases(phases):
        held = equilibrium(many, phase.ax, phase.ay).load
        straight = equilibrium(many, phase.ax, 0.0).load
        if not (np.all(np.isfinite(held[0])) and np.all(np.isfinite(straight[0]))):
            continue
        side = _ranged(pct(held) - pct(straight))
        low, high = side.pair()
        turned = abs(phase.ay) > 0.02 * G
        seen = turned and abs(float(side.value)) > SEEN_POINTS and not low <= 0.0 <= high
        put = frozen_moment(car.load, held[0], contact, ballast, sideways=seen, gravity=G)
        rest = np.array([loads_with(one, contact, put, ballast, gravity=G) for one in np.asarray(many.tyre_force)])
        if np.any(rest[0] <= 0):
            raise InputError(
                f'with {mass_g:g} g there a wheel would be in the air at rest (phase "{phase.name}")',
                where="ballast",
                remedy="Use less ballast",
            )
        shares = held[..., :2].sum(-1) / held.sum(-1)
        found.append(
            FrozenPhase(
                phase=phase,
                wanted=_ranged(100 * shares),
                ballast=put,
                on_move=_ranged(pct(held)),
                at_rest=_ranged(pct(np.maximum(rest, 0.0))),
                sideways=side,
                offered=not turned or seen,
            )
        )
    return tuple(found)


def _ranged(values: FloatArray) -> WithRange:
    return drawn(values[0], values[1:])


def landed(frozen: FrozenPhase, by_pushes: ByPushes) -> Landed:
    """Whether the pushed balance of the frozen car lies where it should. Both uncertainties count, as independent."""
    low, high = frozen.at_rest.pair()
    half = float(np.hypot((high - low) / 2, NORMAL_95 * by_pushes.u))
    gap = by_pushes.pct - float(frozen.at_rest.value)
    return Landed(
        by_pushes=by_pushes,
        expected=frozen.at_rest,
        gap=replace(
            frozen.at_rest, value=np.asarray(gap), interval=np.array([gap - half, gap + half]), lost=np.asarray(0.0)
        ),
    )
