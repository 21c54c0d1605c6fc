"""Pulls both ways land on the test card as what the forecast goes by."""

from pathlib import Path

import pytest

from rig.cards.mechanics import car_state
from rig.cards.read import read_set
from rig.log.store import BenchLog
from rig.records.grip import GRIP_ALONG
from tests.values.cards_typed import write
from tests.values.pads_acted import pivotbench

GRAMS = [430.0, 410.0, 400.0, 360.0]


def test_grip_along_is_written_where_the_forecast_looks(tmp_path: Path) -> None:
    path = write(tmp_path, test={"typed.weights_g": GRAMS}, car={"front.drag": 0.0, "rear.drag": 0.0})
    # by hand, rear axle pulled backwards: 760 g are 7.453 N, pressed down by 6.2 * 10 / 260 N
    pulls = ["--along", 6.3, "--along", 6.1, "--across", 5.7, "--across", 5.5]
    words = [
        "grip",
        "along",
        path,
        "--part",
        "rear",
        *pulls,
        "--way",
        "backwards",
        "--log",
        tmp_path / "log",
        "--write",
    ]
    said = pivotbench(*words)
    assert said.code == 0, said.err
    expected = 6.2 / (7.453 + 6.2 * 10 / 260) * 7.453 / 5.6
    assert f"rear tyres grip {expected:.3f} times as well along as across" in said.out
    cards = read_set(path)
    assert cards.test.grip.rear_along == pytest.approx(expected, abs=2e-4)
    assert cards.test.grip.front_along == 1.0
    assert 0.015 < cards.test.grip.rear_along_u < 0.05
    with BenchLog(tmp_path / "log", read_only=True) as log:
        (record,) = log.records(kind=GRIP_ALONG)
    assert record.result.ratio == pytest.approx(expected, abs=2e-4)
    state = car_state(cards.car, cards.test, load=[4.0] * 4, load_covariance=[[0.0] * 4] * 4)  # type: ignore[arg-type]
    assert state.along.tolist() == pytest.approx([1.0, 1.0, expected, expected], abs=2e-4)


@pytest.mark.parametrize(
    ("along", "across", "factor"),
    [((63.0, 61.0), (5.7, 5.5), "8.5"), ((6.3, 6.1), (0.057, 0.055), "0.0076"), ((630, 610), (570, 550), "85")],
)
def test_pulls_that_make_no_grip_factor_are_refused_whichever_way(
    tmp_path: Path, along: tuple[float, float], across: tuple[float, float], factor: str
) -> None:
    # by hand: of 7.453 N on the rear axle 63 N are 8.5, 630 N 85 and 0.057 N 0.0076; a tyre grips with about one
    path = write(tmp_path, test={"typed.weights_g": GRAMS}, car={"front.drag": 0.0, "rear.drag": 0.0})
    pulls = [
        word for way, forces in (("--along", along), ("--across", across)) for one in forces for word in (way, one)
    ]
    said = pivotbench("grip", "along", path, "--part", "rear", *pulls, "--log", tmp_path / "log")
    assert said.code == 2
    assert f"would be a grip factor of {factor}" in " ".join(said.err.split())
