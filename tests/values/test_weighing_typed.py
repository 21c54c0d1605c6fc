"""Typed weights, local gravity, parts counted in, ballast, shims and grip from weights: each by hand.

Statics of a car on four contacts; the law of propagation (GUM, JCGM 100:2008); a rounded reading is rectangular.
"""

import math
import re
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.values.pads_acted import (
    CAR,
    WHEELS,
    ActedPads,
    doubts,
    on_pads,
    pivotbench,
    records,
    truth,
    write_cards,
)

LOAD = np.array([700.0, 300.0, 400.0, 200.0])
CROSS = np.array([1.0, -1.0, -1.0, 1.0])
TYPED: dict[str, Any] = {
    "typed.weights_g": LOAD.tolist(),
    "typed.weights_resolution_g": 12,
    "typed.weights_scales": "one scale",
}
EVEN: dict[str, Any] = {"geometry.track_rear_mm": 160}  # equal tracks: a mass is shared as on a rectangle
POLE, HALF_WAY = 9.83218, 9.80620  # m/s², normal gravity at the poles and at 45°: NIMA TR8350.2 (WGS84), 2000
FREE_AIR = 3.086e-6  # per s², the free-air gradient with height, from memory


def seat(scatter_g: float) -> np.ndarray:
    """g², one placing: 96 % of the variance as a shift between the diagonals, 4 % each corner for itself."""
    covariance: np.ndarray = scatter_g**2 * (0.96 * np.outer(CROSS, CROSS) + 0.04 * np.eye(4))
    return covariance


SCALE_U = 0.01 / math.sqrt(3)
"""A scale is off by up to 1 % of what it shows, either way: a rectangular distribution (JCGM 100:2008, 4.3.7)."""


def one_scale(scatter_g: float) -> np.ndarray:
    """g²: its error is common to all wheels, and every wheel was read at a placing of its own."""
    covariance: np.ndarray = SCALE_U**2 * np.outer(LOAD, LOAD) + scatter_g**2 * np.eye(4)
    return covariance


@pytest.mark.parametrize(("resolution", "scatter", "accuracy"), [(12.0, 2.0, None), (1.0, 0.5, 1.5), (1.0, 0.5, 0)])
@pytest.mark.parametrize("scales", ["one scale", "four scales", None])
def test_typed_weights_are_doubted_by_the_step_the_scale_and_the_placing(
    resolution: float, scatter: float, accuracy: float | None, scales: str | None, tmp_path: Path
) -> None:
    keys: dict[str, Any] = {"typed.weights_resolution_g": resolution}
    keys |= {"typed.weights_scales": scales or "not said"}
    keys |= {} if accuracy is None else {"typed.weights_accuracy_pct": accuracy}
    test = write_cards(tmp_path, test=TYPED | keys, bench={"pads.reseat_g": scatter})
    told = pivotbench("weigh", test, "--log", tmp_path / "log", "--json").result
    off = SCALE_U * (1.0 if accuracy is None else accuracy)
    whole = resolution**2 / 12 * np.eye(4)
    if scales != "four scales":
        whole = whole + off**2 * np.outer(LOAD, LOAD) + scatter**2 * np.eye(4)
    if scales != "one scale":  # each wrong for itself
        whole = whole + np.diag((off * LOAD) ** 2)
    if scales == "four scales":  # under one placing
        whole = whole + seat(scatter)
    found = sum(doubts(records(tmp_path / "log", "weighing")[0]).values())
    np.testing.assert_allclose(found, whole, rtol=1e-9)
    for wheel, (low, high) in enumerate(told["corner_interval_g"]):
        u = math.sqrt(whole[wheel, wheel])
        assert (low, high) == pytest.approx((LOAD[wheel] - 1.959964 * u, LOAD[wheel] + 1.959964 * u), abs=1e-4)
    total_u = math.sqrt(np.ones(4) @ whole @ np.ones(4))
    assert told["total_g"]["u"] == pytest.approx(total_u, rel=1e-9)
    assert told["total_g"]["interval"] == pytest.approx([1600 - 1.959964 * total_u, 1600 + 1.959964 * total_u])
    shift = (np.array([1, 1, 0, 0]) - 0.625) / 1600 * 100
    assert told["front_pct"]["u"] == pytest.approx(math.sqrt(shift @ whole @ shift), rel=1e-9)
    shift = (np.array([1, 0, 1, 0]) - 0.6875) / 1600 * 100
    assert told["left_pct"]["u"] == pytest.approx(math.sqrt(shift @ whole @ shift), rel=1e-9)


