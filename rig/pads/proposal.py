"""Which columns of an unknown format are wheels, in which unit, and the line pattern that reads them.

What cannot be told is not guessed: a wrong column would be taken for a weighing. What is guessed (a unit that no line
names) is said. Words for wheels and columns are the trade's and those of common languages (from memory).
"""

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import mean
from typing import Any

from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.pads.columns import OTHER_UNIT_WORDS, STRANGE_UNIT_WORDS, Column, JsonForm, TextForm, json_form, text_form
from rig.pads.lines import Reading
from rig.pads.patterns import DecimalMark, PadUnit, PatternLines

CHANNELS = 4
NO_NUMBERS = (
    "text without numbers that could be loads: no scale, or lines of another form; describe them with line_pattern on "
    "the bench card"
)
_WHEELS = (
    ("fl", "lf", "vl", "front left", "left front", "frontleft", "leftfront"),
    ("fr", "rf", "vr", "front right", "right front", "frontright", "rightfront"),
    ("rl", "lr", "hl", "bl", "rear left", "left rear", "rearleft", "leftrear", "back left"),
    ("rr", "hr", "br", "rear right", "right rear", "rearright", "rightrear", "back right"),
)
_UNITS: dict[str, PadUnit] = {
    "g": "g",
    "gr": "g",
    "gram": "g",
    "grams": "g",
    "kg": "kg",
    "kgs": "kg",
    "oz": "oz",
    "lb": "lb",
    "lbs": "lb",
    "counts": "counts",
    "raw": "counts",
    "adc": "counts",
}
_NO_WEIGHT = frozenset(
    [
        "time",
        "t",
        "ms",
        "sec",
        "secs",
        "clock",
        "uptime",
        "millis",
        "micros",
        "us",
        "date",
        "day",
        "utc",
        "seq",
        "n",
        "no",
        "nr",
        "num",
        "id",
        "idx",
        "index",
        "line",
        "step",
        "count",
        "temp",
        "temperature",
        "tmp",
        "tc",
        "hum",
        "humidity",
        "rh",
        "bat",
        "batt",
        "battery",
        "vbat",
        "volt",
        "volts",
        "status",
        "err",
        "rssi",
        "fw",
        "ver",
        "version",
        "rate",
        "crc",
        "chk",
        "lat",
        "lon",
        "alt",
        "ax",
        "ay",
        "az",
        "gx",
        "gy",
        "gz",
        "mx",
        "my",
        "mz",
        "pitch",
        "roll",
        "yaw",
        "lux",
        "ppm",
        "rpm",
    ]
)
"""Words before a number that is no load."""
_SUMS = frozenset(["sum", "total", "tot", "all", "gross", "net", "gesamt", "summe", "somme", "totale", "suma"])
_STEADY = 0.6
"""Share of neighbouring lines that repeat a number, from which on whole numbers are taken for a shown weight."""
LEAST_TOLD = 100.0
"""Numbers below this are too small to say by their size which of them carry a car."""
LARGEST_SHOWN = 50_000.0
"""No scale for such cars shows a number like this: it is a count."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What lines are taken for. keys: for the bench card, under [pads]; empty where they cannot be read.

    kind: in words.  single: each line is of the one pad on its port.  remarks: what was guessed or left out.
    left_over: numbers of a line that are no load.
    """

    kind: str
    keys: Json
    single: bool = False
    remarks: tuple[str, ...] = ()
    left_over: int = 0

    @property
    def usable(self) -> bool:
        """Whether the bench can read such lines."""
        return bool(self.keys)


class _UnclearError(Exception):
    """Why these lines cannot be told; shown to people as their kind."""


