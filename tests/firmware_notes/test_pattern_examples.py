"""The ten examples of firmware_notes/patterns.md do what they say; figures by hand, the ounce as in NIST SP 811."""

import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rig.pads.lines import Reading
from rig.pads.patterns import PatternLines

NOTE = Path(__file__).parents[2] / "firmware_notes" / "patterns.md"
EXAMPLES = re.split(r"\n\d+\. ", NOTE.read_text(encoding="utf-8").split("## Ten examples")[1])[1:]


def described(example: str) -> tuple[bytes, dict[str, Any], list[float]]:
    (line,) = re.findall(r"- line: `(.*)`", example)
    keys = tomllib.loads("\n".join(re.findall(r"- (\w+ = .*)", example)))
    (shows,) = re.findall(r"- shows: (.*)", example)
    return line.encode(), keys, [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?", shows.replace("pad 2", ""))]


def test_there_are_ten() -> None:
    assert len(EXAMPLES) == 10


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda text: text.splitlines()[0])
def test_an_example_shows_what_it_says(example: str) -> None:
    line, keys, shows = described(example)
    parser = PatternLines(pattern=keys.pop("line_pattern"), **keys)
    read = parser.parse(line)
    if read is None:
        read = parser.parse(line)
    assert isinstance(read, Reading)
    np.testing.assert_allclose([count for count in read.counts if count == count], shows, rtol=1e-9)
    for end in (b"\r", b"  "):
        assert isinstance(PatternLines(pattern=parser.pattern, **keys).parse(line + end), Reading | None)
    if "`<sum>`" in example or "<sum>" in parser.pattern:
        lost = parser.parse(line.replace(b"412.3", b"42.3"))  # a digit lost on the way
        assert not isinstance(lost, Reading)