def test_weights_of_scales_that_nobody_named_say_what_naming_them_is_worth(tmp_path: Path) -> None:
    """By hand, 700 300 400 200 g read to 1 g: front shares' half-widths for either kind of scales, and for both."""
    shift = (np.array([1, 1, 0, 0]) - 0.625) / 1600 * 100
    step, own, placing = np.eye(4) / 12, np.diag((SCALE_U * LOAD) ** 2), 4 * np.eye(4)
    one, four, either = (
        1.959964 * math.sqrt(shift @ whole @ shift)  # what is common to all wheels moves no share
        for whole in (step + placing, step + own + seat(2.0), step + own + placing)
    )
    keys: dict[str, Any] = {"typed.weights_g": LOAD.tolist(), "typed.weights_resolution_g": 1}
    test = write_cards(tmp_path, test=keys, bench={"pads.reseat_g": 2.0})
    told = pivotbench("weigh", test, "--log", tmp_path / "log")
    assert (
        "The test card does not say whether one scale read all four wheels or four scales one each: front "
        f'± {either:.2f} points allows for either. weights_scales = "one scale" makes it ± {one:.2f}, "four scales" '
        f"± {four:.2f}"
    ) in " ".join((told.out + told.err).split())
    for exact in ({"typed.weights_accuracy_pct": 0}, {"typed.weights_scales": "four scales"}):
        test = write_cards(tmp_path / "said", test=keys | exact, bench={"pads.reseat_g": 2.0})
        told = pivotbench("weigh", test, "--log", tmp_path / "other")
        assert "does not say whether" not in told.out + told.err


def test_typed_weights_in_words(tmp_path: Path) -> None:
    test = write_cards(tmp_path, test=TYPED | {"typed.weights_resolution_g": 30})
    told = pivotbench("weigh", test, "--log", tmp_path / "log")
    rows = {row[:12].strip(): row[12:].split() for row in told.out.splitlines()}
    whole = 75 * np.eye(4) + one_scale(2.0)
    for wheel, name in enumerate(("front left", "front right", "rear left", "rear right")):
        half = 1.96 * math.sqrt(whole[wheel, wheel])
        assert rows[name] == [f"{LOAD[wheel]:.1f}", "g", "±", f"{half:.1f}", f"{LOAD[wheel] / 16:.1f}", "%"]
    assert rows["front"][0] == "62.50"
    assert rows["left"][0] == "68.75"
    assert re.search(r"^cross weight \(front right \+ rear left\)\s+43.75 % ± ", told.out, re.MULTILINE)
    assert re.search(r"^other diagonal \(front left \+ rear right\)\s+56.25 % ± ", told.out, re.MULTILINE)
    # by hand: x = 0.625 × 250 mm; y = (400 × 80 + 200 × 90)/1600 mm
    assert "centre of gravity 156.2 ±" in told.out
    assert "31.2 ±" in told.out
    assert "left of the middle" in told.out
    test = write_cards(tmp_path, test={"typed.weights_g": [300, 700, 200, 400]})
    assert "right of the middle" in pivotbench("weigh", test, "--log", tmp_path / "log").out


def test_the_centre_of_gravity_from_contacts_measured_one_by_one(tmp_path: Path) -> None:
    places = [[251, 83], [249, -77], [1, 91], [-2, -88]]
    test = write_cards(tmp_path, car={"geometry.contacts_mm": places}, test=TYPED)
    told = pivotbench("weigh", test, "--log", tmp_path / "log", "--json").result
    np.testing.assert_allclose(told["cg_m"], LOAD @ np.array(places) / 1600 * 1e-3, atol=1e-12)


