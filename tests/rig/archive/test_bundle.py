"""The log leaves and comes back whole: export, import, merging, repair, recalculation, upgrades."""

import contextlib
import csv
import hashlib
import io
import json
import sqlite3
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

from rig.archive.bundle import export_bench, import_bench
from rig.archive.pivots import _csv
from rig.base import disk as room
from rig.base.disk import check_room
from rig.base.errors import BenchError, InputError
from rig.jobs.record.recalculate import recalculate
from rig.log import schema
from rig.log.repair import check_log, repair_log
from rig.log.schema import VERSION
from rig.log.store import LOG_FILE, BenchLog
from rig.records.codec import plain
from rig.records.pushing import PUSH
from rig.records.weighing import WEIGHING
from tests.rig.jobs.grip.test_grip import Workshop
from tests.values.cards_typed import run
from tests.whole_records import number_of, numbered, whole

DATA = Path(__file__).parents[2] / "data"


SUMMED = "id, number, bench, kind, title, at, software, inputs, result, version"
"""What the sum of a record covers, as the tables' description has it."""


def sign_again(database: sqlite3.Connection, record: str) -> None:
    """Give a record the sum that its columns have now."""
    row = database.execute(f"SELECT {SUMMED} FROM records WHERE id = ?", (record,)).fetchone()
    total = hashlib.sha256(json.dumps(row, ensure_ascii=False).encode()).hexdigest()
    database.execute("UPDATE records SET sum = ? WHERE id = ?", (total, record))


def content(folder: Path) -> dict[str, str]:
    """Relative path -> hash of every file below a folder."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def filled(folder: Path, name: str) -> BenchLog:
    """A log with linked records, a card and two files, one of them with an odd name."""
    log = BenchLog(folder / f"log {name} 🚗")
    clip = folder / f"{name} clip ü.avi"
    clip.write_bytes(name.encode() * 1000)
    card = log.add_card("car", name, f"text of {name}\r\n")
    first = whole(log, "ladder", name, {"tests": ["Dünlin"]}, {"sentence": "größer ½"}, cards=[card])
    whole(log, "push", name, result={"pushes": [{"number": 1}]}, files=[log.add_file("clip", clip)], parents=[first.id])
    return log


def test_records_keep_the_order_of_writing_whatever_the_clock_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The newest weighing, and a comparison's own answer, are found by it; three records here are of one moment."""
    moments = [datetime(2026, 3, 4, 5, minute, tzinfo=UTC) for minute in (6, 6, 6, 9, 2, 3, 50, 1)]
    names = [f"record {number}" for number in range(8)]
    with BenchLog(tmp_path / "log") as log:
        for number, (name, now) in enumerate(zip(names, moments, strict=True)):
            monkeypatch.setattr("rig.log.store.datetime", SimpleNamespace(now=lambda _, at=now: at))
            numbered(log, name, number)
        export_bench(log, tmp_path / "out")
    with BenchLog(tmp_path / "other") as other:
        numbered(other, "its own", 0)
        import_bench(other, tmp_path / "out")
        assert [record.title for record in other.records()] == ["its own", *names]


def test_export_import_export_is_identical(tmp_path: Path) -> None:
    with filled(tmp_path, "a") as log:
        done = export_bench(log, tmp_path / "out")
    assert (done.records, done.files, done.missing) == (2, 1, ())
    with BenchLog(tmp_path / "elsewhere") as other:
        taken = import_bench(other, tmp_path / "out")
        assert (taken.new, taken.known) == (2, 0)
        assert import_bench(other, tmp_path / "out").known == 2
        export_bench(other, tmp_path / "again")
    assert content(tmp_path / "out") == content(tmp_path / "again")
    assert "Units are at the end of each name" in (tmp_path / "out" / "README.txt").read_text()


