"""Texts without what a terminal obeys instead of showing it."""

import re

UNPRINTABLE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
"""Control characters but for tab and line end, and those that turn the direction of writing."""
_SEQUENCE = re.compile(r"\x1b\[[0-?]*[ -/]*[@-~]|\x1b\][^\x07\x1b]*(\x07|\x1b\\)?")
"""Whole commands to a terminal. Source: ECMA-48, control sequences and operating system commands."""


def printable(text: str) -> str:
    """The text with all of that taken out."""
    return UNPRINTABLE.sub("", _SEQUENCE.sub("", text))
