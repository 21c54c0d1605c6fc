"""The force cell on the pushing finger, in the firmware's core on this computer."""

import math
from pathlib import Path

from rig.pads.lines import ForceLine, Line, Reading, parse_line
from tests.firmware_notes.firmware_build import HostBoard, framed


def read(lines: list[bytes]) -> list[Line]:
    return [parse_line(line) for line in lines]


def forces(lines: list[bytes]) -> list[ForceLine]:
    return [line for line in read(lines) if isinstance(line, ForceLine)]


def test_a_board_without_the_cell_knows_no_such_command(library: Path) -> None:
    board = HostBoard(library)
    board.settle()
    for command in (b"force on\n", b"force off\n", b"force\n"):
        assert board.type(command) == [framed("PB1 ERR unknown")]
    board.convert(1, 2, 3, 4, 5)  # nothing is wired there
    assert [type(line) for line in read(board.poll(after_ms=100))] == [Reading]


def test_a_wrong_word_after_force(library: Path) -> None:
    board = HostBoard(library, force=True)
    board.settle()
    for command in (b"force\n", b"force up\n", b"force on on\n"):
        assert board.type(command) == [framed("PB1 ERR argument")]
    assert board.type(b"force off\n") == [framed("PB1 OK force off")]


def test_the_cell_delays_no_reading_and_gives_every_conversion_once(library: Path) -> None:
    """The cell converts twice as often as the pads, then not at all: the pads' lines keep their pace."""
    board = HostBoard(library, force=True)
    board.settle()
    board.type(b"force on\n")
    lines = []
    for number in range(8):
        board.convert(None, None, None, None, 1000 + 2 * number)
        lines += board.poll(after_ms=50)
        board.convert(7, 8, 9, 10, 1001 + 2 * number)
        lines += board.poll(after_ms=50)
    assert [force.count for force in forces(lines)] == [1000.0 + number for number in range(16)]
    assert [force.device_ms for force in forces(lines)] == [450 + 50 * number for number in range(16)]
    readings = [line for line in read(lines) if isinstance(line, Reading)]
    assert [one.device_ms for one in readings] == [500 + 100 * number for number in range(8)]
    assert [one.counts for one in readings] == [(7.0, 8.0, 9.0, 10.0)] * 8


def test_a_cell_that_dies_is_told_and_keeps_nobody_waiting(library: Path) -> None:
    board = HostBoard(library, force=True)
    board.settle()
    board.type(b"rate 80\nforce on\n")
    board.poll(after_ms=50)
    for _ in range(20):
        board.convert(1, 2, 3, 4, None)
        reading, force = read(board.poll(after_ms=25))
        assert isinstance(reading, Reading)
        assert isinstance(force, ForceLine)
        assert force.flags & 0x0001
        assert math.isnan(force.count)
    board.convert(1, 2, 3, 4, 8388607)
    (force,) = forces(board.poll(after_ms=5))
    assert force.flags == 0x0410  # at its stop, and the first it gave since the change of rate


def test_lines_dropped_for_want_of_room_are_told_of_each_kind(library: Path) -> None:
    board = HostBoard(library, force=True)
    board.settle()
    board.type(b"force on\n")
    for _ in range(6):
        board.convert(1, 2, 3, 4, 5)
        board.poll(after_ms=100)
    board.core.host_room(95)
    for _ in range(3):
        board.convert(1, 2, 3, 4, 5)
        assert board.poll(after_ms=100) == []
    board.core.host_room(255)
    board.convert(1, 2, 3, 4, 5)
    reading, force = read(board.poll(after_ms=100))
    assert isinstance(reading, Reading)
    assert isinstance(force, ForceLine)
    assert (reading.seq, force.seq) == (9, 9)
    assert reading.flags & 0x0800
    assert force.flags == 0x0800


def test_stop_holds_both_kinds_and_start_sends_no_old_force(library: Path) -> None:
    board = HostBoard(library, force=True)
    board.settle()
    board.type(b"force on\n")
    board.type(b"stop\n")
    board.convert(1, 2, 3, 4, 5)
    assert board.poll(after_ms=500) == []
    board.type(b"start\n")
    assert board.poll(after_ms=1) == []
    board.convert(1, 2, 3, 4, 77)
    assert [force.count for force in forces(board.poll(after_ms=9))] == [77.0]
