"""Write results so that a half-written file never stands under the final name."""

import contextlib
import os
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rig.base.durable import make_folder, sync
from rig.base.errors import BenchError, InputError

SMALL = 4_000_000
"""Bytes of the largest text that a person writes; a clip named by mistake is larger."""
QUICK_OPEN = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
"""How a file is opened to be looked at first; both are known on some systems only."""


def small_file(path: Path, what: str) -> bytes:
    """The content of a file that a person wrote. what: a card, a plan.

    Raises InputError for what would never end or is no such file (a pipe, a device, a clip), OSError as reading does.
    """
    # without waiting: opening a pipe that nobody writes to would hang for ever
    handle = os.open(path, os.O_RDONLY | QUICK_OPEN)
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise InputError(
            f"this is no file but a folder, a pipe or a device: a {what} cannot be read from it",
            where=str(path),
            remedy=f"Name the file of the {what}",
        )
    with os.fdopen(handle, "rb") as file:
        data = file.read(SMALL + 1)
    if len(data) > SMALL:
        raise InputError(f"this is too large for a {what}", where=str(path), remedy=f"Name the file of the {what}")
    return data


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
