"""Other people's lines: what a pattern reads, what it refuses, and which patterns cannot work."""

import csv
import math
import operator
from functools import reduce
from pathlib import Path

import pytest

from rig.base.errors import InputError
from rig.pads.lines import BadLine, Reading
from rig.pads.patterns import PadUnit, PatternLines, plain_text

NAN = math.nan
DATA = Path(__file__).parents[2] / "data" / "pads"
COMMAS = "<c1>,<c2>,<c3>,<c4>"
JSON = '{"t": <ms>, "loads": [<c1>, <c2>, <c3>, <c4>]}'


@pytest.mark.parametrize(
    ("pattern", "line", "counts", "seq", "ms"),
    [
        (COMMAS, b"1,2,3,4", (1, 2, 3, 4), None, None),
        (COMMAS, b" 1.5, -2 ,+3,4e2\r", (1.5, -2, 3, 400), None, None),
        ("<seq>;<ms>;<c1>;<c2>", b"7;1200;-5;6", (-5, 6, NAN, NAN), 7, 1200),
        ("t=<ms> a=<c1>g b=<c2>g <skip>", b"t=99 a=10.25g  b=11g ok!", (10.25, 11, NAN, NAN), None, 99),
        ("<c1> <skip> <c2>", b"5 x 7", (5, 7, NAN, NAN), None, None),
        ("<c1> <c2> <c3>", b"100\t200   300", (100, 200, 300, NAN), None, None),
        ("(<c1>)[<c2>]", b"(1)[2]", (1, 2, NAN, NAN), None, None),
        (JSON, b'{"loads":[1,2,3,4],"t":5}', (1, 2, 3, 4), None, 5),
        (JSON, b'{"t": 5, "temp": 21.5, "loads": [1, null, "3.5", -4e1]}', (1, NAN, 3.5, -40), None, 5),
        ('{"n": "<seq>", "w": {"fl": <c1>}}', b'{"w":{"fl":3,"fr":4},"n":8}', (3, NAN, NAN, NAN), 8, None),
        ("[<c1>, <skip>, <c2>]", b"[1, [2, 3], 4]", (1, 4, NAN, NAN), None, None),
        ("[<c1>, <skip>, <c2>]", b"[1, null, 4]", (1, 4, NAN, NAN), None, None),
    ],
)
def test_a_pattern_reads_its_lines(
    pattern: str, line: bytes, counts: tuple[float, ...], seq: int | None, ms: int | None
) -> None:
    reading = PatternLines(pattern).parse(line)
    assert isinstance(reading, Reading)
    assert reading.counts == pytest.approx(counts, abs=0, nan_ok=True)
    assert (reading.seq, reading.device_ms) == (seq, ms)
    assert reading.missing == tuple(math.isnan(count) for count in counts)


@pytest.mark.parametrize(
    ("unit", "line", "grams", "step"),
    [  # ounce and pound by definition (NIST SP 811, appendix B.8); the step is that of the coarsest number
        ("kg", b"0.431;0.3668;0.4025;0.389", (431.0, 366.8, 402.5, 389.0), 1.0),
        ("g", b"431;366.8;402.5;389", (431.0, 366.8, 402.5, 389.0), 1.0),
        ("lb", b"1.5;0.75;2.25;0.05", (680.388555, 340.1942775, 1020.5828325, 22.6796185), 45.359237),
        ("oz", b"8.00;4.00;16.00;0.50", (226.796185, 113.3980925, 453.59237, 14.1747615625), 0.28349523125),
    ],
)
def test_a_weight_comes_out_in_grams(unit: PadUnit, line: bytes, grams: tuple[float, ...], step: float) -> None:
    reading = PatternLines("<c1>;<c2>;<c3>;<c4>", unit=unit).parse(line)
    assert isinstance(reading, Reading)
    assert reading.counts == pytest.approx(grams, rel=1e-12)
    assert reading.step == pytest.approx(step, rel=1e-12)


def test_a_line_number_may_be_nought_but_no_fraction() -> None:
    numbered = PatternLines("<seq>,<ms>,<c1>")
    read = numbered.parse(b"0,0,5")
    assert isinstance(read, Reading)
    assert (read.seq, read.device_ms) == (0, 0)
    assert isinstance(PatternLines('{"n": <seq>, "w": <c1>}').parse(b'{"n": 1.5, "w": 3}'), BadLine)


