"""Records that keep no card are known by a name alone, and whoever rests a figure on one is told so first.

Truth: which record was written with which card, by hand.
"""

from pathlib import Path

import pytest

from rig.base.errors import InputError
from rig.cards.read import read_set
from rig.jobs.series.own_pushes import pushes_of
from rig.log.store import BenchLog
from rig.lookups.belongs import calibration_of, weighing_of, zeros_of
from tests.values.cards_typed import run, write
from tests.whole_records import whole

BY_NAME = "keeps no card that can be read: only its name says that it is of Lopsided"


def test_weights_that_are_known_by_a_name_alone_say_so(tmp_path: Path) -> None:
    cards = read_set(write(tmp_path / "cards"))
    with BenchLog(tmp_path / "log") as log:
        kept = log.add_card("car", "Lopsided", cards.texts["car"])
        whole(log, "weighing", "Lopsided")
        found = weighing_of(cards.car, log)
        assert found is not None
        assert found.record.number == 1
        assert found.remarks == (f"Record 1 (weighing) {BY_NAME}",)
        whole(log, "weighing", "another name", cards=[kept])
        newer = weighing_of(cards.car, log)
    assert newer is not None
    assert (newer.record.number, newer.remarks) == (2, ())


def test_a_push_goes_by_the_newest_weighing_before_it_and_else_by_the_first_after_it(tmp_path: Path) -> None:
    """What is weighed later changes nothing about an old push, also where it was pushed first."""
    cards = read_set(write(tmp_path / "cards"))
    with BenchLog(tmp_path / "log") as log:
        kept = log.add_card("car", "Lopsided", cards.texts["car"])
        pushed = [whole(log, "push", "a")]
        weighed = [whole(log, "weighing", "Lopsided", cards=[kept]) for _ in range(3)]
        pushed.append(whole(log, "push", "b"))
        weighed.append(whole(log, "weighing", "Lopsided", cards=[kept]))
        found = [weighing_of(cards.car, log, before=push.number) for push in pushed]
        now = weighing_of(cards.car, log)
    first, second = (None if one is None else one.record.number for one in found)
    assert (first, second) == (weighed[0].number, weighed[2].number)
    assert now is not None
    assert now.record.number == weighed[3].number


def test_zeros_known_by_a_name_do_not_join_a_calibration_that_knows_its_bench(tmp_path: Path) -> None:
    cards = read_set(write(tmp_path / "cards"))
    with BenchLog(tmp_path / "log") as log:
        kept = log.add_card("bench", "Bench", cards.texts["bench"])
        nameless = whole(log, "calibration", "Bench")
        whole(log, "zero", "Bench")
        whole(log, "zero", "Bench", cards=[kept])
        found = calibration_of(cards.bench, log)
        assert found is not None
        assert found.remarks == (
            "Record 1 (calibration) keeps no card that can be read: only its name says that it is of Bench",
        )
        assert [zero.number for zero in zeros_of(cards.bench, log, nameless)] == [2, 3]
        known = whole(log, "calibration", "Bench", cards=[kept])
        whole(log, "zero", "Bench")
        whole(log, "zero", "Bench", cards=[kept])
        found = calibration_of(cards.bench, log)
        assert found is not None
        assert (found.record.number, found.remarks) == (4, ())
        assert [zero.number for zero in zeros_of(cards.bench, log, known)] == [6]


def test_a_push_without_cards_is_used_by_its_name_and_that_is_said(tmp_path: Path) -> None:
    cards, other = read_set(write(tmp_path / "cards")), read_set(write(tmp_path / "cards", file="other"))
    with BenchLog(tmp_path / "log") as log:
        whole(log, "push", "test")
        found, none = pushes_of(cards, log), pushes_of(other, log)
    assert [record.number for record in found.records] == [1]
    assert found.remarks == (
        "test: record 1 keeps no cards that can be read; only its name says that it is of this test, and it is used "
        "with the cards as they are now",
    )
    assert (none.records, none.remarks) == ((), ())


def imported(tmp_path: Path, kind: str, title: str, card: tuple[str, str, str], *, count: int = 3) -> Path:
    """A log that holds nothing but records of one kind that another bench wrote."""
    with BenchLog(tmp_path / "theirs") as log:
        kept = log.add_card(*card)
        for _ in range(count):
            whole(log, kind, title, cards=[kept])
    run("log", "export", tmp_path / "out", "--log", tmp_path / "theirs")
    run("log", "import", tmp_path / "out", "--log", tmp_path / "mine")
    return tmp_path / "mine"


def test_of_several_imported_calibrations_the_newest_is_named(tmp_path: Path) -> None:
    """Cards without an id: whether this bench is theirs nobody can tell."""
    cards = read_set(write(tmp_path / "cards"))
    mine = imported(tmp_path, "calibration", cards.bench.name, ("bench", cards.bench.name, cards.texts["bench"]))
    with BenchLog(mine) as log, pytest.raises(InputError, match=r"in record 3 was imported.*--calibration 3") as told:
        calibration_of(cards.bench, log)
    assert told.value.exit_code == 2


def test_of_several_imported_weighings_the_newest_is_named(tmp_path: Path) -> None:
    cards = read_set(write(tmp_path / "cards"))
    mine = imported(tmp_path, "weighing", cards.car.name, ("car", cards.car.name, cards.texts["car"]))
    with BenchLog(mine) as log, pytest.raises(InputError, match=r"in record 3 was imported.*--weighing 3"):
        weighing_of(cards.car, log)


def test_of_calibrations_with_another_wiring_the_newest_is_named_and_one_that_fits_is_taken(tmp_path: Path) -> None:
    now = read_set(write(tmp_path / "now", bench={"pads.line_pattern": "<c1> <c2> <c3> <c4>"})).bench
    other = read_set(write(tmp_path / "other", bench={"pads.line_pattern": "<c2> <c1> <c3> <c4>"}))
    same = read_set(write(tmp_path / "now", bench={"pads.line_pattern": "<c1> <c2> <c3> <c4>"}))
    with BenchLog(tmp_path / "log") as log:
        for _ in range(3):
            kept = log.add_card("bench", other.bench.name, other.texts["bench"])
            whole(log, "calibration", other.bench.name, cards=[kept])
        with pytest.raises(InputError, match=r"the one of the calibration in record 3 .*--calibration 3"):
            calibration_of(now, log)
        kept = log.add_card("bench", now.name, same.texts["bench"])
        for _ in range(2):
            whole(log, "calibration", now.name, cards=[kept])
        whole(log, "calibration", other.bench.name, cards=[log.add_card("bench", "", other.texts["bench"])])
        found = calibration_of(now, log)
    assert found is not None
    assert found.record.number == 5
