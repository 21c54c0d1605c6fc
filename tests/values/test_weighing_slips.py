"""Zeroing with the car on, weighing nothing, a dead pad, a lost digit: said at once, with the figures (by hand)."""

import shutil
from pathlib import Path

import pytest

from tests.values.pads_acted import CAR, EMPTY, GAIN, ActedPads, on_pads, pivotbench, records, truth, write_cards


@pytest.fixture
def log(tmp_path: Path, calibrated: Path) -> Path:
    """A log of its own with the calibration in it."""
    return Path(shutil.copytree(calibrated, tmp_path / "log"))


@pytest.fixture
def card(tmp_path: Path) -> Path:
    return write_cards(tmp_path)


def test_a_car_under_the_zero_is_refused_and_a_tray_is_not(log: Path, card: Path) -> None:
    """Against the calibration first, then against the zero before: total 1600 g, rear right on pad 1."""
    with ActedPads(on_pads(CAR)) as pads:
        common = [card, "--port", pads.url, "--log", log]
        told = pivotbench("pads", "zero", *common)
        assert told.code == 2
        assert "the pads are not empty" in told.err
        assert "(RR 200, FL 700, FR 300, RL 400)" in told.err  # pad 2 is curved
        assert records(log, "zero") == []
        pads.lay([count + round(40 * gain) for count, gain in zip(EMPTY, GAIN, strict=True)])  # a tray of 160 g
        assert pivotbench("pads", "zero", *common).code == 2
        assert pivotbench("pads", "zero", *common, "--tray").code == 0
        pads.lay([count + round(41 * gain) for count, gain in zip(EMPTY, GAIN, strict=True)])
        assert pivotbench("pads", "zero", *common).code == 0  # drift since the last zero, tray and all


def zeroed(log: Path, card: Path, pads: ActedPads) -> list[object]:
    common: list[object] = [card, "--port", pads.url, "--log", log]
    assert pivotbench("pads", "zero", *common).code == 0
    return [*common, "--unattended"]


def test_empty_pads_are_no_weighing(log: Path, card: Path) -> None:
    with ActedPads() as pads:
        told = pivotbench("weigh", *zeroed(log, card, pads))
    assert told.code == 2
    assert "there is no car on the pads" in told.err
    assert records(log, "weighing") == []


@pytest.mark.parametrize("turned", [False, True])
def test_a_pad_that_dies_after_the_zero_is_named(log: Path, card: Path, turned: bool) -> None:
    """Front right stands on pad 3, which goes on giving its empty counts."""
    with ActedPads() as pads:
        common = zeroed(log, card, pads)
        counts = on_pads(CAR)
        counts[2] = EMPTY[2]
        pads.lay(counts)
        more = ["--turned", "half"] if turned else []
        told = pivotbench("weigh", *common, *more)
    assert told.code == 2
    assert "the front right wheel carries" in told.err
    assert "pad under FR" in told.err
    assert records(log, "weighing") == []


def test_a_lost_digit_is_told_against_the_weighing_before(log: Path, card: Path) -> None:
    """Front left 700 g, then 200 g with nothing else changed: no car does that."""
    with ActedPads() as pads:
        common = zeroed(log, card, pads)
        pads.lay(on_pads(CAR))
        assert pivotbench("weigh", *common).code == 0
        same = pivotbench("weigh", *common)
        assert "Only the" not in same.out
        lost = on_pads(CAR)
        lost[1] = truth(1, 200)
        pads.lay(lost)
        told = pivotbench("weigh", *common)
        assert told.code == 0
        assert "Only the front left wheel changed" in told.out
        assert "from 70" in told.out
        pads.lay(on_pads({wheel: 0.8 * grams for wheel, grams in CAR.items()}))  # after the odd one: compared with it
        lighter = pivotbench("weigh", *common)
        assert "Only the" in lighter.out or "what was changed" in lighter.out
