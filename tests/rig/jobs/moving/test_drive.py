"""A filmed steady circle: from rendered pictures to radius, speed, slide angle and the model beside them."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from analysis.moving.floor_drive import SteadyDrive
from rig.base.errors import InputError
from rig.cards.measures import car_markers, floor_layout
from rig.cards.read import CardSet, read_set
from rig.cards.template import card_text
from rig.command.moving.drive import command
from rig.jobs.measuring.clip_times import ClipTimes
from rig.jobs.moving.drive import Model, drive_beside_model, drive_record, model_at, time_notes
from rig.log.store import BenchLog
from rig.report.other_records import WORDS
from vision.render.camera import looking_at
from vision.render.filmed import Filming, PushScene
from vision.render.push import render_push

SPRINGS = {"chassis.front.spring_n_per_mm": 1.0, "chassis.rear.spring_n_per_mm": 0.9}
G = 9.80665


def cards_in(folder: Path, *, springs: bool = True, weights: bool = True) -> CardSet:
    """Car, bench and test card of the workshop's car."""
    (folder / "car.toml").write_text(card_text("car", SPRINGS if springs else {}))
    (folder / "bench.toml").write_text(card_text("bench"))
    typed = {"typed.weights_g": [400.0, 400.0, 420.0, 420.0]} if weights else {}
    (folder / "test.toml").write_text(card_text("test", typed))
    return read_set(folder / "test.toml")


def circle(radius: float, speed: float, slide: float, seconds: float, station: float) -> tuple[np.ndarray, np.ndarray]:
    """Poses of a left-hand circle that the point at `station`, m, follows; the nose points inward by `slide`, rad."""
    t = np.arange(0, seconds, 1 / 60)
    course = speed / radius * t
    spot = radius * np.stack([np.sin(course), -np.cos(course)], -1)
    yaw = course + slide
    origin = spot - station * np.stack([np.cos(yaw), np.sin(yaw)], -1)
    return t, np.column_stack([origin, yaw])


@pytest.mark.thorough
def test_a_filmed_circle_is_read_from_the_pictures(tmp_path: Path) -> None:
    cards = cards_in(tmp_path)
    station = 0.257 * 800 / 1640
    t, pose = circle(0.12, 0.15, 0.3, 3.0, station)
    floor = floor_layout(cards.bench)
    clip = tmp_path / "circle.avi"
    render_push(
        clip,
        PushScene(time=t, pose=pose, floor=floor, car=car_markers(cards.car, dictionary=floor.dictionary)),
        Filming(
            camera=looking_at(np.array([0.0, -0.25, 1.3]), np.zeros(3), focal=1000.0, size=(1280, 720)),
            size=(1280, 720),
            fps=15.0,
            samples=1,
        ),
        np.random.default_rng(1),
    )
    asked = [str(tmp_path / "test.toml"), "--clip", str(clip), "--log", str(tmp_path / "log"), "--json"]
    ran = CliRunner().invoke(command, asked)
    assert ran.exit_code == 0, ran.output
    told = json.loads(ran.output)
    # by construction; nobody measured the printed bars (± 3 %), so lengths are known to one or two per cent
    for name, truth in (("radius_m", 0.12), ("speed_m_s", 0.15), ("slide_angle_deg", -np.degrees(0.3))):
        assert told[name] == pytest.approx(truth, rel=3e-3)
        assert abs(told[name] - truth) < 1.96 * told[name.replace("_m", "_u_m").replace("_deg", "_u_deg")]
    assert 0.01 < told["radius_u_m"] / 0.12 < 0.03
    assert told["ay_m_s2"] == pytest.approx(0.15**2 / 0.12 * np.cos(0.3), rel=0.03)
    # rotation centre: the circle's centre, seen from the car
    assert told["pivot_m"] == pytest.approx([station + 0.12 * np.sin(0.3), 0.12 * np.cos(0.3)], abs=0.004)
    assert told["model"]["balance_pct"] == pytest.approx(100 * 800 / 1640, abs=0.5)
    with BenchLog(tmp_path / "log") as log:
        (record,) = log.records(kind="drive")
    assert WORDS["drive"](record).startswith("0.150 ± 0.00")


