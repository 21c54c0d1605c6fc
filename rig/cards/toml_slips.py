"""Lines that are no TOML: what was probably meant, with the line as it should stand.

People write a decimal comma, a unit behind the number, a colon, a text without quotes. TOML's own complaint ("expected
newline or end of document after a statement") says none of that. Source of the list: common practice, no source.
"""

import re
from collections.abc import Callable

_ASSIGNED = re.compile(r"^\s*(?P<key>[\w.-]+)\s*(?P<sign>=|:)\s*(?P<value>[^#]*?)\s*(?P<rest>#.*)?$")
_NUMBER = r"[-+]?\d+(?:\.\d+)?"
_LISTS = ("weights_g",)
"""Keys of lists that people type without brackets."""
_UNIT = r"(?:mm|cm|m|g|kg|N|oz|lb|%|°|deg|degrees|°C|C|px|s|ms)"


def likely_line(text: str, message: str) -> tuple[str, str] | None:
    """(What is wrong, what was probably meant) of the line TOML complains of; None where nothing likely is seen.

    message: TOML's own, which names the line.
    """
    found = re.search(r"at line (\d+)", message)
    lines = text.rstrip().splitlines()
    number = int(found.group(1)) if found is not None else len(lines) if "at end of document" in message else 0
    if not 1 <= number <= len(lines):
        return None
    if (twice := _twice(lines, number, message)) is not None:
        return twice
    parts = _ASSIGNED.match(lines[number - 1])
    if parts is None:
        return None
    key, value = parts["key"], parts["value"]
    what = f"line {number}, {key} {parts['sign']} {value} cannot be read"
    if parts["sign"] == ":":
        return what, f"Did you mean {key} = {value}? A key and its value are joined by an equals sign"
    if key.endswith(_LISTS) and re.fullmatch(rf"{_NUMBER}(?:\s*[,;\s]\s*{_NUMBER})+", value):
        return what, f"Did you mean {key} = [{', '.join(re.findall(_NUMBER, value))}]? A list stands in brackets"
    for pattern, why, mend in _SLIPS:
        if (match := pattern.fullmatch(value)) is not None:
            return what, f"Did you mean {key} = {mend(match)}? {why}"
    return None


def _twice(lines: list[str], number: int, message: str) -> tuple[str, str] | None:
    """What TOML refuses because it stood there before: a key of one section, or a section's head. number: from 1."""
    if not message.startswith(("Cannot overwrite", "Cannot declare")):
        return None
    line = lines[number - 1].split("#")[0].strip()
    head = line if line.startswith("[") else line.split("=")[0].strip()
    earlier = [place for place, one in enumerate(lines[: number - 1], start=1) if _begins(one, head)]
    if not head or not earlier:
        return None
    return (
        f"{head} stands in line {earlier[-1]} and again in line {number}",
        "Keep one of the two" if not head.startswith("[") else "Put the lines of both under one head",
    )


def _begins(line: str, head: str) -> bool:
    said = line.split("#")[0].strip()
    return said == head if head.startswith("[") else said.split("=")[0].strip() == head and "=" in said


def number_in_text(value: str) -> str | None:
    """A number that was typed with a decimal comma, or as a text, as TOML wants it; None when it is none."""
    for pattern, _, mend in _SLIPS[:_QUOTED]:
        if (match := pattern.fullmatch(value.strip())) is not None:
            return mend(match)
    return value.strip() if re.fullmatch(_NUMBER, value.strip()) else None


def commas_in_list(values: list[object], wanted: int) -> str | None:
    """A list of `wanted` numbers that a decimal comma has cut into twice as many whole ones; None when it is none."""
    whole = [one for one in values if isinstance(one, int) and not isinstance(one, bool)]
    if len(values) != 2 * wanted or len(whole) != len(values) or any(one < 0 for one in whole[1::2]):
        return None
    return "[" + ", ".join(f"{a}.{b}" for a, b in zip(whole[::2], whole[1::2], strict=True)) + "]"


def _or_thousands(match: re.Match[str]) -> str:
    """1,600 may be a decimal comma or thousands: both are offered."""
    a, b = match.group(1), match.group(2)
    thousands = f", or {a}{b} for thousands" if len(b) == 3 and a.strip("+-0") else ""
    return f"{a}.{b}{thousands}"


def _mended(value: str) -> str:
    """A number with a unit behind it, as TOML wants the number."""
    return value.replace(",", ".")


_Mend = Callable[[re.Match[str]], str]
_SLIPS: tuple[tuple[re.Pattern[str], str, _Mend], ...] = (
    (re.compile(r"([-+]?\d+),(\d+)"), "A decimal point is wanted, not a comma", _or_thousands),
    (
        re.compile(rf"({_NUMBER}|[-+]?\d+,\d+)\s*{_UNIT}"),
        "The unit is in the key, the number stands alone",
        lambda m: _mended(m.group(1)),
    ),
    (re.compile(r"([-+]?)(\.\d+)"), "A number starts with a digit", lambda m: f"{m.group(1)}0{m.group(2)}"),
    (re.compile(r"([-+]?\d+)\."), "A digit follows the decimal point", lambda m: f"{m.group(1)}.0"),
    (re.compile(r"([-+]?)0+(\d+(?:\.\d+)?)"), "A number starts without zeros", lambda m: m.group(1) + m.group(2)),
    (
        re.compile(r"([-+]?\d{1,3})((?:[ '’]\d{3})+)"),
        "Thousands are written without a gap",
        lambda m: m.group(1) + re.sub(r"\D", "", m.group(2)),
    ),
    (re.compile(r"[−–](\d+(?:\.\d+)?)"), "The minus sign is the one of the keyboard", lambda m: f"-{m.group(1)}"),
    (re.compile(r"[“”„‘’'](.*?)[“”‘’']"), "A text stands in straight quotes", lambda m: f'"{m.group(1)}"'),
    (re.compile(r"([^\W\d][^\"'\[\]{}=]*)"), "A text stands in quotes", lambda m: f'"{m.group(1)}"'),
)
_QUOTED = 7
"""So many of them, from the first, are numbers."""
