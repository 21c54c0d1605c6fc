"""What to change so that the pivot comes to a wanted place: ballast, grip ratio, or push position."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheels import FRONT_LESS_REAR
from analysis.forecast.forecast import kind_of_test, summarise
from analysis.forecast.inputs import CarState, PushState, check_states, doubt_groups, draw_groups
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
    reached_pct: 95 % interval of the pivot to be expected after the change, per cent of the wheelbase, or
        None when no pivot can be named.  reachable: within the limits.  effort: size of the change over the
        whole range allowed, 0 to 1 (more: out of reach).  sentence: for people.
    """

    kind: ChangeKind
    unit: str
    before: float
    after: float
    after_interval: tuple[float, float]
    reached_pct: tuple[float, float] | None
    reachable: bool
    effort: float
    sentence: str


def to_reach(
    car: CarState,
    push: PushState,
    wanted_pct: float,
    *,
    rng: np.random.Generator,
    ballast: Ballast | None = None,
    limits: Limits | None = None,
    draws: int = 200,
    turn: float | None = None,
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
    for kind, before, low, high in _ranges(car, push, ballast, limits):
        # The wanted ratio is that of the tyres then on the car, so the doubt of today's ratio is no part of it.
        doubts = {name: one for name, one in scores.items() if (kind, name) != ("grip ratio", "grip ratio")}
        span = high - low
        grid = np.linspace(low - 0.5 * span, high + 0.5 * span, 41)
        if kind == "grip ratio":
            grid = np.geomspace(low * (low / high) ** 0.5, high * (high / low) ** 0.5, 41)
        best = _solve(kind, car, push, ballast, grid, kappa, turn)
        if best is None:
            continue
        spread = _spread(kind, car, push, ballast, grid, kappa, best, doubts, draws, turn)
        changed = _at(kind, car, push, ballast, np.full(draws, best))
        (after,) = kappa_of([replace(changed, scores=doubts, turn=turn)])
        reached = summarise(after, car.wheelbase).interval_pct
        reachable = low <= best <= high
        effort = abs(best - before) / span if kind != "grip ratio" else abs(np.log(best / before) / np.log(high / low))
        found.append(
            Change(
                kind=kind,
                unit="" if kind == "grip ratio" else "m",
                before=before,
                after=best,
                after_interval=spread,
                reached_pct=reached,
                reachable=reachable,
                effort=float(effort),
                sentence=_sentence(kind, car, before, best, spread, reachable, wanted_pct, ballast),
            )
        )
    return tuple(sorted(found, key=lambda one: (not one.reachable, one.effort)))


def _ranges(
    car: CarState, push: PushState, ballast: Ballast | None, limits: Limits
) -> list[tuple[ChangeKind, float, float, float]]:
    share = car.wheelbase / 100.0
    ranges: list[tuple[ChangeKind, float, float, float]] = [
        ("push station", push.station, limits.station_pct[0] * share, limits.station_pct[1] * share),
        ("grip ratio", car.grip_ratio, *limits.ratio),
    ]
    if ballast is not None:
        if not (ballast.mass > 0 and ballast.low < ballast.high):
            raise InputError("ballast needs a mass and room to move", where="ballast", remedy="Give both in kg and m")
        ranges.append(("ballast", ballast.station, ballast.low, ballast.high))
    return ranges


def _at(kind: ChangeKind, car: CarState, push: PushState, ballast: Ballast | None, value: FloatArray) -> Variants:
    """The car with one thing changed to each value (n,)."""
    if kind == "push station":
        return Variants(car=car, push=push, station_shift=value - push.station)
    if kind == "grip ratio":
        return Variants(car=car, push=push, log_ratio=np.log(value / car.grip_ratio))
    assert ballast is not None
    moved = (
        ballast.mass * STANDARD_GRAVITY * (value - ballast.station) / car.wheelbase
    )  # moment balance about the axles
    return Variants(car=car, push=push, extra_load=moved[:, None] * 0.5 * FRONT_LESS_REAR)


def _solve(
    kind: ChangeKind,
    car: CarState,
    push: PushState,
    ballast: Ballast | None,
    grid: FloatArray,
    kappa: float,
    turn: float | None,
) -> float | None:
    (predicted,) = kappa_of([replace(_at(kind, car, push, ballast, grid), turn=turn)])
    cell = _cell(predicted - kappa, grid, car, push, kind, ballast)
    if cell is None:
        return None
    for _ in range(2):
        fine = np.linspace(grid[cell], grid[cell + 1], 31)
        (predicted,) = kappa_of([replace(_at(kind, car, push, ballast, fine), turn=turn)])
        grid, cell = fine, _cell(predicted - kappa, fine, car, push, kind, ballast)
        if cell is None:
            return float(fine[15])
    return float(0.5 * (grid[cell] + grid[cell + 1]))


def _cell(
    miss: FloatArray, grid: FloatArray, car: CarState, push: PushState, kind: ChangeKind, ballast: Ballast | None
) -> int | None:
    """Cell in which the miss changes sign without a jump through infinity, nearest to what the car has now."""
    crossing = np.flatnonzero(
        (np.sign(miss[:-1]) != np.sign(miss[1:])) & (np.abs(miss[1:] - miss[:-1]) < 2.0 / car.wheelbase)
    )
    if len(crossing) == 0:
        return None
    now = {
        "push station": push.station,
        "grip ratio": car.grip_ratio,
        "ballast": ballast.station if ballast is not None else 0.0,
    }[kind]
    return int(crossing[np.argmin(np.abs(grid[crossing] - now))])


def _spread(
    kind: ChangeKind,
    car: CarState,
    push: PushState,
    ballast: Ballast | None,
    grid: FloatArray,
    kappa: float,
    best: float,
    scores: dict[str, FloatArray],
    draws: int,
    turn: float | None,
) -> tuple[float, float]:
    """95 % interval of the value that does it: the value of each draw, along the slope at the best one."""
    step = 0.02 * (grid[-1] - grid[0])
    jobs = [
        replace(_at(kind, car, push, ballast, np.full(draws, best + side * step)), scores=scores, turn=turn)
        for side in (-1.0, 1.0)
    ]
    below, above = kappa_of(jobs)
    slope = (above - below) / (2.0 * step)
    safe = np.where(np.abs(slope) > 1e-9, slope, np.nan)
    values = best + (kappa - 0.5 * (above + below)) / safe
    values = values[np.isfinite(values)]
    return coverage_interval(values) if len(values) else (best, best)


def _sentence(
    kind: ChangeKind,
    car: CarState,
    before: float,
    after: float,
    spread: tuple[float, float],
    reachable: bool,
    wanted_pct: float,
    ballast: Ballast | None,
) -> str:
    if kind == "grip ratio":
        more = "more" if after > before else "less"
        said = (
            f"Front tyres that grip {after:.2f} times as well as the rear ones (now {before:.2f}, so {more}; "
            f"95 %: {spread[0]:.2f} to {spread[1]:.2f})"
        )
    elif kind == "push station":
        pct = [100.0 * one / car.wheelbase for one in (after, *spread)]
        said = f"Push at {pct[0]:.1f} % of the wheelbase (95 %: {pct[1]:.1f} to {pct[2]:.1f})"
    else:
        assert ballast is not None
        way = "forward" if after > before else "back"
        mm = [f"{1e3 * one:.0f}" for one in (abs(after - before), after, *spread)]
        said = (
            f"Move the {1e3 * ballast.mass:.0f} g of ballast {mm[0]} mm {way}, to {mm[1]} mm ahead of the rear "
            f"axle (95 %: {mm[2]} to {mm[3]})"
        )
    limit = "" if reachable else "; that is beyond its limits"
    return f"{said} for a pivot at {wanted_pct:.0f} %{limit}"


def pivot_map(
    car: CarState, push: PushState, *, station: FloatArray, grip_ratio: FloatArray, turn: float | None = None
) -> FloatArray:
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
                turn=turn,
            )
        ]
    )
    return kappa.reshape(len(station), len(grip_ratio))
