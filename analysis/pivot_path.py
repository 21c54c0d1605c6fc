"""The pivot over a whole slide: one fixed pivot, or one that wanders as the car turns; speeds on the way."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from analysis.motion import place

HIGHEST_DEGREE = 5
LEAST_TURN = 0.026
"""rad (1.5 degrees): below this a pivot at every moment says nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PivotPath:
    """Instant pivot against rotation, fitted to all poses of one slide by total least squares.

    fixed: (2,) m car axes, the one pivot that fits all poses best.  fixed_covariance: (2, 2).
    fixed_chi2, fixed_dof: of that fit, in units of the scatter about the wandering fit.
    wanders: the fixed pivot is rejected (p below 0.001).  wander: m, how far the pivot station moves.
    degree: of the polynomial in rotation used below.
    turn: (m,) rad since the start.  pivot: (m, 2) m car axes at those rotations.  pivot_covariance: (m, 2,
    2).
    rms: m, scatter of the poses about the wandering fit.  frames: poses used.
    """

    fixed: FloatArray
    fixed_covariance: FloatArray
    fixed_chi2: float
    fixed_dof: int
    wanders: bool
    wander: float
    degree: int
    turn: FloatArray
    pivot: FloatArray
    pivot_covariance: FloatArray
    rms: float
    frames: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SmoothMotion:
    """Speed and acceleration of one body point against time, each with its standard uncertainty.

    time (n,) s.  velocity (n, 3), acceleration (n, 3): x, y of the point in floor axes (m/s, m/s2) and yaw
    (rad/s,
    rad/s2).  velocity_u, acceleration_u (n, 3).  half_width: (n,) frames on either side that were smoothed
    over.
    """

    time: FloatArray
    velocity: FloatArray
    velocity_u: FloatArray
    acceleration: FloatArray
    acceleration_u: FloatArray
    half_width: np.ndarray

    @property
    def speed(self) -> FloatArray:
        """(n,) m/s."""
        speed: FloatArray = np.hypot(self.velocity[:, 0], self.velocity[:, 1])
        return speed

    @property
    def speed_u(self) -> FloatArray:
        """(n,) m/s, along the direction of motion."""
        square = np.maximum(self.speed**2, 1e-30)
        share = self.velocity[:, :2] ** 2 / square[:, None]
        speed_u: FloatArray = np.sqrt((share * self.velocity_u[:, :2] ** 2).sum(1))
        return speed_u


