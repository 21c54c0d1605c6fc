"""What pushes that were all made on one side of the balance point cannot tell, however often they are repeated."""

from collections.abc import Sequence

import numpy as np

from analysis.base.signs import two_digits
from analysis.forecast.inputs import CarState, PushState

WORTH_SAYING = 0.5
"""Of the ratio's ±: grip along the tyres is told of where it makes that much of it."""
AT_BALANCE = 0.02
"""Of the wheelbase: so near to the balance point a push is on neither side, and grip along the tyres does nothing."""


def balance_station(car: CarState, log_ratio: float) -> float:
    """m ahead of the rear axle, where a blocked car balances with this logarithm of its front-to-rear grip ratio."""
    shift = 0.5 * (log_ratio - float(np.log(car.grip_ratio)))
    capacity = car.load * car.grip * np.exp(shift * np.array([1.0, 1.0, -1.0, -1.0]))
    return float((capacity * car.contact_place[:, 0]).sum() / capacity.sum())


def one_side(pushes: Sequence[tuple[CarState, PushState]], log_ratio: float) -> int:
    """+1 where all pushes of blocked cars were ahead of the balance point, -1 where all were behind it, else 0.

    Also 0 where nothing is in doubt about grip along and across, or a push was made at the balance point itself.
    """
    sides = set()
    for car, push in pushes:
        away = (push.station - balance_station(car, log_ratio)) / car.wheelbase
        if abs(away) < AT_BALANCE or not np.any(car.along_u > 0.0):
            return 0
        sides.add(1 if away > 0.0 else -1)
    return sides.pop() if len(sides) == 1 else 0


def one_sided_words(side: int, *, u: float, without: float, balance_pct: float) -> str:
    """The sentence for people; "" where it is not worth one.

    u: relative standard uncertainty of the ratio; without: the same if grip along the tyres against across were known.
    balance_pct: where the car balances, per cent of the wheelbase.
    """
    part = float(np.sqrt(max(u**2 - without**2, 0.0)))
    if part < WORTH_SAYING * u:
        return ""
    where = "ahead of" if side > 0 else "behind"
    return (
        f"All of these pushes were made {where} the balance point (about {balance_pct:.0f} %): how much better the "
        f"tyres grip along than across moves what they say, by ±{two_digits(196 * part)} of the "
        f"±{two_digits(196 * u)} %, and more pushes at these places do not tell it. Push at the balance point, where "
        "it does nothing, and as far on the other side, where it acts the other way; or measure it: pivotbench grip "
        "along"
    )
