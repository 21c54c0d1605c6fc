"""The pads' line protocol: bytes in, whole lines out, each line told for what it is.

Knows no port and no clock. The protocol itself is described in firmware_notes/protocol.md, whose golden lines
are tested against this file. Nothing in here raises on noise: a line that cannot be used is a `BadLine`.
"""

import binascii
import math
import re
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

from rig.base.printable import printable

PROTOCOL_VERSION = 1
LONGEST_LINE = 96  # bytes, with the line end
LONGEST_PATTERN_LINE = 4 * LONGEST_LINE
"""Bytes of a line of another make; a longer one is refused, and never cut to what looks whole."""
LONGEST_SHOWN = 96
"""Characters of a line that people are shown."""
SEQ_MODULUS = 1 << 16
MS_MODULUS = 1 << 32

MISSING, SATURATED = 0x000F, 0x00F0
RESTARTED, WATCHDOG, SETTLING, OVERRUN = 0x0100, 0x0200, 0x0400, 0x0800

Counts = tuple[float, float, float, float]
FourFlags = tuple[bool, bool, bool, bool]
_FOUR_BITS: tuple[FourFlags, ...] = tuple((bool(b & 1), bool(b & 2), bool(b & 4), bool(b & 8)) for b in range(16))

_NUMBER = rb"(0|[1-9]\d*)"
_READING = re.compile(rb"PB1 " + _NUMBER + rb" " + _NUMBER + rb" (0|-?[1-9]\d*)" * 4 + rb" ([0-9A-F]{4})")
_FORCE = re.compile(rb"PB1 F " + _NUMBER + rb" " + _NUMBER + rb" (0|-?[1-9]\d*) ([0-9A-F]{4})")
_IDENTITY = re.compile(
    rb"PB1 ID board=([\w.-]{1,16}) fw=([\w.-]{1,16}) ch=([1-4]) rate=(10|80) run=([01])"
    rb" boot=(power|pin|brownout|watchdog)((?: [\w.-]+=[\x21-\x7e]*)*)"
)
_ANSWER = re.compile(rb"PB1 (OK|ERR) ([\x21-\x7e]+(?: [\x21-\x7e]+)*)")
_VERSION = re.compile(rb"PB(\d{1,4}) ")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One intact line with counts.

    counts: raw counts in the board's channel order (other people's formats may give decimals); nan where the
        pad is missing.
    flags: the protocol's bits.  seq, device_ms: None where a format has none.  raw: the line as it came.
    step: of the last digit shown, in the unit of the counts.
    """

    counts: Counts
    flags: int
    seq: int | None
    device_ms: int | None
    raw: bytes
    step: float = 1.0

    @property
    def missing(self) -> FourFlags:
        """Which channels gave nothing new for this line."""
        return _FOUR_BITS[self.flags & MISSING]

    @property
    def saturated(self) -> FourFlags:
        """Which channels' converters stand at a stop (overloaded or disconnected bridge)."""
        return _FOUR_BITS[(self.flags & SATURATED) >> 4]

    @property
    def settling(self) -> bool:
        """The converters have just started or changed rate: show, do not use."""
        return bool(self.flags & SETTLING)


@dataclass(frozen=True, slots=True, kw_only=True)
class ForceLine:
    """One intact line of the load cell on the pushing finger; sent only after `force on`.

    count: raw, nan where the cell gave nothing new.  flags, seq, device_ms, raw: as of a `Reading`; `seq` is its own.
    """

    count: float
    flags: int
    seq: int
    device_ms: int
    raw: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """What a board says of itself after a reset, or when asked.

    channels: pads that the board is built for.  rate: lines per second.  boot: cause of its last reset.
    force: it has a load cell on the pushing finger.
    """

    board: str
    firmware: str
    channels: int
    rate: int
    running: bool
    boot: str
    force: bool = False
    raw: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A board's answer to a command: `ok`, and the command as understood or the reason why not."""

    ok: bool
    words: str
    raw: bytes


class BadReason(StrEnum):
    """Why a line cannot be used. words: the same for people."""

    words: str

    def __new__(cls, value: str, words: str) -> "BadReason":
        reason = str.__new__(cls, value)
        reason._value_, reason.words = value, words
        return reason

    CRC = "crc", "the checksum does not fit: the line was damaged on its way"
    FORMAT = "format", "not a line of the expected form"
    VERSION = "version", f"the board does not speak version {PROTOCOL_VERSION} of the pad protocol"
    SUM = "sum", "its numbers do not add up to the sum that it carries: the line was damaged on its way"
    LONG = "long", f"a line of more than {LONGEST_LINE} bytes"


@dataclass(frozen=True, slots=True, kw_only=True)
class BadLine:
    """A line that cannot be used. version: what the line claims, where that is another version than ours."""

    raw: bytes
    reason: BadReason
    version: int | None = None

    @property
    def sentence(self) -> str:
        """Why, for people."""
        if self.reason is BadReason.VERSION:
            return f"the board speaks version {self.version} of the pad protocol, not {PROTOCOL_VERSION}"
        return self.reason.words


Line = Reading | ForceLine | Identity | Answer | BadLine


