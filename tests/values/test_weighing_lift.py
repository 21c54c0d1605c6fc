"""Height of the centre of gravity by lifting an axle, on acted pads: statics by hand, doubts by propagation.

With the lifted wheels `height` higher, sin(pitch) = height/L, and moments about the lifted contacts give
N = W (c cos + (h - r) sin)/(L cos) on the axle that stays down, c its distance from the centre of gravity's foot to the
lifted axle.
"""

import math
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.values.pads_acted import HYSTERESIS_G, ActedPads, on_pads, pivotbench, records, write_cards

TOTAL, WHEELBASE, HEIGHT, RADIUS = 1600.0, 250.0, 61.0, 30.0  # g, mm
FRONT = 1000.0
TYPED: dict[str, Any] = {
    "typed.weights_g": [700, 300, 400, 200],
    "typed.weights_resolution_g": 0.1,
    "typed.weights_scales": "one scale",
}
LIFTS = (30, 50, 80)
SCALE_U = 0.01 / math.sqrt(3)
"""The scale is off by up to 1 % of what it shows, either way: a rectangular distribution (JCGM 100:2008, 4.3.7)."""


def stays_down(raised: float, *, lifted: str) -> float:
    """g on the axle that stays down."""
    pitch = math.asin(raised / WHEELBASE)
    own = FRONT if lifted == "rear" else TOTAL - FRONT
    return own + TOTAL * (HEIGHT - RADIUS) * math.tan(pitch) / WHEELBASE


def lifting(pads: ActedPads, lifted: str, told: list[str]) -> Callable[[str], None]:
    """Hands that lift: the axle that stays down carries its share 3 : 1, the lifted wheels' blocks stand on theirs."""

    def do(text: str) -> None:
        told.append(text)
        raised = float(text.split("its wheels ")[-1].split(" mm")[0])
        down = stays_down(raised, lifted=lifted)
        up = TOTAL - down
        pairs = {"rear": (down, up), "front": (up, down)}[lifted]
        pads.lay(on_pads({"FL": pairs[0] * 0.75, "FR": pairs[0] * 0.25, "RL": pairs[1] * 0.75, "RR": pairs[1] * 0.25}))

    return do


def lift(tmp_path: Path, calibrated: Path, lifted: str, car: dict[str, Any], *more: object) -> dict[str, Any]:
    """Zero, lift and return the record."""
    log = Path(shutil.copytree(calibrated, tmp_path / "log"))
    keys = {key: value for key, value in ({"geometry.wheel_radius_mm": RADIUS} | car).items() if value is not None}
    test = write_cards(tmp_path, car=keys, test=TYPED, bench={"pads.reseat_g": 0})
    heights = [word for height in LIFTS for word in ("--height", height)]
    told: list[str] = []
    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        words = ["weigh", "height", *common, *heights, "--axle", lifted, "--json", *more]
        found = pivotbench(*words, hands=lifting(pads, lifted, told))
    assert found.code == 0, found.err
    assert all(f"Lift the {lifted} axle" in text for text in told)
    (record,) = records(log, "cg height")
    assert found.result["cg_height_mm"] == record["result"]["cg_height_mm"]
    return record


def line_u(lifted: str) -> float:
    """mm of the height from everything but the lengths on the card: readings, total, half a millimetre of each lift."""
    # scatter about the fits: seven readings by e each, 5 degrees of freedom straight, 4 bent (pad 2, front left)
    scatter = {
        "front": math.hypot(HYSTERESIS_G[1] * math.sqrt(7 / 4), HYSTERESIS_G[2] * math.sqrt(7 / 5)),
        "rear": math.hypot(HYSTERESIS_G[3] * math.sqrt(7 / 5), HYSTERESIS_G[0] * math.sqrt(7 / 5)),
    }["front" if lifted == "rear" else "rear"]
    raised = np.array([30, 50, 80, 50, 30, 0])  # the last one is the level car
    tangent = np.tan(np.arcsin(raised / WHEELBASE)) * (1 if lifted == "rear" else -1)
    pull = (tangent - tangent.mean()) / ((tangent - tangent.mean()) ** 2).sum()  # of each point on the line's slope
    per_gram = WHEELBASE / TOTAL
    parts = [scatter * per_gram * pull, (HEIGHT - RADIUS) * 0.5 / WHEELBASE * pull[:-1]]
    if lifted == "front":  # lifts with the rear down share an error that the level reading of the front has not
        parts.append(np.array([scatter * per_gram * pull[-1]] * 2))
        down = np.array([stays_down(one, lifted="front") for one in raised])
        moment = np.where(raised > 0, down, down - TOTAL) * per_gram
        parts.append(np.array([pull @ moment * SCALE_U]))  # the total is the kitchen scale's
    return float(np.linalg.norm(np.concatenate(parts)))


