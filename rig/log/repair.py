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
from rig.base.errors import BenchError
from rig.log.damage import UNREADABLE, in_words
from rig.log.journal import look_at, sum_again
from rig.log.lock import LogHold, open_elsewhere
from rig.log.media import open_to_read
from rig.log.opening import journal_fault, newer
from rig.log.replacement import decided, finish, put_in_place
from rig.log.schema import LINKS_SUMMED, SUMMED, UNSUMMED, VERSION, as_written, column_list, links_sum
from rig.log.store import LOG_FILE
from rig.log.upgrade import counted_over, links_of, make_tables, seal, set_value, value_of

ENDINGS = ("", "-wal", "-shm")
PATIENCE_S = 2.0
"""How long a repair waits for somebody who only looks into the log."""
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
    path = (folder / LOG_FILE).resolve()
    if decided(path).exists():
        return Health(sound=False, problems=("a repair was cut short just before its end",))
    if not path.is_file():
        raise BenchError("there is no bench log here", where=str(folder), remedy="Name the folder of the log")
    hold = LogHold(path, may_create=False)
    try:
        with hold.alone_if_free() as free:  # else somebody uses the journal, and SQLite knows what is in it
            fault = journal_fault(path) if free or hold.without_file else ""
            with contextlib.closing(open_to_read(path)) as database:
                findings = [fault, *_said_of(database, path)]
    except UNREADABLE as error:
        findings = [str(error)]
    finally:
        hold.close()
    problems = tuple(text for text in findings if text not in ("ok", ""))
    return Health(sound=not problems, problems=problems)


def _said_of(database: sqlite3.Connection, path: Path) -> list[str]:
    """What is wrong with an open log; "ok" among it for what is not."""
    findings = [row[0] for row in database.execute("PRAGMA integrity_check")]
    findings += [
        f"{row[0]} row {row[1]} refers to {row[2]} that is not there"
        for row in database.execute("PRAGMA foreign_key_check")
    ]
    version = database.execute("PRAGMA user_version").fetchone()[0]
    if version > VERSION:
        raise newer(path, version)
    if version < 1:
        return [*findings, "it does not say its version"]
    findings += _rows_changed(database, version)
    if version == VERSION:
        findings.append(counted_over(database))
    return findings


def repair_log(folder: Path) -> Repair:
    """Copy the damaged log aside, then write a new one from every row that can still be read.

    Nobody else may use the log meanwhile. Raises BenchError saying who does, or when not even the first page can be
    read; InputError for a log of a newer version. Then nothing has changed.
    """
    path = (folder / LOG_FILE).resolve()
    if not path.is_file() and not decided(path).exists():
        raise BenchError("there is no bench log here", where=str(folder), remedy="Name the folder of the log")
    with in_words(path), contextlib.closing(LogHold(path, alone=True, wait_s=PATIENCE_S)):
        if decided(path).exists():
            finish(path)
        if process := open_elsewhere(path):
            raise BenchError(
                f"the log is in use by process {process}",
                where=str(path),
                remedy="Wait until that is done or end it, then try again; nothing was changed",
            )
        _refuse_newer(path)
        for part in path.parent.glob(f"{path.name}.*.part*"):  # of a repair that was killed
            part.unlink()
        return _repair(path)


