"""What a card says without its keys, in which unit and within which limits; and what a car's springs become.

The tables are written out here on purpose: a default, a limit or a unit that changes makes every earlier card mean
something else, so that must be done with open eyes. The statics are by hand.
"""

import json
import math
import re
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.values.pads_acted import CAR_CARD, ActedPads, pivotbench, toml, write_cards

AXLE = {
    "kind": "free",
    "drag": 0.02,
    "drag_u": 0.01,
    "drag_g": None,
    "drag_g_u": 0.0,
    "toe_deg": 0.0,
    "toe_deg_u": 0.3,
    "steer_deg": 0.0,
    "steer_deg_u": 0.5,
    "tyre_across_n_per_mm_u": 0.3,
}
AXLE |= {"patch_mm": None, "patch_mm_u": 2.0, "tyre_across_n_per_mm": None}
AXLE |= {"load_sensitivity": None, "load_sensitivity_u": 0.1}
SPRINGS = {
    "spring_n_per_mm": 2.5,
    "spring_n_per_mm_u": 0.1,
    "motion_ratio": 0.65,
    "motion_ratio_u": 0.03,
    "collar_pitch_mm": 0.75,
    "tyre_n_per_mm": 20.0,
    "bar_n_per_mm": 0.0,
    "roll_centre_mm": 10.0,
    "unsprung_g": 150.0,
    "unsprung_height_mm": 32.0,
    "bump_travel_mm": 8.0,
    "droop_travel_mm": 5.0,
    "bump_ns_per_m": 20.0,
    "rebound_ns_per_m": 25.0,
    "knee_mm_per_s": None,
    "beyond_knee": 0.3,
}
DEFAULTS: dict[str, dict[str, dict[str, Any]]] = {
    "car": {
        "geometry": {
            "wheelbase_mm_u": 0.5,
            "track_front_mm_u": 3.0,
            "track_rear_mm_u": 3.0,
            "sizes": "measured",
            "contacts_mm": None,
            "wheel_radius_mm": None,
            "wheel_radius_mm_u": None,
            "cg_height_mm": 35.0,
            "cg_height_mm_u": 12.0,
            "front_roll_share": 0.5,
            "front_roll_share_u": 0.15,
            "body_front_mm": 75.0,
            "body_rear_mm": 80.0,
            "body_width_mm": 190.0,
        },
        "front": AXLE,
        "rear": AXLE,
        "masses": {"total_g": None, "yaw_inertia_kgm2": None, "yaw_inertia_kgm2_u": 0.0},
        "plate": {
            "bar_mm": None,
            "bar_mm_u": None,
            "height_mm": 60.0,
            "height_mm_u": 2.0,
            "middle_pct": 50.0,
            "dictionary": "",
            "place_mm_u": 1.0,
            "turn_deg_u": 0.3,
        },
        "chassis": {"load_sensitivity": 0.1, "load_sensitivity_u": 0.1},
        "chassis.front": SPRINGS,
        "chassis.rear": SPRINGS | {"spring_n_per_mm": 2.3},
    },
    "bench": {
        "pads": {
            "port": "",
            "ports": None,
            "baud": 115200,
            "wheels": ["FL", "FR", "RL", "RR"],
            "capacity_g": 2000.0,
            "level_mm_u": 0.3,
            "line_pattern": "",
            "unit": "counts",
            "decimal_mark": "point",
            "pad_names": ["1", "2", "3", "4"],
            "reseat_g": 4.0,
        },
        "floor": {
            "paper": "A4",
            "bar_mm": None,
            "bar_mm_u": None,
            "place_mm_u": 0.5,
            "learn_layout": False,
            "dictionary": "DICT_APRILTAG_36h11",
        },
        "camera": {
            "device": "0",
            "calibration": "",
            "width_px": 1280,
            "height_px": 720,
            "frames_per_s": 30.0,
            "readout_ms": None,
        },
        "finger": {
            "id": 20,
            "size_mm": 30.0,
            "bar_mm": None,
            "bar_mm_u": None,
            "tip_ahead_mm": None,
            "tip_ahead_mm_u": 1.0,
            "tip_left_mm": 0.0,
            "tip_left_mm_u": 1.0,
            "tip_below_mm": None,
            "tip_below_mm_u": 2.0,
            "tilt_deg_u": 10.0,
        },
        "place": {"latitude_deg": None, "height_m": 0.0},
    },
    "test": {
        "push": {
            "position_pct": 50.0,
            "position_pct_u": 0.5,
            "position_from": "card",
            "side": "right",
            "height_mm": 8.0,
            "height_mm_u": 2.0,
            "direction_deg_u": 2.0,
            "finger": "rolling",
            "finger_path": "straight on the floor",
            "finger_friction": 0.3,
            "finger_friction_u": 0.15,
            "wheels": "blocked",
            "front": "as above",
            "rear": "as above",
            "steering": "held",
            "distance_mm": 60.0,
            "speed_mm_s": 30.0,
            "floor_ahead_deg": 0.0,
            "floor_left_deg": 0.0,
            "floor_deg_u": 0.2,
        },
        "grip": {
            "same_tyres": True,
            "front": 0.8,
            "rear": 0.8,
            "front_along": 1.0,
            "front_along_u": 0.05,
            "rear_along": 1.0,
            "rear_along_u": 0.05,
            "ratio_u": 0.05,
            "level_u": 0.2,
            "measured": False,
        },
        "typed": {
            "weights_g": None,
            "weights_resolution_g": 1.0,
            "weights_scales": "not said",
            "weights_accuracy_pct": 1.0,
            "pivot_pct": None,
            "pivot_pct_u": 2.0,
        },
    },
}
UNIT = {
    "_n_per_mm": "N/mm",
    "_ns_per_m": "N s/m",
    "_mm_per_s": "mm/s",
    "_mm_s": "mm/s",
    "frames_per_s": "per s",
    "_kgm2": "kg m²",
    "_mm": "mm",
    "_pct": "%",
    "_deg": "degrees",
    "_ms": "ms",
    "_px": "px",
    "height_m": "m",
}


