"""Cross weight is the share of front right and rear left, wherever the bench speaks of it. All numbers by hand.

The car: FL 700, FR 300, RL 400, RR 200 g, so FR + RL is 700 of 1600 g, 43.75 %, and the other diagonal 56.25 %.
"""

import re
import shutil
from pathlib import Path

import pytest

from tests.values.pads_acted import CAR, ActedPads, on_pads, pivotbench, watch_live, write_cards

CROSS_PCT, OTHER_PCT = 43.75, 56.25
SPRINGS = {"chassis.front.spring_n_per_mm": 3.0, "chassis.rear.spring_n_per_mm": 2.0}
TYPED = {"typed.weights_g": [700, 300, 400, 200]}


def test_a_weighing_names_both_diagonals(tmp_path: Path) -> None:
    test = write_cards(tmp_path, test=TYPED)
    told = pivotbench("weigh", test, "--log", tmp_path / "log", "--json").result
    assert told["diagonal_fr_rl_pct"]["value"] == pytest.approx(CROSS_PCT)
    assert told["diagonal_fl_rr_pct"]["value"] == pytest.approx(OTHER_PCT)


def test_the_live_view_shows_it(calibrated: Path, tmp_path: Path) -> None:
    log, test = Path(shutil.copytree(calibrated, tmp_path / "log")), write_cards(tmp_path)
    with ActedPads() as pads:
        assert pivotbench("zero", test, "--port", pads.url, "--log", log).code == 0
        pads.lay(on_pads(CAR))
        view = watch_live(test, log, pads.url, [("x", 0.8)])
    cross = re.search(r"front right \+ rear left\)?\s+([\d.]+) %", view)
    other = re.search(r"front left \+ rear right\)?\s+([\d.]+) %", view)
    assert cross is not None, view
    assert other is not None, view
    assert float(cross[1]) == pytest.approx(CROSS_PCT, abs=0.2)
    assert float(other[1]) == pytest.approx(OTHER_PCT, abs=0.2)
