"""The live camera: a rendered clip played in real time stands for the device; pre-roll, stop at rest, losses told."""

import json
import os
import shutil
import threading
import time
from pathlib import Path

import cv2
import numpy as np
import pytest

from rig.base.errors import BenchError
from rig.camera.recorder import PushRecorder
from rig.camera.source import CameraReader, TimedPicture, list_cameras, open_camera
from rig.cards.measures import car_markers, floor_layout
from rig.cards.read import CardSet, read_set
from rig.jobs.measuring.clip_times import first_picture
from rig.jobs.measuring.measure import measure_clip
from rig.jobs.pushing import film as filming
from rig.jobs.pushing.film import LiveLook, Onlookers, film_push
from rig.log.store import BenchLog
from rig.pads.force_file import beside, read_force
from rig.virtual import bench, dunlin
from rig.virtual.pads import VirtualPads
from tests.faults.played_camera import PlayedClip
from vision.clip.live_advice import MovementWatch, judge_picture


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> tuple[CardSet, Path]:
    """Cards and a rendered push of the virtual bench."""
    folder = tmp_path_factory.mktemp("film")
    setup = dunlin.SETUPS[0]
    cards = read_set(bench.write_cards(folder, setup, (85.0,))[0])
    bench.film_virtual_push(cards, dunlin.draw_truth(setup, np.random.default_rng(1)), folder / "push.avi", seed=1)
    return cards, folder / "push.avi"


@pytest.mark.thorough
def test_a_push_is_recorded_from_before_it_moved_until_it_rests(filmed: tuple[CardSet, Path], tmp_path: Path) -> None:
    cards, clip = filmed
    looks, told = list[LiveLook](), list[str]()
    with VirtualPads(seed=1, rate=80, finger=lambda t: 500_000.0 if 1.0 < t < 2.0 else 9_000.0) as pads:
        kept = film_push(
            cards,
            tmp_path,
            Onlookers(say=looks.append, told=told.append),
            opener=lambda _: PlayedClip(clip),
            force_port=pads.url,
        )
    assert kept.lost == 0
    # the finger's force lies beside it, on the clock of its pictures, until a second after the finger has left
    force, first = read_force(beside(kept.clip)), first_picture(kept.clip)
    assert force.host
    assert first is not None
    assert abs(force.time[0] - first) < 1.0
    assert force.time[-1] > first + kept.seconds + 0.9
    assert force.counts[-1] == 9_000.0
    assert told[-1].endswith(beside(kept.clip).name)
    assert not list(tmp_path.glob("*.part*"))
    assert not looks[0].moving
    assert any(look.recording for look in looks)
    assert looks[0].judgement.floor_seen == 6
    assert looks[0].judgement.car_seen == 4
    with BenchLog(tmp_path / "log") as log:
        live, whole = measure_clip(kept.clip, cards, log), measure_clip(clip, cards, log)
    # the same push, recorded again: the pivot agrees within the two stated uncertainties
    a, b = live.pushes[0].estimate, whole.pushes[0].estimate
    assert abs(a.kappa - b.kappa) < 3 * np.hypot(a.kappa_u, b.kappa_u)
    assert live.pushes[0].start_time > 0.4  # there is rest before the movement
    # times come from the recorder's notes, not from the container's even rate
    assert live.pushes[0].peak_speed == pytest.approx(whole.pushes[0].peak_speed, rel=0.2)


def blank(number: int) -> TimedPicture:
    return TimedPicture(number=number, time=number / 30, device_time=None, picture=np.zeros((48, 64, 3), np.uint8))


def test_pictures_that_a_slow_disk_loses_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    all_taken, usual = threading.Event(), cv2.VideoWriter

    def slow(*given: object) -> object:
        all_taken.wait(10.0)
        return usual(*given)  # type: ignore[call-overload]

    monkeypatch.setattr(cv2, "VideoWriter", slow)
    monkeypatch.setattr(slow, "fourcc", usual.fourcc, raising=False)
    recorder = PushRecorder(tmp_path, fps=30.0, pre_roll=0.1)
    recorder.start()
    for number in range(300):
        recorder.take(blank(number))
    all_taken.set()
    kept = recorder.stop()
    assert kept.lost >= 200
    assert kept.pictures + kept.lost == 300
    assert "too slow" in kept.words
    recorder.start()
    for number in range(300, 310):
        recorder.take(blank(number))
    after = recorder.stop()
    assert (after.pictures, after.lost) == (10, 0)  # what the clip before lost is not this one's
    assert [one["number"] for one in json.loads(after.times.read_text())["pictures"]] == [*range(300, 310)]