def test_raw_readings_that_grew_on_are_exported_as_they_were_noted(tmp_path: Path) -> None:
    raw = tmp_path / "raw.txt"
    raw.write_bytes(b"one\n")
    with BenchLog(tmp_path / "log") as log:
        numbered(log, "z", files=[log.add_file("raw readings", raw)])
        raw.write_bytes(b"one\ntwo\n")
        numbered(log, "w", files=[log.add_file("raw readings", raw)])
        done = export_bench(log, tmp_path / "out")
    assert done.missing == ()
    assert sorted(path.read_bytes() for path in (tmp_path / "out" / "files").iterdir()) == [b"one\n", b"one\ntwo\n"]


def test_merged_benches_keep_every_record_once(tmp_path: Path) -> None:
    with BenchLog(tmp_path / "school") as school:
        for name in ("a", "b", "c"):
            with filled(tmp_path, name) as log:
                export_bench(log, tmp_path / name)
            import_bench(school, tmp_path / name)
            import_bench(school, tmp_path / name)
        records = list(school.records())
    assert [record.number for record in records] == list(range(1, 7))
    assert len({record.bench for record in records}) == 3
    assert [record.title for record in records if record.kind == "push"] == ["a", "b", "c"]


def test_a_changed_or_torn_export_is_refused_whole(tmp_path: Path) -> None:
    with filled(tmp_path, "a") as log:
        export_bench(log, tmp_path / "out")
    lines = (tmp_path / "out" / "records.jsonl").read_text(encoding="utf-8")
    (clip,) = (tmp_path / "out" / "files").iterdir()
    for spoil, words in (
        (lambda: (tmp_path / "out" / "records.jsonl").write_text(lines[:-20], encoding="utf-8"), "line 2"),
        (lambda: (tmp_path / "out" / "records.jsonl").write_text(lines.replace('"title"', '"tilte"')), "line 1"),
        (lambda: clip.write_bytes(b"other"), "not what it was"),
    ):
        spoil()
        with BenchLog(tmp_path / f"empty {words}") as other:
            with pytest.raises(InputError, match=words):
                import_bench(other, tmp_path / "out", without_sums=True)
            assert not list(other.records())
            with pytest.raises(InputError, match="not what it was"):
                import_bench(other, tmp_path / "out")
            assert not list(other.records())
        (tmp_path / "out" / "records.jsonl").write_text(lines, encoding="utf-8")
    row = json.loads((tmp_path / "out" / "files.jsonl").read_text())
    row["hash"] = "../../etc/passwd"
    (tmp_path / "out" / "files.jsonl").write_text(json.dumps(row))
    with BenchLog(tmp_path / "path") as other, pytest.raises(InputError, match="SHA-256"):
        import_bench(other, tmp_path / "out", without_sums=True)


def test_what_can_be_read_of_a_damaged_log_is_saved_and_the_rest_is_counted(tmp_path: Path) -> None:
    with BenchLog(tmp_path) as log:
        for number in range(400):
            numbered(log, f"push {number}", number, "x" * 900)
    with contextlib.closing(sqlite3.connect(tmp_path / LOG_FILE)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert check_log(tmp_path).sound
    path = tmp_path / LOG_FILE
    data = bytearray(path.read_bytes())
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 4096] = b"\xff" * 4096
    path.write_bytes(data)
    assert not check_log(tmp_path).sound
    done = repair_log(tmp_path)
    assert done.damaged_copy.read_bytes() == bytes(data)
    assert 380 <= done.kept["records"] < 400
    assert check_log(tmp_path).problems == () or all("refers to" in text for text in check_log(tmp_path).problems)
    with BenchLog(tmp_path) as log:
        numbers = [number_of(record) for record in log.records()]
        assert numbers == sorted(numbers)
        numbered(log, "after")


