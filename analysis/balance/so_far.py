"""The balance point of a push that still goes on: everything slow is worked out before it begins.

What depends on the clip (the turn, its doubt, how far the car has gone) is looked up in curves of turn per travel over
balance points, at some ways of the finger, made for the very push that is about to come. A finished push is answered by
`balance_from_push`, which this agrees with to a tenth of a point (tests/analysis/balance/test_so_far.py).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analysis.balance.causes import moves_of_cards, moves_of_turn, sides_of
from analysis.balance.curve import BalanceCurve, balance_curve, finger_advance
from analysis.balance.finger_reading import as_the_finger_moved, finger_between
from analysis.balance.results import BalanceDoubts, TurnSeen
from analysis.base.arrays import FloatArray
from analysis.forecast.forecast import kind_of_test
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState
from analysis.statistics.headings import heading_from
from analysis.statistics.quantiles import NORMAL_95
from analysis.whole_push.finite import Until

WAYS = (0.011, 0.02, 0.035, 0.06)
"""m of the finger, at which the curves are made; in between they are interpolated, beyond the last one is taken."""
STEPS = 49
"""Balance points of a curve: two points apart a straight line is right to less than a tenth of a point."""
KNOTS = (-20.0, -8.0, -2.5, 2.5, 8.0, 20.0)
"""Points from the push, at which the cards' doubts are worked out."""
MIDDLE_WAY = 0.03
FARTHEST_TURN = 0.6
"""rad: candidates that turn further are not followed."""
WIDEST_SHOWN = 10.0
"""Points: with more on either side nothing is said yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OneFinger:
    """What is known of a push beforehand, for one way in which the finger may move. curves: one for each of WAYS.

    knots: (k,) balance points, %.  below, above: (k,) points, standard uncertainty from the cards towards either side.
    """

    push: PushState
    curves: tuple[BalanceCurve, ...]
    knots: FloatArray
    below: FloatArray
    above: FloatArray

    def curve(self, way: float) -> BalanceCurve:
        """The curve at a way of the finger, m."""
        at = np.clip(way, WAYS[0], WAYS[-1])
        k = int(np.clip(np.searchsorted(WAYS, at) - 1, 0, len(WAYS) - 2))
        share = (at - WAYS[k]) / (WAYS[k + 1] - WAYS[k])
        one, other = self.curves[k], self.curves[k + 1]
        mixed = {
            name: getattr(one, name) + share * (getattr(other, name) - getattr(one, name))
            for name in ("pct", "heading", "drift", "log_ratio")
        }
        return BalanceCurve(**mixed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """A push that may come. by_finger: kind of finger -> what is known of it."""

    car: CarState
    push: PushState
    by_finger: Mapping[str, OneFinger]


@dataclass(frozen=True, slots=True, kw_only=True)
class BalanceSoFar:
    """The balance point, per cent of the wheelbase, with its 95 %. finger: how the finger seems to move."""

    pct: float
    interval_pct: tuple[float, float]
    finger: str


def prepare(car: CarState, push: PushState, doubts: BalanceDoubts) -> Prepared | None:
    """Everything that can be known before this push; None for rolling wheels, which give no figure.

    Takes a second or two. Raises InputError for a car or push that cannot be.
    """
    check_states(car, push)
    if kind_of_test(car) == "switch":
        return None
    kinds = dict.fromkeys([push.finger, *(("rolling", "sticking") if push.finger != "rubbing" else ())])
    extent = Until(turn=FARTHEST_TURN, travel=MIDDLE_WAY)
    pushed = 100.0 * push.station / car.wheelbase
    knots = np.unique(np.clip(pushed + np.array(KNOTS), 6.0, 94.0))
    made = {}
    for kind in kinds:
        own = replace(push, finger=kind)
        curves = tuple(balance_curve(car, own, Until(turn=FARTHEST_TURN, travel=way), steps=STEPS) for way in WAYS)
        middle = balance_curve(car, own, extent, steps=STEPS)
        sides = []
        for pct in knots:
            heading = float(np.interp(pct, middle.pct, middle.heading))
            moves = [move for _, _, move in moves_of_cards(car, own, doubts, extent, middle, heading, float(pct))]
            sides.append(sides_of(moves))
        below, above = np.array(sides).T
        made[kind] = OneFinger(push=own, curves=curves, knots=knots, below=below, above=above)
    return Prepared(car=car, push=push, by_finger=made)


def balance_so_far(prepared: Prepared, seen: TurnSeen) -> BalanceSoFar | None:
    """The balance point by this push so far; None while it cannot be said. seen: between loaded poses.

    The finger is read from the turn as it is of a whole push.
    """
    length, station = prepared.car.wheelbase, prepared.push.station
    way = finger_advance(seen.turn, seen.travel, station=station, wheelbase=length)
    angle = float(heading_from(seen.kappa, length))
    kind = prepared.push.finger
    if {"rolling", "sticking"} <= set(prepared.by_finger):
        drifts = [_drift(prepared.by_finger[name].curve(way), angle) for name in ("rolling", "sticking")]
        if drifts[0] is not None and drifts[1] is not None:
            reading = finger_between(prepared.push, seen, drifts[0], drifts[1])
            kind = as_the_finger_moved(prepared.push, reading).finger
    own = prepared.by_finger[kind]
    curve = own.curve(way)
    heading = curve.branch(angle)
    if curve.cell(heading) is None:
        return None
    pct = float(curve.balance_at(np.array(heading)))
    moves = [move for _, _, move in moves_of_turn(seen, curve, heading, pct)]
    shift = seen.wind_up_share * (pct - 100.0 * station / length)
    below, above = sides_of(
        [
            *moves,
            (shift, -shift),
            (float(np.interp(pct, own.knots, own.above)), -float(np.interp(pct, own.knots, own.below))),
        ]
    )
    interval = (pct - NORMAL_95 * below, pct + NORMAL_95 * above)
    if max(pct - interval[0], interval[1] - pct) > WIDEST_SHOWN:
        return None
    return BalanceSoFar(pct=pct, interval_pct=interval, finger=kind)


def _drift(curve: BalanceCurve, angle: float) -> float | None:
    heading = curve.branch(angle)
    if curve.cell(heading) is None:
        return None
    return float(np.interp(curve.balance_at(np.array(heading)), curve.pct, curve.drift))
