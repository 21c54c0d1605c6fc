"""Whatever of the unsynced a power cut leaves on the disk: what was acknowledged is there, whole, and can be read.

Truth: a record counts as acknowledged when the process had said so after `record` had returned; its figure is the
square of its number; what its files held is known. What a disk may hold is taken from POSIX (fsync, rename), not from
what one file system happens to do. The work is done once, under a library that notes its writes; then the power is cut
between any two of them (`power_cut.py`), the disk laid out anew, and opened with the program.
"""

import contextlib
import hashlib
import json
import os
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from rig.archive.bundle import export_bench
from rig.base.errors import BenchError
from rig.log import opening
from rig.log.repair import check_log
from rig.log.rows import file_hash
from rig.log.schema import VERSION
from rig.log.store import LOG_FILE, BenchLog
from rig.records.classroom import FIRST_TRY
from tests.faults.power_cut import Cut, Recorded, cuts, lay_out, record
from tests.faults.power_worker import PICTURES
from tests.faults.power_worker import record as record_one
from tests.faults.preloaded import available
from tests.whole_records import number_of, numbered
from vision.clip.frames import container_cut

pytestmark = pytest.mark.skipif(not available(), reason="needs Linux and a C compiler")
WORKER = str(Path(__file__).with_name("power_worker.py"))
OLD = Path(__file__).parents[1] / "data" / "bench_log_version_1.sql"

Judge = Callable[[Cut, Path], str]
"""What is wrong on a disk after a cut, in words; "" when nothing is."""


