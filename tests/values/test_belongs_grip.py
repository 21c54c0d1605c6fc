"""Grip measurements go together only like with like, never against themselves, and one day is held against another.

Truth: statics by hand (grip of a pull is force over weight, of a whole car on a slope the tangent of the angle).
"""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.values.cards_typed import WEIGHTS, G, found, records, run, take_in, write
from tests.values.pads_acted import Told, pivotbench

FRONT_N, REAR_N = sum(WEIGHTS[:2]) / 1000 * G, sum(WEIGHTS[2:]) / 1000 * G
SOFT = {"conditions.compound_front": "soft", "conditions.compound_rear": "soft", "conditions.surface": "carpet"}
HARD = {"conditions.compound_front": "hard", "conditions.compound_rear": "hard", "conditions.surface": "asphalt"}


class Floor:
    """A log of grip measurements; other days come in from another machine's log."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.log = folder, folder / "log"

    def card(self, file: str = "t", car: Mapping[str, Any] | None = None, **test: Any) -> Path:
        return write(self.folder, file=file, car={"id": "carcarca"} | dict(car or {}), test=test)

    def pull(self, card: Path, part: str, grip: float, *more: object) -> int:
        force = grip * {"front": FRONT_N, "rear": REAR_N, "car": FRONT_N + REAR_N}[part]
        three = [word for share in (0.99, 1.0, 1.01) for word in ("--force", share * force)]
        run("grip", "pull", card, "--part", part, *three, *more, "--log", self.log)
        return int(records(self.log, "grip")[-1]["number"])

    def ask(self, card: Path, *more: object) -> Told:
        return pivotbench("grip", card, *more, "--log", self.log)

    def answer(self, card: Path, *more: object) -> dict[str, Any]:
        return found("grip", card, *more, "--log", self.log)


@pytest.fixture
def floor(tmp_path: Path) -> Floor:
    return Floor(tmp_path)


def test_soft_tyres_on_carpet_and_hard_ones_on_asphalt_stay_apart(floor: Floor) -> None:
    soft, hard = floor.card("soft", **SOFT), floor.card("hard", **HARD)
    for card, grip in ((soft, 1.1), (hard, 0.6)):
        if card == hard:  # nothing measured on these yet: that the answer is an assumption comes before it
            told = floor.answer(hard)
            assert (told["count"], told["remarks"]) == (0, told["left_out"])
            assert re.match(r'2 measurements .*"carpet" left out: this is .*"asphalt"', told["remarks"][0])
        floor.pull(card, "front", grip)
        floor.pull(card, "rear", grip)
    for card, grip, other in ((soft, 1.1, "asphalt"), (hard, 0.6, "carpet")):
        told = floor.answer(card)
        assert told["count"] == 2
        assert told["front"] == pytest.approx(grip, rel=0.03)
        assert told["rear"] == pytest.approx(grip, rel=0.03)
        assert f'surface "{other}" left out' in told["left_out"][0]
        assert "remarks" not in told
    assert "\n2 measurements with front tyres" in floor.ask(soft).out
    assert "Onto the test card:" in floor.ask(soft).out


def test_a_card_that_does_not_say_is_asked_where_there_are_two(floor: Floor) -> None:
    bare = floor.card("bare")
    floor.pull(floor.card("soft", **SOFT), "car", 1.1)
    told = floor.answer(bare)
    assert told["front"] == pytest.approx(1.1, rel=0.04)
    assert "the test card does not say so" in told["remarks"][0]
    floor.pull(floor.card("hard", **HARD), "car", 0.6)
    refused = floor.ask(bare)
    assert refused.code == 2
    assert "carpet" in refused.err
    assert "asphalt" in refused.err


@pytest.mark.parametrize("edit", [{}, {"conditions.surface": " Carpet "}, {"conditions.notes": "cold"}, {"name": "x"}])
def test_the_same_tyres_on_the_same_floor_need_no_word(floor: Floor, edit: dict[str, Any]) -> None:
    floor.pull(floor.card("a", **SOFT), "front", 0.9)
    floor.pull(floor.card("b", **(SOFT | edit)), "rear", 0.8)
    told = floor.answer(floor.card("c", **SOFT))
    assert told["count"] == 2
    assert "remarks" not in told
    assert told["warnings"] == []


def test_the_grip_of_another_car_is_not_taken(floor: Floor) -> None:
    floor.pull(floor.card("a", **SOFT), "car", 0.9)
    floor.pull(floor.card("b", car={"id": "othercar"}, **SOFT), "car", 0.5)
    assert floor.answer(floor.card("a", **SOFT))["count"] == 1


def test_a_measurement_set_aside_is_not_combined(floor: Floor) -> None:
    card = floor.card("a", **SOFT)
    floor.pull(card, "car", 0.9)
    number = floor.pull(card, "car", 0.5)
    run("log", "aside", number, "--why", "the string caught", "--log", floor.log)
    told = floor.answer(card)
    assert (told["count"], told["front"]) == (1, pytest.approx(0.9, rel=0.03))


def test_measured_on_other_days_at_other_temperatures_is_told(floor: Floor) -> None:
    floor.pull(floor.card("a", **SOFT, **{"conditions.floor_temperature_c": 12.0}), "car", 0.9)
    floor.pull(floor.card("b", **SOFT, **{"conditions.floor_temperature_c": 27.0}), "car", 0.9)
    assert "floor temperature differs: 12 °C and 27 °C" in floor.answer(floor.card("c", **SOFT))["warnings"]


def tilted(floor: Floor, card: Path, front: float, rear: float, car: float) -> None:
    for part, angle in (("front", front), ("rear", rear), ("car", car)):
        three = [word for more in (-0.2, 0.0, 0.2) for word in ("--angle", angle + more)]
        run("grip", "tilt", card, "--part", part, *three, "--log", floor.log)


def test_a_combination_outside_all_its_measurements_gives_no_lines(floor: Floor) -> None:
    """Tilts of both axles and of the whole car that contradict each other; what they share takes up the conflict."""
    card = floor.card("a", **SOFT)
    tilted(floor, card, 26.0, 15.5, 38.2)
    rows = [one["result"] for one in records(floor.log, "grip")]
    told = floor.answer(card, "--static")
    assert told["front"] > rows[0]["value"]  # this is how it was: outside every one of them
    assert told["rear"] > rows[1]["value"]
    assert told["usable"] is False
    words = floor.ask(card, "--static").out
    assert words.splitlines()[0].startswith("note: The grip measurements contradict each other")
    assert "note: The combination lies outside what was measured" in words
    assert "tilt board, protractor" in words
    assert "[grip]" not in words


def test_tilts_that_agree_give_their_lines(floor: Floor) -> None:
    """Grip 0.8 everywhere: tan 38.66°; an axle alone slips where 0.8 of its share, and 0.02 of the other's, is tan."""
    card = floor.card("a", **SOFT)
    share, k = np.array([FRONT_N, REAR_N]) / (FRONT_N + REAR_N), 40 / 260

    def slope(part: int) -> float:  # t = mu s(t) + 0.02 (1 - s(t)); nose up moves k t to the rear: by repetition
        t = 0.5
        for _ in range(60):
            s = share[part] + (-k * t if part == 0 else k * t)
            t = 0.8 * s + 0.02 * (1 - s)
        return float(np.degrees(np.arctan(t)))

    tilted(floor, card, slope(0), slope(1), float(np.degrees(np.arctan(0.8))))
    told = floor.answer(card, "--static")
    assert told["front"] == pytest.approx(0.8, rel=0.01)
    assert "usable" not in told
    assert "[grip]" in floor.ask(card, "--static").out


