"""The four wheels: their order on the last axis of every per-wheel array, and the patterns of loads."""

import numpy as np

FL, FR, RL, RR = 0, 1, 2, 3
"""Indices of the wheels on the last axis of every per-wheel array."""
AXLES = ((FL, FR), (RL, RR))
"""Left and right wheel of the front axle, then of the rear axle."""

FRONT = np.array([1.0, 1.0, 0.0, 0.0])
LEFT = np.array([1.0, 0.0, 1.0, 0.0])
DIAGONAL_FL_RR = np.array([1.0, 0.0, 0.0, 1.0])
FRONT_LESS_REAR = np.array([1.0, 1.0, -1.0, -1.0])
CROSS = np.array([1.0, -1.0, -1.0, 1.0])
"""(FL + RR) - (FR + RL): the one way in which a standing car of equal tracks can shift load."""
