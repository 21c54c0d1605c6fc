"""The firmware's portable core on this computer: framing, CRC, commands, converters, faults, wraps.

Expected lines are written from firmware_notes/protocol.md with the standard library's CRC, not with the core.
"""

import binascii
import json
import os
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware_notes.firmware_build import COVERAGE, ONCE, Firmware, HostBoard, framed, make

Counts = tuple[int, int, int, int]


def fields(line: bytes) -> tuple[int, int, list[int], int]:
    """seq, ms, counts and flags of a reading's line, its CRC checked."""
    body, _, crc = line.rpartition(b" ")
    assert crc == b"%04X" % binascii.crc_hqx(body, 0xFFFF)
    words = body.split(b" ")
    assert words[0] == b"PB1"
    assert len(words) == 8
    return int(words[1]), int(words[2]), [int(word) for word in words[3:7]], int(words[7], 16)


def steady(library: Path, **options: int | str) -> HostBoard:
    """A board past its first 16 lines, so that only faults show in the flags."""
    board = HostBoard(library, **options)  # type: ignore[arg-type]
    board.settle()
    for _ in range(16):
        board.convert(1, 2, 3, 4)
        assert len(board.poll(after_ms=100)) == 1
    return board


@ONCE
def test_flash_and_ram_stay_within_their_limits(firmware: Firmware) -> None:
    flash, ram = firmware.size
    assert 0 < flash <= 8192
    assert 0 < ram <= 1024


def test_crc_has_the_published_check_value(library: Path) -> None:
    # G. Cook, Catalogue of parametrised CRC algorithms: CRC-16/IBM-3740, also called CRC-16/CCITT-FALSE, check value
    # of "123456789"
    assert HostBoard(library).core.host_crc(b"123456789", 9) == 0x29B1


@ONCE
@given(st.binary(max_size=96))
def test_crc_equals_the_standard_library(library: Path, text: bytes) -> None:
    assert HostBoard(library).core.host_crc(text, len(text)) == binascii.crc_hqx(text, 0xFFFF)


@ONCE
@given(
    st.integers(0, 65535),
    st.integers(0, 2**32 - 1),
    st.tuples(*[st.integers(-(2**23), 2**23 - 1)] * 4),
    st.integers(0, 0xFFFF),
)
def test_any_reading_is_written_as_the_note_says(library: Path, seq: int, ms: int, counts: Counts, flags: int) -> None:
    expected = framed(f"PB1 {seq} {ms} {' '.join(map(str, counts))} {flags:04X}") + b"\n"
    assert HostBoard(library).reading(seq, ms, counts, flags) == expected
    assert len(expected) <= 67  # the widest line, says the note


@pytest.mark.parametrize(
    ("raw", "value"),  # two's complement of 24 bits
    [(0, 0), (1, 1), (0x7FFFFF, 8388607), (0x800000, -8388608), (0xFFFFFF, -1), (0x800001, -8388607)],
)
def test_raw_bits_become_signed_counts(library: Path, raw: int, value: int) -> None:
    board = steady(library)
    board.convert(raw, raw, raw, raw)
    (line,) = board.poll(after_ms=100)
    assert fields(line)[2] == [value] * 4
    assert fields(line)[3] == (0x00F0 if abs(value + 0.5) > 8388607 else 0)


def test_a_reading_takes_exactly_25_pulses(library: Path) -> None:  # 26 or 27 would choose another channel
    board = steady(library)
    before = [board.core.host_pulses(pad) for pad in range(4)]
    board.convert(5, None, 7, None)
    board.poll(after_ms=1)
    board.poll(after_ms=1)
    assert [board.core.host_pulses(pad) - before[pad] for pad in range(4)] == [25, 0, 25, 0]


