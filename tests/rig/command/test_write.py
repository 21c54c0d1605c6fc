"""--write: answers that belong on a card are written there, and only when they stand."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from rig.cards.keys.bench import BenchCard
from rig.jobs.weighing import finger_cell
from rig.jobs.weighing.calibrate import CheckMasses
from rig.log.store import BenchLog
from tests.values.cards_typed import found, run, write
from tests.values.pads_acted import pivotbench
from tests.whole_records import whole

TYRES = {"conditions.surface": "painted board", "conditions.compound_front": "soft", "conditions.compound_rear": "hard"}


def slopes(log: Path, card: Path, front: float, rear: float) -> None:
    """Tilts of both axles, three each."""
    for part, angle in (("front", front), ("rear", rear)):
        angles = [word for more in (0.0, 0.3, -0.3) for word in ("--angle", angle + more)]
        run("grip", "tilt", card, "--part", part, "--sliding", *angles, "--log", log)


def test_grip_goes_onto_the_test_card(tmp_path: Path) -> None:
    card, log = write(tmp_path, test=TYRES), tmp_path / "log"
    card.write_text("# mine\n" + card.read_text())
    slopes(log, card, 40.0, 36.0)
    said = found("grip", card, "--log", log)
    before = card.read_text()
    assert "Onto the test card:" in run("grip", card, "--log", log)
    assert card.read_text() == before  # a question writes nothing
    words = run("grip", card, "--write", "--log", log)
    assert f"wrote {card}: front " in words
    assert "Onto the test card:" not in words
    assert card.read_text().startswith("# mine\n")
    grip = tomllib.loads(card.read_text())["grip"]
    assert grip["front"] == pytest.approx(said["front"], abs=6e-5)
    assert grip["rear"] == pytest.approx(said["rear"], abs=6e-5)
    assert grip["ratio_u"] == pytest.approx(said["ratio_u"], abs=6e-5)
    assert grip["measured"] is True
    assert "it said so already" in run("grip", card, "--write", "--log", log)


def test_what_contradicts_itself_is_not_written(tmp_path: Path) -> None:
    card, log = write(tmp_path, test=TYRES), tmp_path / "log"
    slopes(log, card, 40.0, 36.0)
    slopes(log, card, 24.0, 44.0)
    if found("grip", card, "--log", log).get("usable", True):
        pytest.fail("these slopes were meant to contradict each other")
    before = card.read_text()
    told = pivotbench("grip", card, "--write", "--log", log)
    assert told.code == 2
    assert "nothing was written" in told.err
    assert "front" in told.out  # the answer is shown all the same
    assert card.read_text() == before


def test_another_day_is_a_question_without_anything_to_write(tmp_path: Path) -> None:
    card = write(tmp_path, test=TYRES)
    told = pivotbench("grip", card, "--write", "--against", "2026-01-01", "--log", tmp_path / "log")
    assert told.code == 2
    assert "nothing to write" in told.err


def test_the_fingers_cell_goes_onto_the_bench_card(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was found, said as 95 % (1.96 times), and kept as standard; the run itself has its own tests."""
    card, log = write(tmp_path, bench={"name": "Mine"}), tmp_path / "log"
    cell = {"counts_per_n": -21345.678, "counts_per_n_u": 130.0, "zero_counts": -4321.4, "off_line_n": 0.05}
    asked: dict[str, object] = {}

    def calibrated(bench: BenchCard, log: BenchLog, checks: CheckMasses, **more: Any) -> object:
        asked.update(more, bench=bench.name, masses=checks.masses_g, mass_u=checks.mass_u_g)
        return whole(log, "finger calibration", bench.name, {"boards": ["pb7"]}, cell | {"heaviest_n": 12.345})

    monkeypatch.setattr(finger_cell, "calibrate_finger", calibrated)
    masses = ("--mass", 500, "--mass", 1200, "--mass-u", 0.25)
    words = run("pads", "calibrate", card, "--finger", "--hung", *masses, "--port", "socket://here:1", "--log", log)
    assert "-21,346 ± 255 counts a newton, calibrated up to 12.3 N" in words.replace("\u2212", "-")
    assert "0.05 N off the line" in words
    assert (asked["hung"], asked["port"], asked["bench"]) == (True, "socket://here:1", "Mine")
    assert (list(asked["masses"]), asked["mass_u"]) == ([500.0, 1200.0], 0.25)  # type: ignore[call-overload]
    (bench,) = (one for one in tmp_path.glob("*.toml") if 'card = "bench"' in one.read_text())
    assert tomllib.loads(bench.read_text())["force"] == {
        "counts_per_n": -21345.68,
        "counts_per_n_u": 130.0,
        "zero_counts": -4321.0,
        "board": "pb7",
    }
