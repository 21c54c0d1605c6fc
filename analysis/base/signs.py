"""Signs as people read them. Numbers for programs (JSON, CSV, cards) never come through here."""

import re
from decimal import Decimal

_SIGN = re.compile(r"(?<![\w.\-/\\;,\"'])-(?=\.?\d)")
"""A hyphen that is a sign: before a figure, and not inside a word, a date, a range, a path, or a
line of a board, which is shown as it came."""
_COPIED = re.compile(r"(?:=\s*|--[\w-]+[ =](?:[-+.\d]+ )*)[-+.\d\s,\[\]]*$")
"""What stands before a number that is to be typed as it stands: a line of a card, an option of a command."""


def true_minus(text: str) -> str:
    """The text with "−" before negative numbers; what is to be typed (`key = -3`, `--x -3`) keeps the keyboard's sign.

    "-2.6 ± 0.1" -> "−2.6 ± 0.1"; "records 1-3", "2026-11-28" and "--to -55" stay.
    """

    def one(found: re.Match[str]) -> str:
        line = text[text.rfind("\n", 0, found.start()) + 1 : found.start()]
        return "-" if _COPIED.search(line) else "−"

    return _SIGN.sub(one, text)


def two_digits(value: float, *, signed: bool = False) -> str:
    """A figure with two significant digits, written out: "110" and "0.000034", never "1.1e+02"."""
    return format(Decimal(f"{value:.2g}"), "+f" if signed else "f")
