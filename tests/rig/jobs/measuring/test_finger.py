"""A finger with a marker pushes a rendered car: what the log says of it, beside the card. Truth is plane geometry."""

import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from msgspec.structs import replace as replaced

from rig.base.errors import InputError
from rig.cards.read import CardSet, read_set
from rig.cards.template import card_text
from rig.jobs.measuring.finger import (
    OF_THE_CAR_ALONE,
    finger_notes,
    finger_record,
    finger_warnings,
    pushed_as_seen,
    worn_marker,
)
from rig.jobs.measuring.measure import Measurement, measure_clip, measured_clip
from rig.jobs.pushing.forecast import forecast
from rig.jobs.pushing.overlay import overlay_scene
from rig.jobs.record.recalculate import recalculate
from rig.jobs.series.evidence import clips_of_test
from rig.jobs.weighing.weights import weigh_typed
from rig.log.store import BenchLog
from rig.report.track import track_words
from vision.clip.overlay import overlay_still
from vision.markers.layouts import default_car, default_floor
from vision.render.camera import looking_at
from vision.render.filmed import Filming, Hand, Look, PushScene, WornMarker
from vision.render.push import render_push
from vision.tracking.finger import CAUSES, FingerPath

SIZE, WHEELBASE, FACE, STATION, POLE, TURN = (960, 540), 0.257, -0.095, 0.20, -0.05, 0.26
TIP = np.array([0.025, 0.0, -0.017])
EYE = looking_at(np.array([0.1, -0.80, 0.85]), np.array([0.03, 0.0, 0.0]), focal=1150.0, size=SIZE)


def bench(folder: Path, **test: object) -> CardSet:
    """Cards of this scene; the test card says that the finger pushed at 70 %."""
    folder.mkdir(parents=True, exist_ok=True)
    cards = {
        "car": {"plate.height_mm": 60.0, "plate.height_mm_u": 0.3, "plate.place_mm_u": 0.3},
        "bench": {
            "finger.tip_ahead_mm": 25.0,
            "finger.tip_ahead_mm_u": 0.5,
            "finger.tip_left_mm_u": 0.5,
            "finger.tip_below_mm": 17.0,
            "finger.tip_below_mm_u": 1.0,
        },
        "test": {"push.position_pct": 70.0, "typed.weights_g": [400.0, 390.0, 385.0, 385.0]}
        | {name.replace("__", "."): value for name, value in test.items()},
    }
    for card, keys in cards.items():
        (folder / f"{card}.toml").write_text(card_text(card, keys), encoding="utf-8")
    return read_set(folder / "test.toml")


