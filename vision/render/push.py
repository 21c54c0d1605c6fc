"""Film a push that never happened: a real video file of a car sliding over marked floor sheets.

Made for the virtual bench and for judging the measurement, so nothing is shared with the measuring
side but the shapes of a layout. What it has: a lens with distortion, any place of the camera (moving
if wanted), several samples per pixel, motion blur, lens blur, uneven light, gamma, sensor noise, ink
spread, body lean, a hand in the picture with or without a marker on its finger, a rolling shutter (of a
camera that stands still) and real codecs. What it lacks: glare, variable frame rates and the bending of
paper. The truth is not stored anywhere.
"""

import itertools
from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np

from vision.base.errors import InputError, VisionError
from vision.base.types import BgrImage, FloatArray
from vision.clip.quiet import quiet_stderr
from vision.render.filmed import Filming, PushScene
from vision.render.stage import Stage

CODECS = {".mp4": "mp4v", ".webm": "VP80", ".avi": "MJPG"}
LINES = 8
"""A rolling shutter is painted in bands of this many lines, each at its own moment."""


def render_push(
    path: Path,
    scene: PushScene,
    filming: Filming,
    rng: np.random.Generator,
    *,
    codec: str | None = None,
    progress: Callable[[float], None] | None = None,
) -> None:
    """Write the clip; frame k shows the moment scene.time[0] + k / filming.fps.

    path: .mp4 (mp4v), .webm (VP8) or .avi (MJPG); codec: four letters to override.  progress: called with 0..1.
    Raises InputError for times or sizes that cannot be and for a moving camera with a rolling shutter;
    VisionError when the file cannot be written.
    """
    code = codec or CODECS.get(path.suffix.lower())
    if code is None or len(code) != 4:
        raise InputError(
            f"no way to write {path.suffix or 'a file without ending'}",
            where=str(path),
            remedy="Use a name that ends in .mp4, .webm or .avi",
        )
    frames = render_frames(scene, filming, rng)
    with quiet_stderr():
        writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*code), filming.fps, filming.size)
    if not writer.isOpened():
        raise VisionError(
            "the clip cannot be written",
            where=str(path),
            remedy="Check that the folder exists, has space and may be written to",
        )
    total = frame_count(scene.time, filming.fps)
    try:
        for number, frame in enumerate(frames):
            writer.write(frame)
            if progress is not None:
                progress((number + 1) / total)
    finally:
        writer.release()


def frame_count(time: FloatArray, fps: float) -> int:
    """Frames that a clip of these times has.

    time: (m,) s, of the poses.
    """
    return int(np.floor((time[-1] - time[0]) * fps + 1e-9)) + 1


def render_frames(scene: PushScene, filming: Filming, rng: np.random.Generator) -> Iterator[BgrImage]:
    """The pictures of `render_push`, (height, width, 3) BGR each, without a file and its compression."""
    time, pose, hand = scene.time, scene.pose, scene.hand
    camera, size, fps, look = filming.camera, filming.size, filming.fps, filming.look
    camera_path, readout = filming.camera_path, filming.readout
    _check(time, pose, size, fps)
    if readout and camera_path is not None:
        raise InputError(
            "a camera that moves cannot have a rolling shutter here",
            where="rendered push",
            remedy="Leave out the camera's path or the readout",
        )
    worn = None if hand is None else hand.worn
    stage = Stage(scene, filming)
    tilt = np.zeros((len(time), 2)) if scene.lean is None else np.broadcast_to(scene.lean, (len(time), 2))
    columns = [pose, tilt] + ([hand.tip] if hand is not None else [])
    if worn is not None:
        columns.append(np.broadcast_to(worn.attitude, (len(time), 3)))
    edges = [*range(0, size[1], LINES), size[1]]
    late = [readout * ((a + b) / 2 / size[1] - 0.5) for a, b in itertools.pairwise(edges)]
    rows = np.concatenate(columns, axis=1)
    pool = np.clip(np.round(rng.normal(0.0, look.noise, (size[1] + 97, size[0] + 97, 3))), -127, 127)
    pool = pool.astype(np.int16)

    def at(moment: FloatArray) -> FloatArray:
        return np.stack([np.interp(moment, time, column) for column in rows.T], axis=-1)

    for number in range(frame_count(time, fps)):
        moment = time[0] + number / fps
        ends = moment + look.exposure * np.array([-0.5, 0.5])
        cameras = [camera_path(t) for t in ends] if camera_path else [camera, camera]
        count = stage.steps(at(ends), cameras)
        inside = moment + look.exposure * ((np.arange(count) + 0.5) / count - 0.5)
        if readout:
            clean = stage.rolled([at(inside + wait) for wait in late], edges, hand)
        else:
            clean = stage.frame(at(inside), [camera_path(t) for t in inside] if camera_path else None, hand)
        left, top = rng.integers(0, 97, 2)
        noise = pool[top : top + size[1], left : left + size[0]]
        yield cv2.add(clean, noise[:: rng.choice([-1, 1])], dtype=cv2.CV_8U)  # type: ignore[misc]


def _check(time: FloatArray, pose: FloatArray, size: tuple[int, int], fps: float) -> None:
    if np.ndim(time) != 1 or np.shape(pose) != (len(time), 3) or len(time) < 2 or np.any(np.diff(time) <= 0):
        raise InputError(
            "times must increase and have one pose (x, y, yaw) each",
            where="rendered push",
            remedy="Give time (m,) and pose (m, 3) with at least two rows",
        )
    if min(size) < 16 or size[0] % 2 or size[1] % 2 or not fps > 0:
        raise InputError(
            f"a clip of {size} pixels at {fps} frames per second cannot be written",
            where="rendered push",
            remedy="Use even sizes of at least 16 and a positive rate",
        )
