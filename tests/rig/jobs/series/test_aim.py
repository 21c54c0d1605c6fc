"""What brings the balance where it is wanted, asked of cards: which grams, which place, which tyres, and the words."""

from pathlib import Path

import numpy as np
import pytest

from tests.values.cards_typed import found, run, write
from tests.values.pads_acted import pivotbench

GRAMS = [520.0, 480.0, 450.0, 350.0]  # front 1000 of 1800 g
GRIP = {"grip.front": 0.9, "grip.rear": 0.75, "grip.measured": True, "grip.ratio_u": 0.02}
NOW = 100 * 1.2 * 1000 / (1.2 * 1000 + 800)  # by hand: 60 %


def card(folder: Path, **more: object) -> Path:
    keys = {key.replace("__", "."): value for key, value in more.items()}
    return write(folder, test={"typed.weights_g": GRAMS} | GRIP | keys, car={"id": "carcarca"})


def test_grams_place_and_tyres_by_hand(tmp_path: Path) -> None:
    test = card(tmp_path)
    other = write(
        tmp_path / "other",
        test={"typed.weights_g": GRAMS} | GRIP | {"grip.front": 0.75, "grip.measured": False},
        car={"id": "carcarca"},
    )
    asked = ["aim", test, "--balance", 56, "--ballast", 200, "--ballast-at", 150, "--tyres", other]
    told = found(*asked, "--log", tmp_path / "log")
    assert told["pushes"] == 0
    assert told["now_pct"] == pytest.approx(NOW, abs=0.1)
    # by hand: front load F with 1.2 F / (1.2 F + 1800 - F) = 0.56, and with grams added behind 1200 / (1200 + R) = 0.56
    load = 0.56 * 1800 / (1.2 - 0.56 * 1.2 + 0.56)
    assert told["moved_rearward_g"]["value"] == pytest.approx(1000 - load, abs=1.5)
    assert told["added_g"] == {"over": "rear"} | told["added_g"]
    assert told["added_g"]["value"] == pytest.approx(1200 / 0.56 - 1200 - 800, abs=3.0)
    assert told["front_grip_factor"]["value"] == pytest.approx(56 / 44 * 40 / 60, abs=0.005)
    wheelbase = 260.0  # of these cards
    place = 150 - told["moved_rearward_g"]["value"] * wheelbase / 200
    assert told["ballast"]["value"] == pytest.approx(place)
    assert told["ballast"]["on_car"] is True
    assert told["tyres"][0]["value"] == pytest.approx(100 * 1000 / 1800, abs=0.1)  # alike all round: as the weights
    words = run(*asked, "--log", tmp_path / "log")
    assert "moved from over the front axle to over the rear axle" in words
    assert f"to {place:.0f} ± " in words
    assert "but their grip was not measured" in words
    assert "Springs, bars and heights do not move the balance at rest" in words


def test_forward_is_told_as_forward(tmp_path: Path) -> None:
    words = run("aim", card(tmp_path), "--balance", 64, "--log", tmp_path / "log")
    assert "moved from over the rear axle to over the front axle" in words
    assert "added over the front axle" in words
    assert "−" not in words.split("For 64 %")[1].splitlines()[0]  # grams that are told with their way have no sign


def test_a_mass_that_cannot_go_far_enough_is_told(tmp_path: Path) -> None:
    words = run("aim", card(tmp_path), "--balance", 50, "--ballast", 10, "--ballast-at", 100, "--log", tmp_path / "log")
    assert "beyond the car, so this mass alone cannot do it" in words


@pytest.mark.parametrize(
    ("balance", "start", "front", "rear", "on_car"),
    [
        # by hand: 73.5 g over 260 mm is 96 mm for 200 g, back for 56 %; 74.6 g forward, 97 mm, for 64 %
        (56, 20, 40, 110, True),  # to 76 mm behind the rear axle
        (56, 20, 110, 40, False),
        (64, 240, 110, 40, True),  # to 77 mm ahead of the front axle
        (64, 240, 40, 110, False),
    ],
)
def test_each_end_of_the_body_has_its_own_overhang(
    balance: float, start: float, front: float, rear: float, on_car: bool, tmp_path: Path
) -> None:
    body = {"geometry.body_front_mm": front, "geometry.body_rear_mm": rear}
    test = write(tmp_path, test={"typed.weights_g": GRAMS} | GRIP, car={"id": "carcarca"} | body)
    asked = ["aim", test, "--balance", balance, "--ballast", 200, "--ballast-at", start, "--log", tmp_path / "log"]
    assert found(*asked)["ballast"]["on_car"] is on_car
    assert ("beyond the car" in run(*asked)) is not on_car


def test_what_is_there_already_is_told(tmp_path: Path) -> None:
    words = run("aim", card(tmp_path), "--balance", 60.2, "--log", tmp_path / "log")
    assert "It may be at 60.2 % already" in words


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--balance", 0.52], "Did you mean 52?"),
        (["--balance", 120], "not between the axles"),
        ([], "--balance"),
        (["--balance", 50, "--pivot", -30], "--balance"),
        (["--balance", 50, "--ballast", 80], "--ballast-at"),
        (["--balance", 50, "--ballast-at", 80], "--ballast"),
        (["--pivot", -30, "--tyres", "x.toml"], "--tyres goes with --balance"),
    ],
)
def test_what_cannot_be_meant_is_refused(words: list[object], says: str, tmp_path: Path) -> None:
    told = pivotbench("aim", card(tmp_path), *words, "--log", tmp_path / "log")
    assert (told.code, told.out) == (2, "")
    assert says in told.err


