"""Open a log only to read it, also where nothing can be written beside it."""

import sqlite3
from pathlib import Path


def primary_code(error: sqlite3.Error) -> int:
    """SQLite's own kind of failure (its extended codes say more in the higher bits); 0 when it names none."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF


def open_to_read(path: Path) -> sqlite3.Connection:
    """A connection that never writes. Raises sqlite3.DatabaseError when the file cannot be read.

    A log in write-ahead mode wants a small shared file beside it. On read-only media (a locked card, a DVD, a folder
    of somebody else) there can be none, and nobody writes there either: such a file is read as it is, unless a journal
    with unfinished business lies beside it, without which the newest records would be missing.
    """
    address = path.absolute().as_uri()
    database = sqlite3.connect(f"{address}?mode=ro", uri=True, timeout=30)
    try:
        database.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone()
    except sqlite3.OperationalError as error:
        database.close()
        journal = path.resolve().with_name(path.resolve().name + "-wal")
        refused = primary_code(error) in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)
        if not refused or (journal.exists() and journal.stat().st_size > 0):
            raise
        return sqlite3.connect(f"{address}?mode=ro&immutable=1", uri=True)
    except sqlite3.DatabaseError:
        database.close()
        raise
    return database
