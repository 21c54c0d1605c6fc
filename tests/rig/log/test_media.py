"""A log on a locked card is read as it is, unless a journal beside it holds what it lacks. The refusals are acted."""

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rig.log import media
from rig.log.media import open_to_read, primary_code


def refusal(code: int) -> sqlite3.OperationalError:
    error = sqlite3.OperationalError("refused")
    error.sqlite_errorcode = code
    return error


@pytest.fixture
def place(tmp_path: Path) -> Path:
    path = tmp_path / "log ä.sqlite"
    made = sqlite3.connect(path)
    made.execute("CREATE TABLE t (x)")
    made.execute("INSERT INTO t VALUES (7)")
    made.commit()
    made.close()
    return path


@pytest.fixture
def locked(monkeypatch: pytest.MonkeyPatch) -> Callable[[int], list[str]]:
    """Media on which SQLite refuses by this code what is not said to be immutable; the addresses asked for."""
    plain = sqlite3.connect

    def lock(code: int) -> list[str]:
        asked: list[str] = []

        def connect(address: str, **more: Any) -> Any:
            asked.append(address.partition("?")[2])
            if "immutable" in address:
                return plain(address, **more)

            class Refusing:
                def execute(self, _: str) -> Any:
                    raise refusal(code)

                def close(self) -> None:
                    asked.append("closed")

            return Refusing()

        monkeypatch.setattr(media.sqlite3, "connect", connect)
        return asked

    return lock


def test_a_log_is_read_and_never_written(place: Path) -> None:
    opened = open_to_read(place)
    assert opened.execute("SELECT x FROM t").fetchall() == [(7,)]
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        opened.execute("INSERT INTO t VALUES (8)")
    opened.close()


@pytest.mark.parametrize("code", [14, 14 | 2 << 8, 8, 8 | 5 << 8])  # cannot open, read only; with what SQLite adds
def test_where_nothing_can_be_written_beside_it_the_file_is_read_as_it_is(
    place: Path, locked: Callable[[int], list[str]], code: int
) -> None:
    asked = locked(code)
    assert open_to_read(place).execute("SELECT x FROM t").fetchall() == [(7,)]
    assert asked == ["mode=ro", "closed", "mode=ro&immutable=1"]


@pytest.mark.parametrize(
    ("code", "journal"), [(14, b"newer"), (5, None), (10, None)]
)  # unfinished; busy; a broken disk
def test_what_would_lack_the_newest_records_is_not_read(
    place: Path, locked: Callable[[int], list[str]], code: int, journal: bytes | None
) -> None:
    if journal:
        place.with_name(place.name + "-wal").write_bytes(journal)
    asked = locked(code)
    with pytest.raises(sqlite3.OperationalError, match="refused"):
        open_to_read(place)
    assert asked == ["mode=ro", "closed"]


def test_an_empty_journal_has_nothing_unfinished(place: Path, locked: Callable[[int], list[str]]) -> None:
    place.with_name(place.name + "-wal").write_bytes(b"")
    locked(14)
    assert open_to_read(place).execute("SELECT x FROM t").fetchall() == [(7,)]


def test_what_is_no_log_is_refused(tmp_path: Path) -> None:
    (tmp_path / "letter.sqlite").write_bytes(b"Dear all, " * 200)
    with pytest.raises(sqlite3.DatabaseError) as caught:
        open_to_read(tmp_path / "letter.sqlite")
    assert primary_code(caught.value) == 26  # SQLITE_NOTADB
    assert primary_code(sqlite3.Error()) == 0
