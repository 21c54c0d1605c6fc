"""What survives a power cut: a file's content after fsync of the file, its name only after fsync of its folder."""

import errno
import os
from pathlib import Path

CANNOT_BE_ASKED = (
    errno.EINVAL,
    errno.EROFS,
    errno.EBADF,
    errno.EACCES,
    errno.EPERM,
    errno.ENOTSUP,
    errno.EOPNOTSUPP,
    errno.ENOSYS,
    errno.EISDIR,
)
"""What a system answers to fsync of what it cannot sync; anything else (EIO, a full disk) says that it failed."""


def sync(path: Path) -> None:
    """Bring a file's content, or the names in a folder, safely to the disk. Raises OSError when the disk fails.

    Where that cannot be asked for (folders on Windows, some network disks, what may not be read) nothing is done.
    """
    writable = path.is_file() and os.access(path, os.W_OK)  # Windows wants writing rights for a file
    try:
        handle = os.open(path, os.O_RDWR if writable else os.O_RDONLY)
    except OSError as error:
        if error.errno not in (*CANNOT_BE_ASKED, errno.ENOENT):
            raise
        return
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in CANNOT_BE_ASKED:
            raise
    finally:
        os.close(handle)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, all of them safely on the disk. Raises OSError when the place refuses."""
    new, above = [folder], folder.parent
    while not above.exists():
        new.append(above)
        above = above.parent
    for one in reversed(new):
        if not one.is_dir():
            one.mkdir(exist_ok=True)
            sync(one.parent)
