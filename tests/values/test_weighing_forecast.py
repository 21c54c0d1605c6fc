"""What follows from weights: balance point, push force, grip from tilt and pull, and advice for collars. By hand.

The car: FL 700, FR 300, RL 400, RR 200 g on 250 mm; front grip 0.9, rear 0.6.
"""

import contextlib
import math
import re
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from tests.values.pads_acted import ActedPads, on_pads, pivotbench, records, write_cards

WEIGHTS = [700, 300, 400, 200]
TYPED: dict[str, Any] = {"typed.weights_g": WEIGHTS, "typed.weights_resolution_g": 0.1}
GRIP: dict[str, Any] = {"grip.front": 0.9, "grip.rear": 0.6, "grip.ratio_u": 0.04, "grip.level_u": 0.1}
# tyres whose grip does not fall with load: the statics below have none of it
ALIKE: dict[str, Any] = {f"{axle}.load_sensitivity{end}": 0 for axle in ("front", "rear") for end in ("", "_u")}
FORCE = (0.9 * 1.0 + 0.6 * 0.6) * 9.80665  # N, all tyres sliding sideways: grip times weight
BALANCE = 100 * 0.9 * 1000 / (0.9 * 1000 + 0.6 * 600)  # % ahead of the rear axle, where that force would act


