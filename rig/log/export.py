"""Records as CSV with units in the heads and as JSON: readable without this program."""

import csv
import io
import json
import re
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rig.base.files import write_text
from rig.log.store import Record


def export_tables(records: Sequence[Record], folder: Path) -> list[Path]:
    """Write records.json (everything) and one CSV a kind (figures; a column a value, unit in its name).

    Returns the paths. Raises BenchError when the folder refuses.
    """
    paths = [folder / "records.json"]
    write_text(paths[0], json.dumps([asdict(record) for record in records], ensure_ascii=False, indent=1))
    for kind in dict.fromkeys(record.kind for record in records):
        paths.append(folder / table_name(kind))
        write_text(paths[-1], table_csv([record for record in records if record.kind == kind]))
    return paths


def table_csv(records: Sequence[Record], *, numbers: bool = True) -> str:
    """CSV of records of one kind, decimal points whatever the locale. numbers: with their order in this log."""
    rows = [
        ({"number": record.number} if numbers else {})
        | {"id": record.id, "at_utc": record.at, "title": record.title, "software": record.software}
        | flat(record.result)
        for record in records
    ]
    heads = list(dict.fromkeys(key for row in rows for key in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, heads, lineterminator="\r\n")  # RFC 4180
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def table_name(kind: str) -> str:
    """The file name of a kind's table: nothing in it leads to another folder."""
    return re.sub(r"[^\w-]+", "-", kind) + ".csv"


def flat(value: Any, name: str = "") -> dict[str, Any]:
    """Nested results as one row: pushes.1.pivot.station_pct, corner_weights_g.1, …; long arrays are left to JSON."""
    if isinstance(value, dict):
        return {
            key: inner
            for part, content in value.items()
            for key, inner in flat(content, f"{name}.{part}" if name else part).items()
        }
    if isinstance(value, list):
        if len(value) > 16:
            return {}
        return {
            key: inner
            for index, content in enumerate(value, start=1)
            for key, inner in flat(content, f"{name}.{index}").items()
        }
    return {name: value}