def template(folder: Path, card: str) -> dict[str, dict[str, tuple[str | None, str]]]:
    """Section -> key -> (value as written or None, first word of the remark), of a fresh card."""
    found: dict[str, dict[str, tuple[str | None, str]]] = {"": {}}
    section = ""
    for row in (folder / f"{card}.toml").read_text().splitlines():
        row = row.removeprefix("# ") if row.startswith("# # ") else row
        head = re.match(r"(?:# )?\[([\w.]+)\]", row)
        key = re.match(r"(?:# )?(\w+) =\s*(.*?)\s*# (.*)$", row)
        if head:
            section = head[1]
            found[section] = {}
        elif key:
            found[section][key[1]] = (key[2] or None, key[3].split(";")[0])
    return found


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fresh") / "cards"
    assert pivotbench("new", folder, "--all", "--wheelbase", "261", "--track", "165").code == 0
    return folder


@pytest.mark.parametrize(("card", "section"), [(card, section) for card in DEFAULTS for section in DEFAULTS[card]])
def test_defaults_and_units(card: str, section: str, fresh: Path) -> None:
    written = template(fresh, card)[section]
    for key, value in DEFAULTS[card][section].items():
        text, unit = written[key]
        assert (None if text is None else json.loads(text)) == value, key
        bare = key.removesuffix("_u")
        wanted = next((unit for ending, unit in UNIT.items() if bare.endswith(ending)), None)
        if wanted is None and bare.endswith("_g"):
            wanted = "g"
        if wanted is not None:
            assert unit == wanted, key
    new = set(written) - set(DEFAULTS[card][section]) - {"wheelbase_mm", "track_front_mm", "track_rear_mm"}
    assert not new  # a new key belongs into the table above


