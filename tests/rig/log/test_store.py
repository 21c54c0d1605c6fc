"""The bench log: durable before shown, safe with two processes, clear when the place is wrong."""

import contextlib
import json
import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from rig.base.errors import BenchError, InputError
from rig.log.media import primary_code
from rig.log.store import LOG_FILE, BenchLog


def test_a_record_comes_back_with_everything_that_made_it(tmp_path: Path) -> None:
    clip = tmp_path / "push.avi"
    clip.write_bytes(b"frames")
    with BenchLog(tmp_path / "log") as log:
        card = log.add_card("car", "Dunlin", "text")
        file = log.add_file("clip", clip)
        first = log.record(
            "weighing", "w", inputs={"raw": np.array([1.5, 2.0])}, result={"total_g": 1600.0}, cards=[card]
        )
        second = log.record(
            "push",
            "p",
            inputs={"seed": 3},
            result={"kappa": -1.0, "nothing": None},
            files=[file],
            parents=[first.id],
        )
    with BenchLog(tmp_path / "log") as log:
        assert log.get(first.id).inputs == {"raw": [1.5, 2.0]}
        again = log.latest("push")
        assert again == second
        assert (again.number, again.files, again.parents, again.result) == (
            2,
            (file,),
            (first.id,),
            {"kappa": -1.0},
        )
        assert log.get("2") == again == log.get(again.id[:8])
        assert log.card(card).text == "text"


def test_numbers_that_are_not_finite_are_left_out_never_written(tmp_path: Path) -> None:
    with BenchLog(tmp_path) as log:
        record = log.record("push", "p", inputs={}, result={"a": float("nan"), "b": float("inf"), "c": 1.0})
    raw = sqlite3.connect(tmp_path / LOG_FILE).execute("SELECT result FROM records").fetchone()[0]
    assert json.loads(raw) == {"c": 1.0} == record.result


def test_two_processes_write_at_once_and_nothing_is_lost(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from rig.log.store import BenchLog\n"
        "with BenchLog(Path(sys.argv[1])) as log:\n"
        "    [log.record('push', sys.argv[2], inputs={}, result={'i': i}) for i in range(40)]\n"
    )
    running = [subprocess.Popen([sys.executable, "-c", script, str(tmp_path), name]) for name in ("a", "b")]
    assert [process.wait(timeout=60) for process in running] == [0, 0]
    with BenchLog(tmp_path) as log:
        records = list(log.records())
    assert [record.number for record in records] == list(range(1, 81))
    for name in ("a", "b"):
        assert [record.result["i"] for record in records if record.title == name] == list(range(40))


def test_a_file_that_is_no_log_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / LOG_FILE).write_text("a shopping list, long enough to be more than a header of SQLite" * 30)
    with pytest.raises(InputError, match="not a bench log"):
        BenchLog(tmp_path)
    assert (tmp_path / LOG_FILE).read_text().startswith("a shopping list")


def test_a_log_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    BenchLog(tmp_path).close()
    database = sqlite3.connect(tmp_path / LOG_FILE)
    database.execute("PRAGMA user_version = 99")
    database.commit()
    with pytest.raises(InputError, match="version 99"):
        BenchLog(tmp_path)


def test_a_place_that_cannot_hold_a_log_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BenchError, match="file"):
        BenchLog(tmp_path / "file")
    with pytest.raises(InputError, match="there is no bench log here"):
        BenchLog(tmp_path / "nowhere", read_only=True)


def test_a_failed_write_leaves_the_log_as_it_was(tmp_path: Path) -> None:
    with BenchLog(tmp_path) as log:
        log.record("push", "kept", inputs={}, result={})
        with pytest.raises(BenchError, match="cannot be written"):
            log.record("push", "broken", inputs={}, result={}, cards=["no such card"])
        assert [record.title for record in log.records()] == ["kept"]
        log.record("push", "after", inputs={}, result={})
        assert [record.number for record in log.records()] == [1, 2]


@pytest.mark.parametrize(
    ("code", "primary"),
    [  # sqlite.org, result and error codes
        (8, 8),  # SQLITE_READONLY
        (1544, 8),  # SQLITE_READONLY_DIRECTORY
        (779, 11),  # SQLITE_CORRUPT_INDEX is a kind of SQLITE_CORRUPT
        (None, 0),
    ],
)
def test_sqlite_tells_its_kinds_of_failure_by_code(code: int | None, primary: int) -> None:
    error = sqlite3.OperationalError("words that may change")
    if code is not None:
        error.sqlite_errorcode = code
    assert primary_code(error) == primary


def test_damage_that_comes_while_the_log_is_in_use_is_called_damage(tmp_path: Path) -> None:
    with BenchLog(tmp_path) as log:
        for number in range(100):
            log.record("push", f"push {number}", inputs={"text": "x" * 900}, result={"n": number})
    path = tmp_path / LOG_FILE
    with contextlib.closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = bytearray(path.read_bytes())
    data[4096 * 8 :] = b"\xff" * (len(data) - 4096 * 8)  # the head and the tables' list stay
    path.write_bytes(data)
    with BenchLog(tmp_path) as log, pytest.raises(BenchError, match="the bench log is damaged"):
        list(log.records())
