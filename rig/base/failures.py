"""Turn any failure into words for people and an exit code: one place for both front ends and all rooms."""

import errno
import sqlite3
import tempfile
import traceback
from dataclasses import dataclass, replace
from pathlib import Path

from analysis.base.errors import AnalysisError
from rig.base.errors import BenchError
from rig.base.printable import printable
from vision.base.errors import VisionError

STOPPED = 130
"""Exit code after Ctrl-C, as shells have it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """What to show and how to end. own_fault: the program itself is at fault, not the input and not the machine."""

    text: str
    exit_code: int
    own_fault: bool = False


def explain(error: BaseException) -> Failure:
    """Words and exit code for a failure: 2 for wrong input, 1 for a failed operation, 130 when stopped.

    Errors of the three rooms carry what, where and remedy. The rest is translated here; a fault of the
    program itself leaves its details in a file and never a traceback on the screen. Names and values that a person
    gave stand in the words: what a terminal would obey is taken out of them.
    """
    failure = _explained(error)
    return replace(failure, text=printable(failure.text))


def _explained(error: BaseException) -> Failure:
    if isinstance(error, BenchError | AnalysisError | VisionError):
        return Failure(text=str(error), exit_code=error.exit_code)
    if isinstance(error, KeyboardInterrupt):
        return Failure(text="Stopped. What was recorded so far is kept.", exit_code=STOPPED)
    if isinstance(error, ImportError):
        return _missing_library(error)
    if isinstance(error, OSError) and not isinstance(error, sqlite3.Error):
        return _system(error)
    if isinstance(error, MemoryError):
        return Failure(
            text="The machine has no memory left for this. Close other programs, or use a shorter clip.",
            exit_code=1,
        )
    return _own_fault(error)


def _missing_library(error: ImportError) -> Failure:
    text = str(error)
    if "libGL" in text or "libgthread" in text or "libglib" in text:
        return Failure(
            text=f"OpenCV needs a system library that is missing ({text}). "
            "On Debian or Ubuntu: apt-get install libgl1 libglib2.0-0",
            exit_code=1,
        )
    name = error.name or text
    return Failure(
        text=f"The Python package {name} cannot be loaded ({text}). Install pivotbench again into "
        "its environment: pip install pivotbench",
        exit_code=1,
    )


def _system(error: OSError) -> Failure:
    where = f"{error.filename}: " if error.filename else ""
    remedy = {
        errno.ENOSPC: "Make room on the disk and try again; what was recorded before is kept",
        errno.EDQUOT: "Your share of the disk is full; make room and try again",
        errno.EACCES: "Choose a place that you may write to",
        errno.EROFS: "This disk is read-only; choose another place",
        errno.ENOENT: "Check the name",
    }.get(error.errno or 0, "Check the place and try again")
    return Failure(text=f"{where}{error.strerror or error}. {remedy}.", exit_code=1)


def _own_fault(error: BaseException) -> Failure:
    details = "".join(traceback.format_exception(error))
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="pivotbench-fault-", suffix=".txt", delete=False, encoding="utf-8"
        ) as file:
            file.write(details)
        kept = f"The details are in {Path(file.name)}; please send that file with your report."
    except OSError:
        kept = "The details could not be kept: there is no room for them."
    return Failure(
        text=f"pivotbench itself is at fault ({type(error).__name__}: {error}). {kept}", exit_code=1, own_fault=True
    )