@pytest.mark.parametrize(("boot", "watchdog"), [("power", 0), ("pin", 0), ("brownout", 0), ("watchdog", 0x0200)])
def test_after_a_reset_the_first_lines_say_so(library: Path, boot: str, watchdog: int) -> None:
    board = HostBoard(library, boot=boot)
    assert board.taken() == [framed(f"PB1 ID board=pads4 fw=1.1.0 ch=4 rate=10 run=1 boot={boot}")]
    assert board.core.host_restarts() == 1
    assert not board.core.host_fast()
    seen = []
    for _ in range(300):
        board.convert(1, 2, 3, 4)
        seen += [(board.ms, fields(line)) for line in board.poll(after_ms=10)]
    assert seen[0][0] == 410  # 400 ms of settling, then the first conversion
    flags = [reading[3] for _, reading in seen]
    assert flags[:4] == [0x0500 | watchdog] * 4
    assert flags[4:16] == [0x0100 | watchdog] * 12
    assert set(flags[16:]) == {0}
    assert [reading[0] for _, reading in seen] == list(range(len(seen)))


def test_a_change_of_rate_pauses_for_settling_and_makes_no_gap(library: Path) -> None:
    board = steady(library)
    assert board.type(b"rate 80\n") == [framed("PB1 OK rate 80")]
    assert board.core.host_fast()
    assert board.core.host_restarts() == 2
    began, lines = board.ms, []
    for _ in range(12):
        board.convert(1, 2, 3, 4)
        lines += board.poll(after_ms=12)
    seq, ms, _, flags = zip(*map(fields, lines), strict=True)
    assert ms[0] - began == 72  # five times 12 ms end the pause of 50 ms; the sixth conversion counts
    assert seq == tuple(range(16, 16 + len(lines)))
    assert flags == (0x0400,) * 4 + (0,) * (len(lines) - 4)
    assert board.type(b"rate 10\n") == [framed("PB1 OK rate 10")]
    assert not board.core.host_fast()
    board.convert(9, 9, 9, 9)
    assert board.poll(after_ms=399) == []
    assert board.poll(after_ms=1) == []  # what was converted during the pause is never sent
    board.convert(5, 6, 7, 8)
    assert fields(board.poll(after_ms=1)[0])[2] == [5, 6, 7, 8]


@pytest.mark.parametrize(("rate", "limit"), [(b"rate 10\n", 200), (b"rate 80\n", 25)])
def test_a_silent_pad_delays_one_line_and_is_not_awaited_again(library: Path, rate: bytes, limit: int) -> None:
    board = steady(library)
    board.type(rate)
    board.settle()
    for _ in range(4):
        board.convert(1, 2, 3, 4)
        board.poll(after_ms=1)
    board.convert(1, 2, None, 4)
    assert board.poll(after_ms=limit - 1) == []
    (line,) = board.poll(after_ms=1)
    assert fields(line)[2:] == ([1, 2, 0, 4], 0x0004)
    board.convert(5, 6, None, 8)
    (line,) = board.poll(after_ms=1)  # at once
    assert fields(line)[2:] == ([5, 6, 0, 8], 0x0004)
    board.convert(9, 10, 11, 12)
    (line,) = board.poll(after_ms=1)
    assert fields(line)[2:] == ([9, 10, 11, 12], 0)
    board.convert(1, 2, None, 4)
    assert board.poll(after_ms=1) == []  # awaited again


def test_without_any_pad_lines_keep_coming_and_carry_their_own_time(library: Path) -> None:
    board = steady(library)
    assert board.poll(after_ms=199) == []
    (line,) = board.poll(after_ms=1)
    assert fields(line)[1:] == (board.ms, [0, 0, 0, 0], 0x000F)
    assert board.poll(after_ms=199) == []
    board.convert(None, 42, None, None)
    (line,) = board.poll()
    assert fields(line)[2:] == ([0, 42, 0, 0], 0x000D)


def test_the_newest_conversion_wins_and_none_is_sent_twice(library: Path) -> None:
    board = steady(library)
    board.convert(1, 2, None, 4)
    assert board.poll(after_ms=90) == []
    board.convert(10, None, None, None)  # pad 1 is quicker than the others: read at once, again
    assert board.poll(after_ms=9) == []
    board.convert(None, None, 3, None)
    (line,) = board.poll(after_ms=1)
    assert fields(line)[2] == [10, 2, 3, 4]
    assert fields(line)[1] == board.ms
    assert board.poll(after_ms=1) == []


