"""The live picture on the page: the newest one of the camera that films, as a stream of JPEGs, never a queue."""

import asyncio
import threading
from collections.abc import AsyncIterator, Callable
from typing import Any

import cv2
import numpy as np

from rig.jobs.pushing.film import LiveLook
from rig.page.bench.broadcast import Broadcast

WIDEST_PX = 640
PICTURES_PER_S = 10.0
BOUNDARY = "picture"


class Viewed:
    """A capture that others look over the shoulder of. Has what the camera's reader asks of a capture."""

    def __init__(self, capture: Any, view: "CameraView") -> None:
        self._capture, self._view = capture, view

    def read(self) -> tuple[bool, Any]:
        """The next picture, also kept for the page."""
        good, picture = self._capture.read()
        if good:
            self._view.newest = picture
        return bool(good), picture

    def __getattr__(self, name: str) -> Any:
        return getattr(self._capture, name)


class CameraView:
    """What the camera sees now. newest: (h, w, 3) BGR or None."""

    def __init__(self, broadcast: Broadcast) -> None:
        self._broadcast = broadcast
        self._lock = threading.Lock()
        self._packed: tuple[Any, bytes] | None = None
        self.newest: Any = None
        self.end()

    def opener(self, opens: Callable[[str], Any] | None) -> Callable[[str], Any]:
        """An opener for the camera whose pictures are seen here too."""

        def plain(device: str) -> Any:
            return cv2.VideoCapture(int(device) if device.isdigit() else device)

        return lambda device: Viewed((opens or plain)(device), self)

    def tell(self, look: LiveLook) -> None:
        """One look at the picture, in words."""
        judgement = look.judgement
        self._broadcast.publish(
            "camera",
            {
                "on": True,
                "mode": look.mode.words,
                "moving": look.moving,
                "recording": look.recording,
                "advice": list(judgement.advice),
                "floor_seen": judgement.floor_seen,
                "floor_of": judgement.floor_of,
                "car_seen": judgement.car_seen,
                "car_of": judgement.car_of,
            },
        )

    def end(self) -> None:
        """Filming is over."""
        self.newest = None
        self._broadcast.publish("camera", {"on": False})

    def jpeg(self) -> bytes | None:
        """The newest picture, small enough for a live view; packed once however many look."""
        picture = self.newest
        if picture is None:
            return None
        with self._lock:
            if self._packed is not None and self._packed[0] is picture:
                return self._packed[1]
            step = max(1, -(-picture.shape[1] // WIDEST_PX))
            good, data = cv2.imencode(".jpg", np.ascontiguousarray(picture[::step, ::step]))
            if not good:
                return None
            self._packed = (picture, data.tobytes())
            return self._packed[1]

    async def stream(self, should_end: Callable[[], bool]) -> AsyncIterator[bytes]:
        """multipart/x-mixed-replace parts while the camera films."""
        last: bytes | None = None
        while not should_end() and self.newest is not None:
            data = await asyncio.to_thread(self.jpeg)
            if data is not None and data is not last:
                last = data
                head = f"--{BOUNDARY}\r\nContent-Type: image/jpeg\r\nContent-Length: {len(data)}\r\n\r\n"
                yield head.encode() + data + b"\r\n"
            await asyncio.sleep(1.0 / PICTURES_PER_S)
