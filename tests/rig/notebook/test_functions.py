"""The bench from Python: the examples in its docstrings run, and it gives what the commands give.

Truth: the figures beside the examples are worked out by hand; for the rest, what the command prints.
"""

import doctest
import importlib
from pathlib import Path

import numpy as np
import pytest

from analysis.base.errors import AnalysisError
from rig.base.errors import InputError
from rig.cards.template import card_text
from rig.jobs.series.change import compare_setups
from rig.jobs.weighing.weights import weigh_typed
from rig.log.store import BenchLog
from rig.notebook import functions
from rig.notebook.functions import change, compare, predict, read_cards, records_of, weigh, weigh_loads
from rig.records.grip import GRIP
from rig.records.weighing import WEIGHING
from tests.rig.cards.new_cards import write_new_cards
from tests.rig.jobs.synthetic_pushes import pushed, recorded
from tests.values.cards_typed import found, run

TYPED = {"typed.weights_g": [400.0, 380.0, 390.0, 410.0], "typed.pivot_pct": 150.0, "typed.pivot_pct_u": 5.0}
EVEN = [400.0, 400.0, 380.0, 380.0]


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """Cards with typed weights and a typed pivot, and a log with their weighing."""
    write_new_cards(tmp_path)
    (tmp_path / "test.toml").write_text(card_text("test", TYPED), encoding="utf-8")
    with BenchLog(tmp_path / "log") as log:
        weigh_typed(read_cards(tmp_path / "test.toml"), log)
    with BenchLog(tmp_path / "pushed") as log:
        for name, nose, tail in (("plain", 0.060, 0.060), ("rubber", 0.050, 0.070)):
            keys = {"name": name, "typed.weights_g": EVEN, "push.position_pct": 50.0, "push.wheels": "blocked"}
            (tmp_path / f"{name}.toml").write_text(card_text("test", keys), encoding="utf-8")
            recorded(log, read_cards(tmp_path / f"{name}.toml"), pushed(nose, tail), tmp_path / f"{name}.mp4")
    return tmp_path


def test_the_examples_run(bench: Path) -> None:
    tried = doctest.testmod(functions, extraglobs={"folder": bench})
    assert tried.failed == 0
    assert tried.attempted >= 30


def test_python_and_the_commands_say_the_same_and_python_writes_nothing(bench: Path) -> None:
    cards = read_cards(bench / "test.toml")
    weighing = weigh(cards, bench / "log")
    verdict, made = compare(cards, weighing)
    alone = predict(cards, weighing)
    with BenchLog(bench / "log", read_only=True) as log:
        assert len(list(log.records())) == 1
    told = found("push", bench / "test.toml", "--log", bench / "log")
    assert (verdict.verdict, verdict.sentence) == (told["verdict"], told["sentence"])
    assert made.estimate.kappa == told["predicted"]["kappa_per_m"]
    said = found("push", "forecast", bench / "test.toml", "--log", bench / "log")
    assert (alone.estimate.kappa, alone.balance_pct) == (said["pivot"]["kappa_per_m"], said["balance_pct"])


@pytest.mark.thorough
def test_a_change_from_python_is_the_one_that_is_recorded_and_nothing_is_written(bench: Path) -> None:
    plain, rubber = read_cards(bench / "plain.toml"), read_cards(bench / "rubber.toml")
    log = bench / "pushed"
    before = found("log", "--log", log)["records"]
    forth, back = change(plain, rubber, log), change(rubber, plain, log)
    assert found("log", "--log", log)["records"] == before
    assert forth.change.moved is not None
    assert back.change.moved is not None
    assert forth.change.moved.value == pytest.approx(-back.change.moved.value)  # the same change, undone
    with BenchLog(log) as opened:
        recorded_too = compare_setups(plain, rubber, opened)
    assert (forth.change, forth.notes) == (recorded_too.change, recorded_too.notes)
    assert forth.sentences == recorded_too.record.result.sentences
    assert [clip.number for clip in forth.a.clips] == list(recorded_too.record.inputs.a)


@pytest.mark.thorough
def test_a_clip_that_was_not_measured_is_not_passed_over(bench: Path) -> None:
    plain = read_cards(bench / "plain.toml")
    text = (bench / "rubber.toml").read_text(encoding="utf-8")
    (bench / "rubber.toml").write_text(text.replace('clip = ""', 'clip = "new.mp4"'), encoding="utf-8")
    (bench / "new.mp4").write_bytes(b"another push")
    with pytest.raises(InputError, match=r"new\.mp4 of this set-up was not measured yet"):
        change(plain, read_cards(bench / "rubber.toml"), bench / "pushed")


@pytest.mark.thorough
def test_typed_weights_stand_in_the_log_once(bench: Path) -> None:
    """Tilt, tilt and pull rest on them; ballast and reach only ask."""
    test, log = bench / "test.toml", bench / "log"
    for angle in ("17", "18"):
        run("grip", "tilt", test, "--part", "rear", "--angle", angle, "--log", log)
    run("grip", "pull", test, "--part", "car", "--force", "12.4", "--log", log)
    before = found("log", "--log", log)["records"]
    run("aim", "ballast", test, "--mass", "40", "--to", "200", "0", "--log", log)
    run("aim", test, "--pivot", "-30", "--log", log)
    assert found("log", "--log", log)["records"] == before
    assert [record["kind"] for record in before] == ["weighing", "grip", "grip", "grip"]
    (weighing,) = records_of(log, WEIGHING)
    assert [record.parents for record in records_of(log, GRIP)] == [(weighing.id,)] * 3


@pytest.mark.parametrize("room", ["rig", "vision", "analysis"])
def test_types_go_out_with_the_package(room: str) -> None:
    """PEP 561: the marker stands in each package, and the build is told to take it along."""
    (place,) = importlib.import_module(room).__path__
    assert (Path(place) / "py.typed").is_file()
    assert '"py.typed"' in (Path(place).parent / "pyproject.toml").read_text(encoding="utf-8")


def test_doubts_that_are_handed_over_are_standard_uncertainties() -> None:
    """Statics and JCGM 100, 5.1.2, by hand: independent doubts of 1, 2, 3 and 4 g add up to the root of 30 g2."""
    places = np.array([[0.25, 0.08], [0.25, -0.07], [0.0, 0.09], [0.0, -0.06]])
    load, u = np.array([430.0, 370.0, 290.0, 410.0]), np.array([1.0, 2.0, 3.0, 4.0])
    found = weigh_loads(load, u, places)
    assert found.total_g.u == pytest.approx(30**0.5)
    # front share F / (F + R): its doubt is root of (R u_F)2 + (F u_R)2 over the total squared
    assert found.front_pct.value == pytest.approx(100 * 800 / 1500)
    assert found.front_pct.u == pytest.approx(100 * np.hypot(700 * 5**0.5, 800 * 5.0) / 1500**2)
    np.testing.assert_allclose(np.diag(found.covariance), u**2)
    np.testing.assert_allclose(found.cg, load @ places / 1500)
    with pytest.raises(AnalysisError):
        weigh_loads(load, np.array([1.0, np.nan, 3.0, 4.0]), places)
