"""The one writer and reader of the bench log: SQLite, each record durable before it is shown."""

import contextlib
import hashlib
import json
import os
import sqlite3
import uuid
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self

from rig.base.durable import make_folder, sync
from rig.base.errors import BenchError, InputError
from rig.base.plain_json import finite_json
from rig.base.version import SOFTWARE
from rig.log.media import open_to_read, primary_code
from rig.log.schema import TABLES, UPGRADES, VERSION, as_written, record_sum

LOG_FILE = "bench-log.sqlite"
_looked_over: set[tuple[int, int]] = set()
"""Files (device, number) whose pages this process has looked over: 1.5 ms for every MB, so once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One entry. inputs: all that is needed to compute the result again; result: what was shown.

    number: order of writing in this log.  bench: id of the bench that wrote it.
    """

    id: str
    number: int
    bench: str
    kind: str
    title: str
    at: str
    software: str
    inputs: dict[str, Any]
    result: dict[str, Any]
    cards: tuple[str, ...]
    files: tuple[str, ...]
    parents: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CardVersion:
    """One stored version of a card, named by the hash of its text."""

    hash: str
    kind: str
    name: str
    text: str
    saved_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredFile:
    """A clip or a file of raw readings, named by the hash of its content."""

    hash: str
    kind: str
    name: str
    path: str
    bytes: int
    saved_at: str


