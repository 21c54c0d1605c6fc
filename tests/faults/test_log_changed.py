"""Anything changed inside a log's file is told by whatever would have shown it; a small run of the benchmark of it all.

Truth: the file is changed from outside, through SQLite; what was in it before is known.
"""

import contextlib
import os
import re
import shutil
import sqlite3
from pathlib import Path

import pytest

from rig.base.errors import BenchError
from rig.log import opening
from rig.log.journal import look_at
from rig.log.repair import check_log, repair_log
from rig.log.store import LOG_FILE, BenchLog
from rig.lookups.sources import MissingSourceError, track_of
from rig.main import main
from rig.records.classroom import FIRST_TRY
from tests.benchmarks.log_damage import RECORDS, flips, kills, lay_out, sample, shown
from tests.faults.beside import BAD
from tests.values.kept_bench import KEPT, here
from tests.whole_records import numbered


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The kept bench with its log brought forward."""
    bench = tmp_path_factory.mktemp("kept") / "bench"
    shutil.copytree(KEPT, bench)
    here(bench / "log" / LOG_FILE, bench)
    BenchLog(bench / "log").close()
    return bench


def changed(folder: Path, change: str) -> None:
    """Change a log's file from outside. change: SQL."""
    opening.looked_over.clear()
    with contextlib.closing(sqlite3.connect(folder / LOG_FILE)) as database, database:
        assert database.execute(change).rowcount > 0


@pytest.mark.parametrize(
    "arguments",
    [
        ["log"],
        ["log", "report", "--out", "report.html"],
        ["log", "export", "out"],
        ["grip", "infer", "cards/first.toml", "cards/at-66.toml"],
        ["log", "recalculate"],
    ],
)
def test_a_wheelbase_changed_inside_the_file_is_told_by_every_command(
    kept: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
) -> None:
    shutil.copytree(kept, tmp_path / "bench")
    monkeypatch.chdir(tmp_path / "bench")
    changed(
        tmp_path / "bench" / "log",
        "UPDATE cards SET text = replace(text, 'wheelbase_mm = 257', 'wheelbase_mm = 275')"
        " WHERE kind = 'car' AND text LIKE '%wheelbase_mm = 257%'",
    )
    with pytest.raises(SystemExit) as ended:
        main([*arguments, "--log", "log"])
    assert ended.value.code == 1
    assert "is not as it was written" in capsys.readouterr().err
    assert not (tmp_path / "bench" / "report.html").exists()
    assert not (tmp_path / "bench" / "out" / "SHA256SUMS").exists()


@pytest.mark.parametrize(
    ("change", "problem"),
    [
        ("UPDATE cards SET name = 'other' WHERE kind = 'test'", "cards row 3 is not"),
        ("UPDATE cards SET kind = 'bench' WHERE kind = 'car'", "cards row 1 is not"),
        ("UPDATE cards SET saved_at = '2020-01-01T00:00:00.000+00:00' WHERE kind = 'car'", "cards row 1 is not"),
        (
            "UPDATE record_cards SET card = (SELECT hash FROM cards WHERE kind = 'bench') WHERE rowid = 1",
            "record 1 rests",
        ),
        ("DELETE FROM record_parents", "record 2 rests"),
        ("DELETE FROM record_files", "record 1 rests"),
        ("UPDATE records SET title = 'other' WHERE number = 1", "records row 1 is not"),
        ("UPDATE records SET version = 2 WHERE number = 2", "records row 2 is not"),
        ("UPDATE records SET number = 3 WHERE number = 2", "records row 2 is not|of 3 records 2 are left"),
        ("UPDATE files SET bytes = 7", "files row 1 is not"),
        ("UPDATE files SET name = 'another.txt'", "files row 1 is not"),
        ("UPDATE bench SET value = 'x' || substr(value, 2) WHERE key = 'id'", "bench row 1 is not"),
    ],
)
def test_a_change_of_any_column_is_told(tmp_path: Path, change: str, problem: str) -> None:
    raw = tmp_path / "raw.txt"
    raw.write_bytes(b"1\n2\n")
    with BenchLog(tmp_path / "log") as log:
        cards = [log.add_card(kind, f"the {kind}", f"# {kind}") for kind in ("car", "bench", "test")]
        first = numbered(log, "t", cards=cards[:1], files=[log.add_file("raw readings", raw)])
        numbered(log, "t", cards=cards[2:], parents=[first.id])
    assert check_log(tmp_path / "log").sound
    changed(tmp_path / "log", change)
    health = check_log(tmp_path / "log")
    assert any(re.search(problem, text) for text in health.problems), health.problems
    with pytest.raises(BenchError, match="damaged"):
        shown(tmp_path / "log")


