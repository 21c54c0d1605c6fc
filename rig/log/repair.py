"""Check a bench log, and save what can be read from a damaged one without discarding anything."""

import shutil
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from rig.errors import BenchError
from rig.log.schema import TABLES, VERSION
from rig.log.store import LOG_FILE

ORDER = ("bench", "cards", "files", "records", "record_cards", "record_files", "record_parents")


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
    """Read every page and index of the log. Raises BenchError when there is none."""
    path = folder / LOG_FILE
    if not path.is_file():
        raise BenchError("there is no bench log here", where=str(folder), remedy="Name the folder of the log")
    try:
        database = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        try:
            said = [row[0] for row in database.execute("PRAGMA integrity_check")]
            said += [
                f"{row[0]} row {row[1]} refers to {row[2]} that is not there"
                for row in database.execute("PRAGMA foreign_key_check")
            ]
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
    for ending in ("", "-wal", "-shm"):
        if path.with_name(path.name + ending).exists():
            shutil.copy2(path.with_name(path.name + ending), copy.with_name(copy.name + ending))
    fresh = folder / "bench-log.repaired.sqlite"
    fresh.unlink(missing_ok=True)
    kept: dict[str, int] = {}
    unreadable: dict[str, int] = {}
    old, new = sqlite3.connect(copy), sqlite3.connect(fresh)
    try:
        for statement in TABLES.split(";\n"):
            if statement.strip():
                new.execute(statement)
        new.execute(f"PRAGMA user_version = {VERSION}")
        for table in ORDER:
            kept[table], unreadable[table] = _rescue(old, new, table)
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
    for ending in ("-wal", "-shm"):
        path.with_name(path.name + ending).unlink(missing_ok=True)
    fresh.replace(path)
    return Repair(kept=kept, unreadable={name: count for name, count in unreadable.items() if count}, damaged_copy=copy)


def _rescue(old: sqlite3.Connection, new: sqlite3.Connection, table: str) -> tuple[int, int]:
    """Copy row by row; a row on a damaged page is stepped over and counted."""
    kept = lost = 0
    try:
        last = old.execute(f"SELECT max(rowid) FROM {table}").fetchone()[0] or 0
    except sqlite3.DatabaseError:
        last = 100_000  # the end cannot be read: try far enough
    for rowid in range(1, last + 1):
        try:
            row = old.execute(f"SELECT * FROM {table} WHERE rowid = ?", (rowid,)).fetchone()
        except sqlite3.DatabaseError:
            lost += 1
            continue
        if row is not None:
            new.execute(f"INSERT OR IGNORE INTO {table} VALUES ({','.join('?' * len(row))})", row)
            kept += 1
    return kept, lost
