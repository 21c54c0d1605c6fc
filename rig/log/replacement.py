"""A log put in the place of another, its journal included, so that a kill or a power cut leaves the one or the other.

The journal of the old log must be gone before the new file gets its name (SQLite would write the old one's pages into
it), and the old log is not whole without it. So the new log first stands, whole and safe on the disk, under a name of
its own: from then on it is the log, and whoever opens the folder next finishes what is left to do.
"""

import os
from pathlib import Path

from rig.base.durable import sync

BESIDE = ("-wal", "-shm")
"""Endings of what SQLite keeps beside a log."""


def decided(log: Path) -> Path:
    """The name under which a new log stands once it is decided that it takes the place of the old one."""
    return log.with_name(log.name + ".mended")


def put_in_place(fresh: Path, log: Path) -> None:
    """Let a whole log beside it take a log's place. The caller has the log alone. Raises OSError."""
    sync(fresh)
    os.replace(fresh, decided(log))
    sync(log.parent)
    finish(log)


def finish(log: Path) -> None:
    """Do what is left of a replacement that was decided. The caller has the log alone. Raises OSError."""
    for ending in BESIDE:
        log.with_name(log.name + ending).unlink(missing_ok=True)
    sync(log.parent)  # before the new log has the name to which the old journal belongs
    os.replace(decided(log), log)
    sync(log.parent)
