"""What a command hands on, where a value could be exchanged for its neighbour."""

from pathlib import Path
from typing import Any

import pytest

from rig.base.errors import BenchError
from rig.cards.read import Choices
from tests.values.cards_typed import run, write
from tests.values.pads_acted import pivotbench


def test_the_boards_squares_and_sizes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    given: dict[str, Any] = {}

    def board_sheet(**asked: Any) -> list[Path]:
        given.update(asked)
        return [tmp_path / "board.pdf"]

    monkeypatch.setattr("vision.markers.sheets.board_sheet", board_sheet)
    sizes = ["--columns", 9, "--rows", 6, "--square-mm", 31, "--marker-mm", 22, "--dictionary", "DICT_6X6_100"]
    said = run("new", "sheets", "--board", "--paper", "Letter", "--out", tmp_path, *sizes)
    assert given == {
        "paper": "Letter",
        "folder": tmp_path,
        "columns": 9,
        "rows": 6,
        "square": pytest.approx(0.031),
        "marker": pytest.approx(0.022),
        "dictionary": "DICT_6X6_100",
    }
    assert f"wrote {tmp_path / 'board.pdf'}" in said


def test_the_board_that_a_camera_is_calibrated_with(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    given: list[Any] = []

    def calibrate_camera(log: Any, name: str, files: Any, board: Any, **_: Any) -> None:
        given.append(board)
        raise BenchError("seen", where="here", remedy="none")

    monkeypatch.setattr("rig.jobs.camera.calibrate.calibrate_camera", calibrate_camera)
    sizes = ["--columns", 9, "--rows", 6, "--square-mm", 31, "--marker-mm", 22]
    common = ["camera", "calibrate", "phone", tmp_path / "board.mp4", *sizes, "--log", tmp_path / "log"]
    pivotbench(*common, "--dictionary", "DICT_6X6_100")
    pivotbench(*common, "--chessboard")
    (markers, plain) = given
    assert (markers.columns, markers.rows, markers.dictionary) == (9, 6, "DICT_6X6_100")
    assert (markers.square, markers.marker) == pytest.approx((0.031, 0.022))
    assert plain.dictionary == ""
    both = pivotbench(*common, "--chessboard", "--dictionary", "DICT_6X6_100")
    assert both.code == 2
    assert "a plain chessboard has no markers" in both.err


@pytest.mark.parametrize(("named", "asked", "taken"), [("own.mp4", [], "own.mp4"), ("own.mp4", ["x.mp4"], "x.mp4")])
def test_the_clip_that_is_named_goes_before_the_cards_own(
    named: str, asked: list[str], taken: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def measure_clip(clip: Path, *_: Any, **__: Any) -> None:
        raise BenchError(f"took {clip.name}", where="here", remedy="none")

    monkeypatch.setattr("rig.jobs.measuring.measure.measure_clip", measure_clip)
    card = write(tmp_path, test={"clip": named})
    told = pivotbench("push", "measure", card, *(["--clip", *asked] if asked else []), "--log", tmp_path / "log")
    assert f"took {taken}" in told.err


def test_without_any_clip_it_says_where_to_name_one(tmp_path: Path) -> None:
    told = pivotbench("push", "measure", write(tmp_path), "--log", tmp_path / "log")
    assert told.code == 2
    assert "or give --clip" in told.err


ANSWERS = {
    "--weighing 7": Choices(weighing="7"),
    "--same": Choices(same=True),
    "--as-new": Choices(as_new=True),
    "--calibration 9": Choices(calibration="9"),
}
COMMANDS = (
    ("grip sweep CARD CARD CARD", ("--weighing 7", "--same", "--as-new")),
    ("grip infer CARD", ("--weighing 7", "--same", "--as-new")),
    ("grip ladder CARD CARD", ("--weighing 7", "--same", "--as-new")),
    ("aim CARD --balance 52", ("--weighing 7", "--same", "--as-new")),
    ("aim ballast CARD --mass 50 --front 53", ("--weighing 7",)),
    ("grip pull CARD --part car --force 9", ("--weighing 7",)),
    ("grip tilt CARD --part rear --angle 35", ("--weighing 7",)),
    ("push CARD", ("--weighing 7",)),
    ("push forecast CARD", ("--weighing 7",)),
    ("moving CARD", ("--weighing 7",)),
    ("weigh height CARD --axle front --height 50", ("--weighing 7",)),
    ("weigh CARD", ("--calibration 9",)),
)


@pytest.mark.parametrize(("line", "answer"), [(line, one) for line, all_ in COMMANDS for one in all_])
def test_what_a_person_says_of_cards_and_records_is_handed_on(
    line: str, answer: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each answer by itself: exchanged for a neighbour, or lost, it would be another one."""
    asked: list[Choices] = []

    def read_set(path: Path, choices: Choices | None = None) -> None:
        asked.append(choices or Choices())
        raise BenchError("seen", where="here", remedy="none")

    monkeypatch.setattr("rig.cards.read.read_set", read_set)
    card = write(tmp_path)
    told = pivotbench(*[card if word == "CARD" else word for word in line.split()], *answer.split(), "--log", tmp_path)
    assert "seen" in told.err
    assert asked[0] == ANSWERS[answer]
