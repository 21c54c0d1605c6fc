"""How fast a body moved on its way, from its poses: velocity and acceleration of one of its points, with their ±."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.plane import place
from analysis.measured.smoother import smoothed

SPEEDS = 2
"""How speeds are found. 1: local parabolas, which take a few per cent off a peak and do not say so (records that do not
say how; they are computed again in that way). 2: a smoother whose ± holds what it takes off."""


NEAR_REST = 0.03
"""Of the way: a body that is nearer to a rest is taken to be at rest there, for its speed."""
LEAST_ON_WAY = 5
"""Frames that a speed is found from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SmoothMotion:
    """Speed and acceleration of one body point against time, each with its standard uncertainty.

    time (n,) s.  velocity (n, 3), acceleration (n, 3): x, y of the point in floor axes (m/s, m/s2) and yaw (rad/s,
    rad/s2).  velocity_u, acceleration_u (n, 3).
    """

    time: FloatArray
    velocity: FloatArray
    velocity_u: FloatArray
    acceleration: FloatArray
    acceleration_u: FloatArray

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


def left_rest(pose: FloatArray, start: FloatArray, end: FloatArray, *, arm: float) -> slice:
    """Which frames have left one rest and not reached the other: a push that starts at once is no wave there.

    pose: (n, 3), in order.  start, end: (3,) poses at rest.  arm: m, at which a turn counts as way.
    """
    size = np.array([1.0, 1.0, arm])
    off = np.stack([np.linalg.norm((pose - rest) * size, axis=1) for rest in (start, end)])
    own = np.flatnonzero(off.min(0) > NEAR_REST * off.max())
    return slice(int(own[0]), int(own[-1]) + 1) if len(own) else slice(0, 0)


def smooth_motion(
    time: FloatArray,
    pose: FloatArray,
    covariance: FloatArray,
    *,
    point: FloatArray | tuple[float, float] = (0.0, 0.0),
    how: int = SPEEDS,
) -> SmoothMotion:
    """Speed and acceleration of a body point on its way: give the frames of a slide with little of its rests.

    time (n,) s, increasing, steps may differ; pose (n, 3); covariance (n, 3, 3) per frame; point (2,) m, car axes.
    how: see `SPEEDS`.
    Two kinds of motion are tried, one whose velocity may change suddenly and one whose acceleration may, and taken
    together by how well each foretells the poses; half of their difference is in the ±, since a push may be of neither
    kind.
    """
    point = np.asarray(point, float)
    lever = place(np.concatenate([np.zeros((len(time), 2)), pose[:, 2:]], 1), point)
    track = np.concatenate([pose[:, :2] + lever, pose[:, 2:]], 1)
    of_pose = np.tile(np.eye(3), (len(time), 1, 1))
    of_pose[:, 0, 2], of_pose[:, 1, 2] = -lever[:, 1], lever[:, 0]
    stated = np.einsum("nij,njk,nik->ni", of_pose, covariance, of_pose)
    if how == 1:
        return _by_parabolas(time, track, stated)
    sudden, eased = (smoothed(time, track, stated, order=order) for order in (2, 3))
    share = 1.0 / (1.0 + np.exp(np.clip(eased.evidence - sudden.evidence, -50.0, 50.0)))  # (3,), of the sudden one
    rates = np.stack([sudden.state[..., 1], eased.state[..., 1]])
    spreads = np.stack([sudden.variance[..., 1], eased.variance[..., 1]])
    velocity = share * rates[0] + (1.0 - share) * rates[1]
    variance = share * (spreads[0] + (rates[0] - velocity) ** 2)
    variance += (1.0 - share) * (spreads[1] + (rates[1] - velocity) ** 2)
    variance += (0.5 * (rates[0] - rates[1])) ** 2
    return SmoothMotion(
        time=time,
        velocity=velocity,
        velocity_u=np.sqrt(variance),
        acceleration=eased.state[..., 2],
        acceleration_u=np.sqrt(eased.variance[..., 2]),
    )


def _by_parabolas(time: FloatArray, track: FloatArray, stated: FloatArray) -> SmoothMotion:
    """From local parabolas in time. track, stated: (n, 3) of the point, and the variances of its poses.

    Each frame takes the widest window (2 to 20 frames either side) whose velocity agrees with all narrower ones (O. V.
    Lepski's rule, from memory): wide where the motion is smooth, narrow where it changes. The noise is the larger of
    the stated covariance and what the parabola leaves.
    """
    n = len(time)
    velocity, velocity_u = np.zeros((n, 3)), np.full((n, 3), np.inf)
    acceleration, acceleration_u = np.zeros((n, 3)), np.full((n, 3), np.inf)
    low, high = np.full((n, 3), -np.inf), np.full((n, 3), np.inf)
    open_ = np.ones(n, bool)
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
        scatter = ((track[window] - design @ fitted) ** 2).sum(1) / (width - 3)
        noise = np.maximum(scatter, stated[window].mean(1))
        rate, rate_u = fitted[:, 1] / reach, np.sqrt(noise * inverse[:, 1, 1, None]) / reach
        bend, bend_u = fitted[:, 2] / reach**2, np.sqrt(noise * inverse[:, 2, 2, None]) / reach**2
        low_new, high_new = np.maximum(low, rate - 2 * rate_u), np.minimum(high, rate + 2 * rate_u)
        open_ &= (low_new <= high_new).all(1)
        if not open_.any():
            break
        low[open_], high[open_] = low_new[open_], high_new[open_]
        velocity[open_], velocity_u[open_] = rate[open_], rate_u[open_]
        acceleration[open_], acceleration_u[open_] = bend[open_], bend_u[open_]
    return SmoothMotion(
        time=time,
        velocity=velocity,
        velocity_u=velocity_u,
        acceleration=acceleration,
        acceleration_u=acceleration_u,
    )
