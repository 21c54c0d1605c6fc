"""What a stream of readings shows within a second: said at once, and not after a minute of waiting for rest."""

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.pads.pad_faults import FaultName, PadFault, PadLimits, pad_faults
from rig.base.errors import BenchError
from rig.pads.bookkeeping import UNENDED
from rig.pads.frames import PadFrame, PortState
from rig.pads.lines import as_received
from rig.pads.listeners import PadSource

LONG_ENOUGH_S = 0.9
"""What every reading shows for so long is no bump."""
FEWEST = 4
"""Readings that must show it."""
MORE_UNREAD, UNREAD_S = 2, 1.0
"""Nothing but so many more lines, for so many s, that cannot be read: they are of another form."""
SILENT_S = 2.0
"""A port that has been silent (see ReaderTiming) is waited for so much longer: a board may start late."""
GRAVEST_FIRST: tuple[FaultName, ...] = (
    "missing",
    "disconnected",
    "saturated",
    "overload",
    "underload",
    "line stuck high",
    "line stuck low",
    "frozen",
    "same counts as another pad",
)

Look = Callable[[FloatArray], None]
"""Gets the counts of the last second, (n, 4), oldest first, all pads there; raises what can be said of them at once."""


@dataclass(slots=True)
class AtOnce:
    """Hears every frame of one wait for rest, and refuses what cannot become a reading.

    names: of the pads.  limits: where counts become implausible.
    look: what the use case knows of loads.
    """

    source: PadSource
    names: tuple[str, ...]
    limits: PadLimits | None = None
    look: Look | None = None
    _recent: deque[PadFrame] = field(default_factory=deque, init=False)
    _unread: dict[str, tuple[float, int, int]] = field(default_factory=dict, init=False)

    def hear(self, frame: PadFrame) -> None:
        """One more frame."""
        if not frame.usable:
            return
        if self._recent and frame.measured_at < self._recent[-1].measured_at:
            self._recent.clear()  # the board restarted
        self._recent.append(frame)
        while len(self._recent) > FEWEST and self._recent[1].measured_at < frame.measured_at - LONG_ENOUGH_S:
            self._recent.popleft()

    def refuse(self) -> None:
        """Raise BenchError for what is certain by now."""
        self._refuse_unread()
        self._refuse_silent()
        if len(self._recent) < FEWEST or self._recent[-1].measured_at - self._recent[0].measured_at < LONG_ENOUGH_S:
            return
        counts = np.array([frame.counts for frame in self._recent])
        missing = np.array([frame.missing for frame in self._recent])
        found = pad_faults(counts, missing=missing, limits=self.limits)
        lasting = [fault for fault in found if fault.samples >= len(counts)]
        if lasting:
            raise self.fault(min(lasting, key=gravity_of))
        if self.look is not None and not missing.any() and np.all(np.isfinite(counts)):
            self.look(counts)

    def fault(self, fault: PadFault) -> BenchError:
        """A pad's fault for people, with its port."""
        statuses = self.source.statuses
        status = statuses[fault.pad] if len(statuses) > fault.pad and len(statuses) > 1 else self.source.status
        what, remedy = f"{self.names[fault.pad]}: {fault.name}", fault.remedy
        if fault.name == "missing" and status.state not in (PortState.READING, PortState.STARTING):
            what, remedy = f"{what} ({status.sentence})", status.remedy or remedy
        if fault.name in ("line stuck low", "line stuck high", "frozen") and self.source.unchecked:
            what = f"{what}: the same number again and again ({self.newest()})"
            remedy = (
                f'{remedy}. If these lines show a weight, which scales repeat at rest, write unit = "g" (kg, oz) on '
                "the bench card"
            )
        return BenchError(what, where=status.port, remedy=remedy)

    def newest(self) -> str:
        """The newest line as it came."""
        raw = self.source.newest_line
        return f'"{as_received(raw)}"' if raw else "no line yet"

    def _refuse_unread(self) -> None:
        now, refused = time.monotonic(), self.source.tally.damaged
        unread = {one.port: one for one in self.source.unread}
        for port in [port for port in self._unread if port not in unread]:
            del self._unread[port]
        for port, one in unread.items():
            since, received, refused_then = self._unread.setdefault(port, (now, one.received, refused))
            more = one.received - received
            going_on = refused - refused_then >= MORE_UNREAD or (len(one.newest) > UNENDED and more > UNENDED)
            if now - since >= UNREAD_S and going_on:
                raise BenchError(
                    f'nothing that comes can be read as the bench card says, for example "{as_received(one.newest)}"',
                    where=port,
                    remedy="Ask what it is: pivotbench pads --port PORT tells its form and its baud rate, and writes "
                    "them onto the bench card with --write",
                )

    def _refuse_silent(self) -> None:
        for status in self.source.statuses:
            if status.state is PortState.SILENT and time.monotonic() - status.since > SILENT_S:
                raise BenchError(status.sentence, where=status.port, remedy=status.remedy)


def gravity_of(fault: PadFault) -> tuple[int, int]:
    """Order of faults, the gravest first: what explains the others comes before them."""
    return GRAVEST_FIRST.index(fault.name), fault.pad