@pytest.mark.parametrize("lifted", ["rear", "front"])
def test_the_height_is_found_from_either_axle(lifted: str, calibrated: Path, tmp_path: Path) -> None:
    record = lift(tmp_path, calibrated, lifted, {"geometry.wheel_radius_mm_u": 5.0})
    result, inputs = record["result"], record["inputs"]
    assert result["cg_height_mm"] == pytest.approx(HEIGHT, abs=1.5)
    assert result["cg_station_mm"] == pytest.approx(FRONT / TOTAL * WHEELBASE, abs=0.5)
    ladder = [30, 50, 80, 50, 30]
    assert [one["height_mm"] for one in inputs["lifts"]] == ladder
    assert [one["rising"] for one in inputs["lifts"]] == [True, True, True, False, False]
    for one in inputs["lifts"]:
        assert one["load_down_g"] == pytest.approx(stays_down(one["height_mm"], lifted=lifted), abs=3.0)
    assert inputs["axle"] == lifted
    # one radius of 5 mm doubt for all wheels: everything lies higher or lower by it
    assert result["cg_height_mm_u"] == pytest.approx(math.hypot(5.0, line_u(lifted)), rel=0.04)
    low, high = result["interval_mm"]
    assert 0.5 * (high - low) == pytest.approx(1.96 * result["cg_height_mm_u"], rel=0.02)
    assert 0.5 * (high + low) == pytest.approx(result["cg_height_mm"], abs=1e-6)


def test_wheels_that_nobody_measured_make_the_height_unsure(calibrated: Path, tmp_path: Path) -> None:
    result = lift(tmp_path / "left out", calibrated, "rear", {"geometry.wheel_radius_mm": None})["result"]
    assert result["cg_height_mm"] == pytest.approx(HEIGHT - RADIUS + 32.0, abs=1.5)  # the default's radius
    assert result["cg_height_mm_u"] == pytest.approx(math.hypot(8.0, line_u("rear")), rel=0.04)
    assert "Nobody measured the wheels: a radius of 32 ± 16 mm is taken" in result["warnings"][0]
    known = lift(tmp_path / "measured", calibrated, "rear", {})["result"]
    # off a ruler: 1 mm; the line's own doubt with that of the fits, as below
    assert math.hypot(1.0, line_u("rear")) < known["cg_height_mm_u"] < math.hypot(1.0, 1.2 * line_u("rear"))
    assert not any("Nobody measured" in text for text in known["warnings"])


def test_the_wheelbase_is_doubted_in_millimetres(calibrated: Path, tmp_path: Path) -> None:
    car = {"geometry.wheelbase_mm_u": 25.0, "geometry.wheel_radius_mm_u": 0.0}
    result = lift(tmp_path, calibrated, "rear", car)["result"]
    # the line's slope goes with the wheelbase's square: (h - r) × 2 × 25/250; the station with itself
    assert result["cg_height_mm_u"] == pytest.approx((HEIGHT - RADIUS) * 0.2, rel=0.06)
    assert result["cg_station_mm_u"] == pytest.approx(FRONT / TOTAL * 25.0, rel=0.02)


@pytest.mark.parametrize("lifted", ["rear", "front"])
def test_the_doubt_of_the_axle_that_stays_down_counts(lifted: str, calibrated: Path, tmp_path: Path) -> None:
    car = {"geometry.wheelbase_mm_u": 0.0, "geometry.wheel_radius_mm_u": 0.0}
    result = lift(tmp_path, calibrated, lifted, car)["result"]
    # the fits' own doubt and the masses' come on top of the scatter, at most about six tenths of it
    assert line_u(lifted) < result["cg_height_mm_u"] < 1.2 * line_u(lifted)


def test_what_is_told_of_battery_and_suspension(calibrated: Path, tmp_path: Path) -> None:
    usual = lift(tmp_path / "a", calibrated, "rear", {})
    free = lift(tmp_path / "b", calibrated, "rear", {}, "--suspension-free", "--battery-in")
    assert not any("suspension was free" in text for text in usual["result"]["warnings"])
    assert any("suspension was free" in text for text in free["result"]["warnings"])
    assert (usual["inputs"]["battery_in"], free["inputs"]["battery_in"]) == (False, True)


def test_the_height_in_words(calibrated: Path, tmp_path: Path) -> None:
    log = Path(shutil.copytree(calibrated, tmp_path / "log"))
    test = write_cards(tmp_path, car={"geometry.wheel_radius_mm": RADIUS}, test=TYPED)
    asked: list[str] = []
    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        told = pivotbench(
            "weigh", "height", *common, "--height", 70, "--height", 30, hands=lifting(pads, "rear", asked)
        )
    assert told.code == 0, told.err
    (record,) = records(log, "cg height")
    result = record["result"]
    high, u, station = result["cg_height_mm"], result["cg_height_mm_u"], result["cg_station_mm"]
    ends = result["interval_mm"]
    assert f"centre of gravity {high:.1f} mm above the floor (95 %: {ends[0]:.1f} to {ends[1]:.1f})" in told.out
    assert f"and {station:.1f} mm ahead of the rear axle" in told.out
    assert f"cg_height_mm = {high:.1f}, cg_height_mm_u = {u:.1f}" in told.out
    assert "Fewer than three heights" in told.out
    assert [one["height_mm"] for one in record["inputs"]["lifts"]] == [30, 70, 30]
    listed = pivotbench("log", "--log", log, "--kind", "cg height").out
    assert f"{high:.1f} ± {1.96 * u:.1f} mm" in " ".join(listed.split())
    parents = {one["id"] for kind in ("calibration", "zero", "weighing") for one in records(log, kind)}
    assert record["parents"] == parents
    # the same height given twice is one height
    refused = pivotbench("weigh", "height", *common, "--height", 30, "--height", 30, "--unattended")
    assert refused.code != 0
