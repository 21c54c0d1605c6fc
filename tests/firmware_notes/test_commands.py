"""What the firmware's core makes of bytes from the host: one answer for each command line, whatever comes."""

import binascii
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware_notes.firmware_build import ONCE, HostBoard, framed

ANSWERS = [
    (b"start", "OK start"),
    (b"stop   ", "OK stop"),
    (b"rate 10\r", "OK rate 10"),
    (b"rate 80 \r", "OK rate 80"),
    (b"rate", "ERR argument"),
    (b"rate 81", "ERR argument"),
    (b"rate 100", "ERR argument"),
    (b"rate  10", "ERR argument"),
    (b"rate80", "ERR unknown"),
    (b"start now", "ERR argument"),
    (b"stop it", "ERR argument"),
    (b"? ?", "ERR argument"),
    (b"??", "ERR unknown"),
    (b"RATE 10", "ERR unknown"),
    (b" stop", "ERR unknown"),
    (b"sto", "ERR unknown"),
    (b"fly", "ERR unknown"),
    (b"stop\0", "ERR unknown"),
    (b"\xff", "ERR unknown"),
    (b"x" * 16, "ERR unknown"),
    (b"x" * 16 + b"\r", "ERR unknown"),
    (b"x" * 17, "ERR long"),
    (b"x" * 17 + b"\r", "ERR long"),
    (b"x" * 18, "ERR long"),
    (b"stop" + b" " * 300, "ERR long"),
    (b"y" * 262, "ERR long"),  # 262 modulo 256 would be short
]


@pytest.mark.parametrize(("command", "answer"), ANSWERS, ids=lambda case: repr(case)[:24])
def test_each_command_line_gets_the_answer_in_the_note(library: Path, command: bytes, answer: str) -> None:
    board = HostBoard(library)
    board.taken()
    assert board.type(command + b"\n") == [framed(f"PB1 {answer}")]


@pytest.mark.parametrize("empty", [b"\n", b"\r\n", b"   \n", b"  \r\n\n\n"])
def test_an_empty_line_gets_no_answer(library: Path, empty: bytes) -> None:
    board = HostBoard(library)
    board.taken()
    assert board.type(empty) == []
    assert board.type(b"half a com\n" + empty + b"stop\n") == [
        framed("PB1 ERR unknown"),
        framed("PB1 OK stop"),
    ]


PIECES = st.sampled_from([b"stop", b"rate 80", b"?", b"\n", b"\r\n", b" ", b"\xff", b"\0"]) | st.binary(max_size=24)


@ONCE
@given(st.lists(PIECES, max_size=20), st.data())
def test_any_bytes_in_any_pieces_get_one_answer_a_line(library: Path, words: list[bytes], data: st.DataObject) -> None:
    stream = b"".join(words)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=5)))
    board = HostBoard(library)
    board.taken()
    answers: list[bytes] = []
    for start, stop in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        answers += board.type(stream[start:stop])
    lines = [line.removesuffix(b"\r") for line in stream.split(b"\n")[:-1]]
    assert len(answers) == sum(len(line) > 16 or line.strip(b" ") != b"" for line in lines)
    for answer in answers:
        body, _, crc = answer.rpartition(b" ")
        assert crc == b"%04X" % binascii.crc_hqx(body, 0xFFFF)
        assert body.split(b" ")[1] in (b"ID", b"OK", b"ERR")
