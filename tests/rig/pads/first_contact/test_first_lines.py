"""A port that nobody has described: what its first lines are taken for, and which pattern is proposed."""

import pytest

from rig.pads.first_contact.first_lines import first_lines, told
from rig.pads.lines import Reading
from rig.pads.patterns import PatternLines
from tests.rig.pads.scripted_pad import IDENTITY, ScriptPort, line, signed


@pytest.mark.parametrize(
    ("lines", "pattern", "counts"),
    [
        # by hand: the numbers of the last line in the order they stand
        ([b"12,34,56,78", b"-1,2.5,3,4"], "<c1>,<c2>,<c3>,<c4>", (-1, 2.5, 3, 4)),
        (
            [b"a: 1 g b: 2 g c: 3 g d: 4 g\r", b"a: 9 g b: 8 g c: 7 g d: 6.5 g\r"],
            "a: <c1> g b: <c2> g c: <c3> g d: <c4> g",
            (9, 8, 7, 6.5),
        ),
        ([b'{"w": [1, 2, 3, 4]}', b'{"w": [10, 20, 30, 45]}'], '{"w": [<c1>, <c2>, <c3>, <c4>]}', (10, 20, 30, 45)),
    ],
)
def test_four_numbers_get_a_pattern_that_reads_them(
    lines: list[bytes], pattern: str, counts: tuple[float, ...]
) -> None:
    found = told(lines)
    assert found.pattern == pattern
    assert found.pads
    read = PatternLines(pattern=found.pattern).parse(lines[-1])
    assert isinstance(read, Reading)
    assert read.counts == counts


@pytest.mark.parametrize(
    "lines",
    [
        [b"1,2,3,4,5", b"2,3,4,5,6"],  # which of the five is the clock?
        [b"1,2,3", b"2,3,4"],
        [b"1,2,3,4", b"1;2;3;4"],  # not one form
        [b"ready", b"waiting"],
    ],
)
def test_what_would_be_a_guess_is_not_proposed(lines: list[bytes]) -> None:
    found = told(lines)
    assert (found.pattern, found.pads) == ("", False)
    assert "describe them with line_pattern" in found.kind


def test_our_own_protocol_needs_no_pattern() -> None:
    assert "nothing to describe" in told([IDENTITY.rstrip(b"\n")]).kind
    assert "nothing to describe" in told([line(1, 2).rstrip(b"\n")]).kind
    found = told([line(1, 2).rstrip(b"\n")])
    assert (found.pattern, found.pads, found.single, found.keys, found.text) == ("", True, False, None, True)
    assert not told([signed(b"PB2 1 2 3").rstrip(b"\n")]).pads  # our own, of another version: it cannot be read


def test_noise_and_silence_are_told_apart_and_nothing_reaches_the_terminal() -> None:
    assert "baud" in told([b"\xff\xfe\x80\x81"]).kind
    assert "silent" in told([]).kind
    (shown,) = told([b"\x1b[2J1,2,3,4\x07"]).lines
    assert shown == "[2J1,2,3,4"  # without what would clear the screen or ring


def test_a_line_cut_when_the_port_was_opened_is_left_out() -> None:
    port = ScriptPort()
    port.send(b"3,4\n10,2", b"0,30,40\n11,21,31,41\r\n", b"12,22,32,42\n\n13,23,33,43\n14,24")
    found = first_lines(port, patience=0.3)
    assert found.lines == ("10,20,30,40", "11,21,31,41", "12,22,32,42", "13,23,33,43")
    assert found.pattern == "<c1>,<c2>,<c3>,<c4>"
    assert port.sent == []
