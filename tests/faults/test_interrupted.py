"""Ctrl-C and kill -9 at a few moments, as in tests/benchmarks/stops.py: code 130 and a word, and a sound log.

130 is what shells give for a command that was stopped by SIGINT (128 + 2).
"""

import signal
from pathlib import Path
from typing import Any

import pytest

from analysis.forecast import forecast as prediction
from rig.cards.read import read_set
from rig.jobs.pushing.forecast import forecast
from rig.jobs.record.recalculate import recalculate
from rig.jobs.weighing.weights import known_weighing
from rig.log.store import BenchLog
from tests.benchmarks.stops import judge, typed_cards


@pytest.mark.thorough
@pytest.mark.parametrize("after", [0.0, 0.08, 0.3])
def test_a_forecast_can_be_stopped_at_any_moment(tmp_path: Path, after: float) -> None:
    tally = judge(
        ["push", "forecast", str(typed_cards(tmp_path / "cards")), "--log", str(tmp_path / "log")],
        tmp_path / "log",
        after,
        signal.SIGINT,
    )
    assert (tally["badly_told"], tally["not_sound"], tally["wrong"]) == (0, 0, 0)


def test_a_forecast_stopped_between_draws_is_computed_again_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C in the third block of draws keeps two; the record must come out the same all the same."""
    card, made = read_set(typed_cards(tmp_path)), 0
    usual = prediction.assemble

    def stopping(car: Any, push: Any, scores: Any, count: int) -> Any:
        nonlocal made
        made += count > 1
        if made == 3:
            raise KeyboardInterrupt
        return usual(car, push, scores, count)

    with BenchLog(tmp_path / "log") as log:
        monkeypatch.setattr("rig.jobs.pushing.forecast.ENDS_WITHIN", 0.01)  # so that a third block is begun
        monkeypatch.setattr(prediction, "assemble", stopping)
        record = forecast(card, known_weighing(card, log), log).record
        monkeypatch.setattr(prediction, "assemble", usual)
        assert made == 3
        assert record.result.pivot.count < record.inputs.draws
        again = recalculate(log)
    assert again.differing == ()
    assert again.same == 1


@pytest.mark.thorough
def test_a_killed_demo_leaves_a_sound_log(tmp_path: Path) -> None:
    """Weighing and filming are under way then; the benchmark takes moments over the whole job."""
    tally = judge(["demo", "--out", str(tmp_path / "out")], tmp_path / "out" / "log", 3.5, signal.SIGKILL)
    assert tally["finished"] == 0
    assert (tally["badly_told"], tally["not_sound"], tally["wrong"]) == (0, 0, 0)
