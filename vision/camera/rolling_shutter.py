"""What a rolling shutter does to the poses of a moving car: estimated frame by frame from the measured velocity.

Most cameras read a picture row by row, from the top to the bottom within the readout time T. A point that shows in
row v of H is then seen (v / H - 1/2) T later than the picture's middle row, and stands by that much farther along its
way. Fitting one pose to corners seen at different moments gives

    bias = (J' J)^-1 J' diag(v / H - 1/2) J rate T

with J the derivative of the corners' pixels by the pose and `rate` the car's velocity: least squares of the shifted
corners, first order in T. It has three parts. A delay common to the whole clip (the car's mean row is not the
middle one) changes only when things happened. A delay that varies as the car moves over the picture changes speeds
by a fraction of a per cent. And a turn, because the corners of one picture belong to different moments, bends path,
speed and acceleration while the car moves. At rest there is nothing of all this: rests, and with them the swing
pivot, are not touched. A camera that moves itself is another matter: `vision.fitting.readout`. Source: geometry,
written out here; the readout time is the user's, or any time up to the interval between two frames (common practice,
no source).
"""

from dataclasses import replace

import numpy as np

from vision.base.chunks import frames_together
from vision.base.plane import plane_rotation
from vision.base.robust import NORMAL_95
from vision.base.types import CarMarkers, ClipTrack, FloatArray, IntArray, Shutter
from vision.camera.model import intrinsics_of, project_with_derivatives

SMOOTHED = 0.07  # s on either side over which the velocity is fitted
STILL = 0.25  # px moved on either side: less is rest
LEVER = 0.1  # m that makes a turn comparable with a way: from the middle of a plate to its markers