# card, key, smallest and largest value allowed; keys that mean less than that beside the car's other sizes stand in
# tests/rig/cards/test_plausible.py
LIMITS: list[tuple[str, str, float, float]] = [
    ("car", "geometry.front_roll_share", 0, 1),
    ("car", "geometry.body_front_mm", 0, 1000),
    ("car", "front.drag", 0, 1),
    ("car", "rear.toe_deg", -20, 20),
    ("car", "plate.bar_mm", 80, 120),
    ("car", "plate.middle_pct", -100, 200),
    ("bench", "pads.reseat_g", 0, 1000),
    ("bench", "pads.baud", 300, 4_000_000),
    ("bench", "floor.bar_mm", 80, 120),
    ("bench", "camera.readout_ms", 0, 200),
    ("bench", "place.latitude_deg", -90, 90),
    ("bench", "place.height_m", -500, 9000),
    ("bench", "camera.frames_per_s", 1, 1000),
    ("test", "push.position_pct", -100, 200),
    ("test", "push.height_mm", 0, 500),
    ("test", "push.finger_friction", 0, 3),
    ("test", "conditions.humidity_pct", 0, 100),
    ("test", "conditions.floor_temperature_c", -40, 90),
    ("test", "conditions.air_temperature_c", -40, 60),
]


@pytest.mark.parametrize(("card", "key", "low", "high"), LIMITS)
def test_limits(card: str, key: str, low: float, high: float, tmp_path: Path) -> None:
    step = 1 if key.endswith("baud") else 0.01
    for value, allowed in ((low, True), (high, True), (low - step, False), (high + step, False)):
        cards: dict[str, dict[str, Any]] = {"car": {}, "bench": {}, "test": {"typed.weights_g": [700, 300, 400, 200]}}
        cards[card][key] = value
        test = write_cards(tmp_path, car=cards["car"], bench=cards["bench"], test=cards["test"])
        told = pivotbench("weigh", test, "--log", tmp_path / "log")
        assert (told.code == 0) is allowed, (value, told.err)
        if not allowed:
            assert key in told.err
            assert f"{card}.toml" in told.err


def test_a_wheel_on_two_pads_is_refused(calibrated: Path, tmp_path: Path) -> None:
    log = Path(shutil.copytree(calibrated, tmp_path / "log"))
    good = write_cards(tmp_path / "good")
    test = write_cards(tmp_path / "bad", bench={"pads.wheels": ["FL", "FL", "RL", "RR"]})
    with ActedPads() as pads:
        common = ["--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", good, *common).code == 0
        told = pivotbench("weigh", test, *common, "--unattended")
    assert told.code == 2
    assert "leaves a wheel without a pad" in told.err


CHASSIS: dict[str, Any] = {
    "chassis.front.spring_n_per_mm": 3.0,
    "chassis.front.motion_ratio": 0.6,
    "chassis.front.bar_n_per_mm": 0.5,
    "chassis.rear.spring_n_per_mm": 2.0,
    "chassis.rear.motion_ratio": 0.8,
    "chassis.rear.bar_n_per_mm": 0.2,
} | {
    f"chassis.{end}.{key}": value
    for end in ("front", "rear")
    for key, value in (
        ("tyre_n_per_mm", 10000),
        ("unsprung_g", 0.31),
        ("roll_centre_mm", 0.0),
        ("bump_travel_mm", 100),
        ("droop_travel_mm", 100),
    )
}
LOAD_G = np.array([430.0, 420.0, 380.0, 370.0])
AX, AY, HEIGHT, LENGTH = -0.06, 0.05, 0.040, 0.250  # g, g, m, m
TRACK = np.array([0.160, 0.180])


