"""A moment frozen at rest, and how grip falls with load, from cards: figures by hand statics."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.base.gravity import STANDARD_GRAVITY as G
from analysis.moving.phases import Phase
from rig.cards.read import read_set
from rig.jobs.moving.driven_car import ByPushes, driven_car
from rig.jobs.moving.freeze import frozen_phases, landed
from rig.log.store import BenchLog
from rig.lookups.moving_car import tyres_fall
from rig.records.moving import LOAD_SENSITIVITY
from tests.values.cards_typed import found, run, toml, write
from tests.values.pads_acted import pivotbench

GRAMS = [430.0, 410.0, 400.0, 360.0]
HEIGHT, LENGTH = 40.0, 260.0


def card(folder: Path, **car: object) -> Path:
    keys = {key.replace("__", "."): value for key, value in car.items()}
    springs = {
        "geometry.cg_height_mm": HEIGHT,
        "geometry.cg_height_mm_u": 2.0,
        "chassis.front.spring_n_per_mm": 20.0,  # stiff: it hardly leans, so hand statics hold
        "chassis.rear.spring_n_per_mm": 20.0,
        "chassis.load_sensitivity": 0.1,
        "chassis.load_sensitivity_u": 0.05,
    }
    return write(folder, test={"typed.weights_g": GRAMS, "grip.front": 0.8, "grip.rear": 0.8}, car=springs | keys)


def drift(folder: Path, **phases: tuple[float, float]) -> Path:
    rows = [{"name": name, "ax_g": ax, "ay_g": ay, "duration_s": 1.0} for name, (ax, ay) in phases.items()]
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "phases.toml"
    path.write_text('card = "phases"\nname = "frozen"\n' + "".join("[[phases]]\n" + toml(row) + "\n" for row in rows))
    return path


def told(folder: Path, *more: Any, **car: Any) -> dict[str, Any]:
    return found("moving", "freeze", card(folder, **car), *more, "--log", folder / "log")


def test_braking_frozen_by_hand(tmp_path: Path) -> None:
    """0.3 g of braking moves W a h/L = 1600 x 0.3 x 40/260 = 73.8 g forward: 913.8 of 1600 g are 57.12 %. With 150 g
    more on the car, 999.5 of 1750 g must stand in front: (999.5 - 840)/150 of the wheelbase ahead of the rear axle."""
    phases = drift(tmp_path, brake=(-0.3, 0.0))
    (one,) = told(tmp_path, phases, "--ballast", 150)["phases"]
    front = 840 + 1600 * 0.3 * HEIGHT / LENGTH
    assert one["front_pct"] == pytest.approx(100 * front / 1600, abs=0.1)  # the body dives a little
    place = (one["front_pct"] / 100 * 1750 - 840) / 150 * LENGTH
    assert one["ballast_mm"] == pytest.approx([place, 0.0], abs=0.01)
    assert one["reached"] is True
    assert one["frozen_front_pct"] == pytest.approx(one["front_pct"], abs=1e-6)  # within half a point, and far better
    # the balance point of the frozen car is that of the moment: the same shares of load, the same tyres
    assert one["balance_at_rest_pct"] == pytest.approx(one["balance_on_the_move_pct"], abs=0.3)
    low, high = one["balance_at_rest_interval_pct"]
    assert low < one["balance_at_rest_pct"] < high
    words = run("moving", "freeze", card(tmp_path), phases, "--ballast", 150, "--log", tmp_path / "log")
    assert f"150 g at {place:.0f} mm ahead of the rear axle do that at rest" in words
    assert "nothing is left over" in words


def test_ballast_that_is_on_the_car_is_moved(tmp_path: Path) -> None:
    """73.8 g forward with 200 g: they move by 73.8/200 of the wheelbase."""
    phases = drift(tmp_path, brake=(-0.3, 0.0))
    (one,) = told(tmp_path, phases, "--ballast", 200, "--at", 60)["phases"]
    moved = (one["front_pct"] / 100 * 1600 - 840) / 200 * LENGTH
    assert one["ballast_mm"][0] == pytest.approx(60 + moved, abs=0.01)
    assert moved == pytest.approx(96, abs=1.5)


def test_what_cannot_be_reached_is_told(tmp_path: Path) -> None:
    words = run(
        "moving",
        "freeze",
        card(tmp_path),
        drift(tmp_path, brake=(-0.5, 0.0)),
        "--ballast",
        20,
        "--log",
        tmp_path / "log",
    )
    assert "it cannot go further, so +" in words
    assert "points of the front axle's share are left over" in words


def test_sideways_is_offered_only_where_a_push_shows_it(tmp_path: Path) -> None:
    """60 % of the transfer in front moves the balance by a tenth or two of a point at q = 0.1 (computed beforehand):
    below what a push shows. Very load-sensitive tyres and a stiff front bar show it."""
    turn = drift(tmp_path, hold=(0.05, 0.5))
    (one,) = told(tmp_path, turn)["phases"]
    assert abs(one["sideways_points"]) < 0.5
    assert one["frozen_sideways"] is False
    assert one["ballast_mm"][1] == pytest.approx(0.0)
    words = run("moving", "freeze", card(tmp_path), turn, "--log", tmp_path / "log")
    assert "hold: not frozen sideways: the load that moves across shifts the balance point by " in words
    barred = {
        "chassis__load_sensitivity": 0.4,
        "chassis__front__bar_n_per_mm": 8.0,
        "chassis__front__spring_n_per_mm": 4.0,
        "chassis__rear__spring_n_per_mm": 4.0,
    }
    (one,) = told(tmp_path / "b", turn, "--ballast", 600, **barred)["phases"]
    assert one["sideways_points"] < -0.5
    assert one["frozen_sideways"] is True
    assert one["ballast_mm"][1] < -20.0  # to the right, where the load goes in a left turn


def test_the_verdict_on_the_pushed_car(tmp_path: Path) -> None:
    car = driven_car(card(tmp_path), None)
    brake = Phase(name="brake", ax=-0.3 * G, ay=0.0, steer=0.0, duration=1.0)
    (one,) = frozen_phases(car, [brake], mass_g=150, start_mm=None, where="x")
    at = float(one.at_rest.value)
    near = landed(one, ByPushes(pct=at + 0.4, u=0.4, count=3))
    assert near.agrees
    half = np.diff(one.at_rest.interval)[0] / 2
    assert np.diff(near.gap.interval)[0] / 2 == pytest.approx(np.hypot(half, 1.96 * 0.4), rel=1e-3)
    assert not landed(one, ByPushes(pct=at - half - 3.0, u=0.4, count=3)).agrees


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--phase", "donut"], "there is no phase"),
        (["--pushed", "x.toml"], "--phase NAME"),
        (["--ballast", 4000], "outweighs the car"),
    ],
)
def test_what_cannot_be_frozen_is_refused(tmp_path: Path, more: list[object], says: str) -> None:
    said = pivotbench("moving", "freeze", card(tmp_path), *more, "--log", tmp_path / "log")
    assert (said.code, said.out) == (2, "")
    assert says in said.err


def test_load_sensitivity_from_pulls(tmp_path: Path) -> None:
    """Pulls of 0.8 N^0.85, there and back, on a floor that gets dustier: q = 0.15 (the law itself)."""
    grams = [400, 600, 900, 900, 600, 400]
    loads = np.array(grams) * G / 1000
    pull = 0.8 * loads**0.85 * np.exp(-0.05 * np.linspace(-1, 1, 6)) * np.array([1.01, 0.99, 1.0, 1.0, 1.01, 0.99])
    words: list[object] = []
    for load, force in zip(grams, pull, strict=True):
        words += ["--pull", load, f"{force:.6f}"]
    got = found("grip", "load", *words)
    assert got["interval"][0] < 0.15 < got["interval"][1]
    assert got["load_sensitivity"] == pytest.approx(0.15, abs=0.03)
    assert got["told_from_none"] is True
    flat: list[object] = []
    for load, force in zip(grams, 0.8 * loads * np.array([1.02, 0.97, 1.0, 1.03, 0.99, 1.0]), strict=True):
        flat += ["--pull", load, f"{force:.6f}"]
    assert "it cannot be told from none" in run("grip", "load", *flat)


def test_pulls_of_a_test_card_s_tyres_are_written_down_and_gone_by(tmp_path: Path) -> None:
    """Pulls of 0.8 N^0.7, there and back: q = 0.3 (the law itself)."""
    path, words = card(tmp_path), list[object]()
    for grams in (400, 600, 900, 900, 600, 400):
        words += ["--pull", grams, f"{0.8 * (grams * G / 1000) ** 0.7:.6f}"]
    said = pivotbench("grip", "load", path, *words, "--log", tmp_path / "log", "--write")
    assert "Written down as record 1" in said.out + said.err
    assert "load_sensitivity = 0.3" in (tmp_path / read_set(path).test.car).read_text(encoding="utf-8")
    with BenchLog(tmp_path / "log", read_only=True) as log:
        (record,) = log.records(kind=LOAD_SENSITIVITY)
        assert record.result.q == pytest.approx(0.3, abs=1e-5)
        assert [one[0] for one in record.inputs.pulls] == [400, 600, 900, 900, 600, 400]
        assert tyres_fall(read_set(path), log)[0] == pytest.approx(0.3, abs=1e-5)
    assert "Not written down" in pivotbench("grip", "load", *words).out


def test_load_sensitivity_wants_pushes_or_pulls(tmp_path: Path) -> None:
    for more in ([], [card(tmp_path), card(tmp_path), "--pull", 400, 3], ["--pull", 400, 3, "--write"]):
        said = pivotbench("grip", "load", *more)
        assert said.code == 2
        assert "--pull" in said.err
    said = pivotbench("grip", "load", card(tmp_path), "--log", tmp_path / "log")
    assert said.code == 2
    assert "no push of this card tells a balance point" in said.err
