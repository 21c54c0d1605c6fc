"""What pads give to the rest of the bench: timed frames of four counts, a visible state, honest tallies."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from rig.pads.lines import Counts


class PortState(StrEnum):
    """Where a pads' port stands. People see it; it is never an exception."""

    STARTING = "starting"  # open; the board has not identified itself yet
    READING = "reading"
    SILENT = "silent"  # open, but no line for a while
    UNPLUGGED = "unplugged"  # lost; looking for the same board again
    WRONG_VERSION = "wrong version"  # the board speaks another version of the protocol
    ENDED = "ended"  # a replayed recording is over
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """The state in words: what is so, since when (host monotonic s), which port, what to do if anything."""

    state: PortState
    sentence: str
    since: float
    port: str
    remedy: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PadFrame:
    """One delivered reading of up to four pads, in the board's channel order.

    host_time: host monotonic s when the line's last byte had been read (merged ports: of the latest line).
    device_time: s since the board's reset with the 49.7-day wrap undone, None where unknown.
    counts: raw counts, nan where missing.  seq: as on the line, None where there is none.
    early: came before the board had identified itself (or the start-up wait was over): do not weigh with it.
    settling: the converters had just started or changed rate: do not weigh with it.
    skew: s between the oldest and the newest pad in this frame, 0 for one line.
    """

    host_time: float
    device_time: float | None
    counts: Counts
    missing: tuple[bool, bool, bool, bool]
    saturated: tuple[bool, bool, bool, bool]
    seq: int | None
    early: bool = False
    settling: bool = False
    skew: float = 0.0

    @property
    def usable(self) -> bool:
        """May be weighed with. Says nothing of single pads: see `missing` and `saturated`."""
        return not (self.early or self.settling)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """What became of the lines since the start.

    intact: lines with counts, whole and new (each delivered once).
    lost: numbers of readings that never came intact while the port was open; damaged ones are among them.
    repeated: came again, not delivered again.  damaged: refused (checksum, form, length).
    torn: first fragments after opening.  restarts: of the board.  reconnections: of the port.
    overflowed: frames dropped because nobody fetched them from the full queue.
    foreign_version: intact lines of another protocol version.
    """

    intact: int = 0
    lost: int = 0
    repeated: int = 0
    damaged: int = 0
    torn: int = 0
    restarts: int = 0
    reconnections: int = 0
    overflowed: int = 0
    foreign_version: int = 0

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(**{name: getattr(self, name) + getattr(other, name) for name in self.__slots__})


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A stretch without a port. start, end: host monotonic s.  missed: lines sent meanwhile, where known."""

    start: float
    end: float
    reason: str
    missed: int | None = None


class PadSource(Protocol):
    """One port, or several merged: what weighing, live view and page need. All methods are thread-safe."""

    @property
    def status(self) -> Status: ...
    @property
    def tally(self) -> Tally: ...
    @property
    def gaps(self) -> tuple[Gap, ...]: ...
    @property
    def latest(self) -> PadFrame | None:
        """The newest frame, without taking it from the queue."""
        ...

    def drain(self) -> list[PadFrame]:
        """All frames waiting in the queue, oldest first; they are taken out."""
        ...

    def catch_up(self, timeout: float) -> None:
        """Return when every line sent before this call has been read, at most after `timeout` s.

        A machine that stood still for a while finds old lines in the buffers of cable and system. Pads that take no
        commands cannot be asked: for them nothing is waited for.
        """
        ...

    def wait_newer(self, than: PadFrame | None, timeout: float) -> PadFrame | None:
        """The newest frame as soon as there is one that is not `than`; None after `timeout` s."""
        ...
