"""The finger's marker, rendered on a tilted finger: the fingertip is where the renderer put it."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.base.types import Camera, CameraView, ClipTrack, FingerMarker, FloatArray
from vision.clip.frames import Frame
from vision.markers.layouts import default_car, default_floor
from vision.render.camera import looking_at
from vision.render.filmed import Filming, Hand, Look, PushScene, WornMarker
from vision.render.push import render_frames
from vision.tracking.finger import CAUSES, FingerPath, FingerWatch, finger_path, tilt_words

SIZE = (960, 540)
FLOOR, CAR = default_floor(), default_car(0.26, height=0.06)
EYE = looking_at(
    np.array([0.1, -0.80, 0.80]),
    np.array([0.05, -0.05, 0.0]),
    focal=1000.0,
    size=SIZE,
    distortion=np.array([-0.1, 0.03, 0.0, 0.0, 0.0]),
)
TIP = np.array([0.025, 0.002, -0.017])
FINGER = FingerMarker(
    dictionary=FLOOR.dictionary, id=20, size=0.030, height=0.008, tip=TIP, tip_u=np.array([0.001, 0.001, 0.002])
)
TILT = (0.10, 0.20)  # rad, roll and pitch
N, FPS = 6, 10.0


def tips(time: FloatArray) -> FloatArray:
    """(n, 2) m: a straight way at an even speed."""
    return np.array([0.09, -0.16]) + time[:, None] * [0.02, 0.10]


def track() -> ClipTrack:
    """What the tracking hands on: a camera and where it stood, exactly."""
    return ClipTrack(
        time=np.arange(N) / FPS,
        pose=np.zeros((N, 3)),
        covariance=np.zeros((N, 3, 3)),
        repeating=np.zeros((3, 3)),
        blur=np.zeros(N),
        lean=np.zeros((N, 2)),
        frames_read=N,
        frames_left_out=0,
        left_out={},
        size=SIZE,
        ink_shift=0.0,
        corner_noise=0.03,
        seen=np.ones((N, 4), bool),
        camera=Camera(matrix=EYE.matrix, distortion=EYE.distortion, size=SIZE),
        view=CameraView(time=np.zeros(1), rotation=EYE.rotation[None], place=(-EYE.rotation @ EYE.position)[None]),
    )


@pytest.fixture(scope="module")
def watch() -> FingerWatch:
    time = np.arange(N) / FPS
    worn = WornMarker(
        dictionary=FLOOR.dictionary, id=20, size=0.030, tip=TIP, attitude=np.array([np.pi / 2 + 0.3, *TILT])
    )
    hand = Hand(tip=tips(time), outward=np.array([-0.3, -1.0]), height=0.008, worn=worn)
    frames = render_frames(
        PushScene(
            time=time,
            pose=np.tile([-0.13, 0.02, 0.0], (N, 1)),
            floor=FLOOR,
            car=CAR,
            hand=hand,
            outline=np.array([[-0.08, -0.09], [0.34, -0.09], [0.34, 0.09], [-0.08, 0.09]]),
        ),
        Filming(camera=EYE, size=SIZE, fps=FPS, look=Look(noise=1.0), samples=2),
        np.random.default_rng(4),
    )
    seen = FingerWatch(FINGER)
    for number, picture in enumerate(frames):
        grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
        seen.look(Frame(index=number, time=number / FPS, grey=np.asarray(grey, np.uint8), repeated=False))
    return seen


@pytest.fixture(scope="module")
def path(watch: FingerWatch) -> FingerPath:
    return finger_path(*watch.corners(), FINGER, track())


def test_the_fingertip_is_where_it_was(path: FingerPath) -> None:
    np.testing.assert_allclose(path.time, np.arange(N) / FPS)
    miss = path.tip - tips(path.time)
    # A tenth of a pixel is 0.1 mm here, times the lever of the tip against the marker.
    assert np.sqrt(np.mean(np.sum(miss**2, -1))) < 3e-4
    size = np.einsum("ni,nij,nj->n", miss, np.linalg.inv(path.covariance), miss)
    assert np.median(size) < 5.99  # 95 % point of chi-square, 2 degrees of freedom
    np.testing.assert_allclose(np.median(path.tilt, axis=0), TILT, atol=np.radians(1.5))


def test_taking_a_tilted_marker_for_a_level_one_costs_millimetres(watch: FingerWatch, path: FingerPath) -> None:
    level = finger_path(*watch.corners(), replace(FINGER, tilt_u=1e-4), track())
    off = np.linalg.norm(level.tip - tips(level.time), axis=-1)
    assert np.median(off) > 2e-3
    # By hand: a rigid body turned by pitch, then roll, about a tip that stays where it is.
    roll, pitch = np.median(path.tilt, axis=0)
    turned = cv2.Rodrigues(np.array([0.0, pitch, 0.0]))[0] @ cv2.Rodrigues(np.array([roll, 0.0, 0.0]))[0] @ TIP
    assert f"{1e3 * np.hypot(*(turned - TIP)[:2]):.1f} mm" in tilt_words(path, FINGER)


def test_what_the_card_is_unsure_of_moves_the_tip_as_geometry_says(path: FingerPath) -> None:
    parts = dict(zip(path.causes, np.linalg.norm(path.shared, axis=-1).mean(1), strict=True))
    assert tuple(parts) == CAUSES
    sight = tips(path.time).mean(0) - EYE.position[:2]
    # The eye's ray falls by its height over its way: a tip 2 mm higher is seen that much too far.
    slope = np.linalg.norm(sight) / (EYE.position[2] - FINGER.height)
    assert parts["height of the fingertip"] == pytest.approx(0.002 * slope, rel=0.1)
    # A plate tilted by 0.2 rad shows a millimetre ahead or to the left nearly whole.
    assert parts["fingertip left"] == pytest.approx(0.001, rel=0.1)


def test_no_marker_is_no_path_and_another_marker_is_not_taken_for_it() -> None:
    seen = FingerWatch(replace(FINGER, id=21))
    time = np.array([0.0, 0.1])
    worn = WornMarker(dictionary=FLOOR.dictionary, id=20, size=0.030, tip=TIP, attitude=np.array([1.5, 0.0, 0.0]))
    hand = Hand(tip=tips(time), outward=np.array([-0.3, -1.0]), height=0.008, worn=worn)
    for picture in render_frames(
        PushScene(time=time, pose=np.tile([-0.13, 0.02, 0.0], (2, 1)), floor=FLOOR, car=CAR, hand=hand),
        Filming(camera=EYE, size=SIZE, fps=10.0, look=Look(), samples=1),
        np.random.default_rng(4),
    ):
        grey = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
        seen.look(Frame(index=0, time=0.0, grey=grey, repeated=False))
    empty = finger_path(*seen.corners(), FINGER, track())
    assert empty.tip.shape == (0, 2)
    assert empty.shared.shape == (len(CAUSES), 0, 2)
    assert tilt_words(empty, FINGER) == ""
