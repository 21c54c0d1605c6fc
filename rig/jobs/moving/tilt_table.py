"""Readings of tilted pads out of a table that a person wrote."""

import csv
import math
from pathlib import Path

from analysis.base.wheel_names import WHEEL_KEYS
from analysis.tilted.transfer import Way
from rig.base.errors import InputError
from rig.base.files import small_file
from rig.records.content import FourNumbers
from rig.records.moving import TiltRow

TILT_HEADS = ("way", "height_mm", "what", *WHEEL_KEYS)
"""way: as `Way`; what: car, car not pressed, or empty; then the pads, g, named by the wheel that first stands there."""


def tilt_rows(path: Path) -> tuple[TiltRow, ...]:
    """The readings of a table, those of one way, height and kind taken together.

    Every tilt needs a line of its empty pads: way may be either of the two there, the pads do not move.
    Raises InputError naming the line.
    """
    try:
        text = small_file(path, "table").decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            "cannot read this table", where=str(path), remedy="Name a CSV table that you may read"
        ) from error
    reader = csv.DictReader(text.splitlines(), skipinitialspace=True)
    missing = [name for name in TILT_HEADS if name not in [(head or "").strip() for head in reader.fieldnames or ()]]
    if missing:
        raise InputError(
            f"the first line does not name {', '.join(missing)}",
            where=str(path),
            remedy=f"Begin with the line: {','.join(TILT_HEADS)}",
        )
    cars: dict[tuple[Way, float, bool], list[FourNumbers]] = {}
    empty: dict[tuple[bool, float], list[FourNumbers]] = {}
    for number, raw in enumerate(reader, start=2):
        row = {(key or "").strip(): (value or "").strip() for key, value in raw.items() if isinstance(value, str)}
        if not any(row.values()):
            continue
        way, height, pads = _line(row, number, path)
        what = row["what"].lower()
        if what == "empty":
            empty.setdefault((way.sideways, height), []).append(pads)
        elif what in ("car", "car not pressed"):
            cars.setdefault((way, height, what == "car"), []).append(pads)
        else:
            raise InputError(
                f'line {number}: "{row["what"]}" is neither car, car not pressed nor empty',
                where=str(path),
                remedy="Say what stood on the pads",
            )
    rows = []
    for (way, height, pressed), read in cars.items():
        plates = empty.get((way.sideways, height))
        if plates is None:
            raise InputError(
                f"the empty pads were not read at {height:g} mm, {way.value}",
                where=str(path),
                remedy="Add a line with what = empty for that tilt: the plates' own weight leans, too",
            )
        rows.append(
            TiltRow(
                way=way.value,
                height_mm=height,
                pad_g=_mean(read),
                empty_g=_mean(plates),
                count=len(read),
                pressed=pressed,
            )
        )
    return tuple(rows)


def _line(row: dict[str, str], number: int, path: Path) -> tuple[Way, float, FourNumbers]:
    try:
        way = Way(row["way"].lower())
    except ValueError:
        raise InputError(
            f'line {number}: "{row["way"]}" is no way to tilt',
            where=str(path),
            remedy=f"Write one of: {', '.join(one.value for one in Way)}",
        ) from None
    try:
        values = [float(row[key]) for key in ("height_mm", *WHEEL_KEYS)]
        if not all(map(math.isfinite, values)):
            raise ValueError
    except ValueError as error:
        raise InputError(
            f"line {number} does not hold five numbers", where=str(path), remedy="Correct or delete that line"
        ) from error
    return way, values[0], (values[1], values[2], values[3], values[4])


def _mean(read: list[FourNumbers]) -> FourNumbers:
    first, second, third, fourth = (sum(pad) / len(read) for pad in zip(*read, strict=True))
    return first, second, third, fourth