class BenchLog:
    """The log in one folder. A context manager; safe with several processes (WAL, one writer at a time).

    Raises BenchError when the folder or the disk refuses or the log is damaged, InputError when the file is not a
    bench log.
    """

    def __init__(self, folder: Path, *, read_only: bool = False) -> None:
        self.folder = folder
        self.path = folder / LOG_FILE
        with self._translated():
            if read_only:
                if not self.path.is_file():
                    raise InputError(
                        "there is no bench log here",
                        where=str(folder),
                        remedy="Name the folder of the log, or record something first",
                    )
                self._db = open_to_read(self.path)
            else:
                make_folder(folder)
                self._db = sqlite3.connect(self.path, timeout=30, isolation_level=None)
                self._db.execute("PRAGMA journal_mode = WAL")
                self._db.execute("PRAGMA synchronous = FULL")  # a record shown must survive a power cut
            self._db.execute("PRAGMA foreign_keys = ON")
            self._settle_version(read_only)
            self._look_over()
            found = self._db.execute("SELECT value FROM bench WHERE key = 'id'").fetchone()
            if found is None:
                raise self._damaged("it does not say whose it is")
            self.bench: str = found[0]

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file. Nothing is lost without it."""
        self._db.close()

    def add_card(self, kind: str, name: str, text: str) -> str:
        """Keep this version of a card; returns its hash. The same text is kept once."""
        digest = hashlib.sha256(text.encode()).hexdigest()
        with self._writing():
            self._db.execute("INSERT OR IGNORE INTO cards VALUES (?, ?, ?, ?, ?)", (digest, kind, name, text, _now()))
        return digest

    def add_file(self, kind: str, path: Path) -> str:
        """Note a clip or raw file by its content; returns its hash. Raises InputError when unreadable."""
        digest, size = file_hash(path)
        # what a record names must be on the disk before the record; where that cannot be asked (read-only media,
        # a system that wants writing rights for it) the file was not just written either
        with contextlib.suppress(OSError), path.open("rb") as file:
            os.fsync(file.fileno())
            for folder in path.absolute().parents[:2]:  # one that was made for it, too
                sync(folder)
        with self._writing():
            self._db.execute(
                "INSERT INTO files VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (hash) DO UPDATE SET path = excluded.path",
                (digest, kind, path.name, str(path.absolute()), size, _now()),
            )
        return digest

    def record(
        self,
        kind: str,
        title: str,
        *,
        inputs: Mapping[str, Any],
        result: Mapping[str, Any],
        cards: Iterable[str] = (),
        files: Iterable[str] = (),
        parents: Iterable[str] = (),
    ) -> Record:
        """Write one record durably and return it. Numbers must be finite; missing ones are left out."""
        entry = Record(
            id=uuid.uuid4().hex,
            number=0,
            bench=self.bench,
            kind=kind,
            title=title,
            at=_now(),
            software=SOFTWARE,
            inputs=finite_json(inputs),
            result=finite_json(result),
            cards=tuple(dict.fromkeys(cards)),
            files=tuple(dict.fromkeys(files)),
            parents=tuple(dict.fromkeys(parents)),
        )
        with self._writing():
            self._insert(entry)
        return self.get(entry.id)

    def take_in(
        self, records: Iterable[Record], cards: Iterable[CardVersion], files: Iterable[StoredFile]
    ) -> tuple[int, int]:
        """Take in records of another bench, all or none of them; returns (new, already here).

        Cards, files and records that are here already stay as they are. Raises BenchError as `record` does.
        """
        new = known = 0
        with self._writing():
            for card in cards:
                self._db.execute(
                    "INSERT OR IGNORE INTO cards VALUES (?, ?, ?, ?, ?)",
                    (card.hash, card.kind, card.name, card.text, card.saved_at),
                )
            for file in files:
                self._db.execute(
                    "INSERT OR IGNORE INTO files VALUES (?, ?, ?, ?, ?, ?)",
                    (file.hash, file.kind, file.name, file.path, file.bytes, file.saved_at),
                )
            entries = list(records)
            here = {entry.id for entry in entries if self._known(entry.id)}
            known = len(here)
            for entry in entries:
                if entry.id not in here:
                    self._insert(entry, links=False)
                    new += 1
            for entry in entries:  # links last: a parent may come after its child
                if entry.id not in here:
                    self._link(entry)
        return new, known

    def _known(self, record_id: str) -> bool:
        return self._db.execute("SELECT 1 FROM records WHERE id = ?", (record_id,)).fetchone() is not None

    def _insert(self, entry: Record, *, links: bool = True) -> None:
        number = self._db.execute("SELECT coalesce(max(number), 0) + 1 FROM records").fetchone()[0]
        row = (
            entry.id,
            number,
            entry.bench,
            entry.kind,
            entry.title,
            entry.at,
            entry.software,
            _dump(entry.inputs),
            _dump(entry.result),
        )
        self._db.execute("INSERT INTO records VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", (*row, record_sum(*row)))
        if links:
            self._link(entry)

    def _link(self, entry: Record) -> None:
        for table, others in (
            ("record_cards", entry.cards),
            ("record_files", entry.files),
            ("record_parents", entry.parents),
        ):
            self._db.executemany(f"INSERT INTO {table} VALUES (?, ?)", [(entry.id, other) for other in others])

    def get(self, record_id: str) -> Record:
        """One record by its id, or an unambiguous beginning of it, or its number. Raises InputError."""
        with self._translated():
            rows = self._db.execute(
                "SELECT * FROM records WHERE id = ? OR number = ?",
                (record_id, int(record_id) if record_id.isdigit() and len(record_id) < 16 else -1),
            ).fetchall()
            if not rows and len(record_id) >= 4:
                rows = self._db.execute(
                    "SELECT * FROM records WHERE substr(id, 1, ?) = ?", (len(record_id), record_id)
                ).fetchall()
        if len(rows) != 1:
            raise InputError(
                f"{'no record' if not rows else 'more than one record'} is called {record_id}",
                where=str(self.path),
                remedy="List the records with: pivotbench log",
            )
        return self._whole(rows[0])

    def records(self, *, kind: str | None = None, title: str | None = None) -> Iterator[Record]:
        """Records in the order of writing, all or of one kind or title."""
        sql = "SELECT * FROM records WHERE ifnull(:kind, kind) = kind AND ifnull(:title, title) = title ORDER BY number"
        with self._translated():
            rows = self._db.execute(sql, {"kind": kind, "title": title}).fetchall()
            for row in rows:
                yield self._whole(row)

    def latest(self, kind: str, title: str | None = None) -> Record | None:
        """The newest record of a kind (and title), or None."""
        sql = "SELECT * FROM records WHERE kind = :kind AND ifnull(:title, title) = title ORDER BY number DESC LIMIT 1"
        with self._translated():
            row = self._db.execute(sql, {"kind": kind, "title": title}).fetchone()
        return None if row is None else self._whole(row)

    def card(self, digest: str) -> CardVersion:
        """One stored card version. Raises InputError when there is none."""
        with self._translated():
            row = self._db.execute(
                "SELECT hash, kind, name, text, saved_at FROM cards WHERE hash = ?", (digest,)
            ).fetchone()
        if row is None:
            raise InputError(
                f"no card has the hash {digest[:12]}",
                where=str(self.path),
                remedy="List the records with: pivotbench log",
            )
        return CardVersion(hash=row[0], kind=row[1], name=row[2], text=row[3], saved_at=row[4])

    def cards(self) -> list[CardVersion]:
        """All card versions, oldest first."""
        with self._translated():
            rows = self._db.execute(
                "SELECT hash, kind, name, text, saved_at FROM cards ORDER BY saved_at, hash"
            ).fetchall()
        return [CardVersion(hash=r[0], kind=r[1], name=r[2], text=r[3], saved_at=r[4]) for r in rows]

    def files(self) -> list[StoredFile]:
        """All files noted, oldest first."""
        with self._translated():
            rows = self._db.execute(
                "SELECT hash, kind, name, path, bytes, saved_at FROM files ORDER BY saved_at, hash"
            ).fetchall()
        return [StoredFile(hash=r[0], kind=r[1], name=r[2], path=r[3], bytes=r[4], saved_at=r[5]) for r in rows]

    def _whole(self, row: tuple[Any, ...]) -> Record:
        def linked(table: str, column: str) -> tuple[str, ...]:
            found = self._db.execute(f"SELECT {column} FROM {table} WHERE record = ? ORDER BY rowid", (row[0],))
            return tuple(other for (other,) in found)

        if not as_written(row):
            raise self._damaged(f"record {row[1]} is not as it was written")
        try:
            inputs, result = json.loads(row[7]), json.loads(row[8])
        except (TypeError, ValueError) as error:
            raise self._damaged(f"record {row[1]}: {error}") from error
        return Record(
            id=row[0],
            number=row[1],
            bench=row[2],
            kind=row[3],
            title=row[4],
            at=row[5],
            software=row[6],
            inputs=inputs,
            result=result,
            cards=linked("record_cards", "card"),
            files=linked("record_files", "file"),
            parents=linked("record_parents", "parent"),
        )

    def _settle_version(self, read_only: bool) -> None:
        version = self._db.execute("PRAGMA user_version").fetchone()[0]
        if version == 0 and not self._db.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone():
            if read_only:
                return
            with self._writing():
                # another process may have made the tables while this one waited for the lock
                if not self._db.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone():
                    for statement in TABLES.split(";\n"):
                        if statement.strip():
                            self._db.execute(statement)
                    self._db.execute(f"PRAGMA user_version = {VERSION}")
                    self._db.execute("INSERT INTO bench VALUES ('id', ?)", (uuid.uuid4().hex,))
            return
        if version > VERSION or version == 0:
            raise InputError(
                f"this log has version {version}, this program knows {VERSION}",
                where=str(self.path),
                remedy="Install a newer pivotbench" if version else "Name another folder: this is not a bench log",
            )
        while version < VERSION and not read_only:
            self._look_over()  # a damaged log is not built upon
            self._back_up(version)
            self._db.create_function("record_sum", -1, record_sum, deterministic=True)
            with self._writing():
                if self._db.execute("PRAGMA user_version").fetchone()[0] != version:
                    version += 1  # another process has upgraded it while this one waited for the lock
                    continue
                for statement in UPGRADES[version].split(";\n"):
                    if statement.strip():
                        self._db.execute(statement)
                version += 1
                self._db.execute(f"PRAGMA user_version = {version}")

    def _look_over(self) -> None:
        """Every page, when this process opens the file for the first time."""
        state = self.path.stat()
        file = (state.st_dev, state.st_ino)
        if file not in _looked_over:
            verdict = self._db.execute("PRAGMA quick_check(1)").fetchone()[0]
            if verdict != "ok":
                raise self._damaged(verdict)
            _looked_over.add(file)

    def _damaged(self, why: str) -> BenchError:
        return BenchError(
            f"the bench log is damaged ({' '.join(why.split())})",
            where=str(self.path),
            remedy="Copy the folder, then save what can be read with: pivotbench check --repair",
        )

    def _back_up(self, version: int) -> None:
        """Copy the log as it is before its tables are changed; an older copy of the same version is kept."""
        target = self.folder / f"bench-log.version-{version}.sqlite"
        if target.exists():
            return
        # beside it first: a copy that was cut short must not stand for a whole one
        part = target.with_name(f"{target.name}.{uuid.uuid4().hex[:8]}.part")
        with contextlib.closing(sqlite3.connect(part)) as copy:
            self._db.backup(copy)
        os.replace(part, target)
        sync(self.folder)  # no upgraded log without this copy

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with self._translated():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._db.execute("ROLLBACK") if self._db.in_transaction else None
                raise
            self._db.execute("COMMIT")

    @contextmanager
    def _translated(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.DatabaseError as error:
            if primary_code(error) == sqlite3.SQLITE_CORRUPT:
                raise self._damaged(str(error)) from error
            if primary_code(error) == sqlite3.SQLITE_NOTADB:
                raise InputError(
                    f"this file is not a bench log ({error})",
                    where=str(self.path),
                    remedy="Name another folder, or restore the log from a copy",
                ) from error
            raise BenchError(
                f"the bench log cannot be written or read ({error})",
                where=str(self.path),
                remedy="Check the room on the disk and the rights to this folder; nothing recorded before is lost",
            ) from error
        except UnicodeEncodeError as error:  # bytes in a file name that are no text
            raise InputError(
                "a name holds bytes that are no text",
                where=repr(error.object)[:200],
                remedy="Rename the file, then try again",
            ) from error
        except OSError as error:
            raise BenchError(
                f"the bench log's folder cannot be used ({error.strerror})",
                where=str(self.folder),
                remedy="Name a folder that you may write to, on a disk with room",
            ) from error


def file_hash(path: Path, *, first: int | None = None) -> tuple[str, int]:
    """(SHA-256, bytes) of a file's content, or of its first bytes. Raises InputError when it cannot be read.

    Raw readings are noted while their file still grows: what was noted then is the beginning of the file now.
    """
    digest, size = hashlib.sha256(), 0
    try:
        with path.open("rb") as file:
            while chunk := file.read(1 << 20 if first is None else min(1 << 20, first - size)):
                digest.update(chunk)
                size += len(chunk)
    except OSError as error:
        raise InputError(
            f"cannot read the file ({error.strerror})",
            where=str(path),
            remedy="Check the name and that you may read it",
        ) from error
    return digest.hexdigest(), size


def _dump(value: dict[str, Any]) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":"))


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")
