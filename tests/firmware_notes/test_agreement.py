"""The protocol note's golden lines, the firmware and the virtual pads say the same."""

import math
import re
import tomllib
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.pads.lines import Answer, ForceLine, Identity, Reading, parse_line
from rig.virtual.pads_board import VirtualBoard
from rig.virtual.pads_cells import CellState, PadCells
from tests.firmware_notes.firmware_build import Firmware, HostBoard

NOTE = Path(__file__).parents[2] / "firmware_notes" / "protocol.md"


def golden(kind: str) -> list[dict[str, Any]]:
    (block,) = re.findall(r"```toml\n(.*?)```", NOTE.read_text(encoding="utf-8"), re.DOTALL)
    return [line for line in tomllib.loads(block)["line"] if line["kind"] == kind]


def virtual_board(**options: Any) -> VirtualBoard:
    rng = np.random.default_rng(5)
    return VirtualBoard(CellState(PadCells.cheap(rng), rng), name="pads4", **options)


def said(board: VirtualBoard, *, after: float = 0.0) -> list[bytes]:
    return board.advance(after).splitlines()


@pytest.mark.parametrize("line", golden("reading"), ids=lambda line: line["text"][:20])
def test_the_firmware_writes_golden_readings_and_the_host_reads_them(line: dict[str, Any], firmware: Firmware) -> None:
    board = HostBoard(firmware.library)
    written = board.reading(line["seq"], line["ms"], tuple(line["counts"]), line["flags"])
    assert written == line["text"].encode() + b"\n"
    read = parse_line(written.rstrip(b"\n"))
    assert isinstance(read, Reading)
    assert (read.seq, read.device_ms, read.flags) == (line["seq"], line["ms"], line["flags"])
    assert [0 if missing else count for count, missing in zip(read.counts, read.missing, strict=True)] == line["counts"]


@pytest.mark.parametrize("line", golden("identity"), ids=lambda line: line["text"][-40:])
def test_all_identify_as_the_golden_lines_say(line: dict[str, Any], firmware: Firmware) -> None:
    force = line.get("force", False)
    board = HostBoard(firmware.library, channels=line["channels"], name=line["board"], boot=line["boot"], force=force)
    virtual = virtual_board(channels=line["channels"], force=(lambda when: 0.0) if force else None)
    virtual.reset(line["boot"])
    steps = b"" if line["running"] else b"stop\n"
    steps += f"rate {line['rate']}\n".encode()
    board.type(steps)
    virtual.hear(steps + b"?\n")
    assert board.type(b"?\n") == said(virtual)[-1:] == [line["text"].encode()]
    assert isinstance(parse_line(line["text"].encode()), Identity)


@pytest.mark.parametrize("line", golden("force"), ids=lambda line: line["text"][:20])
def test_the_firmware_writes_golden_forces_and_the_host_reads_them(line: dict[str, Any], firmware: Firmware) -> None:
    written = HostBoard(firmware.library).force_line(line["seq"], line["ms"], line["count"], line["flags"])
    assert written == line["text"].encode() + b"\n"
    read = parse_line(written.rstrip(b"\n"))
    assert isinstance(read, ForceLine)
    assert (read.seq, read.device_ms, read.flags) == (line["seq"], line["ms"], line["flags"])
    assert line["count"] == (0 if math.isnan(read.count) else read.count)


def test_forces_come_between_readings_and_only_when_asked(firmware: Firmware) -> None:
    """One story of both boards: a force line for each conversion, numbered from 0 at each `force on`."""
    board = HostBoard(firmware.library, force=True)
    virtual = virtual_board(force=lambda when: -13057.4)
    board_lines, virtual_lines = board.taken(), said(virtual)
    board_lines += board.poll(after_ms=400)
    virtual_lines += said(virtual, after=0.4)
    for command, conversions in (
        (b"", 5),
        (b"force on\n", 3),
        (b"rate 80\n", 6),
        (b"force off\n", 4),
        (b"force on\n", 2),
    ):
        board_lines += board.type(command)
        virtual.hear(command)
        pause = 0.0
        if command.startswith(b"rate"):
            pause = 0.05
            board_lines += board.poll(after_ms=50)
        step = 0.0125 if b"rate 80\n" in board_lines or board.core.host_fast() else 0.1
        for _ in range(conversions):
            board.convert(100, 100, 100, 100, -13057)
            board_lines += board.poll(after_ms=round(step * 1000))
        after = (
            pause + (conversions - 0.5) * step if pause else conversions * step
        )  # its first is due as the pause ends
        virtual_lines += said(virtual, after=after)
    forces = [line for line in map(parse_line, board_lines) if isinstance(line, ForceLine)]
    assert [force.seq for force in forces] == [*range(9), 0, 1]
    assert {force.count for force in forces} == {-13057.0}
    assert [bool(force.flags & 0x0400) for force in forces] == [False] * 3 + [True] * 4 + [False] * 4
    told = [parse_line(line) for line in virtual_lines]
    assert [(one.seq, one.count, one.flags) for one in told if isinstance(one, ForceLine)] == [
        (force.seq, force.count, force.flags) for force in forces
    ]


