"""How much of a change a push shows at another place than the middle, and what pushes there can tell apart.

Source: of a blocked car, alike left and right, pushed by a slippery finger: least power of four Coulomb contacts,
derived by hand; with F, R the axles' grip, h half the track, X the pivot and s the push ahead of the rear axle,
F[(L-X)(L-s)+h2]/hypot(L-X, h) + R[X s+h2]/hypot(X, h) = 0, X = L/2 - 1/kappa. Lengths in wheelbases.
"""

from math import hypot

from analysis.balance.results import Placing
from analysis.set_ups.change import PUSH_SCATTER
from analysis.statistics.quantiles import NORMAL_95

HALF_TRACK = 0.32
"""Wheelbases: of a usual car (track five eighths of the wheelbase)."""
TENTH_MORE = 1.1
"""Front grip over rear grip after a change of a tenth, from 1."""
LARGEST = 50.0
"""Turn per travel, per wheelbase, beyond which nothing is looked for: a pivot within a fiftieth of the middle."""


def even_car_turn(station_pct: float, ratio: float) -> float:
    """Turn per travel, 1 per wheelbase, of a push at a place (per cent) for a front-to-rear grip ratio."""
    from scipy.optimize import brentq

    place, front = station_pct / 100.0, ratio / (1.0 + ratio)

    def moment(turn: float) -> float:
        ahead, behind = 0.5 * turn + 1.0, 0.5 * turn - 1.0
        square = turn * HALF_TRACK**2
        return float(
            front * (ahead * (1.0 - place) + square) / hypot(ahead, turn * HALF_TRACK)
            + (1.0 - front) * (behind * place + square) / hypot(behind, turn * HALF_TRACK)
        )

    return float(brentq(moment, -LARGEST, LARGEST))


def signal_at(station_pct: float) -> float:
    """What a tenth more front grip changes in turn per travel at a place, as a part of what it does at the middle."""
    there, middle = (even_car_turn(pct, TENTH_MORE) - even_car_turn(pct, 1.0) for pct in (station_pct, 50.0))
    return there / middle


def points_told_apart(pushes: int) -> float:
    """Points, 95 %: what so many pushes of each of two set-ups tell apart at the balance point, placed by a bare finger
    and with the scatter that is stated of pushes; nothing else counted."""
    each = hypot(Placing.BARE_FINGER.points, PUSH_SCATTER)
    return float(NORMAL_95 * each * (2.0 / pushes) ** 0.5)
