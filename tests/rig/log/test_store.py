"""The bench log: durable before shown, safe with two processes, clear when the place is wrong."""

import contextlib
import json
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import msgspec
import pytest

from rig.base.errors import BenchError, InputError
from rig.log import opening
from rig.log.lock import LogHold
from rig.log.media import primary_code
from rig.log.schema import SUMMED, row_sum
from rig.log.store import LOG_FILE, BenchLog
from rig.records.classroom import FIRST_TRY, FirstTryResult
from rig.records.codec import RecordError
from rig.records.pushing import COMPARISON, ComparisonInputs, ComparisonResult
from rig.records.weighing import WEIGHING, WeighingInputs, WeighingResult
from tests.whole_records import completed, number_of, numbered


def weighing(total_g: float) -> WeighingResult:
    """A weighing of nothing but a total."""
    return msgspec.convert(completed("weighing", {}, {"total_g": {"value": total_g}})[1], WeighingResult)


def test_a_record_comes_back_with_everything_that_made_it(tmp_path: Path) -> None:
    clip = tmp_path / "push.avi"
    clip.write_bytes(b"frames")
    with BenchLog(tmp_path / "log") as log:
        card = log.add_card("car", "Dunlin", "text")
        file = log.add_file("clip", clip)
        first = log.record(
            WEIGHING,
            "w",
            inputs=WeighingInputs(source="typed", pad_error_g=(1.5, 2.0, 0.25, 1.0)),
            result=weighing(1600.0),
            cards=[card],
        )
        second = numbered(log, "p", 3, "größer ½", files=[file], parents=[first.id])
    with BenchLog(tmp_path / "log") as log:
        assert log.get(first.id).inputs == first.inputs == WeighingInputs(source="typed", pad_error_g=(1.5, 2, 0.25, 1))
        again = log.latest(FIRST_TRY)
        assert again == second
        assert (again.number, again.files, again.parents) == (2, (file,), (first.id,))
        assert again.result == FirstTryResult(kappa_per_m=9.0, sentence="größer ½", virtual=True)
        assert log.get("2") == again == log.get(again.id[:8])
        written = log.card(card)
        assert (written.kind, written.name, written.text) == ("car", "Dunlin", "text")
        (noted,) = log.files()
        assert (noted.hash, noted.kind, noted.name, noted.path, noted.bytes) == (file, "clip", clip.name, str(clip), 6)


def test_optional_numbers_that_are_not_finite_are_left_out_others_refused(tmp_path: Path) -> None:
    asked = ComparisonInputs(push_number=1, seed=0)

    def judged(difference: float) -> ComparisonResult:
        return ComparisonResult(
            verdict="agrees",
            sentence="s",
            reason="r",
            difference_per_m=difference,
            sigmas=float("inf"),
            reconciling_interval=(0.5, float("nan")),
        )

    with BenchLog(tmp_path) as log:
        record = log.record(COMPARISON, "p", inputs=asked, result=judged(1.0))
        with pytest.raises(RecordError, match="difference_per_m"):
            log.record(COMPARISON, "p", inputs=asked, result=judged(float("nan")))
        assert len(list(log.records())) == 1
    raw = sqlite3.connect(tmp_path / LOG_FILE).execute("SELECT result FROM records").fetchone()[0]
    assert json.loads(raw) == {
        "verdict": "agrees",
        "sentence": "s",
        "reason": "r",
        "difference_per_m": 1.0,
        "reconciling_interval": [0.5, None],
    }
    assert record.result.sigmas is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("UPDATE records SET kind = 'pushh'", 'no kind of record is called "pushh"'),
        ("UPDATE records SET result = replace(result, 'sentence', 'sentense')", "sentense"),
        ('UPDATE records SET result = \'{"kappa_per_m":1.0,"virtual":true}\'', "sentence"),
        ("UPDATE records SET inputs = replace(inputs, '2.0', '\"2\"')", "pin_pct"),
        ("UPDATE records SET version = 2", "version 2"),
    ],
)
def test_a_record_that_is_not_of_its_kind_is_named_with_its_field(tmp_path: Path, change: str, words: str) -> None:
    """As an import by another program, or a newer one, might leave it: the sums fit, the content does not."""
    with BenchLog(tmp_path) as log:
        numbered(log, "first", 2)
    with contextlib.closing(sqlite3.connect(tmp_path / LOG_FILE)) as database:
        database.execute(change)
        row = database.execute(f"SELECT {', '.join(SUMMED['records'])} FROM records").fetchone()
        database.execute("UPDATE records SET sum = ?", (row_sum(*row),))
        database.commit()
    with BenchLog(tmp_path) as log, pytest.raises(BenchError, match=words) as refused:
        list(log.records())
    assert "record 1" in str(refused.value)


