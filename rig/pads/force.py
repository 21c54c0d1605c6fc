"""The load cell on the pushing finger: its lines into timed frames, with the books kept. No port, no clock."""

from dataclasses import dataclass, field

from rig.pads.lines import MISSING, MS_MODULUS, SATURATED, SEQ_MODULUS, SETTLING, ForceLine


@dataclass(frozen=True, slots=True, kw_only=True)
class ForceFrame:
    """One reading of the finger's load cell.

    host_time: host monotonic s when the line's last byte had been read.  device_time: s of the board's clock with the
    49.7-day wrap undone.  count: raw, nan where `missing`.  lost: lines that never came just before this one.
    restarted: the numbering began anew with this one, after `force on` or a reset of the board.
    """

    host_time: float
    device_time: float
    count: float
    missing: bool
    saturated: bool
    settling: bool
    lost: int = 0
    restarted: bool = False

    @property
    def usable(self) -> bool:
        """May be calculated with."""
        return not (self.missing or self.saturated or self.settling)


@dataclass(slots=True)
class ForceBook:
    """Frames of one port's force lines; `take` hands over those that came since."""

    _frames: list[ForceFrame] = field(default_factory=list)
    _seq: int | None = None
    _ms: int | None = None
    _wraps: int = 0

    def book(self, line: ForceLine, now: float) -> None:
        """One more intact line. now: host monotonic s. A line that came twice is taken once."""
        ahead = None if self._seq is None else (line.seq - self._seq) % SEQ_MODULUS
        if ahead == 0 and line.device_ms == self._ms:
            return
        restarted = ahead is None or not 0 < ahead <= SEQ_MODULUS // 2
        if self._ms is not None and line.device_ms < self._ms:
            if (line.device_ms - self._ms) % MS_MODULUS < MS_MODULUS // 2:
                self._wraps += 1
            else:  # the board's clock began anew
                restarted, self._wraps = True, 0
        self._seq, self._ms = line.seq, line.device_ms
        self._frames.append(
            ForceFrame(
                host_time=now,
                device_time=(line.device_ms + self._wraps * MS_MODULUS) / 1000.0,
                count=line.count,
                missing=bool(line.flags & MISSING),
                saturated=bool(line.flags & SATURATED),
                settling=bool(line.flags & SETTLING),
                lost=0 if restarted or ahead is None else ahead - 1,
                restarted=restarted,
            )
        )

    def take(self) -> list[ForceFrame]:
        """Frames since the last call, oldest first."""
        frames, self._frames = self._frames, []
        return frames