@pytest.fixture(scope="module")
def pushed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Forecast of a push at the balance point."""
    folder = tmp_path_factory.mktemp("pushed")
    push = {
        "push.position_pct": BALANCE,
        "push.position_pct_u": 0.7,
        "push.height_mm": 0,
        "push.height_mm_u": 0,
        "push.side": "left",
    }
    test = write_cards(folder, car=ALIKE, bench={"pads.reseat_g": 0.1}, test=TYPED | GRIP | push)
    assert pivotbench("push", "forecast", test, "--log", folder / "log").code == 0
    return records(folder / "log", "prediction")[0]


def test_the_balance_point_is_where_the_tyres_hold(pushed: dict[str, Any]) -> None:
    told = pushed["result"]
    assert told["balance_pct"] == pytest.approx(BALANCE, abs=0.05)
    # of b = φr/(φr + 1 - φ): b (1 - b) times the ratio's 4 %; the weights add next to nothing
    share = BALANCE / 100
    assert told["balance_u_pct"] == pytest.approx(100 * share * (1 - share) * 0.04, rel=0.1)


def test_a_push_at_the_balance_point_slides_straight(pushed: dict[str, Any]) -> None:
    told = pushed["result"]
    assert told["push_force_N"] == pytest.approx(FORCE, rel=0.01)
    low, high = told["push_force_interval_N"]
    # 95 %: 1.96 times the 10 % of the grip's level, and a little of the ratio's doubt
    assert 0.5 * (high - low) == pytest.approx(1.96 * 0.1 * FORCE, rel=0.08)
    low, high = told["pivot"]["kappa_interval_per_m"]
    assert low < 0 < high
    assert told["pivot"]["wheelbase_m"] == pytest.approx(0.25)


def test_the_forecast_in_words(tmp_path: Path) -> None:
    test = write_cards(tmp_path, car=ALIKE, bench={"pads.reseat_g": 0.1}, test=TYPED | GRIP | {"push.position_pct": 20})
    told = pivotbench("push", "forecast", test, "--log", tmp_path / "log")
    assert told.code == 0, told.err
    result = records(tmp_path / "log", "prediction")[0]["result"]
    balance = re.search(r"balance point ([\d.]+) % ± ([\d.]+)", told.out)
    assert balance is not None
    assert float(balance[1]) == pytest.approx(BALANCE, abs=0.1)
    assert float(balance[2]) == pytest.approx(1.96 * result["balance_u_pct"], abs=0.051)  # 95 %, as all that is told
    assert f"push force {result['push_force_N']:.1f} N" in told.out
    # behind the balance point, pushed from the right to the left: the rear goes first, the nose turns to the right
    assert result["pivot"]["kappa_per_m"] < 0
    pivot = re.search(r"forecast +([\d.]+) % \(", told.out)
    assert pivot is not None
    assert float(pivot[1]) == pytest.approx(result["pivot"]["station_pct"], abs=0.051)
    assert float(pivot[1]) > BALANCE  # a push on one side of the balance point turns the car about the other


def test_what_was_pushed_stands_in_the_record(pushed: dict[str, Any]) -> None:
    inputs = pushed["inputs"]
    assert inputs["push"] == {"position_pct": pytest.approx(BALANCE), "position_pct_u": 0.7, "side": "left"}
    assert inputs["travel_m"] == pytest.approx(0.060)  # 60 mm on the card
    assert inputs["draws"] == 10_000


def test_a_tilted_axle(tmp_path: Path) -> None:
    # tan θ = 0.4; the height 50 of 250 mm moves 0.2 × 0.4 of the car downhill. The axle on the board holds all, but
    # for what the other axle's wheels roll with
    angle = math.degrees(math.atan(0.4))
    car = {"geometry.cg_height_mm": 50, "front.drag": 0.05, "rear.drag": 0.11}
    test = write_cards(tmp_path, car=car, test=TYPED | {"grip.front": 0.9, "grip.rear": 0.6})
    for part, nose, share, rolling in (
        ("front", "up", 0.625 - 0.08, 0.11 * 0.6),  # drag is a share of those tyres' grip
        ("rear", "up", 0.375 + 0.08, 0.05 * 0.9),
        ("front", "down", 0.625 + 0.08, 0.11 * 0.6),
    ):
        words = ["grip", "tilt", test, "--part", part, "--nose", nose, "--angle", angle - 0.2, "--angle", angle + 0.2]
        told = pivotbench(*words, "--angle-u", 0.5, "--log", tmp_path / "log", "--json").result
        assert told["value"] == pytest.approx((0.4 - rolling * (1 - share)) / share, rel=1e-3), (part, nose)
        # protractor: 0.5° through 1 + tan² θ, over the value (what the share shifts by that is left out: 20 %)
        wanted = math.radians(0.5) * (1 + 0.16) / share / told["value"]
        shared = told["shared"]["tilt board, protractor"]
        assert abs(shared) == pytest.approx(wanted, rel=0.25)
        # the height's 12 mm shift the share by 12/250 × 0.4, and grip goes with (0.4 - rolling)/share
        shared = told["shared"]["height of the centre of gravity"]
        wanted = (0.4 - rolling) / share**2 * 12 / 250 * 0.4 / told["value"]
        assert abs(shared) == pytest.approx(wanted, rel=0.02)


@pytest.mark.parametrize(("angles", "step"), [((38, 38, 38), 1.0), ((38.5, 38.5), 0.5)])
def test_equal_readings_of_a_protractor_are_the_normal_case(
    angles: tuple[float, ...], step: float, tmp_path: Path
) -> None:
    words = [word for angle in angles for word in ("--angle", angle)]
    told = pivotbench("grip", "tilt", write_cards(tmp_path, test=TYPED), *words, "--log", tmp_path / "log", "--json")
    assert told.code == 0, told.err
    slope = math.radians(angles[0])
    assert told.result["value"] == pytest.approx(math.tan(slope))
    # by hand: a rectangle as wide as the step (JCGM 100, F.2.2.1), through d tan = (1 + tan²) d angle
    wanted = math.radians(step / math.sqrt(12)) * (1 + math.tan(slope) ** 2) / math.tan(slope)
    assert told.result["relative_u"] == pytest.approx(wanted, rel=1e-6)


def test_a_pull_at_an_angle(tmp_path: Path) -> None:
    test = write_cards(tmp_path, test=TYPED)
    words = ["grip", "pull", test, "--part", "car", "--force", 11.0, "--force", 13.0, "--angle", 20, "--gauge-u", 0.03]
    told = pivotbench(*words, "--log", tmp_path / "log", "--json").result
    weight, pull = 1.6 * 9.80665, 12.0
    up = math.radians(20)
    assert told["value"] == pytest.approx(pull * math.cos(up) / (weight - pull * math.sin(up)), rel=1e-6)
    assert told["front_weight"] == pytest.approx(0.625)
    gained = weight / (weight - pull * math.sin(up))  # relative change of grip per relative change of force
    assert abs(told["shared"]["spring balance"]) == pytest.approx(0.03 * gained, rel=1e-3)


SPRINGS: dict[str, Any] = {
    "chassis.front.spring_n_per_mm": 3.0,
    "chassis.front.motion_ratio": 0.6,
    "chassis.front.tyre_n_per_mm": 20.0,
    "chassis.front.bar_n_per_mm": 0.5,
    "chassis.rear.spring_n_per_mm": 2.0,
    "chassis.rear.motion_ratio": 0.8,
    "chassis.rear.tyre_n_per_mm": 30.0,
    "chassis.rear.bar_n_per_mm": 0.2,
    "chassis.front.collar_pitch_mm": 0.5,
    "chassis.rear.collar_pitch_mm": 0.5,
    "geometry.track_rear_mm": 160,
}


def test_the_collar_to_turn_and_what_it_is_worth(calibrated: Path, tmp_path: Path) -> None:
    log, test = Path(shutil.copytree(calibrated, tmp_path / "log")), write_cards(tmp_path, car=SPRINGS)
    # mm/N between the diagonals: springs at the wheel and tyres; both bars are unhooked while collars are turned
    soft = 2 / 1.08 + 2 / 20 + 2 / 1.28 + 2 / 30
    # one turn: 2 N/mm × 0.8 × 0.5 mm at the wheel, through the axle's own twist; g at each wheel
    per_turn = 2.0 * 0.8 * 0.5 / 1.28 / soft / 9.80665e-3
    crooked = {"FL": 640, "FR": 340, "RL": 440, "RR": 180}  # FR + RL 780 of 1600 g, 48.75 %: 20 g short, 10 g a wheel
    turns = max(0.25, round(10 / per_turn / 0.25) * 0.25)
    words = {0.25: "a quarter turn", 0.5: "half a turn", 0.75: "three quarters of a turn", 1.0: "1 turn"}[turns]
    even = {"FL": 630, "FR": 350, "RL": 450, "RR": 170}
    asked: list[str] = []

    def do(text: str) -> None:
        asked.append(text)
        pads.lay(on_pads(crooked if not any("preload" in one for one in asked) else even))

    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        told = pivotbench("weigh", "cross", *common, "--bars", "both", "--tolerance", 0.4, "--json", hands=do)
    assert told.code == 0, told.err
    steps = told.result["steps"]
    (advice,) = [text for text in steps if "preload" in text]
    assert f"Rear-left collar {words} down, more preload: expect {turns * per_turn:+.0f} g here" in advice
    assert "Front-right with rear-left carries 48.7 %, front-left with rear-right 51.3 %" in advice
    assert told.result["done"] is True
    assert ["Unhook both" in steps[0], "rear bar" in steps[3], "front bar" in " ".join(steps[4:])] == [True] * 3
    weighings, (run,) = records(log, "weighing"), records(log, "cross weight")
    assert len(weighings) == 4  # as found, turned, with the rear bar, with the front bar
    assert run["parents"] == {one["id"] for one in weighings}
    assert run["inputs"]["tolerance_pct"] == 0.4
    assert run["inputs"]["bars"] == "both"


def test_the_log_keeps_each_card_under_its_kind(tmp_path: Path) -> None:
    test = write_cards(tmp_path, test=TYPED)
    assert pivotbench("weigh", test, "--log", tmp_path / "log").code == 0
    with contextlib.closing(sqlite3.connect(tmp_path / "log" / "bench-log.sqlite")) as base:
        kept = {kind: (name, text) for kind, name, text in base.execute("SELECT kind, name, text FROM cards")}
        linked = base.execute("SELECT count(*) FROM record_cards").fetchone()[0]
        titles = [title for (title,) in base.execute("SELECT title FROM records")]
    assert {kind: name for kind, (name, _) in kept.items()} == {
        "car": "Lopsided",
        "bench": "Acted",
        "test": "acted push",
    }
    for kind, (_, text) in kept.items():
        assert text == (tmp_path / f"{kind}.toml").read_text()
    assert linked == 3
    assert titles == ["Lopsided"]


def test_a_table_is_read_by_its_heads(tmp_path: Path) -> None:
    table = tmp_path / "bounce.csv"
    frequency, decay = 3.0, 0.2  # Hz and damping ratio of a bounce written down by its formula, from memory
    swing = 2 * math.pi * frequency * math.sqrt(1 - decay**2)
    rows = ["frame, height_mm ,note,time_s"]
    for frame in range(60):
        at = 0.01 * frame
        height = 30 + 8 * math.exp(-decay * 2 * math.pi * frequency * at) * math.cos(swing * at)
        rows.append(f"{frame},{height:.6f},seen,{at:.3f}")
    table.write_text("\n".join([rows[0], "", *rows[1:]]) + "\n")
    told = pivotbench("moving", "rates", "bounce", table, "--json").result
    assert told["frequency_hz"]["value"] == pytest.approx(frequency, rel=0.02)
    assert told["damping_ratio"]["value"] == pytest.approx(decay, rel=0.05)
    table.write_text("\n".join([*rows[:3], "9,nan,seen,0.5"]))
    refused = pivotbench("moving", "rates", "bounce", table)
    assert refused.code == 2
    assert "line 4" in refused.err


def test_a_card_travels_whole_and_a_changed_one_is_refused(tmp_path: Path) -> None:
    car = write_cards(tmp_path, car={"geometry.wheelbase_mm": 251.5}).parent / "car.toml"
    sent = tmp_path / "sent.toml"
    assert pivotbench("new", "send", car, "--out", sent, "--from", "north bench").code == 0
    taken = pivotbench("new", "take", sent, tmp_path / "here")
    assert taken.code == 0, taken.err
    assert (tmp_path / "here" / "lopsided.toml").read_text() == car.read_text()
    assert "north bench" in taken.out
    assert "corner weights" in taken.out
    sent.write_text(sent.read_text().replace("251.5", "241.5"))
    refused = pivotbench("new", "take", sent, tmp_path / "there")
    assert refused.code == 2
    assert "changed on the way" in refused.err


def test_the_card_sheet_shows_what_differs(tmp_path: Path) -> None:
    base = write_cards(tmp_path / "base", car={"front.toe_deg": 1.5}).parent / "car.toml"
    parts = [{"name": "lead", "mass_g": 40.0, "x_mm": 125.0, "y_mm": -12.0}]
    now = {"front.toe_deg": -1.5, "geometry.cg_height_mm": 41, "masses.parts": parts, "name": "Lopsided, lead on"}
    car = write_cards(tmp_path / "now", car=now).parent / "car.toml"
    out = tmp_path / "sheet.html"
    assert pivotbench("new", "card", car, "--baseline", base, "--out", out).code == 0
    text = out.read_text()
    assert "Bold: 3 differences to Lopsided." in text
    bold = re.findall(r"<td><b>(.*?)</b></td><td><b>(.*?)</b></td>", text)
    assert ("geometry: cg height", "41 mm (was 35)") in bold
    assert ("front: toe", "−1.5 degrees (was 1.5)") in bold
    assert any("mass_g 40, x_mm 125, y_mm −12" in value and "(was none)" in value for _, value in bold)
    assert "geometry: track rear</td><td>180 mm" in text


def test_grip_in_words_is_told_with_95_per_cent(tmp_path: Path) -> None:
    test = write_cards(tmp_path, test=TYPED)
    words = ["grip", "pull", test, "--part", "rear", "--force", 3.0, "--force", 3.2, "--log", tmp_path / "log"]
    told = pivotbench(*words)
    result = records(tmp_path / "log", "grip")[0]["result"]
    half = 1.96 * result["value"] * result["relative_u"]
    assert f"rear grip (sliding) {3.1 / (0.6 * 9.80665):.3f} ± {half:.3f}" in told.out
    # two readings 0.2 N apart: 0.1 N on their mean; the string's 2° lift what it pulls with, grip times the angle;
    # the kitchen scale's 1 % at most either way (rectangular); 2 g of placing at each of two wheels of 600 g
    scale = math.hypot(0.01 / math.sqrt(3), 2 * math.sqrt(2) / 600)
    own = math.hypot(0.1 / 3.1, result["value"] * math.radians(2), scale)
    assert result["relative_u"] == pytest.approx(own, rel=0.01)
    assert result["front_weight"] == pytest.approx(0.625)
