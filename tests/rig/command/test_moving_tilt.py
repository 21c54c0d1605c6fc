"""Tilted pads from cards and a table: what is said, recorded, refused; and the guided reading on pads acted out.

Truth: loads by hand statics (moments about the tyres), plates of 90 g that lean with the board.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rig.base.errors import InputError
from rig.cards.read import read_set
from rig.jobs.moving.tilt_readings import TiltAsked, refuse_steep, safe_lengthways, safe_sideways
from rig.jobs.moving.tilt_table import tilt_rows
from tests.values.cards_typed import found, run, write
from tests.values.pads_acted import pivotbench

GRAMS = np.array([430.0, 390.0, 400.0, 380.0])
FRONT, REAR = 52.0, 36.0
"""Grams that move across each axle at 15 degrees."""
PITCH = 60.0
TRACK_FRONT, TRACK_REAR, LENGTH, BOARD = 150.0, 190.0, 260.0, 600.0
HEIGHT = BOARD * np.sin(np.radians(15))
PLATES = np.array([90.0, 88.0, 91.0, 92.0])
OPPOSITE = [3, 2, 1, 0]


def card(folder: Path, **more: object) -> Path:
    keys = {key.replace("__", "."): value for key, value in more.items()}
    car = {key: value for key, value in keys.items() if key.startswith(("geometry", "chassis"))}
    test = {key: value for key, value in keys.items() if key.startswith(("grip", "typed"))}
    return write(
        folder,
        test={"typed.weights_g": GRAMS.tolist(), "grip.front": 0.9, "grip.rear": 0.7, "grip.ratio_u": 0.02} | test,
        car={"geometry.track_front_mm": TRACK_FRONT, "geometry.track_rear_mm": TRACK_REAR} | car,
        bench={"tilt.length_mm": BOARD},
    )


def wheels(way: str, part: float = 1.0, angle: float = 15.0) -> np.ndarray:
    """g at the wheels by statics: side sums with the cosine, cross weight as it is. part: of the 15 degrees' load."""
    q = np.array([1, -1, -1, 1]) / np.repeat([TRACK_FRONT, TRACK_REAR], 2)
    cross = q * (q @ GRAMS) / (q @ q)
    still = np.cos(np.radians(angle)) * (GRAMS - cross) + cross
    sign = 1 if way in ("right side down", "nose up") else -1
    if "side" in way:
        return still + part * sign * np.array([-FRONT, FRONT, -REAR, REAR])
    return still + part * sign * PITCH / 2 * np.array([-1, -1, 1, 1])


def pads(way: str, part: float = 1.0, angle: float = 15.0) -> np.ndarray:
    """g on the pads, plates and all: turned round, each wheel stands on the pad across the diagonal."""
    on = wheels(way, part, angle)
    where = on if way in ("right side down", "nose up") else on[OPPOSITE]
    return where + PLATES * np.cos(np.radians(angle))


WAYS = ("right side down", "left side down", "nose up", "nose down")


def table(
    path: Path, ways: tuple[str, ...] = WAYS, what: str = "car", parts: tuple[tuple[float, float], ...] = ()
) -> Path:
    lines = ["way, height_mm, what, FL, FR, RL, RR"]
    for angle, part in parts or ((15.0, 1.0),):
        height = BOARD * np.sin(np.radians(angle))
        for way in ways:
            row = ", ".join(f"{value:.4f}" for value in pads(way, part, angle))
            lines.append(f"{way}, {height:.4f}, {what}, {row}")
        for way in {"right side down", "nose up"}:
            row = ", ".join(f"{value:.4f}" for value in PLATES * np.cos(np.radians(angle)))
            lines.append(f"{way}, {height:.4f}, empty, {row}")
    path.write_text("\n".join(lines))
    return path


def told(folder: Path, *more: Any, **keys: Any) -> dict[str, Any]:
    return found("moving", "tilt", card(folder, **keys), "--log", folder / "log", *more)


