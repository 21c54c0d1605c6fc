"""What a disk may hold after a power cut: replays what recorded_writes.c has noted of a process.

POSIX promises little, and this takes it at its word. Only what fsync or fdatasync of a file covered is surely there, as
it was then. A name, given, changed or taken away, is surely so only after fsync of its folder; the folder itself only
after fsync of the one above it. Of everything else any part may have reached the disk, in any order, and of a write any
512-byte sector. A rename happens or does not.
"""

import os
import random
import shutil
import struct
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tests.faults.preloaded import run_preloaded

HEAD = struct.Struct("=QQqQQQ")
SECTOR = 512
NEVER_READ = "-shm"
"""SQLite makes this file anew after a power cut."""

Image = dict[str, bytes | None]
"""Path below the root -> content; None for a folder."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One note, as recorded_writes.c explains it."""

    kind: str
    file: int
    at: int
    name: str
    other: str
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """A process's writes. before: what lay below the root at its beginning, as number of the file and content."""

    root: Path
    before: dict[str, tuple[int, bytes | None]]
    events: tuple[Event, ...]
    code: int
    err: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A power cut. at: events before it.  said: what had been acknowledged."""

    at: int
    way: str
    said: str
    image: Image


def record(arguments: list[str], *, root: Path, limit_s: float = 60.0) -> Recorded:
    """Run `python ARGUMENTS` and note what it does below `root`."""
    before = {
        str(path): (path.stat().st_ino, None if path.is_dir() else path.read_bytes())
        for path in sorted(root.rglob("*"))
    }
    with tempfile.TemporaryDirectory() as aside:
        notes = Path(aside) / "notes"
        settings = {"RECORD_ROOT": str(root), "RECORD_TO": str(notes)}
        done = run_preloaded(arguments, "recorded_writes.c", settings, limit_s=limit_s)
        events = tuple(_events(notes.read_bytes())) if notes.exists() else ()
    return Recorded(root=root, before=before, events=events, code=done.returncode, err=done.stderr)


def _events(notes: bytes) -> Iterator[Event]:
    place = 0
    while place < len(notes):
        kind, file, at, name, other, size = HEAD.unpack_from(notes, place)
        place += HEAD.size
        parts = []
        for length in (name, other, size):
            parts.append(notes[place : place + length])
            place += length
        yield Event(
            kind=chr(kind), file=file, at=at, name=os.fsdecode(parts[0]), other=os.fsdecode(parts[1]), data=parts[2]
        )


@dataclass(frozen=True, slots=True)
class Naming:
    """A change of names in one folder: these go, these come (number of the file; FOLDER for a folder)."""

    folder: str
    gone: tuple[str, ...]
    come: tuple[tuple[str, int], ...]


@dataclass(slots=True)
class Content:
    """A file. synced: surely there.  waiting: writes (place, bytes) and new sizes (size, None) since then."""

    synced: bytes = b""
    waiting: list[tuple[int, bytes | None]] = field(default_factory=list)

    def with_some(self, keeps: Callable[[], bool], *, torn: bool) -> bytes:
        """What is synced, and of what waits that which `keeps` says; by sectors when torn."""
        held = bytearray(self.synced)
        for at, data in self.waiting:
            if data is None:
                if keeps():
                    held[at:] = b""
                    held += bytes(at - len(held))
                continue
            for start in range(0, len(data), SECTOR if torn else len(data)):
                piece = data[start : start + SECTOR] if torn else data
                if keeps():
                    held += bytes(max(0, at + start - len(held)))
                    held[at + start : at + start + len(piece)] = piece
        return bytes(held)


FOLDER = -1


class Disk:
    """The state of the disk while the events come one by one."""

    def __init__(self, recorded: Recorded) -> None:
        self._root = str(recorded.root)
        self._names: dict[str, int] = {}
        self._waiting: list[Naming] = []
        self._contents: dict[int, Content] = {}
        self._current: dict[int, int] = {}  # number on the disk, which is given again -> our own
        for path, (number, held) in recorded.before.items():
            self._names[path] = FOLDER if held is None else self._own(number)
            if held is not None:
                self._contents[self._own(number)].synced = held

    def _own(self, number: int, *, new: bool = False) -> int:
        if new or number not in self._current:
            self._current[number] = len(self._contents)
            self._contents[len(self._contents)] = Content()
        return self._current[number]

    def take(self, event: Event) -> None:
        """The next event."""
        folder = os.path.dirname(event.other or event.name)
        match event.kind:
            case "C":
                new = self._own(event.file, new=True)
                self._waiting.append(Naming(folder, (), ((event.name, new),)))
            case "M":
                self._waiting.append(Naming(folder, (), ((event.name, FOLDER),)))
            case "R":
                self._waiting.append(Naming(folder, (event.name,), ((event.other, self._own(event.file)),)))
            case "U":
                self._waiting.append(Naming(folder, (event.name,), ()))
            case "W":
                self._contents[self._own(event.file)].waiting.append((event.at, event.data))
            case "T":
                self._contents[self._own(event.file)].waiting.append((event.at, None))
            case "S":
                self._contents[self._own(event.file)] = Content(event.data)
            case "D":
                for naming in self._waiting:
                    if naming.folder == event.name:
                        _name(self._names, naming)
                self._waiting = [naming for naming in self._waiting if naming.folder != event.name]

    def ways(self) -> tuple[str, ...]:
        """WAYS, and each change of names that alone may be missing, where there are few."""
        few = len(self._waiting) if 1 < len(self._waiting) <= FEW else 0
        return (*WAYS, *(f"everything but name {index}" for index in range(few)))

    def image(self, way: str, rng: random.Random) -> Image:
        """What may be found after a cut now. way: of `ways`."""

        def some() -> bool:
            return rng.random() < 0.5

        def never() -> bool:
            return False

        def always() -> bool:
            return True

        of_names, of_data = {
            "nothing": (never, never),
            "names": (always, never),
            "data": (never, always),
            "torn": (some, some),
        }.get(way, (always, always))
        names = dict(self._names)
        for index, naming in enumerate(self._waiting):
            if of_names() and way != f"everything but name {index}":
                _name(names, naming)
        held: Image = {}
        for path, number in sorted(names.items()):
            above = os.path.dirname(path)
            if (above == self._root or held.get(above, b"") is None) and not path.endswith(NEVER_READ):
                held[path] = None if number == FOLDER else self._contents[number].with_some(of_data, torn=way == "torn")
        return {os.path.relpath(path, self._root): content for path, content in held.items()}


WAYS = ("nothing", "everything", "names", "data", "torn")
"""What of the unsynced survives a cut: nothing, everything, only names, only data, any part of both."""
FEW = 12


def _name(names: dict[str, int], naming: Naming) -> None:
    for name in naming.gone:
        names.pop(name, None)
    names.update(naming.come)


def cuts(recorded: Recorded) -> Iterator[Cut]:
    """Power cuts before and after every event, in every way; images that were given for the same words are left out."""
    disk, rng, said, seen = Disk(recorded), random.Random(0), "", set[int]()
    for at in range(len(recorded.events) + 1):
        for way in disk.ways():
            image = disk.image(way, rng)
            mark = hash((said, *image.items()))
            if mark not in seen:
                seen.add(mark)
                yield Cut(at=at, way=way, said=said, image=image)
        if at < len(recorded.events):
            event = recorded.events[at]
            disk.take(event)
            said += event.data.decode("utf-8") if event.kind == "A" else ""


def lay_out(image: Image, folder: Path) -> Path:
    """The disk after the cut, in a fresh folder."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, content in image.items():  # a folder comes before what is in it
        if content is None:
            (folder / name).mkdir()
        else:
            (folder / name).write_bytes(content)
    return folder
