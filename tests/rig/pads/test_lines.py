"""The line protocol: golden lines, the published check word, and noise of every kind."""

import binascii
import csv
import math
import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rig.pads.lines import (
    LONGEST_LINE,
    OVERRUN,
    RESTARTED,
    SETTLING,
    WATCHDOG,
    Answer,
    BadLine,
    ForceLine,
    Identity,
    Line,
    LineSplitter,
    PadLines,
    Reading,
    crc16,
    frame,
    parse_line,
)
from rig.pads.patterns import PatternLines

ROOT = Path(__file__).parents[3]
PROTOCOL = (ROOT / "firmware_notes" / "protocol.md").read_text(encoding="utf-8")
GOLDEN = tomllib.loads(re.findall(r"```toml\n(.*?)```", PROTOCOL, re.DOTALL)[0])["line"]
DATA = ROOT / "tests" / "data" / "pads"

FORMATS = {
    "ours": PadLines(),
    "commas": PatternLines("<c1>,<c2>,<c3>,<c4>"),
    "json": PatternLines('{"t": <ms>, "loads": [<c1>, <c2>, <c3>, <c4>]}'),
    "one pad a line": PatternLines("<pad>: <count> g", pad_names=("FL", "FR", "RL", "RR")),
    "numbered, checked": PatternLines("$PADS,<seq>,<c1>,<c2>,<skip>", checksum="xor"),
}


def meaning(line: Line) -> dict[str, object]:
    """A parsed line in the words of the golden block."""
    match line:
        case Reading():
            counts = [0 if math.isnan(c) else int(c) for c in line.counts]
            return {"kind": "reading", "seq": line.seq, "ms": line.device_ms, "counts": counts, "flags": line.flags}
        case ForceLine():
            count = 0 if math.isnan(line.count) else int(line.count)
            return {"kind": "force", "seq": line.seq, "ms": line.device_ms, "count": count, "flags": line.flags}
        case Identity():
            return ({"force": True} if line.force else {}) | {
                "kind": "identity",
                "board": line.board,
                "firmware": line.firmware,
                "channels": line.channels,
                "rate": line.rate,
                "running": line.running,
                "boot": line.boot,
            }
        case Answer():
            return {"kind": "answer", "ok": line.ok, "words": line.words}
        case BadLine():
            return {"kind": "bad", "reason": line.reason}


@pytest.mark.parametrize("golden", GOLDEN, ids=lambda golden: golden["text"][:40])
@pytest.mark.parametrize("end", [b"", b"\r"])
def test_golden_lines_mean_what_the_note_says(golden: dict[str, object], end: bytes) -> None:
    parsed = parse_line(str(golden["text"]).encode("ascii") + end)
    assert meaning(parsed) == {key: item for key, item in golden.items() if key != "text"}


def test_golden_lines_show_every_kind() -> None:
    assert {golden["kind"] for golden in GOLDEN} == {"reading", "force", "identity", "answer", "bad"}
    assert {golden["reason"] for golden in GOLDEN if golden["kind"] == "bad"} == {"crc", "format", "version"}
    assert max(len(golden["text"]) for golden in GOLDEN) < LONGEST_LINE


def test_crc_gives_the_published_check_word() -> None:
    # tests/data/pads/crc_check.csv: catalogue of parametrised CRC algorithms, see tests/data/pads/README.md
    rows = {row["name"]: row for row in csv.DictReader((DATA / "crc_check.csv").open(encoding="utf-8"))}
    assert crc16(b"123456789") == int(rows["CRC-16/IBM-3740"]["check_of_123456789"], 16) == 0x29B1


@given(st.binary(max_size=80))
def test_crc_follows_its_definition(text: bytes) -> None:
    register = 0xFFFF  # bit by bit after the note: polynomial 1021, start FFFF, not reflected, no final xor
    for byte in text:
        for bit in range(7, -1, -1):
            top = register >> 15 ^ byte >> bit & 1
            register = (register << 1 & 0xFFFF) ^ (0x1021 if top else 0)
    assert crc16(text) == register


