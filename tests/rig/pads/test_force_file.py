"""A recording of the finger's load cell, read: times, counts and what was lost, by hand from the lines written."""

from pathlib import Path

import pytest

from rig.base.errors import InputError
from rig.pads.force_file import CLOCK, ForceRecording, ask_for_force, beside, read_force
from rig.pads.port import Ports
from rig.pads.reader import PadReader
from rig.pads.traffic import TrafficKind, TrafficRecorder
from tests.rig.pads.scripted_pad import ScriptPort, signed

LINES = (
    "PB1 ID board=finger7 fw=1.0.0 ch=4 rate=80 run=1 boot=power force=1",
    "PB1 F 3 1000 -50 0000",
    "PB1 F 4 1100 -40 0000",
    "PB1 4 1120 1 2 3 4 0000",
    "PB1 F 6 1200 7 0400",
    "PB1 F 8 1500 120 0000",
    "PB1 F 9 1500 121 0010",
    "PB1 F 10 1700 0 0001",
    "PB1 F 11 1800 300 0000",
)
"""A reading of the pads among them; one while settling, a line lost before and after it; a clock that stood, with the
converter at a stop; one missing."""
LATE = (0.0, 0.53, 0.64, 0.65, 0.66, 1.03, 1.04, 1.05, 1.31)
"""s at which each came. Of those that are used the quickest is that of board time 1.8 s, at 1.31 s: 0.49 s less."""


def written(file: Path, *remarks: str, head: str = "") -> Path:
    with TrafficRecorder(file, port="made up", now=0.0) as recorder:
        if head:
            recorder.tap(head.encode(), 0.02, TrafficKind.REMARK)
        recorder.tap(b"opened", 0.02, TrafficKind.REMARK)
        for number, line in enumerate(LINES):
            recorder.tap(signed(line.encode()), LATE[number], TrafficKind.CAME)
        recorder.tap(b"PB1 F 12 1900 9 0000 ", 1.4, TrafficKind.SENT)  # what went to the board is no reading
        for remark in remarks:
            recorder.tap(remark.encode(), 1.5, TrafficKind.REMARK)
    return file


def test_a_recording_holds_every_reading_once_on_one_clock(tmp_path: Path) -> None:
    """Board time 1 to 1.8 s laid on the host's by the least late line, 0.49 s before the board's. The head's clock is
    of 0.02 s: what the file calls 0 is 5000.23 s there."""
    found = read_force(written(tmp_path / "a.force.txt", f"{CLOCK}9.0", "taken down", head=f"{CLOCK}5000.250000"))
    assert found.time == pytest.approx([5000.74, 5000.84, 5001.24, 5001.54])
    assert found.counts == (-50.0, -40.0, 120.0, 300.0)
    assert found.saturated == pytest.approx([5001.24])
    assert (found.board, found.lost, found.host) == ("finger7", 2, True)
    without = read_force(written(tmp_path / "b.force.txt", "lost: unplugged"))
    assert without.time == pytest.approx([0.51, 0.61, 1.01, 1.31])
    assert (without.counts, without.host) == (found.counts, False)
    damaged = read_force(written(tmp_path / "c.force.txt", head=f"{CLOCK}?"))
    assert damaged == without
    assert beside(Path("clips/push.one.avi")) == Path("clips/push.one.force.txt")


def test_a_recording_whose_lines_are_all_of_no_use_is_empty(tmp_path: Path) -> None:
    with TrafficRecorder(tmp_path / "a.force.txt", port="made up", now=0.0) as recorder:
        recorder.tap(signed(b"PB1 F 3 1000 -50 0400"), 0.1, TrafficKind.CAME)
    empty = ForceRecording(time=(), counts=(), board="", saturated=(), lost=0, host=False)
    assert read_force(tmp_path / "a.force.txt") == empty


def answering(port: ScriptPort, identity: bytes) -> PadReader:
    """A reader of a board that says who it is and takes every command."""
    port.send(signed(identity))
    write = port.write

    def answered(data: bytes) -> None:
        write(data)
        text = data.decode().strip()
        port.send(signed(identity) if text == "?" else signed(f"PB1 OK {text}".encode()))

    port.write = answered  # type: ignore[method-assign]
    return PadReader("script", ports=Ports(opener=lambda url: port, scan=tuple))


def test_a_board_with_a_cell_on_the_finger_is_asked_and_switched_on() -> None:
    with answering(port := ScriptPort(), LINES[0].encode()) as reader:
        identity = ask_for_force(reader)
    assert (identity.board, identity.force) == ("finger7", True)
    assert port.sent[-2:] == [b"?\n", b"force on\n"]
    with (
        answering(port := ScriptPort(), LINES[0].replace(" force=1", "").encode()) as reader,
        pytest.raises(InputError, match='script: the board "finger7" has no load cell on the finger'),
    ):
        ask_for_force(reader)
    assert b"force on\n" not in port.sent