@pytest.mark.parametrize(
    ("pattern", "line"),
    [
        (COMMAS, b"1,2,3"),
        (COMMAS, b"1,2,3,4,5"),
        (COMMAS, b"1,2,3,x"),
        (COMMAS, b"1,2,3,nan"),
        (COMMAS, b""),
        ("<c1> <skip> <c2>", b"5x 7"),  # what is left out stands apart
        ("<c1> <c2>", b"123"),  # one number must not be cut into two
        ("<seq>,<c1>", b"65536,1"),
        (JSON, b'{"t":5,"loads":[1,2,3]}'),
        (JSON, b'{"t":5,"loads":[1,2,3,4]'),
        (JSON, b'{"t":-5,"loads":[1,2,3,4]}'),
        (JSON, b'{"t":5,"loads":[1,2,3,Infinity]}'),
        (JSON, b'{"t":5,"loads":[1,2,3,true]}'),
        (JSON, b'{"t":5,"loads":[1,2,3,"1_0"]}'),
        (JSON, b"[1,2,3,4]"),
        ("<pad>: <count> g", b"5: 17 g"),
    ],
)
def test_other_lines_are_refused(pattern: str, line: bytes) -> None:
    parsed = PatternLines(pattern).parse(line)
    assert isinstance(parsed, BadLine)
    assert parsed.reason == "format"


def test_one_pad_a_line_is_gathered_into_readings() -> None:
    parser = PatternLines("pad <pad>: <count> g", pad_names=("FL", "FR", "RL", "RR"))
    lines = ["FL: 1", "FR: 2", "RL: 3", "RR: 4", "FR: 6", "FL: 5", "RL: 7", "FR: 10", "FL: 9", "RL: 11", "RR: 12"]
    readings = [parser.parse(f"pad {line} g".encode()) for line in lines]
    got = [reading.counts for reading in readings if isinstance(reading, Reading)]
    # RR was lost once: the reading goes out without it as soon as another pad comes again
    want = [(1, 2, 3, 4), (5, 6, 7, NAN), (9, 10, 11, 12)]
    assert got == [pytest.approx(counts, abs=0, nan_ok=True) for counts in want]


def test_exclusive_or_checksums_of_public_examples_fit() -> None:
    # tests/data/pads/xor_checksum.csv: NMEA 0183 style lines, see tests/data/pads/README.md
    rows = list(csv.DictReader((DATA / "xor_checksum.csv").open(encoding="utf-8"), delimiter=";"))
    assert len(rows) >= 6
    parser = PatternLines("<skip>,<c1>,<skip>", checksum="xor")
    for row in rows:
        line = f"${row['body']}*{row['xor_hex']}".encode()
        spoilt = line.replace(b",", b";", 1)
        assert getattr(parser.parse(line), "reason", "") != "crc"
        assert parser.parse(spoilt) == BadLine(raw=spoilt, reason="crc")


