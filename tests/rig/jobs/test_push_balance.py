"""What a push says, from the poses of a track: nose and tail by hand, the balance by a closed form, read back alike."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.balance.results import Saw
from analysis.base.arrays import FloatArray
from analysis.measured.pushes import MeasuredPush, measure_pivot
from rig.cards.read import CardSet, parse_card
from rig.cards.schema import BenchCard, CarCard, TestCard
from rig.cards.template import card_text
from rig.jobs.pushing.balance import answer_from, answer_json, answer_push, judged, write_answer
from rig.jobs.series.change_film import drawn_car, way_across
from rig.jobs.weighing.weigh import Weighing, weigh_typed
from rig.log.store import BenchLog

LENGTH, HALF_TRACK = 0.257, 0.0825
WEIGHTS = [420.0, 400.0, 380.0, 360.0]
CAR = {
    "name": "Dunlin",
    "geometry.wheelbase_mm": 257.0,
    "geometry.track_front_mm": 165.0,
    "geometry.track_rear_mm": 165.0,
}


def cards(**test: object) -> CardSet:
    keys = {"name": "middle", "typed.weights_g": WEIGHTS, "push.finger_path": "stays on the car", "push.height_mm": 0.0}
    keys |= {key.replace("__", "."): value for key, value in test.items()}
    texts = {
        "car": card_text("car", CAR),
        "bench": card_text("bench", {"name": "bench"}),
        "test": card_text("test", keys),
    }
    return CardSet(
        test=parse_card(texts["test"], TestCard, where="test.toml"),
        car=parse_card(texts["car"], CarCard, where="car.toml"),
        bench=parse_card(texts["bench"], BenchCard, where="bench.toml"),
        texts=texts,
        folder=Path(),
    )


def pushed(
    nose: float, tail: float, *, side: int = 1, start: tuple[float, float, float] = (0.3, -0.1, 0.7)
) -> MeasuredPush:
    """A push whose axle middles go so far, m, across the heading in the middle of the turn; noise of 10 um."""
    turn = 2 * side * math.asin((nose - tail) / (2 * LENGTH))
    # by hand, complex: the rear axle's middle goes `tail` across the mean heading
    heading = start[2] + turn / 2
    back = complex(start[0], start[1]) + side * tail * 1j * np.exp(1j * heading)
    ahead = complex(start[0], start[1]) + LENGTH * np.exp(1j * start[2])
    # the nose follows from the rigid car; along the mean heading both go alike
    assert (
        abs((back + LENGTH * np.exp(1j * (start[2] + turn)) - ahead) * np.exp(-1j * heading) - side * nose * 1j) < 1e-12
    )
    share = np.clip((np.arange(90) - 30) / 30.0, 0.0, 1.0)
    end = np.array([back.real, back.imag, start[2] + turn])
    pose = np.array(start) + share[:, None] * (end - np.array(start))
    pose = pose + np.random.default_rng(2).normal(0.0, 1e-5, pose.shape) * [1.0, 1.0, 5.0]
    scatter = np.tile(np.diag([1e-10, 1e-10, 25e-10]), (90, 1, 1))
    return measure_pivot(np.arange(90) / 30, pose, scatter, np.zeros((3, 3)), wheelbase=LENGTH)[0]


@pytest.fixture
def log(tmp_path: Path) -> BenchLog:
    return BenchLog(tmp_path / "log")


def weighed(of: CardSet, log: BenchLog) -> Weighing:
    return weigh_typed(of, log)


def closed_form(kappa: float, s: float) -> float:
    """Front share of grip for a sliding finger at station s, m, of an even blocked car.

    Source: moment balance about the pole, F[(L-X)(L-s)+h2]/a + R[X s+h2]/b = 0 with X = L/2 - 1/kappa.
    """
    x, h2 = LENGTH / 2 - 1 / kappa, HALF_TRACK**2
    front = ((LENGTH - x) * (LENGTH - s) + h2) / math.hypot(LENGTH - x, HALF_TRACK)
    rear = (x * s + h2) / math.hypot(x, HALF_TRACK)
    ratio = -rear / front
    return 100 * ratio / (1 + ratio)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(
    ("nose", "tail", "saw"),
    [(0.051, 0.069, Saw.TAIL_LED), (0.069, 0.051, Saw.NOSE_LED), (0.058, 0.062, Saw.ALMOST_STRAIGHT)],
)
def test_nose_tail_and_balance(nose: float, tail: float, saw: Saw, side: int, log: BenchLog) -> None:
    of = cards(push__side="right" if side == 1 else "left")
    answer = answer_push(of, pushed(nose, tail, side=side), weighed(of, log))
    assert answer.saw.saw is saw
    assert answer.saw.side == side
    assert answer.saw.nose_mm == pytest.approx(1e3 * nose, abs=0.05)
    assert answer.saw.tail_mm == pytest.approx(1e3 * tail, abs=0.05)
    assert answer.remarks == ()
    # A slide of a few degrees in one step of the closed form: within 0.15 points
    kappa = 2 * (nose - tail) / (LENGTH * (nose + tail))
    assert answer.balance is not None
    assert answer.balance.pct == pytest.approx(closed_form(kappa, LENGTH / 2), abs=0.15)
    # by weights and grip: all tyres alike, so the front share of weight, 820 of 1560 g
    assert answer.by_weights is not None
    assert answer.by_weights.pct == pytest.approx(100 * 820 / 1560, abs=0.1)


def test_a_clip_that_contradicts_the_cards_side_says_so_once(log: BenchLog) -> None:
    of = cards(push__side="left")  # the card says pushed to the right; the car goes to its left
    answer = answer_push(of, pushed(0.051, 0.069, side=1), weighed(of, log))
    assert len(answer.remarks) == 1
    assert "goes to its left" in answer.remarks[0]
    assert answer.balance is not None
    right = answer_push(cards(push__side="right"), pushed(0.051, 0.069, side=1), weighed(of, log))
    assert right.balance is not None
    assert answer.balance.pct == pytest.approx(right.balance.pct, abs=1e-9)


def test_an_answer_is_read_back_as_it_was_written(log: BenchLog) -> None:
    of = cards()
    weights = weighed(of, log)
    push_record = log.record("push", "middle", inputs={}, result={"pushes": [], "track": {}})
    for answer in (
        judged(answer_push(of, pushed(0.04, 0.07), weights), "disagrees", 0.4),
        answer_push(of, pushed(0.05, 0.06), None),
        replace(answer_push(cards(push__wheels="as on the car card"), pushed(0.01, 0.07), weights), number=3),
    ):
        record = write_answer(log, of, answer, push=push_record, weighing=weights)
        again = answer_from(log.get(record.id))
        assert again == answer


def test_what_programs_get(log: BenchLog) -> None:
    of = cards()
    plain = answer_json(answer_push(of, pushed(0.051, 0.069), weighed(of, log)))
    assert plain["saw"] == "tail led"
    assert plain["nose_mm"] == pytest.approx(51.0, abs=0.05)
    assert plain["tail_mm"] == pytest.approx(69.0, abs=0.05)
    low, high = plain["balance_measured"]["interval_pct"]
    assert low < plain["balance_measured"]["pct"] < high
    assert set(plain["balance_forecast"]) == {"pct", "interval_pct"}
    rolling = answer_json(answer_push(cards(push__wheels="as on the car card"), pushed(0.001, 0.069), weighed(of, log)))
    assert set(rolling["balance_measured"]) == {"axle", "odds", "bounds_pct"}
    assert rolling["balance_measured"]["axle"] == "front"


def test_the_place_is_told_within_two_wheelbases_of_the_middle_only() -> None:
    # 1/kappa = L (n + t) / (2 (n - t)): 1.7 wheelbases for 41 and 75 mm, 3.3 for 51 and 69
    near, far = answer_push(cards(), pushed(0.041, 0.075), None), answer_push(cards(), pushed(0.051, 0.069), None)
    assert near.swung_mm == pytest.approx(1e3 * (LENGTH / 2 + LENGTH * 116 / 68), rel=0.01)
    assert far.swung_mm is None


def test_ways_across_are_those_of_the_end_at_the_end() -> None:
    push = pushed(0.051, 0.069, side=-1)
    answer = answer_push(cards(push__side="left"), push, None)
    relative: FloatArray = np.array([[0.0, 0.0, 0.0], answer.end])
    for station, expected in ((LENGTH, 0.051), (0.0, 0.069)):
        ways = way_across(relative, station, side=-1)
        np.testing.assert_allclose(ways, [0.0, expected], atol=5e-5)


def test_the_drawing_shows_what_the_answer_says(log: BenchLog) -> None:
    of = cards(push__position_pct=60.0, push__side="left")
    answer = answer_push(of, pushed(0.051, 0.069, side=-1), weighed(of, log))
    car = drawn_car(of, answer, "Dunlin")
    np.testing.assert_allclose(car.push, [0.6 * LENGTH, 0.095])  # touched on its left, half of 190 mm
    assert car.side == -1
    assert (car.nose_mm, car.tail_mm) == (answer.saw.nose_mm, answer.saw.tail_mm)
    assert car.balance is not None
    assert answer.balance is not None
    assert car.balance[0] == pytest.approx((answer.balance.pct or 0.0) / 100 * LENGTH)
    np.testing.assert_allclose(car.end[1], -0.069, atol=0.003)  # to its right
