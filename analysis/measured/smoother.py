"""Position, velocity and acceleration from noisy positions at any times, with all that is not known in the ±.

A coordinate is taken for a random function whose second (or third) derivative is white noise: a smoothing spline seen
as a Gaussian process (G. Wahba, J. R. Stat. Soc. B 45 (1983) 133-150, from memory), worked out by the filter of R. E.
Kalman and the backward pass of H. E. Rauch, F. Tung and C. T. Striebel (AIAA J. 3 (1965) 1445-1450, from memory). How
strong that noise is, and how noisy the positions are, they tell themselves; what several answers make of it is taken
together by how well each foretells the positions. So the spread holds the noise that comes through as well as what
smoothing takes off a peak, which a local parabola's does not.
"""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray

STRENGTHS = 10.0 ** np.arange(-2.0, 8.0)
"""Of the white noise, against a motion that takes the whole time for the whole way."""
NOISES = 4.0 ** np.arange(-5.0, 2.0)
"""Variance of the positions against what three quarters of them state at most: of a moving body that is a rough guess,
and mostly a bound."""
NOISIER = 4.0
"""A position whose stated variance is more than this times as large is noisier than the others."""
LIKELIEST = 12
"""Likeliest pairs of strength and noise that are taken together."""
FORGETS_START = 3
"""Positions after which nothing is left of not knowing where a motion starts from."""
SMALLEST_WAY = 1e-4
"""m, rad: a coordinate that hardly moves is still asked for motions of this size."""
QUICKEST_START = 10.0
"""How quick a motion may be as it begins, against its mean speed; and within one step it may have become so."""
LEAST_NOISE = 1e-6
"""Of the way: what rounding allows to be known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Smoothed:
    """state, variance: (n, c, o) position, velocity and, for o = 3, acceleration of c coordinates.

    evidence: (c,) log likelihood of the positions, averaged over strengths and noises, comparable between orders.
    """

    state: FloatArray
    variance: FloatArray
    evidence: FloatArray


def smoothed(time: FloatArray, position: FloatArray, variance: FloatArray, *, order: int) -> Smoothed:
    """Smooth c coordinates, each by itself.

    time: (n,) s, increasing.  position: (n, c).  variance: (n, c) stated of each position's noise.
    order: 2 for white acceleration (velocity may change suddenly), 3 for white jerk (acceleration may).
    """
    took = time[-1] - time[0]
    way = np.maximum(np.ptp(position, axis=0), SMALLEST_WAY)
    usual = np.maximum(np.quantile(variance, 0.75, axis=0), (LEAST_NOISE * way) ** 2)
    noise = usual * np.maximum(variance / (NOISIER * usual), 1.0)
    pairs = np.array([(strength, level) for strength in STRENGTHS for level in NOISES])
    strengths = pairs[:, :1] * (way / took**order) ** 2 * took
    levels = np.repeat(pairs[:, 1:], len(way), axis=1)
    chance = _filtered(time, position, noise, strengths, levels, order, keep=False).chance
    most = chance.max(0)
    share = np.exp(chance - most)
    best, own = np.argsort(share, axis=0)[-LIKELIEST:], np.arange(len(way))
    ahead = _filtered(time, position, noise, strengths[best, own], levels[best, own], order, keep=True)
    state, spread = _backward(time, ahead, order)
    weight = (share[best, own] / share[best, own].sum(0))[None, :, :, None]
    mean = (weight * state).sum(1)
    within = np.maximum(np.diagonal(spread, axis1=-2, axis2=-1), 0.0)
    among = (state - mean[:, None]) ** 2
    return Smoothed(state=mean, variance=(weight * (within + among)).sum(1), evidence=most + np.log(share.mean(0)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Filtered:
    """The forward pass for s pairs of strength and noise. chance: (s, c) log likelihood.

    state, guess: (n, s, c, o) after and before each position is seen, with their covariances (n, s, c, o, o); of the
    last position alone where they are not kept.
    """

    state: FloatArray
    covariance: FloatArray
    guess: FloatArray
    guess_covariance: FloatArray
    chance: FloatArray


def _filtered(
    time: FloatArray,
    position: FloatArray,
    noise: FloatArray,
    strength: FloatArray,
    level: FloatArray,
    order: int,
    *,
    keep: bool,
) -> _Filtered:
    """noise: (n, c), multiplied by the level (s, c) of each pair.  strength: (s, c)."""
    count = len(time)
    shape = (*strength.shape, order)
    states, guesses = (np.empty((count if keep else 1, *shape)) for _ in range(2))
    spreads, guess_spreads = (np.empty((count if keep else 1, *shape, order)) for _ in range(2))
    state, spread = np.zeros(shape), np.zeros((*shape, order))
    way = np.maximum(np.ptp(position, axis=0), SMALLEST_WAY)[:, None]
    took, usual = time[-1] - time[0], float(np.median(np.diff(time)))
    state[..., 0] = position[0]
    unknown = np.array([1.0, QUICKEST_START / took, QUICKEST_START / (took * usual)])
    spread[..., range(order), range(order)] = (way * unknown[:order]) ** 2
    chance, first = np.zeros(shape[:2]), np.eye(order)[0]
    for k in range(count):
        if k:
            step, added = _steps(time[k] - time[k - 1], order)
            state = state @ step.T
            spread = step @ spread @ step.T + strength[..., None, None] * added
        guesses[k * keep], guess_spreads[k * keep] = state, spread
        own = noise[k] * level
        off, off_variance = position[k] - state[..., 0], spread[..., 0, 0] + own
        gain = spread[..., 0] / off_variance[..., None]
        state = state + gain * off[..., None]
        left = np.eye(order) - gain[..., :, None] * first
        spread = left @ spread @ np.swapaxes(left, -1, -2)  # the form that stays positive, P. D. Joseph's
        spread += own[..., None, None] * gain[..., :, None] * gain[..., None, :]
        states[k * keep], spreads[k * keep] = state, spread
        if k >= FORGETS_START:
            chance -= 0.5 * (off**2 / off_variance + np.log(off_variance))
    return _Filtered(state=states, covariance=spreads, guess=guesses, guess_covariance=guess_spreads, chance=chance)


def _backward(time: FloatArray, ahead: _Filtered, order: int) -> tuple[FloatArray, FloatArray]:
    """States (n, s, c, o) and covariances (n, s, c, o, o) with all positions seen."""
    state, spread = ahead.state.copy(), ahead.covariance.copy()
    for k in range(len(time) - 2, -1, -1):
        step, _ = _steps(time[k + 1] - time[k], order)
        gain = spread[k] @ step.T @ np.linalg.inv(ahead.guess_covariance[k + 1])
        state[k] += (gain @ (state[k + 1] - ahead.guess[k + 1])[..., None])[..., 0]
        spread[k] += gain @ (spread[k + 1] - ahead.guess_covariance[k + 1]) @ np.swapaxes(gain, -1, -2)
    return state, spread


def _steps(d: float, order: int) -> tuple[FloatArray, FloatArray]:
    """How a state goes on over d s, and the covariance that white noise of strength one adds."""
    if order == 2:
        return np.array([[1.0, d], [0.0, 1.0]]), np.array([[d**3 / 3, d**2 / 2], [d**2 / 2, d]])
    go_on = np.array([[1.0, d, d**2 / 2], [0.0, 1.0, d], [0.0, 0.0, 1.0]])
    added = np.array([[d**5 / 20, d**4 / 8, d**3 / 6], [d**4 / 8, d**3 / 3, d**2 / 2], [d**3 / 6, d**2 / 2, d]])
    return go_on, added