def moving_rate(track: ClipTrack, car: CarMarkers) -> FloatArray:
    """(n, 3) m/s, m/s, rad/s: velocity of the car axes from local straight lines, zero where the car rests."""
    time, pose = track.time, track.pose
    n = len(time)
    if n < 5:
        return np.zeros((n, 3))
    half = max(2, round(SMOOTHED / float(np.median(np.diff(time)))))
    width = min(2 * half + 1, n)
    rate = np.zeros((n, 3))
    for rows in frames_together(n):
        window = np.clip(rows - width // 2, 0, n - width)[:, None] + np.arange(width)
        t = time[window] - time[window].mean(1, keepdims=True)
        rate[rows] = np.einsum("nw,nwi->ni", t, pose[window]) / np.square(t).sum(1)[:, None]
        jacobian, _ = _pixels(track, car, rows)
        ends = np.stack([np.maximum(rows - half, 0), np.minimum(rows + half, n - 1)])
        away = np.einsum("npij,enj->enpi", jacobian, pose[ends] - pose[rows])
        # the last frames of a rest and the first of the next one do not move yet
        rate[rows[(np.linalg.norm(away, axis=-1).mean(2) < STILL).any(0)]] = 0.0
    return rate


def shutter_of(
    track: ClipTrack, car: CarMarkers, *, readout: float | None, interval: float, sideways: bool = False
) -> Shutter:
    """Estimate the bias of every pose.

    readout: s, top row first; 0 for a global shutter, None when not known.  interval: s between two frames.
    sideways: the picture was stored lying on its side, so that the sensor's rows are its columns, left one first.
    """
    known = readout is not None
    longest = float(interval if readout is None else readout)
    rate = moving_rate(track, car)
    bias = np.zeros_like(rate)
    axis = 0 if sideways else 1
    for rows in frames_together(len(rate)):
        jacobian, pixel = _pixels(track, car, rows)
        counts = np.repeat(track.seen[rows], 4, axis=1).astype(float)
        late = (pixel[..., axis] + 0.5) / track.size[axis] - 0.5  # share of the readout
        shift = late[..., None] * np.einsum("npij,nj->npi", jacobian, rate[rows])
        normal = np.einsum("np,npik,npij->nkj", counts, jacobian, jacobian)
        right = np.einsum("np,npik,npi->nk", counts, jacobian, shift)
        enough = counts.sum(1) >= 4
        bias[rows[enough]] = np.linalg.solve(normal[enough], right[enough][..., None])[..., 0]
    weigh = np.array([1.0, 1.0, LEVER**2])
    moving = float((weigh * rate**2).sum())
    share = float((weigh * rate * bias).sum()) / moving if moving > 0 else 0.0
    return Shutter(readout=longest, known=known, bias=(bias - share * rate) * longest, delay=share * longest)


def shutter_left(
    track: ClipTrack, car: CarMarkers, *, readout: float, u: float, interval: float, sideways: bool = False
) -> Shutter:
    """What stays unsure of a track out of which a rolling shutter is taken.

    readout, u: s, as a moving camera's floor told it, and its standard uncertainty.  Others as `shutter_of`.
    """
    left = shutter_of(track, car, readout=u, interval=interval, sideways=sideways)
    return replace(left, readout=readout, taken_out_u=u)


def with_shutter_covariance(track: ClipTrack, shutter: Shutter) -> ClipTrack:
    """The track with the shutter's part in the covariances of its moving poses."""
    u = shutter.standard
    return replace(track, covariance=track.covariance + u[:, :, None] * u[:, None, :], shutter=shutter)


def shutter_words(shutter: Shutter) -> list[str]:
    """How large it is at most, for people."""
    if shutter.readout == 0.0 and shutter.taken_out_u is None:
        return ["Global shutter: all rows belong to one moment."]
    way = 1e3 * float(np.hypot(shutter.bias[:, 0], shutter.bias[:, 1]).max(initial=0.0))
    turn = float(np.degrees(np.abs(shutter.bias[:, 2]).max(initial=0.0)))
    if shutter.taken_out_u is not None:
        return [
            "Rolling shutter: the floor markers, seen by a camera that moves, tell that it reads a picture in "
            f"{1e3 * shutter.readout:.0f} ± {1e3 * NORMAL_95 * shutter.taken_out_u:.0f} ms. That was taken out of all "
            f"poses; what is unsure of it puts moving poses off by at most {way:.2f} mm and {turn:.3f}°, which is in "
            "their ±."
        ]
    sentence = (
        f"Rolling shutter read out in {1e3 * shutter.readout:.1f} ms"
        if shutter.known
        else f"Rolling shutter (read out in up to {1e3 * shutter.readout:.0f} ms, the interval between frames)"
    )
    return [
        f"{sentence}: it puts moving poses off by at most {way:.2f} mm and {turn:.3f}°, and all of them by "
        f"{1e3 * abs(shutter.delay):.1f} ms in time; this is in the ± of the moving poses. Rest poses, and with "
        "them the pivot of the whole swing, are not touched."
    ]


def _pixels(track: ClipTrack, car: CarMarkers, rows: IntArray) -> tuple[FloatArray, FloatArray]:
    """Of some frames: (n, 4 c, 2, 3) derivatives of the corners by the pose, px per m, m, rad; the corners, px."""
    pose = track.pose[rows]
    flat = np.concatenate([marker.corners() for marker in car.markers])
    arm = np.einsum("nij,pj->npi", plane_rotation(pose[:, 2]), flat)
    level = np.full((*arm.shape[:2], 1), car.height)
    floor = np.concatenate([arm + pose[:, None, :2], level], axis=-1)
    rotation, place = track.view.at(track.time[rows])
    point = np.einsum("nij,npj->npi", rotation, floor) + place[:, None]
    pixel, by_point, _ = project_with_derivatives(point, intrinsics_of(track.camera))
    by_floor = by_point @ rotation[:, None]
    by_turn = by_floor[..., 0] * -arm[..., 1, None] + by_floor[..., 1] * arm[..., 0, None]
    return np.concatenate([by_floor[..., :2], by_turn[..., None]], axis=-1), pixel