def proposal(lines: Sequence[str]) -> Proposal:
    """What these lines are, and how the bench would read them. lines: whole, as they came, without line ends."""
    if other := _other_talk(lines):
        return Proposal(kind=other, keys={})
    form = json_form(lines)
    if form is not None:
        try:
            return _from_json(form, lines)
        except _UnclearError as error:
            return Proposal(kind=str(error), keys={})
    found: list[Proposal] = []
    why: list[str] = []
    marks: tuple[DecimalMark, ...] = ("point", "comma")
    for mark in marks:
        shape = text_form(lines, mark)
        if shape is None or (mark == "comma" and not _has_commas(shape)):
            continue
        try:
            found.append(_from_text(shape, mark, lines))
        except _UnclearError as error:
            why.append(str(error))
    if len(found) > 1:  # the reading that leaves no number over is the likelier
        found = [one for one in found if not one.left_over] or found
    if len(found) > 1:
        return Proposal(kind="the commas part numbers or stand before decimals: it cannot be told which", keys={})
    if found:
        return found[0]
    return Proposal(kind=why[0] if why else NO_NUMBERS, keys={})


def _has_commas(form: TextForm) -> bool:
    return any("," in text for column in form.columns for text in column.texts)


def _other_talk(lines: Sequence[str]) -> str:
    """What is known by its look and is no scale."""
    sentence = re.compile(r"[$!][A-Z]{2,3}[A-Z]{3},.*\*[0-9A-Fa-f]{2}\s*")  # NMEA 0183: talker, sentence, sum
    if sum(bool(sentence.fullmatch(line)) for line in lines) > len(lines) / 2:
        return "a satellite receiver or another instrument that speaks NMEA 0183: no scale"
    return ""


def _from_text(form: TextForm, mark: DecimalMark, lines: Sequence[str]) -> Proposal:
    naming = _naming_column(form)
    if naming is not None:
        return _one_pad_a_line(form, mark, naming, lines)
    wheels, total, left_out = _sorted(form.columns)
    if len(wheels) == 1:
        marks = {wheels[0].place: "<c1>"}
    else:
        marks = {column.place: f"<c{channel}>" for channel, column in _in_channels(wheels)}
    if total is not None:
        marks[total.place] = "<sum>"
    unit, remarks = _unit(wheels)
    pattern = _text_pattern(form, marks)
    keys: Json = {"line_pattern": pattern, "unit": unit, "decimal_mark": mark}
    return _checked(keys, lines, single=len(wheels) == 1, remarks=[*remarks, *left_out], form=form)


def _from_json(form: JsonForm, lines: Sequence[str]) -> Proposal:
    wheels, total, left_out = _sorted(form.columns)
    names = [(path, words) for path, words in form.names if _cycles(words)]
    unit, remarks = _unit(wheels)
    if len(wheels) == 1 and names:
        path, words = names[0]
        marks: dict[Any, str] = {wheels[0].place: "<count>", path: "<pad>"}
        keys: Json = {
            "line_pattern": _json_pattern(form.whole, marks),
            "unit": unit,
            "pad_names": _named_pads(words),
        }
        return _checked(keys, lines, single=False, remarks=[*remarks, *left_out])
    if len(wheels) == 1:
        marks = {wheels[0].place: "<c1>"}
    else:
        marks = {column.place: f"<c{channel}>" for channel, column in _in_channels(wheels)}
    if total is not None:
        marks[total.place] = "<sum>"
    keys = {"line_pattern": _json_pattern(form.whole, marks), "unit": unit}
    return _checked(keys, lines, single=len(wheels) == 1, remarks=[*remarks, *left_out])


def _one_pad_a_line(form: TextForm, mark: DecimalMark, naming: "_Naming", lines: Sequence[str]) -> Proposal:
    values, _, left_out = _sorted([column for column in form.columns if column.place != naming.place])
    if len(values) != 1:
        raise _UnclearError("a name and several numbers a line: which of them is the load cannot be told")
    unit, remarks = _unit(values, by_name=naming.words)
    pattern = _text_pattern(form, {naming.place: "<pad>", values[0].place: "<count>"})
    keys: Json = {
        "line_pattern": pattern,
        "unit": unit,
        "decimal_mark": mark,
        "pad_names": _named_pads(naming.words),
    }
    return _checked(keys, lines, single=False, remarks=[*remarks, *left_out], form=form)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Naming:
    """The place on a line that says which pad it is of, with what stood there."""

    place: int
    words: tuple[str, ...]


