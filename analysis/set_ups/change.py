"""Two set-ups, pushed once or often: did the balance point move, which way, by how much.

Source: law of propagation (JCGM 100:2008, 5.2) with what both share carried as common: a shared cause counts with the
difference of its two effects, any other with both.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.balance.results import (
    FLOOR_SCALE_CAUSE,
    PLATE_CAUSE,
    SURE_ODDS,
    BalanceChange,
    ChangeFinding,
    GripMoved,
    MeasuredBalance,
    Moved,
    WeightsMoved,
)
from analysis.base.errors import InputError
from analysis.set_ups.pooled import PooledBalance, pool_balances, scatter_of
from analysis.set_ups.weights_and_tyres import left_over
from analysis.statistics.quantiles import coverage_factor

PUSH_SCATTER = 0.5
"""Points: scatter from push to push (2 % of the front-to-rear ratio; from memory) until four repeats measure it."""

TENTH = 2.4
"""Points: what a tenth more front grip moves a balance near the middle. An interval wider than this to either side
could hide it: then nobody can tell."""

SMALL = 0.5
"""Points: below this a push shows nothing; what "more pushes" are counted for when no change was seen."""

MOST_PUSHES = 60
"""More pushes than this nobody makes."""

SAME_PLACE = 1.0
"""Points: rolling cars pushed at places further apart than this answer different questions."""


def what_changed(
    a: Sequence[MeasuredBalance],
    b: Sequence[MeasuredBalance],
    *,
    shared: Collection[str] = (),
    scatter: float = PUSH_SCATTER,
    weights: WeightsMoved | None = None,
    grip: GripMoved | None = None,
) -> BalanceChange:
    """The change from A to B.

    a, b: balances of repeats (at least one each).  shared: names of causes (`BalanceCause.name`) that all the pushes
    share, so that they cancel as far as their effects are alike; all others but the pushes' own are one for A, one
    for B.  scatter: points, from push to push.  weights, grip: what weighings and grip measurements say.
    Raises InputError without a push on either side, or for two wheelbases more than 0.1 % apart.
    """
    _check(a, b, scatter)
    if any(one.pct is None for one in (*a, *b)):
        return _without_figures(a, b)
    measured = scatter_of(a, b, scatter=scatter)
    one, two = (pool_balances(pushes, scatter=scatter, own_factor=measured.factor) for pushes in (a, b))
    difference = _difference(one, two, frozenset(shared))
    u = difference.u
    # Only the pushes' own part may rest on few repeats (Welch and Satterthwaite).
    dof = measured.dof * (u / difference.own_u) ** 4 if difference.own_u > 0 else float("inf")
    factor = coverage_factor(dof=dof)
    value, half = two.pct - one.pct, factor * u
    moved = Moved(value=value, u=u, interval=(value - half, value + half))
    finding, bound, reason, target = finding_of(moved, half)
    answer = BalanceChange(
        finding=finding,
        moved=moved,
        bound=bound,
        before=(one.pct, one.u),
        after=(two.pct, two.u),
        parts=difference.parts,
        u_without_sharing=float(np.hypot(one.u, two.u)),
        more_pushes=None
        if bound is None and not reason
        else _more_pushes(difference, (len(a), len(b)), factor, target),
        target=target,
        pushes=(len(a), len(b)),
        reason=reason,
        warnings=measured.warnings,
    )
    if weights is None:
        return answer
    left = left_over(one.pct, two.pct, moved, weights, grip, factor=factor)
    return replace(
        answer,
        explained_by_weights=left.explained,
        left_for_tyres=left.tyres,
        front_grip_up=left.front_grip_up,
        tyres_agree=left.agree,
    )


def shared_causes(
    *, same_car_card: bool, same_weighing: bool, same_tyres: bool, same_plate: bool, same_camera: bool, same_notch: bool
) -> frozenset[str]:
    """Names of the causes that two pushes share, from what stayed as it was between them.

    same_car_card: geometry not measured anew.  same_tyres: the same tyres on the same wheels.  same_plate: not taken
    off in between.  same_camera: neither camera nor floor prints moved.  same_notch: pushed in the same notch, or at
    the same mark (a bare finger beside it is still placed anew).
    """
    names: list[str] = []
    if same_car_card:
        names += ["wheelbase", "contact places", "roll share", "toe", "steering", "place of the touched side"]
    if same_weighing:
        names += ["corner weights"]
    if same_tyres:
        names += ["along/across grip of the front tyres", "along/across grip of the rear tyres"]
        names += ["grip of single tyres", "rolling drag", "bearing drag", "kind of drag", "grip level", "contact patch"]
        names += ["tyres' wind-up"]
    names += [PLATE_CAUSE] * same_plate + [FLOOR_SCALE_CAUSE, "slope of the floor"] * same_camera
    names += ["push position", "push height"] * same_notch
    return frozenset(names)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Difference:
    """own_u: points, of all that repeats average, for the pushes there are; own_each: for one push of A and of B.

    common_u: points, of the rest.  parts: (name, u).
    """

    own_u: float
    own_each: tuple[float, float]
    common_u: float
    parts: tuple[tuple[str, float], ...]

    @property
    def u(self) -> float:
        """Points, altogether."""
        return float(np.hypot(self.own_u, self.common_u))


def _difference(one: PooledBalance, two: PooledBalance, shared: frozenset[str]) -> _Difference:
    squares: dict[str, float] = {}
    for part in (one.own_parts, two.own_parts):
        for name, u in part.items():
            squares[name] = squares.get(name, 0.0) + u**2
    common = 0.0
    for key in dict.fromkeys([*one.effects, *two.effects]):  # in one order, whatever the names hash to
        first, second = one.effects.get(key, 0.0), two.effects.get(key, 0.0)
        square = (second - first) ** 2 if key[0] in shared else first**2 + second**2
        squares[key[0]] = squares.get(key[0], 0.0) + square
        common += square
    return _Difference(
        own_u=float(np.hypot(one.own_u, two.own_u)),
        own_each=(one.own_u * one.count**0.5, two.own_u * two.count**0.5),
        common_u=float(common**0.5),
        parts=tuple(sorted(((name, square**0.5) for name, square in squares.items()), key=lambda part: -part[1])),
    )


def finding_of(moved: Moved, half: float) -> tuple[ChangeFinding, float | None, str, float]:
    """The finding, its bound, why nobody can tell, and the change that more pushes are counted for (points)."""
    if moved.interval[0] > 0.0:
        return ChangeFinding.MOVED_FORWARD, None, "", SMALL
    if moved.interval[1] < 0.0:
        return ChangeFinding.MOVED_BACKWARD, None, "", SMALL
    if half > TENTH:
        reason = f"± {half:.1f} points would hide what a tenth more front grip does"
        return ChangeFinding.CANNOT_TELL, None, reason, TENTH
    return ChangeFinding.NO_CHANGE_SEEN, max(-moved.interval[0], moved.interval[1]), "", SMALL


def _more_pushes(difference: _Difference, counts: tuple[int, int], factor: float, target: float) -> int | None:
    """Pushes of each in addition, after which a change of `target` (points) would stand outside the interval."""
    for more in range(1, MOST_PUSHES + 1):
        own = sum(each**2 / (count + more) for each, count in zip(difference.own_each, counts, strict=True))
        if factor * float(np.sqrt(own + difference.common_u**2)) <= target:
            return more
    return None


def _check(a: Sequence[MeasuredBalance], b: Sequence[MeasuredBalance], scatter: float) -> None:
    for name, pushes in (("A", a), ("B", b)):
        if not pushes:
            raise InputError(f"there is no push of {name}", where="change", remedy="Push both set-ups at least once")
    lengths = [one.wheelbase for one in (*a, *b)]
    if max(lengths) / min(lengths) - 1.0 > 1e-3:
        raise InputError(
            f"the pushes stand on wheelbases from {min(lengths):.4f} to {max(lengths):.4f} m",
            where="change",
            remedy="Compare two set-ups of one car",
        )
    if not (np.isfinite(scatter) and scatter >= 0.0):
        raise InputError(f"{scatter} points cannot be used", where="scatter", remedy="Give points from zero up")


def _without_figures(a: Sequence[MeasuredBalance], b: Sequence[MeasuredBalance]) -> BalanceChange:
    """Rolling wheels, or pushes without a figure: the axle, at the same place of the push, or nothing."""
    finding, reason = ChangeFinding.CANNOT_TELL, ""
    axles = [{one.axle for one in pushes} for pushes in (a, b)]
    places = [one.pushed_pct for one in (*a, *b)]
    if any(None in names for names in axles):
        reason = next(one.reason for one in (*a, *b) if one.pct is None)
        if any(one.pct is not None for one in (*a, *b)):
            reason = f"only some of the pushes give a figure: {reason}"
    elif any(len(names) > 1 for names in axles):
        reason = "pushes of one set-up swung about different axles: the balance point is close to the push"
    elif any((one.odds or 0.0) < SURE_ODDS for one in (*a, *b)):
        reason = "an axle is named with odds of less than 39 to 1"
    elif max(places) - min(places) > SAME_PLACE:
        reason = "rolling wheels answer only for the place of the push, and the places differ"
    elif axles[0] == axles[1]:
        reason = f"both swing about the {next(iter(axles[0]))} axle: rolling wheels tell which axle, not how much"
    else:
        finding = ChangeFinding.OTHER_AXLE
        reason = f"it swung about the {next(iter(axles[0]))} axle before, about the {next(iter(axles[1]))} axle now"
    return BalanceChange(
        finding=finding,
        target=TENTH,
        pushes=(len(a), len(b)),
        reason=reason,
    )