def pushed(time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n, 3) poses of a swing about POLE, and (n, 2) tips: from afar, then straight on, in touch with the face."""
    share = np.clip((time - 0.6) / 0.8, 0.0, 1.0)
    yaw = TURN * 0.5 * (1 - np.cos(np.pi * share))
    pole = np.array([-WHEELBASE / 2 + POLE, -0.02])
    pose = np.column_stack([pole[0] - POLE * np.cos(yaw), pole[1] - POLE * np.sin(yaw), yaw])
    # The face is the line y = FACE of the car; the finger moves along x = const of the floor.
    x = pose[0, 0] + STATION
    along = (x - pose[:, 0] + FACE * np.sin(yaw)) / np.cos(yaw)
    touch = pose[:, 1] + np.sin(yaw) * along + FACE * np.cos(yaw)
    back = 0.12 * np.clip(0.6 - time, 0.0, None)
    return pose, np.column_stack([np.full(len(time), x), touch - back])


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Measurement, CardSet, BenchLog]]:
    folder = tmp_path_factory.mktemp("finger")
    time = np.arange(0.0, 2.01, 0.005)
    pose, tip = pushed(time)
    hand = Hand(
        tip=tip,
        outward=np.array([-0.2, -1.0]),
        height=0.008,
        worn=WornMarker(
            dictionary=default_floor().dictionary, id=20, size=0.030, tip=TIP, attitude=np.array([1.4, 0.05, 0.12])
        ),
    )
    render_push(
        folder / "push.avi",
        PushScene(
            time=time,
            pose=pose,
            floor=default_floor(),
            car=default_car(WHEELBASE, height=0.060),
            hand=hand,
            outline=np.array([[-0.08, FACE], [0.33, FACE], [0.33, -FACE], [-0.08, -FACE]]),
        ),
        Filming(camera=EYE, size=SIZE, fps=15.0, look=Look(noise=1.0), samples=2),
        np.random.default_rng(8),
    )
    cards = bench(folder)
    with BenchLog(folder / "log") as log:
        yield measure_clip(folder / "push.avi", cards, log), cards, log


def test_the_log_holds_station_side_and_direction_beside_the_card(
    seen: tuple[Measurement, CardSet, BenchLog],
) -> None:
    measured, _, log = seen
    row = log.get(measured.record.id).result.finger[0]
    truth = 100 * STATION / WHEELBASE
    assert row.station_pct == pytest.approx(truth, abs=1.96 * row.station_u_pct)
    # 0.5 mm of the tip and 0.3 mm of the plate are 0.23 %; the rest is corners and tilt.
    assert 0.2 < row.station_u_pct < 0.4
    assert row.card_pct == 70.0
    assert row.side == "right"
    assert row.direction_deg == pytest.approx(0.0, abs=1.96 * row.direction_u_deg)
    assert row.path == "straight on the floor"
    # Against a fixed floor line the face slips back under the finger: cos and sin of the turn, by hand.
    pole = STATION - POLE
    met = POLE + (pole + FACE * np.sin(TURN)) / np.cos(TURN)
    assert row.slip_mm == pytest.approx(1e3 * (met - STATION), abs=1.0)
    assert row.parts_mm["fingertip left"] == pytest.approx(-0.5, abs=0.1)  # its left points to the rear
    assert set(row.parts_mm) == {*OF_THE_CAR_ALONE, *CAUSES}  # every one of them is a cause that tracking knows


def test_the_finger_keeps_the_moments_of_its_pictures_where_their_times_are_noted(
    seen: tuple[Measurement, CardSet, BenchLog], tmp_path: Path
) -> None:
    """The same pictures, taken every 40 and 70 ms in turn: where the finger touched is geometry and stays."""
    measured, cards, _ = seen
    clip = tmp_path / "noted.avi"
    shutil.copy(measured.clip, clip)
    moment = np.concatenate([[0.0], np.cumsum(np.tile([0.04, 0.07], 99)[: measured.track.frames_read - 1])])
    pictures = [{"time_s": 30.0 + t, "device_time_s": None} for t in moment]
    clip.with_suffix(".times.json").write_text(json.dumps({"pictures": pictures}), encoding="utf-8")
    noted = measured_clip(clip, cards)
    assert noted.pushes[0].end_time < 0.9 * measured.pushes[0].end_time  # 55 ms a picture instead of 67
    assert noted.finger is not None
    assert np.abs(np.subtract.outer(noted.finger.time, moment)).min(axis=1).max() < 1e-9
    row = noted.result.finger_row(1)
    assert row is not None
    assert row.station_pct == pytest.approx(100 * STATION / WHEELBASE, abs=1.96 * row.station_u_pct)
    assert row.direction_deg == pytest.approx(0.0, abs=1.96 * row.direction_u_deg)
    met = POLE + (STATION - POLE + FACE * np.sin(TURN)) / np.cos(TURN)  # as above, by hand
    assert row.slip_mm == pytest.approx(1e3 * (met - STATION), abs=1.0)


def test_card_and_marker_are_said_side_by_side_with_a_warning(seen: tuple[Measurement, CardSet, BenchLog]) -> None:
    measured, _, _ = seen
    told = track_words(measured)
    assert "by the finger marker, 70.0 ± 1.0 % by the card; the forecast goes by the card" in told
    assert "standard uncertainties apart" in told
    row = measured.record.result.finger[0]
    assert finger_warnings({1: replaced(row, sigmas=1.9)}, 30.0) == []
    assert "on the left" in finger_warnings({1: replaced(row, side="left")}, 30.0)[0]
    assert "off square" in finger_warnings({1: replaced(row, sigmas=0.0, direction_deg=9.0)}, 30.0)[0]
    assert "stays on the car" in finger_warnings({1: replaced(row, sigmas=0.0, path="stays on the car")}, 30.0)[0]
    assert "larger one" in finger_warnings({1: None}, 12.0)[0]


def test_a_finger_is_told_with_95_percent_and_the_way_it_slipped(
    seen: tuple[Measurement, CardSet, BenchLog],
) -> None:
    measured, cards, _ = seen
    shown = replaced(
        measured.record.result.finger[0],
        station_pct=61.0,
        station_u_pct=0.5,
        side="right",
        direction_deg=-2.0,
        direction_u_deg=0.8,
        bend_deg=1.0,
        slip_mm=-4.2,
    )
    path = FingerPath(
        time=np.zeros(1),
        tip=np.zeros((1, 2)),
        covariance=np.zeros((1, 2, 2)),
        tilt=np.zeros((1, 2)),
        tilt_u=np.zeros((1, 2)),
    )
    note = finger_notes(path, worn_marker(cards, default_floor()), {2: shown}, 33.0)[-1]
    assert note.startswith("Push 2: pushed at 61.0 ± 1.0 % by the finger marker")  # 1.96 standard uncertainties
    assert "on the right, -2.0 ± 1.6° off square" in note
    assert "went straight and slipped 4.2 mm backwards along the car" in note


@pytest.mark.thorough
def test_the_forecast_goes_by_the_marker_when_asked_and_comes_out_the_same_again(
    seen: tuple[Measurement, CardSet, BenchLog], tmp_path: Path
) -> None:
    measured, cards, log = seen
    rows = measured.record.result.finger
    assert pushed_as_seen(cards, rows[0], 1) is cards
    asked = bench(tmp_path / "asked", push__position_from="finger marker")
    by_marker = pushed_as_seen(asked, rows[0], 1)
    assert by_marker.test.push.position_pct == rows[0].station_pct
    assert by_marker.test.push.position_pct_u == rows[0].station_u_pct
    with pytest.raises(InputError, match="does not show where"):
        pushed_as_seen(asked, None, 1)
    weighing = weigh_typed(asked, log)
    first, second = (forecast(one, weighing, log, turn=0.26, draws=200) for one in (asked, by_marker))
    # Farther from the balance point a push turns the car more.
    assert first.prediction.estimate.kappa < second.prediction.estimate.kappa
    again = recalculate(log)
    assert again.differing == ()
    assert again.same >= 3
    assert clips_of_test(cards, log).pushes[-1].cards.test.push.position_pct == 70.0


def test_the_overlay_shows_the_finger_s_path(seen: tuple[Measurement, CardSet, BenchLog], tmp_path: Path) -> None:
    measured, cards, _ = seen
    still, push = tmp_path / "still.png", measured.pushes[0]
    scene = overlay_scene(measured, push, cards, "Dunlin")
    overlay_still(measured.clip, still, scene, at=push.end_time)
    picture = cv2.imread(str(still))
    assert picture is not None
    pink = np.all(np.abs(picture.astype(int) - (167, 121, 204)) < 12, axis=-1)
    rows = np.flatnonzero(pink[:-120].any(axis=1))
    # It went 65 mm up the picture, which shows about 0.9 px a millimetre, and is cut to the sheets.
    assert np.ptp(rows) > 25


def test_a_number_that_is_taken_is_refused(seen: tuple[Measurement, CardSet, BenchLog], tmp_path: Path) -> None:
    cards = bench(tmp_path / "taken")
    text = cards.texts["bench"].replace("id = 20 ", "id = 12 ")
    (tmp_path / "taken" / "bench.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="marker 12"):
        worn_marker(read_set(tmp_path / "taken" / "test.toml"), default_floor())
    without = replace(cards, bench=read_set(tmp_path / "taken" / "test.toml").bench)
    assert finger_record([None], (), without) == (None,)
