"""A recording of the finger's load cell: raw traffic of its board, with the force lines in it."""

import contextlib
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from rig.base.errors import BenchError, InputError
from rig.pads.bookkeeping import Ledger
from rig.pads.force import ForceFrame
from rig.pads.lines import Identity
from rig.pads.port import BAUD
from rig.pads.reader import PadReader
from rig.pads.traffic import TrafficKind, TrafficRecorder, read_traffic

ENDING = ".force.txt"
"""A recording made with a clip lies beside it: push.avi, push.force.txt."""
CLOCK = "host clock "
"""A remark at the head of a session: the host's monotonic clock then, s."""
LATEST = 5.0
"""s to wait for a board that has not said yet who it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ForceRecording:
    """time: (n,) s by the board's clock, laid on the host's.  counts: (n,) raw.  board: as it identified itself, "".

    saturated: times at which the converter stood at a stop.  lost: lines that never came.  host: whether `time` is the
    host's monotonic clock; else it counts from the recording's begin.
    """

    time: tuple[float, ...]
    counts: tuple[float, ...]
    board: str
    saturated: tuple[float, ...]
    lost: int
    host: bool


def beside(clip: Path) -> Path:
    """Where the recording made with a clip lies, whether it is there or not."""
    return clip.with_suffix(ENDING)


def read_force(path: Path) -> ForceRecording:
    """The force in a recording. Raises InputError when it is none, holds no force, or the board began anew in it."""
    ledger, frames, begun = Ledger(), list[ForceFrame](), None
    for chunk in read_traffic(path):
        if chunk.kind is TrafficKind.CAME:
            ledger.feed(chunk.data, chunk.time)
            frames += ledger.force.take()
        elif chunk.kind is TrafficKind.REMARK:
            text = chunk.data.decode("ascii", "replace")
            if text.startswith(CLOCK) and begun is None:
                with contextlib.suppress(ValueError):
                    begun = float(text.removeprefix(CLOCK)) - chunk.time
            if text.startswith("opened"):
                ledger.opened()
    if not frames:
        raise InputError(
            "there is no force in it",
            where=str(path),
            remedy="Record with: pivotbench pads record PORT FILE --force, from a board with a load cell on the finger",
        )
    if any(frame.restarted for frame in frames[1:]):
        raise InputError(
            "the board began anew while it was recorded: its times do not go on",
            where=str(path),
            remedy="Look at its supply, and record the push again",
        )
    used = [frame for frame in frames if not (frame.missing or frame.settling)]
    # Lines come late by varying pauses, never early: the least late ones show how the clocks stand.
    shift = min((frame.host_time - frame.device_time for frame in used), default=0.0) + (begun or 0.0)
    rising = used[:1] + [now for before, now in pairwise(used) if now.device_time > before.device_time]
    identity = ledger.identity
    return ForceRecording(
        time=tuple(frame.device_time + shift for frame in rising),
        counts=tuple(frame.count for frame in rising),
        board="" if identity is None else identity.board,
        saturated=tuple(frame.device_time + shift for frame in used if frame.saturated),
        lost=sum(frame.lost for frame in frames),
        host=begun is not None,
    )


@contextmanager
def force_recorded(
    port: str, path: Path, *, baud: int = BAUD, hear: Callable[[list[ForceFrame]], None] | None = None
) -> Iterator[PadReader]:
    """Record a board's traffic with its force lines for as long as this lasts. hear: gets them, too, as they come.

    Raises BenchError when the port cannot be opened, or its board has no load cell on the finger.
    """
    with TrafficRecorder(path, port=port) as recorder:
        now = time.monotonic()
        recorder.tap(f"{CLOCK}{now:.6f}".encode(), now, TrafficKind.REMARK)
        with PadReader(port, baud=baud, tap=recorder.tap, on_force=hear) as reader:
            ask_for_force(reader)
            yield reader
            with contextlib.suppress(BenchError):
                reader.command("force off", timeout=0.5)
        if reader.recording_error is not None:
            raise reader.recording_error


def ask_for_force(reader: PadReader) -> Identity:
    """Have the board send what its finger's load cell gives. Raises BenchError where there is none, or no answer."""
    end = time.monotonic() + LATEST
    while True:
        try:
            identity = reader.command("?", timeout=1.0)
        except BenchError:
            if time.monotonic() > end:
                raise
            continue
        break
    assert isinstance(identity, Identity)
    if not identity.force:
        raise InputError(
            f'the board "{identity.board}" has no load cell on the finger',
            where=reader.url,
            remedy="Wire it as wiring.md says (pivotbench pads board), or name its port: [force] on the bench card",
        )
    reader.command("force on")
    return identity
