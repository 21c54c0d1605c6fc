"""Who else uses the log: repair, upgrade and import have it alone or say who has it, and a kill loses nothing.

Truth: a record counts as acknowledged when its writer had said so after `record` had returned.
"""

import contextlib
import errno
import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from rig.archive.bundle import export_bench
from rig.base import durable
from rig.base.errors import BenchError, InputError
from rig.log import opening, repair, replacement
from rig.log.lock import LogHold
from rig.log.repair import check_log, repair_log
from rig.log.store import LOG_FILE, BenchLog
from rig.page.bench.bench import Bench
from tests.whole_records import numbered

DATA = Path(__file__).parents[1] / "data"
WRITER = """
import sys
from pathlib import Path
from rig.log.store import BenchLog
from tests.whole_records import numbered
with BenchLog(Path(sys.argv[1])) as log:
    for line in sys.stdin:
        print("record", numbered(log, line.strip(), text="x" * 500).number, flush=True)
"""


class Writer:
    """A process that writes a record whenever it is asked to; it says so when `record` has returned."""

    def __init__(self, folder: Path, first: str = "first") -> None:
        command = [sys.executable, "-c", WRITER, str(folder)]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.write(first)

    def write(self, title: str) -> str:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(f"{title}\n")
        self.process.stdin.flush()
        return self.process.stdout.readline()


@pytest.fixture
def writer(tmp_path: Path) -> Iterator[Writer]:
    with BenchLog(tmp_path / "log") as log:
        numbered(log, "before")
    made = Writer(tmp_path / "log")
    yield made
    made.process.kill()
    made.process.communicate()


def titles(folder: Path) -> list[str]:
    with BenchLog(folder) as log:
        return [record.title for record in log.records()]


def pivotbench(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "rig.main", *map(str, arguments)], capture_output=True, text=True, check=False
    )


@pytest.mark.thorough
def test_a_repair_beside_a_writer_is_refused_and_says_who_writes(tmp_path: Path, writer: Writer) -> None:
    before = (tmp_path / "log" / LOG_FILE).read_bytes()
    ended = pivotbench("log", "check", "--repair", "--log", tmp_path / "log")
    assert ended.returncode == 1
    assert re.search(rf"in use by .*process {writer.process.pid}\b", ended.stderr), ended.stderr
    assert (tmp_path / "log" / LOG_FILE).read_bytes() == before
    assert not list((tmp_path / "log").glob("*damaged*"))
    assert writer.write("after") == "record 3\n"
    assert titles(tmp_path / "log") == ["before", "first", "after"]


@pytest.mark.thorough
def test_an_import_beside_a_writer_is_refused_and_says_who_writes(tmp_path: Path, writer: Writer) -> None:
    with BenchLog(tmp_path / "other") as other:
        numbered(other, "theirs")
        export_bench(other, tmp_path / "out")
    ended = pivotbench("log", "import", tmp_path / "out", "--log", tmp_path / "log")
    assert ended.returncode == 1
    assert re.search(rf"in use by .*process {writer.process.pid}\b", ended.stderr), ended.stderr
    assert writer.write("after") == "record 3\n"
    writer.process.kill()  # the lock goes with the process, however it ends
    writer.process.wait()
    assert pivotbench("log", "import", tmp_path / "out", "--log", tmp_path / "log").returncode == 0
    assert titles(tmp_path / "log") == ["before", "first", "after", "theirs"]


