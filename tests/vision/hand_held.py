"""A camera in a hand, for synthetic clips."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from vision.render.camera import RenderCamera


def hand_held(
    camera: RenderCamera,
    rng: np.random.Generator,
    *,
    sway: float = 0.004,
    tilt: float = 0.004,
    slowest: float = 0.3,
    fastest: float = 3.0,
) -> Callable[[float], RenderCamera]:
    """A camera path around `camera`: a sum of slow sines, as a hand sways.

    sway: m rms per axis.  tilt: rad rms per axis.  slowest, fastest: Hz.  Answers time (s) -> camera.
    """
    waves = 6
    rate = 2 * np.pi * rng.uniform(slowest, fastest, size=(6, waves))
    phase = rng.uniform(0.0, 2 * np.pi, size=(6, waves))
    size = rng.uniform(0.5, 1.0, size=(6, waves)) / rate
    size *= np.sqrt(2.0 / np.sum(size**2, axis=1, keepdims=True))
    size *= np.repeat([sway, tilt], 3)[:, None]

    def at(time: float) -> RenderCamera:
        offset = np.sum(size * np.sin(rate * time + phase), axis=1)
        return replace(
            camera,
            position=camera.position + offset[:3],
            rotation=Rotation.from_rotvec(offset[3:]).as_matrix() @ camera.rotation,
        )

    return at
