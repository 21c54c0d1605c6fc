"""Film a push live: advice until the picture is good, recording while the car moves."""

import os
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from rig.base.cautions import FINGER
from rig.base.durable import make_folder, sync
from rig.base.errors import BenchError
from rig.camera.recorder import PushRecorder, Recording
from rig.camera.source import CameraMode, CameraReader, TimedPicture, open_camera
from rig.cards.measures import car_markers, floor_layout
from rig.cards.read import CardSet
from rig.jobs.pushing.live_push import LivePush
from rig.jobs.weighing.finger_cell import finger_port
from rig.pads.force import ForceFrame
from rig.pads.force_file import ENDING, beside, force_recorded
from rig.pads.port import BAUD
from vision.clip.live_advice import MovementWatch, PictureJudgement, judge_picture

LOOK_EVERY_S, LOOK_WHILE_PUSHED_S = 0.1, 0.2
"""s between two looks for advice; while a push is recorded there is less to say, and more for the machine to do."""
PRE_ROLL_S = 1.5
OFF_S, OFF_SHARE, LONGEST_OFF_S = 1.0, 0.05, 10.0
"""s that the finger is off the car, by less than that share of what it pressed, before its recording ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveLook:
    """One look at the live picture. moving: the car moves.  recording: it is being kept."""

    judgement: PictureJudgement
    mode: CameraMode
    moving: bool
    recording: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Onlookers:
    """Who hears of a push while it is filmed. say: each look.  told: sentences about the finger's force.
    along: is given the pictures, too, in a thread of its own.
    """

    say: Callable[[LiveLook], None]
    told: Callable[[str], None] = lambda sentence: None
    along: LivePush | None = None


def film_push(
    cards: CardSet,
    folder: Path,
    onlookers: Onlookers,
    *,
    device: str = "",
    patience: float = 300.0,
    opener: Callable[[str], Any] | None = None,
    force_port: str = "",
) -> Recording:
    """Wait until the car moves, record it with a pre-roll, stop when it rests.

    device: instead of the bench card's.  patience: s to wait for a movement.  opener: how to open the device, for
    tests.  Where the bench card has a load cell on the finger, its force is recorded beside the clip, or told why not.
    force_port: not the card's.
    Raises BenchError when the camera does not open, ends, or nothing moves.
    """
    told = onlookers.told
    with ExitStack() as stack:
        force = _force_begun(cards, folder, stack, told, force_port)
        try:
            made = _filmed(cards, folder, onlookers, device=device, patience=patience, opener=opener)
        except BaseException:
            if force is not None:
                stack.close()
                force.part.unlink(missing_ok=True)
            raise
        if force is not None:
            with suppress(KeyboardInterrupt):  # then it ends here, and measuring says what is missing
                force.finish(told)
            stack.close()  # all of it is on the disk before it gets its name
            os.replace(force.part, beside(made.clip))
            sync(made.clip.parent)
            told(f"The finger's force lies beside it: {beside(made.clip).name}")
    return made


@dataclass(slots=True)
class _ForceBeside:
    """The finger's force while a clip is being filmed."""

    part: Path
    frames: deque[ForceFrame] = field(default_factory=deque)

    def finish(self, told: Callable[[str], None]) -> None:
        """Wait until the finger has left the car; without that its zero is not known."""
        used = [frame for frame in list(self.frames) if frame.usable]
        if len(used) < 10:
            return
        counts = np.array([frame.count for frame in used])
        zero = float(np.median(counts[: max(5, len(counts) // 20)]))
        near = OFF_SHARE * float(np.max(np.abs(counts - zero)))
        asked, end = False, time.monotonic() + LONGEST_OFF_S
        while time.monotonic() < end:
            recent = [f for f in list(self.frames) if f.usable and f.device_time > used[-1].device_time + OFF_S]
            latest = [f for f in list(self.frames)[-400:] if f.usable]
            lately = [f for f in latest if f.device_time > latest[-1].device_time - OFF_S]
            if recent and all(abs(frame.count - zero) <= near for frame in lately):
                return
            if not asked and latest and abs(latest[-1].count - zero) > near:
                told("Take the finger off the car.")
                asked = True
            time.sleep(0.05)


def _force_begun(
    cards: CardSet, folder: Path, stack: ExitStack, told: Callable[[str], None], port: str
) -> _ForceBeside | None:
    if cards.bench.force is None:
        return None
    make_folder(folder)
    begun = _ForceBeside(part=folder / f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}.part{ENDING}")
    try:
        url = finger_port(cards.bench, port)
        baud = BAUD if cards.bench.pads.line_pattern else cards.bench.pads.baud
        stack.enter_context(force_recorded(url, begun.part, baud=baud, hear=begun.frames.extend))
    except BenchError as error:
        begun.part.unlink(missing_ok=True)
        told(f"No force is recorded: {error}")
        return None
    told(f"The finger's force is recorded. Keep it off the car until the picture is good. {FINGER}")
    return begun


def _filmed(
    cards: CardSet,
    folder: Path,
    onlookers: Onlookers,
    *,
    device: str,
    patience: float,
    opener: Callable[[str], Any] | None,
) -> Recording:
    section, floor = cards.bench.camera, floor_layout(cards.bench)
    car = car_markers(cards.car, dictionary=floor.dictionary)
    name = device or section.device
    capture, mode = open_camera(
        name, width=section.width_px, height=section.height_px, fps=section.frames_per_s, opener=opener
    )
    recorder = PushRecorder(folder, fps=mode.granted[2] or section.frames_per_s, pre_roll=PRE_ROLL_S)
    watch = MovementWatch()
    with CameraReader(capture, mode, listener=recorder.take) as camera, _looking_along(onlookers.along, camera):
        begun, looked = time.monotonic(), -1
        try:
            while True:
                pause = LOOK_WHILE_PUSHED_S if recorder.recording else LOOK_EVERY_S
                shot = _next(camera, looked, name, pause)
                if shot is None:
                    break
                looked = shot.number
                judgement = judge_picture(shot.picture, floor, car)
                was, moving = watch.moving, watch.feed(shot.time, judgement.car_corner)
                if moving and not was:
                    recorder.start()
                onlookers.say(
                    LiveLook(judgement=judgement, mode=camera.mode, moving=moving, recording=recorder.recording)
                )
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


@contextmanager
def _looking_along(along: LivePush | None, camera: CameraReader) -> Iterator[None]:
    """Let it follow the camera while this lasts."""
    if along is None:
        yield
        return
    over = threading.Event()
    thread = threading.Thread(target=along.follow, args=(camera, over), name="live push", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(timeout=5.0)


def _next(camera: CameraReader, looked: int, name: str, pause_s: float) -> TimedPicture | None:
    """The newest picture that has not been looked at, after a pause; None when the camera has ended."""
    pause = time.monotonic() + pause_s
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
