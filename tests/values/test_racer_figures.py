"""What the racer's view says of two weighings that were typed: gap to the target, change against before, each with ±.

Truth: shares and grams by hand; the ± by the law of propagation (JCGM 100:2008, 5.2.2) from the covariance of the
four loads, which other tests hold against the scales' steps and the floor.
"""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rig.cards.read import CardSet, read_set
from rig.jobs.weighing.cross import CrossTarget, cross_gap
from rig.jobs.weighing.weights import RecordedWeighing, weigh_typed
from rig.log.store import BenchLog
from rig.page.live.racer import racer_json
from tests.values.pads_acted import write_cards

FIRST, SECOND = [430.0, 380.0, 390.0, 400.0], [405.0, 420.0, 415.0, 385.0]
COARSE, FINE = 10.0, 2.0
"""g, the steps of the two scales. The coarse one counts for more than 1 % of accuracy and the placings do."""


def typed(folder: Path, log: BenchLog, weights: list[float], step: float) -> tuple[CardSet, RecordedWeighing]:
    """Weights written onto the test card and weighed."""
    cards = read_set(write_cards(folder, test={"typed.weights_g": weights, "typed.weights_resolution_g": step}))
    return cards, weigh_typed(cards, log)


@dataclass(frozen=True)
class Racer:
    """told: as the page has it.  first, second: (4, 4) g², of the loads of the two weighings."""

    told: dict[str, Any]
    first: np.ndarray
    second: np.ndarray


@pytest.fixture(scope="module")
def racer(tmp_path_factory: pytest.TempPathFactory) -> Racer:
    folder = tmp_path_factory.mktemp("racer")
    with BenchLog(folder / "log") as log:
        _, first = typed(folder, log, FIRST, COARSE)
        cards, second = typed(folder, log, SECOND, FINE)
        told = racer_json(cards, second, CrossTarget(share_pct=52.0), log)
    return Racer(told=told, first=first.weights.covariance, second=second.weights.covariance)


def sd_of_cross(weights: list[float], covariance: np.ndarray) -> float:
    """Points of the cross weight c = 100 (FR + RL) / total; per gram (100 - c) / total there, elsewhere -c / total."""
    total = sum(weights)
    cross = 100 * (weights[1] + weights[2]) / total
    slope = np.array([-cross, 100 - cross, 100 - cross, -cross]) / total
    return float(np.sqrt(slope @ covariance @ slope))


def test_the_gap_is_in_grams_of_the_wanted_diagonal(racer: Racer) -> None:
    # 420 + 415 = 835 of 1,625 g; 52 % of them are 845
    assert racer.told["over_g"] == pytest.approx(-10.0, abs=1e-6)
    assert racer.told["over_half_g"] == pytest.approx(1.96 * sd_of_cross(SECOND, racer.second) / 100 * 1625, rel=0.01)


def test_what_changed_is_the_last_less_the_one_before(racer: Racer) -> None:
    before = racer.told["before"]
    assert [grams for grams, _ in before["corner_g"]] == pytest.approx([-25.0, 40.0, 25.0, -15.0])
    assert before["total_g"][0] == pytest.approx(25.0)
    assert before["front_pct"][0] == pytest.approx(100 * 825 / 1625 - 100 * 810 / 1600)
    assert before["left_pct"][0] == pytest.approx(100 * 820 / 1625 - 100 * 820 / 1600)
    assert before["cross_pct"][0] == pytest.approx(100 * 835 / 1625 - 100 * 770 / 1600)


def test_the_scatter_of_both_scales_is_in_the_change(racer: Racer) -> None:
    before = racer.told["before"]
    corner = 1.96 * np.sqrt(np.diag(racer.first) + np.diag(racer.second))
    assert [half for _, half in before["corner_g"]] == pytest.approx(corner.tolist(), rel=0.01)
    assert np.diag(racer.first).min() > 1.2 * np.diag(racer.second).max()  # the coarser scale's is the larger share
    assert before["total_g"][1] == pytest.approx(1.96 * math.sqrt(racer.first.sum() + racer.second.sum()), rel=0.01)
    both = math.hypot(sd_of_cross(FIRST, racer.first), sd_of_cross(SECOND, racer.second))
    assert before["cross_pct"][1] == pytest.approx(1.96 * both, rel=0.01)


@pytest.mark.parametrize(("share", "found"), [(51.39, "does not tell it"), (50.89, "Within 0.5 points"), (54.0, "spr")])
def test_what_is_advised_follows_gap_and_uncertainty(tmp_path: Path, share: float, found: str) -> None:
    # 51.385 % as weighed, ± 0.48 points
    with BenchLog(tmp_path / "log") as log:
        cards, weighing = typed(tmp_path, log, SECOND, FINE)
    assert found in cross_gap(cards, weighing.weights, CrossTarget(share_pct=share)).advice
