"""Calibrations, zeros and weighings are found by bench, board, car and state, in the order of the log.

Each case is a mix-up at the bench that once gave a confident wrong figure, and beside it the ordinary use that must go
on without a word. Truth: the grams and counts dictated to the pads.
"""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.values.pads_acted import (
    CAR,
    EMPTY,
    GAIN,
    PAD_UNDER,
    WHEELS,
    ActedPads,
    Told,
    clock_set,
    later,
    on_pads,
    pivotbench,
    records,
    toml,
    write_cards,
)

CAR_G = [CAR[wheel] for wheel in WHEELS]
NEAR_G = 3.0
HOUR = 3600.0


@pytest.fixture
def log(tmp_path: Path, calibrated: Path) -> Path:
    """A log of its own with the calibration of table 1 in it: the board "scripted", a bench card without an id."""
    return Path(shutil.copytree(calibrated, tmp_path / "log"))


@pytest.fixture
def pads() -> Iterator[ActedPads]:
    with ActedPads() as acted:
        yield acted


def zero_and_weigh(test: Path, pads: ActedPads, log: Path, *more: object) -> Told:
    pads.lay(EMPTY)
    told = pivotbench("pads", "zero", test, "--port", pads.url, "--log", log)
    assert told.code == 0, told.err
    pads.lay(on_pads(CAR))
    return pivotbench("weigh", test, "--port", pads.url, "--log", log, "--unattended", *more)


def typed(*grams: float) -> dict[str, Any]:
    return {"typed.weights_g": list(grams)}


def weighed(folder: Path, log: Path, grams: tuple[float, ...], **cards: Any) -> Path:
    """A car weighed on kitchen scales, and then a test card of it without weights."""
    test = {"name": "weights"} | typed(*grams)
    assert pivotbench("weigh", write_cards(folder, test=test, **cards), "--log", log).code == 0
    return write_cards(folder, **cards)


def front(test: Path, log: Path, *more: object) -> Told:
    """A question that rests on the weights of the car."""
    return pivotbench("aim", "ballast", test, "--mass", 80, "--from", 20, 30, "--front", 63, "--log", log, *more)


BEFORE = (700, 300, 400, 200)
# by hand: 80 g from 20 to 45 mm ahead of 250 mm bring 8 g, four to each wheel, from the rear to the front
MOVED = [704, 304, 396, 196]


# benches and boards


def test_the_pads_of_a_board_that_was_not_calibrated_are_refused(log: Path, tmp_path: Path) -> None:
    test = write_cards(tmp_path)
    with ActedPads(board="table2") as other:
        told = zero_and_weigh(test, other, log)
        assert told.code == 2
        assert '"table2"' in told.err
        assert '"scripted"' in told.err
        assert "--calibration 1" in told.err
        told = zero_and_weigh(test, other, log, "--calibration", 1, "--json")
    assert told.code == 0, told.err
    assert told.result["remarks"] == ["The pads are calibrated by record 1, as asked"]
    np.testing.assert_allclose(told.result["corner_weights_g"], CAR_G, atol=NEAR_G)


def test_a_zero_of_another_board_is_none(log: Path, tmp_path: Path, pads: ActedPads) -> None:
    test = write_cards(tmp_path)
    shifted = [count + round(40 * gain) for count, gain in zip(EMPTY, GAIN, strict=True)]
    assert pivotbench("pads", "zero", test, "--port", pads.url, "--log", log).code == 0
    with ActedPads(shifted, board="table2") as other:  # zeroed later, on the same cards
        assert pivotbench("pads", "zero", test, "--port", other.url, "--log", log).code == 0
    pads.lay(on_pads(CAR))
    told = pivotbench("weigh", test, "--port", pads.url, "--log", log, "--unattended", "--json")
    np.testing.assert_allclose(told.result["corner_weights_g"], CAR_G, atol=NEAR_G)


