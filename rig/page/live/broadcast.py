"""From any thread to every open page: one bridge into the event loop, bounded for each listener."""

import asyncio
import contextlib
import json
import threading
from collections import deque
from collections.abc import AsyncIterator, Callable
from typing import Any, Protocol

from rig.base.plain_json import finite_json

LIVE = "pads"
"""Events of this kind are a stream: the oldest are dropped when a page is slow. All others are whole pictures of
one part of the bench, so that the newest one is enough."""
LONGEST_LIVE = 40


def encode(kind: str, content: Any) -> bytes:
    """One server-sent event."""
    data = json.dumps(finite_json(content), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return f"event: {kind}\ndata: {data}\n\n".encode()


class Listener:
    """One open page. Memory is bounded: newest of each kind, and a short queue of live batches."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._news = asyncio.Event()
        self._lock = threading.Lock()
        self._latest: dict[str, bytes] = {}
        self._live: deque[bytes] = deque(maxlen=LONGEST_LIVE)
        self.dropped = 0

    def put(self, kind: str, event: bytes) -> None:
        """Hand over an event; any thread."""
        with self._lock:
            if kind == LIVE:
                self.dropped += len(self._live) == LONGEST_LIVE
                self._live.append(event)
            else:
                self._latest.pop(kind, None)  # to the end: order of the newest news
                self._latest[kind] = event
        with contextlib.suppress(RuntimeError):  # the loop is closing: nobody listens any more
            self._loop.call_soon_threadsafe(self._news.set)

    async def take(self, timeout: float) -> bytes:
        """All that is waiting, in one piece; b"" after `timeout` s without news."""
        try:
            await asyncio.wait_for(self._news.wait(), timeout)
        except TimeoutError:
            return b""
        self._news.clear()
        with self._lock:
            waiting = b"".join([*self._latest.values(), *self._live])
            self._latest.clear()
            self._live.clear()
        return waiting


class Hears(Protocol):
    """Whoever is told of every event."""

    def put(self, kind: str, event: bytes) -> None:
        """Take one event; any thread, and at once."""


class Broadcast:
    """Tells all listeners, and keeps the newest of each kind for pages that open later."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._listeners: set[Hears] = set()
        self._newest: dict[str, bytes] = {}

    @property
    def listeners(self) -> int:
        """How many pages are open."""
        return len(self._listeners)

    def publish(self, kind: str, content: Any) -> None:
        """Tell everybody; any thread."""
        event = encode(kind, content)
        with self._lock:
            self._newest[kind] = event
            for listener in self._listeners:
                listener.put(kind, event)

    def join(self, loop: asyncio.AbstractEventLoop) -> Listener:
        """A new page: it gets the newest of every kind first."""
        listener = Listener(loop)
        self.admit(listener)
        return listener

    def admit(self, listener: Hears) -> None:
        """Somebody who wants to hear everything from now on, after the newest of every kind."""
        with self._lock:
            for kind, event in self._newest.items():
                listener.put(kind, event)
            self._listeners.add(listener)

    def knows(self, kind: str) -> bool:
        """Whether anything of this kind was ever told."""
        return kind in self._newest

    def newest(self, kind: str) -> bytes:
        """What a page that opens now would be told of this kind."""
        return self._newest[kind]

    def leave(self, listener: Hears) -> None:
        """A page has gone."""
        with self._lock:
            self._listeners.discard(listener)


STEP_S = 0.25
BEAT_S = 5.0


async def stream(
    broadcast: Broadcast, hello: bytes, should_end: Callable[[], bool], goodbye: bytes = b""
) -> AsyncIterator[bytes]:
    """The endless stream of one page; ends when `should_end()` answers True.

    hello: sent first, and again never: a page that connects anew gets a new one.  goodbye: sent last.
    """
    listener = broadcast.join(asyncio.get_running_loop())
    quiet = 0.0
    try:
        yield b"retry: 1000\n" + hello
        while not should_end():
            waiting = await listener.take(STEP_S)
            quiet = 0.0 if waiting else quiet + STEP_S
            if waiting:
                yield waiting
            elif quiet >= BEAT_S:
                quiet = 0.0
                yield b"event: beat\ndata: 0\n\n"  # lets the page see a dead server
        if goodbye:
            yield goodbye
    finally:
        broadcast.leave(listener)
