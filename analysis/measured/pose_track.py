"""The poses of a car through a clip, as every measurement of a push takes them."""

from dataclasses import dataclass

from analysis.base.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class PoseTrack:
    """time: (n,) s, increasing.  pose: (n, 3) x, y (m, floor axes), yaw (rad, unwrapped) of the car axes.

    covariance: (n, 3, 3) m², m rad, rad², the part that differs from frame to frame.
    repeating: (3, 3), or (n, 3, 3) where it differs from frame to frame (a hidden marker): the part that stays while
    the car rests, independent between two rests.
    """

    time: FloatArray
    pose: FloatArray
    covariance: FloatArray
    repeating: FloatArray
