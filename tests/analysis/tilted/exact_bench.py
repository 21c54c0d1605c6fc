"""A tilt bench without any error, for what is worked out by hand and for an engine's own loads."""

import numpy as np

from analysis.tilted.transfer import TiltBench

EXACT = TiltBench(
    noise=1e-9,
    drift=0.0,
    angle=0.0,
    side_force=0.0,
    track=np.zeros(2),
    wheelbase=0.0,
    warp=0.0,
    twist_tilt=0.0,
    twist_load=0.0,
)
