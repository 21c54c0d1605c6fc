"""A rolling shutter rendered line by line, whose bias must be the one that is estimated from the measured motion."""

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import least_squares

from vision.base.types import Camera, ClipCards, ClipTrack, FloatArray
from vision.camera.rolling_shutter import shutter_of, shutter_words
from vision.markers.layouts import default_car, default_floor
from vision.render.camera import looking_at
from vision.render.filmed import Filming, Look, PushScene
from vision.render.push import render_push
from vision.tracking.track import track_clip

pytestmark = pytest.mark.thorough

SIZE, READOUT, FPS = (640, 360), 0.030, 20.0
FLOOR, CAR = default_floor(), default_car(0.26, height=0.06)
EYE = looking_at(np.array([0.1, -0.85, 0.85]), np.array([0.0, 0.02, 0.0]), focal=640.0, size=SIZE)
CAMERA = Camera(matrix=EYE.matrix, distortion=EYE.distortion, size=SIZE)
SPEED = np.array([0.12, 0.03, 0.2])  # m/s, m/s, rad/s: mostly along the lines, which shears the picture


def poses(time: FloatArray) -> FloatArray:
    """Rest, 0.35 s at an even speed, rest."""
    return np.array([-0.15, -0.05, -0.05]) + np.clip(time - 0.25, 0.0, 0.35)[:, None] * SPEED


def filmed(folder: Path, readout: float) -> ClipTrack:
    time = np.arange(0.0, 0.86, 0.001)
    path = folder / f"{readout}.avi"
    render_push(
        path,
        PushScene(time=time, pose=poses(time), floor=FLOOR, car=CAR),
        Filming(
            camera=EYE,
            size=SIZE,
            fps=FPS,
            look=Look(exposure=0.001, noise=0.5, vignette=0.0),
            samples=2,
            readout=readout,
        ),
        np.random.default_rng(2),
        codec="FFV1",
    )
    return track_clip(path, ClipCards(floor=FLOOR, car=CAR, camera=CAMERA, readout=readout), threads=1)


@pytest.fixture(scope="module")
def tracks(tmp_path_factory: pytest.TempPathFactory) -> tuple[ClipTrack, ClipTrack]:
    folder = tmp_path_factory.mktemp("shutter")
    return filmed(folder, READOUT), filmed(folder, 0.0)


def test_the_bias_is_the_one_estimated(tracks: tuple[ClipTrack, ClipTrack]) -> None:
    rolling, whole = tracks
    np.testing.assert_array_equal(rolling.time, whole.time)
    even = (rolling.time > 0.34) & (rolling.time < 0.51)  # the velocity is fitted over 0.1 s on either side
    rest = (rolling.time < 0.22) | (rolling.time > 0.65)
    assert even.sum() >= 3
    # What all lines at once give is the truth here but for the floor's own small error, which both share.
    found = (rolling.pose - poses(rolling.time)) - (whole.pose - poses(whole.time))
    assert rolling.shutter is not None
    told = rolling.shutter.bias + rolling.shutter.delay * SPEED
    # Corners of such small markers are good for 0.02 mm and 0.01 degrees here; the bias is far larger.
    assert np.abs(found[even, 1]).min() > 0.00015
    assert np.abs(found[even, 2]).min() > np.radians(0.07)
    np.testing.assert_allclose(told[even, :2], found[even, :2], atol=3e-5)
    np.testing.assert_allclose(told[even, 2], found[even, 2], atol=np.radians(0.012))
    # Rests are not touched, neither in truth nor in the estimate nor in their covariances.
    np.testing.assert_allclose(found[rest, :2], 0.0, atol=1e-5)
    np.testing.assert_allclose(found[rest, 2], 0.0, atol=np.radians(0.005))
    assert not rolling.shutter.bias[rest].any()


def test_it_is_in_the_doubt_of_the_moving_poses_and_in_words(tracks: tuple[ClipTrack, ClipTrack]) -> None:
    rolling, whole = tracks
    assert rolling.shutter is not None
    assert whole.shutter is not None
    part = rolling.shutter.bias
    assert np.all(np.diagonal(rolling.covariance, axis1=1, axis2=2) >= part**2)
    said = [note for note in rolling.notes if "Rolling shutter" in note]
    assert len(said) == 1
    assert "30.0 ms" in said[0]
    assert f"{1e3 * np.hypot(part[:, 0], part[:, 1]).max():.2f} mm" in said[0]
    assert not whole.shutter.bias.any()
    assert any("Global shutter" in note for note in whole.notes)


def test_an_unknown_readout_is_any_up_to_the_interval(tracks: tuple[ClipTrack, ClipTrack]) -> None:
    rolling = tracks[0]
    known = shutter_of(rolling, CAR, readout=0.05, interval=0.05)
    unknown = shutter_of(rolling, CAR, readout=None, interval=0.05)
    np.testing.assert_allclose(unknown.bias, known.bias)
    # Root mean square of a uniform distribution from 0 to 1: integral of u squared is 1/3.
    draws = np.random.default_rng(0).uniform(size=200_000)
    share = np.sqrt(np.mean(draws**2))
    np.testing.assert_allclose(unknown.standard, share * known.standard, rtol=0.01)
    assert "interval between frames" in shutter_words(unknown)[0]


@pytest.mark.parametrize("sideways", [False, True])
def test_the_estimate_is_the_pose_that_fits_corners_of_different_moments(
    tracks: tuple[ClipTrack, ClipTrack], sideways: bool
) -> None:
    rolling = tracks[0]
    shutter = shutter_of(rolling, CAR, readout=READOUT, interval=0.05, sideways=sideways)
    flat = np.concatenate([m.corners() for m in CAR.markers])

    def corners(pose: FloatArray) -> FloatArray:
        """By the renderer's own camera."""
        c, s, (x, y) = np.cos(pose[..., 2]), np.sin(pose[..., 2]), flat.T
        place = np.stack([c * x - s * y + pose[..., 0], s * x + c * y + pose[..., 1], np.full(16, CAR.height)], -1)
        return EYE.project(place)

    axis = 0 if sideways else 1
    for k in np.flatnonzero((rolling.time > 0.44) & (rolling.time < 0.51)):  # the velocity is that of the whole way
        pose = rolling.pose[k]
        late = READOUT * ((corners(pose)[:, axis] + 0.5) / SIZE[axis] - 0.5)
        seen = corners(pose + late[:, None] * SPEED)
        fit = least_squares(lambda p, seen=seen: (corners(p) - seen).ravel(), pose, x_scale=[0.1, 0.1, 1.0]).x - pose
        told = shutter.bias[k] + shutter.delay * SPEED
        np.testing.assert_allclose(told[:2], fit[:2], atol=1e-5)
        np.testing.assert_allclose(told[2], fit[2], atol=np.radians(0.004))
