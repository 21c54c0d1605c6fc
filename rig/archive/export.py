"""Records as CSV with units in the heads and as JSON: readable without this program."""

import csv
import io
import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rig.base.files import write_text
from rig.base.plain_json import Json
from rig.records.codec import plain
from rig.records.record import AnyRecord


def export_tables(records: Sequence[AnyRecord], folder: Path) -> list[Path]:
    """Write records.json (everything) and one CSV a kind (figures; a column a value, unit in its name).

    Returns the paths. Raises BenchError when the folder refuses.
    """
    paths = [folder / "records.json"]
    write_text(paths[0], json.dumps([whole_record(record) for record in records], ensure_ascii=False, indent=1))
    for kind in dict.fromkeys(record.kind for record in records):
        paths.append(folder / table_name(kind))
        write_text(paths[-1], table_csv([record for record in records if record.kind == kind]))
    return paths


def whole_record(record: AnyRecord) -> Json:
    """A record as maps, lists, numbers and texts, with its number in this log."""
    return {
        "id": record.id,
        "number": record.number,
        "bench": record.bench,
        "kind": record.kind,
        "title": record.title,
        "at": record.at,
        "software": record.software,
        "inputs": plain(record.inputs),
        "result": plain(record.result),
        "cards": list(record.cards),
        "files": list(record.files),
        "parents": list(record.parents),
    }


def table_csv(records: Sequence[AnyRecord], *, numbers: bool = True) -> str:
    """CSV of records of one kind, decimal points whatever the locale. numbers: with their order in this log."""
    rows = [
        ({"number": record.number} if numbers else {})
        | {"id": record.id, "at_utc": record.at, "title": record.title, "software": record.software}
        | flat(plain(record.result))
        for record in records
    ]
    heads = list(dict.fromkeys(key for row in rows for key in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, heads, lineterminator="\r\n")  # RFC 4180
    writer.writeheader()
    writer.writerows({key: _no_formula(value) for key, value in row.items()} for row in rows)
    return text.getvalue()


def _no_formula(value: object) -> object:
    """A text that a spreadsheet would take for a formula, marked as text (OWASP, "CSV injection", from memory)."""
    return f"'{value}" if isinstance(value, str) and value.startswith(("=", "+", "-", "@", "\t", "\r")) else value


def table_name(kind: str) -> str:
    """The file name of a kind's table: nothing in it leads to another folder."""
    return re.sub(r"[^\w-]+", "-", kind) + ".csv"


def flat(value: Any, name: str = "") -> Json:
    """Nested results as one row: pushes.1.pivot.station_pct, corner_weights_g.1, …; long arrays are left to JSON."""
    if isinstance(value, dict):
        return {
            key: inner
            for part, content in value.items()
            for key, inner in flat(content, f"{name}.{part}" if name else part).items()
        }
    if isinstance(value, list):
        if name.endswith("_pose") and len(value) == 3:
            return {f"{name}.{part}": one for part, one in zip(("x_m", "y_m", "yaw_rad"), value, strict=True)}
        if len(value) > 16:
            return {}
        return {
            key: inner
            for index, content in enumerate(value, start=1)
            for key, inner in flat(content, f"{name}.{index}").items()
        }
    return {name: value}
