"""A camera as a source of timed pictures: one thread reads it, nothing is lost without being counted."""

import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2

from rig.base.errors import BenchError, InputError
from vision.base.types import BgrImage

OPENING_LIMIT_S = 15.0
"""Opening can take 12 s on some systems."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraPlace:
    """A camera that seems to be there. device: number or path to open it by.  name: as the system calls it."""

    device: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraMode:
    """asked: what was wanted.  granted: what the driver says.  measured_fps: counted, None in the first second."""

    asked: tuple[int, int, float]
    granted: tuple[int, int, float]
    measured_fps: float | None

    @property
    def words(self) -> str:
        """In one line."""
        seen = "not counted yet" if self.measured_fps is None else f"{self.measured_fps:.1f}"
        return (
            f"asked {self.asked[0]}x{self.asked[1]} at {self.asked[2]:g}, told {self.granted[0]}x{self.granted[1]} at "
            f"{self.granted[2]:g}, measured {seen} frames/s"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedPicture:
    """number: counted by us from 0.  time: s, monotonic, as it arrived.  device_time: s, by the device, or None."""

    number: int
    time: float
    device_time: float | None
    picture: BgrImage


def list_cameras() -> list[CameraPlace]:
    """Cameras of this machine, without opening them (Linux); elsewhere numbers to try."""
    if os.name == "posix" and Path("/sys/class/video4linux").is_dir():
        found = []
        for entry in sorted(Path("/sys/class/video4linux").iterdir()):
            index = entry / "index"
            if index.is_file() and index.read_text("utf-8", "replace").strip() != "0":
                continue  # further nodes of the same camera carry no pictures
            name = (entry / "name").read_text("utf-8", "replace").strip() if (entry / "name").is_file() else entry.name
            found.append(CameraPlace(device=f"/dev/{entry.name}", name=name))
        return found
    return (
        []
        if os.name == "posix" and Path("/dev").is_dir() and not list(Path("/dev").glob("video*"))
        else [CameraPlace(device=str(number), name=f"camera {number}") for number in range(4)]
    )


def open_camera(
    device: str,
    *,
    width: int = 1280,
    height: int = 720,
    fps: float = 30.0,
    opener: Callable[[str], Any] | None = None,
) -> tuple[Any, CameraMode]:
    """Open a camera in a thread with a limit; format, size and rate are set in that order and read back.

    device: number, path, or any address that OpenCV opens (a clip plays as a camera).  Raises BenchError when it does
    not open, or another program has it.
    """
    result: list[Any] = []

    def work() -> None:
        result.append(opener(device) if opener else cv2.VideoCapture(int(device) if device.isdigit() else device))

    thread = threading.Thread(target=work, name="opening the camera", daemon=True)
    thread.start()
    thread.join(OPENING_LIMIT_S)
    if not result:
        raise BenchError(
            f"the camera did not open within {OPENING_LIMIT_S:.0f} s",
            where=device,
            remedy="Unplug it, plug it in again, and close other programs that may use it",
        )
    capture = result[0]
    if not capture.isOpened():
        raise BenchError(
            "the camera does not open",
            where=device,
            remedy="Close the program that uses it, check the rights (group video), or name another one",
        )
    capture.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
    capture.set(cv2.CAP_PROP_FRAME_WIDTH, width)
    capture.set(cv2.CAP_PROP_FRAME_HEIGHT, height)
    capture.set(cv2.CAP_PROP_FPS, fps)
    granted = (
        int(capture.get(cv2.CAP_PROP_FRAME_WIDTH)),
        int(capture.get(cv2.CAP_PROP_FRAME_HEIGHT)),
        float(capture.get(cv2.CAP_PROP_FPS)),
    )
    return capture, CameraMode(asked=(width, height, fps), granted=granted, measured_fps=None)


class CameraReader:
    """Reads a camera in one thread: every picture goes to `listener`, the newest is kept for the live view.

    listener: called in the reading thread; it must not block (a recorder queues).
    Use as a context manager.
    """

    def __init__(
        self, capture: Any, mode: CameraMode, *, listener: Callable[[TimedPicture], None] | None = None
    ) -> None:
        if mode.granted[0] <= 0:
            raise InputError("the camera tells no picture size", where="camera", remedy="Name another camera")
        self._capture, self._mode, self.listener = capture, mode, listener
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._newest: TimedPicture | None = None
        self.read = 0
        self.ended = False
        self._times: list[float] = []
        self._thread = threading.Thread(target=self._run, name="camera", daemon=True)

    def __enter__(self) -> "CameraReader":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(timeout=3.0)

    @property
    def newest(self) -> TimedPicture | None:
        """The newest picture; older ones may have passed unseen by the live view."""
        with self._lock:
            return self._newest

    @property
    def mode(self) -> CameraMode:
        """Asked, granted, measured."""
        with self._lock:
            times = list(self._times)
        rate = (len(times) - 1) / (times[-1] - times[0]) if len(times) > 5 and times[-1] - times[0] > 0.8 else None
        return CameraMode(asked=self._mode.asked, granted=self._mode.granted, measured_fps=rate)

    def _run(self) -> None:
        try:
            self._read()
        finally:  # here alone: a camera must not be taken away from a thread that is still reading it
            self._capture.release()

    def _read(self) -> None:
        while not self._stop.is_set():
            good, picture = self._capture.read()
            now = time.monotonic()
            if not good:
                self.ended = True
                return
            stamp = float(self._capture.get(cv2.CAP_PROP_POS_MSEC)) / 1000.0
            device_time = stamp if stamp > 0 else None
            shot = TimedPicture(number=self.read, time=now, device_time=device_time, picture=picture)
            self.read += 1
            with self._lock:
                self._newest = shot
                self._times = [*self._times[-240:], now]
            if self.listener is not None:
                self.listener(shot)
