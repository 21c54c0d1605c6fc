"""The first lines of a port that nobody has described yet: what they are, and a pattern that would read them."""

import re
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from rig.pads.lines import BadLine, BadReason, Identity, LineSplitter, Reading, parse_line
from rig.pads.patterns import PatternLines
from rig.pads.port import Port

WANTED = 4
"""Whole lines that are enough to tell a format by."""
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_CHANNELS = 4
SILENT = (
    "silent: is it powered, and is the baud rate right? A board that waits to be asked answers to: "
    "pivotbench pads live TEST.toml"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstLines:
    """lines: as they came, control characters left out.  kind: what they are, in words.

    pattern: for line_pattern on the bench card, "" where none is needed or none can be proposed.
    pads: whether the bench can read this port, by its own protocol or by that pattern.
    """

    lines: tuple[str, ...]
    kind: str
    pattern: str = ""
    pads: bool = False


def first_lines(port: Port, *, patience: float = 2.0, now: Callable[[], float] = time.monotonic) -> FirstLines:
    """Listen to an open port until it has sent a few whole lines. patience: s. Sends nothing.

    The first line is left out where more follow: it may have been cut when the port was opened.
    Raises OSError when the port is lost.
    """
    splitter, got, end = LineSplitter(longest=400), list[bytes](), now() + patience
    while len(got) <= WANTED and (left := end - now()) > 0:
        got += [line for line in splitter.feed(port.read_some(min(left, 0.1))) if line.strip()]
    return told(got[1:] if len(got) > 1 else got)


def told(lines: Sequence[bytes]) -> FirstLines:
    """What these whole lines are."""
    shown = tuple(_printable(line) for line in lines)
    if not lines:
        return FirstLines(lines=(), kind=SILENT)
    ours = [parse_line(line) for line in lines]
    if any(isinstance(one, Reading | Identity) for one in ours):
        return FirstLines(lines=shown, kind="the pad protocol: nothing to describe", pads=True)
    other = next((one for one in ours if isinstance(one, BadLine) and one.reason is BadReason.VERSION), None)
    if other is not None:
        return FirstLines(lines=shown, kind=other.sentence)
    if any("\ufffd" in line for line in shown):
        return FirstLines(lines=shown, kind="no text: the baud rate is probably another (--baud)")
    pattern = _proposed(shown)
    if not pattern:
        return FirstLines(lines=shown, kind="lines of another form: describe them with line_pattern on the bench card")
    return FirstLines(lines=shown, kind="four numbers a line, read by the pattern below", pattern=pattern, pads=True)


def _proposed(lines: Sequence[str]) -> str:
    """A pattern that reads every line: only where all have the same text around exactly four numbers.

    With more numbers it would be a guess which of them is a load, and a wrong guess would be taken for a weighing.
    """
    form = _NUMBER.sub("<>", lines[0].strip())
    if form.count("<>") != _CHANNELS:
        return ""
    for channel in range(1, _CHANNELS + 1):
        form = form.replace("<>", f"<c{channel}>", 1)
    parser = PatternLines(pattern=form)
    return form if all(isinstance(parser.parse(line.encode()), Reading) for line in lines) else ""


def _printable(line: bytes) -> str:
    """Text that cannot steer a terminal."""
    text = line.decode("utf-8", "replace").replace("\t", " ")
    return "".join(one for one in text if one.isprintable()).strip()
