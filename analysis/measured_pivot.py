"""From a timed pose track to measured pivots: every push found, each with its turn per travel and its doubt."""

from dataclasses import dataclass

from analysis.arrays import FloatArray
from analysis.pivot import PivotEstimate
from analysis.pivot_path import PivotPath


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredPush:
    """One push: two rests and the slide between them.

    number: 1 for the first push of the clip.  estimate: turn per travel and what follows from it.
    start_pose, end_pose: (3,) mean rest poses in floor axes (m, m, rad).
    start_covariance, end_covariance: (3, 3), scatter of the mean plus what repeats; cards not included.
    turn, turn_u: rad.  travel, travel_u: m, sideways travel of the mid-wheelbase point.
    start_time, end_time: s, last rest before and first rest after.  rest_frames: averaged at either end.
    peak_speed, peak_speed_u: m/s, fastest of the mid-wheelbase point; peak_yaw_rate, peak_yaw_rate_u: rad/s.
    pole: (2,) m car axes with pole_covariance (2, 2), cards included; None when no pivot can be named.
    path: instant pivot against rotation, None when the car turned too little for it.
    outliers: frames of the slide and its rests that were left out as single outliers.
    """

    number: int
    estimate: PivotEstimate
    start_pose: FloatArray
    end_pose: FloatArray
    start_covariance: FloatArray
    end_covariance: FloatArray
    turn: float
    turn_u: float
    travel: float
    travel_u: float
    start_time: float
    end_time: float
    rest_frames: tuple[int, int]
    peak_speed: float
    peak_speed_u: float
    peak_yaw_rate: float
    peak_yaw_rate_u: float
    pole: FloatArray | None
    pole_covariance: FloatArray | None
    path: PivotPath | None
    outliers: int
    warnings: tuple[str, ...] = ()


MeasuredPushes = tuple[MeasuredPush, ...]


def measure_pivot(
    time: FloatArray,
    pose: FloatArray,
    covariance: FloatArray,
    repeating: FloatArray,
    *,
    wheelbase: float,
    wheelbase_u: float = 0.0,
    place_u: FloatArray | tuple[float, float, float] = (0.0, 0.0, 0.0),
    scale_u: float = 0.0,
    least_travel: float = 0.001,
) -> MeasuredPushes:
    """Find every push in a pose track and measure its swing pivot.

    time: (n,) s, increasing.  pose: (n, 3) x, y (m, floor axes), yaw (rad, unwrapped) of the car axes.
    covariance: (n, 3, 3) the part that differs from frame to frame.
    repeating: (3, 3) the part that stays while the car rests, independent between two rests.
    wheelbase, wheelbase_u: m.  place_u: (3,) standard uncertainty of where the plate sits on the car (x, y in m,
    yaw in rad, car axes), common to all frames.  scale_u: relative, of all floor distances.
    least_travel: m, smaller displacements are not called a push.
    Raises InputError when the track is unusable or the car is never still before or after the push, and
    AnalysisError when nothing moves.
    """
    raise NotImplementedError
