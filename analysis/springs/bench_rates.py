"""Spring rate, motion ratio, roll stiffness and bar rate from a pad, a ruler and a shim, each with its doubt."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.statistics.least_squares import straight_line
from analysis.statistics.quantiles import NORMAL_95


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One parameter, in SI, with its standard uncertainty and how it was found."""

    value: float
    u: float
    method: str

    @property
    def interval(self) -> tuple[float, float]:
        """95 %, normal."""
        return self.value - NORMAL_95 * self.u, self.value + NORMAL_95 * self.u


@dataclass(frozen=True, slots=True, kw_only=True)
class RollSplit:
    """Roll stiffness of both axles, N m/rad, tyres in series, and the front share. share: per unit."""

    front: Measured
    rear: Measured
    front_share: Measured


def spring_rate(load: FloatArray, height: FloatArray, *, load_u: float, height_u: float) -> Measured:
    """Rate of a spring that was pressed on a pad, N/m: load gained per length lost.

    load: (n,) N, n >= 2.  height: (n,) m of the spring (ruler, or height of a marker on the body: then per wheel).
    load_u, height_u: standard uncertainty of one reading. With three readings or more the larger of these and of
    what the scatter about the line says is taken.
    Raises InputError when fewer than two different heights are given or the rate is not positive.
    Source: Hooke's law; straight line by least squares, doubt after GUM (JCGM 100:2008) 5.1.
    """
    f, z = np.asarray(load, dtype=float), np.asarray(height, dtype=float)
    _usable("spring readings", f, z, load_u, height_u)
    if f.ndim != 1 or f.shape != z.shape or len(f) < 2 or np.ptp(z) <= 0:
        raise _refuse("spring readings", "a rate needs at least two loads at different heights", "Load it further")
    line = straight_line(z - z.mean(), f)
    rate, spread = -float(line.value[1]), math.sqrt(float(((z - z.mean()) ** 2).sum()))
    if rate <= 0:
        raise _refuse("spring readings", "the spring grew longer under load", "Check which reading is which")
    stated = math.hypot(load_u, rate * height_u) / spread
    seen = line.residual_sd / spread if len(f) > 2 else 0.0
    return Measured(value=rate, u=max(stated, seen), method=f"{len(f)} loads and heights")


def motion_ratio(wheel: FloatArray, spring: FloatArray, *, wheel_u: float, spring_u: float) -> Measured:
    """Spring travel per wheel travel. wheel, spring: (n,) m, heights (or lengths) read together, n >= 2.

    Raises InputError when the wheel was not moved or the spring did not follow.
    Source: straight line by least squares; the sign of either scale does not matter.
    """
    w, s = np.asarray(wheel, dtype=float), np.asarray(spring, dtype=float)
    _usable("motion ratio readings", w, s, wheel_u, spring_u)
    if w.ndim != 1 or w.shape != s.shape or len(w) < 2 or np.ptp(w) <= 0:
        raise _refuse("motion ratio readings", "the wheel was not moved", "Read both at two or more wheel heights")
    line = straight_line(w - w.mean(), s)
    ratio, spread = abs(float(line.value[1])), math.sqrt(float(((w - w.mean()) ** 2).sum()))
    if ratio <= 0:
        raise _refuse("motion ratio readings", "the spring did not move", "Check that the spring is hooked in")
    u = max(math.hypot(spring_u, ratio * wheel_u), line.residual_sd if len(w) > 2 else 0.0) / spread
    return Measured(value=ratio, u=u, method=f"{len(w)} pairs of travels")


def roll_split(
    gained: float,
    shim: float,
    track: tuple[float, float],
    body_roll: float,
    *,
    gained_u: float,
    shim_u: float = 2e-5,
    body_roll_u: float,
) -> RollSplit:
    """Roll stiffness of each axle from a shim under one front wheel, read by the pads and a marker on the body.

    gained: N that the shimmed wheel gains; its axle's other wheel loses the same.  shim: m.  track: (front, rear) m.
    body_roll: rad, how far the body turned (height of both sides, or a marker's tilt).
    The pads alone give the two axles in series only: every four-spring car answers a shim with the same pattern of
    loads, whatever its split. The body's own turn gives the split: it follows the stiffer axle.
    Raises InputError when the readings have no such car behind them.
    Source: two torsion springs in series, moment gained * track, twist shim / track.
    """
    numbers = np.array([gained, shim, *track, body_roll, gained_u, shim_u, body_roll_u])
    if not np.all(np.isfinite(numbers)) or shim <= 0 or min(track) <= 0 or min(gained_u, shim_u, body_roll_u) < 0:
        raise _refuse("shim", "readings must be finite, shim and tracks positive", "Measure again")
    twist = shim / track[0]
    if not (gained > 0 and 0 < body_roll < twist):
        raise _refuse(
            "shim",
            "the shimmed wheel must gain load and the body turn less than its axle",
            "Settle the car and read both again, with a thicker shim",
        )

    def solve(values: FloatArray) -> FloatArray:
        dn, h, phi = values
        moment = dn * track[0]
        front, rear = moment / (h / track[0] - phi), moment / phi
        return np.array([front, rear, front / (front + rear)])

    centre = np.array([gained, shim, body_roll])
    u = _carried(solve, centre, np.array([gained_u, shim_u, body_roll_u]))
    return _split(solve(centre), u, method="shim, pads and body roll")


