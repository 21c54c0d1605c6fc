"""Is there room on the disk? Asked before anything is recorded, so that nothing stops half way."""

import shutil
from pathlib import Path

from rig.base.errors import BenchError

LEAST_BYTES = 50_000_000
"""Below this nothing new is started: a log, its journal and raw readings need room to finish."""


def check_room(folder: Path, *, need: int = LEAST_BYTES) -> None:
    """Raise BenchError when the disk under a folder (which may not exist yet) has less than `need` bytes free."""
    existing = folder.absolute()
    while not existing.exists() and existing != existing.parent:
        existing = existing.parent
    free = shutil.disk_usage(existing).free
    if free < need:
        raise BenchError(
            f"only {free / 1e6:.0f} MB are free on this disk",
            where=str(folder),
            remedy=f"Make room for {need / 1e6:.0f} MB, or choose another place; what is in the log is kept",
        )
