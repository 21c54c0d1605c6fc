"""Rates measured at the bench, as a person types them."""

import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from analysis.base.errors import AnalysisError
from rig.base.errors import BenchError
from rig.command.moving.rates import command
from tests.values.cards_typed import write


def run(*arguments: str) -> dict[str, object]:
    done = CliRunner().invoke(command, [*arguments, "--json"], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    told: dict[str, object] = json.loads(done.output)
    return told


def test_a_spring_on_a_pad() -> None:  # Hooke's law: 1 kg shortens 2.5 N/mm by 9.80665/2.5 mm
    told = run("spring", "--at", "0", "40", "--at", "1000", str(40 - 9.80665 / 2.5))
    assert told["spring_n_per_mm"] == pytest.approx(2.5)


def test_values_go_onto_the_car_card_at_their_axle(tmp_path: Path) -> None:
    """Hooke by hand: 800 g over 4 mm. Front and rear of the card differ, and only the rear is written."""
    sprung = {"chassis.front.spring_n_per_mm": 3.0, "chassis.rear.spring_n_per_mm": 2.0}
    card = write(tmp_path, car=sprung).with_name("test-car.toml")
    run("spring", "--at", "0", "40", "--at", "800", "36", "--write", str(card), "--axle", "rear")
    run("ratio", "--at", "0", "52", "--at", "10", "44", "--write", str(card), "--axle", "front")
    chassis = tomllib.loads(card.read_text())["chassis"]
    assert chassis["rear"]["spring_n_per_mm"] == pytest.approx(0.8 * 9.80665 / 4, abs=5e-4)
    assert chassis["front"]["spring_n_per_mm"] == 3.0
    assert chassis["front"]["motion_ratio"] == pytest.approx(0.8)
    assert "motion_ratio" not in chassis["rear"]
    half = CliRunner().invoke(command, ["spring", "--at", "0", "40", "--at", "800", "36", "--write", str(card)])
    assert half.exit_code == 2
    assert "--axle" in half.output


def test_a_ratio_and_a_bar() -> None:
    assert run("ratio", "--at", "0", "52", "--at", "10", "45.5")["motion_ratio"] == pytest.approx(0.65)
    told = run("bar", "--with-bar", "12", "0.3", "--without", "8", "0.4", "--track", "165")
    assert told["bar_n_per_mm"] == pytest.approx(4 / 0.165**2 / 1000)  # track^2/2 * 2 * bar
    assert told["bar_n_per_mm_u"] == pytest.approx(0.5 / 0.165**2 / 1000)  # 0.3 and 0.4 as sides of a right angle


def test_a_shim_with_the_body_turn_splits_equal_axles_evenly() -> None:  # two equal torsion springs share the twist
    half = math.degrees(0.001 / 0.165 / 2)
    told = run("shim", "--gained", "27", "--shim", "1", "--track", "165", "165", "--body-roll", str(half))
    assert told["front_share"]["value"] == pytest.approx(0.5)  # type: ignore[index]
    with pytest.raises(BenchError, match="front from rear"):
        run("shim", "--gained", "27", "--shim", "1", "--track", "165", "165")


def test_the_doubts_of_a_shim_are_carried_into_both_axles() -> None:
    """By hand (JCGM 100, 5.1.6): rear = gained · track / turn, front = gained · track / (shim / track − turn).

    Relative doubts add in squares; with 1 mm under 160 mm the twist is 0.00625 rad ± 0.02 mm / 160 mm.
    """
    asked = ("--gained", "30", "--shim", "1", "--track", "160", "170", "--body-roll", "0.15")
    told = run("shim", *asked, "--load-u", "0.6", "--roll-u", "0.003")
    load, turn, turn_u = 0.6 / 30, math.radians(0.15), math.radians(0.003)
    moment = 0.030 * 9.80665 * 0.160
    front, rear = (told[name] for name in ("front", "rear"))
    assert rear["value"] == pytest.approx(moment / turn)  # type: ignore[index]
    assert rear["u"] / rear["value"] == pytest.approx(math.hypot(load, turn_u / turn), rel=1e-3)  # type: ignore[index]
    left = 0.001 / 0.160 - turn
    assert front["value"] == pytest.approx(moment / left)  # type: ignore[index]
    doubt = math.sqrt(load**2 + (turn_u / left) ** 2 + (0.02e-3 / 0.160 / left) ** 2)
    assert front["u"] / front["value"] == pytest.approx(doubt, rel=1e-3)  # type: ignore[index]


def test_a_bounce_from_a_table(tmp_path: Path) -> None:  # closed form of a damped swing, 3 Hz and 0.2
    time = np.arange(0, 1.2, 1 / 60)
    w, zeta = 2 * math.pi * 3, 0.2
    height = 5 * np.exp(-zeta * w * time) * np.cos(w * math.sqrt(1 - zeta**2) * time)
    table = tmp_path / "bounce.csv"
    table.write_text("time_s,height_mm\n" + "\n".join(f"{t},{h}" for t, h in zip(time, height, strict=True)))
    told = run("bounce", str(table))
    assert told["frequency_hz"]["value"] == pytest.approx(3, rel=1e-4)  # type: ignore[index]
    assert told["damping_ratio"]["value"] == pytest.approx(0.2, rel=1e-4)  # type: ignore[index]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "does not name"),
        ("time_s,height_mm\n0,x\n", "line 2"),
        ("time_s,height_mm\n0,1\n1,nan\n", "line 3"),
        ("time_s,height_mm\n0,1\n", "12 frames"),
    ],
)
def test_tables_that_hold_no_bounce(tmp_path: Path, text: str, says: str) -> None:
    table = tmp_path / "bounce.csv"
    table.write_text(text)
    with pytest.raises((BenchError, AnalysisError), match=says):
        run("bounce", str(table))
    with pytest.raises(BenchError, match="cannot read"):
        run("bounce", str(tmp_path / "none.csv"))