def test_the_centre_of_gravity_is_doubted_in_metres(tmp_path: Path) -> None:
    test = write_cards(
        tmp_path,
        car={"geometry.wheelbase_mm_u": 10, "geometry.track_front_mm_u": 8, "geometry.track_rear_mm_u": 40},
        test=TYPED | {"typed.weights_resolution_g": 0.1},
        bench={"pads.reseat_g": 0.1},
    )
    told = pivotbench("weigh", test, "--log", tmp_path / "log", "--json").result
    # the contacts' own doubt is nearly all: shares 7/16, 3/16, 4/16, 2/16; one wheelbase, the same left and right
    assert told["cg_x_m"]["u"] == pytest.approx(10 / 16 * 0.010, rel=1e-3)
    across = math.hypot(math.hypot(7, 3) / 16 * 0.004, math.hypot(4, 2) / 16 * 0.020)
    assert told["cg_y_m"]["u"] == pytest.approx(across, rel=1e-3)


@pytest.mark.parametrize(
    ("place", "gravity"),
    [
        ({"place.latitude_deg": 45}, HALF_WAY),
        ({"place.latitude_deg": -90, "place.height_m": 2000}, POLE - 2000 * FREE_AIR),
    ],
)
def test_gravity_of_the_place_turns_grams_into_newtons(place: dict[str, Any], gravity: float, tmp_path: Path) -> None:
    test = write_cards(tmp_path, bench=place, test=TYPED)
    log = tmp_path / "log"
    told = pivotbench("weigh", test, "--log", log, "--json").result
    assert told["gravity_m_s2"] == pytest.approx(gravity, abs=3e-5)
    assert pivotbench("push", "forecast", test, "--log", log).code == 0
    inputs = records(log, "prediction")[0]["inputs"]
    np.testing.assert_allclose(inputs["load_N"], LOAD * gravity * 1e-3, rtol=4e-6)
    whole = 12 * np.eye(4) + one_scale(2.0)
    np.testing.assert_allclose(inputs["load_covariance_N2"], whole * (gravity * 1e-3) ** 2, rtol=1e-5)
    told = pivotbench(
        "grip", "pull", test, "--part", "front", "--force", 6.0, "--force", 6.2, "--log", log, "--json"
    ).result
    assert told["value"] == pytest.approx(6.1 / (1.0 * gravity), rel=1e-5)  # 1000 g on the front axle
    told = pivotbench(
        "grip", "pull", test, "--part", "rear", "--force", 3.0, "--force", 3.2, "--log", log, "--json"
    ).result
    assert told["value"] == pytest.approx(3.1 / (0.6 * gravity), rel=1e-5)


def test_pads_calibrated_elsewhere_read_mass(calibrated: Path, tmp_path: Path) -> None:
    log = Path(shutil.copytree(calibrated, tmp_path / "log"))  # calibrated where gravity is standard
    place = {"place.latitude_deg": 90, "place.height_m": 1000}
    test, home = write_cards(tmp_path / "pole", bench=place), write_cards(tmp_path / "home")
    gravity = POLE - 1000 * FREE_AIR
    with ActedPads() as pads:
        common = ["--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", test, *common).code == 0
        pads.lay(on_pads(CAR))
        at_pole = pivotbench("weigh", test, *common, "--unattended", "--json").result
        at_home = pivotbench("weigh", home, *common, "--unattended", "--json").result
    assert at_pole["gravity_m_s2"] == pytest.approx(gravity, abs=3e-5)
    # the same force means less mass where gravity is stronger
    ratio = np.array(at_pole["corner_weights_g"]) / np.array(at_home["corner_weights_g"])
    np.testing.assert_allclose(ratio, 9.80665 / gravity, rtol=2e-5)
    with ActedPads() as pads:

        def do(text: str) -> None:
            mass = next((grams for grams in (400, 900) if f"Lay {grams} g" in text), 0)
            pads.lay([truth(pad, mass) for pad in range(4)])

        masses = ["--mass", 400, "--mass", 900, "--cycles", 1]
        assert pivotbench("pads", "calibrate", test, *masses, "--port", pads.url, "--log", log, hands=do).code == 0
    for pad in records(log, "calibration")[-1]["result"]["pads"]:
        assert pad["gravity"] == pytest.approx(gravity, abs=3e-5)