@given(
    st.integers(0, 65535),
    st.integers(0, 2**32 - 1),
    st.tuples(*[st.integers(-(2**23), 2**23 - 1)] * 4),
    st.integers(0, 0xFFFF),
)
def test_any_reading_comes_through(seq: int, ms: int, counts: tuple[int, ...], flags: int) -> None:
    line = frame(f"PB1 {seq} {ms} {' '.join(map(str, counts))} {flags:04X}")
    assert len(line) <= LONGEST_LINE
    parsed = parse_line(line[:-1])
    assert isinstance(parsed, Reading)
    assert (parsed.seq, parsed.device_ms, parsed.flags) == (seq, ms, flags)
    for pad in range(4):
        assert parsed.missing[pad] == bool(flags >> pad & 1)
        assert parsed.saturated[pad] == bool(flags >> pad + 4 & 1)
        assert math.isnan(parsed.counts[pad]) if parsed.missing[pad] else parsed.counts[pad] == counts[pad]


READING = frame("PB1 1234 123456 84213 79950 -312 101877 0000")[:-1]


@pytest.mark.parametrize("place", range(len(READING)))
def test_no_single_wrong_bit_and_no_lost_byte_gets_past(place: int) -> None:
    # CRC-16 finds all single-bit errors; a lost byte in this line is tried, not proved
    for bit in range(8):
        turned = READING[:place] + bytes([READING[place] ^ 1 << bit]) + READING[place + 1 :]
        if b"\n" not in turned:
            assert not isinstance(parse_line(turned), Reading)
    assert isinstance(parse_line(READING[:place] + READING[place + 1 :]), BadLine)


@given(st.lists(st.binary(max_size=9).filter(lambda b: b"\n" not in b)), st.data())
def test_any_cutting_gives_the_same_lines(lines: list[bytes], data: st.DataObject) -> None:
    stream = b"".join(line + b"\n" for line in lines)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    splitter, got = LineSplitter(), []
    for start, stop in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        got += splitter.feed(stream[start:stop])
    assert got == lines


def test_noise_without_line_ends_does_not_fill_the_memory() -> None:
    splitter = LineSplitter()
    for _ in range(1000):
        assert splitter.feed(b"\xff" * 1000) == []
    assert len(splitter.tail) <= splitter.longest + 1
    (line,) = splitter.feed(b"\n")
    assert parse_line(line) == BadLine(raw=line, reason="long")
    short = LineSplitter(longest=8)  # nine bytes are kept, so that what comes out is cut and still too long
    assert short.feed(b"0123456789AB") == []
    assert short.feed(b"\nC") == [b"3456789AB"]


LIKELY = st.one_of(
    st.binary(max_size=60),
    st.text(alphabet='PB12 -0123456789ABCDEF.,:;{}[]"tloadsgFRL$*eE+_\r', max_size=120).map(str.encode),
    st.lists(st.integers(-(10**9), 10**9), max_size=9).map(
        lambda numbers: b"PB1 " + b" ".join(b"%d" % n for n in numbers) + b" 0000 FFFF"
    ),
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=4),
        lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.sampled_from(["t", "loads"]), inner),
        max_leaves=8,
    ).map(lambda tree: repr(tree).replace("'", '"').encode()),
)


@given(lines=st.lists(LIKELY, max_size=4))
@example(lines=[b"[" * 380, b"{" * 300, b"1e999,1,1,1", b"1_0,1,1,1", "١,1,1,1".encode(), b"9" * 380])
def test_no_bytes_raise_in_any_format(lines: list[bytes]) -> None:
    for parser in FORMATS.values():
        parser.restart()
        splitter = LineSplitter(longest=400)
        for line in splitter.feed(b"\n".join([*lines, b""])):
            parsed = parser.parse(line)
            if isinstance(parsed, Reading):
                for count, missing in zip(parsed.counts, parsed.missing, strict=True):
                    assert math.isnan(count) if missing else math.isfinite(count)
            elif isinstance(parsed, BadLine):
                assert parsed.sentence