def _naming_column(form: TextForm) -> _Naming | None:
    """The place that tells which pad a line is of: a word, or a small whole number beside one other number."""
    for place, words in form.names:
        if _cycles(words) and len(form.columns) <= 2:
            return _Naming(place=place, words=words)
    for column in form.columns if len(form.columns) == 2 else ():
        small = set(column.values) <= {0.0, 1.0, 2.0, 3.0, 4.0} and column.decimals == 0
        if small and _cycles(column.texts) and isinstance(column.place, int):
            return _Naming(place=column.place, words=column.texts)
    return None


def _cycles(words: Sequence[str]) -> bool:
    """Whether these are names that come in turn: never twice the same on end, four of them, each about as often."""
    counts = [words.count(word) for word in set(words)]
    turns = all(before != after for before, after in pairwise(words))
    return len(words) > CHANNELS and turns and len(counts) == CHANNELS and max(counts) - min(counts) <= 1


def _named_pads(words: Sequence[str]) -> list[str]:
    names = sorted(set(words))
    at = {wheel: name for name in names for wheel in range(CHANNELS) if name.lower() in _WHEELS[wheel]}
    return [at[wheel] for wheel in range(CHANNELS)] if len(at) == CHANNELS else list(names)


def _sorted(columns: Sequence[Column]) -> tuple[list[Column], Column | None, list[str]]:
    """Columns that are loads, the sum of them where there is one, and what was left out, in words."""
    left_out: list[str] = []
    loads: list[Column] = []
    sums: list[Column] = []
    running: list[Column] = []
    for column in columns:
        words = set(re.findall(r"[^\W\d_]+|°\w|%", column.before)) - set(_UNITS)
        if words & _SUMS:
            sums.append(column)
        elif (words & _NO_WEIGHT and _wheel(column.before) is None) or column.after in OTHER_UNIT_WORDS:
            left_out.append(f"{column.texts[-1]} is taken for no wheel ({column.before or column.after})")
        elif _runs(column):
            running.append(column)
        else:
            loads.append(column)
    if len(loads) < CHANNELS == len(loads) + len(running):  # four loads that grow, and no clock
        loads = [column for column in columns if column in loads or column in running]
        running = []
    left_out += [
        f"{one.texts[-1]} is taken for a clock or a line number: it goes up from line to line" for one in running
    ]
    named = [column for column in loads if _wheel(column.before) is not None]
    if len(named) == CHANNELS:
        left_out += [f"{column.texts[-1]} is taken for no wheel" for column in loads if column not in named]
        loads = named
    if len(loads) == CHANNELS + 1 and not sums:
        total = _adds_up(loads)
        if total is not None:
            loads.remove(total)
            sums.append(total)
    if len(loads) > CHANNELS:
        loads = _alike(loads, left_out)
    if len(loads) not in (1, CHANNELS):
        shown = {0: "no number that could be a load", 2: "two numbers a line", 3: "three numbers a line"}
        what = shown.get(len(loads), f"{len(loads)} numbers a line that could be loads")
        raise _UnclearError(
            f"{what}: four pads, or one a port, are wanted. If loads are among them, describe them with line_pattern "
            "on the bench card"
        )
    return loads, _held(sums, loads), left_out


def _runs(column: Column) -> bool:
    """Whether it goes up from line to line, evenly, as clocks and line numbers do."""
    steps = [after - before for before, after in pairwise(column.values)]
    return len(steps) >= 2 and min(steps) > 0 and max(steps) <= 4 * min(steps)


def _adds_up(columns: Sequence[Column]) -> Column | None:
    """The one of five columns that is the sum of the others on every line, where loads are there to tell it."""
    fitting = [one for one in columns if _is_sum(one, [other for other in columns if other is not one])]
    return fitting[0] if len(fitting) == 1 else None


def _is_sum(total: Column, parts: Sequence[Column]) -> bool:
    step = 10.0 ** -max(column.decimals for column in parts)
    coarse = 10.0**-total.decimals
    allowed = 0.5 * (len(parts) * step + coarse) + 1e-9
    rows = zip(*(column.values for column in parts), strict=True)
    fits = all(abs(shown - sum(row)) <= allowed for shown, row in zip(total.values, rows, strict=True))
    return fits and max(map(abs, total.values)) > 20 * coarse


