"""Check a bench log, and save what can be read from a damaged one without discarding anything."""

import contextlib
import json
import shutil
import sqlite3
import uuid
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rig.base.durable import sync
from rig.base.errors import BenchError, InputError
from rig.log.media import as_text, open_to_read
from rig.log.schema import LINKS_SUMMED, SUMMED, UNSUMMED, VERSION, as_written, column_list, links_sum
from rig.log.store import LOG_FILE
from rig.log.upgrade import counted_over, links_of, make_tables, seal, set_value

ENDINGS = ("", "-wal", "-shm")
LARGEST_FILLED = 1_000_000_000
"""Bytes; a header that promises more than that is damaged itself."""
SMALLEST_ROW = 20
"""Bytes; no row of any table is shorter. Rows are never deleted, so this bounds their numbers, too."""

ORDER = ("bench", "cards", "files", "records", "record_cards", "record_files", "record_parents")

LINKS = (
    ("record_cards", "record", "records", "id"),
    ("record_cards", "card", "cards", "hash"),
    ("record_files", "record", "records", "id"),
    ("record_files", "file", "files", "hash"),
    ("record_parents", "record", "records", "id"),
    ("record_parents", "parent", "records", "id"),
)
"""Table, column -> the table and column it leads to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """sound: nothing wrong.  problems: what SQLite says, in its words."""

    sound: bool
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """kept: table -> rows saved.  unreadable: table -> rows that could not be read, as far as known.

    damaged_copy: the damaged file, kept whole.
    """

    kept: dict[str, int]
    unreadable: dict[str, int]
    damaged_copy: Path


def check_log(folder: Path) -> Health:
    """Read every page, index, link, card and record of the log. Raises BenchError when there is none."""
    path = folder / LOG_FILE
    if not path.is_file():
        raise BenchError("there is no bench log here", where=str(folder), remedy="Name the folder of the log")
    try:
        database = open_to_read(path)
        try:
            said = [row[0] for row in database.execute("PRAGMA integrity_check")]
            said += [
                f"{row[0]} row {row[1]} refers to {row[2]} that is not there"
                for row in database.execute("PRAGMA foreign_key_check")
            ]
            version = database.execute("PRAGMA user_version").fetchone()[0]
            if not 1 <= version <= VERSION:
                raise InputError(
                    f"this log has version {version}, this program knows {VERSION}",
                    where=str(path),
                    remedy="Install a newer pivotbench",
                )
            said += _rows_changed(database, version)
            if version == VERSION:
                said.append(counted_over(database))
        finally:
            database.close()
    except sqlite3.DatabaseError as error:
        said = [str(error)]
    problems = tuple(text for text in said if text != "ok")
    return Health(sound=not problems, problems=problems)


def repair_log(folder: Path) -> Repair:
    """Copy the damaged log aside, then write a new one from every row that can still be read.

    Raises BenchError when not even the first page can be read.
    """
    path = folder / LOG_FILE
    copy = folder / f"bench-log.damaged-{datetime.now(UTC):%Y%m%dT%H%M%S}.sqlite"
    for ending in ENDINGS:
        if path.with_name(path.name + ending).exists():
            shutil.copy2(path.with_name(path.name + ending), copy.with_name(copy.name + ending))
            sync(copy.with_name(copy.name + ending))
    sync(folder)  # safe before anything else is touched
    fresh, read = folder / "bench-log.repaired.sqlite", folder / "bench-log.reading.sqlite"
    for aside in (fresh, read):
        aside.unlink(missing_ok=True)
    _as_long_as_it_was(copy, read)
    kept: dict[str, int] = {}
    unreadable: dict[str, int] = {}
    old, new = sqlite3.connect(read), sqlite3.connect(fresh)
    old.text_factory = as_text
    try:
        make_tables(new)
        version = _version_of(old)
        for table in ORDER:
            kept[table], unreadable[table] = _rescue(old, new, table, version, copy.stat().st_size // SMALLEST_ROW)
        _mend(new, kept, unreadable)
        new.commit()
    except sqlite3.DatabaseError as error:
        raise BenchError(
            f"nothing could be read from the log ({error})",
            where=str(copy),
            remedy="Keep this file; restore the log from a copy or an export",
        ) from error
    finally:
        old.close()
        new.close()
        for ending in ENDINGS:
            read.with_name(read.name + ending).unlink(missing_ok=True)
    for ending in ("-wal", "-shm"):
        path.with_name(path.name + ending).unlink(missing_ok=True)
    sync(folder)  # the old journal must not come back beside the new log: it would be written into it
    fresh.replace(path)
    sync(folder)
    return Repair(kept=kept, unreadable={name: count for name, count in unreadable.items() if count}, damaged_copy=copy)


def _as_long_as_it_was(copy: Path, read: Path) -> None:
    """Copy a log and its journal to read from; one that was cut gets empty pages, without which nothing is given.

    Page size and count stand in bytes 16 and 28 of the file (https://www.sqlite.org/fileformat.html, 1.3).
    """
    for ending in ENDINGS[:2]:
        if copy.with_name(copy.name + ending).exists():
            shutil.copyfile(copy.with_name(copy.name + ending), read.with_name(read.name + ending))
    with read.open("rb+") as file:
        head = file.read(32)
        length = int.from_bytes(head[16:18], "big") * int.from_bytes(head[28:32], "big")
        if read.stat().st_size < length <= LARGEST_FILLED:
            file.truncate(length)


def _rows_changed(database: sqlite3.Connection, version: int) -> list[str]:
    """Which rows, and which records' links, are not as they were written."""
    said = []
    for table in SUMMED:
        for rowid, *row in database.execute(f"SELECT rowid, {column_list(table, version)} FROM {table}"):
            if not _good(table, tuple(row), version):
                said.append(f"{table} row {rowid} is not as it was written")
    if version >= LINKS_SUMMED:
        for record, number, links in database.execute("SELECT id, number, links FROM records").fetchall():
            if links != links_sum(record, links_of(database, record)):
                said.append(f"what record {number} rests on is not as it was written")
    return said


def _good(table: str, row: tuple[Any, ...], version: int) -> bool:
    """Whether a row is as it was written, and a record holds JSON."""
    try:
        if table == "records":
            json.loads(row[7]), json.loads(row[8])
    except (TypeError, ValueError):
        return False
    return as_written(table, row, version)


def _version_of(old: sqlite3.Connection) -> int:
    """The version whose columns the tables have, whatever a damaged header says."""
    for version in range(VERSION, 1, -1):
        with contextlib.suppress(sqlite3.OperationalError):
            for table in SUMMED:
                old.execute(f"SELECT {column_list(table, version)} FROM {table} LIMIT 0")
            return version
    return 1


def _mend(new: sqlite3.Connection, kept: dict[str, int], unreadable: dict[str, int]) -> None:
    """Make what was saved a whole log again: links that lead to lost rows are counted as lost, a bench has an id."""
    for table, column, target, key in LINKS:
        cut = new.execute(f"DELETE FROM {table} WHERE {column} NOT IN (SELECT {key} FROM {target})").rowcount
        kept[table] -= cut
        unreadable[table] += cut
    if not new.execute("SELECT 1 FROM bench WHERE key = 'id'").fetchone():
        newest = new.execute("SELECT bench FROM records ORDER BY number DESC LIMIT 1").fetchone()
        set_value(new, "id", *(newest or (uuid.uuid4().hex,)))
    seal(new)


def _rescue(old: sqlite3.Connection, new: sqlite3.Connection, table: str, version: int, most: int) -> tuple[int, int]:
    """Copy row by row; a row on a damaged page is stepped over and counted. most: rows that can be there at all."""
    summed = table in SUMMED
    columns = column_list(table, version) if summed else "*"
    into = f"{table} ({', '.join((*SUMMED[table], *UNSUMMED[table], 'sum'))})" if summed else table
    kept = lost = 0
    try:
        last = old.execute(f"SELECT max(rowid) FROM {table}").fetchone()[0] or 0
    except sqlite3.DatabaseError:
        last = most  # the end cannot be read: try far enough
    for rowid in range(1, min(last, most) + 1):  # a damaged number may be anything
        try:
            row = old.execute(f"SELECT {columns} FROM {table} WHERE rowid = ?", (rowid,)).fetchone()
        except sqlite3.DatabaseError:
            lost += 1
            continue
        if row is not None:
            if summed and not _good(table, row, version):
                lost += 1
                continue
            try:
                kept += new.execute(f"INSERT OR IGNORE INTO {into} VALUES ({','.join('?' * len(row))})", row).rowcount
            except (sqlite3.DatabaseError, UnicodeEncodeError):  # a value that does not fit its column
                lost += 1
    return kept, lost