def test_a_title_changed_in_the_file_does_not_hide_the_newest_record(tmp_path: Path) -> None:
    """Else the older weighing of that name would be taken without a word."""
    with BenchLog(tmp_path) as log:
        for number in (1500, 1600):
            numbered(log, "Dunlin", number)
    changed(tmp_path, "UPDATE records SET title = 'Dunlim' WHERE number = 2")
    with BenchLog(tmp_path) as log:
        with pytest.raises(BenchError, match="record 2 is not as it was written"):
            log.latest(FIRST_TRY, "Dunlin")
        with pytest.raises(BenchError, match="record 2 is not as it was written"):
            list(log.records(title="Dunlin"))


def test_a_record_that_is_gone_is_told_and_one_that_a_repair_could_not_save_is_not_asked_for_again(
    tmp_path: Path,
) -> None:
    with BenchLog(tmp_path) as log:
        for number in range(5):
            numbered(log, f"p{number}")
    changed(tmp_path, "DELETE FROM records WHERE number = 3")
    with pytest.raises(BenchError, match="of 5 records 4 are left"):
        BenchLog(tmp_path)
    assert not check_log(tmp_path).sound
    repair_log(tmp_path)
    with BenchLog(tmp_path) as log:
        assert [record.number for record in log.records()] == [1, 2, 4, 5]
        assert numbered(log, "next").number == 6
    assert check_log(tmp_path).sound


def test_poses_that_are_not_those_recorded_are_not_shown(tmp_path: Path) -> None:
    track = tmp_path / "track.npz"
    track.write_bytes(b"poses")
    with BenchLog(tmp_path / "log") as log:
        record = numbered(log, "p", files=[log.add_file("track", track)])
        track.write_bytes(b"other")
        with pytest.raises(MissingSourceError, match="not what it was"):
            track_of(record, log)


@pytest.mark.skipif(os.name != "posix", reason="needs kill -9 and fork")
def test_the_journal_is_read_as_sqlite_reads_it_and_what_damage_hides_is_seen(tmp_path: Path) -> None:
    """SQLite's own recovery is the truth for what is read; that the records were committed, for what is hidden."""
    files = sample(tmp_path / "made", closed=False)
    journal = f"{LOG_FILE}-wal"
    lay_out(tmp_path / "whole", files)
    whole = look_at(tmp_path / "whole" / LOG_FILE)
    assert whole.frames == whole.read == whole.committed > 50
    with contextlib.closing(sqlite3.connect(tmp_path / "whole" / LOG_FILE)) as database:
        assert database.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone() == (0, whole.frames, whole.frames)
    cut = files | {journal: files[journal][:-100]}  # a writer that was stopped within a write; its index knows less
    del cut[f"{LOG_FILE}-shm"]
    lay_out(tmp_path / "cut", cut)
    short = look_at(tmp_path / "cut" / LOG_FILE)
    assert short.read == short.committed < whole.read
    with contextlib.closing(sqlite3.connect(tmp_path / "cut" / LOG_FILE)) as database:
        assert database.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()[1] == short.read
    for where, with_index in ((5000, True), (5000, False), (len(files[journal]) - 3000, True)):
        hurt = bytearray(files[journal])
        hurt[where] ^= 4
        laid = files | {journal: bytes(hurt)}
        if not with_index:
            del laid[f"{LOG_FILE}-shm"]
        lay_out(tmp_path / "hurt", laid)
        opening.looked_over.clear()
        seen = look_at(tmp_path / "hurt" / LOG_FILE)
        assert seen.read < seen.committed == whole.committed
        for read_only in (True, False):
            with pytest.raises(BenchError, match=r"newest records stand in \d+ pages of its journal"):
                BenchLog(tmp_path / "hurt", read_only=read_only)
        assert not check_log(tmp_path / "hurt").sound
        done = repair_log(tmp_path / "hurt")
        assert done.kept["records"] >= RECORDS - 1  # at most the row in which the bit is


@pytest.mark.thorough
@pytest.mark.skipif(os.name != "posix", reason="needs kill -9 and fork")
@pytest.mark.parametrize("kind", ["repair", "import", "upgrade"])
def test_a_job_killed_beside_a_writer_loses_nothing(kind: str) -> None:
    done = kills(kind, 4, seed=5)
    assert done["kills"] == 4
    assert {key: done[key] for key in BAD} == dict.fromkeys(BAD, 0)


@pytest.mark.thorough
@pytest.mark.skipif(os.name != "posix", reason="needs kill -9 and fork")
def test_a_repair_that_asks_nobody_loses_what_was_acknowledged() -> None:
    """The same judge, so that it is known to see."""
    assert kills("careless", 3, seed=5)["lost"] > 0


@pytest.mark.skipif(os.name != "posix", reason="needs kill -9 and fork")
def test_no_flipped_bit_is_silent() -> None:
    done, plain = flips(24, seed=3)
    assert (done["flips"], done["silent"], done["check_missed"], done["not_repaired"]) == (24, 0, 0, 0)
    assert done["told"] > 5
    assert plain["silent"] > 3  # SQLite alone shows what is wrong
