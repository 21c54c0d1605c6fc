"""Rows of the log: a stored card and file, how they and records are written, each with its sum, and records read."""

import hashlib
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rig.base.errors import InputError
from rig.log.schema import LINKED, SUMMED, links_sum, row_sum
from rig.records.codec import from_json, kind_named, to_json
from rig.records.record import AnyRecord, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class CardVersion:
    """One stored version of a card, named by the hash of its text."""

    hash: str
    kind: str
    name: str
    text: str
    saved_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredFile:
    """A clip or a file of raw readings, named by the hash of its content."""

    hash: str
    kind: str
    name: str
    path: str
    bytes: int
    saved_at: str


def insert_card(database: sqlite3.Connection, card: CardVersion) -> None:
    """Write a card version with its sum; one that is there stays as it is."""
    row = (card.hash, card.kind, card.name, card.text, card.saved_at)
    database.execute("INSERT OR IGNORE INTO cards VALUES (?, ?, ?, ?, ?, ?)", (*row, row_sum(*row)))


def insert_file(database: sqlite3.Connection, file: StoredFile, *, known: str) -> None:
    """Write a file's row with its sum. known: what SQL does (after ON CONFLICT) with one that is there."""
    total = row_sum(file.hash, file.kind, file.name, file.bytes, file.saved_at)
    database.execute(
        f"INSERT INTO files VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (hash) {known}",
        (file.hash, file.kind, file.name, file.path, file.bytes, file.saved_at, total),
    )


def insert_record(database: sqlite3.Connection, entry: AnyRecord, *, links: bool = True) -> int:
    """Write a record with its sums under the next number, which is returned. links: also what it leads to."""
    number = database.execute("SELECT coalesce(max(number), 0) + 1 FROM records").fetchone()[0]
    row = (
        entry.id,
        number,
        entry.bench,
        entry.kind,
        entry.title,
        entry.at,
        entry.software,
        to_json(entry.inputs),
        to_json(entry.result),
        kind_named(entry.kind, where=f"record {entry.id[:8]}").version,
    )
    led_to = links_sum(entry.id, (entry.cards, entry.files, entry.parents))
    database.execute(
        f"INSERT INTO records ({', '.join(SUMMED['records'])}, links, sum) VALUES ({'?, ' * len(row)}?, ?)",
        (*row, led_to, row_sum(*row)),
    )
    if links:
        insert_links(database, entry)
    return int(number)


def insert_links(database: sqlite3.Connection, entry: AnyRecord) -> None:
    """Write which cards, files and records a record leads to."""
    for (table, _), others in zip(LINKED, (entry.cards, entry.files, entry.parents), strict=True):
        database.executemany(f"INSERT INTO {table} VALUES (?, ?)", [(entry.id, other) for other in others])


def record_read(row: tuple[Any, ...], links: Sequence[tuple[str, ...]], *, where: str) -> AnyRecord:
    """A record from its columns (as `column_list` names them) and what it leads to. Raises RecordError as its codec."""
    inputs, result = from_json(kind_named(row[3], where=where), row[9], row[7], row[8], where=where)
    return Record(
        id=row[0],
        number=row[1],
        bench=row[2],
        kind=row[3],
        title=row[4],
        at=row[5],
        software=row[6],
        inputs=inputs,
        result=result,
        cards=links[0],
        files=links[1],
        parents=links[2],
    )


def own_content(record: AnyRecord) -> AnyRecord:
    """A record without what belongs to one log: its number, and the order of what it leads to."""
    links = {name: tuple(sorted(getattr(record, name))) for name in ("cards", "files", "parents")}
    return replace(record, number=0, **links)  # type: ignore[arg-type]


def file_hash(path: Path, *, first: int | None = None) -> tuple[str, int]:
    """(SHA-256, bytes) of a file's content, or of its first bytes. Raises InputError when it cannot be read.

    Raw readings are noted while their file still grows: what was noted then is the beginning of the file now.
    """
    digest, size = hashlib.sha256(), 0
    try:
        with path.open("rb") as file:
            while chunk := file.read(1 << 20 if first is None else min(1 << 20, first - size)):
                digest.update(chunk)
                size += len(chunk)
    except OSError as error:
        raise InputError(
            f"cannot read the file ({error.strerror})",
            where=str(path),
            remedy="Check the name and that you may read it",
        ) from error
    return digest.hexdigest(), size