def test_two_tables_with_one_bench_card_keep_their_own_calibrations(log: Path, tmp_path: Path, pads: ActedPads) -> None:
    """Table 2's pads give twice the counts: with its calibration table 1 would weigh half."""
    test = write_cards(tmp_path)
    with ActedPads([2 * one for one in EMPTY], board="table2") as other:

        def masses(text: str) -> None:
            grams, pad = re.findall(r"(?:Lay ([\d.]+) g on|Take everything off) pad (\d)", text)[-1]
            on = [float(grams or 0) * (k == int(pad) - 1) for k in range(4)]
            other.lay([2 * (EMPTY[k] + GAIN[k] * on[k]) for k in range(4)])

        common = ["--port", other.url, "--log", log]
        masses_g = ["--mass", 300, "--mass", 900, "--cycles", 1]
        told = pivotbench("pads", "calibrate", test, *masses_g, *common, hands=masses)
        assert told.code == 0, told.err
    told = zero_and_weigh(test, pads, log, "--json")
    assert told.code == 0, told.err
    np.testing.assert_allclose(told.result["corner_weights_g"], CAR_G, atol=NEAR_G)
    assert "remarks" not in told.result


def test_benches_of_one_name_made_apart_are_two(log: Path, tmp_path: Path, pads: ActedPads) -> None:
    """As `new` makes them: the name alone is alike. Whoever copies a card and names it anew is asked, too."""
    first, second = ({"id": name, "name": "Workshop bench"} for name in ("aaaaaaaa", "bbbbbbbb"))
    test = write_cards(tmp_path / "1", bench=first)
    common = ["--port", pads.url, "--log", log, "--unattended"]
    assert zero_and_weigh(test, pads, log).code == 2  # another name than the calibration's
    assert zero_and_weigh(test, pads, log, "--calibration", 1).code == 0
    other = write_cards(tmp_path / "2", bench=second)
    told = pivotbench("weigh", other, *common, "--calibration", 1)
    assert told.code == 2  # its pads were never zeroed
    assert "zeroed" in told.err


def test_a_bench_card_wired_otherwise_is_asked_about(log: Path, tmp_path: Path, pads: ActedPads) -> None:
    test = write_cards(tmp_path, bench={"pads.line_pattern": "<c1> <c2> <c3> <c4>"})
    told = pivotbench("weigh", test, "--port", pads.url, "--log", log, "--unattended")
    assert told.code == 2
    assert "line_pattern nothing →" in told.err


@pytest.mark.parametrize(
    "edit",
    [
        {},
        {"notes": "pads under the window"},
        {"pads.reseat_g": 3.0, "pads.capacity_g": 3000.0},
        {"pads.port": "/dev/elsewhere"},
        {"id": "abcdefgh"},
        {"floor.bar_mm": 99.0},
    ],
)
def test_ordinary_edits_of_the_bench_card_need_no_word(
    log: Path, tmp_path: Path, pads: ActedPads, edit: dict[str, Any]
) -> None:
    told = zero_and_weigh(write_cards(tmp_path, bench=edit), pads, log, "--json")
    assert told.code == 0, told.err
    assert "remarks" not in told.result
    np.testing.assert_allclose(told.result["corner_weights_g"], CAR_G, atol=NEAR_G)


# clocks


def test_a_clock_set_back_between_two_zeros(log: Path, tmp_path: Path, pads: ActedPads) -> None:
    """The pad under FR was moved by 40 g and zeroed again after the clock was set back by three hours."""
    test, pad = write_cards(tmp_path), PAD_UNDER[WHEELS.index("FR")]
    common = [test, "--port", pads.url, "--log", log]
    assert pivotbench("pads", "zero", *common).code == 0
    moved = [round(40 * GAIN[k]) if k == pad else 0 for k in range(4)]
    with clock_set(-3 * HOUR):
        pads.lay([count + more for count, more in zip(EMPTY, moved, strict=True)])
        assert pivotbench("pads", "zero", *common).code == 0
        pads.lay([count + more for count, more in zip(on_pads(CAR), moved, strict=True)])
        told = pivotbench("weigh", *common, "--unattended")
    assert told.code == 0, told.err
    assert "The clock was set back by 3.0 h between record 2 (zero) and record 3" in told.out.splitlines()[0]
    record = records(log, "weighing")[-1]
    np.testing.assert_allclose(record["result"]["corner_weights_g"], CAR_G, atol=NEAR_G)


