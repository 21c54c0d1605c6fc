"""The virtual pads' board: speaks the protocol of firmware_notes/protocol.md, knows no port and no clock.

Written from the note, not from the reader, so that the two can contradict each other. Unlike a real board its
four cells convert in step, commands take no time, and the line has no baud rate.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from rig.pads.lines import frame
from rig.virtual.pads_cells import BOTTOM, TOP, CellState

_PAUSE = {10: 0.4, 80: 0.05}  # s, the converters' settling time
_RESTARTED, _WATCHDOG, _SETTLING = 0x0100, 0x0200, 0x0400


@dataclass(slots=True)
class VirtualBoard:
    """One board with up to four pads. `advance` lets its time pass and returns what it sends meanwhile.

    pace: its clock against true time (1.002 is 0.2 % fast).  start_rate: lines per second after a reset.
    missing, stopped, stuck: channels (0 to 3) with that fault.
    """

    cells: CellState
    name: str = "virtual4"
    channels: int = 4
    pace: float = 1.0
    start_rate: int = 10
    missing: set[int] = field(default_factory=set)
    stopped: set[int] = field(default_factory=set)
    stuck: set[int] = field(default_factory=set)
    mute: bool = False
    seq: int = 0
    ms_offset: int = 0  # lets a test stand just before the wrap of the device time
    force: Callable[[float], float] | None = None
    """What the load cell on the finger reads at a time of the board, s: counts. None: this board has none."""

    _rate: int = 10
    _running: bool = True
    _boot: str = "power"
    _time: float = 0.0
    _due: float = 0.0
    _sampled: float = 0.0
    _fresh: int = 16
    _unsettled: int = 4
    _settling_now: bool = False
    _typed: bytes = b""
    _overlong: bool = False
    _out: bytearray = field(default_factory=bytearray)
    _force_on: bool = False
    _force_seq: int = 0

    def __post_init__(self) -> None:
        self.reset("power")

    def reset(self, boot: str) -> None:
        """Start again. boot: power, pin, brownout or watchdog."""
        self._boot, self._rate, self._running = boot, self.start_rate, True
        self._time = self._sampled = 0.0
        self.seq, self.ms_offset = 0, 0
        self._fresh, self._typed, self._overlong, self._force_on = 16, b"", False, False
        self._pause()
        self._out += self._identification()

    def advance(self, seconds: float) -> bytes:
        """Let `seconds` of true time pass; returns the bytes sent meanwhile."""
        self._time += seconds * self.pace
        while self._due <= self._time:
            line = self._reading(self._due)
            if self._running:
                self._out += line + self._force_line(self._due)
            self._due += 1.0 / self._rate
        sent, self._out = bytes(self._out), bytearray()
        return b"" if self.mute else sent

    def until_due(self) -> float:
        """True seconds until the next line is due."""
        return max(0.0, (self._due - self._time) / self.pace)

    def hear(self, data: bytes) -> None:
        """Take bytes from the host; the answers come out of the next `advance`."""
        for byte in data:
            if byte != 0x0A:
                self._overlong = self._overlong or len(self._typed) > 16
                self._typed = self._typed[:17] + bytes([byte])
                continue
            text = self._typed.removesuffix(b"\r").rstrip(b" ")
            too_long, self._typed, self._overlong = self._overlong or len(text) > 16, b"", False
            if too_long:
                self._out += frame("PB1 ERR long")
            elif text:
                self._out += self._answer(text)

    def _answer(self, text: bytes) -> bytes:
        match text.split(b" "):
            case [b"?"]:
                return self._identification()
            case [b"rate", (b"10" | b"80") as rate]:
                self._rate = int(rate)
                self._pause()
                return frame(f"PB1 OK rate {self._rate}")
            case [b"start"]:
                self._running = True
                return frame("PB1 OK start")
            case [b"stop"]:
                self._running = False
                return frame("PB1 OK stop")
            case [b"force", (b"on" | b"off") as state] if self.force is not None:
                if state == b"on" and not self._force_on:
                    self._force_seq = 0
                self._force_on = state == b"on"
                return frame(f"PB1 OK force {state.decode()}")
            case [b"force", *_] if self.force is None:
                return frame("PB1 ERR unknown")
            case [b"?" | b"rate" | b"start" | b"stop" | b"force", *_]:
                return frame("PB1 ERR argument")
        return frame("PB1 ERR unknown")

    def _pause(self) -> None:
        self._unsettled = 4
        self._due = self._time + _PAUSE[self._rate]

    def _identification(self) -> bytes:
        return frame(
            f"PB1 ID board={self.name} fw=1.1.0 ch={self.channels} rate={self._rate}"
            f" run={int(self._running)} boot={self._boot}{'' if self.force is None else ' force=1'}"
        )

    def _force_line(self, when: float) -> bytes:
        """After its reading, as all cells convert in step; `_unsettled` has been counted down for it already."""
        if self.force is None or not self._force_on:
            return b""
        count = min(max(round(self.force(when)), BOTTOM), TOP)
        flags = (0x0010 if count in (TOP, BOTTOM) else 0) | (_SETTLING if self._settling_now else 0)
        ms = (int(when * 1000.0) + self.ms_offset) % (1 << 32)
        line = frame(f"PB1 F {self._force_seq} {ms} {count} {flags:04X}")
        self._force_seq = (self._force_seq + 1) % 65536
        return line

    def _reading(self, when: float) -> bytes:
        counts = list(self.cells.sample(when - self._sampled, self._rate))
        self._sampled = when
        if not self._running:
            return b""
        flags = 0
        for pad in range(4):
            if pad in self.missing or pad >= self.channels:
                counts[pad] = 0
                flags |= 1 << pad
            elif pad in self.stuck:
                counts[pad] = -1
            else:
                if pad in self.stopped:
                    counts[pad] = TOP
                flags |= 0x10 << pad if counts[pad] in (TOP, BOTTOM) else 0
        if self._fresh:
            self._fresh -= 1
            flags |= _RESTARTED | (_WATCHDOG if self._boot == "watchdog" else 0)
        self._settling_now = self._unsettled > 0
        if self._unsettled:
            self._unsettled -= 1
            flags |= _SETTLING
        ms = (int(when * 1000.0) + self.ms_offset) % (1 << 32)
        line = frame(f"PB1 {self.seq} {ms} {' '.join(map(str, counts))} {flags:04X}")
        self.seq = (self.seq + 1) % 65536
        return line
