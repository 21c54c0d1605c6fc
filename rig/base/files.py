"""Write results so that a half-written file never stands under the final name."""

import contextlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rig.base.durable import make_folder, sync
from rig.base.errors import BenchError


def write_text(path: Path, text: str) -> None:
    """Write a text file whole or not at all. Raises BenchError when the place refuses."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file whole or not at all. Raises BenchError when the place refuses."""
    with whole_file(path) as part, part.open("wb") as file:
        file.write(data)


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A name beside `path` to write to; what was written takes its place in the end, safely on the disk, or is removed.

    The name keeps the ending, by which video and picture libraries choose their format, and is this writer's own: two
    may write the same file at once. Raises BenchError when the place refuses.
    """
    part = path.with_name(f"{path.stem[:50]}.{secrets.token_hex(4)}.part{path.suffix}")
    try:
        make_folder(path.parent)
        yield part
        with part.open("rb+") as file:
            os.fsync(file.fileno())  # a name must not outlive its content in a power cut
        os.replace(part, path)
        sync(path.parent)
    except OSError as error:
        raise BenchError(
            f"cannot write this file ({error.strerror})",
            where=str(path),
            remedy="Name a folder that you may write to, on a disk with room; what is in the log is kept",
        ) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