def test_a_later_version_is_named_only_when_its_checksum_fits() -> None:
    body = b"PB7 whatever comes then"
    sound = body + b" %04X" % binascii.crc_hqx(body, 0xFFFF)
    assert parse_line(sound) == BadLine(raw=sound, reason="version", version=7)
    unsound = parse_line(body + b" 0000")
    assert isinstance(unsound, BadLine)
    assert (unsound.reason, unsound.version) == ("crc", 7)
    assert "version 7" in parse_line(sound).sentence  # type: ignore[union-attr]


def test_unknown_words_after_the_identification_are_ignored() -> None:
    parsed = parse_line(frame("PB1 ID board=a fw=2 ch=1 rate=10 run=1 boot=pin colour=red")[:-1])
    assert isinstance(parsed, Identity)
    assert (parsed.board, parsed.channels, parsed.boot) == ("a", 1, "pin")


def test_bits_are_those_of_the_note() -> None:
    rows = {name: int(mask, 16) for mask, name in re.findall(r"\| \d+ \| ([0-9A-F]{4}) \| (\w+) \|", PROTOCOL)}
    assert rows == {"restarted": RESTARTED, "watchdog": WATCHDOG, "settling": SETTLING, "overrun": OVERRUN}
    for flags, settling in ((0x0400, True), (0xFBFF, False)):
        reading = parse_line(frame(f"PB1 1 2 3 4 5 6 {flags:04X}")[:-1])
        assert isinstance(reading, Reading)
        assert reading.settling == settling


@pytest.mark.parametrize(
    ("fields", "fits"),
    [
        ("65535 4294967295 8388607 -8388608 0 -1", True),
        ("65536 0 0 0 0 0", False),
        ("0 4294967296 0 0 0 0", False),
        ("0 0 8388608 0 0 0", False),
        ("0 0 0 0 0 -8388609", False),
        ("01 0 0 0 0 0", False),  # no leading zeros, no plus sign, no -0
        ("0 0 +1 0 0 0", False),
        ("0 0 0 -0 0 0", False),
        ("0  0 0 0 0 0", False),  # one space
        ("-1 0 0 0 0 0", False),
    ],
)
def test_numbers_of_a_reading_keep_to_the_note(fields: str, fits: bool) -> None:
    parsed = parse_line(frame(f"PB1 {fields} 0000")[:-1])
    assert isinstance(parsed, Reading) == fits
    assert getattr(parsed, "reason", "format") == "format"


@pytest.mark.parametrize(("bytes_with_end", "fits"), [(96, True), (97, False)])
def test_a_line_has_at_most_96_bytes_with_its_end(bytes_with_end: int, fits: bool) -> None:
    line = frame("PB1 OK " + "x" * (bytes_with_end - 7 - 6))
    assert len(line) == bytes_with_end
    for end in (b"", b"\r"):  # the host also accepts carriage return and line feed
        parsed = parse_line(line[:-1] + end)
        assert isinstance(parsed, Answer) == fits
        assert getattr(parsed, "reason", "long") == "long"
        assert parsed.raw == line[:-1] + end


@pytest.mark.parametrize(("length", "fits"), [(16, True), (17, False)])
def test_names_have_at_most_16_signs(length: int, fits: bool) -> None:
    name = "a" * length
    for words in (f"board={name} fw=1", f"board=b fw={name}"):
        parsed = parse_line(frame(f"PB1 ID {words} ch=4 rate=10 run=1 boot=power")[:-1])
        assert isinstance(parsed, Identity) == fits


def test_what_only_begins_like_ours_is_damage_and_the_rest_is_not_ours() -> None:
    for line, reason in ((b"PB", "crc"), (b"PBX 1", "crc"), (b"PB1", "crc"), (b"P 1", "format"), (b"", "format")):
        parsed = parse_line(line)
        assert parsed == BadLine(raw=line, reason=reason)  # type: ignore[arg-type]
        assert ("checksum" in parsed.sentence) == (reason == "crc")
