"""A camera that stood still and then moves in mid-push: turned about its own axis, zoomed, knocked, tapped at the end.

Truth: the rendered poses. The way from first to last pose must come out as if nothing had happened to the camera.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.vision.tracking.test_track import CAR, FLOOR, RATE, SIZE, calibration, error, eye, film, push
from vision.base.types import ClipCards, ClipTrack
from vision.fitting.clip_floor import still_frames
from vision.render.camera import RenderCamera
from vision.render.filmed import Filming, PushScene
from vision.render.push import render_push
from vision.tracking.track import track_clip

pytestmark = pytest.mark.thorough

CameraPath = Callable[[float], RenderCamera]


def turned(degrees: float, axis: tuple[float, float, float], when: float, until: float = 9.0) -> CameraPath:
    """Turned at once about an axis of the camera (its own: z), and back at `until`."""
    turn = Rotation.from_rotvec(np.radians(degrees) * np.array(axis)).as_matrix()

    def at(time: float) -> RenderCamera:
        return replace(eye(), rotation=turn @ eye().rotation) if when <= time < until else eye()

    return at


def zoomed(path: Path, ratio: float, first: int) -> Path:
    """The same clip, its picture larger by a ratio about the middle from a frame on: by OpenCV, not by the renderer."""
    reader, larger = cv2.VideoCapture(str(path)), path.with_name("zoomed.avi")
    writer = cv2.VideoWriter(str(larger), cv2.VideoWriter.fourcc(*"MJPG"), RATE, SIZE)
    about = cv2.getRotationMatrix2D((SIZE[0] / 2 - 0.5, SIZE[1] / 2 - 0.5), 0.0, ratio)
    number = 0
    while (frame := reader.read())[0]:
        picture = frame[1] if number < first else cv2.warpAffine(frame[1], about, SIZE, flags=cv2.INTER_CUBIC)
        writer.write(picture)
        number += 1
    writer.release()
    assert number == 31
    return larger


def filmed(path: Path, camera: CameraPath, *, known: bool = True) -> tuple[ClipTrack, np.ndarray]:
    time, pose = push()
    scene = PushScene(time=time, pose=pose, floor=FLOOR, car=CAR)
    filming = Filming(camera=eye(), size=SIZE, fps=RATE, camera_path=camera, samples=2)
    render_push(path, scene, filming, np.random.default_rng(4))
    track = track_clip(path, ClipCards(floor=FLOOR, car=CAR, camera=calibration(eye()) if known else None))
    return track, error(track, (time, pose))


MORE = pytest.mark.thorough


@pytest.mark.parametrize("degrees", [pytest.param(0.2, marks=MORE), -0.5, pytest.param(1.0, marks=MORE)])
def test_a_camera_turned_about_its_own_axis_is_noticed(tmp_path: Path, degrees: float) -> None:
    track, off = filmed(tmp_path / "rolled.avi", turned(degrees, (0, 0, 1), 0.5))
    assert len(track.time) >= 29
    change = np.median(off[-5:], axis=0) - np.median(off[:5], axis=0)
    assert np.hypot(*change[:2]) < 0.3e-3
    assert abs(np.degrees(change[2])) < 0.05
    assert any("The camera moved" in note for note in track.notes)
    assert any(" 0.5 s" in note for note in track.notes)


@pytest.mark.parametrize("known", [pytest.param(True, marks=MORE), False])
def test_a_zoom_in_mid_push_is_noticed(tmp_path: Path, known: bool) -> None:
    """One per cent larger: a floor found anew in every frame takes it for a camera that came nearer, by 12 mm of 1.2 m,
    which puts the plate, 95 mm up, 0.16 mm off."""
    film(tmp_path / "clear.avi")
    camera = calibration(eye()) if known else None
    track = track_clip(zoomed(tmp_path / "clear.avi", 1.01, 17), ClipCards(floor=FLOOR, car=CAR, camera=camera))
    off = error(track, push())
    change = np.median(off[-5:], axis=0) - np.median(off[:5], axis=0)
    assert np.hypot(*change[:2]) < 0.1e-3
    assert abs(np.degrees(change[2])) < 0.05
    assert any("zoomed" in note and ("+0.9 %" in note or "+1.0 %" in note) for note in track.notes)
    assert any("in 14 of 31 frames, first at 0.6 s," in note for note in track.notes)


def test_a_bump_in_the_middle_costs_its_own_frames(tmp_path: Path) -> None:
    track, off = filmed(tmp_path / "bumped.avi", turned(0.4, (1, 0.3, 0.2), 0.42, 0.55))
    assert len(track.time) >= 27
    (note,) = [note for note in track.notes if "The camera moved" in note]
    assert any(f"in {count} of 31 frames, first at 0.4 s," in note for count in (3, 4, 5))
    assert np.abs(off - np.median(off, axis=0))[:, :2].max() < 0.4e-3
    assert track.view.time.size == 31


def test_a_tap_at_the_end_costs_the_end(tmp_path: Path) -> None:
    """The finger that stops the recording: the last three frames are of another camera."""
    track, off = filmed(tmp_path / "tapped.avi", turned(-1.5, (0, 1, 0), 0.93), known=False)
    assert len(track.time) >= 28
    change = np.median(off[20:27], axis=0) - np.median(off[:7], axis=0)
    assert np.hypot(*change[:2]) < 0.1e-3


def test_a_still_camera_stands_still_whatever_lies_on_a_marker() -> None:
    """Corners by hand: noise on all, and one of six markers half covered, or kicked away, for half of the clip."""
    rng = np.random.default_rng(8)
    corner = np.full((60, 6, 4, 2), 100.0) + np.arange(6)[:, None, None] * 50.0 + rng.normal(0, 0.05, (60, 6, 4, 2))
    assert still_frames(corner).all()
    corner[30:, 2] += 6.0
    corner[10:40, 4, :2] -= 0.8
    assert still_frames(corner).all()
    corner[20:, :, :, 0] += 0.3
    assert still_frames(corner).tolist() == [False] * 20 + [True] * 40  # where it stood longest


def test_frames_without_floor_go_with_their_neighbours_and_a_hand_never_stands() -> None:
    corner = np.zeros((12, 3, 4, 2)) + np.arange(3)[:, None, None] * 70.0
    corner[8:] += 2.0
    corner[[2, 3, 7, 8]] = np.nan
    assert still_frames(corner).tolist() == [True] * 7 + [False] * 5
    time = np.linspace(0.0, 3.0, 90)
    hand = np.stack([3.0 * np.sin(2.1 * time), 2.0 * np.cos(3.3 * time)], axis=-1)
    assert not still_frames(np.zeros((90, 6, 4, 2)) + hand[:, None, None]).any()


def seen_through(shift: np.ndarray) -> np.ndarray:
    """Corners (n, 6, 4, 2) px of six markers that all go by a shift (n, 2) px, with coded noise."""
    rng = np.random.default_rng(5)
    at = np.zeros((len(shift), 6, 4, 2)) + np.arange(6)[:, None, None] * 60.0
    return at + shift[:, None, None] + rng.normal(0, 0.03, at.shape)


def test_a_hand_that_lingers_and_a_camera_that_sinks_never_stand() -> None:
    """Slow sways turn back now and then, and a creep of a quarter of a pixel looks still against its own middle."""
    time = np.arange(60) / 30
    sway = np.stack([2.5 * np.sin(3 * time + 1) + np.sin(7 * time), 2 * np.sin(4 * time)], 1)
    assert not still_frames(seen_through(sway)).any()
    assert not still_frames(seen_through(np.stack([0 * time, 0.5 * time], 1))).any()
    assert still_frames(seen_through(np.stack([0 * time, 0.04 * time], 1))).all()  # less than is seen of it
    knock = np.where((time > 0.9) & (time < 1.1), 4.0, 0.0)
    stood = still_frames(seen_through(np.stack([knock, knock], 1)))
    assert stood.sum() == 55