def test_an_upgrade_goes_forward_and_leaves_a_copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with BenchLog(tmp_path) as log:
        numbered(log, "old")
    for module in ("opening", "upgrade"):
        monkeypatch.setattr(f"rig.log.{module}.VERSION", VERSION + 1)
    step = "CREATE TABLE later (x INTEGER) STRICT;\nINSERT INTO later VALUES (7);\n"
    monkeypatch.setitem(schema.UPGRADES, VERSION, step)
    with BenchLog(tmp_path) as log:
        assert [record.title for record in log.records()] == ["old"]
    database = sqlite3.connect(tmp_path / LOG_FILE)
    assert database.execute("SELECT x FROM later").fetchall() == [(7,)]
    assert database.execute("PRAGMA user_version").fetchone() == (VERSION + 1,)
    copy = sqlite3.connect(tmp_path / f"bench-log.version-{VERSION}.sqlite")
    assert copy.execute("SELECT title FROM records").fetchall() == [("old",)]


def old_log(folder: Path, version: int) -> None:
    """A log of version 1 or 2 as the program of that time left it."""
    with contextlib.closing(sqlite3.connect(folder / LOG_FILE)) as made:
        made.executescript((DATA / f"bench_log_version_{version}.sql").read_text(encoding="utf-8"))


HELD = {1: ["Dunlin, as built", "Dunlin, rear left"], 2: ["Dunlin, as built", *["Dunlin, rear left"] * 2]}
"""Version -> titles of the records in the log that was kept of it."""


@pytest.mark.parametrize("version", [1, 2])
def test_a_log_of_an_older_version_is_upgraded_and_holds_what_it_held(tmp_path: Path, version: int) -> None:
    old_log(tmp_path, version)
    with BenchLog(tmp_path, read_only=True) as log:  # as it is, without an upgrade
        before, cards, files = list(log.records()), log.cards(), log.files()
    assert WEIGHING.of(before[0]).result.total_g.value == (1600.75 if version == 1 else 1561.75)
    pivot = PUSH.of(before[1]).result.row(1).pivot
    assert (pivot.kappa_per_m, pivot.method) == (-1.0, "größer ½")
    assert [record.title for record in before] == HELD[version]
    with BenchLog(tmp_path) as log:
        assert (list(log.records()), log.cards(), log.files()) == (before, cards, files)
        numbered(log, "new")
    assert check_log(tmp_path).sound
    assert [path.name for path in tmp_path.glob("*version*")] == [f"bench-log.version-{version}.sqlite"]
    with contextlib.closing(sqlite3.connect(tmp_path / f"bench-log.version-{version}.sqlite")) as copy:
        assert copy.execute("PRAGMA user_version").fetchone() == (version,)
        assert [title for (title,) in copy.execute("SELECT title FROM records ORDER BY number")] == HELD[version]
    with contextlib.closing(sqlite3.connect(tmp_path / LOG_FILE)) as database:
        for row in database.execute(f"SELECT {SUMMED}, sum FROM records").fetchall():
            assert row[-1] == hashlib.sha256(json.dumps(row[:-1], ensure_ascii=False).encode()).hexdigest()
        database.execute("UPDATE records SET title = 'another' WHERE number = 2")
        database.commit()
    assert not check_log(tmp_path).sound


@pytest.mark.parametrize("version", [1, 2])
def test_a_log_of_an_older_version_can_be_repaired(tmp_path: Path, version: int) -> None:
    old_log(tmp_path, version)
    assert repair_log(tmp_path).kept["records"] == len(HELD[version])
    with BenchLog(tmp_path) as log:
        assert [record.title for record in log.records()] == HELD[version]
    assert check_log(tmp_path).sound


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE records SET result = replace(result, '1561.75', '1561.25') WHERE number = 1",
        "UPDATE cards SET text = 'name = \"Dunlin\"\nwheelbase_mm = 157\n' WHERE kind = 'car'",
    ],
)
def test_damage_is_not_signed_by_an_upgrade(tmp_path: Path, change: str) -> None:
    old_log(tmp_path, 2)
    with contextlib.closing(sqlite3.connect(tmp_path / LOG_FILE)) as database, database:
        database.execute(change)
    with pytest.raises(BenchError, match="not as it was written"):
        BenchLog(tmp_path)
    with contextlib.closing(sqlite3.connect(tmp_path / LOG_FILE)) as database:
        assert database.execute("PRAGMA user_version").fetchone() == (2,)


