"""A board with five converters in the emulator, read through its pseudo-terminal: force and four loads arrive."""

import itertools
import time
from pathlib import Path

import pytest

from rig.pads.force import ForceFrame
from rig.pads.reader import PadReader
from tests.firmware_notes.firmware_build import EmulatedBoard, Firmware, make

LOADS = (84_213.0, -5_000_000.0, 79_950.0, 101_877.0)
FORCE, NOISE = -1_305_700.0, 40.0


@pytest.mark.thorough
def test_force_and_four_loads_arrive_at_80_a_second(firmware: Firmware, tmp_path: Path) -> None:
    """Free-running converters a little apart: no line lost or damaged, no wrong value, the cell read in time."""
    make(tmp_path, "size", options="-DFORCE=1")  # fails above the limits of flash and RAM
    forces: list[ForceFrame] = []
    with EmulatedBoard(firmware.emulator, tmp_path / "pads.elf", converters=5) as board:
        for cell, load in enumerate((*LOADS, FORCE), 1):
            board.tell(f"load {cell} {load}")
            board.tell(f"noise {cell} {NOISE}")
            board.tell(f"clock {cell} {3000 * (cell - 3)}")
        with PadReader(board.port, on_force=forces.extend) as reader:
            heard = reader.listen()
            board.run(0.5)
            board.tell("type rate 80;force on")
            board.run(5.0)
            end, sent = time.monotonic() + 10.0, board.statistics()
            while time.monotonic() < end and (len(forces) < 385):
                time.sleep(0.02)
            time.sleep(0.05)
            tally, frames = reader.tally, heard.drain()
        assert reader.identity is not None
        assert reader.identity.force
    assert (tally.lost, tally.damaged, tally.restarts) == (0, 0, 0)
    assert len(forces) == pytest.approx(4.9 * 80 / 1.006, abs=5)  # its clock is 0.6 % slow
    assert sum(frame.lost for frame in forces) == 0
    assert not any(frame.missing or frame.saturated for frame in forces)
    assert sum(frame.settling for frame in forces) == 4
    assert all(abs(frame.count - FORCE) < 7 * NOISE for frame in forces)
    steps = [b.device_time - a.device_time for a, b in itertools.pairwise(forces)]
    assert max(steps) < 0.016
    for frame in frames[-300:]:
        assert not any(frame.missing)
        assert all(abs(count - load) < 7 * NOISE for count, load in zip(frame.counts, LOADS, strict=True))
    for cell in sent["pads"]:
        assert (cell["collisions"], cell["power_downs"]) == (0, 2)
        assert cell["late_us"] < 1500
