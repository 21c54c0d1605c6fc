"""What a record of the log rests on: its cards, its parents, the row of push number n, the poses behind it."""

from pathlib import Path
from typing import Any

import numpy as np

from analysis.base.arrays import FloatArray
from rig.cards.read import CardSet, parse_card
from rig.cards.schema import BenchCard, CarCard, TestCard
from rig.log.store import BenchLog, Record


class MissingSourceError(Exception):
    """What a record was computed from is no longer there; told beside the record, never shown by itself."""


def cards_of(record: Record, log: BenchLog) -> CardSet:
    """The three cards that a record was made with. Raises MissingSourceError when one is gone."""
    texts = {card.kind: card.text for card in (log.card(digest) for digest in record.cards)}
    if set(texts) != {"test", "car", "bench"}:
        raise MissingSourceError("its cards are not all in the log")
    where = f"record {record.number}"
    return CardSet(
        test=parse_card(texts["test"], TestCard, where=where),
        car=parse_card(texts["car"], CarCard, where=where),
        bench=parse_card(texts["bench"], BenchCard, where=where),
        texts=texts,
        folder=Path(),
    )


def parents_of(record: Record, log: BenchLog) -> dict[str, Record]:
    """Kind -> the record of that kind which this one rests on."""
    return {parent.kind: parent for parent in map(log.get, record.parents)}


def push_row(record: Record, number: int) -> dict[str, Any]:
    """Push number `number` (from 1) of a measured clip, as it stands in the log. Raises MissingSourceError."""
    for row in record.result["pushes"]:
        if row["number"] == number:
            return dict(row)
    raise MissingSourceError(f"push {number} is not in record {record.number}")


def judged_row(comparison: Record, pushed: Record) -> dict[str, Any]:
    """The push that a comparison judged, as it stands in the record of its clip. Raises MissingSourceError."""
    return push_row(pushed, int(comparison.inputs.get("push_number", 1)))


def finger_row(record: Record, number: int) -> dict[str, Any] | None:
    """Push number `number` (from 1) as the finger marker showed it; None without a marker, or when it was not seen."""
    rows = record.result.get("finger") or []
    return rows[number - 1] if 1 <= number <= len(rows) else None


def track_arrays(record: Record, log: BenchLog) -> dict[str, FloatArray]:
    """The poses behind a measured clip, by the names of their columns. Raises MissingSourceError."""
    path = next((Path(file.path) for file in log.files() if file.hash in record.files and file.kind == "track"), None)
    if path is None or not path.is_file():
        raise MissingSourceError("the file with the poses is no longer there")
    with np.load(path, allow_pickle=False) as kept:
        return {name: kept[name] for name in kept.files}