PARTS = [{"name": "body", "mass_g": 120, "x_mm": 200, "y_mm": -30}, {"name": "battery", "mass_g": -60, "x_mm": 40}]


def shared(mass: float, x: float, y: float) -> np.ndarray:
    """g on the four wheels of a mass at x, y mm on a rectangle of 250 by 160 mm with equal springs: a plane."""
    along, across = 2 * x / 250 - 1, 2 * y / 160
    signs = np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]])
    loads: np.ndarray = mass / 4 * (1 + signs @ [along, across])
    return loads


def test_parts_that_differ_are_counted_in_with_their_doubt(tmp_path: Path) -> None:
    test = write_cards(tmp_path, car=EVEN | {"masses.parts": PARTS}, test=TYPED)
    told = pivotbench("weigh", test, "--log", tmp_path / "log", "--json").result
    wanted = LOAD + shared(120, 200, -30) + shared(-60, 40, 0)
    np.testing.assert_allclose(told["corner_weights_g"], wanted, atol=1e-9)
    assert told["total_g"]["value"] == pytest.approx(1660)
    (note,) = [text for text in told["warnings"] if "Counted in" in text]
    assert "body +120 g" in note
    assert "battery -60 g" in note
    # half a gram on each mass, 2 mm on each of its coordinates
    doubt = sum(0.5**2 * np.outer(one, one) for one in (shared(1, 200, -30), shared(1, 40, 0)))
    along = shared(1, 1, 0) - shared(1, 0, 0)
    across = shared(1, 0, 1) - shared(1, 0, 0)
    doubt = doubt + (120**2 + 60**2) * 2**2 * (np.outer(along, along) + np.outer(across, across))
    record = records(tmp_path / "log", "weighing")[0]
    np.testing.assert_allclose(doubts(record)["parts"], doubt, rtol=1e-9)


def test_ballast_put_on_and_moved(tmp_path: Path) -> None:
    test = write_cards(tmp_path, car=EVEN)
    told = pivotbench("aim", "ballast", test, "--mass", 40, "--to", 200, -30, "--json").result
    np.testing.assert_allclose(told["change_g"], shared(40, 200, -30), atol=1e-9)
    told = pivotbench("aim", "ballast", test, "--mass", 40, "--from", 50, 20, "--to", 200, -30, "--json").result
    np.testing.assert_allclose(told["change_g"], shared(40, 200, -30) - shared(40, 50, 20), atol=1e-9)
    rows = pivotbench("aim", "ballast", test, "--mass", 40, "--to", 200, -30).out.splitlines()
    wanted = shared(40, 200, -30)
    names = ("front left", "front right", "rear left", "rear right")
    assert [row.rsplit(maxsplit=2)[0] for row in rows] == list(names)
    assert [float(row.split()[-2]) for row in rows] == pytest.approx(wanted.tolist(), abs=0.0501)


@pytest.mark.parametrize(
    ("wish", "start", "place"),
    [
        # 63 % of 1600 g wants 8 g more in front: 80 g move 8/80 of 250 mm forward
        (["--front", 63], (20, 30), (45, 30)),
        # 68 % wants 12 g less on the left: 80 g move 12/80 of 160 mm to the right
        (["--left", 68], (20, 30), (20, 6)),
        # put on at the middle it brings 40 g to either end: of 1680 g 61.5 % is 1033.2, 6.8 g less than 1040
        (["--front", 61.5], None, (125 - 6.8 / 80 * 250, 0)),
        (["--left", 68], None, (125, 2.4 / 80 * 160)),  # 68 % is 1142.4 g, 2.4 more than 1140
    ],
)
def test_where_ballast_must_go(
    wish: list[Any], start: tuple[float, float] | None, place: tuple[float, float], tmp_path: Path
) -> None:
    test = write_cards(tmp_path, car=EVEN, test=TYPED)
    words = [
        "aim",
        "ballast",
        test,
        "--mass",
        80,
        *wish,
        "--log",
        tmp_path / "log",
        *(["--from", *start] if start else []),
    ]
    told = pivotbench(*words, "--json").result
    np.testing.assert_allclose(told["place_m"], np.array(place) * 1e-3, atol=1e-9)
    base = LOAD - shared(80, *start) if start else LOAD
    np.testing.assert_allclose(told["load_g"], base + shared(80, *place), atol=1e-9)
    assert told["reachable"] is True
    side = "left" if place[1] >= 0 else "right"
    assert f"{place[0]:.0f} mm ahead of the rear axle and {abs(place[1]):.0f} mm to the {side}" in told["text"]


