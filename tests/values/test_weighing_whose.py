"""Whose weights, whose calibration, which port: records of other cars and benches in the same log are not mixed in."""

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.values.pads_acted import CAR, WHEELS, ActedPads, on_pads, pivotbench, records, write_cards

EVEN: dict[str, Any] = {"geometry.track_rear_mm": 160}


def typed(*grams: float) -> dict[str, Any]:
    return {"typed.weights_g": list(grams)}


def test_the_newest_weighing_of_this_car_counts(tmp_path: Path) -> None:
    log = tmp_path / "log"
    for number, grams in enumerate(((500, 400, 300, 350), (700, 300, 400, 200))):
        assert pivotbench("weigh", write_cards(tmp_path / f"{number}", test=typed(*grams)), "--log", log).code == 0
    other = write_cards(tmp_path / "other", car={"name": "Another"}, test=typed(10, 20, 30, 40))
    assert pivotbench("weigh", other, "--log", log).code == 0
    bare = write_cards(tmp_path / "bare", car=EVEN)
    told = pivotbench(
        "aim", "ballast", bare, "--mass", 80, "--from", 20, 30, "--front", 63, "--log", log, "--json"
    ).result
    # by hand: 80 g from 20 to 45 mm ahead bring 8 g, four to each wheel, from the rear to the front
    np.testing.assert_allclose(told["load_g"], [704, 304, 396, 196], atol=1e-9)
    stranger = write_cards(tmp_path / "stranger", car={"name": "Never weighed"})
    assert pivotbench("push", "forecast", stranger, "--log", log).code == 2


def test_the_pads_of_another_bench_are_not_calibrated(calibrated: Path, tmp_path: Path) -> None:
    log = Path(shutil.copytree(calibrated, tmp_path / "log"))
    other, ours = write_cards(tmp_path / "other", bench={"name": "Elsewhere"}), write_cards(tmp_path / "ours")
    with ActedPads() as pads:
        common = ["--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", other, *common).code == 0  # of the other bench: no zero of ours
        refused = pivotbench("weigh", other, *common, "--unattended")
        assert refused.code == 2
        assert "calibrated" in refused.err
        refused = pivotbench("weigh", ours, *common, "--unattended")
        assert refused.code == 2
        assert "zeroed" in refused.err


def test_the_port_on_the_card_unless_another_is_named(calibrated: Path, tmp_path: Path) -> None:
    log = Path(shutil.copytree(calibrated, tmp_path / "log"))
    with ActedPads() as pads, ActedPads([90_000, 91_000, 92_000, 93_000]) as others:
        test = write_cards(tmp_path, bench={"pads.port": pads.url})
        told = pivotbench("pads", "zero", test, "--log", log, "--json").result
        assert told["counts"][3] == pytest.approx(78_000, abs=1)
        told = pivotbench("pads", "zero", test, "--port", others.url, "--log", log, "--json").result
        np.testing.assert_allclose(told["counts"], [90_000, 91_000, 92_000, 93_000], atol=1)


def test_half_a_turn_on_the_pads(calibrated: Path, tmp_path: Path) -> None:
    log, test = Path(shutil.copytree(calibrated, tmp_path / "log")), write_cards(tmp_path)
    turned = {"FL": CAR["RR"], "FR": CAR["RL"], "RL": CAR["FR"], "RR": CAR["FL"]}
    asked: list[str] = []

    def do(text: str) -> None:
        asked.append(text)
        pads.lay(on_pads(turned if "half round" in text else CAR))

    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        told = pivotbench("weigh", *common, "--turned", "half", "--placings", 2, "--json", hands=do)
    assert told.code == 0, told.err
    np.testing.assert_allclose(told.result["corner_weights_g"], [CAR[wheel] for wheel in WHEELS], atol=3.0)
    assert records(log, "weighing")[-1]["inputs"]["turns"] == ["as is"] * 2 + ["half turn"] * 2
    assert ["once more" in text for text in asked] == [False, True, False, True]
