"""The tables of a new log, a log of an older version brought forward, and the sums over everything in it."""

import contextlib
import json
import os
import sqlite3
import uuid
from pathlib import Path

from rig.base.durable import sync
from rig.log.damage import damaged
from rig.log.schema import LINKED, SUMMED, TABLES, UPGRADES, VERSION, as_written, column_list, links_sum, row_sum


def run_statements(database: sqlite3.Connection, statements: str) -> None:
    """Each of them by itself: `executescript` would end the transaction."""
    for statement in statements.split(";\n"):
        if statement.strip():
            database.execute(statement)


def make_tables(database: sqlite3.Connection, *, bench: str | None = None) -> None:
    """Lay out an empty log, inside a transaction. bench: its id; None for tables alone."""
    run_statements(database, TABLES)
    database.execute(f"PRAGMA user_version = {VERSION}")
    if bench is not None:
        set_value(database, "id", bench)
        set_value(database, "version", str(VERSION))


def set_value(database: sqlite3.Connection, key: str, value: str) -> None:
    """Write a row of the table `bench` with its sum."""
    database.execute("INSERT OR REPLACE INTO bench VALUES (?, ?, ?)", (key, value, row_sum(key, value)))


def value_of(database: sqlite3.Connection, key: str, version: int) -> str | None:
    """A value of the table `bench`; None when it is not there or not as it was written."""
    sql = f"SELECT {column_list('bench', version)} FROM bench WHERE key = ?"
    row = database.execute(sql, (key,)).fetchone()
    return None if row is None or not as_written("bench", row, version) else str(row[1])


def counted_over(database: sqlite3.Connection) -> str:
    """Whether the log says its own version and no record is missing between others; "ok", or what is wrong."""
    if value_of(database, "version", VERSION) != str(VERSION):
        return "it does not say its version"
    lost = len(json.loads(value_of(database, "lost", VERSION) or "[]"))
    count, last = database.execute("SELECT count(*), coalesce(max(number), 0) FROM records").fetchone()
    return "ok" if count + lost == last else f"of {last - lost} records {count} are left"


def links_of(database: sqlite3.Connection, record: str) -> list[tuple[str, ...]]:
    """The cards, files and parents of a record, in the order in which they were given."""
    return [
        tuple(
            other
            for (other,) in database.execute(f"SELECT {column} FROM {table} WHERE record = ? ORDER BY rowid", (record,))
        )
        for table, column in LINKED
    ]


def seal(database: sqlite3.Connection) -> None:
    """Make every sum anew, inside a transaction, and note which numbers of records are missing.

    Only for rows that were found to be as written: a sum made over a damaged row would hide the damage.
    """
    database.create_function("row_sum", -1, row_sum, deterministic=True)
    set_value(database, "version", str(VERSION))
    numbers = {number for (number,) in database.execute("SELECT number FROM records")}
    lost = sorted(set(range(1, max(numbers, default=0) + 1)) - numbers)
    if lost:
        set_value(database, "lost", json.dumps(lost))
    for table, columns in SUMMED.items():
        database.execute(f"UPDATE {table} SET sum = row_sum({', '.join(columns)})")
    for (record,) in database.execute("SELECT id FROM records").fetchall():
        links = links_sum(record, links_of(database, record))
        database.execute("UPDATE records SET links = ? WHERE id = ?", (links, record))


def upgrade(database: sqlite3.Connection, path: Path) -> None:
    """Bring a log of an older version forward, in one transaction; a copy of it as it was stays beside it.

    Raises BenchError when a row is not as it was written: its sum is not made anew. sqlite3 and OS errors come through.
    """
    version = database.execute("PRAGMA user_version").fetchone()[0]
    _copy_beside(database, path, version)
    database.execute("BEGIN IMMEDIATE")
    try:
        if database.execute("PRAGMA user_version").fetchone()[0] == version:  # else another process was faster
            for table in SUMMED:
                for row in database.execute(f"SELECT {column_list(table, version)} FROM {table}"):
                    if not as_written(table, row, version):
                        raise damaged(path, f"a row of {table}, {str(row[0])[:12]}, is not as it was written")
            for step in range(version, VERSION):
                run_statements(database, UPGRADES[step])
            seal(database)
            database.execute(f"PRAGMA user_version = {VERSION}")
    except BaseException:
        database.execute("ROLLBACK") if database.in_transaction else None
        raise
    database.execute("COMMIT")


def _copy_beside(database: sqlite3.Connection, path: Path, version: int) -> None:
    """Copy the log as it is before its tables are changed; a copy that is there already is never overwritten."""
    # beside it first: a copy that was cut short must not stand for a whole one
    part = path.with_name(f"{path.stem}.version-{version}.{uuid.uuid4().hex[:8]}.part")
    with contextlib.closing(sqlite3.connect(part)) as copy:
        database.backup(copy)
    sync(part)
    target, count = path.with_name(f"{path.stem}.version-{version}.sqlite"), 1
    while target.exists() and target.read_bytes() != part.read_bytes():
        count += 1
        target = path.with_name(f"{path.stem}.version-{version}-{count}.sqlite")
    os.replace(part, target)
    sync(path.parent)  # no upgraded log without this copy
