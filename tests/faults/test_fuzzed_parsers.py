"""A fixed sample of tests/benchmarks/fuzz_parsers.py, the kept corpora, and laws of the line parsers.

Nothing but the room's own error may come out of a parser, whatever goes in; the targets check the laws that hold.
"""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.pads.lines import BadLine, Reading, frame, parse_line
from rig.pads.patterns import PatternLines
from tests.benchmarks.fuzz_parsers import fuzz_clips
from tests.faults.mutate import mutate
from tests.faults.parsers import TARGETS, corpus, pad_lines, pattern_lines, patterns


@pytest.mark.parametrize("name", TARGETS)
def test_spoilt_samples_are_told_in_words(name: str) -> None:
    samples, rng = corpus(name), random.Random(9)
    assert samples
    for data in samples:
        TARGETS[name](data)
    for _ in range(150):
        TARGETS[name](mutate(rng.choice(samples), rng, samples))


@settings(deadline=None, max_examples=150)
@given(st.binary(max_size=200))
def test_any_bytes_pass_through_the_line_parsers(data: bytes) -> None:
    pad_lines(data + b"\n")
    pattern_lines(data)
    patterns(data)


@pytest.mark.parametrize(
    ("pattern", "good"),
    [
        ("#<seq> <skip> <c1> <c2>", b"#5 x 1 2"),
        ("<skip> <c1> <skip> <c2> <skip> <c3> <skip>, <c4>", b"a 1 b 2 c 3 d , 4"),
    ],
)
def test_a_long_damaged_line_is_not_tried_in_every_way_it_could_be_cut_up(pattern: str, good: bytes) -> None:
    """These would take longer than a bench stands if blanks and numbers were tried in all combinations."""
    parser = PatternLines(pattern)
    for line in (b"#5" + b"\x0b" * 300 + b"x", b"#5 x" + b" 1" * 150 + b" x", b"#5 " + b"1" * 300 + b" ,"):
        said = parser.parse(line)
        assert isinstance(said, BadLine)
        assert said.reason == "format"  # looked at, not refused for its length
    assert isinstance(parser.parse(good), Reading)


@settings(deadline=None)
@given(st.integers(0, 65535), st.integers(0, (1 << 32) - 1), st.data())
def test_one_turned_bit_never_gives_another_reading(seq: int, ms: int, data: st.DataObject) -> None:
    """CRC-16/CCITT finds every single-bit error (any CRC whose polynomial has two terms does)."""
    counts = data.draw(st.lists(st.integers(-(1 << 23), (1 << 23) - 1), min_size=4, max_size=4))
    line = frame(f"PB1 {seq} {ms} {' '.join(map(str, counts))} 0000").rstrip(b"\n")
    assert not isinstance(parse_line(line), BadLine)
    bit = data.draw(st.integers(0, 8 * len(line) - 1))
    spoilt = bytearray(line)
    spoilt[bit // 8] ^= 1 << bit % 8
    assert isinstance(parse_line(bytes(spoilt)), BadLine)


def test_spoilt_clips_are_read_or_told_in_words() -> None:
    done = fuzz_clips(45)
    assert done["findings"] == []
    assert done["read"] + done["told"] == 45
    assert done["read"] > 0
    assert done["told"] > 0
