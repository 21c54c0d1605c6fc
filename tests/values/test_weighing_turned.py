"""The car turned on calibrated pads: known by their calibration and zeros, with every warning kept. Figures by hand."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from tests.values.pads_acted import CAR, PAD_WHEELS, WHEELS, ActedPads, later, on_pads, pivotbench, truth, write_cards

HALF = {"FL": "RR", "FR": "RL", "RL": "FR", "RR": "FL"}
"""Place of a pad at first -> wheel on it after half a turn."""


def stand(text: str, car_g: dict[str, float]) -> dict[str, float]:
    """Grams on the pads, by their places, after what was asked."""
    return {place: car_g[HALF[place]] for place in WHEELS} if "half round" in text else dict(car_g)


@pytest.fixture
def log(tmp_path: Path, calibrated: Path) -> Path:
    return Path(shutil.copytree(calibrated, tmp_path / "log"))


def halves(told: dict[str, object]) -> np.ndarray:
    """Half-widths of the corners, g."""
    return np.array([(high - low) / 2 for low, high in told["corner_interval_g"]])  # type: ignore[attr-defined]


@pytest.mark.parametrize("placings", [1, 2])
def test_turned_is_never_wider_than_the_same_placings_unturned(log: Path, tmp_path: Path, placings: int) -> None:
    """Placings shift 3 g between the diagonals, back and forth, in both ways alike."""
    test, count = write_cards(tmp_path), [0]

    def do(text: str) -> None:
        if "Set the car" not in text and "Lift the car" not in text and "half round" not in text:
            return
        shift = (3.0, -2.0, 1.0, -3.0)[count[0] % 4]
        count[0] += 1
        moved = {w: CAR[w] + shift * sign for w, sign in zip(WHEELS, (1, -1, -1, 1), strict=True)}
        pads.lay(on_pads(stand(text, moved)))

    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        turned = pivotbench("weigh", *common, "--turned", "half", "--placings", placings, "--json", hands=do).result
        count[0] = 0
        plain = pivotbench("weigh", *common, "--placings", 2 * placings, "--json", hands=do).result
    np.testing.assert_allclose(turned["corner_weights_g"], [CAR[w] for w in WHEELS], atol=2.5)
    # degrees of freedom are a little fewer where pads are estimated besides: 5 % are left to that
    assert np.mean(halves(turned)) <= 1.05 * np.mean(halves(plain))
    total = [one["total_g"]["interval"][1] - one["total_g"]["interval"][0] for one in (turned, plain)]
    assert total[0] <= 1.05 * total[1]


def test_a_pad_that_was_moved_days_after_its_zero_is_warned_of(log: Path, tmp_path: Path) -> None:
    """The pad under RL at first reads 30 g more; the zero is three days old."""
    test = write_cards(tmp_path)

    def do(text: str) -> None:
        on = stand(text, CAR)
        pads.lay([truth(pad, on[place] + 30.0 * (place == "RL")) for pad, place in enumerate(PAD_WHEELS)])

    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        with later(3 * 86_400.0):
            told = pivotbench("weigh", *common, "--turned", "half", hands=do)
    assert told.code == 0, told.err
    assert "zero once more" in told.out
    assert "The pads differ" in told.out
    assert "pads agree" not in told.out


def test_a_dead_pad_is_named_in_any_turn(log: Path, tmp_path: Path) -> None:
    """It dies after the first placing: pad 2, under FL at first, RR stands on it then."""
    test = write_cards(tmp_path)

    def do(text: str) -> None:
        counts = on_pads(stand(text, CAR))
        if "half round" in text:
            counts[1] = truth(1, 3.0)
        pads.lay(counts)

    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        told = pivotbench("weigh", *common, "--turned", "half", hands=do)
    assert told.code == 2
    assert "the rear right wheel carries 3.0 g" in told.err
    assert "pad under RR now (pad 2)" in told.err


def test_what_changed_since_the_weighing_before_is_told_turned_as_well(log: Path, tmp_path: Path) -> None:
    test, car = write_cards(tmp_path), [dict(CAR)]

    def do(text: str) -> None:
        pads.lay(on_pads(stand(text, car[0])))

    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        first = pivotbench("weigh", *common, "--turned", "half", hands=do)
        assert "what was changed" not in first.out
        car[0] = CAR | {"RL": CAR["RL"] + 60, "FR": CAR["FR"] + 20}
        told = pivotbench("weigh", *common, "--turned", "half", hands=do)
    assert "what was changed?" in told.out


@pytest.mark.parametrize("more", [(), ("--turned", "half")])
def test_which_pads_the_nose_goes_on_is_said_before_the_car_stands(
    more: tuple[str, ...], log: Path, tmp_path: Path
) -> None:
    """Pads 1 to 4 are RR, FL, FR, RL: a car set on them the other way round would weigh as one with 37 % in front."""
    test, asked = write_cards(tmp_path), list[str]()

    def do(text: str) -> None:
        asked.append(text)
        pads.lay(on_pads(stand(text, CAR)))

    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        assert pivotbench("weigh", *common, *more, hands=do).code == 0
    first = next(text for text in asked if "Set the car on" in text)
    assert "its nose on pad 2 (FL) and pad 3 (FR)" in first