def test_the_model_stands_beside_the_drive_or_says_why_not(tmp_path: Path) -> None:
    cards = cards_in(tmp_path)
    load = np.array([0.4, 0.4, 0.42, 0.42]) * G
    t, pose = circle(0.8, 1.9, 0.35, 5.0, 0.257 * 800 / 1640)
    _, still, model, why = drive_beside_model(t, pose, cards, load)
    assert still.ay == pytest.approx(1.9**2 / 0.8 * np.cos(0.35), rel=0.01)
    assert model is not None
    assert why == ""
    assert model.grip_used == pytest.approx(still.ay / (0.8 * G), rel=0.02)  # mu m g (statics); load sensitivity small
    assert model.roll > 0  # a left turn lifts the left side

    assert still.model_balance == pytest.approx(model.balance)
    assert model_at(cards, load, 40.0).rolls_over
    assert "no weights" in drive_beside_model(t, pose, cards, None)[3]
    bare = tmp_path / "bare"
    bare.mkdir()
    assert "[chassis]" in drive_beside_model(t, pose, cards_in(bare, springs=False), load)[3]
    with pytest.raises(InputError, match="ends before it begins"):
        drive_beside_model(t, pose, cards, load, stretch=(3.0, 2.0))


def test_the_grip_that_is_used_is_counted_on_the_move(tmp_path: Path) -> None:
    """An even car on stiff springs: each axle moves d = ay h / (g t / 2) of a wheel's load outward, by statics.

    Grip falls by q for each share of load above the quarter, so that an axle's holds 1 - q d² of what it held at rest.
    """
    keys = {"chassis.load_sensitivity": 0.5, "geometry.cg_height_mm": 40.0}
    stiff = {f"chassis.{end}.{key}": 20.0 for end in ("front", "rear") for key in ("spring_n_per_mm", "tyre_n_per_mm")}
    tracks = {f"geometry.track_{end}_mm": 160.0 for end in ("front", "rear")}
    cards = cards_in(tmp_path)
    (tmp_path / "car.toml").write_text(card_text("car", SPRINGS | keys | stiff | tracks))
    cards = read_set(tmp_path / "test.toml")
    model = model_at(cards, np.full(4, 0.4 * G), 0.6 * G)
    moved = 0.6 * 40.0 / 80.0
    assert model.grip_used == pytest.approx(0.6 / (cards.test.grip.front * (1 - 0.5 * moved**2)), rel=2e-3)


def test_a_record_of_a_drive_has_degrees_and_per_cents() -> None:
    even = Model(balance=0.1, balance_rest=0.12, roll=0.02, grip_used=0.7, rolls_over=False)
    drive = SteadyDrive(
        speed=1.9,
        speed_u=0.02,
        radius=0.8,
        radius_u=0.03,
        slide_angle=0.35,
        slide_angle_u=0.004,
        ay=4.2,
        ay_u=0.05,
        pivot=np.array([0.15, 0.7]),
        pivot_u=np.array([0.003, 0.006]),
        model_balance=0.1,
        notes=(),
    )
    row = drive_record(drive, even, 0.25)
    assert row.model is not None
    assert (row.model.balance_pct, row.model.balance_rest_pct) == pytest.approx((40.0, 48.0))
    assert row.model.roll_deg == pytest.approx(1.1459, rel=1e-4)  # 0.02 × 180 / π
    assert (row.slide_angle_deg, row.slide_angle_u_deg) == pytest.approx((20.0535, 0.22918), rel=1e-4)
    assert row.pivot_pct == pytest.approx(60.0)
    assert (*row.pivot_m, *row.pivot_u_m) == pytest.approx((0.15, 0.7, 0.003, 0.006))


def test_what_a_drives_figures_hang_on_is_told_where_nobody_said_the_rate() -> None:
    assert time_notes(ClipTimes(slower=1.0, known=True, note="")) == ()
    taken = "Taken at 240 pictures a second and stored to be played at 30, by the test card"
    assert time_notes(ClipTimes(slower=8.0, known=True, note=taken)) == (taken,)
    [note] = time_notes(ClipTimes(slower=1.0, known=False, note="Times are the file's own (30 a second). Was it slow?"))
    assert note.startswith("Times are the file's own (30 a second). Speed goes with the rate")
    assert "side acceleration with its square" in note
    [doubt] = time_notes(ClipTimes(slower=1.0, known=False, note="A. B", doubt="dim light, or slow motion?"))
    assert doubt.startswith("dim light, or slow motion?")