@pytest.fixture(scope="module")
def moved(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Three phases of a car on springs: braking, turning left, and both."""
    folder = tmp_path_factory.mktemp("moving")
    car = folder / "car.toml"
    car.write_text(toml(CAR_CARD | CHASSIS | {"geometry.cg_height_mm": HEIGHT * 1e3}))
    phases = folder / "phases.toml"
    rows = [
        {"name": "brake", "ax_g": AX, "duration_s": 0.4},
        {"name": "turn", "ay_g": AY, "duration_s": 0.6},
        {"name": "both", "ax_g": AX, "ay_g": AY, "steer_deg": 4.0, "duration_s": 0.5},
    ]
    phases.write_text(toml({"card": "phases", "name": "three", "phases": rows}))
    told = pivotbench("moving", car, phases, "--weights", *LOAD_G, "--json")
    found: dict[str, Any] = told.result
    return found


@pytest.mark.thorough
def test_phases_load_the_wheels_as_moments_say(moved: dict[str, Any]) -> None:
    total = LOAD_G.sum()
    place = np.array([[LENGTH, 0.08], [LENGTH, -0.08], [0, 0.09], [0, -0.09]])
    for phase, ax, ay in zip(moved["phases"], (AX, 0, AX), (0, AY, AY), strict=True):
        gained = np.array(phase["load_g"]) - LOAD_G
        assert gained.sum() == pytest.approx(0, abs=0.5)
        # inertia at the centre of gravity's height turns the car: forward when braking, to the right in a left turn
        # (the body's own lean and dive add a few per cent)
        assert gained @ place[:, 0] == pytest.approx(-total * ax * HEIGHT, rel=0.08, abs=0.1)
        assert gained @ place[:, 1] == pytest.approx(-total * ay * HEIGHT, rel=0.08, abs=0.1)
        assert (phase["ax_g"], phase["ay_g"]) == pytest.approx((ax, ay))
    assert [phase["duration_s"] for phase in moved["phases"]] == [0.4, 0.6, 0.5]
    assert [phase["steer_deg"] for phase in moved["phases"]] == pytest.approx([0, 0, 4])


@pytest.mark.thorough
def test_springs_bars_and_ratios_make_the_lean(moved: dict[str, Any]) -> None:
    wheel = np.array([3000 * 0.6**2, 2000 * 0.8**2])  # N/m at a wheel, front and rear
    bars = np.array([500.0, 200.0])
    weight = LOAD_G.sum() * 1e-3 * 9.80665
    roll = TRACK**2 * (wheel / 2 + bars)  # N m per rad of each axle
    lean = weight * AY * HEIGHT / (roll.sum() - weight * HEIGHT)
    turn = moved["phases"][1]
    assert abs(turn["roll_deg"]) == pytest.approx(math.degrees(lean), rel=0.03)
    # each axle shifts what its own stiffness asks for, over its own track
    gained = (np.array(turn["load_g"]) - LOAD_G) * 1e-3 * 9.80665
    assert -gained[0] == pytest.approx(roll[0] * lean / TRACK[0], rel=0.04)
    assert -gained[2] == pytest.approx(roll[1] * lean / TRACK[1], rel=0.04)
    ends = 2 * wheel  # an axle's two springs; in series they hold the pitch
    pitch = ends[0] * ends[1] / ends.sum() * LENGTH**2
    dive = weight * abs(AX) * HEIGHT / (pitch - weight * HEIGHT)
    assert abs(moved["phases"][0]["pitch_deg"]) == pytest.approx(math.degrees(dive), rel=0.03)


@pytest.fixture(scope="module")
def damped(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The same car with roll centres and dampers that differ front to rear, in a gentle turn."""
    folder = tmp_path_factory.mktemp("damped")
    more = {
        "chassis.front.roll_centre_mm": 20.0,
        "chassis.front.bump_ns_per_m": 10,
        "chassis.front.rebound_ns_per_m": 14,
        "chassis.rear.bump_ns_per_m": 30,
        "chassis.rear.rebound_ns_per_m": 40,
        "geometry.cg_height_mm": HEIGHT * 1e3,
        "geometry.body_front_mm": 60,
        "geometry.body_rear_mm": 95,
        "geometry.body_width_mm": 200,
    }
    (folder / "car.toml").write_text(toml(CAR_CARD | CHASSIS | more))
    row = {"name": "turn", "ay_g": AY, "duration_s": 0.5}
    (folder / "phases.toml").write_text(toml({"card": "phases", "name": "one", "phases": [row]}))
    found: dict[str, Any] = pivotbench(
        "moving", folder / "car.toml", folder / "phases.toml", "--weights", *LOAD_G, "--json"
    ).result
    return found


@pytest.mark.thorough
def test_roll_centres_take_their_part_of_the_turn(damped: dict[str, Any]) -> None:
    wheel, bars = np.array([3000 * 0.6**2, 2000 * 0.8**2]), np.array([500.0, 200.0])
    weight, front = LOAD_G.sum() * 1e-3 * 9.80665, LOAD_G[:2].sum() / LOAD_G.sum()
    arm = HEIGHT - front * 0.020  # over the roll axis, which lies 20 mm high in front and on the ground behind
    roll = TRACK**2 * (wheel / 2 + bars)
    lean = weight * AY * arm / (roll.sum() - weight * arm)
    gained = (LOAD_G - np.array(damped["phases"][0]["load_g"])) * 1e-3 * 9.80665
    assert damped["phases"][0]["roll_deg"] == pytest.approx(math.degrees(lean), rel=0.01)
    assert gained[0] == pytest.approx((roll[0] * lean + front * weight * AY * 0.020) / TRACK[0], rel=0.01)
    assert gained[2] == pytest.approx(roll[1] * lean / TRACK[1], rel=0.01)


@pytest.mark.thorough
def test_springs_and_dampers_make_the_modes(damped: dict[str, Any]) -> None:
    modes = {one["name"]: (2 * math.pi * one["frequency_hz"], one["damping_ratio"]) for one in damped["modes"]}
    mass, front = LOAD_G.sum() * 1e-3, LOAD_G[:2].sum() / LOAD_G.sum()
    arms = np.array([LENGTH * (1 - front), LENGTH * front])  # from the centre of gravity to the axles
    rates = 2 * np.array([3000 * 0.6**2, 2000 * 0.8**2])  # N/m of an axle
    damping = 2 * np.array([12 * 0.6**2, 35 * 0.8**2])  # N s/m: mean of bump and rebound, at the wheel
    weight_arm = mass * 9.80665 * HEIGHT
    # an even block over the whole body, 1.2 times as high as its centre, turned about an axis on the ground
    along, across, high = 0.060 + LENGTH + 0.095, 0.200, 1.2 * HEIGHT
    pitch = mass / 12 * (along**2 + high**2) + mass * HEIGHT**2
    # heave and pitch mix, but the sums of ω² and of 2 ζ ω are those of the axes apart (traces of the matrices)
    mixed = [modes["heave"], modes["pitch"]]
    wanted = rates.sum() / mass + (rates @ arms**2 - weight_arm) / pitch
    assert sum(omega**2 for omega, _ in mixed) == pytest.approx(wanted, rel=0.01)
    wanted = damping.sum() / mass + damping @ arms**2 / pitch
    assert sum(2 * zeta * omega for omega, zeta in mixed) == pytest.approx(wanted, rel=0.01)
    arm = HEIGHT - front * 0.020
    roll = mass / 12 * (across**2 + high**2) + mass * arm**2
    stiff = TRACK**2 * (rates / 4 + np.array([500.0, 200.0]))
    omega, zeta = modes["roll"]
    assert omega**2 == pytest.approx((stiff.sum() - mass * 9.80665 * arm) / roll, rel=0.01)
    assert 2 * zeta * omega == pytest.approx(damping @ TRACK**2 / 4 / roll, rel=0.01)


@pytest.mark.thorough
def test_phases_start_from_the_newest_weighing(tmp_path: Path) -> None:
    typed = {"typed.weights_g": LOAD_G.tolist()}
    test = write_cards(tmp_path, car=CHASSIS, bench={"place.latitude_deg": 90}, test=typed)
    assert pivotbench("weigh", test, "--log", tmp_path / "log").code == 0
    phases = tmp_path / "phases.toml"
    row = {"name": "turn", "ay_g": 0.001, "duration_s": 0.5}
    phases.write_text(toml({"card": "phases", "name": "one", "phases": [row]}))
    told = pivotbench("moving", tmp_path / "car.toml", phases, "--log", tmp_path / "log", "--json").result
    # standard grams of what presses at the pole: 0.26 % more
    np.testing.assert_allclose(told["phases"][0]["load_g"], LOAD_G * 9.83218 / 9.80665, atol=0.6)