def test_a_repair_beside_a_program_that_knows_no_lock_is_refused(tmp_path: Path) -> None:
    """An older program, or the shell of SQLite: its connection is seen through SQLite's own locks (Linux)."""
    if sys.platform != "linux":
        pytest.skip("asks Linux who has locked a part of the file")
    with BenchLog(tmp_path) as log:
        numbered(log, "p")
    script = (
        "import sqlite3, sys; db = sqlite3.connect(sys.argv[1]); db.execute('SELECT * FROM records').fetchall()\n"
        "print('open', flush=True); sys.stdin.read()\n"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", script, str(tmp_path / LOG_FILE)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert other.stdout is not None
    other.stdout.readline()
    with pytest.raises(BenchError, match=f"in use by process {other.pid}"):
        repair_log(tmp_path)
    other.communicate()
    assert repair_log(tmp_path).kept["records"] == 1


def test_an_old_log_that_is_read_by_somebody_is_not_upgraded_under_them(tmp_path: Path) -> None:
    with contextlib.closing(sqlite3.connect(tmp_path / LOG_FILE)) as made:
        made.executescript((DATA / "bench_log_version_2.sql").read_text(encoding="utf-8"))
    (tmp_path / f"{LOG_FILE}.lock").touch()
    with BenchLog(tmp_path, read_only=True):
        tried = subprocess.run(
            [sys.executable, "-c", SHORT_WAIT, str(tmp_path)], capture_output=True, text=True, check=False
        )
    assert re.search(rf"of an older version, and in use by .*process {os.getpid()}\b", tried.stderr), tried.stderr
    with contextlib.closing(sqlite3.connect(tmp_path / LOG_FILE)) as database:
        assert database.execute("PRAGMA user_version").fetchone() == (2,)
    BenchLog(tmp_path).close()
    assert check_log(tmp_path).sound


SHORT_WAIT = """
import sys
from pathlib import Path
from rig.log import opening
opening.WAIT_S = 0.2
from rig.log.store import BenchLog
BenchLog(Path(sys.argv[1]))
"""


@pytest.mark.parametrize("step", ["before", "journal gone", "replaced"])
def test_a_repair_killed_at_any_step_leaves_every_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """40 records stand in the journal only, as a killed writer leaves them; then the repair itself is killed."""
    folder = killed_writer(tmp_path, 40)
    usual = os.replace

    def stopping(source: Path, target: Path) -> None:
        last = target.name == LOG_FILE
        if last and step == "before":
            raise KeyboardInterrupt
        usual(source, target)
        if last or (step == "journal gone" and str(target).endswith(".mended")):
            if not last:
                for ending in replacement.BESIDE:
                    target.with_name(LOG_FILE + ending).unlink(missing_ok=True)
            raise KeyboardInterrupt

    monkeypatch.setattr(replacement.os, "replace", stopping)
    with pytest.raises(KeyboardInterrupt):
        repair_log(folder)
    monkeypatch.undo()
    assert check_log(folder).sound == (step == "replaced")  # never called sound with nothing in it
    if step != "replaced":
        with pytest.raises(BenchError, match="cut short"):
            BenchLog(folder, read_only=True)
        assert pivotbench("log", "check", "--repair", "--log", folder).returncode == 0
    assert titles(folder) == [f"p{number}" for number in range(40)]


def killed_writer(tmp_path: Path, count: int) -> Path:
    """A log whose records are all in the journal."""
    writer = Writer(tmp_path / "killed", first="p0")
    for number in range(1, count):
        writer.write(f"p{number}")
    writer.process.send_signal(signal.SIGKILL)
    writer.process.communicate()
    assert (tmp_path / "killed" / f"{LOG_FILE}-wal").stat().st_size > 100_000
    return tmp_path / "killed"


def test_a_second_repair_in_the_same_second_keeps_both_copies(tmp_path: Path) -> None:
    with BenchLog(tmp_path) as log:
        numbered(log, "p")
    copies = {repair_log(tmp_path).damaged_copy for _ in range(3)}
    assert len(copies) == 3
    assert all(path.stat().st_size > 0 for path in copies)


def test_a_log_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    with BenchLog(tmp_path) as log:
        numbered(log, "p")
    with contextlib.closing(sqlite3.connect(tmp_path / LOG_FILE)) as database, database:
        database.execute("CREATE TABLE later (x)")
        database.execute("DELETE FROM bench WHERE key = 'version'")
        database.execute("PRAGMA user_version = 99")
    before = (tmp_path / LOG_FILE).read_bytes()
    with pytest.raises(InputError, match="version 99, this program knows"):
        repair_log(tmp_path)
    assert pivotbench("log", "check", "--repair", "--log", tmp_path).returncode == 2
    assert (tmp_path / LOG_FILE).read_bytes() == before


def test_a_damaged_version_in_the_header_is_repaired_all_the_same(tmp_path: Path) -> None:
    """The log says its version in a row with a sum, too."""
    with BenchLog(tmp_path) as log:
        numbered(log, "p")
    with contextlib.closing(sqlite3.connect(tmp_path / LOG_FILE)) as database, database:
        database.execute("PRAGMA user_version = 67")
    assert repair_log(tmp_path).kept["records"] == 1
    assert titles(tmp_path) == ["p"]


def test_a_link_to_a_log_is_followed(tmp_path: Path) -> None:
    with BenchLog(tmp_path / "real") as log:
        numbered(log, "p")
    (tmp_path / "linked").mkdir()
    link = tmp_path / "linked" / LOG_FILE
    link.symlink_to(tmp_path / "real" / LOG_FILE)
    with BenchLog(tmp_path / "real") as log:
        numbered(log, "q")
        with pytest.raises(BenchError, match="in use"):
            repair_log(tmp_path / "linked")
    done = repair_log(tmp_path / "linked")
    assert link.is_symlink()
    assert done.damaged_copy.parent == tmp_path / "real"
    assert titles(tmp_path / "linked") == titles(tmp_path / "real") == ["p", "q"]


def test_a_log_that_is_taken_away_under_a_writer_is_noticed(tmp_path: Path) -> None:
    """What is written into a file without a name would be acknowledged and gone."""
    with BenchLog(tmp_path) as log:
        numbered(log, "p")
        (tmp_path / LOG_FILE).rename(tmp_path / "elsewhere")
        with pytest.raises(BenchError, match="moved away or replaced"):
            numbered(log, "q")


def test_readers_and_writers_share_and_one_alone_shuts_them_out(tmp_path: Path) -> None:
    log = tmp_path / LOG_FILE
    with contextlib.closing(LogHold(log)), contextlib.closing(LogHold(log, may_create=False)) as reader:
        with pytest.raises(BenchError, match=f"process {os.getpid()}"), reader.alone():
            pass
        assert reader.locked  # as before
    with contextlib.closing(LogHold(log, alone=True)), pytest.raises(BenchError, match="in use"):
        LogHold(log, wait_s=0.05)
    with contextlib.closing(LogHold(log, wait_s=0.05)):
        pass


def test_who_wants_the_log_waits_as_long_as_was_said_and_no_longer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By a clock that only sleeping moves: 10 s where nothing is said, half a second to have an open log alone."""
    now = [100.0]
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    monkeypatch.setattr(time, "sleep", lambda seconds: now.__setitem__(0, now[0] + seconds))

    def waited(ask: Callable[[], object]) -> float:
        began = now[0]
        with pytest.raises(BenchError, match="in use"):
            ask()
        return now[0] - began

    log = tmp_path / LOG_FILE
    with contextlib.closing(LogHold(log, alone=True)):
        assert waited(lambda: LogHold(log, wait_s=0.3)) == pytest.approx(0.3, abs=0.02)
        assert waited(lambda: LogHold(log, alone=True, wait_s=1.5)) == pytest.approx(1.5, abs=0.02)
        assert waited(lambda: LogHold(log)) == pytest.approx(10.0, abs=0.02)
    with contextlib.closing(LogHold(log)) as one, contextlib.closing(LogHold(log)):
        assert waited(lambda: contextlib.ExitStack().enter_context(one.alone())) == pytest.approx(0.5, abs=0.02)


def test_a_running_bench_holds_the_log_from_its_start_to_its_end(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    try:
        with pytest.raises(BenchError, match=f"process {os.getpid()}"):
            repair_log(tmp_path)
    finally:
        bench.close()
    repair_log(tmp_path)


@pytest.mark.parametrize(("number", "told"), [(errno.EIO, True), (errno.ENOSPC, True), (errno.EINVAL, False)])
def test_a_clip_that_the_disk_could_not_keep_is_not_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, told: bool
) -> None:
    """fsync(2): EINVAL says that this cannot be synced, EIO and ENOSPC that it failed."""
    clip = tmp_path / "clip.avi"
    clip.write_bytes(b"frames")

    def failing(file: int) -> None:
        raise OSError(number, os.strerror(number))

    with BenchLog(tmp_path / "log") as log:
        monkeypatch.setattr(durable.os, "fsync", failing)
        if told:
            with pytest.raises(BenchError, match=r"clip\.avi: this file cannot be brought safely to the disk"):
                log.add_file("clip", clip)
            assert log.files() == []
        else:
            log.add_file("clip", clip)
            assert len(log.files()) == 1


def test_a_journal_that_somebody_else_is_writing_is_not_judged(
    tmp_path: Path, writer: Writer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is read of it past SQLite while it grows would look like damage."""

    def judged(log: Path) -> str:
        raise AssertionError

    monkeypatch.setattr(opening, "journal_fault", judged)
    monkeypatch.setattr(repair, "journal_fault", judged)
    for read_only in (True, False):
        with BenchLog(tmp_path / "log", read_only=read_only) as log:
            assert len(list(log.records())) == 2
    assert check_log(tmp_path / "log").sound