@pytest.mark.parametrize("noted", [True, False])
def test_pulls_that_contradict_each_other_give_no_lines(floor: Floor, noted: bool) -> None:
    card = floor.card("a", **(SOFT if noted else {}))
    floor.pull(card, "front", 0.8)
    assert "[grip]" in floor.ask(card).out
    floor.pull(card, "front", 1.05)
    words = floor.ask(card).out
    assert "contradict" in words.splitlines()[0]
    assert "[grip]" not in words
    assert ("No tyres are noted" in words) is not noted  # they may have been others: the likeliest of all causes


def test_along_and_across_may_differ(floor: Floor) -> None:
    """A tilt along the car and a pull across: 5 % between the two is no contradiction, and widens the level."""
    card = floor.card("a", **SOFT, **{"grip.front_along_u": 0.05, "grip.rear_along_u": 0.05})  # as usual: unmeasured
    floor.pull(card, "car", 0.80, "--gauge-u", 0.005)
    angle = float(np.degrees(np.arctan(0.86)))
    three = [word for more in (-0.2, 0.0, 0.2) for word in ("--angle", angle + more)]
    run("grip", "tilt", card, "--part", "car", "--sliding", "--angle-u", 0.1, *three, "--log", floor.log)
    told = floor.answer(card)
    assert told["count"] == 2
    assert "usable" not in told
    # by hand: the pull is worth 2.8 % (2 degrees of the string), the tilt 5 %: a quarter of the way, 0.814; were the
    # tilt taken as one across, it would be 0.858
    share = FRONT_N / (FRONT_N + REAR_N)
    assert share * told["front"] + (1 - share) * told["rear"] == pytest.approx(0.814, rel=0.01)


