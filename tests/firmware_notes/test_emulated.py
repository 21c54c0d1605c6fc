"""The firmware on the emulated board, read through a pseudo-terminal by the same reader as any pad."""

import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from rig.base.errors import BenchError
from rig.pads.frames import PadFrame
from rig.pads.lines import Answer, Identity
from tests.firmware_notes.firmware_build import HANGS, MUTANTS, UNWATCHED, Firmware, build_changed
from tests.firmware_notes.firmware_stream import LOADS, NOISE, RAMP, Bench, board_faults, faults, stream_at_80


@pytest.fixture
def benches(firmware: Firmware) -> Iterator[Any]:
    opened: list[Bench] = []

    def open_bench(elf: Path | None = None) -> Bench:
        opened.append(Bench(firmware, elf))
        return opened[-1]

    yield open_bench
    for bench in opened:
        bench.close()


@pytest.mark.thorough
def test_a_minute_of_streaming_loses_no_line(benches: Any) -> None:
    """tests/benchmarks/firmware_stream.py streams ten minutes and more."""
    stream = stream_at_80(benches(), 60.0)
    assert faults(stream) == []
    assert board_faults(stream) == []
    assert stream.tally.torn <= 1
    # asleep most of the time: whatever waits busily would also make this test several times slower
    assert stream.statistics["asleep"] > 0.75 * stream.statistics["cycles"]


# What the host sees of each mutant; the firmware itself passed the same check above.
SYMPTOM = {
    "shared clock": "wrong values",
    "skipped pads": "wrong values",
    "clock held 70 us": "missing",
    "wrong CRC": "damaged",
    "no settling pause": "missing while settling",
    "conversions sent twice": "wrong values",
    "a bit too few": "wrong values",
}


@pytest.mark.thorough
@pytest.mark.parametrize("name", MUTANTS)
def test_a_mutant_is_caught(name: str, benches: Any, tmp_path: Path) -> None:
    found = faults(stream_at_80(benches(build_changed(tmp_path, MUTANTS[name])), 20.0))
    print(name, found)
    assert any(fault.startswith(SYMPTOM[name]) for fault in found), found


def told(bench: Bench, command: str) -> Answer | Identity:
    """The answer to a command that goes through the pseudo-terminal while the board runs."""
    running = threading.Thread(target=lambda: bench.board.run(60.0))
    running.start()
    try:
        return bench.reader.command(command, timeout=20.0)
    finally:
        bench.board.interrupt()
        running.join()


def test_commands_reach_the_board_through_the_port(benches: Any) -> None:
    bench = benches()
    bench.run(1.0)
    identity = told(bench, "?")
    assert isinstance(identity, Identity)
    assert (identity.board, identity.channels, identity.rate, identity.boot) == ("pads4", 4, 10, "power")
    assert told(bench, "rate 80") == Answer(ok=True, words="rate 80", raw=b"PB1 OK rate 80 D3EE")
    with pytest.raises(BenchError, match="unknown"):
        told(bench, "fly")
    told(bench, "stop")
    bench.run(0.1)
    assert bench.run(1.0).frames == []
    told(bench, "start")
    assert len(bench.run(1.0).frames) > 70


def test_loads_appear_at_the_host(benches: Any) -> None:
    bench = benches()
    bench.run(2.0)
    bench.board.tell("load 2 -5000000")
    bench.board.tell("load 4 9000000")  # beyond 24 bits: the converter stands at its stop
    bench.run(0.25)
    stream = bench.run(2.0)
    assert len(stream.frames) >= 19
    for frame in stream.frames:
        assert frame.counts[1] == pytest.approx(-5_000_000, abs=7 * NOISE)
        assert frame.counts[3] == 8388607
        assert frame.saturated == (False, False, False, True)
        assert not any(frame.missing)


