"""Record a push: some pictures from before it moved, all while it moves, until it rests; losses are told.

While it grows a clip is called `….part.avi`; it takes its own name when it is whole, safely on the disk, and its times
stand beside it. A power cut leaves a part that nobody takes for a clip.
"""

import json
import os
import queue
import threading
from collections import deque
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2

from rig.base.disk import LEAST_BYTES, check_room
from rig.base.durable import make_folder, sync
from rig.base.errors import BenchError
from rig.base.files import write_text
from rig.camera.source import TimedPicture
from vision.clip.frames import container_cut

ROOM_BYTES = 500_000_000
QUEUE_PICTURES = 90
LOOK_AT_DISK_EVERY = 30
"""Pictures: about a second, in which a clip grows by far less than LEAST_BYTES."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """What was kept. clip: MJPG AVI.  times: file with every picture's own time, since the clip has an even rate.

    lost: pictures that a slow disk made us drop (told, never hidden).  skipped: by the device.
    """

    clip: Path
    times: Path
    pictures: int
    lost: int
    skipped: int
    seconds: float

    @property
    def words(self) -> str:
        """In one sentence."""
        sentence = f"{self.pictures} pictures over {self.seconds:.1f} s"
        if self.lost:
            sentence += f"; {self.lost} were lost because the disk is too slow: record smaller or to another disk"
        if self.skipped:
            sentence += f"; the camera skipped {self.skipped}: more light, or a lower rate"
        return sentence


class PushRecorder:
    """Give `take` to a CameraReader. Keeps `pre_roll` s before `start`, and everything until `stop`.

    Pictures wait in a bounded queue for a thread that writes them; when that is full they are counted as lost.
    Raises BenchError before it starts when the disk is nearly full.
    """

    def __init__(self, folder: Path, *, fps: float, pre_roll: float = 1.5) -> None:
        check_room(folder, need=ROOM_BYTES)
        make_folder(folder)
        self._folder, self._fps, self._pre = folder, fps, pre_roll
        self._before: deque[TimedPicture] = deque()
        self._queue: queue.Queue[TimedPicture | None] = queue.Queue(QUEUE_PICTURES + int(pre_roll * fps) + 2)
        self._thread: threading.Thread | None = None
        self._error: OSError | BenchError | cv2.error | None = None
        self._rows: list[tuple[int, float, float | None]] = []
        self._lock = threading.Lock()
        self.lost = 0
        self.recording = False

    def take(self, shot: TimedPicture) -> None:
        """One picture, in the reading thread. Never blocks."""
        with self._lock:
            if not self.recording:
                self._before.append(shot)
                while self._before and self._before[0].time < shot.time - self._pre:
                    self._before.popleft()
                return
        self._put(shot)

    def start(self) -> None:
        """Begin with the pre-roll."""
        if self.recording:
            return
        stamp = f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}"
        self.clip = self._folder / f"push-{stamp}.avi"
        self._part = self.clip.with_suffix(".part.avi")
        self._rows, self.lost, self._error = [], 0, None
        self._thread = threading.Thread(target=self._write, name="clip writer", daemon=True)
        with self._lock:
            waiting, self._before = list(self._before), deque()
            self.recording = True
        for shot in waiting:
            self._put(shot)
        self._thread.start()

    def stop(self, *, rate: float = 0.0) -> Recording:
        """End, wait until all is safely on the disk, and say what was kept. Raises BenchError when writing failed.

        rate: pictures a second that the device takes by its own clock; 0: it does not say, gaps are not counted.
        """
        with self._lock:
            self.recording = False
        self._queue.put(None)
        assert self._thread is not None, "stop without start"
        self._thread.join()
        if self._error is None:
            self._error = self._settled()
        if self._error is not None:
            raise BenchError(
                f"the clip cannot be written ({getattr(self._error, 'what', self._error)})",
                where=str(self._part),
                remedy="Make room on the disk, then push again; what was written before is kept",
            ) from self._error
        times = self.clip.with_suffix(".times.json")
        write_text(
            times, json.dumps({"pictures": [{"number": n, "time_s": t, "device_time_s": d} for n, t, d in self._rows]})
        )
        os.replace(self._part, self.clip)  # last: a clip under its own name has its times
        sync(self._folder)
        seconds = self._rows[-1][1] - self._rows[0][1] if len(self._rows) > 1 else 0.0
        return Recording(
            clip=self.clip,
            times=times,
            pictures=len(self._rows),
            lost=self.lost,
            skipped=self._skipped(rate),
            seconds=seconds,
        )

    def _skipped(self, rate: float) -> int:
        """Pictures missing within the clip, pre-roll included, by the device's own times; not those lost here."""
        timed = [(number, device) for number, _, device in self._rows if device is not None]
        return sum(max(round((later - before) * rate) - (m - n), 0) for (n, before), (m, later) in pairwise(timed))

    def _settled(self) -> OSError | None:
        """Bring the part safely to the disk; why it is not whole, or None. The video library tells of no failure."""
        if not self._rows:
            return OSError("no picture has come")
        try:
            with self._part.open("rb+") as file:
                os.fsync(file.fileno())
            cut = container_cut(self._part)
        except OSError as error:
            return error
        return OSError("the disk did not take all of it") if cut else None

    def _put(self, shot: TimedPicture) -> None:
        try:
            self._queue.put_nowait(shot)
        except queue.Full:
            self.lost += 1

    def _write(self) -> None:
        writer: Any = None
        try:
            while (shot := self._queue.get()) is not None:
                if self._error is not None:
                    continue  # keep draining: the reader must not be held up
                if writer is None:
                    size = (shot.picture.shape[1], shot.picture.shape[0])
                    writer = cv2.VideoWriter(str(self._part), cv2.VideoWriter.fourcc(*"MJPG"), self._fps, size)
                    if not writer.isOpened():
                        self._error = OSError("no writer for this place")
                        continue
                try:
                    if len(self._rows) % LOOK_AT_DISK_EVERY == 0:
                        check_room(self._folder, need=LEAST_BYTES)
                    writer.write(shot.picture)
                    self._rows.append((shot.number, shot.time, shot.device_time))
                except (OSError, BenchError, cv2.error) as error:
                    self._error = error
        finally:
            if writer is not None:
                writer.release()
