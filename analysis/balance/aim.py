"""How to bring the balance at rest where it is wanted: grams moved or added, or tyres that grip otherwise.

The balance point is F/(F + R), so logarithms add: logit(balance) = (1 - q) logit(front share of weight) + ln(front
over rear grip), with q the share of grip that a tyre loses per share of load (elementary statics and the definition of
the centre of friction). Springs, bars and heights move load only while the car accelerates: they are not in it.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.balance.logit import logit, share_of
from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.statistics.monte_carlo import coverage_interval

AIM_DRAWS = 4000
_LEAST, _MOST = 1e-4, 1.0 - 1e-4
"""Drawn shares are kept inside the car."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CarNow:
    """What is known of the car, each with its standard uncertainty (`_u`).

    balance_pct: points of the wheelbase.  front_pct: % of the weight.  total_g: g.  sensitivity: q above, 0 where
    nothing is known of it.
    """

    balance_pct: float
    balance_pct_u: float
    front_pct: float
    front_pct_u: float
    total_g: float
    total_g_u: float = 0.0
    sensitivity: float = 0.0
    sensitivity_u: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Needed:
    """A size that would do it. interval: 95 %."""

    value: float
    interval: tuple[float, float]

    @property
    def half(self) -> float:
        """Half the interval."""
        return 0.5 * (self.interval[1] - self.interval[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class WaysToBalance:
    """Each of these alone brings the balance to wanted_pct.

    moved_g: from over the front axle to over the rear one; negative: the other way.  added_g: over the axle `end`.
    grip_factor: by which front over rear grip has to change.  there: the balance may be where it is wanted already.
    """

    wanted_pct: float
    moved_g: Needed
    added_g: Needed
    end: Literal["front", "rear"]
    grip_factor: Needed
    there: bool


def ways_to_balance(
    car: CarNow, wanted_pct: float, *, rng: np.random.Generator, draws: int = AIM_DRAWS
) -> WaysToBalance:
    """What brings the balance to wanted_pct, with what is not known of the car (Monte Carlo, JCGM 101).

    Raises InputError where the wanted balance, or a share of the car, is not between the axles.
    """
    for name, pct in (("wanted balance", wanted_pct), ("balance", car.balance_pct), ("front share", car.front_pct)):
        if not 0.0 < pct < 100.0:
            raise InputError(
                f"{pct:g} % is not between the axles", where=name, remedy="Give per cent ahead of the rear axle, as 52"
            )
    if not car.total_g > 0.0:
        raise InputError("a car without weight", where="total", remedy="Weigh the car")
    z = rng.standard_normal((4, draws))
    drawn = CarDraws(
        balance=np.clip((car.balance_pct + car.balance_pct_u * z[0]) / 100.0, _LEAST, _MOST),
        front=np.clip((car.front_pct + car.front_pct_u * z[1]) / 100.0, _LEAST, _MOST),
        total_g=np.maximum(car.total_g + car.total_g_u * z[2], 1e-6),
        sensitivity=np.clip(car.sensitivity + car.sensitivity_u * z[3], 0.0, 0.9),
    )
    best = CarDraws(
        balance=np.array(car.balance_pct / 100.0),
        front=np.array(car.front_pct / 100.0),
        total_g=np.array(car.total_g),
        sensitivity=np.array(np.clip(car.sensitivity, 0.0, 0.9)),
    )
    wanted = wanted_pct / 100.0
    end: Literal["front", "rear"] = "rear" if wanted_pct < car.balance_pct else "front"
    factors = drawn.grip_factor(wanted)
    low, high = coverage_interval(factors)
    return WaysToBalance(
        wanted_pct=wanted_pct,
        moved_g=_needed(best.moved_g(wanted), drawn.moved_g(wanted)),
        added_g=_needed(best.added_g(wanted, end), drawn.added_g(wanted, end)),
        end=end,
        grip_factor=_needed(best.grip_factor(wanted), factors),
        there=bool(low <= 1.0 <= high),
    )


def balance_with_grip(
    car: CarNow, ratio: float, ratio_u: float, *, rng: np.random.Generator, draws: int = AIM_DRAWS
) -> Needed:
    """The balance, % of the wheelbase, that this car's weights give with tyres of another front over rear grip.

    ratio_u: relative.  Raises InputError for a ratio that is not above zero.
    """
    if not ratio > 0.0:
        raise InputError(f"{ratio:g} is no grip ratio", where="tyres", remedy="Give front over rear, above zero")
    z = rng.standard_normal((2, draws))
    front = np.clip((car.front_pct + car.front_pct_u * z[0]) / 100.0, _LEAST, _MOST)
    drawn = share_of(logit(front) + np.log(ratio) + ratio_u * z[1])
    return _needed(100.0 * share_of(logit(car.front_pct / 100.0) + np.log(ratio)), 100.0 * drawn)


@dataclass(frozen=True, slots=True, kw_only=True)
class CarDraws:
    """Cars that go together, all (n,). balance: share of the wheelbase from the rear axle.  front: share of the weight.

    total_g: g.  sensitivity: grip lost per share of load above the mean.
    """

    balance: FloatArray
    front: FloatArray
    total_g: FloatArray
    sensitivity: FloatArray

    def grip_factor(self, wanted: float) -> FloatArray:
        """(n,): front over rear grip, after over before."""
        return np.asarray(np.exp(logit(wanted) - logit(self.balance)))

    def front_wanted(self, wanted: float) -> FloatArray:
        """(n,): the front share of weight that gives this balance with the tyres as they are."""
        return share_of(logit(self.front) + (logit(wanted) - logit(self.balance)) / (1.0 - self.sensitivity))

    def moved_g(self, wanted: float) -> FloatArray:
        """(n,): g from over the front axle to over the rear one."""
        return (self.front - self.front_wanted(wanted)) * self.total_g

    def added_g(self, wanted: float, end: Literal["front", "rear"]) -> FloatArray:
        """(n,): g added over one axle; negative where they would have to be taken off it."""
        share = self.front_wanted(wanted)
        if end == "rear":  # the front load stays: share (total + added) = front total
            return self.total_g * (self.front / share - 1.0)
        return self.total_g * (share - self.front) / (1.0 - share)


def _needed(value: FloatArray, drawn: FloatArray) -> Needed:
    return Needed(value=float(value), interval=coverage_interval(drawn))