@pytest.mark.parametrize("fault", ["open", "low", "high"])
def test_a_dead_pad_is_missing_and_slows_the_others_only_once(fault: str, benches: Any) -> None:
    bench = benches()
    stream_at_80(bench, 1.0)
    bench.board.tell(f"fault 2 {fault}")
    bench.run(0.2)
    dead = bench.run(2.0)
    # the pace is the slowest of the other converters, and the line that waited is over
    assert len(dead.frames) == pytest.approx(2.0 * 80 / 1.007, abs=2)
    assert {frame.missing for frame in dead.frames} == {(False, True, False, False)}
    bench.board.tell("clear")
    tries = bench.run(1.0).statistics["pads"][1]["readings"]
    assert tries <= (81 if fault == "low" else 0)  # stuck low looks ready: tried again, but once a line only
    bench.board.tell("fault 2 none")
    bench.run(0.2)
    again = bench.run(2.0)
    assert {frame.missing for frame in again.frames} == {(False, False, False, False)}
    for frame in again.frames:
        assert frame.counts[1] == pytest.approx(LOADS[1], abs=7 * NOISE)
    assert again.tally.lost == again.tally.damaged == 0


def test_a_reset_in_the_middle_of_anything_is_told_and_gives_no_wrong_value(benches: Any) -> None:
    bench = benches()
    frames: list[PadFrame] = []
    for number in range(1, 9):
        bench.board.tell("type rate 80")
        frames += bench.run(1.0 + number * 0.00031).frames  # at another place of the cycle each time
        bench.board.tell("reset")
    stream = bench.run(1.0)
    assert stream.tally.restarts == 8
    assert stream.tally.lost == 0
    assert stream.tally.damaged + stream.tally.torn <= 9  # the line that each reset cut
    for frame in [*frames, *stream.frames]:
        assert not any(frame.missing)
        assert frame.counts[0] == pytest.approx(LOADS[0], abs=7 * NOISE)
        assert frame.counts[2] < 8 * 100 * RAMP


def test_the_watchdog_restarts_a_board_that_stands_still(benches: Any, tmp_path: Path) -> None:
    bench = benches(build_changed(tmp_path, HANGS))
    bench.run(3.9)
    assert bench.reader.identity is not None
    assert bench.reader.identity.boot == "power"
    stream = bench.run(1.1)
    assert bench.reader.identity.boot == "watchdog"
    assert stream.tally.restarts == 1
    assert stream.statistics["resets"] == 1
    assert [frame.seq for frame in stream.frames] == list(range(len(stream.frames)))
    assert len(stream.frames) >= 3


def test_a_board_without_its_watchdog_would_stay_silent(benches: Any, tmp_path: Path) -> None:
    bench = benches(build_changed(tmp_path, UNWATCHED))
    bench.run(3.5)
    stream = bench.run(1.5)
    assert stream.frames == []
    assert stream.tally.restarts == 0


def test_a_flood_of_commands_drops_lines_only_by_number(benches: Any) -> None:
    bench = benches()
    stream_at_80(bench, 0.5)
    for _ in range(20):
        bench.board.tell("type " + "?;" * 40)
        bench.run(0.05)
    bench.run(0.5)  # for what is still queued
    stream = bench.run(1.0)
    assert stream.tally.damaged == 0
    seqs = [frame.seq for frame in [*stream.before, *stream.frames]]
    assert stream.tally.lost == seqs[-1] - seqs[0] + 1 - len(seqs)
    assert len(stream.frames) > 75  # and it recovers


def test_the_port_runs_at_the_stated_speed(benches: Any) -> None:
    bench = benches()
    bench.run(0.1)
    # protocol.md: 117 647 baud, 2.1 % above nominal; f / (8 (divisor + 1)) after the ATmega328P data sheet, USART
    assert bench.board.statistics()["baud"] == pytest.approx(117_647, abs=0.5)


def test_paced_time_is_not_faster_than_real_time(benches: Any) -> None:
    bench = benches()
    bench.board.tell("pace 1")
    began = time.monotonic()
    stream = bench.run(1.5)
    assert time.monotonic() - began >= 1.49
    assert len(stream.frames) >= 10
    assert stream.tally.damaged == stream.tally.lost == 0
