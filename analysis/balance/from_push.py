"""The balance point at which the forecast of this very push gives the turn per travel that was measured."""

from dataclasses import replace

import numpy as np

from analysis.balance.causes import BLOCKED, balance_causes, place_doubt, sides_of
from analysis.balance.curve import BalanceCurve, CurvesOfPush, balance_curve
from analysis.balance.results import (
    FLOOR_SCALE_CAUSE,
    PLATE_CAUSE,
    BalanceDoubts,
    MeasuredBalance,
    SharedTurn,
    TurnSeen,
)
from analysis.base.plane import slide_jacobian, slide_parts
from analysis.forecast.forecast import kind_of_test
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState, pivot_stays
from analysis.measured.loaded import LoadedTurn, TurnSoFar
from analysis.measured.pushes import MeasuredPush
from analysis.statistics.headings import heading_from
from analysis.statistics.odds import LARGEST_ODDS
from analysis.statistics.quantiles import NORMAL_95, normal_share
from analysis.whole_push.finite import Until

ROLLING_KAPPA_U = 0.3
"""1/m: how far the cut circle and a rigid-body engine stand apart on rolling wheels (0.6 at 95 %), and a tyre's patch
moves the pivot beyond its axle."""
WALKING_MARGIN = 1.0
"""Points: a touch that walks along a rolling car parks on a kink of its law; small steps there err by up to 0.4."""
WIDEST_FIGURE = 20.0
"""Points: where a push leaves the balance more open than this to either side, it gives bounds and no figure."""
SOON = 1.0
"""Points: nearer than this to the balance a further push has nothing to gain from another place."""

ROLLING = "rolling wheels tell which axle grips better, not by how much: block them to measure"
NOWHERE = "no balance point between the axles gives this turn: something on the cards is not as it was in the clip"
PLATEAU = "the car swung about an axle that rolls, as it does from a wide range of balance points: block all wheels"
ANYWHERE = "from here almost any balance point gives this turn: push nearer to it"


def turn_seen(
    push: MeasuredPush,
    *,
    place_u: tuple[float, float, float] = (0.0, 0.0, 0.0),
    scale_u: float = 0.0,
    loaded: LoadedTurn | None = None,
) -> TurnSeen:
    """What a measured push says, with each cause that other clips may share under its own name.

    place_u: standard uncertainties (x m, y m, yaw rad) of the plate on the car ("marker plate").  scale_u: of floor
    distances, relative ("floor's scale").  What is common beyond these is taken as the clip's own, which never cancels.
    loaded: the turn between loaded poses; the figures are then its own, with the causes of the push.
    """
    estimate = push.seen
    forward, sideways, chord = (float(part) for part in slide_parts(push.start_pose, push.end_pose))
    travel = sideways + estimate.wheelbase * chord / 2.0
    travel = travel if abs(travel) > 1e-9 else 1e-9  # a turn about the very middle: drift means nothing there
    jacobian = slide_jacobian(push.start_pose, push.end_pose)
    covariance = sum(
        jacobian[:, part] @ scatter @ jacobian[:, part].T
        for part, scatter in ((slice(0, 3), push.start_covariance), (slice(3, 6), push.end_covariance))
    )
    of_drift = np.array([1.0, -forward / travel, -forward / travel * estimate.wheelbase / 2.0]) / travel
    drift, drift_u = forward / travel, float(np.sqrt(of_drift @ covariance @ of_drift))
    figures = TurnSeen(
        kappa=estimate.kappa,
        own_u=0.0,
        interval=estimate.interval,
        turn=push.turn,
        travel=travel,
        wheelbase=estimate.wheelbase,
        drift=drift,
        drift_u=drift_u,
    )
    own = float(np.sqrt(max(estimate.kappa_u**2 - estimate.common_u**2, 0.0)))
    if loaded is not None:
        own, figures = loaded.own_u, _of_loaded(loaded, estimate.wheelbase)
    return _with_causes(figures, own, estimate.common_u, place_u, scale_u)


def seen_so_far(
    so_far: TurnSoFar, *, wheelbase: float, place_u: tuple[float, float, float] = (0.0, 0.0, 0.0), scale_u: float = 0.0
) -> TurnSeen:
    """The same of a push that goes on. wheelbase: m.  place_u, scale_u: as for `turn_seen`."""
    return _with_causes(_of_loaded(so_far.turn, wheelbase), so_far.turn.own_u, so_far.common_u, place_u, scale_u)


def _of_loaded(loaded: LoadedTurn, wheelbase: float) -> TurnSeen:
    return TurnSeen(
        kappa=loaded.kappa,
        own_u=0.0,
        interval=loaded.interval,
        turn=loaded.turn,
        travel=loaded.travel,
        wheelbase=wheelbase,
        drift=loaded.drift,
        drift_u=loaded.drift_u,
        poses=loaded.poses,
        wind_up=loaded.wind_up,
    )


def _with_causes(
    figures: TurnSeen, own: float, common_u: float, place_u: tuple[float, float, float], scale_u: float
) -> TurnSeen:
    """The causes that other clips may share told apart by name. own, common_u: 1/m."""
    kappa = figures.kappa
    shared = tuple(
        SharedTurn(name=name, effect=effect)
        for name, effect in (
            (PLATE_CAUSE, -(kappa**2) * place_u[0]),  # a plate further forward by e adds chord * e sideways
            (PLATE_CAUSE, kappa * figures.drift * place_u[2]),
            (FLOOR_SCALE_CAUSE, -kappa * scale_u),
        )
        if effect != 0.0
    )
    told_apart = sum(one.effect**2 for one in shared)
    unexplained = float(np.sqrt(max(common_u**2 - told_apart, 0.0)))
    return replace(
        figures,
        own_u=float(np.hypot(own, unexplained)),
        shared=shared,
        drift_u=float(np.hypot(figures.drift_u, place_u[2])),
    )


