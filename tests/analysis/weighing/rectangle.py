"""Where the tyres of a car with straight axles touch."""

import numpy as np


def rectangle_contacts(wheelbase: float, track: float, track_rear: float | None = None) -> np.ndarray:
    """Contact places (4, 2), m, car axes. track: front (or both), m."""
    rear = track if track_rear is None else track_rear
    return np.array([[wheelbase, track / 2], [wheelbase, -track / 2], [0.0, rear / 2], [0.0, -rear / 2]])
