"""A car that hands hold over the floor: set aside, set straight, taken away. What moves it then is no push."""

import numpy as np

from vision.base.robust import MAD_TO_SIGMA
from vision.base.types import FloatArray

LEAST_LIFT = 0.005  # m: more than a body rises on its springs, or as it is pushed low
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
    runs = np.split(np.arange(len(held)), np.flatnonzero(np.diff(held)) + 1)
    for run in runs:
        if len(run) < IN_A_ROW:
            held[run] = False
    return np.where(held, away, 0.0)