def test_a_nearly_full_disk_is_noticed_before_anything_starts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    check_room(tmp_path / "not there yet")
    usage = room.shutil.disk_usage(tmp_path)
    monkeypatch.setattr(room.shutil, "disk_usage", lambda place: usage._replace(free=1_000_000))
    with pytest.raises(BenchError, match="1 MB are free"):
        check_room(tmp_path)


@pytest.mark.thorough
def test_forecasts_come_out_bit_for_bit_and_a_changed_figure_is_listed(tmp_path: Path) -> None:
    from rig.jobs.pushing.forecast import forecast
    from rig.jobs.weighing.weights import weigh_typed

    workshop = Workshop(tmp_path)
    cards = workshop.push("p", 85.0, 1.1)
    told = forecast(cards, weigh_typed(cards, workshop.log), workshop.log, seed=5)
    done = recalculate(workshop.log)
    assert (done.same, done.differing) == (1, ())
    changed = plain(told.record.result) | {"balance_pct": told.record.result.balance_pct + 1e-9}
    # as another program would have computed and signed it
    with contextlib.closing(sqlite3.connect(workshop.log.path)) as db, db:
        db.execute("UPDATE records SET result = ? WHERE id = ?", (json.dumps(changed), told.record.id))
        sign_again(db, told.record.id)
    done = recalculate(workshop.log)
    assert [one.path for one in done.differing] == ["balance_pct"]
    assert not recalculate(workshop.log, tolerance=1e-6).differing


@pytest.mark.parametrize(
    ("name", "ending"),
    [
        ("a.avi", ".avi"),
        ("b.JPEG", ".JPEG"),
        ("c.webm", ".webm"),
        ("d.times.json", ".json"),
        ("e.traffic", ".traffic"),
        ("f", ""),
        ("g.part 2", ""),
        ("h.ü", ""),
        (".hidden", ""),
        ("i.", ""),
    ],
)
def test_a_file_leaves_with_its_own_ending(tmp_path: Path, name: str, ending: str) -> None:
    """Who opens an export in ten years has only the endings; what could be an odd one on another system is left out."""
    (tmp_path / name).write_bytes(name.encode())
    digest = hashlib.sha256(name.encode()).hexdigest()
    with BenchLog(tmp_path / "log") as log:
        numbered(log, "z", files=[log.add_file("clip", tmp_path / name)])
        export_bench(log, tmp_path / "out")
    assert [path.name for path in (tmp_path / "out" / "files").iterdir()] == [f"{digest}{ending}"]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@sum", "\tx", "\rx"])
def test_no_cell_of_a_table_is_run_by_a_spreadsheet(text: str) -> None:
    """A quote before what begins like a formula (common practice, no source); numbers stay numbers."""
    told = list(csv.reader(io.StringIO(_csv(["a", "b", "c"], [(text, -1.5, f"x{text}")]), newline="")))
    assert told == [["a", "b", "c"], [f"'{text}", "-1.5", f"x{text}"]]


def test_an_import_says_how_much_of_it_was_new(tmp_path: Path) -> None:
    with filled(tmp_path, "a") as log:
        export_bench(log, tmp_path / "out")
    words = " ".join(run("log", "import", tmp_path / "out", "--log", tmp_path / "one").split())
    assert words == "2 new records, 0 were here already"
    with BenchLog(tmp_path / "one") as log:
        numbered(log, "own")
    again = " ".join(run("log", "import", tmp_path / "out", "--log", tmp_path / "one").split())
    assert again == "0 new records, 2 were here already"