def test_tyres_of_another_car_are_refused(tmp_path: Path) -> None:
    other = write(tmp_path / "other", test={"typed.weights_g": GRAMS} | GRIP, car={"id": "another", "name": "Snipe"})
    other.with_name("test-car.toml").write_text(
        other.with_name("test-car.toml").read_text().replace('"another"', '"anothers"')
    )
    told = pivotbench("aim", card(tmp_path), "--balance", 50, "--tyres", other, "--log", tmp_path / "log")
    assert told.code == 2
    assert 'another car, "Snipe"' in told.err


def test_a_card_edited_since_its_push_is_not_taken_for_the_pushed_one(tmp_path: Path) -> None:
    """As every question to pushes: said with both sides, until --as-new or --same says which."""
    from tests.values.test_belongs_pushes import Bench

    bench = Bench(tmp_path)
    bench.push(bench.card("one"), -0.5)
    edited = bench.card("one", push__position_pct=80.0)
    refused = bench.ask("aim", edited, "--balance", 50)
    assert refused.code == 2
    assert "position_pct 50 → 80 %" in refused.err
    assert bench.ask("aim", edited, "--balance", 50, "--as-new").code == 0


SPRINGS = {
    f"chassis.{axle}.{key}": value
    for axle, bar in (("front", 0.5), ("rear", 0.2))
    for key, value in {"spring_n_per_mm": 2.4, "motion_ratio": 0.65, "bar_n_per_mm": bar}.items()
}


def sprung(folder: Path, **more: object) -> Path:
    """A card of a car with springs."""
    keys = {key.replace("__", "."): value for key, value in more.items()}
    return write(folder, test={"typed.weights_g": GRAMS} | GRIP, car={"id": "carcarca"} | SPRINGS | keys)


def test_springs_bars_and_heights_are_answered_for_an_acceleration_and_why(tmp_path: Path) -> None:
    test = sprung(tmp_path, chassis__load_sensitivity=0.2, chassis__load_sensitivity_u=0.02)
    asked = ["aim", test, "--sideways", 0.5, "--log", tmp_path / "log"]
    told = found(*asked)["on_the_move"]
    names = [one["name"] for one in told["changes"]]
    assert {"front bar taken off", "rear bar taken off", "ride height 1 mm lower"} <= set(names)
    assert not any("push" in name for name in names)  # a push elsewhere is no change of the car
    off = next(one for one in told["changes"] if one["name"] == "front bar taken off")
    assert off["points"] > 0  # less of the moved load at the front: more grip there
    assert off["over"] == "front"
    assert off["ballast_interval_g"][0] < off["ballast_g"] < off["ballast_interval_g"][1]
    assert off["roll_deg"][1] > off["roll_deg"][0]
    words = run(*asked)
    assert "front bar taken off: forward by" in words
    assert "g over the front axle" in words
    assert "At rest nothing moves across" in words


def test_tyres_without_load_sensitivity_are_said_to_leave_nothing_to_move(tmp_path: Path) -> None:
    test = sprung(tmp_path, chassis__load_sensitivity=0.0)
    words = run("aim", test, "--sideways", 0.5, "--log", tmp_path / "log")
    assert "move no balance point" in words
    assert "points" not in words


def test_a_car_without_springs_still_gets_its_ballast(tmp_path: Path) -> None:
    test = write(tmp_path, test={"typed.weights_g": GRAMS} | GRIP)
    told = pivotbench("aim", test, "--balance", 52, "--sideways", 0.5, "--log", tmp_path / "log")
    assert told.code == 2
    assert "chassis" in told.err
    assert "g " in told.out
    assert told.out == pivotbench("aim", test, "--balance", 52, "--log", tmp_path / "log").out


def test_metres_a_second_squared_are_not_taken_as_g(tmp_path: Path) -> None:
    told = pivotbench("aim", sprung(tmp_path), "--sideways", 4.9, "--log", tmp_path / "log")
    assert told.code == 2
    assert "Did you mean 0.5 g" in told.err


def test_more_than_the_tyres_hold_is_said_first(tmp_path: Path) -> None:
    words = run("aim", sprung(tmp_path), "--sideways", 1.2, "--log", tmp_path / "log")
    assert words.startswith("note: ")
    assert "the car slides already" in words


def test_other_tyres_are_as_uncertain_as_their_grip_and_the_weights(tmp_path: Path) -> None:
    """Balance b = logistic(ln ratio + logit f), f the front share: db = b (1 - b) of each (JCGM 100:2008, 5.1.2)."""
    coarse = {"typed.weights_g": GRAMS, "typed.weights_resolution_g": 40.0}
    test = write(tmp_path, test=GRIP | coarse, car={"id": "carcarca"})
    grip = {"grip.front": 0.9, "grip.rear": 0.6, "grip.measured": True, "grip.ratio_u": 0.03}
    other = write(tmp_path / "other", test=grip | coarse, car={"id": "carcarca"})
    log = tmp_path / "log"
    (tyres,) = found("aim", test, "--balance", 56, "--tyres", other, "--log", log)["tyres"]
    front = found("weigh", test, "--log", log)["front_pct"]
    balance, share = 1.5 * 1000 / (1.5 * 1000 + 800), front["value"] / 100
    sd_front = (front["interval"][1] - front["interval"][0]) / 2 / 1.96 / 100
    half = 196 * balance * (1 - balance) * np.hypot(0.03, sd_front / (share * (1 - share)))
    assert tyres["value"] == pytest.approx(100 * balance, abs=0.2)
    assert (tyres["interval"][1] - tyres["interval"][0]) / 2 == pytest.approx(half, rel=0.05)