def _repair(path: Path) -> Repair:
    copy = _copy_aside(path)
    token = uuid.uuid4().hex[:8]
    fresh, read = (path.with_name(f"{path.name}.{token}.{name}.part") for name in ("new", "old"))
    kept: dict[str, int] = {}
    unreadable: dict[str, int] = {}
    try:
        _as_long_as_it_was(copy, read)
        with (
            contextlib.closing(sqlite3.connect(read)) as old,
            contextlib.closing(sqlite3.connect(fresh, isolation_level=None)) as new,
        ):
            new.execute("BEGIN")
            make_tables(new)
            _describe_again(old, new)
            version = _version_of(old)
            for table in ORDER:
                kept[table], unreadable[table] = _rescue(old, new, table, version, copy.stat().st_size // SMALLEST_ROW)
            _mend(new, kept, unreadable)
            new.execute("COMMIT")
        put_in_place(fresh, path)
    except UNREADABLE as error:
        raise BenchError(
            f"nothing could be read from the log ({error})",
            where=str(copy),
            remedy="Keep this file; restore the log from a copy or an export",
        ) from error
    finally:
        for part in path.parent.glob(f"{path.name}.{token}.*"):
            part.unlink(missing_ok=True)
    return Repair(kept=kept, unreadable={name: count for name, count in unreadable.items() if count}, damaged_copy=copy)


def _refuse_newer(path: Path) -> None:
    """Raise InputError for a log that a newer program wrote: this one would leave out what it does not know.

    A damaged header may say anything; the log's own word, which has a sum, tells the two apart.
    """
    with contextlib.suppress(*UNREADABLE), contextlib.closing(open_to_read(path)) as database:
        version = database.execute("PRAGMA user_version").fetchone()[0]
        if version > VERSION:
            own = None
            with contextlib.suppress(*UNREADABLE):
                own = value_of(database, "version", VERSION)
            if own is None or int(own) > VERSION:
                raise newer(path, version)


def _copy_aside(path: Path) -> Path:
    """The damaged log with what SQLite keeps beside it, under a name that nothing had, safe on the disk."""
    stem, count = f"{path.stem}.damaged-{datetime.now(UTC):%Y%m%dT%H%M%S}", 1
    while True:
        copy = path.with_name(f"{stem}{'' if count == 1 else f'-{count}'}.sqlite")
        try:
            with copy.open("xb"):
                break
        except FileExistsError:
            count += 1
    for ending in ENDINGS:
        if path.with_name(path.name + ending).exists():
            shutil.copy2(path.with_name(path.name + ending), copy.with_name(copy.name + ending))
            sync(copy.with_name(copy.name + ending))
    sync(path.parent)  # safe before anything else is touched
    return copy


def _as_long_as_it_was(copy: Path, read: Path) -> None:
    """Copy a log and its journal to read from; one that was cut gets empty pages, without which nothing is given.

    Page size and count stand in bytes 16 and 28 of the file (https://www.sqlite.org/fileformat.html, 1.3).
    """
    for ending in ENDINGS[:2]:
        if copy.with_name(copy.name + ending).exists():
            shutil.copyfile(copy.with_name(copy.name + ending), read.with_name(read.name + ending))
    seen = look_at(copy)
    if seen.committed > seen.read:
        sum_again(read.with_name(read.name + "-wal"), seen.committed)
    with read.open("rb+") as file:
        head = file.read(32)
        length = int.from_bytes(head[16:18], "big") * int.from_bytes(head[28:32], "big")
        if read.stat().st_size < length <= LARGEST_FILLED:
            file.truncate(length)


def _rows_changed(database: sqlite3.Connection, version: int) -> list[str]:
    """Which rows, and which records' links, are not as they were written."""
    faults = []
    for table in SUMMED:
        for rowid, *row in database.execute(f"SELECT rowid, {column_list(table, version)} FROM {table}"):
            if not _good(table, tuple(row), version):
                faults.append(f"{table} row {rowid} is not as it was written")
    if version >= LINKS_SUMMED:
        for record, number, links in database.execute("SELECT id, number, links FROM records").fetchall():
            if links != links_sum(record, links_of(database, record)):
                faults.append(f"what record {number} rests on is not as it was written")
    return faults


def _good(table: str, row: tuple[Any, ...], version: int) -> bool:
    """Whether a row is as it was written, and a record holds JSON."""
    try:
        if table == "records":
            json.loads(row[7]), json.loads(row[8])
    except (TypeError, ValueError):
        return False
    return as_written(table, row, version)


def _describe_again(old: sqlite3.Connection, new: sqlite3.Connection) -> None:
    """Where the description of a table is damaged, SQLite reads none of them: give it those of this version again.

    The columns of an upgraded log stand in the same order. Works on the copy that is read from.
    """
    try:
        old.execute("SELECT 1 FROM sqlite_master").fetchone()
    except UNREADABLE:
        old.execute("PRAGMA writable_schema = ON")  # SQLite then reads what it can of the descriptions
        if old.execute("PRAGMA user_version").fetchone()[0] == VERSION:
            for name, sql in new.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL"):
                old.execute("UPDATE sqlite_master SET sql = ? WHERE name = ?", (sql, name))
            old.commit()
        old.execute("PRAGMA writable_schema = RESET")


def _version_of(old: sqlite3.Connection) -> int:
    """The version whose columns the tables have, whatever a damaged header says."""
    for version in range(VERSION, 1, -1):
        with contextlib.suppress(sqlite3.OperationalError, UnicodeDecodeError):
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
    except UNREADABLE:
        last = most  # the end cannot be read: try far enough
    for rowid in range(1, min(last, most) + 1):  # a damaged number may be anything
        try:
            row = old.execute(f"SELECT {columns} FROM {table} WHERE rowid = ?", (rowid,)).fetchone()
        except UNREADABLE:
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
