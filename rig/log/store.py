"""The one writer and reader of the bench log: SQLite, each record durable before it is shown."""

import contextlib
import hashlib
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self, overload

from rig.base.durable import sync
from rig.base.errors import BenchError, InputError
from rig.base.version import SOFTWARE
from rig.log.damage import damaged, in_words
from rig.log.opening import file_number, moved, open_log
from rig.log.rows import (
    CardVersion,
    StoredFile,
    file_hash,
    insert_card,
    insert_file,
    insert_links,
    insert_record,
    own_content,
    record_read,
)
from rig.log.schema import LINKS_SUMMED, SUMMED, as_written, column_list, links_sum
from rig.log.upgrade import links_of, value_of
from rig.records.codec import checked
from rig.records.record import AnyRecord, InputsT, Kind, Record, ResultT

LOG_FILE = "bench-log.sqlite"


class BenchLog:
    """The log in one folder. A context manager; safe with several processes (WAL, one writer at a time).

    database: the open SQLite database, for what no method asks.
    Raises BenchError when the folder or the disk refuses or the log is damaged, InputError when the file is not a
    bench log.
    """

    def __init__(self, folder: Path, *, read_only: bool = False) -> None:
        self.folder = folder
        self.path = folder / LOG_FILE
        self._fitting: set[str] = set()  # hashes of cards that were found to be as written
        with in_words(self.path):
            self._opened = open_log(self.path, read_only=read_only)
            self.database, self._version = self._opened.database, self._opened.version
            found = value_of(self.database, "id", self._version)
            if found is None:
                self.close()
                raise damaged(self.path, "it does not say whose it is")
            self.bench: str = found

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file. Nothing is lost without it."""
        self.database.close()
        self._opened.hold.close()

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Nobody else has the log open inside this block. Raises BenchError saying who has."""
        with in_words(self.path), self._opened.hold.alone():
            self._still_there()
            yield

    def add_card(self, kind: str, name: str, text: str) -> str:
        """Keep this version of a card; returns its hash. The same text is kept once."""
        digest = hashlib.sha256(text.encode()).hexdigest()
        with self._writing():
            insert_card(self.database, CardVersion(hash=digest, kind=kind, name=name, text=text, saved_at=_now()))
        return digest

    def add_file(self, kind: str, path: Path) -> str:
        """Note a clip or raw file by its content; returns its hash. Raises InputError when unreadable."""
        digest, size = file_hash(path)
        try:  # what a record names must be on the disk before the record, and the folder that was made for it, too
            for place in (path, *path.absolute().parents[:2]):
                sync(place)
        except OSError as error:
            raise BenchError(
                f"this file cannot be brought safely to the disk ({error.strerror})",
                where=str(path),
                remedy="Copy it to a sound disk and name it there; nothing was recorded of it",
            ) from error
        with self._writing():
            where = str(path.absolute())
            row = StoredFile(hash=digest, kind=kind, name=path.name, path=where, bytes=size, saved_at=_now())
            insert_file(self.database, row, known="DO UPDATE SET path = excluded.path")
        return digest

    def record(
        self,
        kind: Kind[InputsT, ResultT],
        title: str,
        *,
        inputs: InputsT,
        result: ResultT,
        cards: Iterable[str] = (),
        files: Iterable[str] = (),
        parents: Iterable[str] = (),
    ) -> Record[InputsT, ResultT]:
        """Write one record durably and return it as it will be read. Optional numbers that are not finite are left out.

        Raises RecordError when a field is missing, of the wrong type, or not a finite number.
        """
        where = f"new {kind.name}"
        entry = Record(
            id=uuid.uuid4().hex,
            number=0,
            bench=self.bench,
            kind=kind.name,
            title=title,
            at=_now(),
            software=SOFTWARE,
            inputs=checked(inputs, where=f"{where}, inputs"),
            result=checked(result, where=f"{where}, result"),
            cards=tuple(dict.fromkeys(cards)),
            files=tuple(dict.fromkeys(files)),
            parents=tuple(dict.fromkeys(parents)),
        )
        with self._writing():
            number = insert_record(self.database, entry)
        return replace(entry, number=number)

    def take_in(
        self, records: Iterable[AnyRecord], cards: Iterable[CardVersion], files: Iterable[StoredFile]
    ) -> tuple[int, int]:
        """Take in records of another bench, all or none of them; returns (new, already here).

        Cards, files and records that are here already stay as they are. Raises BenchError as `record` does, InputError
        when a record that is here already says something else.
        """
        new = known = 0
        with self._writing():
            for card in cards:
                insert_card(self.database, card)
            for file in files:
                insert_file(self.database, file, known="DO NOTHING")
            entries = list(records)
            here = {entry.id for entry in entries if self._known(entry)}
            known = len(here)
            for entry in entries:
                if entry.id not in here:
                    insert_record(self.database, entry, links=False)
                    new += 1
            for entry in entries:  # links last: a parent may come after its child
                if entry.id not in here:
                    insert_links(self.database, entry)
        return new, known

    def _known(self, entry: AnyRecord) -> bool:
        if self.database.execute("SELECT 1 FROM records WHERE id = ?", (entry.id,)).fetchone() is None:
            return False
        here = self.get(entry.id)
        if own_content(here) != own_content(entry):
            raise InputError(
                f"record {entry.id[:8]} is here already as number {here.number} and says something else",
                where=str(self.path),
                remedy="One of the two was changed: look at both, then import into a log of its own",
            )
        return True

    def get(self, record_id: str) -> AnyRecord:
        """One record by its id, or an unambiguous beginning of it, or its number. Raises InputError."""
        with in_words(self.path):
            rows = self._rows(
                "records",
                "WHERE id = ? OR number = ?",
                (record_id, int(record_id) if record_id.isdigit() and len(record_id) < 16 else -1),
            )
            if not rows and len(record_id) >= 4:
                rows = self._rows("records", "WHERE substr(id, 1, ?) = ?", (len(record_id), record_id))
            if len(rows) != 1:
                raise InputError(
                    f"{'no record' if not rows else 'more than one record'} is called {record_id}",
                    where=str(self.path),
                    remedy="List the records with: pivotbench log",
                )
            return self._whole(rows[0])

    @overload
    def records(
        self, *, kind: Kind[InputsT, ResultT], title: str | None = None
    ) -> Iterator[Record[InputsT, ResultT]]: ...

    @overload
    def records(self, *, kind: str | None = None, title: str | None = None) -> Iterator[AnyRecord]: ...

    def records(
        self, *, kind: Kind[Any, Any] | str | None = None, title: str | None = None
    ) -> Iterator[Record[Any, Any]]:
        """Records in the order of writing, all or of one kind or title."""
        with in_words(self.path):
            for row in self._rows("records", *_of_kind(kind), "ORDER BY number"):
                record = self._whole(row)  # before its title is looked at: a damaged one must not just be missing
                if title is None or record.title == title:
                    yield record

    def latest(self, kind: Kind[InputsT, ResultT], title: str | None = None) -> Record[InputsT, ResultT] | None:
        """The newest record of a kind (and title), or None."""
        where, given = _of_kind(kind)
        with in_words(self.path):
            sql = f"SELECT {column_list('records', self._version)} FROM records {where} ORDER BY number DESC"
            with contextlib.closing(self.database.execute(sql, given)) as rows:
                for row in rows:
                    record = kind.of(self._whole(row))
                    if title is None or record.title == title:
                        return record
        return None

    def card(self, digest: str) -> CardVersion:
        """One stored card version. Raises InputError when there is none."""
        with in_words(self.path):
            rows = self._rows("cards", "WHERE hash = ?", (digest,))
        if not rows:
            raise InputError(
                f"no card has the hash {digest[:12]}",
                where=str(self.path),
                remedy="List the records with: pivotbench log",
            )
        return CardVersion(**dict(zip(SUMMED["cards"], rows[0], strict=False)))

    def cards(self) -> list[CardVersion]:
        """All card versions, oldest first."""
        with in_words(self.path):
            rows = self._rows("cards", "ORDER BY saved_at, hash")
        return [CardVersion(**dict(zip(SUMMED["cards"], row, strict=False))) for row in rows]

    def files(self) -> list[StoredFile]:
        """All files noted, oldest first."""
        with in_words(self.path):
            rows = self._rows("files", "ORDER BY saved_at, hash")
        return [StoredFile(hash=r[0], kind=r[1], name=r[2], bytes=r[3], saved_at=r[4], path=r[5]) for r in rows]

    def _rows(self, table: str, where: str, given: Iterable[object] = (), order: str = "") -> list[tuple[Any, ...]]:
        """Rows by `column_list`, each of them as it was written. Raises BenchError when one is not."""
        sql = f"SELECT {column_list(table, self._version)} FROM {table} {where} {order}"
        rows = self.database.execute(sql, tuple(given)).fetchall()
        for row in rows if table != "records" else ():  # records are looked at one by one, as they are given out
            self._check(table, row)
        return rows

    def _check(self, table: str, row: tuple[Any, ...]) -> None:
        if not as_written(table, row, self._version):
            name = f"record {row[1]}" if table == "records" else f"{table[:-1]} {str(row[0])[:12]}"
            raise damaged(self.path, f"{name} is not as it was written")

    def _whole(self, row: tuple[Any, ...]) -> AnyRecord:
        self._check("records", row)
        where = f"{self.path}, record {row[1]}"
        links = links_of(self.database, row[0])
        record = record_read(row, links, where=where)
        if self._version >= LINKS_SUMMED and row[10] != links_sum(row[0], links):
            raise damaged(self.path, f"what record {row[1]} rests on is not as it was written")
        for digest in links[0]:
            if digest not in self._fitting:  # what a record was made with is shown with it
                self.card(digest)
                self._fitting.add(digest)
        return record

    def _still_there(self) -> None:
        """Raise BenchError when the file that is open here is no longer the log: what is written would be lost."""
        try:
            there = file_number(self.path)
        except FileNotFoundError:
            there = None
        if there != self._opened.file:
            raise moved(self.path)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with in_words(self.path):
            self.database.execute("BEGIN IMMEDIATE")
            try:
                self._still_there()
                yield
            except BaseException:
                self.database.execute("ROLLBACK") if self.database.in_transaction else None
                raise
            self.database.execute("COMMIT")


def _of_kind(kind: Kind[Any, Any] | str | None) -> tuple[str, tuple[object, ...]]:
    return ("", ()) if kind is None else ("WHERE kind = ?", (kind.name if isinstance(kind, Kind) else kind,))


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")