@pytest.fixture
def disk_place() -> Iterator[Path]:
    """Where disks are laid out: in memory where there is such a place, since every one of them is synced again."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as folder:
        yield Path(folder) / "disk"


def worked(job: str, root: Path, careless: str = "") -> Recorded:
    done = record([WORKER, job, str(root), *([careless] if careless else [])], root=root)
    assert done.code == 0, done.err
    return done


def first_fault(done: Recorded, judge: Judge, place: Path) -> str:
    """Of all cuts."""
    last = ""
    for cut in cuts(done):
        last = cut.said
        opening.looked_over.clear()
        if wrong := judge(cut, lay_out(cut.image, place)):
            return f"cut {cut.at}, {cut.way}, after {cut.said!r}: {wrong}"
    assert last  # the power was cut after something had been acknowledged, too
    return ""


def acknowledged(said: str) -> dict[str, int]:
    return {name: int(number) for name, number in re.findall(r"record (\w+) (\d+)\n", said)}


def log_fault(log_folder: Path, said: str, root: Path, disk: Path) -> str:
    """Of a log to which `power_worker.record` wrote below `root`, which is now `disk`."""
    known = acknowledged(said)
    if not (log_folder / LOG_FILE).exists():
        return "the log is lost" if known else ""
    try:
        with BenchLog(log_folder) as log:
            found = {one.id: one for one in log.records() if one.title.startswith("p") and FIRST_TRY.holds(one)}
            files = {file.hash: file for file in log.files()}
            cards = {card.name: card.text for card in log.cards()}
    except BenchError as error:
        return str(error)
    if not check_log(log_folder).sound:
        return "the log is not sound"
    if missing := known.keys() - found.keys():
        return f"records {sorted(known[one] for one in missing)} are lost"
    for one in found.values():
        number = int(one.inputs.pin_pct)
        if one.result.kappa_per_m != number * number or known.get(one.id, number) != number:
            return f"record {number} says {one.result}"
        if cards.get(f"c{number}") != f"text {number} " + "x" * 500:
            return f"the card of record {number} is lost"
        for name in one.files:  # of every record that is there, acknowledged or not
            path = disk / Path(files[name].path).relative_to(root)
            if not path.exists() or file_hash(path, first=files[name].bytes)[0] != name:
                return f"record {number} names {path.name}, which is not there as it was"
    return ""


def filled_judge(root: Path) -> Judge:
    return lambda cut, disk: log_fault(disk / "bench" / "log", cut.said, root, disk)


def test_every_acknowledged_record_and_its_files_survive(tmp_path: Path, disk_place: Path) -> None:
    root = tmp_path / "root"
    root.mkdir()
    done = worked("fill", root)
    assert len(acknowledged("".join(event.data.decode() for event in done.events if event.kind == "A"))) == 3
    assert first_fault(done, filled_judge(root), disk_place) == ""


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("careless", "says"),
    [
        ("normal", "records .* are lost|damaged"),
        ("off", "records .* are lost|not sound|damaged"),
        ("files", "names .*not there as it was"),
        ("folders", "not there as it was|log is lost"),
    ],
)
def test_a_sync_left_out_is_noticed(tmp_path: Path, disk_place: Path, careless: str, says: str) -> None:
    root = tmp_path / "root"
    root.mkdir()
    assert re.search(says, first_fault(worked("fill", root, careless), filled_judge(root), disk_place))


def old_titles(path: Path) -> list[str] | str:
    """Titles in a file of any version as SQLite itself finds them, or why not."""
    with contextlib.closing(sqlite3.connect(path)) as database:
        said = database.execute("PRAGMA integrity_check").fetchone()[0]
        return (
            said
            if said != "ok"
            else [title for (title,) in database.execute("SELECT title FROM records ORDER BY number")]
        )


@pytest.mark.thorough
def test_an_upgrade_keeps_the_old_records_and_a_copy_of_them(tmp_path: Path, disk_place: Path) -> None:
    root = tmp_path / "root"
    root.mkdir()
    with contextlib.closing(sqlite3.connect(root / LOG_FILE)) as database:
        database.executescript(OLD.read_text(encoding="utf-8"))
    titles = old_titles(root / LOG_FILE)
    assert titles
    assert isinstance(titles, list)

    def judge(cut: Cut, disk: Path) -> str:
        with contextlib.closing(sqlite3.connect(disk / LOG_FILE)) as database:
            version = database.execute("PRAGMA user_version").fetchone()[0]
        copy = disk / "bench-log.version-1.sqlite"
        if version == VERSION and not copy.exists():
            return "upgraded without a copy"
        if copy.exists() and old_titles(copy) != titles:
            return f"the copy holds {old_titles(copy)}"
        if "upgraded" in cut.said and version != VERSION:
            return f"version {version} after the upgrade"
        if wrong := log_fault(disk, cut.said, root, disk):
            return wrong
        found = old_titles(disk / LOG_FILE)
        return "" if found[: len(titles)] == titles else f"the log holds {found}"

    assert first_fault(worked("upgrade", root), judge, disk_place) == ""


@pytest.mark.thorough
def test_a_repair_discards_nothing(tmp_path: Path, disk_place: Path) -> None:
    root, made = tmp_path / "root", tmp_path / "made"
    root.mkdir()
    with BenchLog(made) as log:
        for number in range(11, 17):
            numbered(log, "p", number, "x" * 3000)  # fills a page
    with BenchLog(made) as log:
        for number in range(17, 20):  # these stay in the journal
            numbered(log, "p", number)
        for path in made.iterdir():
            shutil.copy(path, root)
    whole = (root / LOG_FILE).read_bytes()
    assert whole.count(b'"kappa_per_m":169.0') == 1
    damaged = whole.replace(b'"kappa_per_m":169.0', b'"kappa_per_m":168.0')
    (root / LOG_FILE).write_bytes(damaged)
    readable = {11, 12, 14, 15, 16, 17, 18, 19}

    def held(path: Path) -> set[int]:
        with contextlib.suppress(sqlite3.DatabaseError), contextlib.closing(sqlite3.connect(path)) as database:
            rows = [
                (json.loads(one)["pin_pct"], json.loads(two)["kappa_per_m"])
                for one, two in database.execute("SELECT inputs, result FROM records")
            ]
            return {number for number, square in rows if square == number * number}
        return set()

    def judge(cut: Cut, disk: Path) -> str:
        if "repaired" in cut.said or cut.image[LOG_FILE] != damaged:  # the new log has taken its place
            if not check_log(disk).sound:
                return "the repaired log is not sound"
            with BenchLog(disk) as log:
                if {number_of(one) for one in log.records()} != readable:
                    return "the repaired log is not whole"
            if not list(disk.glob("bench-log.damaged-*.sqlite")):
                return "the damaged log is lost"
        logs = [disk / LOG_FILE, *disk.glob("bench-log.damaged-*.sqlite")]
        found = set[int]().union(*(held(path) for path in logs if path.exists()))
        return "" if found == readable else f"only {sorted(found)} are left"

    assert first_fault(worked("repair", root), judge, disk_place) == ""


@pytest.mark.thorough
def test_a_clip_under_its_own_name_is_whole_and_has_its_times(tmp_path: Path, disk_place: Path) -> None:
    root = tmp_path / "root"
    root.mkdir()

    def judge(cut: Cut, disk: Path) -> str:
        for name in re.findall(r"clip (\S+)", cut.said):
            if not (disk / "clips" / name).exists():
                return "the clip is lost"
        for clip in disk.glob("clips/*.avi"):
            if clip.name.endswith(".part.avi"):
                continue
            times = clip.with_suffix(".times.json")
            if container_cut(clip) or clip.read_bytes() != (root / "clips" / clip.name).read_bytes():
                return "half a clip"
            if not times.exists() or len(json.loads(times.read_text())["pictures"]) != PICTURES:
                return "a clip without its times"
        return ""

    assert first_fault(worked("film", root), judge, disk_place) == ""


@pytest.mark.thorough
def test_an_export_is_there_when_it_was_said_to_be(tmp_path: Path, disk_place: Path) -> None:
    root = tmp_path / "root"
    root.mkdir()
    worked("fill", root)
    with BenchLog(root / "bench" / "log") as log:
        export_bench(log, tmp_path / "again")

    def sums(folder: Path) -> dict[str, str]:
        return {
            str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in folder.rglob("*")
            if path.is_file() and ".part" not in path.suffixes
        }

    truth = sums(tmp_path / "again")
    assert len(truth) > 11  # 3 raw files, 3 tracks, 3 cards and the lists

    def judge(cut: Cut, disk: Path) -> str:
        found = sums(disk / "out")
        if "exported" in cut.said and found.keys() != truth.keys():
            return f"missing: {sorted(truth.keys() - found.keys())}"
        half = [name for name, one in found.items() if one != truth[name]]
        return f"half written: {half}" if half else ""

    assert first_fault(worked("export", root), judge, disk_place) == ""


@pytest.mark.thorough
def test_an_import_brings_the_files_before_the_records(tmp_path: Path, disk_place: Path) -> None:
    root = tmp_path / "root"
    root.mkdir()
    with BenchLog(tmp_path / "other") as log:
        for number in range(2):
            record_one(log, number)
        export_bench(log, tmp_path / "again")
    done = worked("take in", root)
    assert len(acknowledged("".join(event.data.decode() for event in done.events if event.kind == "A"))) == 2
    assert first_fault(done, lambda cut, disk: log_fault(disk / "log", cut.said, root, disk), disk_place) == ""
