"""Bytes of one port into delivered frames, with the books kept: pure, no port, no clock, no thread.

The sequence number and the device time tell loss, repetition and restarts apart (firmware_notes/protocol.md).
"""

from collections import deque
from dataclasses import dataclass, field

from rig.pads.force import ForceBook
from rig.pads.frames import PadFrame, Tally
from rig.pads.lines import (
    LONGEST_PATTERN_LINE,
    MS_MODULUS,
    RESTARTED,
    Answer,
    BadLine,
    BadReason,
    ForceLine,
    Identity,
    LineParser,
    LineSplitter,
    PadLines,
    Reading,
)

UNENDED = 64
"""Bytes without a line end that are worth showing: hardly any pads send longer lines."""
_RECENT = 8  # lines among which the same bytes again count as a repetition
_CLASH_RUN = 3  # lines of another version with a bad checksum before the clash is believed
_COUNTABLE_GAP = 300.0  # s; at 80 lines a second the sequence number wraps after 819 s, half of it is clear


@dataclass(slots=True)
class Ledger:
    """Feed it what a port gave; it returns the frames and keeps the tallies.

    Say `opened` after every (re)opening. The first fragment after it is dropped: of a checked format only
    when its checksum fails, of an unchecked one always, since half a number looks like a number.
    """

    parser: LineParser = field(default_factory=PadLines)
    identity: Identity | None = None
    foreign: BadLine | None = None  # why the stream is held to be of another version
    answers: deque[Answer | Identity] = field(default_factory=lambda: deque(maxlen=16))
    bad: deque[BadLine] = field(default_factory=lambda: deque(maxlen=16))
    newest_line: bytes = b""
    received: int = 0  # bytes
    identified: bool = False  # since the last opening
    force: ForceBook = field(default_factory=ForceBook)

    _splitter: LineSplitter = field(default_factory=LineSplitter)
    _first: bool = True
    _seq: int | None = None
    _ms: int | None = None
    _wraps: int = 0
    _recent: deque[bytes] = field(default_factory=lambda: deque(maxlen=_RECENT))
    _flags: int | None = None
    _gap_length: float | None = None
    _reopened: bool = False
    _clashes: int = 0
    _intact: int = 0
    _lost: int = 0
    _repeated: int = 0
    _damaged: int = 0
    _torn: int = 0
    _restarts: int = 0
    _foreign_version: int = 0
    _missed: int | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.parser, PadLines):  # the pad protocol knows line feeds and short lines only
            self._splitter.any_end, self._splitter.longest = True, LONGEST_PATTERN_LINE

    def opened(self, *, gap: float | None = None) -> None:
        """The port has just been opened. gap: s without a port before, None the first time."""
        self._splitter.tail = b""
        self._first, self.identified = True, False
        self.foreign, self._clashes = None, 0
        self._reopened, self._gap_length, self._missed = gap is not None, gap, None
        self.parser.restart()

    def feed(self, chunk: bytes, now: float, *, early: bool = False) -> list[PadFrame]:
        """Frames whose lines `chunk` completes. now: host monotonic s.  early: mark them so."""
        frames: list[PadFrame] = []
        self.received += len(chunk)
        for raw in self._splitter.feed(chunk):
            first, self._first = self._first, False
            line = self.parser.parse(raw)
            if isinstance(line, Reading):
                if first and not self.parser.checked:
                    self._torn += 1
                elif (frame := self._book(line, now, early and not self.identified)) is not None:
                    frames.append(frame)
            elif isinstance(line, ForceLine):
                self.force.book(line, now)
            elif isinstance(line, BadLine):
                self._book_bad(line, first)
            elif line is not None:
                if isinstance(line, Identity):
                    self._meet(line)
                self.answers.append(line)
            elif first:  # part of a reading spread over lines, possibly torn
                self._torn += 1
                self.parser.restart()
        return frames

    def tally(self, *, reconnections: int = 0, overflowed: int = 0) -> Tally:
        """The books as they stand."""
        return Tally(
            intact=self._intact,
            lost=self._lost,
            repeated=self._repeated,
            damaged=self._damaged,
            torn=self._torn,
            restarts=self._restarts,
            reconnections=reconnections,
            overflowed=overflowed,
            foreign_version=self._foreign_version,
        )

    @property
    def intact(self) -> int:
        """Whole new lines with counts so far."""
        return self._intact

    @property
    def unread(self) -> bytes | None:
        """The newest line that could not be used, or what came without a line end; None while all is well."""
        tail = self._splitter.tail
        if len(tail) > UNENDED:
            return tail
        return self.bad[-1].raw if self.bad else None

    def take_missed(self) -> int | None:
        """Lines sent while there was no port, once the first line after it has told; then forgotten."""
        missed, self._missed = self._missed, None
        return missed

    def _meet(self, identity: Identity) -> None:
        self.identity, self.identified, self.foreign = identity, True, None

    def _book_bad(self, line: BadLine, first: bool) -> None:
        self.bad.append(line)
        if line.reason is BadReason.VERSION:
            self._foreign_version += 1
            self.foreign = line
        elif first:
            self._torn += 1
        else:
            self._damaged += 1
        if line.version is not None:  # noise can turn PB1 into PB2: only a run of them is a clash
            self._clashes += 1
            if self._clashes >= _CLASH_RUN:
                self.foreign = line

    def _book(self, line: Reading, now: float, early: bool) -> PadFrame | None:
        self.foreign, self._clashes = None, 0
        seq, ms = line.seq, line.device_ms
        if seq is not None and line.raw in self._recent:
            self._repeated += 1
            return None
        self._account(seq, ms, line.flags)
        self._seq, self._flags = seq, line.flags
        if seq is not None:
            self._recent.append(line.raw)
        if ms is not None:
            if self._ms is not None and ms < self._ms:
                self._wraps += 1
            self._ms = ms
        self._reopened = False
        self._intact += 1
        self.newest_line = line.raw
        return PadFrame(
            host_time=now,
            device_time=None if ms is None else (ms + self._wraps * MS_MODULUS) / 1000.0,
            counts=line.counts,
            missing=line.missing,
            saturated=line.saturated,
            seq=seq,
            early=early,
            settling=line.settling,
            step=line.step,
        )

    def _account(self, seq: int | None, ms: int | None, flags: int) -> None:
        ahead = None if seq is None or self._seq is None else (seq - self._seq) % self.parser.seq_modulus
        if self._restarted(ahead, ms, flags):
            self._restarts += 1
            self._recent.clear()
            self._ms, self._wraps = None, 0
            if seq is not None and not self._reopened:
                self._lost += seq  # the first after a reset is 0
        elif ahead is not None:
            if not self._reopened:
                self._lost += ahead - 1
            elif self._gap_length is not None and self._gap_length < _COUNTABLE_GAP:
                self._missed = ahead - 1

    def _restarted(self, ahead: int | None, ms: int | None, flags: int) -> bool:
        """Device time or sequence ran backwards, or the flag rose; a wrap counts as running forwards."""
        if ahead is not None and not 0 < ahead <= self.parser.seq_modulus // 2:
            return True
        if ms is not None and self._ms is not None and 0 < (self._ms - ms) % MS_MODULUS < MS_MODULUS // 2:
            return True
        return self._flags is not None and bool(flags & ~self._flags & RESTARTED)
