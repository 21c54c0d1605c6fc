"""Lines of an unknown form cut into words and numbers: what stays the same from line to line, and what are its columns.

Pure: knows no port. A line that cannot be cut like the others (a header, a fragment, a remark) is kept aside.
"""

import json
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rig.pads.patterns import DecimalMark

_SIGN = {"point": r"(?:(?<![\w.])[+-]\s{0,8})?", "comma": r"(?:(?<![\w,])[+-]\s{0,8})?"}
_NUMBER = {
    "point": _SIGN["point"] + r"(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,2}(?!\w))?(?!\.?\d)",
    "comma": _SIGN["comma"] + r"\d+(?:,\d+)?(?!,?\d)",
}
WEIGHT_WORDS = frozenset(["g", "gr", "gram", "grams", "kg", "kgs", "oz", "lb", "lbs"])
"""Units of weight as lines have them, lower case."""
STRANGE_UNIT_WORDS = frozenset(["n", "kn", "mg", "ct", "dwt", "psi", "bar", "kpa"])
"""Units of force, pressure and fine weights that no car is shown in."""
OTHER_UNIT_WORDS = frozenset(
    ["c", "°c", "degc", "f", "°f", "k", "%", "v", "mv", "hz", "ms", "s", "us", "rpm", "lux", "ppm", "pct"]
)
"""Units behind a number that is no load."""
_CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?|\d{4}-\d{1,2}-\d{1,2}(?=\D|$)|\d{1,2}[./]\d{1,2}[./]\d{2,4}(?=[^\d.]|$)"
# a digit or two behind letters belong to a name (pad1), a longer number does not (FL412.3)
_WORD = r"[^\W\d]+(?:\d{1,2}(?!\d|[.,]\d))?"