def test_ballast_for_the_diagonal_is_refused_on_a_rectangle(tmp_path: Path) -> None:
    test = write_cards(tmp_path, car=EVEN, test=TYPED)
    told = pivotbench("aim", "ballast", test, "--mass", 80, "--cross", 50, "--log", tmp_path / "log", "--json").result
    assert told["reachable"] is False
    assert "place_m" not in told or told["place_m"] is None


SPRINGS: dict[str, Any] = {
    "chassis.front.spring_n_per_mm": 3.0,
    "chassis.front.motion_ratio": 0.6,
    "chassis.front.tyre_n_per_mm": 20.0,
    "chassis.front.bar_n_per_mm": 0.5,
    "chassis.rear.spring_n_per_mm": 2.0,
    "chassis.rear.motion_ratio": 0.8,
    "chassis.rear.tyre_n_per_mm": 30.0,
    "chassis.rear.bar_n_per_mm": 0.2,
}
A = 160 / 180  # a warp loads the rear wheels by the ratio of the tracks less
# mm/N: springs at the wheel (rate × ratio²) with bars, twice for a difference, and tyres in series; both axles
SOFT = 2 / (1.08 + 2 * 0.5) + 2 / 20 + A**2 * (2 / (1.28 + 2 * 0.2) + 2 / 30)
GRAMS_PER_MM = (1 + A**2) / 2 / SOFT / 9.80665e-3  # mean of the wheels
CROSS_PER_MM = (2 + 2 * A) / SOFT / 9.80665e-3


def test_what_a_millimetre_is_worth_and_which_shims(tmp_path: Path) -> None:
    test = write_cards(tmp_path, car=SPRINGS)
    log = ["--log", tmp_path / "log"]
    told = pivotbench("pads", "level", test, "--heights", 0.7, 0.1, 0.2, 0.05, *log, "--json").result
    assert told["grams_per_mm"] == pytest.approx(GRAMS_PER_MM, rel=1e-6)
    assert told["cross_g_per_mm"] == pytest.approx(CROSS_PER_MM, rel=1e-6)
    # both axles are to lean alike: (0.7 - 0.1 - t)/160 = (0.2 - 0.05)/180 with t = 0.467 mm under the lower of the two
    # low ones, front right; the nearest stack is 0.45, and FL + RR stay higher by 0.0167 mm of the narrow axle's
    np.testing.assert_allclose(told["shims_mm"], [0, 0.45, 0, 0], atol=1e-9)
    assert told["warp_after_mm"] == pytest.approx((0.7 - 0.1 - 0.15 * A - 0.45) * 2 / (1 + A), abs=1e-9)
    told = pivotbench("pads", "level", test, "--heights", 0.1, 0.2, 0.05, 0.75, *log, "--json").result
    np.testing.assert_allclose(told["shims_mm"], [0, 0, 0.6, 0], atol=1e-9)  # (0.1 - 0.2)/A = 0.05 + t - 0.75: 0.5875
    # a table that slopes to a side lies in one plane, but as high under wide as under narrow tyres it does not
    for front, rear, shim in ((1.6, 1.8, 0.0), (1.8, 1.8, 0.2)):
        heights = [front, 0.0, rear, 0.0]
        told = pivotbench("pads", "level", test, "--heights", *heights, *log, "--json").result
        np.testing.assert_allclose(told["shims_mm"], [0, shim, 0, 0], atol=1e-9)  # 1.8 - t = 1.8 A
    text = pivotbench("pads", "level", test, *log).out
    assert f"moves {GRAMS_PER_MM:.1f} g at each wheel (± 20 %" in text  # 1.96 × 10 %