@pytest.mark.parametrize(
    ("pattern", "says"),
    [
        ("<c1>,<c5>", "no field <c5>"),
        ("<c1>,<c1>", "comes twice"),
        ("<seq>,<ms>", "no pad"),
        ("<pad> only", "no pad"),
        ("<c1>,<pad>,<count>", "no pad"),
        ("<c1><c2>", "touch"),
        ("", "no pad"),
        ('{"loads": [<c1>, <c2>', "not JSON"),
    ],
)
def test_a_pattern_that_cannot_work_says_why(pattern: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        PatternLines(pattern)


def test_pad_names_must_differ() -> None:
    with pytest.raises(InputError, match="different pad names"):
        PatternLines("<pad> <count>", pad_names=("a", "a"))


@pytest.mark.parametrize(
    ("pattern", "line", "reason"),
    [
        ("<seq>,<c1>", b"65535,1", None),
        ("<seq>,<c1>", b"-1,1", "format"),
        ("<seq>,<c1>", b"1.5,1", "format"),
        ('{"n": <seq>, "a": <c1>}', b'{"n": 1.5, "a": 1}', "format"),
        ('{"n": <seq>, "a": <c1>}', b'{"n": 2.0, "a": 1}', None),
        ('{"n": <seq>, "a": <c1>}', b'{"n": null, "a": 1}', "format"),  # only a pad may be absent
        ('{"n": <skip>, "a": <c1>}', b'{"n": true, "a": 1}', None),
        ('{"n": <skip>, "a": <c1>}', b'{"a": 1}', "format"),
        ('{"k": "w", "a": <c1>}', b'{"k": "v", "a": 1}', "format"),  # what is no field must be as it stands there
        ('{"k": "w", "a": <c1>}', b'{"k": "w", "a": 1}', None),
        ("[<c1>, <c2>]", b'{"a": 1}', "format"),
        ("[<c1>, <c2>]", b"[[1], 2]", "format"),
        ('{"a": <c1>}', b"3", "format"),
        ("<ms>,<c1>", b"4294967295,1", None),
        ("<ms>,<c1>", b"4294967296,1", "format"),
        ("<c1>,<skip>", b"1," + b"x" * 382, None),  # four times the longest line of our own protocol
        ("<c1>,<skip>", b"1," + b"x" * 383, "long"),
        ("<c1>", b"1" * 384, "format"),
    ],
)
def test_limits_of_what_is_read(pattern: str, line: bytes, reason: str | None) -> None:
    parsed = PatternLines(pattern).parse(line)
    assert getattr(parsed, "reason", None) == reason
    assert isinstance(parsed, BadLine if reason else Reading)


def test_a_line_number_may_wrap_elsewhere() -> None:
    parser = PatternLines("<seq>,<c1>", seq_modulus=256)
    assert isinstance(parser.parse(b"255,1"), Reading)
    assert isinstance(parser.parse(b"256,1"), BadLine)
    with pytest.raises(InputError, match="cannot wrap"):
        PatternLines("<seq>,<c1>", seq_modulus=1)


def test_a_gathered_reading_has_the_head_of_its_first_line() -> None:
    parser = PatternLines("<seq> <ms> <pad>=<count>", pad_names=("L", "R"))
    came = [parser.parse(f"{7 + i} {100 + 10 * i} {pad}={i}".encode()) for i, pad in enumerate("LRLLR")]
    assert came[0] is came[2] is None
    heads = [(r.seq, r.device_ms, r.counts[:2]) for r in came if isinstance(r, Reading)]
    assert heads[0] == (7, 100, (0, 1))
    assert heads[1][:2] == (9, 120)  # its other pad was lost
    assert heads[1][2] == pytest.approx((2, NAN), nan_ok=True)
    assert heads[2] == (10, 130, (3, 4))
    parser.parse(b"20 500 L=1")
    parser.restart()
    assert parser.parse(b"21 510 R=2") is None


@pytest.mark.parametrize(
    ("line", "counts"),
    [  # 31 ^ 2C ^ 32 = 2F; the exclusive-or of the bytes, by hand
        (b"$1,2*2F", (1, 2)),
        (b"1,2*2f\r", (1, 2)),
        (b"$1,2*2E", None),
        (b"$1,2", None),
        (b"$1,2*2F0", None),
        (b"$1,2*F", None),
        (b"*2F", None),
    ],
)
def test_exclusive_or_by_hand(line: bytes, counts: tuple[float, ...] | None) -> None:
    parser = PatternLines("<c1>,<c2>", checksum="xor")
    assert parser.checked
    parsed = parser.parse(line)
    assert (parsed.counts[:2] if isinstance(parsed, Reading) else None) == counts
    if counts is None:
        assert getattr(parsed, "reason", "") == "crc"
    assert not PatternLines("<c1>,<c2>").checked


@pytest.mark.parametrize("names", [(), ("a", "b", "c", "d", "e")])
def test_one_to_four_pads_have_names(names: tuple[str, ...]) -> None:
    with pytest.raises(InputError, match="one to four"):
        PatternLines("<pad> <count>", pad_names=names)
    assert PatternLines("<pad> <count>", pad_names=("a",)).parse(b"a 5") is not None


def test_an_exclusive_or_stands_at_the_end() -> None:
    with pytest.raises(InputError, match="stands at the end"):
        PatternLines("<c1>,<xor>,<c2>")
    parser = PatternLines('{"a": <c1>}*<xor>')
    body = b'{"a": 5}'
    parsed = parser.parse(body + b"*%02X" % reduce(operator.xor, body))
    assert isinstance(parsed, Reading)
    assert parsed.counts[0] == 5


def test_a_line_as_text_keeps_its_tabs_and_parts_what_other_control_characters_frame() -> None:
    assert plain_text(b"\x02431.2\t366.8\x03402.5") == " 431.2\t366.8 402.5"