def _held(sums: Sequence[Column], loads: Sequence[Column]) -> Column | None:
    """The sum that lines can be held against."""
    return next((one for one in sums if len(loads) == CHANNELS and _is_sum(one, loads)), None)


def _alike(columns: Sequence[Column], left_out: list[str]) -> list[Column]:
    """The four columns that look alike and unlike the rest, if there are four."""
    groups: dict[tuple[int, str, tuple[str | int, ...]], list[Column]] = {}
    for column in columns:
        parent = column.place[:-1] if isinstance(column.place, tuple) else ()
        unit = column.after if column.after in _UNITS else ""
        groups.setdefault((column.decimals, unit, parent), []).append(column)
    fours = [group for group in groups.values() if len(group) == CHANNELS] or _loaded(columns)
    if len(fours) != 1:
        raise _UnclearError(
            f"{len(columns)} numbers a line: which of them are the wheels, and which a sum or a clock, cannot be told "
            "as they are. Set the car on the pads and look again, or describe them with line_pattern on the bench card"
        )
    left_out += [
        f"{column.texts[-1]} is taken for no wheel: it is shown otherwise"
        for column in columns
        if column not in fours[0]
    ]
    return fours[0]


def _loaded(columns: Sequence[Column]) -> list[list[Column]]:
    """The four that carry a car, where the others show next to nothing beside them; no group where that is not so."""
    size = [mean(column.values) for column in columns]
    heavy = [column for column, one in zip(columns, size, strict=True) if one >= 0.25 * max(size)]
    light = [one for one in size if one < 0.1 * max(size)]
    clear = len(heavy) == CHANNELS and len(heavy) + len(light) == len(columns) and max(size) > LEAST_TOLD
    return [heavy] if clear else []


def _wheel(label: str) -> int | None:
    words = re.sub(r"[_\-]+", " ", label)
    words = " ".join(word for word in words.split() if word not in _UNITS)
    for wheel, names in enumerate(_WHEELS):
        if words in names or (words.split() and words.split()[-1] in names):
            return wheel
    return None


def _in_channels(wheels: Sequence[Column]) -> list[tuple[int, Column]]:
    """Each column with its channel from 1: by the wheel that it names, by its number or letter, else as they stand."""
    named = [_wheel(column.before) for column in wheels]
    if sorted(one for one in named if one is not None) == [0, 1, 2, 3]:
        return [(int(wheel or 0) + 1, column) for wheel, column in zip(named, wheels, strict=True)]
    ends = [re.search(r"(\d|(?<![a-z])[a-d])\W*$", column.before) for column in wheels]
    marks = [found[1] if found else "" for found in ends]
    for order in ("1234", "0123", "abcd"):
        if sorted(marks) == list(order):
            return [(order.index(mark) + 1, column) for mark, column in zip(marks, wheels, strict=True)]
    return [(place + 1, column) for place, column in enumerate(wheels)]


def _unit(wheels: Sequence[Column], by_name: Sequence[str] = ()) -> tuple[PadUnit, list[str]]:
    """The unit of the loads, and a remark where no line names it."""
    said: set[str] = set()
    for column in wheels:
        said |= {word for word in re.findall(r"[^\W\d_]+", column.before) if word in _UNITS}
        said |= {column.after} & (_UNITS.keys() | STRANGE_UNIT_WORDS)
    last = wheels[-1].after  # one unit behind the last number is of all
    known = {_UNITS[word] for word in said if word in _UNITS} or ({_UNITS[last]} if last in _UNITS else set())
    strange = said - set(_UNITS)
    if strange and not known:
        raise _UnclearError(f"these lines show {sorted(strange)[0]}, which is no unit for a car's weight here")
    if len(known) > 1:
        raise _UnclearError(f"these lines mix {' and '.join(sorted(known))}: one unit for all pads is needed")
    if known:
        return next(iter(known)), []
    largest = max(abs(value) for column in wheels for value in column.values)
    decimals = max(column.decimals for column in wheels)
    if largest > LARGEST_SHOWN:
        return "counts", []
    if decimals >= 3 and largest < 50:
        unit: PadUnit = "kg"
    elif decimals or _repeats(wheels, by_name) >= _STEADY:
        unit = "g"
    else:
        return "counts", ["no unit is named, and whole numbers flicker: taken for raw counts, to be calibrated"]
    return unit, [f'no unit is named: unit = "{unit}" is a guess; lay a known mass on a pad to see that it shows so']