def tilt(floor: Floor, card: Path, part: str, degrees: float) -> None:
    three = [word for more in (-0.1, 0.0, 0.1) for word in ("--angle", degrees + more)]
    run("grip", "tilt", card, "--part", part, "--sliding", "--angle-u", 0.05, *three, "--log", floor.log)


def test_what_a_tilted_car_says_of_grip_across_goes_by_the_measured_ratio(floor: Floor) -> None:
    """By hand: sliding nose up at 40 degrees, grip along is tan 40 in the mean; a = 1.25 in front, 0.80 behind.

    The pull across holds the front axle at 0.72, so the rear one has what is left over.
    """
    keys = {"grip.front_along": 1.25, "grip.front_along_u": 0.01, "grip.rear_along": 0.8, "grip.rear_along_u": 0.01}
    card = floor.card("a", **SOFT, **keys)
    floor.pull(card, "front", 0.72, "--gauge-u", 0.001)
    tilt(floor, card, "car", 40.0)
    told = floor.answer(card)
    slope = np.tan(np.radians(40.0))
    share = FRONT_N / (FRONT_N + REAR_N) - 40.0 / 260.0 * slope  # the centre of gravity is 40 mm up
    rear = (slope - share * 1.25 * 0.72) / ((1 - share) * 0.8)
    assert told["front"] == pytest.approx(0.72, rel=0.005)
    assert told["rear"] == pytest.approx(rear, rel=0.02)
    assert abs(rear / ((slope - share * 0.72) / (1 - share)) - 1) > 0.05  # the case would show it left out


def test_grip_along_in_the_log_counts_where_the_card_says_nothing(floor: Floor) -> None:
    keys = {"grip.front_along_u": 0.05, "grip.rear_along_u": 0.05}
    card = floor.card("a", **SOFT, **keys)
    tilt(floor, card, "rear", 30.0)
    before = floor.answer(card)
    pulls = ["--along", 3.4, "--along", 3.5, "--across", 4.4, "--across", 4.5]
    run("grip", "along", card, "--part", "rear", *pulls, "--way", "backwards", "--log", floor.log)
    ratio = records(floor.log, "grip along")[-1]["result"]["ratio"]
    assert ratio < 0.9
    told = floor.answer(card)
    assert told["rear"] == pytest.approx(before["rear"] / ratio, rel=5e-3)  # a wide prior pulls a little
    assert f"rear tyres {ratio:.3f}" in told["remarks"][0]
    other = floor.card("b", **HARD, **keys)  # of these tyres nobody measured it
    tilt(floor, other, "rear", 30.0)
    assert floor.answer(other)["rear"] == pytest.approx(before["rear"], rel=1e-6)


# days