@pytest.mark.parametrize("looks", range(9))
def test_a_pad_that_gets_ready_while_a_line_is_written_belongs_to_the_next(library: Path, looks: int) -> None:
    board = steady(library)
    before = board.core.host_pulses(0)
    board.convert(1, 2, 3, 4)
    board.core.host_convert_later(0, 77, 5 + looks)  # four pads are looked at twice each before the line
    (line,) = board.poll(after_ms=100)
    got = [fields(line)[2][0]]
    if board.core.host_pulses(0) - before == 50:  # read again while the line was written
        board.convert(None, 2, 3, 4)
        (line,) = board.poll(after_ms=1)
        got.append(fields(line)[2][0])
        assert got == [1, 77]
    else:
        assert got == [1]


def test_pads_are_read_while_a_line_is_written(library: Path) -> None:
    board = steady(library)
    before = board.core.host_pulses(0)
    board.convert(1, 2, 3, 4)
    board.core.host_convert_later(0, 77, 7)  # after the last look before the line
    board.poll(after_ms=100)
    assert board.core.host_pulses(0) - before == 50


def test_a_data_line_stuck_low_is_missing_and_costs_little_time(library: Path) -> None:
    board = steady(library)
    board.core.host_hold(1, 0)
    before = board.core.host_pulses(1)
    board.convert(1, None, 3, 4)
    lines = board.poll(after_ms=200)
    assert [fields(line)[2:] for line in lines] == [([1, 0, 3, 4], 0x0002)]
    for _ in range(50):
        board.poll(after_ms=1)
    assert board.core.host_pulses(1) - before == 50  # tried once for each line, not for ever
    board.core.host_hold(1, -1)
    board.poll()
    board.convert(1, 2, 3, 4)
    (line,) = board.poll(after_ms=1)
    assert fields(line)[2:] == ([1, 0, 3, 4], 0x0002)  # the first reading after a failure is not trusted
    board.convert(5, 6, 7, 8)
    (line,) = board.poll(after_ms=1)
    assert fields(line)[2:] == ([5, 6, 7, 8], 0)


def test_a_failed_pad_that_never_shows_high_is_tried_again_with_each_line(library: Path) -> None:
    board = steady(library)
    board.core.host_hold(1, 0)
    board.convert(1, None, 3, 4)
    board.poll(after_ms=200)
    board.core.host_hold(1, -1)
    board.convert(None, 2, None, None)  # freed with a conversion waiting: its line stays low until it is read
    board.poll()
    board.convert(5, None, 7, 8)
    assert fields(board.poll(after_ms=1)[0])[3] == 0x0002
    board.convert(5, 6, 7, 8)
    assert fields(board.poll(after_ms=1)[0])[2:] == ([5, 6, 7, 8], 0)


def test_a_data_line_stuck_high_is_missing(library: Path) -> None:
    board = steady(library)
    board.core.host_hold(3, 1)
    board.convert(1, 2, 3, 4)
    (line,) = board.poll(after_ms=200)
    assert fields(line)[2:] == ([1, 2, 3, 0], 0x0008)


@pytest.mark.parametrize("channels", [1, 2, 3])
def test_a_board_with_fewer_pads_reports_the_others_missing(library: Path, channels: int) -> None:
    board = HostBoard(library, channels=channels, name="few")
    assert b" board=few " in board.taken()[0]
    assert f" ch={channels} ".encode() in board.type(b"?\n")[0]
    board.settle()
    board.convert(*range(1, channels + 1))
    (line,) = board.poll(after_ms=1)
    assert fields(line)[2] == [1, 2, 3, 4][:channels] + [0] * (4 - channels)
    assert fields(line)[3] == 0x0500 | (0x000F & ~((1 << channels) - 1))


@ONCE
def test_the_sequence_number_wraps(library: Path) -> None:
    board = steady(library)
    last = 15
    for _ in range(65_600):
        board.convert(1, 2, 3, 4)
        (line,) = board.poll(after_ms=10)
        seq = int(line.split(b" ")[1])
        assert seq == (last + 1) % 65536
        last = seq
    assert last == (15 + 65_600) % 65536


