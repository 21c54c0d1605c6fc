"""Clips whose pictures have times of their own: the device's clock, else the host's, else the container's even rate.

One slow turn is shown in pictures that were taken at uneven moments. Truth: the moments and poses dictated here;
speeds, accelerations and forces from them by hand.
"""

import json
import math
import re
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from rig.virtual.push_truth import simulate_push
from rig.virtual.pushed_car import FingerPush, PushedCar
from tests.values.clips_rendered import (
    FACE,
    WHEELBASE,
    film,
    floor_printed,
    plate_printed,
    records,
    told,
    told_json,
    write_cards,
)

pytestmark = pytest.mark.thorough

PICTURES, CONTAINER = 50, 15.0
BEGIN, END, PIVOT, TURN = 0.75, 1.75, -0.050, -0.26
G = 9.80665
GRAMS = np.array([420.0, 380.0, 400.0, 360.0])
CONTACTS = np.array([[0.25, 0.08], [0.25, -0.08], [0.0, 0.075], [0.0, -0.075]])
SLOWER = 1.25
"""The host's clock, where the device tells no time, runs so much more."""


def device_time() -> np.ndarray:
    """(n,) s, every 40 and 60 ms in turn: the container believes in 67."""
    return np.concatenate([[0.0], np.cumsum(np.tile([0.04, 0.06], PICTURES)[: PICTURES - 1])])


def yaw_at(moment: np.ndarray) -> np.ndarray:
    share = np.clip((moment - BEGIN) / (END - BEGIN), 0.0, 1.0)
    return TURN * 0.5 * (1 - np.cos(math.pi * share))


def notes(path: Path, *, device: bool) -> None:
    """What a recorder notes beside a clip: its own waiting clock, and the device's where it has one."""
    moment = device_time()
    rows = [
        {"number": 40 + k, "time_s": 500.0 + SLOWER * t, "device_time_s": 7.0 + t if device else None}
        for k, t in enumerate(moment)
    ]
    path.write_text(json.dumps({"pictures": rows}), encoding="utf-8")


@dataclass(frozen=True)
class Scene:
    """The same clip three times. device, host: results of compare, with their records."""

    folder: Path
    device: dict[str, Any]
    host: dict[str, Any]


def cards(folder: Path, name: str, *, wheelbase: float = 250.0, clip: str = "", pct: float = 75.0, **car: Any) -> Path:
    return write_cards(
        folder,
        car={
            "": {"name": f"Wren of {wheelbase:g}"},
            "geometry": {
                "wheelbase_mm": wheelbase,
                "track_front_mm": 160.0,
                "track_rear_mm": 150.0,
                "body_front_mm": 70.0,
                "body_rear_mm": 85.0,
                "body_width_mm": 190.0,
            },
            "plate": {"height_mm": 62.0, "height_mm_u": 0.3, "middle_pct": 100 * 0.11 / (wheelbase / 1000)},
        }
        | car,
        bench={"": {"name": "Narrow"}, "camera": {"readout_ms": 0.0}},
        test={
            "": {"name": name, "clip": clip},
            "push": {"position_pct": pct, "side": "left", "height_mm": 1.0},
            "grip": {"front": 0.9, "rear": 0.7, "measured": True},
            "typed": {"weights_g": GRAMS.tolist()},
        },
    )


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    folder = tmp_path_factory.mktemp("times")
    yaw = yaw_at(device_time())
    pole = np.array([-0.120 + PIVOT, 0.02])
    pose = np.column_stack([pole - PIVOT * np.stack([np.cos(yaw), np.sin(yaw)], axis=-1), yaw])
    film(
        folder / "device.avi",
        np.arange(PICTURES) / CONTAINER,
        pose,
        floor=floor_printed(),
        car=plate_printed(0.110),
        fps=CONTAINER,
    )
    for other in ("host", "even"):
        shutil.copy(folder / "device.avi", folder / f"{other}.avi")
    notes(folder / "device.times.json", device=True)
    notes(folder / "host.times.json", device=False)
    results = []
    for name, pct, car in (("device", 75.0, {"masses": {"yaw_inertia_kgm2": 0.05}}), ("host", 90.0, {})):
        test = cards(folder / name, name, pct=pct, **car)
        results.append(told_json(["push", test, "--clip", folder / f"{name}.avi", "--log", folder / "log"]))
    return Scene(folder=folder, device=results[0], host=results[1])


