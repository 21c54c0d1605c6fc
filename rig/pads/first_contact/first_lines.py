"""The first lines of a port that nobody has described yet: what they are, at which baud rate, and how to read them."""

import re
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from rig.base.plain_json import Json
from rig.pads.first_contact.proposal import proposal
from rig.pads.lines import BadLine, BadReason, Identity, LineSplitter, Reading, parse_line
from rig.pads.patterns import plain_text
from rig.pads.port import Port

WANTED, MORE = 4, 9
"""Whole lines that tell a format; more are heard while they come quickly: a clock or one pad a line shows by then."""
HURRY_S = 1.0
"""After so long WANTED lines are enough."""
USUAL_RATES = (115_200, 9600, 57_600, 38_400, 19_200, 230_400, 4800, 2400)
"""Baud rates of boards and bench scales, the likeliest first (common practice, no source)."""
TEXT_SHARE = 0.9
"""Share of printable characters below which bytes are no text: the baud rate is another."""
UNENDED_BYTES = 400
SILENT = (
    "silent: is it powered, and is the baud rate right? A board that waits to be asked answers to: "
    "pivotbench pads live TEST.toml"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstLines:
    """lines: as they came, control characters left out.  kind: what they are, in words.

    pattern: for line_pattern on the bench card, "" where none is needed or none can be proposed.  keys: with the other
    keys that reading them takes.  pads: whether the bench can read this port, by its own protocol or by that pattern.
    single: it is one pad alone.  remarks: what was guessed or left out.  baud: where other rates were tried.
    text: whether what came can be text at all.
    """

    lines: tuple[str, ...]
    kind: str
    pattern: str = ""
    pads: bool = False
    keys: Json | None = None
    single: bool = False
    remarks: tuple[str, ...] = ()
    baud: int | None = None
    text: bool = True


def first_lines(port: Port, *, patience: float = 2.0, now: Callable[[], float] = time.monotonic) -> FirstLines:
    """Listen to an open port until it has sent a few whole lines. patience: s. Sends nothing.

    The first line is left out where more follow: it may have been cut when the port was opened. A port that says
    something, but slowly, is heard three times as long.
    Raises OSError when the port is lost.
    """
    splitter, got, start, raw = LineSplitter(longest=UNENDED_BYTES, any_end=True), list[bytes](), now(), b""
    end = start + patience
    while len(got) <= MORE and (left := end - now()) > 0:
        if len(got) > WANTED and now() - start > HURRY_S:
            break
        chunk = port.read_some(min(left, 0.1))
        raw = (raw + chunk)[-4 * UNENDED_BYTES :]
        got += [line for line in splitter.feed(chunk) if line.strip()]
        if got and _is_text(raw):
            end = max(end, start + 3 * patience) if len(got) <= WANTED else end
        elif len(raw) >= UNENDED_BYTES and not _is_text(raw):
            break
    if not got and raw:
        return _unended(raw)
    return told(got[1:] if len(got) > 1 else got, before=got[:1] if len(got) > 1 else ())


def first_lines_at(port: Port, baud: int, *, patience: float = 2.0, rates: Sequence[int] = USUAL_RATES) -> FirstLines:
    """The same, at the rate that makes text of what comes. baud: the port's rate now, tried first.

    Other rates are tried only where something comes that is no text: silence is silence at every rate.
    """
    found = first_lines(port, patience=patience)
    if found.text:
        return replace(found, baud=baud)
    for rate in rates:
        if rate == baud or not port.set_baud(rate):
            continue
        port.read_some(0.05)  # what came at the rate before
        other = first_lines(port, patience=min(patience, 1.5))
        if other.text and other.lines:
            return replace(other, baud=rate, remarks=(*other.remarks, f"it talks at {rate} baud, not at {baud}"))
    return replace(found, baud=baud)


def told(lines: Sequence[bytes], *, before: Sequence[bytes] = ()) -> FirstLines:
    """What these whole lines are. before: what came before them: a header, or a fragment."""
    shown = tuple(_printable(line) for line in lines)
    if not lines:
        return FirstLines(lines=(), kind=SILENT)
    ours = [parse_line(line) for line in lines]
    if any(isinstance(one, Reading | Identity) for one in ours):
        return FirstLines(lines=shown, kind="the pad protocol: nothing to describe", pads=True)
    other = next((one for one in ours if isinstance(one, BadLine) and one.reason is BadReason.VERSION), None)
    if other is not None:
        return FirstLines(lines=shown, kind=other.sentence)
    if not _is_text(b"".join(lines)):
        return FirstLines(lines=shown, kind="no text: the baud rate is probably another (--baud)", text=False)
    header = [text for text in map(_plain, before) if not re.search(r"(?<![A-Za-z])\d", text)]
    found = proposal([*header, *map(_plain, lines)])
    if not found.usable:
        return FirstLines(lines=shown, kind=found.kind, remarks=found.remarks)
    return FirstLines(
        lines=shown,
        kind=f"{found.kind}, read by the pattern below",
        pattern=str(found.keys["line_pattern"]),
        pads=True,
        keys=found.keys,
        single=found.single,
        remarks=found.remarks,
    )


def _unended(raw: bytes) -> FirstLines:
    if not _is_text(raw):
        return FirstLines(lines=(), kind="no text: the baud rate is probably another (--baud)", text=False)
    return FirstLines(lines=(_printable(raw[:96]),), kind="text without a line end: no lines to read")


def _is_text(raw: bytes) -> bool:
    """Whether bytes can be text: printable, or well-formed beyond ASCII."""
    text = raw.decode("utf-8", "replace")
    if "\ufffd" in text:  # a code page's degree sign or umlaut is one byte among many
        text = raw.decode("latin-1")
        good = sum(one.isascii() and (one.isprintable() or one in "\r\n\t\x02\x03") for one in text)
    else:
        good = sum(one.isprintable() or one in "\r\n\t\x02\x03\x1b\x07" for one in text)
    return good >= TEXT_SHARE * len(text)


def _plain(line: bytes) -> str:
    return plain_text(line.removeprefix(b"\xef\xbb\xbf")).strip(" ")


def _printable(line: bytes) -> str:
    """Text that cannot steer a terminal."""
    return _plain(line).replace("\t", " ").strip()