def test_the_device_time_wraps_in_the_middle_of_everything(library: Path) -> None:
    board = steady(library, ms=2**32 - 2500)
    times = []
    while not (times and 500 < times[-1] < 10_000):
        board.convert(1, 2, None, 4)
        times += [fields(line)[1] for line in board.poll(after_ms=10)]
    assert max(times) > 2**32 - 100
    gaps = {(later - earlier) % 2**32 for earlier, later in pairwise(times[1:])}  # the first waited for pad 3
    assert gaps == {10}
    board = HostBoard(library, ms=2**32 - 200)  # the settling pause across the wrap
    board.convert(1, 2, 3, 4)
    assert board.poll(after_ms=399)[1:] == []
    board.poll(after_ms=1)
    board.convert(1, 2, 3, 4)
    assert fields(board.poll(after_ms=5)[0])[1] == 205


def test_lines_dropped_for_a_full_queue_are_told_by_number_and_flag(library: Path) -> None:
    board = steady(library)
    board.core.host_room(95)
    for _ in range(3):
        board.convert(1, 2, 3, 4)
        assert board.poll(after_ms=100) == []
    board.core.host_room(255)
    board.convert(1, 2, 3, 4)
    (line,) = board.poll(after_ms=100)
    assert (fields(line)[0], fields(line)[3]) == (19, 0x0800)
    board.convert(1, 2, 3, 4)
    (line,) = board.poll(after_ms=100)
    assert (fields(line)[0], fields(line)[3]) == (20, 0)


def test_commands_wait_for_room_for_their_answers(library: Path) -> None:
    board = steady(library)
    board.core.host_room(95)
    assert board.type(b"stop\nrate 80\n?\n") == []
    assert not board.core.host_fast()
    board.core.host_room(255)
    assert board.poll() == [
        framed("PB1 OK stop"),
        framed("PB1 OK rate 80"),
        framed("PB1 ID board=pads4 fw=1.1.0 ch=4 rate=80 run=0 boot=power"),
    ]


def test_stop_and_start_make_no_gap_and_show_nothing_old(library: Path) -> None:
    board = steady(library)
    assert board.type(b"stop\n") == [framed("PB1 OK stop")]
    for _ in range(30):
        board.convert(1, 2, 3, 4)
        assert board.poll(after_ms=100) == []
    assert board.type(b"start\n") == [framed("PB1 OK start")]
    board.convert(5, 6, 7, 8)
    (line,) = board.poll(after_ms=100)
    assert fields(line)[0] == 16
    assert fields(line)[2:] == ([5, 6, 7, 8], 0)
    board.convert(9, 9, None, None)
    board.poll(after_ms=1)
    assert board.type(b"start\n") == [framed("PB1 OK start")]  # running already: nothing is thrown away
    board.convert(None, None, 9, 9)
    assert fields(board.poll()[0])[2] == [9, 9, 9, 9]
    board.type(b"stop\nrate 10\nstart\n")  # started within the pause: it still lasts its 400 ms
    board.convert(1, 2, 3, 4)
    assert board.poll(after_ms=399) == []


def test_a_name_too_long_for_a_line_writes_nothing_beyond_it(library: Path) -> None:
    board = HostBoard(library, name="n" * 31, boot="b" * 15)
    assert board.core.host_take(board._sent) == 96


@ONCE
def test_these_tests_run_every_line_of_the_core(firmware: Firmware, tmp_path: Path) -> None:
    make(tmp_path, "coverage")
    others = [str(Path(__file__).with_name(name)) for name in ("test_commands.py", "test_force.py")]
    subprocess.run(
        [sys.executable, "-m", "pytest", "-n", "0", "-p", "no:cacheprovider", __file__, *others],
        env={**os.environ, COVERAGE: str(tmp_path / "libpads.so")},
        cwd=Path(__file__).parents[2],
        check=True,
        stdout=subprocess.PIPE,
    )
    never_run = []
    for notes in sorted(tmp_path.glob("*.gcda")):
        counted = subprocess.run(
            ["gcov", "--json-format", "--stdout", notes.name],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=True,
        )
        for file in json.loads(counted.stdout)["files"]:
            name = Path(file["file"]).name
            if "/core/" in file["file"]:
                never_run += [(name, line["line_number"]) for line in file["lines"] if not line["count"]]
    assert sorted(path.stem for path in tmp_path.glob("*.gcda")) == [
        "command",
        "converter",
        "crc16",
        "host_board",
        "line",
        "pads",
    ]
    assert never_run == []