def found(scene: Scene, title: str, kind: str = "push") -> dict[str, Any]:
    [record] = [one for one in records(scene.folder / "log", kind) if one["title"] == title]
    result: dict[str, Any] = record["result"]
    return result


@pytest.mark.parametrize(("title", "pace"), [("device", 1.0), ("host", SLOWER)])
def test_times_are_the_devices_and_else_the_hosts(scene: Scene, title: str, pace: float) -> None:
    """A raised cosine: highest rate pi / 2 times the mean one, over (L/2 - station) of arm."""
    [row] = found(scene, title)["pushes"]
    speed = 1000 * (WHEELBASE / 2 - PIVOT) * abs(TURN) * math.pi / 2 / (END - BEGIN)
    assert row["peak_speed_mm_s"] * pace == pytest.approx(speed, rel=0.015)
    assert abs(row["peak_speed_mm_s"] * pace - speed) < 1.96 * row["peak_speed_u_mm_s"] * pace < 0.1 * speed
    # the slide is found between its dictated ends, and symmetric in them; counted from the first picture
    assert BEGIN - 0.13 < row["start_s"] / pace < BEGIN + 0.13
    assert row["start_s"] / pace + row["end_s"] / pace == pytest.approx(BEGIN + END, abs=0.11)
    pictures = device_time()
    for key in ("start_s", "end_s"):
        assert np.abs(pictures - row[key] / pace).min() < 1e-3  # it is a picture's own moment
    assert row["turn_deg"] == pytest.approx(math.degrees(TURN), abs=0.05)
    assert row["travel_mm"] == pytest.approx(2000 * (WHEELBASE / 2 - PIVOT) * math.sin(TURN / 2), abs=0.4)


def by_hand(pace: float, yaw_inertia: float) -> tuple[float, float]:
    """Largest inertia over what friction holds, and highest kinetic energy over friction's work.

    Newton: m a and I alpha against the sum of mu N and of mu N times its arm about the centre of gravity.
    """
    load = GRAMS * G / 1000
    hold = load * np.array([0.9, 0.9, 0.7, 0.7])
    mass, cg = load.sum() / G, (load[:, None] * CONTACTS).sum(0) / load.sum()
    reach = (hold * np.hypot(*(CONTACTS - cg).T)).sum()
    alpha = abs(TURN) / 2 * (math.pi / (END - BEGIN) / pace) ** 2
    arm = math.hypot(cg[0] - PIVOT, cg[1])
    rate = abs(TURN) / 2 * math.pi / (END - BEGIN) / pace
    ratio = math.hypot(mass * alpha * arm / hold.sum(), yaw_inertia * alpha / reach)
    way = 2 * math.sin(abs(TURN) / 2) * np.hypot(*(CONTACTS - [PIVOT, 0.0]).T)
    energy = 0.5 * (mass * (rate * arm) ** 2 + yaw_inertia * rate**2) / (hold * way).sum()
    return ratio, energy


def test_quickness_is_inertia_over_friction_of_this_car(scene: Scene) -> None:
    mass = GRAMS.sum() / 1000
    outline = mass * ((0.250 + 0.070 + 0.085) ** 2 + 0.190**2) / 12  # a flat rectangle, from memory
    for title, pace, inertia in (("device", 1.0, 0.05), ("host", SLOWER, outline)):
        ratio, energy = by_hand(pace, inertia)
        verdict = found(scene, title, "comparison")
        # the acceleration is highest where it begins, at once: no picture shows that moment, the ± says so
        stated = verdict["inertia_over_friction_u"]
        assert abs(verdict["inertia_over_friction"] - ratio) < 2 * stated < 0.25 * ratio
        assert verdict["kinetic_over_friction_work"] == pytest.approx(energy, rel=0.02)


def test_which_forecast_applies_depends_on_how_far_from_the_balance_point_it_was(scene: Scene) -> None:
    """Balance point by statics: front grip 720 of 1252, 57.5 %; 75 % is 17 points away, 90 % is 32."""
    near, far = found(scene, "device", "comparison"), found(scene, "host", "comparison")
    assert found(scene, "device", "prediction")["balance_pct"] == pytest.approx(100 * 720 / 1252, abs=0.1)
    assert near["forecast_that_applies"] == "dynamic"
    assert far["forecast_that_applies"] == "quasi-static"
    assert "dynamic_kappa_per_m" not in far or far["dynamic_kappa_per_m"] is None


