"""Weights held against what else is known of the car: its total, its parts, its size, the log. Sums by hand."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rig.base.errors import InputError
from rig.cards.read import CardSet, read_set
from rig.jobs.weighing.weights import known_weighing, weigh_typed, weights_but_for
from rig.log.store import BenchLog
from tests.values.cards_typed import toml

CAR = {
    "card": "car",
    "name": "Dunlin",
    "geometry.wheelbase_mm": 257,
    "geometry.track_front_mm": 165,
    "geometry.track_rear_mm": 150,
}
GOOD = [412, 391, 468, 329]
"""g, FL FR RL RR: 1600 in all, no two alike; front 803, left 880."""


def cards(folder: Path, weights: list[float], **more: Any) -> CardSet:
    """A car card and a test card with typed weights; more: keys of the car card, __ for a dot, or test__key."""
    keys = {key.replace("__", "."): value for key, value in more.items()}
    test = {key.removeprefix("test."): value for key, value in keys.items() if key.startswith("test.")}
    car = CAR | {key: value for key, value in keys.items() if not key.startswith("test.")}
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "car.toml").write_text(toml(car), encoding="utf-8")
    (folder / "bench.toml").write_text('card = "bench"\nname = "b"\n', encoding="utf-8")
    texts = {"card": "test", "name": "middle", "typed.weights_g": weights, "push.position_pct": 50} | test
    (folder / "test.toml").write_text(toml(texts), encoding="utf-8")
    return read_set(folder / "test.toml")


def remarks(folder: Path, weights: list[float], **more: Any) -> tuple[str, ...]:
    with BenchLog(folder / "log") as log:
        return known_weighing(cards(folder / "cards", weights, **more), log).remarks


@pytest.mark.parametrize("total", [1600, 1590, 1615])
def test_a_total_that_agrees_is_not_spoken_of(total: float, tmp_path: Path) -> None:
    # four placings of 4 g each, a scale of 0.2 %, a total known to 0.5 %: ± about 24 g at 95 %
    assert remarks(tmp_path, GOOD, masses__total_g=total) == ()


@pytest.mark.parametrize("total", [1510, 1710])
def test_a_total_that_contradicts_the_corners_is_told_with_both_figures(total: float, tmp_path: Path) -> None:
    (said,) = remarks(tmp_path, GOOD, masses__total_g=total)
    assert "1600 g" in said
    assert f"total_g = {total}" in said


def test_a_total_with_the_parts_or_without_them_agrees(tmp_path: Path) -> None:
    part = [{"name": "battery", "mass_g": 280.0, "x_mm": 90.0}]
    for place, total in enumerate((1600, 1880)):
        assert remarks(tmp_path / str(place), GOOD, masses__total_g=total, masses__parts=part) == ()
    assert remarks(tmp_path / "neither", GOOD, masses__total_g=1740, masses__parts=part)


@pytest.mark.parametrize(
    ("weights", "more", "parts"),
    [
        ([4.04, 3.83, 4.59, 3.23], {}, ["15.69 g", "257", "1600 g (newtons)"]),
        (
            [0.412, 0.391, 0.468, 0.329],
            {"geometry__wheelbase_mm": 41, "geometry__track_front_mm": 27, "geometry__track_rear_mm": 25},
            ["1.6 g"],
        ),
        ([56.4] * 4, {"masses__total_g": 6400}, ["225.6 g", "6400", "6396 g (ounces)"]),
        (GOOD, {"masses__parts": [{"name": "lead", "mass_g": -1650.0, "x_mm": 90.0}]}, ["lead", "1600"]),
        (GOOD, {"test__typed__weights_resolution_g": 500}, ["weights_resolution_g = 500", "468"]),
    ],
)
def test_weights_that_cannot_be_of_this_car_are_refused(
    weights: list[float], more: dict[str, Any], parts: list[str], tmp_path: Path
) -> None:
    with pytest.raises(InputError) as caught:
        remarks(tmp_path, weights, **more)
    for part in parts:
        assert part in str(caught.value)


@pytest.mark.parametrize(
    ("weights", "parts"),
    [
        ([0.412, 391, 468, 329], ["front left carries 0.412 g", "412?"]),
        ([412, 391, 4680, 329], ["rear left carries 4680 g", "digit too many"]),
        ([412, 391, 468, 33], ["rear right carries 33 g beside 412, 391, 468", "did you mean 330?"]),
        ([412, 391, 468, 0], ["rear right carries 0 g", "is that right?"]),
        (
            [412, 391, 120, 468],
            ["rear left carries 120 g beside 412, 391, 468", "is that right?"],
        ),  # 28 %
    ],
)
def test_one_wheel_in_another_unit_is_told(weights: list[float], parts: list[str], tmp_path: Path) -> None:
    (said,) = remarks(tmp_path, weights)
    for part in parts:
        assert part in said


def test_a_part_in_kilograms_and_an_inertia_of_another_car_are_told(tmp_path: Path) -> None:
    (said,) = remarks(tmp_path / "a", GOOD, masses__parts=[{"name": "battery", "mass_g": 0.28, "x_mm": 90.0}])
    assert "0.28 g" in said
    assert "280 g?" in said
    # 1.6 kg with a radius of gyration of 0.4 · 0.257 m: 0.0169 kg m²
    (said,) = remarks(tmp_path / "b", GOOD, masses__yaw_inertia_kgm2=16.9)
    assert "16.9" in said
    assert "0.017" in said
    assert remarks(tmp_path / "c", GOOD, masses__yaw_inertia_kgm2=0.012) == ()


@pytest.mark.parametrize(
    ("weights", "what"),
    [
        ([468, 329, 412, 391], "front and rear"),
        ([391, 412, 329, 468], "left and right"),
        ([412, 468, 391, 329], "front right and rear left"),
        ([412, 391, 329, 468], "the rear wheels"),
    ],
)
def test_weights_in_another_order_than_the_log_knows_are_told(weights: list[float], what: str, tmp_path: Path) -> None:
    with BenchLog(tmp_path / "log") as log:
        number = weigh_typed(cards(tmp_path / "good", GOOD), log).record.number
        assert known_weighing(cards(tmp_path / "again", [410, 394, 466, 331]), log).remarks == ()
        (said,) = known_weighing(cards(tmp_path / "other", weights), log).remarks
    assert f"record {number} " in said
    assert f"are {what} exchanged?" in said
    assert f"front left {weights[0]}, there 412" in said


def test_axles_that_weigh_nearly_alike_are_told_apart_too(tmp_path: Path) -> None:
    # front 51.25 %, exchanged 48.75: no corner moves by 2 % of the car, which placing it anew may be worth
    near, other = [418, 402, 398, 382], [398, 382, 418, 402]
    with BenchLog(tmp_path / "log") as log:
        weigh_typed(cards(tmp_path / "good", near), log)
        assert known_weighing(cards(tmp_path / "twisted", [428, 392, 388, 392]), log).remarks == ()
        (said,) = known_weighing(cards(tmp_path / "other", other), log).remarks
    assert "are front and rear exchanged?" in said


@pytest.mark.parametrize(("grams", "told"), [(2, True), (1, False)])
def test_a_scale_that_repeats_well_tells_axles_half_a_point_apart(grams: int, told: bool, tmp_path: Path) -> None:
    # grams more on each front wheel than 400, less on each rear one: front 50.25 %, exchanged 49.75; or half of that
    steady = 'card = "bench"\nname = "b"\npads.reseat_g = 0.5\n'
    sets = []
    for place, sign in (("good", 1), ("other", -1)):
        cards(tmp_path / place, [400 + sign * grams] * 2 + [400 - sign * grams] * 2)
        (tmp_path / place / "bench.toml").write_text(steady)
        sets.append(read_set(tmp_path / place / "test.toml"))
    with BenchLog(tmp_path / "log") as log:
        weigh_typed(sets[0], log)
        assert bool(known_weighing(sets[1], log).remarks) is told


def test_a_second_weighing_does_not_silence_the_first(tmp_path: Path) -> None:
    with BenchLog(tmp_path / "log") as log:
        first = weigh_typed(cards(tmp_path / "good", GOOD), log)
        slip = cards(tmp_path / "slip", [468, 329, 412, 391])
        second = weigh_typed(slip, log)
        assert first.remarks == ()
        assert [log.card(one).kind for one in first.record.cards] == ["test", "car", "bench"]  # told by their places
        assert f"record {first.record.number} " in second.remarks[0]
        assert f"record {first.record.number} " in known_weighing(slip, log).remarks[0]
        # for a push of before, what was weighed since says nothing
        assert known_weighing(cards(tmp_path / "old", GOOD), log, before=second.record.number).remarks == ()


def test_the_same_weights_out_of_another_bench_s_log_are_not_taken_for_ones_own(tmp_path: Path) -> None:
    car = cards(tmp_path / "cards", GOOD)
    with BenchLog(tmp_path / "theirs") as log:
        theirs = weigh_typed(car, log).record
        kept = list(log.cards())
    with BenchLog(tmp_path / "log") as log:
        log.take_in([theirs], kept, [])
        mine = weigh_typed(car, log).record
        assert (mine.id != theirs.id, mine.bench) == (True, log.bench)
        assert weigh_typed(car, log).record.id == mine.id  # and once only


def test_a_car_in_another_state_is_not_held_against_its_old_weights(tmp_path: Path) -> None:
    with BenchLog(tmp_path / "log") as log:
        weigh_typed(cards(tmp_path / "good", GOOD, masses__total_g=1600), log)
        assert known_weighing(cards(tmp_path / "now", [500, 480, 468, 329], masses__total_g=1777), log).remarks == ()


def test_recorded_weights_are_held_against_the_card_too(tmp_path: Path) -> None:
    with BenchLog(tmp_path / "log") as log:
        weigh_typed(cards(tmp_path / "good", GOOD, masses__total_g=1500), log)
        bare = cards(tmp_path / "bare", GOOD, masses__total_g=1500)
        (tmp_path / "bare" / "test.toml").write_text('card = "test"\nname = "later"\npush.position_pct = 150\n')
        bare = read_set(tmp_path / "bare" / "test.toml")
        total, place = known_weighing(bare, log).remarks
    assert "total_g = 1500" in total
    assert "position_pct = 150" in place


def test_one_cause_taken_out_leaves_the_others(tmp_path: Path) -> None:
    """Independent causes: their covariances add (JCGM 100:2008, 5.1.2), so what is left is the sum of the others."""
    car = cards(tmp_path / "cards", GOOD)
    with BenchLog(tmp_path / "log") as log:
        weighing = weigh_typed(car, log)
    parts = {part.name: np.array(part.covariance_g2) for part in weighing.result.doubt}
    assert len(parts) > 1
    for gone in parts:
        left = sum(matrix for name, matrix in parts.items() if name != gone)
        np.testing.assert_allclose(weights_but_for(gone, weighing, car).covariance, left, atol=1e-9)
