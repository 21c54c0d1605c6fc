"""The finite push with steps as long as the motion allows: a kink on the way is stepped up to and passed in small ones.

A wheel that changes between rolling and sliding, or a finger between sticking and slipping, changes the rates at once.
Every push of a batch has its own clock and its own step.
Source: R. H. Merson's formulas of fourth order with five stages, as in E. Hairer, S. P. Norsett and G. Wanner, Solving
Ordinary Differential Equations I (1993), table II.4.1; they never look far beyond the step, where nothing may resist.
"""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import BoolArray, FloatArray, IntArray
from analysis.sliding.contacts import centre_of_friction
from analysis.sliding.motion import SlideMotion, merge, pick
from analysis.whole_push.finite import PushRates, Rule, Until, checked_extent, swing
from analysis.whole_push.together import PushBatch

STAGES, ORDER = 5, 4
_LOOKS = np.array([[0, 0, 0, 0], [1 / 3, 0, 0, 0], [1 / 6, 1 / 6, 0, 0], [1 / 8, 0, 3 / 8, 0], [1 / 2, 0, -3 / 2, 2]])
_STEP, _ERROR = np.array([1 / 6, 0, 0, 2 / 3, 1 / 6]), np.array([2, 0, -9, 8, -1]) / 30.0
LEAST_STEP, FIRST_STEP = 1.0 / 1024.0, 1.0
"""Of the push. At the least a rate that jumps leaves a thousandth of its jump."""
PATIENCE, HURRIED = 20, 1.0 / 32.0
"""Tries of one push after which steps are no shorter than this: where the finger parks, the pivot goes to and fro
between the axles without end, and what counts is their mean."""
SHRINK, GROW, CAREFUL = 0.15, 5.0, 0.9
"""Least and most by which the next step is longer, and how far below what the error allows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledPush:
    """Slides of n pushes; kappa, turn, displacement, travel, residual, certified as in FinitePush, (n,) or (n, 2).

    nearest: (n,), m, how near the touched point came to the car's centre of friction along the car.
    tries: (n,), how many steps were tried.  start: the n motions with which the pushes begin.
    """

    kappa: FloatArray
    turn: FloatArray
    displacement: FloatArray
    travel: FloatArray
    nearest: FloatArray
    residual: FloatArray
    certified: BoolArray
    tries: IntArray
    start: SlideMotion


def integrate_settled(
    pushes: PushBatch,
    *,
    until: Until,
    tolerance: float,
    rule: Rule = "fixed on car",
    middle: npt.ArrayLike | None = None,
) -> SettledPush:
    """Push n cars as far as `until` says, each step's error in kappa below the tolerance.

    until: for all, or one a push.  tolerance: 1/m; a car that nearly spins on the spot, whose kappa is without bound,
    is held to the same error of its heading atan(kappa L / 2).  rule, middle: as for integrate_push.
    Raises InputError as integrate_push does.
    """
    n = pushes.count
    limit, longest, mid = (
        np.broadcast_to(one, n) for one in checked_extent(pushes.contacts, pushes.finger, until, rule, middle)
    )
    lever = np.maximum(np.abs(mid), 1e-3)
    state, start = _at_start(pushes, rule, limit, longest)
    while len(rows := np.flatnonzero(state.clock < 1.0)):
        part = pushes.picked(rows)
        rates = PushRates(part.contacts, part.finger, part.transfer, rule, limit[rows], longest[rows])
        rates.go_on(state.residual[rows], state.certified[rows], pick(state.motion, rows))
        step = np.minimum(state.step[rows], 1.0 - state.clock[rows])
        end, slopes = _stepped(rates, state.pose[rows], state.slope[rows], step)
        error = np.abs(np.einsum("s,sni->ni", _ERROR, slopes)) * step[:, None]
        off = _of_kappa(error, end, state.clock[rows] + step, mid[rows], lever[rows]) / tolerance
        state.tries[rows] += 1
        least = np.where(state.tries[rows] < PATIENCE, LEAST_STEP, HURRIED)
        taken = (off <= 1.0) | (step <= least)
        with np.errstate(divide="ignore"):
            factor = np.clip(CAREFUL * off ** (-1.0 / ORDER), SHRINK, GROW)
        state.step[rows] = np.maximum(step * factor, least)
        if taken.any() or pushes.contacts.whole != "paced":
            state.go_on(rows, np.flatnonzero(taken), rates, end, step)
    kappa, moved = swing(state.pose, mid)
    balance = np.broadcast_to(centre_of_friction(pushes.contacts), n)
    apart = [state.rearmost - balance, state.foremost - balance]
    return SettledPush(
        kappa=kappa,
        turn=state.pose[:, 2],
        displacement=moved,
        travel=state.pose[:, 3],
        nearest=np.where(apart[0] * apart[1] <= 0.0, 0.0, np.minimum(*np.abs(apart))),
        residual=state.residual,
        certified=state.certified,
        tries=state.tries,
        start=start,
    )


@dataclass(slots=True, kw_only=True)
class _State:
    """pose, slope: (n, 4).  motion: of n pushes, at their poses.  The others (n,): clock 0 to 1, next step, touched
    station so far, as in SettledPush."""

    pose: FloatArray
    slope: FloatArray
    clock: FloatArray
    step: FloatArray
    rearmost: FloatArray
    foremost: FloatArray
    residual: FloatArray
    certified: BoolArray
    tries: IntArray
    motion: SlideMotion

    def go_on(self, rows: IntArray, taken: IntArray, rates: PushRates, end: FloatArray, step: FloatArray) -> None:
        """Take some (`taken`) of the steps (k,) of the pushes `rows` to the poses `end` (k, 4)."""
        gone, part = rows[taken], taken
        if (
            rates.contacts.whole == "paced"
        ):  # earlier forecasts worked out the end of every step: last digits hang on it
            rates, end, part = rates.some(taken), end[taken], np.arange(taken.size)
        slope = rates.rate(end)
        self.pose[gone], self.slope[gone] = end[part], slope[part]
        last = self.clock[gone] + step[taken]
        self.clock[gone] = np.where(last > 1.0 - 1e-12, 1.0, last)
        self.residual[gone], self.certified[gone] = rates.worst[part], rates.good[part]
        self.motion = merge(self.motion, rates.last, gone, part)
        station = rates.touched(end)[part, 0]
        self.rearmost[gone] = np.minimum(self.rearmost[gone], station)
        self.foremost[gone] = np.maximum(self.foremost[gone], station)


def _at_start(pushes: PushBatch, rule: Rule, limit: FloatArray, longest: FloatArray) -> tuple[_State, SlideMotion]:
    n = pushes.count
    rates = PushRates(pushes.contacts, pushes.finger, pushes.transfer, rule, limit, longest)
    start = rates.start()
    pose = np.zeros((n, 4))
    slope = np.broadcast_to(rates.rate(pose), (n, 4)).copy()
    station = np.broadcast_to(rates.touched(pose)[..., 0], n)
    state = _State(
        pose=pose,
        slope=slope,
        clock=np.zeros(n),
        step=np.full(n, FIRST_STEP),
        rearmost=station.copy(),
        foremost=station.copy(),
        residual=np.broadcast_to(rates.worst, n).copy(),
        certified=np.broadcast_to(rates.good, n).copy(),
        tries=np.zeros(n, dtype=np.intp),
        motion=start if start.power.shape == (n,) else _repeated(start, n),
    )
    return state, start


def _repeated(motion: SlideMotion, count: int) -> SlideMotion:
    """One motion for `count` pushes that are alike."""
    rank = motion.power.ndim
    each = {one.name: getattr(motion, one.name) for one in fields(SlideMotion)}
    return SlideMotion(**{name: np.broadcast_to(value, (count, *value.shape[rank:])) for name, value in each.items()})


def _stepped(rates: PushRates, pose: FloatArray, slope: FloatArray, step: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Poses (k, 4) after one step of each (k,), and the slopes (stages, k, 4) on the way."""
    slopes = np.empty((STAGES, *pose.shape))
    slopes[0] = slope
    for stage in range(1, STAGES):
        slopes[stage] = rates.rate(pose + step[:, None] * np.einsum("s,sni->ni", _LOOKS[stage, :stage], slopes[:stage]))
    return pose + step[:, None] * np.einsum("s,sni->ni", _STEP, slopes), slopes


def _of_kappa(error: FloatArray, pose: FloatArray, clock: FloatArray, mid: FloatArray, lever: FloatArray) -> FloatArray:
    """(k,) 1/m: what an error (k, 4) of the pose (k, 4) at this clock (k,) does to kappa at the end of the push."""
    half = pose[:, 2] / 2
    away = pose[:, 0] + mid * (np.cos(pose[:, 2]) - 1.0), pose[:, 1] + mid * np.sin(pose[:, 2])
    sideways = (away[1] * np.cos(half) - away[0] * np.sin(half)) / clock
    turned = pose[:, 2] / clock
    moved = error[:, 1] + np.abs(half) * error[:, 0] + np.abs(mid) * error[:, 2]
    across = np.abs(sideways) * error[:, 2] + np.abs(turned) * moved
    return np.asarray(across / np.maximum(sideways**2 + (turned * lever) ** 2, 1e-18), float)
