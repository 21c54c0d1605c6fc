"""What pads give to the rest of the bench: timed frames of four counts, a visible state, honest tallies."""

from dataclasses import dataclass
from enum import StrEnum

from rig.pads.lines import Counts


class PortState(StrEnum):
    """Where a pads' port stands, the worst first: of several ports people see that one. It is never an exception.

    words: what is so, in general.  remedy: what to do, if anything.
    """

    words: str
    remedy: str

    def __new__(cls, value: str, words: str, remedy: str = "") -> "PortState":
        state = str.__new__(cls, value)
        state._value_, state.words, state.remedy = value, words, remedy
        return state

    NO_PADS = "no pads", "No pads are connected", "Name their port on the bench card, or use the virtual bench"
    CLOSED = "closed", "the port cannot be opened", "It is tried again by itself"
    WRONG_VERSION = (
        "wrong version",
        "the board speaks another version of the protocol",
        "Put the firmware that belongs to this program on the board, or update the program",
    )
    UNPLUGGED = (
        "unplugged",
        "the pads were unplugged or switched off",
        "Plug the pads in again: reading goes on by itself",
    )
    SILENT = (
        "silent",
        "the port is open, but nothing came",
        "Check the board's power, its firmware and the baud rate",
    )
    STOPPED = "stopped", "stopped"
    ENDED = "ended", "the recording is over"
    STARTING = "starting", "waiting for the board to identify itself"
    READING = "reading", "reading"

    @property
    def rank(self) -> int:
        """0 for the worst."""
        return list(PortState).index(self)


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
    step: of the last digit shown, in the unit of the counts.
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
    step: float = 1.0

    @property
    def measured_at(self) -> float:
        """s: the board's own clock has no jitter of the cable; the host's where the board has none."""
        return self.host_time if self.device_time is None else self.device_time

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
    overflowed: frames that fell out of listeners' full queues.
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
