"""What goes wrong with a log's file, in words: damage, a file that is no log, a disk or a folder that refuses."""

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from rig.base.errors import BenchError, InputError
from rig.log.media import primary_code

UNREADABLE = (sqlite3.DatabaseError, UnicodeDecodeError)
"""What SQLite raises on damage; the second where its own words hold damaged bytes, which Python cannot read."""


def damaged(path: Path, why: str) -> BenchError:
    """The error for a log that does not hold what was written into it."""
    return BenchError(
        f"the bench log is damaged ({' '.join(why.split())})",
        where=str(path),
        remedy="Copy the folder, then save what can be read with: pivotbench log check --repair",
    )


@contextlib.contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Turn failures of SQLite and of the system, while the log at `path` is used, into BenchError or InputError."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        # without a code it comes from Python's module: text in a row that is not UTF-8
        if primary_code(error) == sqlite3.SQLITE_CORRUPT or not hasattr(error, "sqlite_errorcode"):
            raise damaged(path, str(error)) from error
        if primary_code(error) == sqlite3.SQLITE_NOTADB:
            raise InputError(
                f"this file is not a bench log ({error})",
                where=str(path),
                remedy="Name another folder, or restore the log from a copy",
            ) from error
        if primary_code(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise BenchError(
                "the bench log is in use by another process",
                where=str(path),
                remedy="Wait until that is done or end it, then try again; nothing was changed",
            ) from error
        raise BenchError(
            f"the bench log cannot be written or read ({error})",
            where=str(path),
            remedy="Check the room on the disk and the rights to this folder; nothing recorded before is lost",
        ) from error
    except UnicodeDecodeError as error:  # SQLite names a table or a column that damage has given such a name
        raise damaged(path, str(error)) from error
    except UnicodeEncodeError as error:  # bytes in a file name that are no text
        raise InputError(
            "a name holds bytes that are no text",
            where=repr(error.object)[:200],
            remedy="Rename the file, then try again",
        ) from error
    except OSError as error:
        raise BenchError(
            f"the bench log's folder cannot be used ({error.strerror})",
            where=str(path.parent),
            remedy="Name a folder that you may write to, on a disk with room",
        ) from error
