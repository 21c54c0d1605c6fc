"""Which columns of unknown lines are loads, which is their sum, whose wheels they are and in which unit.

Pure. Words for wheels, columns and units are the trade's and those of common languages (from memory).
"""

import re
from collections.abc import Sequence
from itertools import pairwise
from statistics import mean

from rig.pads.first_contact.columns import OTHER_UNIT_WORDS, STRANGE_UNIT_WORDS, Column
from rig.pads.patterns import PadUnit

CHANNELS = 4
WHEEL_NAMES = (
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


class UnclearColumnsError(Exception):
    """Why these lines cannot be told; shown to people as their kind."""


def sorted_columns(columns: Sequence[Column]) -> tuple[list[Column], Column | None, list[str]]:
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
        raise UnclearColumnsError(
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
        raise UnclearColumnsError(
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
    for wheel, names in enumerate(WHEEL_NAMES):
        if words in names or (words.split() and words.split()[-1] in names):
            return wheel
    return None


def in_channels(wheels: Sequence[Column]) -> list[tuple[int, Column]]:
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


def unit_shown(wheels: Sequence[Column], by_name: Sequence[str] = ()) -> tuple[PadUnit, list[str]]:
    """The unit of the loads, and a remark where no line names it."""
    units: set[str] = set()
    for column in wheels:
        units |= {word for word in re.findall(r"[^\W\d_]+", column.before) if word in _UNITS}
        units |= {column.after} & (_UNITS.keys() | STRANGE_UNIT_WORDS)
    last = wheels[-1].after  # one unit behind the last number is of all
    known = {_UNITS[word] for word in units if word in _UNITS} or ({_UNITS[last]} if last in _UNITS else set())
    strange = units - set(_UNITS)
    if strange and not known:
        raise UnclearColumnsError(f"these lines show {sorted(strange)[0]}, which is no unit for a car's weight here")
    if len(known) > 1:
        raise UnclearColumnsError(f"these lines mix {' and '.join(sorted(known))}: one unit for all pads is needed")
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
