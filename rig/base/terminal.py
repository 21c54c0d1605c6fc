"""Text that fits a terminal: lines broken between words, what is to be copied left whole."""

import re
import shutil
import textwrap
from typing import IO

LEAST = 20
"""Columns below which nothing is broken any more."""
SHORT = 8
"""A command is not put on a line of its own for the sake of so few letters before it ("Next: ")."""
_HOLD = "\x00"
"""Stands for a space at which no line is broken."""
_TIED = re.compile(r" (?=[±%°²]|(?:mm|g|N|Hz|ms|s|cm²|°/cm|points?)\b)|(?<=±) (?=\S)|(?<=\() ")
"""A value stays with its unit and its ±."""
_COPIED = re.compile(r"(?<=\s)(?:pivotbench|python3?|pip|apt-get) [a-z].*$")
"""A command at the end of a line: it is copied as a whole."""


def text_width(stream: IO[str]) -> int | None:
    """Columns that lines may take: COLUMNS, else the terminal's own; None where a pipe or a file reads along, which
    gets its lines whole whatever COLUMNS says."""
    try:
        on_terminal = stream.isatty()
    except ValueError:  # closed
        return None
    return max(shutil.get_terminal_size().columns, LEAST) if on_terminal else None


def fit_to_width(text: str, width: int | None) -> str:
    """The text with lines of at most `width` columns, broken between words; longer words (paths) stay whole."""
    if width is None:
        return text
    return "\n".join(part for line in text.split("\n") for part in _broken(line, width))


def _broken(line: str, width: int) -> list[str]:
    if len(line) <= width:
        return [line]
    copied = _COPIED.search(line)
    if copied and copied.start() <= SHORT:
        return [line]
    if copied:
        return [*_broken(line[: copied.start()].rstrip(), width), f"  {copied.group()}"]
    body = line.lstrip(" ")
    indent = " " * (len(line) - len(body))
    return [
        part.replace(_HOLD, " ")
        for part in textwrap.wrap(
            _TIED.sub(_HOLD, body),
            width,
            initial_indent=indent,
            subsequent_indent=f"{indent}  ",
            break_long_words=False,
            break_on_hyphens=False,
        )
    ]