def test_a_clock_set_back_before_weighing_refuses_nothing(log: Path, tmp_path: Path, pads: ActedPads) -> None:
    test = write_cards(tmp_path)
    common = [test, "--port", pads.url, "--log", log]
    assert pivotbench("pads", "zero", *common).code == 0
    pads.lay(on_pads(CAR))
    with clock_set(-5 * HOUR):
        told = pivotbench("weigh", *common, "--unattended", "--json")
    assert told.code == 0, told.err
    assert "set back by 5.0 h" in told.result["remarks"][0]
    np.testing.assert_allclose(told.result["corner_weights_g"], CAR_G, atol=NEAR_G)
    (placing,) = records(log, "weighing")[-1]["inputs"]["placings"]
    assert max(placing["zero_u"] / np.abs(GAIN)) < 0.2  # some seconds of drift, not five hours


def test_a_clock_set_forward_brings_no_drift(log: Path, tmp_path: Path, pads: ActedPads) -> None:
    """0.02 g per root second: 100 hours would be 12 g."""
    test = write_cards(tmp_path)
    common = [test, "--port", pads.url, "--log", log]
    assert pivotbench("pads", "zero", *common).code == 0
    pads.lay(on_pads(CAR))
    with clock_set(100 * HOUR):
        told = pivotbench("weigh", *common, "--unattended", "--json")
    assert "set forward by 100.0 h" in told.result["remarks"][0]
    (placing,) = records(log, "weighing")[-1]["inputs"]["placings"]
    assert max(placing["zero_u"] / np.abs(GAIN)) < 0.2


def test_time_that_passes_is_no_jump(log: Path, tmp_path: Path, pads: ActedPads) -> None:
    test = write_cards(tmp_path)
    common = [test, "--port", pads.url, "--log", log]
    assert pivotbench("pads", "zero", *common).code == 0
    pads.lay(on_pads(CAR))
    with later(10_000.0):  # 0.02 g × 100
        told = pivotbench("weigh", *common, "--unattended", "--json")
    assert "remarks" not in told.result
    (placing,) = records(log, "weighing")[-1]["inputs"]["placings"]
    np.testing.assert_allclose(placing["zero_u"] / np.abs(GAIN), 2.0, rtol=0.01)


# cars and their states

BALLAST = {"name": "rear ballast", "mass_g": 80, "x_mm": -20, "y_mm": 0}


def test_a_car_changed_since_it_was_weighed(log: Path, tmp_path: Path) -> None:
    test = weighed(tmp_path, log, BEFORE)
    number = records(log, "weighing")[-1]["number"]
    write_cards(tmp_path, car={"masses.parts": [BALLAST]})
    told = front(test, log)
    assert told.code == 2
    assert f"the car card has changed since this weighing, record {number} (rear ballast 0 → 80 g)" in told.err
    assert f"Weigh again, or say --weighing {number}" in told.err
    told = front(test, log, "--weighing", number, "--json")
    np.testing.assert_allclose(told.result["load_g"], MOVED, atol=1e-9)
    assert "rear ballast 0 → 80 g" in told.result["remarks"][0]
    words = front(test, log, "--weighing", number).out.splitlines()[0]
    assert words.startswith(f"note: The weights are those of record {number}, as asked")


@pytest.mark.parametrize("command", ["push forecast", "aim", "grip tilt", "grip pull", "moving"])
def test_every_question_refuses_the_weights_of_another_state(log: Path, tmp_path: Path, command: str) -> None:
    weighed(tmp_path, log, BEFORE)
    springs = {f"chassis.{axle}.spring_n_per_mm": 2.0 for axle in ("front", "rear")}
    test = write_cards(tmp_path, car=springs | {"masses.parts": [BALLAST]})
    more: dict[str, list[object]] = {
        "push forecast": [test],
        "aim": [test, "--pivot", -30],
        "grip tilt": [test, "--angle", 20],
        "grip pull": [test, "--force", 11],
        "moving": [tmp_path / "car.toml"],
    }
    told = pivotbench(*command.split(), *more[command], "--log", log)
    assert told.code == 2
    assert "rear ballast 0 → 80 g" in told.err
    number = records(log, "weighing")[-1]["number"]
    told = pivotbench(*command.split(), *more[command], "--weighing", number, "--log", log)
    assert told.code == 0, told.err
    assert told.out.startswith("note: The weights are those of record")


def test_each_state_of_a_car_has_its_own_weights(log: Path, tmp_path: Path) -> None:
    """Weighed light, weighed heavy, and back to light: the newest weighing is the heavy one's."""
    light = {"id": "carcarca"}
    weighed(tmp_path, log, BEFORE, car=light)
    weighed(tmp_path, log, (710, 310, 450, 260), car=light | {"masses.parts": [BALLAST]})
    told = front(write_cards(tmp_path, car=light), log, "--json")
    np.testing.assert_allclose(told.result["load_g"], MOVED, atol=1e-9)
    assert "remarks" not in told.result