def test_two_processes_write_at_once_and_nothing_is_lost(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from rig.log.store import BenchLog\n"
        "from tests.whole_records import numbered\n"
        "with BenchLog(Path(sys.argv[1])) as log:\n"
        "    [numbered(log, sys.argv[2], i) for i in range(40)]\n"
    )
    running = [subprocess.Popen([sys.executable, "-c", script, str(tmp_path), name]) for name in ("a", "b")]
    assert [process.wait(timeout=240) for process in running] == [0, 0]
    with BenchLog(tmp_path) as log:
        records = list(log.records())
    assert [record.number for record in records] == list(range(1, 81))
    for name in ("a", "b"):
        assert [number_of(record) for record in records if record.title == name] == list(range(40))


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
        numbered(log, "kept")
        with pytest.raises(BenchError, match="cannot be written"):
            numbered(log, "broken", cards=["no such card"])
        assert [record.title for record in log.records()] == ["kept"]
        numbered(log, "after")
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
            numbered(log, f"push {number}", number, "x" * 900)
    path = tmp_path / LOG_FILE
    with contextlib.closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = bytearray(path.read_bytes())
    data[4096 * 8 :] = b"\xff" * (len(data) - 4096 * 8)  # the head and the tables' list stay
    path.write_bytes(data)
    with BenchLog(tmp_path) as log, pytest.raises(BenchError, match="the bench log is damaged"):
        list(log.records())


def test_card_versions_come_oldest_first(tmp_path: Path) -> None:
    """Six versions a few milliseconds apart: by chance in order once in 720."""
    texts = [f'card = "car"\nname = "Dunlin {number}"\n' for number in range(6)]
    with BenchLog(tmp_path) as log:
        for text in texts:
            log.add_card("car", "Dunlin", text)
            time.sleep(0.003)
        assert [card.text for card in log.cards()] == texts


def test_what_a_journal_has_and_cannot_give_is_counted(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for committed, read, words in (
        (7, 4, "the newest records stand in 3 pages of its journal"),
        (4, 4, ""),
        (0, 0, ""),
    ):
        seen = SimpleNamespace(committed=committed, read=read)
        monkeypatch.setattr(opening, "look_at", lambda path, seen=seen: seen)
        told = opening.journal_fault(tmp_path / "log")
        assert told.startswith(words)
        assert bool(told) == bool(words)


def test_who_only_reads_makes_no_lock_file(tmp_path: Path) -> None:
    with contextlib.closing(LogHold(tmp_path / "bench-log.sqlite", may_create=False)):
        assert list(tmp_path.iterdir()) == []
    with contextlib.closing(LogHold(tmp_path / "bench-log.sqlite")):
        assert len(list(tmp_path.iterdir())) == 1


def test_what_a_record_rests_on_and_holds_stands_once_in_the_order_it_was_given(tmp_path: Path) -> None:
    """Two pushes of one clip, weighed alike, lead to the same records and cards."""
    with BenchLog(tmp_path) as log:
        first, second = (numbered(log, name).id for name in "ab")
        cards = [log.add_card("car", name, f'name = "{name}"') for name in "yx"]
        made = numbered(log, "c", parents=[second, first, second], cards=[cards[1], cards[0], cards[1]])
        read = list(log.records())[-1]
    assert made.parents == (second, first)
    assert made.cards == (cards[1], cards[0])
    assert (set(read.parents), set(read.cards)) == ({first, second}, set(cards))
