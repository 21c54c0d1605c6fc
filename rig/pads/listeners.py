"""Frames handed out: one reader, any number of listeners, each with a queue of its own."""

import threading
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

from rig.pads.frames import Gap, PadFrame, Status, Tally

LONGEST_QUEUE = 8192  # frames; 100 s at 80 lines a second


class PadListener:
    """Every frame from now on, for one listener. Any thread may call any method; a context manager, or `close` it.

    length: frames kept for `drain`; older ones are dropped and counted as `overflowed`.
    tell: called after each batch of frames in the thread that reads; it must be quick.
    """

    def __init__(self, *, length: int = LONGEST_QUEUE, tell: Callable[[], None] | None = None) -> None:
        self._queue: deque[PadFrame] = deque(maxlen=length)
        self._length, self.tell = length, tell
        self.leave: Callable[[PadListener], None] | None = None  # set by whoever hands out
        self._lock = threading.Lock()
        self.overflowed = 0

    def add(self, frames: list[PadFrame]) -> None:
        """More frames, the newest last."""
        with self._lock:
            self.overflowed += max(0, len(self._queue) + len(frames) - self._length)
            self._queue.extend(frames)

    def drain(self) -> list[PadFrame]:
        """All frames waiting, oldest first; taken out of this listener's queue."""
        with self._lock:
            frames = list(self._queue)
            self._queue.clear()
        return frames

    def close(self) -> None:
        """Nothing more comes; what waits can still be drained."""
        if self.leave is not None:
            self.leave(self)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


@dataclass(frozen=True, slots=True, kw_only=True)
class Unread:
    """A port of which no line can be used. newest: what came last, raw.  received: bytes so far."""

    port: str
    newest: bytes
    received: int


class Handout:
    """Hands frames to all listeners and keeps the newest. Thread-safe; it calls nobody while it holds its lock."""

    def __init__(self) -> None:
        self._news = threading.Condition()
        self._listeners: list[PadListener] = []
        self._overflowed_before = 0  # of listeners that have left
        self._ended = False
        self.latest: PadFrame | None = None

    @property
    def overflowed(self) -> int:
        """Frames that fell out of listeners' full queues."""
        with self._news:
            return self._overflowed_before + sum(listener.overflowed for listener in self._listeners)

    def add(self, listener: PadListener) -> PadListener:
        """Every frame from now on goes to this listener, too."""
        listener.leave = self._leave
        with self._news:
            self._listeners.append(listener)
        return listener

    def put(self, frames: list[PadFrame]) -> None:
        """One or more frames for everybody, the newest last; say `tell` afterwards."""
        with self._news:
            for listener in self._listeners:
                listener.add(frames)
            self.latest = frames[-1]
            self._news.notify_all()

    def tell(self) -> None:
        """Tell the listeners that want to be told."""
        with self._news:
            listeners = list(self._listeners)
        for listener in listeners:
            if listener.tell is not None:
                listener.tell()

    def end(self) -> None:
        """No frame will come any more: nobody waits on."""
        with self._news:
            self._ended = True
            self._news.notify_all()

    def wait_newer(self, than: PadFrame | None, timeout: float) -> PadFrame | None:
        """As `PadSource`."""
        with self._news:
            self._news.wait_for(lambda: self.latest is not than or self._ended, timeout)
            return self.latest if self.latest is not than else None

    def _leave(self, listener: PadListener) -> None:
        with self._news:
            if listener in self._listeners:
                self._listeners.remove(listener)
                self._overflowed_before += listener.overflowed


class PadSource(ABC):
    """One port, or several merged: what weighing, live view and page need. All methods are thread-safe.

    A context manager: it reads between `start` and `stop`.
    """

    def __init__(self) -> None:
        self._handout = Handout()

    @abstractmethod
    def start(self) -> Self:
        """Begin to read. Raises BenchError when a port cannot be opened."""

    @abstractmethod
    def stop(self) -> None:
        """Stop reading and close the port. Frames that wait for listeners can still be drained."""

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.stop()

    @property
    @abstractmethod
    def status(self) -> Status:
        """Where the port stands, for people."""

    @property
    @abstractmethod
    def tally(self) -> Tally:
        """What became of the lines so far."""

    @property
    @abstractmethod
    def boards(self) -> tuple[str, ...]:
        """The names by which the boards identify themselves, one a port; () while one of them has not."""

    @property
    @abstractmethod
    def gaps(self) -> tuple[Gap, ...]:
        """Stretches without a port."""

    @property
    def unread(self) -> tuple[Unread, ...]:
        """Ports of which no line can be used; one that is silent is left out."""
        return ()

    @property
    def newest_line(self) -> bytes:
        """The newest line with counts as it came; b"" before the first, or where the source has no lines."""
        return b""

    @property
    def unchecked(self) -> bool:
        """Whether the lines are other people's: described by a pattern, without the protocol's checksum."""
        return False

    @property
    def statuses(self) -> tuple[Status, ...]:
        """Where each port stands, in the order of the ports."""
        return (self.status,)

    @property
    def latest(self) -> PadFrame | None:
        """The newest frame."""
        return self._handout.latest

    def listen(self, listener: PadListener | None = None) -> PadListener:
        """Every frame from now on, for one more listener. May be asked before `start`, to miss nothing."""
        return self._handout.add(PadListener() if listener is None else listener)

    @abstractmethod
    def catch_up(self, timeout: float) -> None:
        """Return when every line sent before this call has been read, at most after `timeout` s.

        A machine that stood still for a while finds old lines in the buffers of cable and system. Pads that take no
        commands cannot be asked: for them nothing is waited for.
        """

    def wait_newer(self, than: PadFrame | None, timeout: float) -> PadFrame | None:
        """The newest frame as soon as there is one but `than`; None after `timeout` s, or when none can come."""
        return self._handout.wait_newer(than, timeout)
