"""A camera in a hand that reads its pictures row by row: corners of many moments.

Truth: the readout, poses and pivots that the corners are made from, each corner at the moment of its own row, by a
pinhole written out here (closed form; rotations by SciPy).
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import MeasuredPush, measure_pivot
from vision.base.types import ClipCards, ClipTrack, FloatArray
from vision.camera.rolling_shutter import shutter_left, shutter_words
from vision.fitting.readout import readout_of, smear_of
from vision.fitting.solve import Solved
from vision.floor.geometry import marker_corners
from vision.markers.layouts import default_car, default_floor
from vision.tracking.sightings import Sightings
from vision.tracking.track import track_sightings

SIZE, FOCAL, RATE = (960, 540), 920.0, 30.0
WHEELBASE, HEIGHT = 0.26, 0.06
FLOOR, CAR = default_floor(), default_car(WHEELBASE, height=HEIGHT)
REST, MOVING = 0.55, 0.9
TIME = np.arange(0.0, 2 * REST + MOVING, 1 / RATE)
TURN = 0.2
ON_FLOOR = np.concatenate([marker_corners(FLOOR.markers), np.zeros((6, 4, 1))], axis=-1)


def way(station: float, wanders: float) -> FloatArray:
    """(2001, 3) poses over the turn of a car whose pivot goes from `station` to `station + wanders`, wheelbases."""
    yaw = np.linspace(-TURN / 2, TURN / 2, 2001)
    arm = (station + wanders * (yaw / TURN + 0.5)) * WHEELBASE  # the pivot stands still at every moment
    x, y = (
        np.cumsum(np.append(0.0, 0.5 * (f[1:] + f[:-1]) * np.diff(yaw)))
        for f in (np.sin(yaw) * arm, -np.cos(yaw) * arm)
    )
    return np.stack([x - WHEELBASE / 2, y, yaw], axis=-1)


def pose_at(moment: FloatArray, poses: FloatArray) -> FloatArray:
    """(..., 3) at moments (...)."""
    share = 0.5 - 0.5 * np.cos(np.pi * np.clip((moment - REST) / MOVING, 0, 1))
    return np.stack([np.interp(share, np.linspace(0, 1, len(poses)), column) for column in poses.T], axis=-1)


def held(size: float, seed: int) -> FloatArray:
    """(12, 3): rates, phases and sizes of what a hand does to three angles and three ways, two waves each."""
    rng = np.random.default_rng(seed)
    wide = size * np.repeat([0.004, 0.004, 0.003, 0.004, 0.004, 0.003], 2)
    return np.column_stack([rng.uniform(1.5, 8.0, 12), rng.uniform(0, 6.3, 12), wide])


def seen(point: FloatArray, moment: FloatArray, hand: FloatArray) -> FloatArray:
    """(k, 2) px of points (k, 3) m, each at a moment (k,) of its own."""
    eye = np.array([0.15, -0.85, 0.95])
    ahead = -eye / np.linalg.norm(eye)
    right = np.cross(ahead, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    sway = (hand[:, 2] * np.sin(hand[:, 0] * moment[:, None] + hand[:, 1])).reshape(-1, 6, 2).sum(-1)
    before = Rotation.from_matrix(np.stack([right, np.cross(ahead, right), ahead]))
    x, y, z = (Rotation.from_rotvec(sway[:, :3]) * before).apply(point - eye - sway[:, 3:]).T
    return np.stack([FOCAL * x / z + 479.5, FOCAL * y / z + 269.5], axis=-1)


def corners(readout: float, poses: FloatArray, hand: FloatArray, noise: float = 0.05) -> FloatArray:
    """(n, m, 4, 2) px, each at the moment of its own row."""
    flat = marker_corners(CAR.markers)
    time = np.repeat(TIME, 4 * (6 + len(flat)))
    moment = time
    for _ in range(4 if readout else 1):
        pose = pose_at(moment, poses).reshape(len(TIME), -1, 4, 3)
        c, s = np.cos(pose[:, 6:, :, 2]), np.sin(pose[:, 6:, :, 2])
        point = np.broadcast_to(ON_FLOOR[0, 0], (*pose.shape[:3], 3)).copy()
        point[:, :6] = ON_FLOOR
        point[:, 6:, :, 0] = c * flat[..., 0] - s * flat[..., 1] + pose[:, 6:, :, 0]
        point[:, 6:, :, 1] = s * flat[..., 0] + c * flat[..., 1] + pose[:, 6:, :, 1]
        point[:, 6:, :, 2] = HEIGHT
        pixel = seen(point.reshape(-1, 3), moment, hand)
        moment = time + readout * ((pixel[:, 1] + 0.5) / SIZE[1] - 0.5)
    return pixel.reshape(len(TIME), -1, 4, 2) + np.random.default_rng(3).normal(
        0, noise, (len(TIME), 6 + len(flat), 4, 2)
    )


def tracked(corner: FloatArray, readout: float | None = None) -> tuple[ClipTrack, Solved]:
    sightings = Sightings(corner.shape[1])
    for k, time in enumerate(TIME):
        row = np.ones(corner.shape[1])
        sightings.add(index=k, time=time, corner=corner[k], spread=row, known=row > 0, repeated=False)
    return track_sightings(sightings, ClipCards(floor=FLOOR, car=CAR, readout=readout), SIZE)


def measured(track: ClipTrack) -> MeasuredPush:
    poses = PoseTrack(time=track.time, pose=track.pose, covariance=track.covariance, repeating=track.repeating)
    return measure_pivot(poses, wheelbase=WHEELBASE, shared=track.shared)[0]


@pytest.mark.parametrize(("readout", "wanders"), [(0.02, 0.0), (-0.02, 0.0), (0.02, 0.5)])
def test_the_readout_is_found_and_taken_out(readout: float, wanders: float) -> None:
    poses = way(-0.3, wanders)
    track, solved = tracked(corners(readout, poses, held(1.0, 9)))
    found = solved.readout
    assert found is not None
    assert abs(found.time - readout) < 3 * found.u
    assert found.u < 0.004
    away = pose_at(TIME, poses) - track.pose
    # What lens and floor do to all poses alike is none of the readout's. Without it, more than 0.3 mm stay: see below.
    assert np.abs(away - away.mean(0))[:, :2].max() < 2e-4
    path = measured(track).path
    assert path is not None
    assert path.wanders == (wanders > 0)
    if wanders:  # over the inner nine tenths, what a polynomial makes of it
        assert path.wander == pytest.approx(0.9 * wanders * WHEELBASE, rel=0.15)
    words = shutter_words(shutter_left(track, CAR, readout=found.time, u=found.u, interval=1 / RATE))[0]
    assert f"{1e3 * found.time:.0f} ± {1e3 * 1.96 * found.u:.0f} ms" in words


def test_without_it_the_same_clip_is_bent() -> None:
    """What the corners hold: a camera whose rows are taken for one moment, by a card that says so."""
    poses = way(-0.3, 0.0)
    track, solved = tracked(corners(0.02, poses, held(1.0, 9)), readout=0.0)
    assert solved.readout is None
    away = pose_at(TIME, poses) - track.pose
    assert np.abs(away - away.mean(0))[:, :2].max() > 3e-4
    path = measured(track).path
    assert path is not None
    assert path.wanders


def test_the_smear_is_lateness_times_rate_where_it_is_seen() -> None:
    time = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 1.4, 1.5, 1.6])
    rate = np.array([30.0, -20.0])  # px/s, by hand
    start = np.array([[100.0, 50.0], [100.0, 250.0]])  # rows 50 and 250 of 400
    corner = np.broadcast_to(start[:, None], (2, 4, 2)) + time[:, None, None, None] * rate
    corner = corner.copy()
    corner[2, 1] = np.nan
    smear = smear_of(time, corner, (600, 400))
    late = (corner[..., 1] + 0.5) / 400 - 0.5
    np.testing.assert_allclose(smear[:, 0], late[:, 0, :, None] * rate, rtol=1e-9)
    assert not smear[2, 1].any()
    np.testing.assert_allclose(smear[1, 1], late[1, 1, :, None] * rate, rtol=1e-9)
    sideways = smear_of(time, corner, (600, 400), sideways=True)
    np.testing.assert_allclose(sideways[0, 0, 0], ((100.0 + 0.5) / 600 - 0.5) * rate, rtol=1e-9)
    jumped = corner.copy()
    jumped[5:] += 80.0  # behind a gap of a second the camera may be anywhere
    np.testing.assert_allclose(smear_of(time, jumped, (600, 400))[:5, 0], smear[:5, 0], rtol=1e-9)


def test_pictures_together_tell_what_one_does_not() -> None:
    rng = np.random.default_rng(8)
    u, noise = rng.uniform(0.1, 0.5, 80), np.full(80, 0.05)
    true, away = 0.012, []
    for _ in range(300):
        seen_s = true + rng.normal(0, u * noise)
        seen_s[:2] += 1.0  # a hand over a marker
        found = readout_of(seen_s, u, noise, longest=0.033)
        away.append((found.time - true) / found.u)
    # weights of 1/u²: by hand; two odd pictures count no more than four of their own standard uncertainties
    assert found.u == pytest.approx(1 / np.sqrt(np.sum(1 / (u * np.median(noise)) ** 2)), rel=0.6)
    assert np.std(away) == pytest.approx(1.0, abs=0.3)
    nothing = readout_of(np.zeros(5), np.ones(5), np.ones(5), longest=0.03)
    assert nothing.time == 0.0
    assert nothing.u == pytest.approx(0.03 / np.sqrt(3))  # even between either end of an interval: closed form