def balance_from_push(
    car: CarState,
    push: PushState,
    seen: TurnSeen,
    *,
    doubts: BalanceDoubts | None = None,
    curves: CurvesOfPush | None = None,
) -> MeasuredBalance:
    """The balance point of the car as this push shows it.

    car, push: as the forecast takes them (the finger as it moved: see `as_the_finger_moved`).  seen: from the clip.
    Found by varying the front-to-rear grip ratio with the weights kept; its uncertainty carries the clip's, the push
    place's and the cards', not the grip ratio's.  curves: of this push, with any finger, as far as they are known.
    Raises InputError for a car or push that cannot be.
    """
    check_states(car, push)
    doubts = doubts or BalanceDoubts()
    curves = curves or CurvesOfPush(car, push, seen)
    extent = curves.extent
    if kind_of_test(car) == "switch":
        return _swung(car, push, seen, doubts, extent)
    rolls = bool(np.any(car.drag < BLOCKED))  # a kink of the curve, or a jump, lies where the push is
    curve = curves.of(push.finger, switch=rolls)
    heading = curve.branch(curves.heading)
    if curve.cell(heading) is None:
        return _bounds_only(car, push, seen, doubts, [curve], PLATEAU)
    pct = float(curve.balance_at(np.array(heading)))
    causes, moved = balance_causes(car, push, seen, doubts, extent, curve, heading)
    below, above = sides_of(moved)
    u = float(np.sqrt(sum(one.effect**2 for one in causes)))
    interval = (pct - NORMAL_95 * below, pct + NORMAL_95 * above)
    if max(pct - interval[0], interval[1] - pct) > WIDEST_FIGURE:
        return _bounds_only(car, push, seen, doubts, [curve], ANYWHERE)
    pushed = 100.0 * push.station / car.wheelbase
    distance = abs(pct - pushed)
    return MeasuredBalance(
        pushed_pct=pushed,
        kappa=seen.kappa,
        wheelbase=car.wheelbase,
        pct=pct,
        u=u,
        interval_pct=interval,
        causes=causes,
        distance=distance,
        next_push_pct=float(np.clip(round(pct), 5, 95)) if distance > SOON else None,
    )


def _swung(car: CarState, push: PushState, seen: TurnSeen, doubts: BalanceDoubts, extent: Until) -> MeasuredBalance:
    """Rolling wheels: the axle from the sign of the turn, and bounds under as much or as little drag as may be."""
    drags = [np.clip(car.drag + NORMAL_95 * sign * car.drag_u, 0.0, 1.0) for sign in (-1.0, 0.0, 1.0)]
    curves = [
        balance_curve(car, push, extent, drag=drag, switch=True)
        for drag in (drags if np.any(car.drag_u) else drags[:1])
    ]
    bounds = _bounds_only(car, push, seen, doubts, curves, ROLLING)
    return replace(bounds, axle="rear" if seen.kappa > 0.0 else "front")


def _bounds_only(
    car: CarState,
    push: PushState,
    seen: TurnSeen,
    doubts: BalanceDoubts,
    curves: list[BalanceCurve],
    reason: str,
) -> MeasuredBalance:
    """All balance points whose turn is within reach of the measured one, widened by where the finger stood.

    The sign of the turn is that of push less balance, whatever else is wrong: the odds are those of the sign.
    """
    pushed = 100.0 * push.station / car.wheelbase
    u = float(np.hypot(seen.kappa_u, ROLLING_KAPPA_U))
    anew, mark = place_doubt(car, push, doubts)
    margin = NORMAL_95 * 100.0 * float(np.hypot(anew, mark)) / car.wheelbase
    if not pivot_stays(push):
        margin += WALKING_MARGIN
    reach = [float(heading_from(seen.kappa + sign * NORMAL_95 * u, car.wheelbase)) for sign in (-1, 1)]
    ends = [end for curve in curves for end in _within(curve, reach[0], reach[1])]
    surely = abs(seen.kappa) > NORMAL_95 * u
    if not ends and reason == PLATEAU:
        reason = NOWHERE
    if not ends:
        ends = [0.0, 100.0] if not surely else ([0.0, pushed] if seen.kappa > 0.0 else [pushed, 100.0])
    chance = normal_share(abs(seen.kappa) / u)
    return MeasuredBalance(
        pushed_pct=pushed,
        kappa=seen.kappa,
        wheelbase=car.wheelbase,
        odds=min(chance / max(1.0 - chance, 1e-12), LARGEST_ODDS),
        bounds_pct=(max(min(ends) - margin, 0.0), min(max(ends) + margin, 100.0)),
        reason=reason,
    )


def _within(curve: BalanceCurve, low: float, high: float) -> list[float]:
    """Ends of the stretches of the curve that pass through headings from low to high, rad; the curve's own end stands
    for all that lies beyond it."""
    ends: list[float] = []
    last = len(curve.pct) - 2
    for turned in (0.0, np.pi, -np.pi):
        top, bottom = (
            np.maximum(curve.heading[:-1], curve.heading[1:]),
            np.minimum(curve.heading[:-1], curve.heading[1:]),
        )
        for cell in np.flatnonzero((top >= low + turned) & (bottom <= high + turned)):
            ends += [
                0.0 if cell == 0 else float(curve.pct[cell]),
                100.0 if cell == last else float(curve.pct[cell + 1]),
            ]
    return ends
