"""Turn any failure into words for people and an exit code: one place for both front ends and all rooms."""

import errno
import sqlite3
import tempfile
import traceback
from dataclasses import dataclass
from pathlib import Path

STOPPED = 130
"""Exit code after Ctrl-C, as shells have it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What to show and how to end."""

    text: str
    exit_code: int


def tell(error: BaseException) -> Told:
    """Words and exit code for a failure: 2 for wrong input, 1 for a failed operation, 130 when stopped.

    Errors of the three rooms carry what, where and remedy. The rest is translated here; a fault of the
    program itself leaves its details in a file and never a traceback on the screen.
    """
    if all(hasattr(error, part) for part in ("what", "where", "remedy", "exit_code")):
        return Told(text=str(error), exit_code=int(error.exit_code))  # type: ignore[attr-defined]
    if isinstance(error, KeyboardInterrupt):
        return Told(text="Stopped. What was recorded so far is kept.", exit_code=STOPPED)
    if isinstance(error, ImportError):
        return _missing_library(error)
    if isinstance(error, OSError) and not isinstance(error, sqlite3.Error):
        return _system(error)
    if isinstance(error, MemoryError):
        return Told(
            text="The machine has no memory left for this. Close other programs, or use a shorter clip.",
            exit_code=1,
        )
    return _own_fault(error)


def _missing_library(error: ImportError) -> Told:
    text = str(error)
    if "libGL" in text or "libgthread" in text or "libglib" in text:
        return Told(
            text=f"OpenCV wants a system library that is not here ({text}). "
            "On Debian or Ubuntu: apt-get install libgl1 libglib2.0-0",
            exit_code=1,
        )
    name = error.name or text
    return Told(
        text=f"The Python package {name} cannot be loaded ({text}). Install pivotbench again into "
        "its environment: pip install pivotbench",
        exit_code=1,
    )


def _system(error: OSError) -> Told:
    where = f"{error.filename}: " if error.filename else ""
    remedy = {
        errno.ENOSPC: "Make room on the disk and try again; what was recorded before is kept",
        errno.EDQUOT: "Your share of the disk is full; make room and try again",
        errno.EACCES: "Choose a place that you may write to",
        errno.EROFS: "This disk is read-only; choose another place",
        errno.ENOENT: "Check the name",
    }.get(error.errno or 0, "Check the place and try again")
    return Told(text=f"{where}{error.strerror or error}. {remedy}.", exit_code=1)


def _own_fault(error: BaseException) -> Told:
    details = "".join(traceback.format_exception(error))
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="pivotbench-fault-", suffix=".txt", delete=False, encoding="utf-8"
        ) as file:
            file.write(details)
        kept = f"The details are in {Path(file.name)}; please send that file with your report."
    except OSError:
        kept = "The details could not be kept: there is no room for them."
    return Told(text=f"pivotbench itself is at fault ({type(error).__name__}: {error}). {kept}", exit_code=1)
