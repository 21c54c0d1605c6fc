"""Write results so that a half-written file never stands under the final name."""

import os
from pathlib import Path

from rig.errors import BenchError


def write_text(path: Path, text: str) -> None:
    """Write a text file whole or not at all. Raises BenchError when the place refuses."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file whole or not at all: beside it first, then moved. Raises BenchError when the place refuses."""
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())  # a name must not outlive its content in a power cut
        os.replace(part, path)
    except OSError as error:
        raise BenchError(
            f"cannot write this file ({error.strerror})",
            where=str(path),
            remedy="Name a folder that you may write to, on a disk with room; what is in the log is kept",
        ) from error
