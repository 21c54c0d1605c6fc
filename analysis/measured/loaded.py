"""The turn between two loaded poses: after the tyres have wound up, before the finger leaves."""

from dataclasses import dataclass
from enum import Enum

from analysis.base.arrays import FloatArray


class PosesUsed(Enum):
    """Between which poses a turn was taken. The value is for people."""

    BETWEEN_LOADED = "between two loaded poses"
    REST_TO_LOADED = "from rest to the loaded end"
    REST_TO_RELEASED = "from rest to rest, after the finger had left"
    REST_TO_REST = "from rest to rest"

    @property
    def share(self) -> float:
        """Standard uncertainty of a balance point from the tyres' wind-up, as a part of the distance between push
        and balance (computed with spring tyres: 1.1-1.4 %, 1.5-1.8 % and 5-7 %; rest to rest may be either of
        the last two)."""
        return {
            PosesUsed.BETWEEN_LOADED: 0.013,
            PosesUsed.REST_TO_LOADED: 0.018,
            PosesUsed.REST_TO_RELEASED: 0.06,
            PosesUsed.REST_TO_REST: 0.06,
        }[self]


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedTurn:
    """The turn of one push between the poses that the clip allows.

    poses: which they are.  kappa, own_u: 1/m.  interval: 95 %, 1/m.  turn: rad.  travel: m, of the mid-wheelbase
    point along the left axis of the middle heading.  drift, drift_u: forward per sideways travel.
    start_time, end_time: s, of the two poses.  springback: m, how far the touched place came back afterwards (0 when
    it did not).  dwell: s, how long the car stood before that.  said: what falls short, sentences for people.
    """

    poses: PosesUsed
    kappa: float
    own_u: float
    interval: tuple[float, float]
    turn: float
    travel: float
    drift: float
    drift_u: float
    start_time: float
    end_time: float
    springback: float
    dwell: float
    said: tuple[str, ...] = ()


def loaded_turn(
    time: FloatArray,
    pose: FloatArray,
    covariance: FloatArray,
    repeating: FloatArray,
    *,
    start_time: float,
    end_time: float,
    wheelbase: float,
    station: float,
) -> LoadedTurn:
    """The turn between two loaded poses of the push that lies between two rests, as far as the clip shows them.

    time (n,) s, pose (n, 3) m m rad, covariance (n, 3, 3), repeating (3, 3) or (n, 3, 3): the track, as `measure_pivot`
    takes it.  start_time, end_time: s, last rest before and first rest after (`MeasuredPush`); with a springback
    that was counted as a push of its own, end_time is that of the springback.  wheelbase, station: m.
    Raises InputError when fewer than six frames lie between the two.
    """
    raise NotImplementedError