@pytest.mark.parametrize(
    "edit",
    [
        {"notes": "tyres glued anew"},
        {"geometry.wheelbase_mm": 250.8},  # measured again: 0.4 mm each
        {"geometry.cg_height_mm": 41.0},
        {"geometry.body_width_mm": 170},
        {"front.drag": 0.05},
        {"plate.bar_mm": 99.2},
    ],
)
def test_ordinary_edits_of_the_car_card_need_no_word(log: Path, tmp_path: Path, edit: dict[str, Any]) -> None:
    weighed(tmp_path, log, BEFORE, car={"id": "carcarca"})
    told = front(write_cards(tmp_path, car={"id": "carcarca"} | edit), log, "--json")
    assert told.code == 0, told.err
    assert "remarks" not in told.result


def test_comments_order_and_file_names_do_not_matter(log: Path, tmp_path: Path) -> None:
    test = weighed(tmp_path, log, BEFORE, car={"id": "carcarca"})
    lines = (tmp_path / "car.toml").read_text().splitlines()
    (tmp_path / "deep").mkdir()
    (tmp_path / "deep" / "mine.toml").write_text("# a remark\n" + "\n".join(reversed(lines)) + "\n")
    (tmp_path / "car.toml").unlink()
    test.write_text(test.read_text() + toml({"car": "deep/mine.toml"}))
    told = front(test, log, "--json")
    np.testing.assert_allclose(told.result["load_g"], MOVED, atol=1e-9)
    assert "remarks" not in told.result


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({"id": "carcarca"}, {"id": "snipesni"}),  # two cards made apart, both named as `new` names them
        ({"id": "carcarca"}, {"id": "carcarca", "name": "Another"}),  # a copied card, named anew
        ({"id": "carcarca"}, {"id": "carcarca", "geometry.wheelbase_mm": 270}),
        ({}, {"geometry.wheelbase_mm": 270}),  # cards without ids
    ],
)
def test_the_weights_of_another_car_are_not_taken(
    log: Path, tmp_path: Path, first: dict[str, Any], second: dict[str, Any]
) -> None:
    weighed(tmp_path / "1", log, BEFORE, car=first)
    told = front(write_cards(tmp_path / "2", car=second), log)
    assert told.code == 2


def test_ones_own_weighing_comes_before_an_imported_one(log: Path, tmp_path: Path) -> None:
    """The colleague's log, of a car of the same name on a card without an id, is taken in later."""
    test = weighed(tmp_path, log, BEFORE)
    theirs = tmp_path / "theirs"
    weighed(tmp_path / "2", theirs, (100, 200, 300, 400))
    assert pivotbench("log", "export", tmp_path / "out", "--log", theirs).code == 0
    assert pivotbench("log", "import", tmp_path / "out", "--log", log).code == 0
    np.testing.assert_allclose(front(test, log, "--json").result["load_g"], MOVED, atol=1e-9)
    empty = tmp_path / "empty"  # nothing of one's own, and no id says that it is the same car
    assert pivotbench("log", "import", tmp_path / "out", "--log", empty).code == 0
    told = front(test, empty)
    assert told.code == 2
    assert "imported" in told.err


def test_a_car_with_its_id_is_known_after_a_move_to_another_machine(log: Path, tmp_path: Path) -> None:
    test = weighed(tmp_path, log, BEFORE, car={"id": "carcarca"})
    new = tmp_path / "new"
    assert pivotbench("log", "export", tmp_path / "out", "--log", log).code == 0
    assert pivotbench("log", "import", tmp_path / "out", "--log", new).code == 0
    told = front(test, new, "--json")
    np.testing.assert_allclose(told.result["load_g"], MOVED, atol=1e-9)
    assert "comes from an imported log" in told.result["remarks"][0]


def test_a_wrong_number_is_refused(log: Path, tmp_path: Path) -> None:
    test = weighed(tmp_path, log, BEFORE)
    told = front(test, log, "--weighing", 1)
    assert told.code == 2
    assert "record 1 is a calibration, not a weighing" in told.err
