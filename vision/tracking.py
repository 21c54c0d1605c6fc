"""From a clip to timed poses of the car on the floor: the one entry point of the seeing side."""

import os
from collections.abc import Callable
from pathlib import Path

from vision.types import Camera, CarMarkers, ClipTrack, FloorLayout

Progress = Callable[[float], None]


def track_clip(
    path: Path | str,
    *,
    floor: FloorLayout,
    car: CarMarkers,
    camera: Camera | None = None,
    progress: Progress | None = None,
    moving_camera: bool | None = None,
    threads: int = max(1, min(2, os.cpu_count() or 1)),
    stop: Callable[[], bool] | None = None,
) -> ClipTrack:
    """Timed floor poses of the car in every frame that can be vouched for.

    path: a video file.  floor, car: the cards.  camera: a calibration for this resolution (or one of the same
    shape), or None: focal length and k1 are then estimated from the floor markers at a stated cost.
    moving_camera: None tests whether the camera stood still; True or False says so.
    threads: 2 decodes on a thread of its own.  progress: called with 0..1.  stop: asked in every frame;
    when it answers True the frames so far are used.
    Raises InputError (the clip or the cards cannot be used), VisionError (nothing left to measure).
    """
    raise NotImplementedError