def roll_split_by_blocking(
    gained: float,
    gained_rear_blocked: float,
    shim: float,
    track: tuple[float, float],
    *,
    gained_u: float,
    shim_u: float = 2e-5,
) -> RollSplit:
    """Roll stiffness of each axle from the pads alone: shim a front wheel, then again with the rear axle blocked solid.

    gained, gained_rear_blocked: N that the shimmed wheel gains.  shim: m.  track: (front, rear) m.
    Raises InputError unless blocking the rear axle made the answer stiffer.
    Source: two torsion springs in series; blocked, only the front one is left (rigid tyres at the rear).
    """
    numbers = np.array([gained, gained_rear_blocked, shim, *track, gained_u, shim_u])
    if not np.all(np.isfinite(numbers)) or min(shim, *track) <= 0 or min(gained_u, shim_u) < 0:
        raise _refuse("shim", "readings must be finite, shim and tracks positive", "Measure again")
    if not 0 < gained < gained_rear_blocked:
        raise _refuse("shim", "blocking the rear axle must make the shim move more load", "Check the blocks")

    def solve(values: FloatArray) -> FloatArray:
        both, alone, h = values
        front = alone * track[0] ** 2 / h
        series = both * track[0] ** 2 / h
        rear = 1 / (1 / series - 1 / front)
        return np.array([front, rear, front / (front + rear)])

    centre = np.array([gained, gained_rear_blocked, shim])
    u = _carried(solve, centre, np.array([gained_u, gained_u, shim_u]))
    return _split(solve(centre), u, method="two shims, rear axle free and blocked")


def _split(values: FloatArray, u: FloatArray, *, method: str) -> RollSplit:
    """Front, rear and front share (3,) with their standard uncertainties (3,)."""
    front, rear, share = (Measured(value=float(v), u=float(d), method=method) for v, d in zip(values, u, strict=True))
    return RollSplit(front=front, rear=rear, front_share=share)


def bar_rate(with_bar: Measured, without_bar: Measured, track: float) -> Measured:
    """Rate of an anti-roll bar by difference, N/m per metre of left-right difference of wheel travel.

    with_bar, without_bar: the axle's roll stiffness, N m/rad.  track: m.  Negative answers are kept: they are scatter.
    Source: axle roll stiffness track^2/2 (k + 2 bar).
    """
    if not (math.isfinite(track) and track > 0):
        raise _refuse("bar", "the track must be positive", "Give the contact track")
    return Measured(
        value=(with_bar.value - without_bar.value) / track**2,
        u=math.hypot(with_bar.u, without_bar.u) / track**2,
        method="difference of two roll stiffnesses",
    )


def _carried(solve: Callable[[FloatArray], FloatArray], centre: FloatArray, u: FloatArray) -> FloatArray:
    """Standard uncertainties of solve(centre), first order, central differences (GUM 5.1.3, note 2)."""
    total = np.zeros_like(solve(centre))
    for i, one in enumerate(u):
        step = np.zeros_like(centre)
        step[i] = 1e-6 * abs(centre[i])
        slope = (solve(centre + step) - solve(centre - step)) / (2 * step[i])
        total += (slope * one) ** 2
    return np.asarray(np.sqrt(total), dtype=float)


def _usable(where: str, a: FloatArray, b: FloatArray, *doubts: float) -> None:
    if not (np.all(np.isfinite(a)) and np.all(np.isfinite(b))):
        raise _refuse(where, "a reading is not a finite number", "Read it again")
    if not all(math.isfinite(d) and d >= 0 for d in doubts):
        raise _refuse(where, "an uncertainty must be finite and not negative", "State how well you could read")


def _refuse(where: str, what: str, remedy: str) -> InputError:
    return InputError(what, where=where, remedy=remedy)
