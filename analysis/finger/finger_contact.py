"""Where along the car a finger pushed, and which way, from the fingertip's places and the car's poses."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.plane import place, rotation

LEAST_FRAMES = 6
LEAST_WAY = 0.005
"""m: a push that goes less far shows no direction."""
MARGIN = 0.01
"""share of the way at either end in which the car hardly moves yet, or any more"""
LEFT_BEHIND = 0.4
"""m that a tip nears the car's middle line, or parts from it, a metre that the car goes sideways there: one that
touches keeps its distance, one that lies on the floor, or on another tool, changes it by about that metre"""
CLEARLY = 2.0
"""times better must one kind of path fit, and by CLEAR_GAP (m), to be told from the other."""
CLEAR_GAP = 0.0005

PathName = Literal["straight on the floor", "stays on the car", "cannot tell"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PushContact:
    """One push as the finger made it.

    station, station_u: m ahead of the rear axle, where the tip was when the slide began.
    side: +1 when the car was touched on its right and pushed to the left, -1 the other way.
    direction, direction_u: rad, way of the tip at the start of the slide against square to the car, anticlockwise.
    bend, bend_u: rad, by how much that way turned on the floor from start to end of the contact.
    slip: m, by how much the tip moved along the car, forwards positive.  path: which of the two kinds of finger path
    fits.  way: m that the touched place went.  frames: how many show the finger on the moving car.
    parts: (k,) m, each shared cause's part in the station, in the order given.
    """

    station: float
    station_u: float
    side: int
    direction: float
    direction_u: float
    bend: float
    bend_u: float
    slip: float
    path: PathName
    way: float
    frames: int
    parts: FloatArray


def push_contact(
    pose: FloatArray,
    pose_covariance: FloatArray,
    tip: FloatArray,
    tip_covariance: FloatArray,
    *,
    pose_shared: FloatArray,
    tip_shared: FloatArray,
) -> PushContact | None:
    """Station, side and direction of one push.

    Of n frames from the last rest before the slide to the first one after it: pose (n, 3) m m rad of the car axes
    in floor axes, pose_covariance (n, 3, 3), tip (n, 2) m of the fingertip, tip_covariance (n, 2, 2), which is taken
    to repeat from frame to frame, so nothing is gained by their number.
    pose_shared (k, n, 3), tip_shared (k, n, 2): what one standard uncertainty of each of k independent causes does to
    all frames; a cause of one of them only has zeros in the other. What moves finger and car alike (the camera, the
    floor) drops out and belongs to neither.
    Frames count while the car moves: before, the finger may still be on its way to the car, after, on its way back.
    Station along the car and way on the floor are parabolas in the car's advance at the touched place, fitted to the
    whole contact and read at its start; their doubts follow by computing again with each cause (law of propagation,
    JCGM 100:2008).  None with fewer than six such frames, a way under 5 mm, or a tip that does not go with the car.
    Raises InputError for shapes that do not fit.
    """
    n = len(pose)
    if (
        tip.shape != (n, 2)
        or pose.shape != (n, 3)
        or pose_shared.shape[1:] != (n, 3)
        or (tip_shared.shape != (len(pose_shared), n, 2))
    ):
        raise InputError(
            f"shapes do not match: poses {pose.shape}, tips {tip.shape}, causes {pose_shared.shape} and "
            f"{tip_shared.shape}",
            where="finger",
            remedy="Give one tip for every pose, and every cause for both",
        )
    if n < LEAST_FRAMES:
        return None
    advance = _advance(pose, tip)
    share = advance / max(float(np.ptp(advance)), 1e-9)
    touching = (share > MARGIN) & (share < 1.0 - MARGIN)
    if np.ptp(advance) < LEAST_WAY or touching.sum() < LEAST_FRAMES:
        return None
    if not _goes_along(pose[touching], tip[touching]):
        return None
    start, design = pose[0], np.stack([np.ones_like(share), share, share**2], -1)[touching]
    pose, tip, pose_covariance, tip_covariance = (
        part[touching] for part in (pose, tip, pose_covariance, tip_covariance)
    )

    def read(by_pose: FloatArray, by_tip: FloatArray) -> FloatArray:
        return _read(pose + by_pose[touching], tip + by_tip[touching], (start + by_pose[0])[2], design)

    still, untouched = np.zeros((n, 3)), np.zeros((n, 2))
    best = read(still, untouched)
    changes = [read(a, b) - best for a, b in zip(pose_shared, tip_shared, strict=True)]
    # Errors of the corners repeat, so they act as two more causes that move all tips alike.
    size, axis = np.linalg.eigh(np.median(tip_covariance, axis=0))
    changes += [read(still, untouched + np.sqrt(max(size[i], 0.0)) * axis[:, i]) - best for i in (0, 1)]
    scatter = _scatter(pose, tip, pose_covariance, design)
    parts = np.array(changes)
    u = np.sqrt(np.square(parts).sum(0) + scatter**2)
    floor, car = _residuals(pose, tip)
    path: PathName = "cannot tell"
    if abs(floor - car) > CLEAR_GAP and max(floor, car) > CLEARLY * min(floor, car):
        path = "straight on the floor" if floor < car else "stays on the car"
    side = 1 if np.cos(best[1]) > 0 else -1
    return PushContact(
        station=float(best[0]),
        station_u=float(u[0]),
        side=side,
        direction=float(best[1] if side > 0 else (best[1] + 2 * np.pi) % (2 * np.pi) - np.pi),
        direction_u=float(u[1]),
        bend=float(best[2]),
        bend_u=float(u[2]),
        slip=float(best[3]),
        path=path,
        way=float(np.ptp(advance)),
        frames=len(tip),
        parts=parts[: len(pose_shared), 0],
    )


def _along(tip: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(n,) way along the straight line through the tips and off it to the left, m, and the line's direction (2,)."""
    middle = tip - tip.mean(0)
    line = np.linalg.svd(middle, full_matrices=False)[2][0]
    line = line * np.sign(line @ (tip[-1] - tip[0]))
    return middle @ line, middle @ np.array([-line[1], line[0]]), line