def test_the_dynamic_forecast_is_what_newton_says_of_the_same_push(scene: Scene) -> None:
    """Held against the time integration of the virtual bench, which shares nothing with the forecast.

    The car runs on when the finger slows down, so the finger goes less far than the touched place was seen to go.
    """
    load = GRAMS * G / 1000
    cg = (load[:, None] * CONTACTS).sum(0) / load.sum()
    arm = 0.25 * WHEELBASE  # pushed at 75 %, from the middle
    advance = 2 * math.sin(abs(TURN) / 2) * (WHEELBASE / 2 - PIVOT + arm)
    speed = abs(TURN) * math.pi / 2 / (END - BEGIN) * (WHEELBASE / 2 - PIVOT + arm)
    car = PushedCar(
        contacts=CONTACTS,
        loads=load,
        grip=np.array([0.9, 0.9, 0.7, 0.7]),
        drag=np.ones(4),
        mass=load.sum() / G,
        yaw_inertia=0.05,
        cg=cg,
        heading=np.zeros(4),
    )

    def pushed(distance: float) -> tuple[float, float]:
        """kappa, and how far the touched place went."""
        finger = FingerPush(
            station=0.75 * WHEELBASE, side_y=FACE, speed=speed, distance=distance, ramp=0.1 * advance / speed
        )
        moved = simulate_push(car, finger, rate=100.0, tolerance=1e-6)
        first, last = moved.pose[0], moved.pose[-1]
        heading = (first[2] + last[2]) / 2
        middle = [pose[:2] + WHEELBASE / 2 * np.array([math.cos(pose[2]), math.sin(pose[2])]) for pose in (first, last)]
        sideways = (middle[1] - middle[0]) @ np.array([-math.sin(heading), math.cos(heading)])
        turn = 2 * math.sin((last[2] - first[2]) / 2)
        return turn / sideways, abs(sideways + turn * arm)

    farther = pushed(advance)[1] - advance
    kappa, gone = pushed(advance - farther)
    assert gone == pytest.approx(advance, rel=0.005)
    assert found(scene, "device", "comparison")["dynamic_kappa_per_m"] == pytest.approx(kappa, rel=0.005)


def test_slow_motion_is_measured_in_true_times(scene: Scene) -> None:
    """Stored at 15 pictures a second, taken at 60: by hand, a picture is 1/60 s, whatever the file says."""
    test = cards(scene.folder / "slow", "slow")
    test.write_text("captured_frames_per_s = 60.0\n" + test.read_text())
    row, words = measured_slowly(scene, test)
    yaw = yaw_at(device_time())
    middle = (WHEELBASE / 2 - PIVOT) * np.stack([np.cos(yaw), np.sin(yaw)], axis=-1)
    steps = np.hypot(*np.diff(middle, axis=0).T) * 1000 * 60
    pairs = (steps[1:] + steps[:-1]) / 2  # 40 and 60 ms in turn, stored evenly: what the smoothing sees
    assert 0.88 * pairs.max() < row["peak_speed_mm_s"] < 1.01 * pairs.max()
    moved = np.flatnonzero(np.abs(np.diff(yaw)) > 0)
    for key, picture in (("start_s", moved[0]), ("end_s", moved[-1] + 1)):
        assert row[key] * 60 == pytest.approx(round(row[key] * 60), abs=1e-3)
        assert row[key] * 60 == pytest.approx(picture, abs=3)
    assert any("4 times shorter" in note for note in words["notes"])


def test_a_push_slower_than_hands_is_asked_about(scene: Scene) -> None:
    """The same pictures from a container that plays 0.5 a second: the car crawls, and nobody said why."""
    clip = scene.folder / "crawl.avi"
    source, out = cv2.VideoCapture(str(scene.folder / "even.avi")), None
    while (got := source.read())[0]:
        out = out or cv2.VideoWriter(str(clip), cv2.VideoWriter.fourcc(*"MJPG"), 1.0, got[1].shape[1::-1])
        out.write(got[1])
    assert out is not None
    out.release()
    test = cards(scene.folder / "crawl", "crawl", clip=str(clip))
    [row] = told_json(["push", "measure", test, "--log", scene.folder / "log"])["pushes"]
    track = found(scene, "crawl")["track"]
    assert row["peak_speed_mm_s"] < 10
    assert any("slow motion" in warning for warning in track["warnings"])
    assert "slow motion" not in " ".join(found(scene, "device")["track"]["warnings"])


