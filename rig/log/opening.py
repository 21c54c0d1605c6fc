"""Open a log: held together with others, its journal and pages looked over, its tables made or brought forward."""

import random
import sqlite3
import time
import uuid
from dataclasses import dataclass
from pathlib import Path

from rig.base.durable import make_folder
from rig.base.errors import BenchError, InputError
from rig.log.damage import damaged
from rig.log.journal import look_at
from rig.log.lock import WAIT_S, LogHold
from rig.log.media import open_to_read, primary_code
from rig.log.replacement import decided, finish
from rig.log.schema import VERSION
from rig.log.upgrade import counted_over, make_tables, upgrade

BUSY_WAIT_S = 30.0
"""How long another process that writes is waited for."""

looked_over: set[tuple[int, int]] = set()
"""Files (device, number) whose pages this process has looked over: some ms for every MB, so once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLog:
    """hold: kept as long as the database is open.  version: of the tables.  file: (device, number) of the file."""

    hold: LogHold
    database: sqlite3.Connection
    version: int
    file: tuple[int, int]


def open_log(path: Path, *, read_only: bool) -> OpenLog:
    """Open the log at `path`, which may be a link to it. A writer makes one that is not there, and upgrades an old one.

    Raises BenchError when it is damaged, half replaced or held by somebody alone, InputError when it is no log or one
    of a newer version. sqlite3 and OS errors come through.
    """
    path = path.resolve()
    if read_only and not path.is_file() and not decided(path).exists():
        raise InputError(
            "there is no bench log here",
            where=str(path.parent),
            remedy="Name the folder of the log, or record something first",
        )
    if not read_only:
        make_folder(path.parent)
    hold = LogHold(path, may_create=not read_only)
    try:
        _end_replacement(path, hold, read_only)
        before = file_number(path) if path.exists() else None
        database = _connect(path, hold, read_only)
        try:
            version = _settled(database, path, read_only)
            if version < VERSION and not read_only:
                database.close()
                _bring_forward(path, hold)
                database = _connect(path, hold, read_only)
                version = _settled(database, path, read_only)
            look_through(database, path)
            if before not in (None, file_number(path)):
                raise moved(path)
        except BaseException:
            database.close()
            raise
    except BaseException:
        hold.close()
        raise
    return OpenLog(hold=hold, database=database, version=version, file=file_number(path))


def file_number(path: Path) -> tuple[int, int]:
    """(device, number) of the file that has this name now. Raises OSError."""
    state = path.stat()
    return state.st_dev, state.st_ino


def look_through(database: sqlite3.Connection, path: Path) -> None:
    """Every page and index, and whether a record is missing, when this process opens the file for the first time.

    What stands in the rows is looked at when it is read.
    """
    file = file_number(path)
    if file in looked_over:
        return
    version = _user_version(database)
    verdict = str(database.execute("PRAGMA integrity_check(1)").fetchone()[0])
    if verdict == "ok" and version == VERSION:
        verdict = counted_over(database)
    if verdict != "ok":
        raise damaged(path, verdict)
    if version == VERSION:
        looked_over.add(file)


def journal_fault(path: Path) -> str:
    """What of the journal SQLite would leave out, in words; "" when nothing. Nobody may have the log open."""
    seen = look_at(path)
    if seen.committed > seen.read:
        return f"the newest records stand in {seen.committed - seen.read} pages of its journal that cannot be read"
    return ""


def moved(path: Path) -> BenchError:
    """The error for a log whose file has another one in its place: what is written into it would be lost."""
    return BenchError(
        "the log that is open here was moved away or replaced",
        where=str(path),
        remedy="Start again; what was recorded before is in the log, or in the copy beside it",
    )


def newer(path: Path, version: int) -> InputError:
    """The error for a log of a version that this program does not know."""
    return InputError(
        f"this log has version {version}, this program knows {VERSION}",
        where=str(path),
        remedy="Install a newer pivotbench" if version else "Name another folder: this is not a bench log",
    )


def _end_replacement(path: Path, hold: LogHold, read_only: bool) -> None:
    if not decided(path).exists():
        return
    if read_only:
        raise BenchError(
            "a repair of this log was cut short just before its end",
            where=str(path),
            remedy="Let it finish with: pivotbench log check --repair",
        )
    with hold.alone():
        if decided(path).exists():
            finish(path)


def _connect(path: Path, hold: LogHold, read_only: bool) -> sqlite3.Connection:
    journal = path.with_name(path.name + "-wal")
    if _empty(journal):
        return _connected(path, read_only)
    # left behind by a process that died, or in use: only in the first case may it be read past SQLite
    with hold.alone_if_free() as free:
        if (free or hold.without_file) and (fault := journal_fault(path)):
            raise damaged(path, fault)
        return _connected(path, read_only)


def _empty(journal: Path) -> bool:
    """Whether there is no journal or nothing in it; the last process to close a log takes it away at any moment."""
    try:
        return journal.stat().st_size == 0
    except FileNotFoundError:
        return True


def _connected(path: Path, read_only: bool) -> sqlite3.Connection:
    if read_only:
        return open_to_read(path)
    database = sqlite3.connect(path, timeout=BUSY_WAIT_S, isolation_level=None)
    _write_ahead(database)
    database.execute("PRAGMA synchronous = FULL")  # a record shown must survive a power cut
    database.execute("PRAGMA foreign_keys = ON")
    return database


def _write_ahead(database: sqlite3.Connection) -> None:
    """Set the journal's mode. SQLite does not wait here while another process does the same to a new log: ask again."""
    end = time.monotonic() + BUSY_WAIT_S
    while True:
        try:
            database.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if primary_code(error) != sqlite3.SQLITE_BUSY or time.monotonic() > end:
                raise
        time.sleep(0.02)


def _user_version(database: sqlite3.Connection) -> int:
    return int(database.execute("PRAGMA user_version").fetchone()[0])


def _settled(database: sqlite3.Connection, path: Path, read_only: bool) -> int:
    """Make the tables of a new log; the version of the tables that are there now. Raises InputError for a newer one."""
    version = _user_version(database)
    if version == 0 and not database.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone():
        if not read_only:
            database.execute("BEGIN IMMEDIATE")
            # another process may have made the tables while this one waited
            if not database.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone():
                make_tables(database, bench=uuid.uuid4().hex)
            database.execute("COMMIT")
        return VERSION
    if version > VERSION or version == 0:
        raise newer(path, version)
    return version


def _bring_forward(path: Path, hold: LogHold) -> None:
    """Upgrade a log that no connection of this process has open, or wait until another process has done it."""
    until = time.monotonic() + WAIT_S
    while True:
        with hold.alone_if_free() as free:
            database = _connected(path, False)
            try:
                if _user_version(database) == VERSION:
                    return
                if free:
                    look_through(database, path)  # a damaged log is not built upon
                    upgrade(database, path)
                    return
            finally:
                database.close()
        if time.monotonic() > until:
            raise BenchError(
                f"the log is of an older version, and in use by {hold.holders() or 'another process'}",
                where=str(path),
                remedy="End that, then try again: the log is brought forward when nobody else uses it",
            )
        hold.pause(random.uniform(0.005, 0.03))  # two that wait for each other must not do so in step