@dataclass(frozen=True, slots=True, kw_only=True)
class Token:
    """kind: "number", "clock", "word" or "sign" (any other character).  blank: blanks stand before it."""

    kind: str
    text: str
    blank: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One place with a number on every line. place: of its token, or its path in JSON.

    texts: as shown.  values: the numbers.  before: words since the number before, lower case; a header's name
    where there is one.  after: the word that follows at once, lower case.
    """

    place: int | tuple[str | int, ...]
    texts: tuple[str, ...]
    values: tuple[float, ...]
    before: str
    after: str

    @property
    def decimals(self) -> int:
        """Most digits behind the decimal mark."""
        return max(len(re.split("[.,]", text)[1]) if re.search("[.,]", text) else 0 for text in self.texts)


@dataclass(frozen=True, slots=True, kw_only=True)
class TextForm:
    """Lines of one shape. rows: the tokens of each; others: lines of another shape.  columns: where numbers stand.

    names: places of words that differ from line to line, with the words.
    """

    rows: tuple[tuple[Token, ...], ...]
    others: tuple[str, ...]
    columns: tuple[Column, ...]
    names: tuple[tuple[int, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class JsonForm:
    """Lines of JSON of one shape. whole: the first of them.  columns: numbers.  names: texts that differ, by path."""

    whole: Any
    columns: tuple[Column, ...]
    names: tuple[tuple[tuple[str | int, ...], tuple[str, ...]], ...]


def number_of(text: str) -> float:
    """The value of a number as shown: blanks behind a sign and a decimal comma allowed."""
    return float("".join(text.split()).replace(",", "."))


def text_form(lines: Sequence[str], mark: DecimalMark) -> TextForm | None:
    """The shape that most lines share, or None where lines hold no numbers. mark: before the decimals."""
    cut = [(line, _tokens(line, mark)) for line in lines]
    if mark == "comma" and any(_points_or_pieces(row) for _, row in cut):
        return None  # digits that no number takes in, or points before decimals: the commas part numbers here
    shapes = Counter(_shape(tokens) for _, tokens in cut if any(one.kind == "number" for one in tokens))
    if not shapes:
        return None
    shape, count = shapes.most_common(1)[0]
    if 2 * count < sum(shapes.values()):
        return None
    rows = tuple(tokens for _, tokens in cut if _shape(tokens) == shape)
    others = tuple(line for line, tokens in cut if _shape(tokens) != shape)
    header = _header(others, rows[0])
    places = [place for place, token in enumerate(rows[0]) if token.kind == "number"]
    columns = []
    labelled = any(token.kind == "word" for token in rows[0][: places[0]])
    for index, place in enumerate(places):
        start = places[index - 1] + 1 if index else 0
        end = places[index + 1] if index + 1 < len(places) else len(rows[0])
        texts = tuple(row[place].text for row in rows)
        columns.append(
            Column(
                place=place,
                texts=texts,
                values=tuple(map(number_of, texts)),
                before=header.get(place) or _label(rows[0][start:place], first=index == 0, labelled=labelled),
                after=_follower(rows[0][place + 1 : end], last=index + 1 == len(places), labelled=labelled),
            )
        )
    names = []
    for place, token in enumerate(rows[0]):
        words = tuple(row[place].text for row in rows)
        if token.kind == "word" and len(set(words)) > 1:
            names.append((place, words))
    return TextForm(rows=rows, others=others, columns=tuple(columns), names=tuple(names))


def json_form(lines: Sequence[str]) -> JsonForm | None:
    """The same for lines that are JSON, or None where they are not."""
    read: list[Any] = []
    for line in lines:
        try:
            plain = json.loads(line)
        except (ValueError, RecursionError):
            continue
        if isinstance(plain, dict | list):
            read.append(plain)
    if not read or 2 * len(read) < len(lines):
        return None
    leaves = [dict(_leaves(plain, (), 0)) for plain in read]
    shared = [path for path in leaves[0] if all(path in one for one in leaves)]
    columns, names = [], []
    for path in shared:
        values = [one[path] for one in leaves]
        if all(isinstance(one, int | float) and not isinstance(one, bool) for one in values):
            label = " ".join(str(part) for part in path).lower()
            shown = tuple(str(one) for one in values)
            columns.append(Column(place=path, texts=shown, values=tuple(map(float, shown)), before=label, after=""))
        elif all(isinstance(one, str) for one in values) and len(set(values)) > 1:
            names.append((path, tuple(map(str, values))))
    return JsonForm(whole=read[0], columns=tuple(columns), names=tuple(names)) if columns else None


def _tokens(line: str, mark: DecimalMark) -> tuple[Token, ...]:
    number = _NUMBER[mark]
    every = re.compile(rf"(?P<clock>{_CLOCK})|(?P<number>{number})|(?P<word>{_WORD})|(?P<sign>\S|\t)")
    tokens: list[Token] = []
    end = 0
    for found in every.finditer(line):
        kind = str(found.lastgroup)
        blank = found.start() > end and bool(tokens)
        tokens.append(Token(kind=kind, text=found[0], blank=blank))
        end = found.end()
    return tuple(tokens)


def _points_or_pieces(row: Sequence[Token]) -> bool:
    """Whether there are digits outside of numbers, or a point right between two numbers."""
    pieces = any(token.kind == "sign" and token.text.isdigit() for token in row)
    triples = zip(row, row[1:], row[2:], strict=False)
    return pieces or any(
        (a.kind, b.text, c.kind) == ("number", ".", "number") and not (b.blank or c.blank) for a, b, c in triples
    )


def _shape(tokens: Sequence[Token]) -> str:
    """Kinds and signs; blanks only where they alone part two tokens, since padding comes and goes."""
    parts = []
    for before, token in zip((None, *tokens), tokens, strict=False):
        apart = before is not None and "sign" not in (before.kind, token.kind) and token.blank
        parts.append((" " if apart else "") + (token.text if token.kind == "sign" else token.kind[0].upper()))
    return "".join(parts)


def _label(gap: Sequence[Token], *, first: bool, labelled: bool) -> str:
    """The words before a number. gap: tokens since the number before.  labelled: the first number has such words.

    The first of several words may be the unit of the number before; a single one is a label unless it is a unit.
    """
    words = [token.text.lower() for token in gap if token.kind == "word"]
    if not first and words and gap[0].kind == "word" and (len(words) > 1 or _is_unit(words[0], labelled)):
        words = words[1:]
    return " ".join(words)


def _follower(gap: Sequence[Token], *, last: bool, labelled: bool) -> str:
    """The word, or the degree or per cent sign with its letter, that follows a number as its unit.

    gap: tokens up to the next number.
    """
    if gap and gap[0].text in ("°", "%"):
        return (gap[0].text + (gap[1].text if len(gap) > 1 and gap[1].kind == "word" else "")).lower()
    words = [token for token in gap if token.kind == "word"]
    if not words or gap[0] is not words[0]:
        return ""
    text = words[0].text.lower()
    return text if last or len(words) > 1 or _is_unit(text, labelled) else ""


def _is_unit(word: str, labelled: bool) -> bool:
    """Whether the only word between two numbers belongs to the first; C is a name where the other numbers have one."""
    return word in WEIGHT_WORDS or (word in OTHER_UNIT_WORDS | STRANGE_UNIT_WORDS and not labelled)


def _header(others: Sequence[str], row: Sequence[Token]) -> dict[int, str]:
    """Names of columns by place, from a line of words parted as the numbers are."""
    parting = Counter(token.text for token in row if token.kind == "sign" and token.text in ",;|\t")
    if not parting:
        return {}
    delimiter = parting.most_common(1)[0][0]
    for line in others:
        cells = line.split(delimiter)
        if len(cells) == parting[delimiter] + 1 and not any(re.fullmatch(r"\s*[+-]?[\d.]+\s*", cell) for cell in cells):
            names, field = {}, 0
            for place, token in enumerate(row):
                field += token.text == delimiter
                if token.kind == "number":
                    names[place] = " ".join(re.findall(r"[\w°%]+", cells[field])).lower()
            return names
    return {}


def _leaves(plain: Any, path: tuple[str | int, ...], depth: int) -> list[tuple[tuple[str | int, ...], object]]:
    if depth > 6:
        return []
    if isinstance(plain, dict):
        return [leaf for key, one in plain.items() for leaf in _leaves(one, (*path, key), depth + 1)]
    if isinstance(plain, list):
        return [leaf for place, one in enumerate(plain) for leaf in _leaves(one, (*path, place), depth + 1)]
    return [(path, plain)]
