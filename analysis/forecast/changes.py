"""What to change so that the pivot comes to a wanted place: ballast, grip ratio, or push position."""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheels import FRONT_LESS_REAR
from analysis.forecast.draws import draw_groups
from analysis.forecast.forecast import kind_of_test
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState, doubt_groups
from analysis.forecast.variants import Variants, kappa_of
from analysis.statistics.monte_carlo import coverage_interval

ChangeKind = Literal["ballast", "grip ratio", "push station"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ballast:
    """A mass on the car that may be moved: mass in kg, station in m; it may lie from low to high (m)."""

    mass: float
    station: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How far each change may go. ratio: front over rear grip.  station_pct: push position."""

    ratio: tuple[float, float] = (0.6, 1.7)
    station_pct: tuple[float, float] = (0.0, 100.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One way to bring the pivot where it is wanted.

    kind: what is changed, from `before` to `after`; unit "m" (ballast and push stations), "" (a ratio).
    after_interval: 95 % interval of the value that does it, from the doubts on the cards.
    reachable: within the limits.  effort: size of the change over the
        whole range allowed, 0 to 1 (more: out of reach).  sentence: for people.
    """

    kind: ChangeKind
    unit: str
    before: float
    after: float
    after_interval: tuple[float, float]
    reachable: bool
    effort: float
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Adjustment(ABC):
    """One number that may be changed: its value now and its limits, and what it does to car and push."""

    kind: ClassVar[ChangeKind]
    unit: ClassVar[str] = "m"
    car: CarState
    push: PushState
    before: float
    low: float
    high: float

    def grid(self) -> FloatArray:
        """(41,) values from half the range below the limits to half of it above."""
        span = self.high - self.low
        return np.linspace(self.low - 0.5 * span, self.high + 0.5 * span, 41)

    def effort(self, value: float) -> float:
        """Size of the change to this value over the whole range allowed."""
        return abs(value - self.before) / (self.high - self.low)

    def doubts(self, scores: dict[str, FloatArray]) -> dict[str, FloatArray]:
        """Those of the cards' doubts that are still there after the change. scores: (n, size) each."""
        return scores

    @abstractmethod
    def at(self, value: FloatArray) -> Variants:
        """Car and push with this one thing changed to each value (n,)."""

    @abstractmethod
    def words(self, after: float, interval: tuple[float, float]) -> str:
        """What to do, for people. interval: 95 % of the value that does it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _PushStation(_Adjustment):
    kind = "push station"

    def at(self, value: FloatArray) -> Variants:
        return Variants(car=self.car, push=self.push, station_shift=value - self.before)

    def words(self, after: float, interval: tuple[float, float]) -> str:
        pct = [100.0 * station / self.car.wheelbase for station in (after, *interval)]
        return f"Push at {pct[0]:.1f} % of the wheelbase (95 %: {pct[1]:.1f} to {pct[2]:.1f})"


@dataclass(frozen=True, slots=True, kw_only=True)
class _GripRatio(_Adjustment):
    """Ratios are compared by their logarithms."""

    kind = "grip ratio"
    unit = ""

    def grid(self) -> FloatArray:
        low, high = self.low, self.high
        return np.geomspace(low * (low / high) ** 0.5, high * (high / low) ** 0.5, 41)

    def effort(self, value: float) -> float:
        return abs(float(np.log(value / self.before) / np.log(self.high / self.low)))

    def doubts(self, scores: dict[str, FloatArray]) -> dict[str, FloatArray]:
        # The wanted ratio is that of the tyres then on the car, so the doubt of today's ratio is no part of it.
        return {name: score for name, score in scores.items() if name != "grip ratio"}

    def at(self, value: FloatArray) -> Variants:
        return Variants(car=self.car, push=self.push, log_ratio=np.log(value / self.before))

    def words(self, after: float, interval: tuple[float, float]) -> str:
        more = "more" if after > self.before else "less"
        return (
            f"Front tyres that grip {after:.2f} times as well as the rear ones (now {self.before:.2f}, so {more}; "
            f"95 %: {interval[0]:.2f} to {interval[1]:.2f})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _BallastStation(_Adjustment):
    """mass: kg that are moved."""

    kind = "ballast"
    mass: float

    def at(self, value: FloatArray) -> Variants:
        # moment balance about the axles
        moved = self.mass * STANDARD_GRAVITY * (value - self.before) / self.car.wheelbase
        return Variants(car=self.car, push=self.push, extra_load=moved[:, None] * 0.5 * FRONT_LESS_REAR)

    def words(self, after: float, interval: tuple[float, float]) -> str:
        heading = "forward" if after > self.before else "back"
        mm = [f"{1e3 * length:.0f}" for length in (abs(after - self.before), after, *interval)]
        return (
            f"Move the {1e3 * self.mass:.0f} g of ballast {mm[0]} mm {heading}, to {mm[1]} mm ahead of the rear "
            f"axle (95 %: {mm[2]} to {mm[3]})"
        )


def to_reach(
    car: CarState,
    push: PushState,
    wanted_pct: float,
    *,
    rng: np.random.Generator,
    ballast: Ballast | None = None,
    limits: Limits | None = None,
    draws: int = 200,
) -> tuple[Change, ...]:
    """Single changes that bring the pivot to wanted_pct (per cent of the wheelbase), best first.

    Ranked: reachable before out of reach, then by the smaller effort; a change that no value of it can do is
    left out. Changes that are out of their limits are looked for a little beyond and say so.
    Raises InputError for a wanted pivot in the middle of the wheelbase (it would spin on the spot), and for
    rolling wheels, whose pivot sits on an axle whatever is changed.
    """
    check_states(car, push)
    if kind_of_test(car) == "switch":
        raise InputError(
            "rolling wheels put the pivot on an axle whatever is changed",
            where="wanted pivot",
            remedy="Block the wheels, or push on the other side of the balance point",
        )
    if not np.isfinite(wanted_pct) or abs(wanted_pct - 50.0) < 1.0:
        raise InputError(
            "no slow push makes a car pivot about its own middle",
            where="wanted pivot",
            remedy="Want a place nearer to an axle or beyond it",
        )
    limits = limits or Limits()
    kappa = 1.0 / (car.wheelbase * (0.5 - wanted_pct / 100.0))
    sizes = doubt_groups(car, push)
    scores = draw_groups(sizes, draws, rng)
    found = []
    for adjustment in _adjustments(car, push, ballast, limits):
        doubts, grid = adjustment.doubts(scores), adjustment.grid()
        best = _solve(adjustment, grid, kappa)
        if best is None:
            continue
        step = 0.02 * (grid[-1] - grid[0])
        drawn = [replace(adjustment.at(np.full(draws, value)), scores=doubts) for value in (best - step, best + step)]
        interval = _interval(kappa_of(drawn), kappa, best, step)
        reachable = adjustment.low <= best <= adjustment.high
        limit = "" if reachable else "; that is beyond its limits"
        found.append(
            Change(
                kind=adjustment.kind,
                unit=adjustment.unit,
                before=adjustment.before,
                after=best,
                after_interval=interval,
                reachable=reachable,
                effort=adjustment.effort(best),
                sentence=f"{adjustment.words(best, interval)} for a pivot at {wanted_pct:.0f} %{limit}",
            )
        )
    return tuple(sorted(found, key=lambda change: (not change.reachable, change.effort)))


def _adjustments(car: CarState, push: PushState, ballast: Ballast | None, limits: Limits) -> list[_Adjustment]:
    per_pct = car.wheelbase / 100.0
    low, high = (pct * per_pct for pct in limits.station_pct)
    found: list[_Adjustment] = [
        _PushStation(car=car, push=push, before=push.station, low=low, high=high),
        _GripRatio(car=car, push=push, before=car.grip_ratio, low=limits.ratio[0], high=limits.ratio[1]),
    ]
    if ballast is not None:
        if not (ballast.mass > 0 and ballast.low < ballast.high):
            raise InputError("ballast needs a mass and room to move", where="ballast", remedy="Give both in kg and m")
        found.append(
            _BallastStation(
                car=car, push=push, before=ballast.station, low=ballast.low, high=ballast.high, mass=ballast.mass
            )
        )
    return found


def _solve(adjustment: _Adjustment, grid: FloatArray, kappa: float) -> float | None:
    """Value at which turn per travel is kappa (1/m), looked for over the grid (n,) and twice more finely."""
    cell = _cell(adjustment, grid, kappa)
    if cell is None:
        return None
    for _ in range(2):
        grid = np.linspace(grid[cell], grid[cell + 1], 31)
        cell = _cell(adjustment, grid, kappa)
        if cell is None:
            return float(grid[15])
    return float(0.5 * (grid[cell] + grid[cell + 1]))


def _cell(adjustment: _Adjustment, grid: FloatArray, kappa: float) -> int | None:
    """Cell in which the miss changes sign without a jump through infinity, nearest to what the car has now."""
    (predicted,) = kappa_of([adjustment.at(grid)])
    miss = predicted - kappa
    steady = np.abs(miss[1:] - miss[:-1]) < 2.0 / adjustment.car.wheelbase
    crossing = np.flatnonzero((np.sign(miss[:-1]) != np.sign(miss[1:])) & steady)
    if len(crossing) == 0:
        return None
    return int(crossing[np.argmin(np.abs(grid[crossing] - adjustment.before))])


def _interval(either_side: Sequence[FloatArray], kappa: float, best: float, step: float) -> tuple[float, float]:
    """95 % interval of the value that does it: the value of each draw, along the slope at the best one.

    either_side: kappa (n,), 1/m, of the draws one step below and one step above the best value.
    """
    below, above = either_side
    slope = (above - below) / (2.0 * step)
    safe = np.where(np.abs(slope) > 1e-9, slope, np.nan)
    values = best + (kappa - 0.5 * (above + below)) / safe
    values = values[np.isfinite(values)]
    return coverage_interval(values) if len(values) else (best, best)


def pivot_map(car: CarState, push: PushState, *, station: FloatArray, grip_ratio: FloatArray) -> FloatArray:
    """kappa (len(station), len(grip_ratio)), 1/m, over push stations (m) and front-to-rear grip ratios.

    Pivot station in per cent: 100 (1/2 - 1/(kappa L)); draw kappa, which has no poles, and label it so.
    """
    check_states(car, push)
    if np.any(np.asarray(grip_ratio) <= 0):
        raise InputError("must be above zero", where="grip ratio", remedy="Give front over rear")
    places, ratios = (np.ravel(one) for one in np.meshgrid(station, grip_ratio, indexing="ij"))
    (kappa,) = kappa_of(
        [
            Variants(
                car=car,
                push=push,
                station_shift=places - push.station,
                log_ratio=np.log(ratios / car.grip_ratio),
            )
        ]
    )
    return kappa.reshape(len(station), len(grip_ratio))