def measured_slowly(scene: Scene, test: Path) -> tuple[dict[str, Any], dict[str, Any]]:
    """The one push of the even clip under this card, and what is noted of its track."""
    result = told_json(["push", "measure", test, "--clip", scene.folder / "even.avi", "--log", scene.folder / "log"])
    [row] = result["pushes"]
    return row, result["track"]


@pytest.mark.parametrize(("rate", "says"), [(12.0, "plays 15"), (0.5, "at least|>= 1")])
def test_rates_that_no_clip_has_are_refused(scene: Scene, rate: float, says: str) -> None:
    test = cards(scene.folder / "wrong", "wrong")
    test.write_text(f"captured_frames_per_s = {rate}\n" + test.read_text())
    told_wrong = told(
        ["push", "measure", test, "--clip", scene.folder / "even.avi", "--log", scene.folder / "log"], code=2
    )
    assert re.search(says, told_wrong)


def test_times_that_do_not_belong_to_the_clip_are_refused(scene: Scene, tmp_path: Path) -> None:
    clip = tmp_path / "short.avi"
    shutil.copy(scene.folder / "even.avi", clip)
    notes(tmp_path / "short.times.json", device=True)
    rows = json.loads((tmp_path / "short.times.json").read_text())["pictures"]
    (tmp_path / "short.times.json").write_text(json.dumps({"pictures": rows[1:]}))
    complaint = told(["push", "measure", cards(tmp_path, "short"), "--clip", clip, "--log", tmp_path / "log"], code=2)
    assert "49 times for 50 pictures" in complaint


@pytest.fixture(scope="module")
def batch(scene: Scene) -> tuple[Path, dict[str, Any]]:
    """Two cards of two cars with one clip each, one card without a clip to be read, in a plan."""
    folder = scene.folder / "term"
    cards(folder / "b", "long car", wheelbase=262.0, clip="../../device.avi", pct=60.0)
    cards(folder / "a", "short car", wheelbase=240.0, clip="../../even.avi", pct=40.0)
    cards(folder / "c", "no clip", clip="gone.avi")
    (folder / "plan.csv").write_text("number,test\n1,b/test.toml\n2,a/test.toml\n3,c/test.toml\n", encoding="utf-8")
    log = folder / "log"
    complaint = told(["push", "folder", folder / "plan.csv", "--workers", "1", "--log", log], code=1)
    assert "1 of 3 tests could not be measured" in complaint
    assert "no clip: " in complaint
    (folder / "plan.csv").write_text("test\nb/test.toml\na/test.toml\n", encoding="utf-8")
    with (scene.folder / "even.avi").open("ab") as clip:  # filmed anew, for all that a batch can know
        clip.write(b"\0")
    return folder, told_json(["push", "folder", folder / "plan.csv", "--workers", "1", "--log", log])


def test_each_clip_of_a_batch_is_measured_with_its_own_cards(batch: tuple[Path, dict[str, Any]]) -> None:
    folder, again = batch
    rows = {one["title"]: one["result"]["pushes"] for one in records(folder / "log", "push")}
    assert set(rows) == {"long car", "short car"}
    for title, length in (("long car", 0.262), ("short car", 0.240)):
        [row] = rows[title]
        assert row["pivot"]["wheelbase_m"] == length
        assert row["pivot"]["kappa_per_m"] == pytest.approx(1 / (length / 2 - PIVOT), rel=0.012)
        assert row["turn_deg"] == pytest.approx(math.degrees(TURN), abs=0.05)
    assert (again["known"], again["failed"], len(again["records"])) == (["long car"], {}, 1)
    assert [one["title"] for one in records(folder / "log", "push")].count("short car") == 2


def test_without_noted_times_the_containers_even_rate_counts(batch: tuple[Path, dict[str, Any]]) -> None:
    """Pictures every 50 ms on average are shown every 66.7: the slide lasts a third longer."""
    folder, _ = batch
    rows = {one["title"]: one["result"]["pushes"][0] for one in records(folder / "log", "push")}
    even, noted = rows["short car"], rows["long car"]
    assert even["start_s"] * CONTAINER == pytest.approx(round(even["start_s"] * CONTAINER), abs=1e-3)
    assert (even["start_s"] + even["end_s"]) / 2 == pytest.approx((BEGIN + END) / 2 / 0.05 / CONTAINER, abs=0.07)
    assert noted["start_s"] + noted["end_s"] == pytest.approx(BEGIN + END, abs=0.11)
