"""A car that hands hold over the floor: set aside, set straight, taken away. What moves it then is no push."""

import numpy as np

from vision.base.robust import MAD_TO_SIGMA
from vision.base.types import FloatArray
from vision.base.windows import runs_of

LEAST_LIFT = 0.0025  # m: more than a body on usual springs rises as it is pushed; the plate's height scatters by less
SURE_LIFT = 6.0  # times the usual scatter of the plate's height
IN_A_ROW = 3  # pictures: one or two may be a coder's or a finger's over a marker


def lift_of(rise: FloatArray) -> FloatArray:
    """(n,) m, how high the car is held over the floor, 0 where it stands. rise: (n,) m, of the plate, from any level.

    It stands in most pictures.
    """
    away = rise - np.median(rise)
    if len(away) < 2 * IN_A_ROW:
        return np.zeros(len(rise))
    scatter = MAD_TO_SIGMA * float(np.median(np.abs(away)))
    held = away > max(LEAST_LIFT, SURE_LIFT * scatter)
    for run in runs_of(held):
        if len(run) < IN_A_ROW:
            held[run] = False
    return np.where(held, away, 0.0)
