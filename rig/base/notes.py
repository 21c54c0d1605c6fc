"""The notes on the pad board as they are installed: line protocol, wiring, firmware."""

from collections.abc import Iterator
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path, PurePosixPath

from rig.base.durable import make_folder
from rig.base.errors import BenchError, InputError
from rig.base.files import write_bytes

LEFT_OUT = ("__init__.py", "__pycache__")


def board_notes() -> dict[PurePosixPath, bytes]:
    """Every file of the notes by its path within them, e.g. `protocol.md`, `firmware/core/line.c`.

    Raises BenchError when the program was installed without them.
    """
    try:
        found = dict(sorted(_files(resources.files("firmware_notes"), PurePosixPath())))
    except ModuleNotFoundError:
        found = {}
    if not found:
        raise BenchError(
            "the notes on the pad board are missing from this installation",
            where="firmware_notes",
            remedy="Install pivotbench again",
        )
    return found


def _files(folder: Traversable, within: PurePosixPath) -> Iterator[tuple[PurePosixPath, bytes]]:
    for entry in folder.iterdir():
        if entry.name in LEFT_OUT:
            continue
        if entry.is_dir():
            yield from _files(entry, within / entry.name)
        else:
            yield within / entry.name, entry.read_bytes()


def lay_notes(folder: Path) -> list[Path]:
    """Write the notes into a folder and name the files. What stands there already and differs is never overwritten.

    Raises InputError when a file there has other content (somebody's own board), BenchError when the place refuses.
    """
    notes = {folder / Path(*name.parts): data for name, data in board_notes().items()}
    for path, data in notes.items():
        if path.exists() and (not path.is_file() or path.read_bytes() != data):
            raise InputError(
                "this is not as it comes with this version, so nothing was written",
                where=str(path),
                remedy="Name another folder with --out, or put this one away",
            )
    for path, data in notes.items():
        make_folder(path.parent)
        write_bytes(path, data)
    return list(notes)
