"""Film a push live: advice until the picture is good, recording while the car moves."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig.base.errors import BenchError
from rig.camera.recorder import PushRecorder, Recording
from rig.camera.source import CameraMode, CameraReader, TimedPicture, open_camera
from rig.cards.measures import car_markers, floor_layout
from rig.cards.read import CardSet
from vision.clip.live_advice import MovementWatch, PictureJudgement, judge_picture

LOOK_EVERY_S = 0.1
PRE_ROLL_S = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveLook:
    """One look at the live picture. moving: the car moves.  recording: it is being kept."""

    judgement: PictureJudgement
    mode: CameraMode
    moving: bool
    recording: bool


def film_push(
    cards: CardSet,
    folder: Path,
    *,
    say: Callable[[LiveLook], None],
    device: str = "",
    patience: float = 300.0,
    opener: Callable[[str], Any] | None = None,
) -> Recording:
    """Wait until the car moves, record it with a pre-roll, stop when it rests.

    device: instead of the bench card's.  say: called with each look.  patience: s to wait for a movement.
    opener: how to open the device, for tests.
    Raises BenchError when the camera does not open, ends, or nothing moves.
    """
    section, floor = cards.bench.camera, floor_layout(cards.bench)
    car = car_markers(cards.car, dictionary=floor.dictionary)
    name = device or section.device
    capture, mode = open_camera(
        name, width=section.width_px, height=section.height_px, fps=section.frames_per_s, opener=opener
    )
    recorder = PushRecorder(folder, fps=mode.granted[2] or section.frames_per_s, pre_roll=PRE_ROLL_S)
    watch = MovementWatch()
    with CameraReader(capture, mode, listener=recorder.take) as camera:
        begun, looked = time.monotonic(), -1
        try:
            while True:
                shot = _next(camera, looked, name)
                if shot is None:
                    break
                looked = shot.number
                judgement = judge_picture(shot.picture, floor, car)
                was, moving = watch.moving, watch.feed(shot.time, judgement.car_corner)
                if moving and not was:
                    recorder.start()
                say(LiveLook(judgement=judgement, mode=camera.mode, moving=moving, recording=recorder.recording))
                if was and not moving:
                    break
                if not recorder.recording and time.monotonic() - begun > patience:
                    break
        except KeyboardInterrupt:
            if not recorder.recording:
                raise
        if not recorder.recording:
            raise BenchError(
                "nothing moved",
                where=name,
                remedy="Push the car while its markers and the floor sheets are in the picture",
            )
        return recorder.stop(rate=mode.granted[2])


def _next(camera: CameraReader, looked: int, name: str) -> TimedPicture | None:
    """The newest picture that has not been looked at, at most ten a second; None when the camera has ended."""
    pause = time.monotonic() + LOOK_EVERY_S
    waited = time.monotonic() + 5.0
    while True:
        shot = camera.newest
        if camera.ended:
            return None
        if shot is not None and shot.number != looked and time.monotonic() >= pause:
            return shot
        if time.monotonic() > waited:
            raise BenchError(
                "no picture has come for 5 s",
                where=name,
                remedy="Plug the camera in again, or close the program that took it",
            )
        time.sleep(0.005)
