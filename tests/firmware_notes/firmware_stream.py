"""Four loads on the emulated board, streamed to the program's own reader, and everything wrong that can be seen."""

import math
import time
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from rig.pads.frames import PadFrame, Tally
from rig.pads.listeners import PadListener
from rig.pads.reader import PadReader
from tests.firmware_notes.firmware_build import EmulatedBoard, Firmware

LOADS = (84213, 79950, 101877)  # counts on pads 1, 2 and 4
NOISE = 20.0  # counts
RAMP = 3  # pad 3 gives one more step with every conversion, without noise: none may come twice or be torn
_PAD_FAULTS, _BOARD_FAULTS = ("collisions", "unread", "power_downs"), ("bytes_dropped", "crashes")
CLOCK_PPM = (-4000, 0, 2500, 7000)  # free-running oscillators a little apart


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """What the host got from a board, and what the emulator says of the board.

    seconds: emulated time of `frames`.  before: what came earlier, around the start and the change of rate.
    """

    frames: list[PadFrame]
    before: list[PadFrame]
    tally: Tally
    statistics: Any
    seconds: float


class Bench:
    """An emulated board with a reader at its port."""

    def __init__(self, firmware: Firmware, elf: Path | None = None) -> None:
        self.board = EmulatedBoard(firmware.emulator, elf or firmware.elf)
        self.received = 0
        self.before: list[PadFrame] = []
        self.reader = PadReader(self.board.port, tap=self._count)
        self.heard = self.reader.listen(PadListener(length=200_000))
        for pad, load in zip((1, 2, 4), LOADS, strict=True):
            self.board.tell(f"load {pad} {load}")
            self.board.tell(f"noise {pad} {NOISE}")
        self.board.tell("load 3 -312")
        self.board.tell(f"ramp 3 {RAMP}")
        for pad, ppm in enumerate(CLOCK_PPM, 1):
            self.board.tell(f"clock {pad} {ppm}")
        self.reader.start()

    def _count(self, data: bytes, now: float, kind: str) -> None:
        if kind == "<":
            self.received += len(data)

    def run(self, seconds: float) -> Stream:
        """Let time pass and wait until the reader has every byte that the board sent."""
        passed = self.board.run(seconds)
        statistics = self.board.statistics()
        deadline = time.monotonic() + 20.0
        while self.received < statistics["bytes_out"] and time.monotonic() < deadline:
            time.sleep(0.01)
        time.sleep(0.05)  # the last chunk is counted before its lines are told apart
        frames, before = self.heard.drain(), [*self.before]
        self.before += frames
        return Stream(frames=frames, before=before, tally=self.reader.tally, statistics=statistics, seconds=passed)

    def close(self) -> None:
        self.reader.stop()
        self.board.__exit__(None, None, None)


def faults(stream: Stream) -> list[str]:
    """Everything wrong that the host can see in a stream at 80 per second from the bench above."""
    found = [
        f"{name} lines: {number}"
        for name in ("damaged", "lost", "repeated", "restarts", "overflowed")
        if (number := getattr(stream.tally, name))
    ]
    frames = stream.frames
    # The slowest converter sets the pace: 7000 ppm below 80 per second, and a line at either end may be cut.
    expected = stream.seconds * 80 / (1 + max(CLOCK_PPM) * 1e-6)
    if abs(len(frames) - expected) > 2:
        found.append(f"{len(frames)} lines instead of {expected:.0f}")
    if missing := sum(any(frame.missing) for frame in frames):
        found.append(f"missing: {missing}")
    if missing := sum(any(frame.missing) for frame in stream.before):
        found.append(f"missing while settling: {missing}")
    # 7 standard deviations: once in 4e11 values by chance (normal law)
    wrong = sum(
        abs(frame.counts[pad] - load) > 7 * NOISE
        for frame in frames
        for pad, load in zip((0, 1, 3), LOADS, strict=True)
        if not frame.missing[pad]
    )
    ramp = [frame.counts[2] for frame in frames if not math.isnan(frame.counts[2])]
    # one step, or two where the faster pad 3 has overtaken the slowest
    wrong += sum(later - earlier not in (RAMP, 2 * RAMP) for earlier, later in pairwise(ramp))
    if wrong:
        found.append(f"wrong values: {wrong}")
    return found


def stream_at_80(bench: Bench, seconds: float) -> Stream:
    """Change the rate, pass the settling pause and its flagged lines, then stream."""
    bench.run(0.6)
    bench.board.tell("type rate 80")
    bench.run(0.5)
    bench.board.tell("clear")
    return bench.run(seconds)


def board_faults(stream: Stream) -> list[str]:
    """Everything wrong that the emulator saw of the board while the firmware ran on it."""
    found = []
    for number, pad in enumerate(stream.statistics["pads"], 1):
        # HX711 data sheet, from memory: clock high 0.2 to 50 us, low from 0.2; our own rule: read within 1 ms of ready
        if not (pad["shortest_us"] >= 0.2 and pad["high_us"] <= 50.0):
            found.append(f"clock pulses of pad {number}: {pad}")
        if pad["late_us"] >= 1000.0:
            found.append(f"pad {number} read late: {pad['late_us']} us")
        found += [f"{what} at pad {number}: {pad[what]}" for what in _PAD_FAULTS if pad[what]]
    found += [f"{what}: {stream.statistics[what]}" for what in _BOARD_FAULTS if stream.statistics[what]]
    return found