def test_a_disk_that_fills_while_recording_is_told_and_no_half_clip_has_a_clips_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Either the room is seen to shrink, or the disk takes only a part: cut as a full disk cuts it."""
    usage = shutil.disk_usage(tmp_path)
    with monkeypatch.context() as before:
        before.setattr(shutil, "disk_usage", lambda _: usage._replace(free=80_000_000))
        with pytest.raises(BenchError, match="80 MB are free"):
            PushRecorder(tmp_path, fps=30.0)  # noticed before recording starts
    recorder = PushRecorder(tmp_path, fps=30.0)
    recorder.start()
    for number in range(90):
        if number == 40:
            monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=1_000_000))
        recorder.take(blank(number))
    with pytest.raises(BenchError, match="1 MB are free"):
        recorder.stop()
    monkeypatch.undo()
    recorder.start()
    for number in range(90):
        recorder.take(blank(number))
    settled = recorder._settled

    def cut() -> OSError | None:
        os.truncate(recorder._part, recorder._part.stat().st_size // 2)
        return settled()

    monkeypatch.setattr(recorder, "_settled", cut)
    with pytest.raises(BenchError, match="did not take all"):
        recorder.stop()
    assert [path for path in tmp_path.glob("*.avi") if not path.name.endswith(".part.avi")] == []
    assert len(list(tmp_path.glob("*.part.avi"))) == 2  # what was written before is kept


@pytest.mark.thorough
def test_pictures_that_the_device_skips_are_counted(filmed: tuple[CardSet, Path], tmp_path: Path) -> None:
    _, clip = filmed
    capture, mode = open_camera("clip", opener=lambda _: PlayedClip(clip, skip=frozenset({10, 20, 21})))
    recorder = PushRecorder(tmp_path, fps=30.0, pre_roll=60.0)
    with CameraReader(capture, mode, listener=recorder.take) as camera:
        deadline = time.monotonic() + 10
        while camera.read < 45 and time.monotonic() < deadline:
            time.sleep(0.05)
        recorder.start()  # the three are in the pre-roll: they are missing in the clip all the same
        assert recorder.stop(rate=mode.granted[2]).skipped == 3
        assert camera.mode.measured_fps == pytest.approx(30.0, rel=0.15)


def test_advice_names_what_is_wrong_with_the_picture(filmed: tuple[CardSet, Path]) -> None:
    cards, clip = filmed
    picture = np.asarray(cv2.VideoCapture(str(clip)).read()[1], np.uint8)
    floor = floor_layout(cards.bench)
    car = car_markers(cards.car, dictionary=floor.dictionary)
    good = judge_picture(picture, floor, car)
    assert good.ready, good.advice
    for spoiled, words in (
        ((picture * 0.15).astype(np.uint8), "More light"),
        (cv2.GaussianBlur(picture, (0, 0), 3.0), "Sharper|not seen"),
        (np.where(np.arange(1280)[:, None] < 700, picture, 90), "Floor markers"),
        (np.zeros_like(picture), "More light"),
    ):
        judged = judge_picture(np.asarray(spoiled, np.uint8), floor, car)
        assert any(word in " ".join(judged.advice) for word in words.split("|")), (words, judged.advice)


def test_movement_is_told_from_noise_and_from_a_hand_in_the_way() -> None:
    rng = np.random.default_rng(0)
    square = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [0.0, 40.0]])
    watch, states = MovementWatch(), []
    for step in range(120):
        moved = np.clip(step - 40, 0, 40) * 1.0
        seen = None if 20 <= step < 30 else square + np.array([moved, 0.0]) + rng.normal(0, 0.15, (4, 2))
        states.append(watch.feed(step * 0.1, seen))
    assert not any(states[:40])
    assert all(states[44:80])
    assert not states[-1]


def test_a_camera_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(BenchError, match="does not open"):
        open_camera(str(tmp_path / "no-camera"))
    assert isinstance(list_cameras(), list)


def test_a_camera_is_not_held_up_by_a_finger_that_is_not_there(
    filmed: tuple[CardSet, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No port, or a board without that cell: it is told, and the push is filmed all the same."""
    told: list[str] = []
    monkeypatch.setattr(filming, "_filmed", lambda *_, **__: "filmed")
    with VirtualPads(seed=1) as pads:
        for port, said in (("", "no port is named"), (pads.url, "has no load cell on the finger")):
            kept = film_push(filmed[0], tmp_path, Onlookers(say=lambda _: None, told=told.append), force_port=port)
            assert kept == "filmed"
            assert said in told[-1]
    assert not list(tmp_path.iterdir())