def _repeats(wheels: Sequence[Column], by_name: Sequence[str]) -> float:
    """Share of neighbouring readings of a pad that are equal. by_name: the pad that each line is of, where of one."""
    if by_name:
        shown = [
            [value for value, word in zip(wheels[0].values, by_name, strict=True) if word == name]
            for name in sorted(set(by_name))
        ]
    else:
        shown = [list(column.values) for column in wheels]
    equal = [before == after for one in shown for before, after in pairwise(one)]
    return mean(equal) if equal else 0.0


def _text_pattern(form: TextForm, marks: Mapping[Any, str]) -> str:
    """The line with fields in place of its numbers; what differs from line to line is skipped."""
    changing = {place for place, _ in form.names}
    parts: list[str] = []
    for place, token in enumerate(form.rows[0]):
        blank = " " if token.blank and place else ""
        if place in marks:
            text = marks[place]
        elif token.kind in ("number", "clock") or place in changing:
            text = "<skip>"
        else:
            text = " " if token.text == "\t" else token.text
        if text == "<skip>" and parts and parts[-1].strip() == "<skip>":
            continue
        parts.append(blank + text)
    return re.sub(r" {2,}", " ", "".join(parts)).strip()


def _json_pattern(whole: Any, marks: Mapping[Any, str]) -> str:
    def put(plain: Any, path: tuple[str | int, ...]) -> str | None:
        if path in marks:
            return marks[path]
        if isinstance(plain, dict):
            inner = [(json.dumps(key), put(one, (*path, key))) for key, one in plain.items()]
            kept = [f"{key}: {text}" for key, text in inner if text is not None]
            return "{" + ", ".join(kept) + "}" if kept else None
        if isinstance(plain, list):
            texts = [put(one, (*path, place)) for place, one in enumerate(plain)]
            return "[" + ", ".join(text or "<skip>" for text in texts) + "]" if any(texts) else None
        return None

    return put(whole, ()) or ""


def _checked(
    keys: Json, lines: Sequence[str], *, single: bool, remarks: Sequence[str], form: TextForm | None = None
) -> Proposal:
    """The proposal, once the pattern has read the lines that it was made of."""
    try:
        parser = PatternLines(
            pattern=str(keys["line_pattern"]),
            unit=keys["unit"],
            decimal_mark=keys.get("decimal_mark", "point"),
            pad_names=keys.get("pad_names", ("1", "2", "3", "4")),
        )
    except InputError as error:
        raise _UnclearError(f"its numbers cannot be told apart by a pattern ({error})") from error
    read = [parser.parse(line.encode()) for line in lines]
    whole = sum(one is None or (isinstance(one, Reading) and not math.isnan(one.counts[0])) for one in read)
    if whole < 0.7 * len(lines) or not any(isinstance(one, Reading) for one in read):
        raise _UnclearError("lines of several forms: describe them with line_pattern on the bench card")
    usual = {"unit": "counts", "decimal_mark": "point", "pad_names": ["1", "2", "3", "4"]}
    shown = {key: value for key, value in keys.items() if key == "unit" or value != usual.get(key)}
    fields = len(re.findall(r"<(?:c\d|count|pad|sum)>", str(keys["line_pattern"])))
    left_over = 0 if form is None else max(len(form.columns) - fields, 0)
    kind = "one pad a port" if single else ("one pad a line" if "pad_names" in keys else "four pads a line")
    return Proposal(
        kind=f"{kind}, in {keys['unit']}", keys=shown, single=single, remarks=tuple(remarks), left_over=left_over
    )
