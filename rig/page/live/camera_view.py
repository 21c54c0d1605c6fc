"""The live picture on the page: the newest one of the camera that films, with what is said of a push that goes on."""

import asyncio
import contextlib
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from rig.base.plain_json import Json
from rig.jobs.pushing.film import LiveLook
from rig.jobs.pushing.live_push import LATE_S, LivePicture, thinned
from rig.page.live.broadcast import Broadcast
from rig.report.words.rounding import plus_minus

WIDEST_PX = 640
NEXT_PICTURE_S = 0.05
"""for the next picture of a push: a browser that waits for it holds one of its six connections to this host."""


class Viewed:
    """A capture that others look over the shoulder of. Has what the camera's reader asks of a capture."""

    def __init__(self, capture: Any, view: "CameraView") -> None:
        self._capture, self._view = capture, view

    def read(self) -> tuple[bool, Any]:
        """The next picture, also kept for the page."""
        good, picture = self._capture.read()
        if good:
            self._view.take(picture)
        return bool(good), picture

    def __getattr__(self, name: str) -> Any:
        return getattr(self._capture, name)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownPicture:
    """jpeg: packed.  at: s, Unix time at which it arrived.  live: what is said of the push on it, None: nothing.

    number: of the picture of a push, -1 of any other.
    """

    jpeg: bytes
    at: float
    live: Json | None
    number: int = -1


class CameraView:
    """What the camera sees now. newest: (h, w, 3) BGR or None."""

    def __init__(self, broadcast: Broadcast) -> None:
        self._broadcast = broadcast
        self._lock = threading.Lock()
        self._packed: tuple[Any, ShownPicture] | None = None
        self.newest: Any = None
        self._arrived = 0.0
        self._live: LivePicture | None = None
        self._asked = -np.inf
        self._waiting: list[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = []
        self.end()

    def opener(self, opens: Callable[[str], Any] | None) -> Callable[[str], Any]:
        """An opener for the camera whose pictures are seen here too."""

        def plain(device: str) -> Any:
            return cv2.VideoCapture(int(device) if device.isdigit() else device)

        return lambda device: Viewed((opens or plain)(device), self)

    def take(self, picture: Any) -> None:
        """A picture as it comes from the camera."""
        self.newest, self._arrived = picture, time.monotonic()

    def show(self, live: LivePicture) -> None:
        """A picture with what is drawn on it; it is shown as long as it is fresh. Whoever waits for it gets it at once:
        it is packed here, since every change from thread to thread costs its time.
        """
        self._live = live
        if time.monotonic() - self._asked > 1.0:
            return
        self.picture()
        with self._lock:
            waiting, self._waiting = self._waiting, []
        for loop, come in waiting:
            with contextlib.suppress(RuntimeError):  # that server has ended
                loop.call_soon_threadsafe(come.set)

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
        self.newest = self._live = None
        self._broadcast.publish("camera", {"on": False})

    async def next(self, after: int) -> ShownPicture | None:
        """As `picture`; while somebody pushes, the first one after picture number `after`, if it comes soon."""
        self._asked = time.monotonic()
        live = self._live
        if live is not None and live.number <= after and time.monotonic() - live.time <= LATE_S:
            come = asyncio.Event()
            with self._lock:
                self._waiting.append((asyncio.get_running_loop(), come))
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(come.wait(), NEXT_PICTURE_S)
        with self._lock:
            packed, newest = self._packed, self._live
        if packed is not None and newest is not None and packed[0] is newest and packed[1].number > after:
            return packed[1]
        return await asyncio.to_thread(self.picture)

    def picture(self) -> ShownPicture | None:
        """The newest picture, small enough for a live view, with the push on it while that is fresh; None without a
        camera. Packed once however many look.
        """
        newest, live, now = self.newest, self._live, time.monotonic()
        if newest is None:
            return None
        fresh = live is not None and now - live.time <= LATE_S
        wanted: Any = live if fresh else newest
        with self._lock:
            if self._packed is not None and self._packed[0] is wanted:
                return self._packed[1]
            if fresh and live is not None:
                drawn, at, answer, number = live.picture, live.time, live_json(live), live.number
            else:
                step = max(1, -(-newest.shape[1] // WIDEST_PX))
                drawn, at, answer, number = thinned(newest, step), self._arrived, None, -1
            good, data = cv2.imencode(".jpg", drawn)
            if not good:
                return None
            age = time.monotonic() - at
            shown = ShownPicture(jpeg=data.tobytes(), at=time.time() - age, live=answer, number=number)
            self._packed = (wanted, shown)
            return shown


def live_json(live: LivePicture) -> Json:
    """What is said of a picture of a push: a sentence, and the balance point where there is one."""
    news: Json = {"state": live.state.name.lower(), "words": live.state.value}
    if live.so_far is not None:
        news["balance"] = plus_minus(live.so_far.pct, live.so_far.interval_pct)
    return news