COMMANDS = {"unknown": b"fly", "argument": b"rate 81", "long": b"x" * 17}


@pytest.mark.parametrize("line", golden("answer"), ids=lambda line: line["words"])
def test_all_answer_as_the_golden_lines_say(line: dict[str, Any], firmware: Firmware) -> None:
    command = (line["words"].encode() if line["ok"] else COMMANDS[line["words"]]) + b"\n"
    force = line["words"].startswith("force")
    board = HostBoard(firmware.library, force=force)
    virtual = virtual_board(force=(lambda when: 0.0) if force else None)
    board.taken(), said(virtual)
    virtual.hear(command)
    assert board.type(command) == said(virtual) == [line["text"].encode()]
    assert isinstance(parse_line(line["text"].encode()), Answer)


WORDS = st.sampled_from(
    ["?", "rate", "rate 10", "rate 80", "start", "stop", "force", "force on", "force off", " ", "10", "\r", "x", "\0"]
)


@given(st.lists(st.lists(WORDS, max_size=4).map("".join), max_size=8), st.booleans())
def test_firmware_and_virtual_pads_answer_any_commands_alike(firmware: Firmware, lines: list[str], force: bool) -> None:
    text = "".join(line[:16] + "\n" for line in lines).encode()
    board = HostBoard(firmware.library, force=force)
    virtual = virtual_board(force=(lambda when: 0.0) if force else None)
    virtual.hear(text)
    assert board.taken() + board.type(text) == said(virtual)


# (command, conversions after it, pads without conversions, pads at the upper stop)
DAY: list[tuple[bytes, int, set[int], set[int]]] = [
    (b"", 20, set(), set()),
    (b"", 4, {2}, set()),
    (b"", 4, set(), {0, 3}),
    (b"rate 80\n", 12, {1}, set()),
    (b"stop\n", 5, set(), set()),
    (b"start\n", 5, set(), set()),
    (b"rate 10\n", 16, {0, 1, 2, 3}, set()),
    (b"", 6, set(), set()),
]


@pytest.mark.parametrize("boot", ["power", "watchdog"])
def test_firmware_and_virtual_pads_tell_a_day_alike(firmware: Firmware, boot: str) -> None:
    """The same answers and the same flags in the same order, no number left out.

    The virtual pads convert in step and on time, so a real board may send a line less where it waits for a
    missing pad: how often a flag came is not compared.
    """
    board, virtual = HostBoard(firmware.library, boot=boot), virtual_board()
    virtual.reset(boot)
    board_lines, virtual_lines = board.taken(), said(virtual)[-1:]
    rate, begun = 10, False
    for command, conversions, missing, stopped in DAY:
        board_lines += board.type(command)
        virtual.hear(command)
        virtual.missing, virtual.stopped = missing, stopped
        pause = 0.0
        if command.startswith(b"rate"):
            rate = int(command[5:7])
        if command.startswith(b"rate") or not begun:
            pause = {10: 0.4, 80: 0.05}[rate]
            board_lines += board.poll(after_ms=int(pause * 1000))
        begun = True
        for _ in range(conversions):
            board.convert(*(None if p in missing else 8388607 if p in stopped else 100 for p in range(4)))
            board_lines += board.poll(after_ms=1000 // rate)
        virtual_lines += said(virtual, after=pause + conversions / rate)
    assert _story(board_lines) == _story(virtual_lines)


def _story(lines: list[bytes]) -> list[int | bytes]:
    """Flags and other lines in order, repeated flags once; checks that the readings are numbered through."""
    read = [parse_line(line) for line in lines]
    numbers = [line.seq for line in read if isinstance(line, Reading)]
    assert numbers == list(range(len(numbers)))
    told: list[int | bytes] = [line.flags if isinstance(line, Reading) else line.raw for line in read]
    return [each for each, _ in groupby(told)]
