"""A bench log whose bytes were changed: opened with all its records, or refused in words and saved as far as possible.

Truth: every record's figure is the square of its number; what is found must be that, whatever happened to the file.
"""

import contextlib
import random
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from rig.base.errors import BenchError, InputError
from rig.log.repair import check_log, repair_log
from rig.log.store import LOG_FILE, BenchLog
from tests.faults.bad_disk import Ended, run_on_bad_disk
from tests.faults.mutate import mutate
from tests.faults.preloaded import available
from tests.whole_records import number_of, numbered

DATA = Path(__file__).parents[1] / "data"
RECORDS = 120  # several pages of each table


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a log with cards, links and records."""
    folder = tmp_path_factory.mktemp("whole")
    with BenchLog(folder) as log:
        log.database.execute("PRAGMA synchronous = OFF")
        parents: list[str] = []
        for number in range(RECORDS):
            card = log.add_card("car", f"c{number}", f"{number} " + "text " * 60)
            made = numbered(log, f"p{number}", number, cards=[card], parents=parents[-1:])
            parents.append(made.id)
    return (folder / LOG_FILE).read_bytes()


def found(folder: Path) -> set[int]:
    """Numbers of the records in a log; each with its own figure."""
    with BenchLog(folder) as log:
        records = list(log.records())
    return {number_of(record) for record in records}


def spoilt(data: bytes, way: str, rng: random.Random) -> bytes:
    if way == "bytes":
        return mutate(data, rng, [data], longest=len(data) * 2)
    at = rng.randrange(1, len(data) // 4096) * 4096
    return data[:at] if way == "cut" else data[:at] + bytes(4096) + data[at + 4096 :]


@pytest.mark.parametrize("way", ["bytes", "cut", "empty page"])
def test_a_damaged_log_is_refused_in_words_and_saved_as_far_as_possible(tmp_path: Path, whole: bytes, way: str) -> None:
    refused = saved = 0
    for seed in range(6):
        folder = tmp_path / str(seed)
        folder.mkdir()
        (folder / LOG_FILE).write_bytes(spoilt(whole, way, random.Random(seed)))
        damaged = (folder / LOG_FILE).read_bytes()
        try:
            assert len(found(folder)) == RECORDS  # opened: then nothing is missing
            continue
        except (BenchError, InputError):
            refused += 1
        assert not check_log(folder).sound
        try:
            done = repair_log(folder)
        except BenchError:  # not even the first page
            continue
        assert done.damaged_copy.read_bytes() == damaged
        assert check_log(folder).sound
        kept = found(folder)
        assert len(kept) == done.kept["records"]
        assert kept == set(range(RECORDS)) or sum(done.unreadable.values()) > 0  # nothing is left out untold
        saved += len(kept)
        with BenchLog(folder) as log:
            numbered(log, "after", 2)
    assert refused > 0
    assert saved > refused * RECORDS // 4


def test_the_journal_of_a_damaged_log_is_put_aside_with_it(tmp_path: Path, whole: bytes) -> None:
    """What was written last may stand in the journal alone; a repair that fails must leave it somewhere."""
    (tmp_path / LOG_FILE).write_bytes(spoilt(whole, "empty page", random.Random(1)))
    journal = b"what had not gone into the log yet"
    (tmp_path / f"{LOG_FILE}-wal").write_bytes(journal)
    copy = repair_log(tmp_path).damaged_copy
    assert copy.with_name(f"{copy.name}-wal").read_bytes() == journal


def test_a_card_that_is_not_what_its_hash_says_is_found(tmp_path: Path, whole: bytes) -> None:
    """One turned bit inside a text: the pages of SQLite carry no sums."""
    (tmp_path / LOG_FILE).write_bytes(whole.replace(b"7 text", b"6 text", 1))
    assert any("cards row" in problem for problem in check_log(tmp_path).problems)
    done = repair_log(tmp_path)
    assert (done.unreadable, done.kept["records"]) == ({"cards": 1, "record_cards": 1}, RECORDS)


def test_a_figure_that_was_changed_in_the_file_is_found_and_never_shown(tmp_path: Path, whole: bytes) -> None:
    """One digit of one result, which leaves good JSON and good pages; the others stay readable after the repair."""
    (tmp_path / LOG_FILE).write_bytes(whole.replace(b'"kappa_per_m":49.0', b'"kappa_per_m":48.0', 1))
    assert check_log(tmp_path).problems == ("records row 8 is not as it was written",)
    with BenchLog(tmp_path) as log, pytest.raises(BenchError, match="record 8 is not as it was written"):
        list(log.records())
    done = repair_log(tmp_path)
    assert (done.unreadable["records"], done.kept["records"]) == (1, RECORDS - 1)
    assert found(tmp_path) == set(range(RECORDS)) - {7}


@pytest.mark.thorough
def test_processes_that_upgrade_at_once_wait_for_each_other(tmp_path: Path) -> None:
    """Four writers open a log of version 2 at the same moment: each writes its record, one has upgraded, one copy."""
    with contextlib.closing(sqlite3.connect(tmp_path / LOG_FILE)) as made:
        made.executescript((DATA / "bench_log_version_2.sql").read_text(encoding="utf-8"))
    script = (
        "import sys; from pathlib import Path; from rig.log.store import BenchLog\n"
        "from tests.whole_records import numbered\n"
        "sys.stdin.readline()\n"
        "with BenchLog(Path(sys.argv[1])) as log: numbered(log, sys.argv[2])\n"
    )
    names = ["a", "b", "c", "d"]
    running = [
        subprocess.Popen([sys.executable, "-c", script, str(tmp_path), name], stdin=subprocess.PIPE) for name in names
    ]
    for process in running:
        process.communicate(b"now\n", timeout=60)
    assert [process.returncode for process in running] == [0] * 4
    with BenchLog(tmp_path) as log:
        titles = [title for (title,) in log.database.execute("SELECT title FROM records ORDER BY number")]
    assert titles[:3] == ["Dunlin, as built", "Dunlin, rear left", "Dunlin, rear left"]
    assert sorted(titles[3:]) == names
    assert [path.name for path in tmp_path.glob("*version*")] == ["bench-log.version-2.sqlite"]
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.thorough
@pytest.mark.skipif(not available(), reason="needs Linux and a C compiler: apt-get install gcc")
def test_a_log_on_read_only_media_can_be_read(tmp_path: Path, whole: bytes) -> None:
    """As on a locked card or a DVD: every opening for writing fails with EROFS (30), so no shared file either."""
    folder = tmp_path / "media"
    folder.mkdir()
    (folder / LOG_FILE).write_bytes(whole)

    def run(*command: str) -> Ended:
        arguments = ["-m", "rig.main", *command, "--log", str(folder)]
        return run_on_bad_disk(arguments, root=folder, at=1, how="on", error=30)

    for command in (["log", "--json"], ["log", "check"], ["log", "export", str(tmp_path / "out")]):
        ended = run(*command)
        assert ended.code == 0, ended
        assert ended.calls > 0  # something was asked for and refused
    assert (tmp_path / "out" / "records.jsonl").read_text(encoding="utf-8").count("\n") == RECORDS
    assert [path.name for path in folder.iterdir()] == [LOG_FILE]
    (folder / f"{LOG_FILE}-wal").touch()  # an empty journal holds nothing that could be missing
    assert run("log", "--json").code == 0
    # a journal with records in it: without it the newest would be missing, so nothing is shown at all
    (folder / f"{LOG_FILE}-wal").write_bytes(b"records")
    ended = run("log")
    assert ended.code == 1
    assert "cannot be written or read" in ended.err


def test_damage_in_the_name_of_a_table_is_told_though_no_text_can_be_made_of_it(tmp_path: Path, whole: bytes) -> None:
    """SQLite's own words then hold bytes that are not UTF-8."""
    (tmp_path / LOG_FILE).write_bytes(whole.replace(b"CREATE TABLE cards", b"CREATE TABLX \xccards", 1))
    for read_only in (True, False):
        with pytest.raises(BenchError, match="damaged"):
            BenchLog(tmp_path, read_only=read_only)
    assert not check_log(tmp_path).sound
    assert repair_log(tmp_path).kept["records"] == RECORDS
    assert found(tmp_path) == set(range(RECORDS))
