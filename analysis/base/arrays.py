"""Array types shared by this room. Wheels are always front-left, front-right, rear-left, rear-right."""

import numpy as np
import numpy.typing as npt

from analysis.base.wheel_names import WHEELS as WHEELS

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

FL, FR, RL, RR = 0, 1, 2, 3
"""Places of the wheels on the last axis of every per-wheel array."""