class LineParser(Protocol):
    """What a reader needs of a format. `checked`: its lines carry a checksum, so a torn one is noticed."""

    checked: bool
    seq_modulus: int

    def parse(self, line: bytes) -> Line | None:
        """One line without its line end; None while a reading is still incomplete. Never raises."""
        ...

    def restart(self) -> None:
        """Forget a half-gathered reading: the stream was interrupted."""
        ...


@dataclass(slots=True)
class LineSplitter:
    """Bytes in, whole lines out. Keeps the unfinished tail, so a timeout never cuts a line.

    A line longer than `longest` comes out cut but still too long: the parser rejects it.
    any_end: lines may end in a carriage return as well, alone or with a line feed; empty ones are left out.
    """

    longest: int = 128
    any_end: bool = False
    tail: bytes = field(default=b"", repr=False)

    def feed(self, chunk: bytes) -> list[bytes]:
        """The lines that `chunk` completes, without their line ends."""
        text = self.tail + chunk
        if self.any_end:
            text = text.replace(b"\r", b"\n")
        *lines, tail = text.split(b"\n")
        if self.any_end:
            lines = [line for line in lines if line]
        self.tail = tail[-self.longest - 1 :]  # noise without line ends must not fill the memory
        return lines


def as_received(raw: bytes) -> str:
    """A line for people: cut where it is long, without what would steer a terminal."""
    text = printable(raw.decode("utf-8", "replace").strip())
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]} …"


def crc16(text: bytes) -> int:
    """CRC-16/CCITT-FALSE (also called CRC-16/IBM-3740): polynomial 1021, start FFFF, not reflected."""
    return binascii.crc_hqx(text, 0xFFFF)


def frame(text: str) -> bytes:
    """`text` as a line of the protocol: with its CRC and line end. For whoever plays a board."""
    body = text.encode("ascii")
    return body + b" %04X\n" % crc16(body)


def parse_line(line: bytes) -> Line:
    """Tell what one line is. line: without its line feed; one carriage return at its end is allowed.

    Never raises: whatever cannot be used comes back as a `BadLine` with the reason.
    """
    raw = line
    if line.endswith(b"\r"):
        line = line[:-1]
    if len(line) >= LONGEST_LINE:
        return BadLine(raw=raw, reason=BadReason.LONG)
    other = None
    if not line.startswith(b"PB1 "):
        claimed = _VERSION.match(line)
        if claimed is None:
            return BadLine(raw=raw, reason=BadReason.CRC if line.startswith(b"PB") else BadReason.FORMAT)
        other = int(claimed[1])
    body, _, crc = line.rpartition(b" ")
    if crc != b"%04X" % crc16(body):
        return BadLine(raw=raw, reason=BadReason.CRC, version=other)
    if other is not None:
        return BadLine(raw=raw, reason=BadReason.VERSION, version=other)
    return _parse_body(body, raw) or BadLine(raw=raw, reason=BadReason.FORMAT)


def _parse_body(body: bytes, raw: bytes) -> Reading | ForceLine | Identity | Answer | None:
    if found := _READING.fullmatch(body):
        *words, last = found.groups()
        seq, device_ms, c1, c2, c3, c4 = map(int, words)
        flags = int(last, 16)
        if seq >= SEQ_MODULUS or device_ms >= MS_MODULUS:
            return None
        if _too_wide(c1, c2, c3, c4):
            return None
        counts: Counts = (float(c1), float(c2), float(c3), float(c4))
        if flags & MISSING:
            n1, n2, n3, n4 = _FOUR_BITS[flags & MISSING]
            nan = math.nan
            counts = (nan if n1 else c1, nan if n2 else c2, nan if n3 else c3, nan if n4 else c4)
        return Reading(counts=counts, flags=flags, seq=seq, device_ms=device_ms, raw=raw)
    if found := _FORCE.fullmatch(body):
        seq, device_ms, count = map(int, found.groups()[:3])
        flags = int(found[4], 16)
        if seq >= SEQ_MODULUS or device_ms >= MS_MODULUS or _too_wide(count):
            return None
        one = math.nan if flags & 1 else float(count)
        return ForceLine(count=one, flags=flags, seq=seq, device_ms=device_ms, raw=raw)
    if found := _IDENTITY.fullmatch(body):
        board, firmware, channels, rate, running, boot = (word.decode("ascii") for word in found.groups()[:6])
        return Identity(
            board=board,
            firmware=firmware,
            channels=int(channels),
            rate=int(rate),
            running=running == "1",
            boot=boot,
            force=b"force=1" in found[7].split(b" "),
            raw=raw,
        )
    if found := _ANSWER.fullmatch(body):
        return Answer(ok=found[1] == b"OK", words=found[2].decode("ascii"), raw=raw)
    return None


def _too_wide(*counts: int) -> bool:
    """Whether one of them needs more than the converters' 24 bits."""
    return max(counts) >= 1 << 23 or min(counts) < -1 << 23


class PadLines:
    """Our own protocol as a `LineParser`."""

    checked = True
    seq_modulus = SEQ_MODULUS

    def parse(self, line: bytes) -> Line | None:
        """See `parse_line`."""
        return parse_line(line)

    def restart(self) -> None:
        """Nothing is gathered over several lines."""