@pytest.mark.parametrize(("share", "apart"), [(0.9, True), (1.1, False)])
def test_whether_the_floor_explains_the_cross_weight(share: float, apart: bool, tmp_path: Path) -> None:
    # 200 g between the diagonals; the pads' heights each doubted: |cross per mm of each pad|, in quadrature
    per_mm = CROSS_PER_MM * math.sqrt(2 + 2 * A**2)
    weighed_u2 = 4 * 1 / 12 + (SCALE_U * 200) ** 2 + 4 * 0.1**2
    critical = math.sqrt((200 / 1.96) ** 2 - weighed_u2) / per_mm
    test = write_cards(
        tmp_path,
        car=SPRINGS,
        test=TYPED | {"typed.weights_resolution_g": 1},
        bench={"pads.level_mm_u": share * critical, "pads.reseat_g": 0.1},
    )
    told = pivotbench("pads", "level", test, "--log", tmp_path / "log", "--json").result
    assert told["told_apart"] is apart
    assert f"1 mm under one wheel moves {CROSS_PER_MM:.0f} g between the diagonals" in told["floor"]
    if apart:
        assert "front-left and rear-right carries 200 g more" in told["floor"]
    else:
        assert f"level the pads to {critical:.2f} mm" in told["floor"]


def test_a_shim_measures_what_a_millimetre_is_worth(calibrated: Path, tmp_path: Path) -> None:
    log = Path(shutil.copytree(calibrated, tmp_path / "log"))
    test = write_cards(tmp_path)
    gain = 60.0  # g that rear left gains on 1.5 mm; the rear wheels move by A of what the front ones do
    moves = {"FL": -gain / A, "FR": gain / A, "RL": gain, "RR": -gain}
    asked: list[str] = []

    def do(text: str) -> None:
        asked.append(text)
        moved = len(asked) - 1
        pads.lay(on_pads({wheel: CAR[wheel] + moved * moves[wheel] for wheel in WHEELS}))

    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        told = pivotbench("pads", "level", *common, "--shim", 1.5, "--under", "RL", "--json", hands=do).result
    assert "1.5 mm shim under the rear left pad" in asked[1]
    per_wheel = {"FL": gain / A**2, "RL": gain}  # each wheel by itself: the front ones more by the tracks' ratio
    wanted = (per_wheel["FL"] + per_wheel["RL"]) / 2 / 1.5
    assert told["grams_per_mm"] == pytest.approx(wanted, rel=0.01)
    assert told["cross_g_per_mm"] == pytest.approx((2 + 2 * A) * gain / A**2 / 1.5, rel=0.01)
    # a quarter of 2 g scatter in each of two weighings, over 2 + 2 A² wheels' worth of change; 0.02 mm of the shim
    seen_u = math.sqrt(2) * 0.5 / math.sqrt(2 + 2 * A**2) / (gain / A)
    assert told["relative_u"] == pytest.approx(math.hypot(seen_u, 0.02 / 1.5), rel=0.01)
    (record,) = records(log, "shim")
    assert (record["inputs"]["wheel"], record["inputs"]["shim_mm"]) == (2, 1.5)


def test_a_forecast_goes_by_typed_weights_before_those_in_the_log(tmp_path: Path) -> None:
    log = tmp_path / "log"
    typed = write_cards(tmp_path / "typed", test=TYPED)
    assert pivotbench("weigh", typed, "--log", log).code == 0
    bare = write_cards(tmp_path / "bare")
    assert pivotbench("push", "forecast", bare, "--log", log).code == 0
    other = write_cards(tmp_path / "other", test={"typed.weights_g": [100, 200, 300, 400]})
    assert pivotbench("push", "forecast", other, "--log", log).code == 0
    first, second = records(log, "prediction")
    np.testing.assert_allclose(first["inputs"]["load_N"], LOAD * 9.80665e-3)
    np.testing.assert_allclose(second["inputs"]["load_N"], np.array([100, 200, 300, 400]) * 9.80665e-3)
    assert first["parents"] == {records(log, "weighing")[0]["id"]}
