"""Lines of other makes: what is proposed for them, and what is not guessed. The numbers by hand; pads FL FR RL RR."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from rig.pads.first_contact.first_lines import first_lines_at, told
from rig.pads.first_contact.proposal import proposal
from rig.pads.lines import Reading
from rig.pads.patterns import PatternLines

GRAMS = (431.2, 366.8, 402.5, 389.9)
OUNCES = tuple(28.349523125 * one for one in (15.21, 12.94, 14.20, 13.75))  # NIST SP 811, appendix B.8
POUNDS = tuple(453.59237 * one for one in (0.9506, 0.8087, 0.8874, 0.8596))


def read(keys: dict[str, Any], lines: Sequence[str]) -> list[float]:
    """The last whole reading of these lines, grams or counts."""
    parser = PatternLines(
        pattern=keys["line_pattern"],
        unit=keys.get("unit", "counts"),
        decimal_mark=keys.get("decimal_mark", "point"),
        pad_names=keys.get("pad_names", ("1", "2", "3", "4")),
    )
    readings = [one for line in lines if isinstance(one := parser.parse(line.encode()), Reading)]
    return [count for count in readings[-1].counts if count == count]


@pytest.mark.parametrize(
    ("lines", "unit", "shows"),
    [
        # numbers of the last line by hand, each pad another
        (["w1 431.2g|w2 366.8g|w3 402.5g|w4 389.9g"] * 6, "g", GRAMS),
        (["LR 402.5 RF 366.8 RR 389.9 LF 431.2"] * 6, "g", GRAMS),  # left and right first, and in no order
        # a word that comes and goes, as scales say that they have settled, is left out
        ([f"{('ok', 'busy')[k % 2]} 431.2,366.8,402.5,389.9" for k in range(6)], "g", GRAMS),
        (["p3=402.5;p1=431.2;p4=389.9;p2=366.8"] * 6, "g", GRAMS),
        (["0.4312 kg / 0.3668 kg / 0.4025 kg / 0.3899 kg"] * 6, "kg", GRAMS),
        (["0,431 0,367 0,403 0,390"] * 6, "kg", (431, 367, 403, 390)),
        (["431,367,403,390"] * 6, "g", (431, 367, 403, 390)),  # whole numbers that repeat: a shown weight
        (
            [f"{84213 + 31 * (k % 3)},{-512 - 17 * (k % 2)},{66 + 9 * (k % 4)},{1200 - k % 5}" for k in range(8)],
            "counts",
            (84244, -529, 93, 1198),
        ),
        ([f"{400 + 100 * k},431.2,366.8,402.5,389.9,21.{k % 3}" for k in range(6)], "g", GRAMS),
        ([f"09:15:{k:02d};431.2;366.8;402.5;389.9" for k in range(6)], "g", GRAMS),
        ([f"2026-03-04 10:11:{k:02d},431.2,366.8,402.5,389.9" for k in range(6)], "g", GRAMS),
        (["t,fl,fr,rl,rr,temp", *[f"{k}.5,431.2,366.8,402.5,389.9,22.1" for k in range(6)]], "g", GRAMS),
        (["1590.4 431.2 366.8 402.5 389.9"] * 6, "g", GRAMS),  # the sum in front
        (['{"b": 3.9, "s": [431.2, 366.8, 402.5, 389.9]}'] * 6, "g", GRAMS),
        (['{"RR": 389.9, "RL": 402.5, "FR": 366.8, "FL": 431.2, "unit": "g"}'] * 6, "g", GRAMS),
        # what changes beside the loads, before, between and behind them, keeps its place in the list
        (
            [f'{{"t": {k}, "s": [{20 + k % 3}.5, 431.2, 366.8, {k}, 402.5, 389.9, {k % 2}]}}' for k in range(6)],
            "g",
            GRAMS,
        ),
        ([f"[[{k}, 431.2], [{k % 3}, 366.8], [0, 402.5], [{-k}, 389.9]]" for k in range(6)], "g", GRAMS),
        (["15.21oz,12.94oz,14.20oz,13.75oz"] * 6, "oz", OUNCES),
        (["0.9506 lb,0.8087 lb,0.8874 lb,0.8596 lb"] * 6, "lb", POUNDS),
        ([f"{n}: {x} g" for _ in range(3) for n, x in zip("ABCD", GRAMS, strict=True)], "g", GRAMS),
        (["RR 389.9", "FL 431.2", "RL 402.5", "FR 366.8"] * 3, "g", GRAMS),
        (["N 0 + 0431.2 g"] * 6, "g", (431.2,)),
        (["431,2 g"] * 6, "g", (431.2,)),
        ([f"[{n:05d}] W1=431.2g W2=366.8g W3=402.5g W4=389.9g" for n in range(6)], "g", GRAMS),  # begins as JSON does
    ],
)
def test_what_is_proposed_reads_the_wheels(lines: list[str], unit: str, shows: tuple[float, ...]) -> None:
    found = proposal(lines)
    assert found.usable, found.kind
    assert found.keys["unit"] == unit
    assert found.single == (len(shows) == 1)
    np.testing.assert_allclose(read(found.keys, lines), shows, rtol=1e-9)


def test_an_exclusive_or_at_the_end_is_held_against_the_line() -> None:
    """By hand: points and commas pair and cancel, W is 57, the figures left over are 7: 50; one step of a digit: 51."""
    lines = ["$W,431.2,366.8,402.5,389.9*50", "$W,431.3,366.8,402.5,389.9*51"] * 4
    found = proposal(lines)
    assert found.keys["line_pattern"] == "$W,<c1>,<c2>,<c3>,<c4>*<xor>"
    np.testing.assert_allclose(read(found.keys, lines[:1]), GRAMS)
    parser = PatternLines(found.keys["line_pattern"], unit="g")
    assert parser.checked
    assert getattr(parser.parse(b"$W,431.2,366.8,42.5,389.9*50"), "reason", "") == "crc"  # a digit lost


def test_numbers_framed_by_control_characters_stand_apart() -> None:
    """Start and end of text around each: without them two numbers would run into one."""
    raw = [b"".join(b"\x02%.1f\x03" % x for x in GRAMS)] * 6
    found = told(raw)
    assert found.keys is not None
    parser = PatternLines(found.keys["line_pattern"], unit=found.keys["unit"])
    parsed = parser.parse(raw[0] + b"\r")
    assert isinstance(parsed, Reading)
    np.testing.assert_allclose(parsed.counts, GRAMS)


def test_a_header_that_came_before_says_which_wheel_a_column_is() -> None:
    lines = [b"7.5,389.9,431.2,366.8,402.5", b"8.0,389.9,431.2,366.8,402.6"] * 3
    named = told(lines, before=[b"t,RR,FL,FR,RL"])
    assert named.keys is not None
    assert named.keys["line_pattern"] == "<skip>,<c4>,<c1>,<c2>,<c3>"
    for before in ([], [b"6.5,389.9,431.2,366.8,402.5"], [b"389.9,431.2"]):  # none, a line before, a fragment
        nameless = told(lines, before=before)
        assert nameless.keys is not None
        assert nameless.keys["line_pattern"] == "<skip>,<c1>,<c2>,<c3>,<c4>"


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        (["0.0 0.0 0.0 0.0 0.0"] * 6, "Set the car on the pads and look again"),  # which of the five is the sum?
        (["1.0 2.0"] * 6, "two numbers a line"),
        (["431.2 N 366.8 N 402.5 N 389.9 N"] * 6, "show n"),
        (["431.2 g 366.8 g 402.5 g 0.39 kg"] * 6, "mix"),
        (["21.5 C 45 %"] * 6, "no number that could be a load"),
        (["booting", "wifi ok", "ready"], "text without numbers"),
        ([f"$GPRMC,1204{k:02d},A,5230.1,N,1322.4,E,0.1,,,,*5{k % 10}" for k in range(6)], "satellite"),
    ],
)
def test_what_cannot_be_told_is_not_guessed(lines: list[str], why: str) -> None:
    found = proposal(lines)
    assert not found.usable
    assert why in found.kind


def test_a_unit_that_no_line_names_is_said_to_be_a_guess() -> None:
    (remark,) = proposal(["431.2 366.8 402.5 389.9"] * 6).remarks
    assert 'unit = "g" is a guess' in remark
    assert proposal(["431.2 g 366.8 g 402.5 g 389.9 g"] * 6).remarks == ()


def test_a_named_sum_that_does_not_add_up_protects_nothing() -> None:
    found = proposal(["431.2 366.8 402.5 389.9 net 1432.0"] * 6)
    assert "<sum>" not in found.keys["line_pattern"]
    assert "<sum>" in proposal(["431.2 366.8 402.5 389.9 net 1590.4"] * 6).keys["line_pattern"]


class AtOneRate:
    """A port that gives text at its own rate and garbage at the others."""

    def __init__(self, own: int, asked: int) -> None:
        self.own, self.rate, self.rates = own, asked, [asked]

    def read_some(self, timeout: float) -> bytes:
        return b"431.2 366.8 402.5 389.9\r\n" * 2 if self.rate == self.own else b"\x80\xf8\x00\xe6\x9e" * 20

    def write(self, data: bytes) -> None:
        raise AssertionError("nothing is sent")

    def close(self) -> None: ...

    def set_baud(self, baud: int) -> bool:
        self.rate = baud
        self.rates.append(baud)
        return baud != 57_600  # a rate that this hardware does not have


def test_the_rate_that_makes_text_is_found() -> None:
    port = AtOneRate(own=9600, asked=115_200)
    found = first_lines_at(port, 115_200, patience=0.3)
    assert (found.baud, found.pads, port.rates) == (9600, True, [115_200, 9600])
    assert "it talks at 9600 baud, not at 115200" in found.remarks
    slow = first_lines_at(AtOneRate(own=2400, asked=9600), 9600, patience=0.3)
    assert slow.baud == 2400


def test_no_rate_makes_text_of_noise_and_silence_is_asked_once() -> None:
    found = first_lines_at(AtOneRate(own=1200, asked=115_200), 115_200, patience=0.2)
    assert (found.pads, found.text) == (False, False)
    assert "no text" in found.kind
    silent = AtOneRate(own=1200, asked=115_200)
    silent.read_some = lambda timeout: b""  # type: ignore[method-assign]
    assert "silent" in first_lines_at(silent, 115_200, patience=0.05).kind
    assert silent.rates == [115_200]


def test_a_byte_order_mark_and_frames_are_no_part_of_the_line() -> None:
    lines = [b"\xef\xbb\xbf\x02431.2,366.8,402.5,389.9\x03"] * 5
    found = told(lines)
    assert found.pattern == "<c1>,<c2>,<c3>,<c4>"
    parsed = PatternLines(pattern=found.pattern).parse(lines[0])
    assert isinstance(parsed, Reading)
    assert parsed.counts == GRAMS