def smooth_motion(
    time: FloatArray,
    pose: FloatArray,
    covariance: FloatArray,
    *,
    point: FloatArray | tuple[float, float] = (0.0, 0.0),
) -> SmoothMotion:
    """Speed and acceleration of a body point from local parabolas in time.

    time (n,) s, increasing, steps may differ; pose (n, 3); covariance (n, 3, 3) per frame; point (2,) m,
    car axes.
    Each frame takes the widest window (2 to 20 frames either side) whose velocity agrees with all narrower
    ones
    (O. V. Lepski's rule, from memory): wide where the motion is smooth, narrow where it changes.
    The noise is the larger of the stated covariance and what the parabola leaves.
    """
    point = np.asarray(point, float)
    n = len(time)
    lever = place(np.concatenate([np.zeros((n, 2)), pose[:, 2:]], 1), point)
    track = np.concatenate([pose[:, :2] + lever, pose[:, 2:]], 1)
    of_pose = np.tile(np.eye(3), (n, 1, 1))
    of_pose[:, 0, 2], of_pose[:, 1, 2] = -lever[:, 1], lever[:, 0]
    stated = np.einsum("nij,njk,nik->ni", of_pose, covariance, of_pose)

    velocity, velocity_u = np.zeros((n, 3)), np.full((n, 3), np.inf)
    acceleration, acceleration_u = np.zeros((n, 3)), np.full((n, 3), np.inf)
    low, high = np.full((n, 3), -np.inf), np.full((n, 3), np.inf)
    chosen, open_ = np.zeros(n, int), np.ones(n, bool)
    for half in (2, 3, 4, 6, 9, 13, 20):
        width = 2 * half + 1
        if width > n:
            break
        window = np.clip(np.arange(n) - half, 0, n - width)[:, None] + np.arange(width)
        t = time[window] - time[:, None]
        reach = np.abs(t).max(1, keepdims=True)
        design = np.stack([np.ones_like(t), t / reach, 0.5 * (t / reach) ** 2], -1)
        inverse = np.linalg.inv(np.swapaxes(design, 1, 2) @ design)
        fitted = inverse @ np.swapaxes(design, 1, 2) @ track[window]
        left = ((track[window] - design @ fitted) ** 2).sum(1) / (width - 3)
        noise = np.maximum(left, stated[window].mean(1))
        rate, rate_u = fitted[:, 1] / reach, np.sqrt(noise * inverse[:, 1, 1, None]) / reach
        bend, bend_u = fitted[:, 2] / reach**2, np.sqrt(noise * inverse[:, 2, 2, None]) / reach**2
        low_new, high_new = np.maximum(low, rate - 2 * rate_u), np.minimum(high, rate + 2 * rate_u)
        open_ &= (low_new <= high_new).all(1)
        if not open_.any():
            break
        low[open_], high[open_], chosen[open_] = low_new[open_], high_new[open_], half
        velocity[open_], velocity_u[open_] = rate[open_], rate_u[open_]
        acceleration[open_], acceleration_u[open_] = bend[open_], bend_u[open_]
    return SmoothMotion(
        time=time,
        velocity=velocity,
        velocity_u=velocity_u,
        acceleration=acceleration,
        acceleration_u=acceleration_u,
        half_width=chosen,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """Coefficients (2 + 2 (degree + 1),) with covariance, residuals (n, 2) and their covariance (n, 2, 2)."""

    value: FloatArray
    covariance: FloatArray
    left: FloatArray
    spread: FloatArray

    def chi2(self) -> FloatArray:
        """(n,) squared residual of each pose in units of its own variance."""
        square: FloatArray = np.einsum("ni,nij,nj->n", self.left, np.linalg.inv(self.spread), self.left)
        return square


def _swept(yaw: FloatArray, start: float, end: float, degree: int) -> tuple[FloatArray, FloatArray]:
    """Legendre polynomials (n, degree + 1) at the given yaw and their integrals (n, 2, 2, degree + 1).

    The integral from `start` to yaw is of d rotation / d yaw times each polynomial, by Gauss's rule (24
    nodes).
    """
    rule = np.polynomial.legendre.leggauss(24)
    node, weight = rule[0].astype(np.float64), rule[1].astype(np.float64)
    half = (yaw - start) / 2.0
    inner = start + half[:, None] * (1.0 + node)
    basis: FloatArray = np.polynomial.legendre.legvander(
        2.0 * (inner - start) / (end - start) - 1.0, degree
    ).astype(np.float64)
    c, s = np.cos(inner)[..., None] * basis, np.sin(inner)[..., None] * basis
    row = np.einsum("nqk,q->nk", c, weight) * half[:, None], np.einsum("nqk,q->nk", s, weight) * half[:, None]
    integral: FloatArray = np.stack([np.stack([-row[1], -row[0]], 1), np.stack([row[0], -row[1]], 1)], 1)
    own: FloatArray = np.polynomial.legendre.legvander(
        2.0 * (yaw - start) / (end - start) - 1.0, degree
    ).astype(np.float64)
    return own, integral


def _fit(
    pose: FloatArray, covariance: FloatArray, trust: FloatArray, ends: tuple[float, float], degree: int
) -> _Fit:
    """Weighted fit of p(yaw) = p0 - integral of R'(yaw) c(yaw), c a polynomial: linear in its coefficients.

    The yaw noise acts through the slope, so each pose gets the variance of its own residual and the fit is
    repeated (effective variance: total least squares to first order in the noise).
    """
    n = len(pose)
    own, integral = _swept(pose[:, 2], *ends, degree)
    design = np.concatenate([np.tile(np.eye(2), (n, 1, 1)), -integral.reshape(n, 2, -1)], 2)
    turned = np.stack([np.cos(pose[:, 2]), np.sin(pose[:, 2])], -1)
    spread = covariance[:, :2, :2] + 1e-14 * np.eye(2)
    for _ in range(5):
        weight = np.linalg.inv(spread) * trust[:, None, None]
        normal = np.einsum("nia,nij,njb->ab", design, weight, design)
        right = np.einsum("nia,nij,nj->a", design, weight, pose[:, :2])
        scale = 1.0 / np.sqrt(np.diagonal(normal))
        inverse = np.linalg.inv(normal * scale[:, None] * scale[None, :]) * scale[:, None] * scale[None, :]
        value = inverse @ right
        pivot = own @ value[2:].reshape(2, degree + 1).T
        c, s = turned[:, 0], turned[:, 1]
        slope = np.stack([-s * pivot[:, 0] - c * pivot[:, 1], c * pivot[:, 0] - s * pivot[:, 1]], -1)
        mixing = np.concatenate([np.tile(np.eye(2), (n, 1, 1)), slope[..., None]], 2)
        spread = mixing @ covariance @ np.swapaxes(mixing, 1, 2) + 1e-14 * np.eye(2)
    return _Fit(value=value, covariance=inverse, left=pose[:, :2] - design @ value, spread=spread)


def fit_pivot_path(
    pose: FloatArray, covariance: FloatArray, *, moving: np.ndarray, points: int = 21
) -> PivotPath | None:
    """Fit a fixed and a wandering pivot to all poses of one slide.

    pose (n, 3), in time order from the rest before to the rest after; covariance (n, 3, 3) per frame.
    moving: (n,) bool, frames between the rests: their noise is taken from the fit, since blurred frames
    scatter far
    more than they state.  points: at how many rotations the path is given.
    Returns None when the car turns by less than 1.5 degrees or there are fewer than 8 poses.
    The degree of the path is that of the smallest Bayesian information criterion (G. Schwarz, Ann. Stat. 6
    (1978)
    461-464); the fixed pivot is tested by the fall in chi-square that the path brings.
    """
    from scipy.special import chdtrc

    n = len(pose)
    rest_before, rest_after = np.flatnonzero(~moving)[:1], np.flatnonzero(~moving)[-1:]
    if n < 8 or len(rest_before) == 0:
        return None
    first_move = np.flatnonzero(moving)
    split = first_move[0] if len(first_move) else n // 2
    before, after = ~moving & (np.arange(n) < split), ~moving & (np.arange(n) >= split)
    if not before.any() or not after.any() or rest_before == rest_after:
        return None
    ends = (float(pose[before, 2].mean()), float(pose[after, 2].mean()))
    if abs(ends[1] - ends[0]) < LEAST_TURN:
        return None

    highest = int(np.clip(moving.sum() // 3 - 1, 0, HIGHEST_DEGREE))
    trust = np.ones(n)
    inflated = covariance
    for _ in range(3):
        full = _fit(pose, inflated, trust, ends, highest)
        square = full.chi2()
        slack = max(1.0 - (2.0 * highest + 4.0) / (2.0 * n), 0.3)
        factor = np.ones(n)
        for group in (moving, ~moving):
            if group.any():  # 1.386: median of chi-square with 2 degrees of freedom
                factor[group] = max(float(np.median(square[group])) / 1.386 / slack, 1e-4)
        inflated = inflated * factor[:, None, None]
        # Huber's weights: poses beyond 2.5 of their own sigma pull less.
        trust = np.minimum(1.0, 2.5 / np.sqrt(np.maximum(square / factor, 1e-12)))

    fits = [_fit(pose, inflated, trust, ends, degree) for degree in range(highest + 1)]
    chi2 = [float((trust * fit.chi2()).sum()) for fit in fits]
    cost = [value + (4 + 2 * degree) * np.log(2.0 * n) for degree, value in enumerate(chi2)]
    degree = int(np.argmin(cost))
    gain = chi2[0] - chi2[degree]
    wanders = degree > 0 and float(chdtrc(2 * degree, max(gain, 0.0))) < 1e-3

    chosen, fixed = fits[degree], fits[0]
    share = np.linspace(-1.0, 1.0, points)
    basis = np.polynomial.legendre.legvander(share, degree)
    spread = chosen.covariance[2:, 2:].reshape(2, degree + 1, 2, degree + 1)
    pivot = basis @ chosen.value[2:].reshape(2, degree + 1).T
    inner = np.abs(share) <= 0.9  # the ends of a polynomial are its least certain part
    return PivotPath(
        fixed=fixed.value[2:].reshape(2, 1)[:, 0],
        fixed_covariance=fixed.covariance[2:, 2:],
        fixed_chi2=chi2[0],
        fixed_dof=2 * n - 4,
        wanders=wanders,
        wander=float(np.ptp(pivot[inner, 0])) if wanders else 0.0,
        degree=degree,
        turn=(share + 1.0) / 2.0 * (ends[1] - ends[0]),
        pivot=pivot,
        pivot_covariance=np.einsum("mk,ikjl,ml->mij", basis, spread, basis),
        rms=float(np.sqrt(np.mean(np.sum(chosen.left**2, -1)))),
        frames=n,
    )
