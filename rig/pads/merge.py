"""Several ports with one pad each, merged in time into frames of four counts.

Each merged count is a real conversion, the newest of its port, used once and never mixed with another: so the
noise stays what it is. The slowest port sets the pace; the pads of a frame lie less than one line apart in time
(`skew` says how much). A port that has gone quiet becomes a missing pad instead of holding the others up.
"""

import math
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Self

from rig.base.errors import InputError
from rig.pads.frames import Gap, PadFrame, Status, Tally
from rig.pads.listeners import PadListener, PadSource, Unread
from rig.pads.reader import PadReader

LONGEST_PATIENCE = 5.0
"""s; a port that says less than a line in five seconds is quiet."""


@dataclass(slots=True)
class TimeMerger:
    """Frames of several ports in, merged frames out. Pure: knows host times, not clocks.

    ports: how many, one to four; the first channel of each is the merged channel of its number.
    patience: s after which a port without frames no longer holds the others up; of a slow one, three of its own lines.
    """

    ports: int
    patience: float = 0.5
    _pace: dict[int, float] = field(init=False, default_factory=dict, repr=False)
    _unused: dict[int, PadFrame] = field(init=False, default_factory=dict, repr=False)
    _heard: dict[int, float] = field(init=False, default_factory=dict, repr=False)
    _spoken: set[int] = field(init=False, default_factory=set, repr=False)
    _seq: int = field(init=False, default=0)

    def __post_init__(self) -> None:
        if not 1 <= self.ports <= 4:
            raise InputError(
                "one to four pads can be merged", where="bench card, pads", remedy="Name each pad's port once"
            )

    def push(self, port: int, frame: PadFrame) -> list[PadFrame]:
        """Take one frame of one port, in order of time; the merged frame that this completes, if it does."""
        if port in self._pace or port in self._spoken:
            between = frame.host_time - self._heard[port]
            self._pace[port] = max(between, 0.7 * self._pace.get(port, between))
        self._spoken.add(port)
        for other in range(self.ports):  # a port not heard yet is awaited from the first frame on
            self._heard.setdefault(other, frame.host_time)
        self._heard[port] = frame.host_time
        self._unused[port] = frame
        return self.due(frame.host_time)

    def forget(self) -> None:
        """Drop the frames that wait for those of other ports."""
        self._unused = {}

    def due(self, now: float) -> list[PadFrame]:
        """The merged frame that can be given at `now` (host monotonic s), once no awaited port lacks a frame."""
        awaited = [port for port, heard in self._heard.items() if now - heard <= self._patience_with(port)]
        if not self._unused or any(port not in self._unused for port in awaited):
            return []
        newest, self._unused = self._unused, {}
        return [self._joined(newest)]

    def _patience_with(self, port: int) -> float:
        pace = self._pace.get(port, max(self._pace.values(), default=0.0))  # one not heard yet: as its fellows
        return max(self.patience, min(3.0 * pace, LONGEST_PATIENCE))

    def _joined(self, newest: dict[int, PadFrame]) -> PadFrame:
        counts, missing, saturated = [math.nan] * 4, [True] * 4, [False] * 4
        for port, frame in newest.items():
            counts[port], missing[port], saturated[port] = frame.counts[0], frame.missing[0], frame.saturated[0]
        times = [frame.host_time for frame in newest.values()]
        seq, self._seq = self._seq, self._seq + 1
        return PadFrame(
            host_time=max(times),
            device_time=None,
            counts=(counts[0], counts[1], counts[2], counts[3]),
            missing=(missing[0], missing[1], missing[2], missing[3]),
            saturated=(saturated[0], saturated[1], saturated[2], saturated[3]),
            seq=seq,
            early=any(frame.early for frame in newest.values()),
            settling=any(frame.settling for frame in newest.values()),
            skew=max(times) - min(times),
            step=max(frame.step for frame in newest.values()),
        )


class MergedPads(PadSource):
    """Several readers as one `PadSource`. Owns the readers: `start` starts them, `stop` stops them."""

    def __init__(
        self,
        readers: Sequence[PadReader],
        *,
        patience: float = 0.5,
    ) -> None:
        self._readers = tuple(readers)
        self._merger = TimeMerger(ports=len(self._readers), patience=patience)
        super().__init__()
        self._arrived = threading.Event()
        self._single = [reader.listen(PadListener(tell=self._arrived.set)) for reader in self._readers]
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._merging = threading.Lock()

    def start(self) -> Self:
        """Open all ports. Raises BenchError when one cannot be opened; the others are closed again."""
        try:
            for reader in self._readers:
                reader.start()
        except BaseException:
            self.stop()
            raise
        self._thread = threading.Thread(target=self._run, name="merge pads", daemon=True)
        self._thread.start()
        return self

    def stop(self) -> None:
        """Stop all readers."""
        self._stop.set()
        self._arrived.set()
        if self._thread is not None:
            self._thread.join(timeout=5.0)
        for reader in self._readers:
            reader.stop()
        self._handout.end()

    @property
    def status(self) -> Status:
        """The worst of the ports' states, with its port named."""
        return min((reader.status for reader in self._readers), key=lambda status: status.state.rank)

    @property
    def newest_line(self) -> bytes:
        """As `PadSource`, of the first port that has one."""
        return next((reader.newest_line for reader in self._readers if reader.newest_line), b"")

    @property
    def unchecked(self) -> bool:
        """As `PadSource`."""
        return any(reader.unchecked for reader in self._readers)

    @property
    def statuses(self) -> tuple[Status, ...]:
        """As `PadSource`."""
        return tuple(reader.status for reader in self._readers)

    @property
    def unread(self) -> tuple[Unread, ...]:
        """As `PadSource`."""
        return tuple(one for reader in self._readers for one in reader.unread)

    @property
    def tally(self) -> Tally:
        """All ports' lines together, and merged frames that fell out of full queues."""
        total = sum((reader.tally for reader in self._readers), Tally())
        return total + Tally(overflowed=self._handout.overflowed)

    @property
    def boards(self) -> tuple[str, ...]:
        """As `PadSource`, in the order of the ports."""
        named = [reader.boards for reader in self._readers]
        return tuple(name for names in named for name in names) if all(named) else ()

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """All ports' gaps in order of time."""
        return tuple(sorted((gap for reader in self._readers for gap in reader.gaps), key=lambda g: g.start))

    def catch_up(self, timeout: float) -> None:
        """As `PadSource`, for every port; what was not merged yet is dropped."""
        for reader in self._readers:
            reader.catch_up(timeout)
        with self._merging:
            for listener in self._single:
                listener.drain()
            self._merger.forget()

    def _run(self) -> None:
        while not self._stop.is_set():
            self._arrived.wait(self._merger.patience / 2.0)
            self._arrived.clear()
            with self._merging:
                self._merge()

    def _merge(self) -> None:
        merged: list[PadFrame] = []
        batches = [(f.host_time, port, f) for port, listener in enumerate(self._single) for f in listener.drain()]
        for _, port, frame in sorted(batches, key=lambda item: item[:2]):
            merged += self._merger.push(port, frame)
        merged = merged or self._merger.due(time.monotonic())
        if merged:
            self._handout.put(merged)
            self._handout.tell()