def test_share_heights_and_ends_by_hand(tmp_path: Path) -> None:
    got = told(tmp_path, "--readings", table(tmp_path / "read.csv"))
    (side,), (nose,) = got["across"], got["along"]
    pull = GRAMS.sum() * np.sin(np.radians(15))
    assert side["share_pct"] == pytest.approx(100 * FRONT / (FRONT + REAR), abs=1e-3)
    assert side["height_mm"] == pytest.approx((TRACK_FRONT * FRONT + TRACK_REAR * REAR) / pull, abs=1e-3)
    assert side["roll_share"] == pytest.approx(150 * FRONT / (150 * FRONT + 190 * REAR), abs=1e-5)
    assert side["sideways_g"] == pytest.approx(np.tan(np.radians(15)), abs=1e-6)
    assert (side["front_g"], side["rear_g"]) == pytest.approx((FRONT, REAR), abs=2e-3)
    assert (side["turned"], side["pressed"]) == (True, True)
    assert nose["height_mm"] == pytest.approx(LENGTH * PITCH / pull, abs=1e-3)
    # balance point by grip and moments: 0.9 x 820 against 0.7 x 780, and 0.8 g of driving or braking
    share = 100 * 0.9 * 820 / (0.9 * 820 + 0.7 * 780)
    shift = 100 * 0.8 * nose["height_mm"] / LENGTH
    assert got["ends_pct"] == pytest.approx([share - shift, share + shift], abs=1e-3)
    assert "warnings" not in got
    words = run("moving", "tilt", card(tmp_path), "--log", tmp_path / "log", "--readings", tmp_path / "read.csv")
    assert f"the front axle takes {side['share_pct']:.1f} ± {side['share_half_points']:.1f} %" in words
    assert "what limits the share most: " in words
    assert "Springs and bars change the share, never what an axle carries at rest" in words
    assert f"front_roll_share = {side['roll_share']:.3f}" in words
    listed = run("log", "--log", tmp_path / "log")
    assert "tilted pads" in listed


def test_what_was_not_done_is_told_and_widens(tmp_path: Path) -> None:
    whole = told(tmp_path, "--readings", table(tmp_path / "a.csv"))["across"][0]
    once = told(tmp_path, "--readings", table(tmp_path / "b.csv", WAYS[:1]))
    dry = told(tmp_path, "--readings", table(tmp_path / "c.csv", WAYS[:2], "car not pressed"))
    assert once["across"][0]["share_pct"] == pytest.approx(whole["share_pct"], abs=1e-3)
    assert once["across"][0]["share_half_points"] > 2 * whole["share_half_points"]
    assert any("one way round only" in one for one in once["warnings"])
    assert dry["across"][0]["share_half_points"] > 2 * whole["share_half_points"]
    assert any("Not pressed" in one for one in dry["warnings"])
    wrong = table(tmp_path / "d.csv").read_text().replace(f"{HEIGHT:.4f}", f"{HEIGHT * 1.1:.4f}")
    (tmp_path / "d.csv").write_text(wrong)
    assert any("measure the angle again" in one for one in told(tmp_path, "--readings", tmp_path / "d.csv")["warnings"])


def test_a_stop_between_two_angles_is_told(tmp_path: Path) -> None:
    read = table(tmp_path / "read.csv", WAYS[:2], parts=((6.0, 0.4), (15.0, 1.0)))
    steady = told(tmp_path, "--readings", read)
    assert "stop_deg" not in steady
    assert [round(one["angle_deg"], 1) for one in steady["across"]] == [6.0, 15.0]
    lines = read.read_text().splitlines()
    for k, line in enumerate(lines):  # at 15 degrees 25 g more on the outer front, 25 g less on the outer rear
        cells = line.split(", ")
        if cells[2] == "car" and float(cells[1]) > 100:
            grams = np.array([float(one) for one in cells[3:]])
            change = np.array([-25.0, 25.0, 25.0, -25.0])
            grams += change if cells[0] == "right side down" else -change[OPPOSITE]
            lines[k] = ", ".join([*cells[:3], *(f"{one:.4f}" for one in grams)])
    read.write_text("\n".join(lines))
    assert told(tmp_path, "--readings", read)["stop_deg"] == pytest.approx([6.0, 15.0], abs=0.01)


def test_the_card_s_springs_stand_beside(tmp_path: Path) -> None:
    springs = {
        "chassis__front__spring_n_per_mm": 2.5,
        "chassis__rear__spring_n_per_mm": 1.0,
        "geometry__cg_height_mm": 35.0,
        "geometry__cg_height_mm_u": 2.0,
    }
    got = told(tmp_path, "--readings", table(tmp_path / "read.csv"), **springs)["beside"]
    assert got["share_half_points"] > 0
    assert got["share_agrees"] is True
    low = told(tmp_path, "--readings", tmp_path / "read.csv", **(springs | {"geometry__cg_height_mm": 60.0}))["beside"]
    assert low["height_agrees"] is False
    words = run(
        "moving",
        "tilt",
        card(tmp_path, **(springs | {"geometry__cg_height_mm": 60.0})),
        "--log",
        tmp_path / "log",
        "--readings",
        tmp_path / "read.csv",
    )
    assert "the height disagrees; go by the pads" in words


