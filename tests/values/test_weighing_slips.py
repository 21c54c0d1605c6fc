"""Zeroing with the car on, weighing nothing, a dead pad, a lost digit: said at once, with the figures (by hand)."""

import re
import shutil
from pathlib import Path

import numpy as np
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
        # by hand: 1600 less the 500 lost, then 0.8 of 1600, each to a gram: pads 2 and 4 are a little off their curves
        (told_g,) = re.findall(r"weighed (\d+) g in record 5, and (\d+) g now: what was changed", lighter.out)
        np.testing.assert_allclose([int(one) for one in told_g], [1100, 1280], atol=2)


@pytest.mark.parametrize(
    ("on", "refused"),
    [  # g on FL FR RL RR; by hand: an axle, one wheel, pads that were moved or drifted
        ((230, 0, 0, 0), True),  # a forgotten check mass or one wheel
        ((150, 160, 0, 0), True),  # the front axle alone
        ((0, 0, 30, 32), True),  # the rear axle of a small car
        ((40, 0, 0, 0), False),  # a pad that was moved
        ((8, 9, 7, -6), False),  # drift of a day
    ],
)
def test_part_of_a_car_under_the_zero(log: Path, card: Path, on: tuple[int, ...], refused: bool) -> None:
    with ActedPads(on_pads(dict(zip(("FL", "FR", "RL", "RR"), on, strict=True)))) as pads:
        told = pivotbench("pads", "zero", card, "--port", pads.url, "--log", log)
    assert told.code == (2 if refused else 0), told.err
    assert ("the pads are not empty" in told.err) == refused
    assert len(records(log, "zero")) == (not refused)


def test_a_wheel_of_a_small_car_is_found_where_its_mass_is_known(log: Path, tmp_path: Path) -> None:
    """A tenth of 300 g would be a pad that was moved; 48 g are a wheel of this car."""
    small = {"masses.total_g": 300, "geometry.wheelbase_mm": 150}
    with ActedPads(on_pads({"FL": 0, "FR": 48, "RL": 0, "RR": 0})) as pads:
        common = ["--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", write_cards(tmp_path / "big"), *common).code == 0
        told = pivotbench("pads", "zero", write_cards(tmp_path / "small", car=small), *common)
    assert told.code == 0  # since the zero before nothing came on
    with ActedPads(on_pads({"FL": 0, "FR": 96, "RL": 0, "RR": 0})) as pads:
        told = pivotbench("pads", "zero", tmp_path / "small" / "test.toml", "--port", pads.url, "--log", log)
    assert told.code == 2
    assert "(RR 0, FL 0, FR 48, RL 0)" in told.err


def test_without_a_calibration_nobody_says_zeroed(tmp_path: Path, card: Path) -> None:
    with ActedPads(on_pads(CAR)) as pads:
        told = pivotbench("pads", "zero", card, "--port", pads.url, "--log", tmp_path / "new")
    assert told.code == 0
    assert "Zeroed" not in told.out
    assert "not calibrated: nobody can tell whether they were empty" in told.out


@pytest.mark.parametrize(
    ("drift", "code", "said"),
    [  # g that the dead front right pad shows; 15 % of the mean of the others are 65 g, 40 % 173
        (12, 2, "the front right wheel carries 12.0 g beside 700, 399, 200 g"),
        (60, 2, "the front right wheel carries 60.0 g"),
        (70, 0, "The front right wheel carries only 70 g beside 700, 399, 200 g"),
        (180, 0, ""),
    ],
)
def test_a_dead_pad_that_drifts(log: Path, card: Path, drift: float, code: int, said: str) -> None:
    with ActedPads() as pads:
        common = zeroed(log, card, pads)
        counts = on_pads(CAR)
        counts[2] = truth(2, drift)
        pads.lay(counts)
        told = pivotbench("weigh", *common)
    assert told.code == code, told.err
    assert said in told.out + told.err
    assert ("carries only" in told.out) == (said.startswith("The"))


def test_a_first_weighing_is_held_against_the_mass_on_the_card(log: Path, tmp_path: Path) -> None:
    """1600 g on the card; a digit lost from 700 leaves 1099: no weighing before, and still it is told."""
    with ActedPads() as pads:
        card = write_cards(tmp_path, car={"masses.total_g": 1600})
        common = zeroed(log, card, pads)
        lost = on_pads(CAR)
        lost[1] = truth(1, 200)
        pads.lay(lost)
        told = pivotbench("weigh", *common)
    assert "the car card says total_g = 1600" in told.out


def test_a_changed_digit_in_the_middle_is_told(log: Path, card: Path) -> None:
    """Front right 312 g, then 302 with nothing else changed; 10 g from one diagonal to the other are a placing."""
    with ActedPads() as pads:
        common = zeroed(log, card, pads)
        pads.lay(on_pads(CAR | {"FR": 312}))
        assert pivotbench("weigh", *common).code == 0
        pads.lay(on_pads({"FL": 706, "FR": 306, "RL": 394, "RR": 206}))
        placed = pivotbench("weigh", *common)
        assert "Only the" not in placed.out
        assert "what was changed" not in placed.out
        pads.lay(on_pads({"FL": 706, "FR": 296, "RL": 394, "RR": 206}))
        told = pivotbench("weigh", *common)
    assert "Only the front right wheel changed" in told.out
    assert "from 306 to 296 g" in told.out


def test_a_placing_that_weighs_less_in_all_is_told(log: Path, card: Path) -> None:
    """Set down anew, RL has lost 100 g: half on the table. A shift between the diagonals is none."""

    def do(text: str) -> None:
        pads.lay(on_pads(CAR | {"RL": 300} if "bounce" in text else CAR))

    with ActedPads() as pads:
        common = zeroed(log, card, pads)[:-1]
        told = pivotbench("weigh", *common, "--placings", 2, hands=do)
    assert told.code == 0
    assert "Placing 2 weighs 1500." in told.out or "Placing 2 weighs 1499." in told.out
    assert "placing 1 1600." in told.out or "placing 1 1599." in told.out