def on_days(floor: Floor, days: dict[str, dict[str, float]]) -> Path:
    """Pulls of some days, brought in as another machine's log has them: their own day in `at`."""
    card = floor.card("a", **SOFT)
    rows = []
    for day, grips in days.items():
        for part, grip in grips.items():
            quantity = "mean" if part == "car" else part
            result = {"quantity": quantity, "value": grip, "relative_u": 0.01, "method": "pull", "state": "sliding"}
            result |= {"front_weight": 0.565, "shared": {"spring balance": 0.02}}
            row = {"kind": "grip", "title": "Lopsided", "cards": "a", "inputs": {"direction": "across"}}
            rows.append(row | {"result": result, "at": f"{day}T10:00:00+00:00"})
    take_in(floor.folder / "in", floor.log, rows, [card])
    return card


def test_is_my_floor_different_from_last_week(floor: Floor) -> None:
    """By hand: ln 0.72/0.80 twice; each 1 % own error on both days, the balance's 2 % cancels: 1.4 %, together 1 %."""
    card = on_days(floor, {"2026-11-21": {"front": 0.80, "rear": 0.75}, "2026-11-28": {"front": 0.72, "rear": 0.675}})
    told = floor.answer(card, "--against", "2026-11-21")
    assert told["ratio"] == pytest.approx(0.9, rel=1e-9)
    assert np.log(told["interval"][1] / told["interval"][0]) / 2 == pytest.approx(1.96 * 0.01, rel=1e-3)
    assert (told["before"], told["now"], told["finding"]) == (2, 2, "less grip")
    assert told["days"] == ["2026-11-21", "2026-11-28"]
    words = floor.ask(card, "--against", "2026-11-21").out
    assert re.match(r"2026-11-28 against 2026-11-21: less grip; grip × 0\.900 \(95 %: 0\.88\d to 0\.91\d\)", words)
    assert "from 2 measurements of 2026-11-21 and 2 of 2026-11-28" in words


def test_each_kind_of_measurement_tells_its_own_change(floor: Floor) -> None:
    """By hand: 0.84 / 0.80 and 0.78 / 0.75, each with 1 % own error on both days: 1.96 x 1.41 %."""
    card = on_days(floor, {"2026-11-21": {"front": 0.80, "rear": 0.75}, "2026-11-28": {"front": 0.84, "rear": 0.78}})
    words = floor.ask(card, "--against", "2026-11-21").out
    assert re.search(r"front +× 1\.050 ± 0\.029\n +rear +× 1\.040 ± 0\.029", words), words


@pytest.mark.parametrize(
    ("today", "finding"),
    [
        ({"front": 0.805, "rear": 0.755}, "no change seen"),
        ({"front": 0.9, "rear": 0.84}, "more grip"),
        ({"front": 0.9, "rear": 0.65}, "the measurements tell different changes"),
    ],
)
def test_what_can_be_said_of_two_days(floor: Floor, today: dict[str, float], finding: str) -> None:
    card = on_days(floor, {"2026-11-21": {"front": 0.80, "rear": 0.75}, "2026-11-28": today})
    assert floor.answer(card, "--against", "2026-11-21")["finding"] == finding


def test_of_three_days_the_newest_is_held_against_the_one_that_was_named(floor: Floor) -> None:
    days = {"2026-11-14": {"front": 0.60}, "2026-11-21": {"front": 0.80}, "2026-11-28": {"front": 0.72}}
    card = on_days(floor, days)
    for day, ratio in (("2026-11-14", 1.2), ("2026-11-21", 0.9)):
        told = floor.answer(card, "--against", day)
        assert told["ratio"] == pytest.approx(ratio, rel=1e-9)
        assert f"2026-11-28 against {day}" in floor.ask(card, "--against", day).out


def test_only_what_was_measured_alike_compares_days(floor: Floor) -> None:
    card = on_days(floor, {"2026-11-21": {"front": 0.80}, "2026-11-28": {"rear": 0.75}})
    refused = floor.ask(card, "--against", "2026-11-21")
    assert refused.code == 2
    assert "same way on both days" in refused.err
    refused = floor.ask(card, "--against", "2026-11-01")
    assert refused.code == 2
    assert "2026-11-21, 2026-11-28" in refused.err