def test_written_onto_the_card(tmp_path: Path) -> None:
    test = card(tmp_path)
    run("moving", "tilt", test, "--log", tmp_path / "log", "--readings", table(tmp_path / "read.csv"), "--write")
    share = 150 * FRONT / (150 * FRONT + 190 * REAR)
    geometry = read_set(test).car.geometry
    assert geometry.front_roll_share == pytest.approx(share, abs=6e-4)
    assert 0 < geometry.front_roll_share_u < 0.05


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("right side down", "right down"), "no way to tilt"),
        (("empty", "plates"), "neither car"),
        (("way, height_mm", "path, height_mm"), "does not name way"),
        (("nose up, ", "nose up, x"), "five numbers"),
        (("empty, 8", "empty, 98"), "would pull"),
    ],
)
def test_a_table_that_cannot_be_is_refused(tmp_path: Path, change: tuple[str, str], says: str) -> None:
    read = table(tmp_path / "read.csv")
    text = read.read_text()
    assert change[0] in text
    read.write_text(text.replace(*change))
    said = pivotbench("moving", "tilt", card(tmp_path), "--log", tmp_path / "log", "--readings", read)
    assert said.code == 2
    assert says in said.err


def test_empty_pads_are_wanted_for_every_tilt(tmp_path: Path) -> None:
    read = table(tmp_path / "read.csv")
    read.write_text("\n".join(line for line in read.read_text().splitlines() if "nose up" not in line or "car" in line))
    with pytest.raises(InputError, match=r"empty pads were not read at 155\.291 mm, nose"):
        tilt_rows(read)


def test_a_tilt_that_is_not_safe_is_refused(tmp_path: Path) -> None:
    """Grip 0.7 known to a fifth: as little as 0.47, of which a first tyre may slide from 0.71 atan 0.47 = 17.8 degrees
    on; grip 0.3 likewise from 8.1 degrees on."""
    cards = read_set(card(tmp_path / "a", grip__level_u=0.2))
    least = 0.7 * np.exp(-1.96 * 0.201)
    assert safe_sideways(cards).slides == pytest.approx(0.71 * np.degrees(np.arctan(least)), abs=0.01)
    assert safe_lengthways(cards).tips > safe_sideways(cards).tips
    refuse_steep(cards, TiltAsked(side_mm=(HEIGHT,)))
    slick = read_set(card(tmp_path / "b", grip__front=0.3, grip__rear=0.3, grip__level_u=0.2))
    with pytest.raises(InputError, match=r"15\.0°, and a first tyre may slide from 8\.\d° on.*Stay at"):
        refuse_steep(slick, TiltAsked(side_mm=(HEIGHT,)))
    with pytest.raises(InputError, match="no longer carry what the moving car does"):
        refuse_steep(cards, TiltAsked(side_mm=(180.0,)))
    with pytest.raises(InputError, match="no height"):
        refuse_steep(cards, TiltAsked(side_mm=()))


def test_said_twice_or_not_at_all(tmp_path: Path) -> None:
    for more in ([], ["--height", 100, "--readings", tmp_path / "x.csv"]):
        said = pivotbench("moving", "tilt", card(tmp_path), "--log", tmp_path / "log", *more)
        assert said.code == 2
        assert "--readings" in said.err


def test_what_limits_the_share_by_hand(tmp_path: Path) -> None:
    """A board that twists by 0.015 mm: 40 g/mm and half as much again, on one axle up and on the other down."""
    (side,) = told(tmp_path, "--readings", table(tmp_path / "read.csv"))["across"]
    budget = {one["name"]: one for one in side["budget"]}
    twist = budget["board's twist under load"]
    assert twist["share_points"] == pytest.approx(1.96 * 100 * 0.015 * 60 / (FRONT + REAR), rel=0.002)
    both = 0.015 * 60 * abs(TRACK_FRONT - TRACK_REAR) / (GRAMS.sum() * np.sin(np.radians(15)))
    assert twist["height_mm"] == pytest.approx(1.96 * both, rel=0.002)
    # independent causes: their squares add (JCGM 100:2008, 5.1.2)
    for part, whole in (("share_points", "share_half_points"), ("height_mm", "height_half_mm")):
        assert np.sqrt(sum(one[part] ** 2 for one in budget.values())) == pytest.approx(side[whole], rel=0.002)
