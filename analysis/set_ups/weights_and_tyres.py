"""How much of a change of balance the weighings explain, and what is left for the tyres.

The balance point is F/(F + R), so the logarithms add: logit(balance) = (1 - q) ln(front over rear weight) + ln(front
over rear grip), with q the share of its grip that a tyre loses per share of load (to first order, of even axles).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.balance.logit import logit, share_of
from analysis.balance.results import GripMoved, Moved, WeightsMoved
from analysis.base.errors import InputError
from analysis.statistics.quantiles import NORMAL_95

PCT = 100.0
"""The whole of a percentage."""
TELLING = 0.1
"""Relative: a comparison of grip whose 95 % half-width is larger could hardly have failed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeightsAndTyres:
    """explained, tyres: points.  front_grip_up: (value, u) in per cent.  agree: with the measured grip."""

    explained: Moved
    tyres: Moved
    front_grip_up: tuple[float, float]
    agree: Literal["agrees", "disagrees", "cannot tell"] | None


def left_over(
    before: float, after: float, moved: Moved, weights: WeightsMoved, grip: GripMoved | None, *, factor: float
) -> WeightsAndTyres:
    """Take apart a change from `before` to `after` (per cent of the wheelbase).

    factor: of the 95 % interval of `moved`.
    Raises InputError for shares of weight or balances that are not between 0 and 100.
    """
    if not all(0.0 < one < 100.0 for one in (before, after, weights.front_pct_a, weights.front_pct_b)):
        raise InputError(
            "a share is not between 0 and 100 %", where="weights and tyres", remedy="Weigh again, and push again"
        )
    heavier = logit(weights.front_pct_b, PCT) - logit(weights.front_pct_a, PCT)
    kept = 1.0 - weights.sensitivity
    by_weight = kept * heavier
    by_weight_u = kept * weights.moved_u * _logit_slope(0.5 * (weights.front_pct_a + weights.front_pct_b))
    by_weight_u = float(np.hypot(by_weight_u, weights.sensitivity_u * heavier))
    reached = float(share_of(logit(before, PCT) + by_weight, PCT))
    explained, explained_u = reached - before, by_weight_u / _logit_slope(reached)
    tyres, tyres_u = moved.value - explained, float(np.hypot(moved.u, explained_u))
    by_grip = logit(after, PCT) - logit(before, PCT) - by_weight
    by_grip_u = float(np.hypot(moved.u * _logit_slope(0.5 * (before + after)), by_weight_u))
    agree: Literal["agrees", "disagrees", "cannot tell"] | None = None
    if grip is not None:
        both = float(np.hypot(by_grip_u, grip.factor_u))
        if abs(by_grip - float(np.log(grip.factor))) > NORMAL_95 * both:
            agree = "disagrees"
        else:
            agree = "agrees" if NORMAL_95 * both <= TELLING else "cannot tell"
    up = float(np.exp(by_grip))
    return WeightsAndTyres(
        explained=_moved(explained, explained_u, NORMAL_95),
        tyres=_moved(tyres, tyres_u, factor),
        front_grip_up=(100.0 * (up - 1.0), 100.0 * up * by_grip_u),
        agree=agree,
    )


def _moved(value: float, u: float, factor: float) -> Moved:
    return Moved(value=value, u=u, interval=(value - factor * u, value + factor * u))


def grip_that_fits(by_push: float, by_weights: float) -> float:
    """By how much the front tyres must grip better against the rear for the balance point found from weights and grip
    (per cent of the wheelbase, as is that by the push) to be where the push has it. Raises InputError beyond the axles.
    """
    if not all(0.0 < one < 100.0 for one in (by_push, by_weights)):
        raise InputError(
            "a balance point beyond the axles", where="grip that fits", remedy="Push again nearer to the middle"
        )
    return float(np.exp(logit(by_push, PCT) - logit(by_weights, PCT)))


def front_weight_that_fits(by_push: float, by_weights: float, front_pct: float, *, sensitivity: float) -> float:
    """The front axle's share of the weight, per cent, with which the balance point by weights and grip would be where
    the push has it, the tyres as on the card. All in per cent; sensitivity: q above.

    front_pct: as weighed.  Raises InputError beyond the axles.
    """
    if not all(0.0 < one < 100.0 for one in (by_push, by_weights, front_pct)):
        raise InputError(
            "a balance point beyond the axles", where="weights that fit", remedy="Push again nearer to the middle"
        )
    off = (logit(by_push, PCT) - logit(by_weights, PCT)) / (1.0 - sensitivity)
    return float(share_of(logit(front_pct, PCT) + off, PCT))


def _logit_slope(pct: float) -> float:
    """Per point."""
    return 100.0 / (pct * (100.0 - pct))
