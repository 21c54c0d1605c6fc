"""What a push says, from the poses of a track: nose and tail by hand, the balance by a closed form, read back alike."""

from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import pytest

from analysis.balance.results import Saw
from analysis.base.arrays import FloatArray
from rig.jobs.measuring.found_pushes import pushes_in
from rig.jobs.pushing.balance import ByWeights, answer_from, answer_json, answer_push, write_answer
from rig.jobs.record.recalculate import recalculate
from rig.jobs.series.change_film import drawn_car, way_across
from rig.log.store import BenchLog
from rig.records.balance import BALANCE
from tests.rig.jobs.synthetic_pushes import LENGTH, cards, closed_form, measured, pushed, pushed_track, weighed


@pytest.fixture
def log(tmp_path: Path) -> BenchLog:
    return BenchLog(tmp_path / "log")


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
    # by weights and grip: all tyres alike and losing a tenth of their grip per share of load, as nobody measured them:
    # 410 and 370 g a wheel of 390 in the mean, so moments of 820 * (1 - 0.1 * 20 / 390) and 740 * (1 + 0.1 * 20 / 390)
    assert answer.by_weights is not None
    assert answer.by_weights.pct == pytest.approx(100 * 815.79 / (815.79 + 743.79), abs=0.1)


def test_the_floor_s_printed_bar_is_what_makes_the_floor_s_scale_uncertain(log: BenchLog) -> None:
    """Sheets longer by 0.8 % show the same turn over less travel; what the plate's own bar is known to, moves none."""
    of = cards()
    floor = msgspec.structs.replace(of.bench.floor, bar_mm_u=0.8)
    plate = msgspec.structs.replace(of.car.plate, bar_mm_u=0.1)
    of = replace(
        of,
        bench=msgspec.structs.replace(of.bench, floor=floor),
        car=msgspec.structs.replace(of.car, plate=plate),
    )
    balance = answer_push(of, pushed(0.040, 0.080), weighed(of, log)).balance
    assert balance is not None
    [effect] = [cause.effect for cause in balance.causes if cause.name == "floor's scale"]
    kappa = 2 * (0.040 - 0.080) / (LENGTH * (0.040 + 0.080))
    moved = closed_form(kappa / 1.008, LENGTH / 2) - closed_form(kappa, LENGTH / 2)
    assert abs(effect) == pytest.approx(abs(moved), rel=0.03)


@pytest.mark.thorough
def test_a_clip_that_contradicts_the_cards_side_says_so_once(log: BenchLog) -> None:
    # A finger above the floor rolls the car, and left and right carry unlike loads: the side matters.
    uneven = {"typed__weights_g": [480.0, 340.0, 360.0, 380.0], "push__height_mm": 25.0, "push__position_pct": 70.0}
    of = cards(push__side="left", **uneven)  # the card says pushed to the right; the car goes to its left
    push = pushed(0.069, 0.051, side=1)
    answer = answer_push(of, push, weighed(of, log))
    assert len(answer.remarks) == 1
    assert "goes to its left" in answer.remarks[0]
    assert answer.balance is not None
    right = answer_push(cards(push__side="right", **uneven), push, weighed(of, log))
    assert right.balance is not None
    assert right.remarks == ()
    assert answer.balance.pct == pytest.approx(right.balance.pct, abs=1e-9)
    mirrored = cards(push__side="right", **uneven | {"typed__weights_g": [340.0, 480.0, 380.0, 360.0]})
    other = answer_push(mirrored, push, weighed(mirrored, log))
    assert other.balance is not None
    assert abs((other.balance.pct or 0.0) - (right.balance.pct or 0.0)) > 0.05  # the case can tell


def test_an_answer_is_read_back_as_it_was_written(log: BenchLog) -> None:
    of = cards()
    weights = weighed(of, log)
    push_record = measured(log, of, pushed(0.04, 0.07))
    for answer in (
        answer_push(of, pushed(0.04, 0.07), weights, verdict="disagrees", forecast_station=0.4),
        answer_push(of, pushed(0.05, 0.06), None),
        replace(answer_push(cards(push__wheels="as on the car card"), pushed(0.01, 0.07), weights), number=3),
    ):
        record = write_answer(log, of, answer, push=push_record, weighing=weights)
        again = answer_from(BALANCE.of(log.get(record.id)))
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


def test_what_a_push_said_is_computed_again_to_the_same_figures(log: BenchLog) -> None:
    of = cards(push__position_pct=60.0)
    track = pushed_track(0.069, 0.051)
    (push,) = pushes_in(track, of).pushes
    weights = weighed(of, log)
    record = measured(log, of, push, track=track)
    answer = answer_push(of, push, weights, track=track, verdict="disagrees", forecast_station=0.2)
    kept = write_answer(log, of, answer, push=record, weighing=weights)
    again = recalculate(log)
    assert [one for one in again.differing if one.record == kept.number] == []
    assert kept.number not in again.not_computed
    wrong = replace(answer, by_weights=ByWeights(pct=50.0, u=0.1, interval_pct=(49.8, 50.2)))
    other = write_answer(log, of, wrong, push=record, weighing=weights)
    assert {one.path for one in recalculate(log).differing if one.record == other.number} >= {"by_weights.pct"}


def test_what_a_clip_does_not_allow_is_said(log: BenchLog) -> None:
    # The finger leaves at the farthest frame, and the tyres spring back by 5 % of the way within three frames.
    of = cards(push__position_pct=60.0)
    track = pushed_track(0.069, 0.051)
    back = np.clip((np.arange(90) - 60) / 3.0, 0.0, 1.0)[:, None]
    sprung = replace(track, pose=track.pose - 0.05 * back * (track.pose[60] - track.pose[0]))
    stood = pushes_in(track, of).pushes[0]
    at_once = pushes_in(sprung, of).pushes[0]
    weights = weighed(of, log)
    assert not any("left at once" in one for one in answer_push(of, stood, weights, track=track).remarks)
    (remark,) = answer_push(of, at_once, weights, track=sprung).remarks
    assert remark.startswith("The finger left at once: the turn is taken to the last frames before that")