def _in_car(pose: FloatArray, tip: FloatArray) -> FloatArray:
    """(n, 2) m, the tip in car axes."""
    inside: FloatArray = np.einsum("nji,nj->ni", rotation(pose[:, 2]), tip - pose[:, :2])
    return inside


def _advance(pose: FloatArray, tip: FloatArray) -> FloatArray:
    """(n,) m, how far the touched place of the car has gone, 0 in the first frame."""
    touched = place(pose, np.median(_in_car(pose, tip), axis=0))
    chord = touched[-1] - touched[0]
    advance: FloatArray = (touched - touched[0]) @ chord / max(float(np.hypot(chord[0], chord[1])), 1e-9)
    return advance


def _goes_along(pose: FloatArray, tip: FloatArray) -> bool:
    """Whether the tip keeps its distance from the car's middle line while the car goes sideways."""
    inside = _in_car(pose, tip)
    touched, yaw = place(pose, np.median(inside, axis=0)), float(np.mean(pose[:, 2]))
    sideways = touched @ np.array([-np.sin(yaw), np.cos(yaw)])
    return bool(abs(np.polyfit(sideways, inside[:, 1], 1)[0]) <= LEFT_BEHIND)


def _read(pose: FloatArray, tip: FloatArray, yaw: float, design: FloatArray) -> FloatArray:
    """(4,) station at the start, direction against the car's left axis at yaw, bend, slip."""
    way, off, line = _along(tip)
    station = np.linalg.lstsq(design, _in_car(pose, tip)[:, 0], rcond=None)[0]
    sideways = np.linalg.lstsq(design, off, rcond=None)[0]
    reach = _reach(way, design)
    heading = np.arctan2(line[1], line[0]) + np.arctan(sideways[1] / reach) - (yaw + np.pi / 2)
    return np.array(
        [station[0], (heading + np.pi) % (2 * np.pi) - np.pi, 2.0 * sideways[2] / reach, station[1] + station[2]]
    )


def _reach(way: FloatArray, design: FloatArray) -> float:
    """m that the tip goes during the whole contact."""
    return float(np.ptp(way)) / max(float(np.ptp(design[:, 1])), 1e-9)


def _scatter(pose: FloatArray, tip: FloatArray, covariance: FloatArray, design: FloatArray) -> FloatArray:
    """(4,) standard uncertainties of `_read` from what differs from frame to frame."""
    way, off, _ = _along(tip)
    inverse = np.linalg.inv(design.T @ design)
    station, sideways = (
        float(np.sum(np.square(y - design @ np.linalg.lstsq(design, y, rcond=None)[0]))) / max(len(way) - 3, 1)
        for y in (_in_car(pose, tip)[:, 0], off)
    )
    reach = _reach(way, design)
    variance = [
        station * inverse[0, 0],
        sideways * inverse[1, 1] / reach**2 + float(np.median(covariance[:, 2, 2])),
        4.0 * sideways * inverse[2, 2] / reach**2,
        station * (inverse[1, 1] + inverse[2, 2] + 2 * inverse[1, 2]),
    ]
    return np.array([float(np.sqrt(one)) for one in variance])


def _residuals(pose: FloatArray, tip: FloatArray) -> tuple[float, float]:
    """m rms off one straight line on the floor, and along the car off one station."""
    return float(np.std(_along(tip)[1])), float(np.std(_in_car(pose, tip)[:, 0]))
