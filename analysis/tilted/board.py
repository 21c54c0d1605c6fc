"""The tilted board itself: its angle, how far a car may be tilted, and whether what the pads sum to fits the angle."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.statistics.estimate import Estimate
from analysis.statistics.quantiles import NORMAL_95

MOST_DEG = 15.0
"""Up to here loads on the board are those of the accelerated car within half a per cent of the mean wheel load."""
FIRST_TYRE = 0.71
"""Of atan(grip): the worst of many cars slid a first tyre there, long before all four would (computed)."""
TIP_SHARE = 0.6
"""Of the angle at which the car would tip: far enough from it for a hand that slips."""


def board_angle(height: float, length: float, *, height_u: float, length_u: float) -> Estimate:
    """Angle of a board, rad: one end raised by `height` over `length` of board, m.

    height_u, length_u: m, standard. Raises InputError where the end is as high as the board is long.
    Source: sine of a right triangle; a phone's level is not enough (0.1 degrees are 0.7 % of the height at 15).
    """
    if not (np.isfinite([height, length]).all() and length > 0 and 0 <= height < length):
        raise InputError(
            f"{height:g} m high over {length:g} m of board is no tilt",
            where="angle",
            remedy="Give the height of the raised end over the lower one, and the length between both",
        )
    slope = height / length
    u = float(np.hypot(height_u, slope * length_u) / length / np.sqrt(1 - slope**2))
    return Estimate(value=float(np.arcsin(slope)), u=u)


@dataclass(frozen=True, slots=True, kw_only=True)
class SafeTilt:
    """How far to tilt. degrees: the advice.  slides, tips: degrees at which a first tyre may slide, the car tips over.

    bound: "first tyre", "tipping" or "board", whichever ends it.
    """

    degrees: float
    slides: float
    tips: float
    bound: str


def safe_tilt(*, grip: float, base: float, height: float) -> SafeTilt:
    """The angle up to which this car stands safely. grip: the lowest that its tyres may have.

    base: m, contact track (or wheelbase, nose up).  height: m, the highest that the centre of gravity may lie.
    Raises InputError for a grip, base or height that is not positive.  Source: statics of a block on a slope.
    """
    if not (np.isfinite([grip, base, height]).all() and min(grip, base, height) > 0):
        raise InputError(
            "grip, track and height must be above 0", where="safe tilt", remedy="Correct them on the cards"
        )
    slides = float(np.degrees(FIRST_TYRE * np.arctan(grip)))
    tips = float(np.degrees(np.arctan(base / (2 * height))))
    ends = {"board": MOST_DEG, "first tyre": slides, "tipping": TIP_SHARE * tips}
    bound = min(ends, key=lambda name: ends[name])
    return SafeTilt(degrees=ends[bound], slides=slides, tips=tips, bound=bound)


def without_plates(reading: FloatArray, empty: FloatArray) -> FloatArray:
    """(..., 4) N that the car puts on the pads: what they read less what they read empty at the same angle.

    The plates' own weight counts with the cosine of the tilt, and leans on the cell: only an empty reading at the same
    angle has both.  reading, empty: (..., 4) N.
    """
    return np.asarray(np.asarray(reading, dtype=float) - np.asarray(empty, dtype=float), dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class SumCheck:
    """What the pads sum to beside the weight times the cosine. ratio, u: less 1, and its standard uncertainty.

    fits: whether it is 0 within 95 %.  angle_seen: rad, an error of the angle from which on it would show.
    """

    ratio: float
    u: float
    fits: bool
    angle_seen: float


def sum_check(total: float, weight: float, angle: Estimate, *, total_u: float, side_force_u: float) -> SumCheck:
    """Whether the sum on the tilted pads is the weight's part square to the board.

    total, weight: N on the tilted and on the level pads.  total_u: N, of their difference.  side_force_u: reading per
    side force, as it is on all pads alike.  Source: component of the weight.
    """
    ratio = total / (weight * np.cos(angle.value)) - 1.0
    u = float(np.sqrt((total_u / weight) ** 2 + (np.tan(angle.value) * np.hypot(angle.u, side_force_u)) ** 2))
    seen = NORMAL_95 * float(np.hypot(total_u / weight, np.tan(angle.value) * side_force_u))
    return SumCheck(
        ratio=float(ratio),
        u=u,
        fits=bool(abs(ratio) <= NORMAL_95 * u),
        angle_seen=seen / float(np.tan(angle.value)) if angle.value > 0 else float("inf"),
    )
