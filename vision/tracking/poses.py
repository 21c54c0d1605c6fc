"""Poses of many frames at once: the camera from the floor markers, the car from its markers at a known height.

Everything is one weighted Gauss-Newton fit per frame, done for all frames of a chunk together. Weights fade
corners that do not fit (a moved, bent or half-hidden marker) and come out with the result.
"""

from dataclasses import dataclass

import numpy as np

from vision.base.plane import fit_rigid, plane_rotation
from vision.base.robust import fading_weight
from vision.base.types import BoolArray, FloatArray
from vision.camera.model import project_with_derivatives, rotation_of, undistort
from vision.floor.geometry import bent_edge_shift, first_camera_pose, ink_direction

ROUNDS = 10
GENTLE = 5  # rounds with weights of a convex cost (Huber), which lead to where fading may begin
COUNTS = 0.2  # a corner faded beyond this does not count as seen


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraPoses:
    """camera_from_floor per frame. by_shared: (n, 6, s) its change per unit of [intrinsics q, ink, sheets].

    covariance: (n, 6, 6) for unit corner noise (1 px).  noise: (n,) px.  used: (n,) corners behind each.
    """

    rotation: FloatArray
    place: FloatArray
    covariance: FloatArray
    by_shared: FloatArray
    noise: FloatArray
    used: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class CarPoses:
    """Car poses per frame, and how each depends on what all frames share.

    pose: (n, 3) x, y, yaw.  covariance: (n, 3, 3) for unit corner noise.  noise: (n,) px per corner.
    residual: (n, m, 4, 2) px.  weight: (n, m, 4).  used: (n,) corners that count.
    by_marker: (n, 3, m, 2) pose change when a whole marker's corners move by one pixel.
    by_height, by_scale: (n, 3).  by_camera: (n, 3, 6) per camera pose.  by_lens: (n, 3, q).  by_ink: (n, 3).
    lean: (n, 2) roll, pitch, rad, from a six-degree fit; lean_u: (n, 2) for unit corner noise.
    rise: (n, 2) m, the plate above its height in that fit, and its uncertainty for unit corner noise.
    ink_left: (n,) px of ink shift that the frame would add, pose and rise being free.
    """

    pose: FloatArray
    covariance: FloatArray
    noise: FloatArray
    residual: FloatArray
    weight: FloatArray
    used: FloatArray
    by_marker: FloatArray
    by_height: FloatArray
    by_scale: FloatArray
    by_camera: FloatArray
    by_lens: FloatArray
    by_ink: FloatArray
    lean: FloatArray
    lean_u: FloatArray
    rise: FloatArray
    ink_left: FloatArray


def _gentle(rest: FloatArray, seen: BoolArray, least: float) -> FloatArray:
    """(n, m, 4) Huber's weights: an odd marker pulls no harder for being farther off."""
    size = np.hypot(rest[..., 0], rest[..., 1])
    return np.where(seen, least / np.maximum(size, least), 0.0)


def _fading(rest: FloatArray, seen: BoolArray, least: float) -> FloatArray:
    """(n, m, 4) weights: full for corners that fit about as well as the frame's others, fading beyond."""
    size = np.where(seen, np.hypot(rest[..., 0], rest[..., 1]), np.nan)
    flat = size.reshape(len(size), -1)
    usual = np.full(len(size), least)
    some = seen.reshape(len(seen), -1).any(1)
    if some.any():
        usual[some] = np.maximum(least, np.nanmedian(flat[some], axis=1) / 1.177)  # Rayleigh median to sigma
    return np.where(seen, fading_weight(size, usual[:, None, None]), 0.0)


def _solve(normal: FloatArray, right: FloatArray) -> FloatArray:
    """Batched solve that survives frames without enough corners (their result means nothing, `used` says so)."""
    size = np.trace(normal, axis1=-2, axis2=-1)[:, None, None] + 1e-30
    result: FloatArray = np.linalg.solve(normal + 1e-13 * size * np.eye(normal.shape[-1]), right)
    return result


def fit_cameras(
    seen: FloatArray,
    corner_place: FloatArray,
    intrinsics: FloatArray,
    ink: float,
    *,
    basis: FloatArray,
    sheet_of: tuple[int, ...],
    least_noise: float = 0.03,
) -> CameraPoses:
    """The camera's pose in every frame from the floor markers seen in it.

    seen: (n, m, 4, 2) px, nan where not seen.  corner_place: (m, 4, 2) m.  basis, sheet_of: as in `FloorFit`.
    """
    n = len(seen)
    good: BoolArray = np.asarray(np.isfinite(seen).all(-1))
    pixel = np.where(good[..., None], seen, intrinsics[2:4])
    ray = undistort(pixel, intrinsics)
    rotation, place = first_camera_pose(
        ray.reshape(n, -1, 2), corner_place.reshape(-1, 2), good.reshape(n, -1).astype(float)
    )
    weight = good.astype(float)
    for trial in range(ROUNDS):
        arm = np.einsum("nij,mkj->nmki", rotation[..., :2], corner_place)
        point = arm + place[:, None, None, :]
        point[..., 2] = np.maximum(point[..., 2], 0.01)
        seen_at, by_point, by_intrinsics = project_with_derivatives(point, intrinsics)
        if trial < 2 or trial == ROUNDS - 1:
            shrink = ink_direction(seen_at)
            shift = bent_edge_shift(point, intrinsics) + ink * shrink
        rest = np.where(good[..., None], pixel - seen_at - shift, 0.0)
        if trial >= 1:
            weight = (_fading if trial > GENTLE else _gentle)(rest, good, least_noise)
        jacobian = np.concatenate([np.cross(arm[..., None, :], by_point), by_point], axis=-1).reshape(n, -1, 6)
        w = np.repeat(weight.reshape(n, -1), 2, axis=1)
        weighted = jacobian * w[..., None]
        normal = np.swapaxes(jacobian, 1, 2) @ weighted
        if trial == ROUNDS - 1:
            break
        step = _solve(normal, np.swapaxes(weighted, 1, 2) @ rest.reshape(n, -1, 1))[..., 0]
        step[:, :3] = np.clip(step[:, :3], -0.3, 0.3)
        rotation = rotation_of(step[:, :3]) @ rotation
        place = place + step[:, 3:]
    by_floor = by_point @ rotation[:, None, None, :, :2]
    columns = [by_intrinsics @ basis, shrink[..., None]]
    numbers = np.array(sheet_of)
    for number in range(max(sheet_of) + 1):
        own = (numbers == number)[:, None, None, None]
        middle = corner_place[numbers == number].reshape(-1, 2).mean(0)
        reach = corner_place - middle
        turn = np.stack([-reach[..., 1], reach[..., 0]], axis=-1)
        columns.append(by_floor * own)
        columns.append(np.einsum("nmkij,mkj->nmki", by_floor, turn)[..., None] * own)
    together = np.concatenate(columns, axis=-1)
    shared = together.reshape(n, -1, together.shape[-1])
    by_shared = -_solve(normal, np.swapaxes(weighted, 1, 2) @ np.nan_to_num(shared))
    used = (weight > COUNTS).sum((1, 2))
    noise = np.sqrt((w * rest.reshape(n, -1) ** 2).sum(1) / np.maximum(w.sum(1) - 6, 2.0))
    return CameraPoses(
        rotation=rotation,
        place=place,
        covariance=_solve(normal, np.broadcast_to(np.eye(6), normal.shape)),
        by_shared=by_shared,
        noise=noise,
        used=used,
    )


def fit_cars(
    seen: FloatArray,
    corner_place: FloatArray,
    height: float,
    rotation: FloatArray,
    place: FloatArray,
    intrinsics: FloatArray,
    ink: float,
    *,
    basis: FloatArray,
    least_noise: float = 0.03,
) -> CarPoses:
    """The car's pose in every frame: one planar fit of all its markers, and a six-degree fit for the lean.

    seen: (n, m, 4, 2) px, nan where not seen.  corner_place: (m, 4, 2) m, car axes.  height: m.
    rotation (n or 1, 3, 3), place (n or 1, 3): camera_from_floor.
    """
    n, m = seen.shape[:2]
    rotation = np.broadcast_to(rotation, (n, 3, 3))
    place = np.broadcast_to(place, (n, 3))
    good: BoolArray = np.asarray(np.isfinite(seen).all(-1))
    pixel = np.where(good[..., None], seen, intrinsics[2:4])
    weight = good.astype(float)
    pose = _first_pose(pixel, weight, corner_place, height, rotation, place, intrinsics)
    middle = corner_place.reshape(-1, 2).mean(0)
    for trial in range(ROUNDS):
        turn = plane_rotation(pose[:, 2])
        arm = np.einsum("nij,mkj->nmki", turn, corner_place)
        on_floor = np.concatenate([arm + pose[:, None, None, :2], np.full((n, m, 4, 1), height)], axis=-1)
        turned = np.einsum("nij,nmkj->nmki", rotation, on_floor)
        point = turned + place[:, None, None, :]
        point[..., 2] = np.maximum(point[..., 2], 0.01)
        seen_at, by_point, by_intrinsics = project_with_derivatives(point, intrinsics)
        if trial < 2 or trial == ROUNDS - 1:
            shrink = ink_direction(seen_at)
            shift = bent_edge_shift(point, intrinsics) + ink * shrink
        rest = np.where(good[..., None], pixel - seen_at - shift, 0.0)
        if trial >= 1:
            weight = (_fading if trial > GENTLE else _gentle)(rest, good, least_noise)
        by_floor = by_point @ rotation[:, None, None]
        spin = by_floor[..., 1] * arm[..., None, 0] - by_floor[..., 0] * arm[..., None, 1]
        jacobian = np.stack([by_floor[..., 0], by_floor[..., 1], spin], axis=-1).reshape(n, -1, 3)
        w = np.repeat(weight.reshape(n, -1), 2, axis=1)
        weighted = jacobian * w[..., None]
        normal = np.swapaxes(jacobian, 1, 2) @ weighted
        if trial == ROUNDS - 1:
            break
        pose = pose + _solve(normal, np.swapaxes(weighted, 1, 2) @ rest.reshape(n, -1, 1))[..., 0]
    gain = _solve(normal, np.swapaxes(weighted, 1, 2))  # (n, 3, rows): pose per pixel
    used = (weight > COUNTS).sum((1, 2))
    flat = rest.reshape(n, -1)
    noise = np.sqrt((w * flat**2).sum(1) / np.maximum(w.sum(1) - 3, 2.0))
    scale = np.einsum("nmkij,nmkj->nmki", by_floor[..., :2], np.einsum("nij,mkj->nmki", turn, corner_place - middle))
    by_camera = np.concatenate([np.cross(turned[..., None, :], by_point), by_point], axis=-1).reshape(n, -1, 6)
    lean, lean_u, rise = _lean(jacobian, by_floor, arm, turn, middle, w, flat)
    ink_left = _left(jacobian, by_floor[..., 2].reshape(n, -1, 1), np.nan_to_num(shrink).reshape(n, -1, 1), w, flat)
    return CarPoses(
        pose=pose,
        covariance=_solve(normal, np.broadcast_to(np.eye(3), normal.shape)),
        noise=noise,
        residual=rest,
        weight=weight,
        used=used,
        by_marker=gain.reshape(n, 3, m, 4, 2).sum(3),
        by_height=-(gain @ by_floor[..., 2].reshape(n, -1, 1))[..., 0],
        by_scale=-(gain @ scale.reshape(n, -1, 1))[..., 0],
        by_camera=-(gain @ by_camera),
        by_lens=-(gain @ (by_intrinsics @ basis).reshape(n, flat.shape[1], basis.shape[1])),
        by_ink=-(gain @ np.nan_to_num(shrink).reshape(n, -1, 1))[..., 0],
        lean=lean,
        lean_u=lean_u,
        rise=rise,
        ink_left=ink_left,
    )


def _first_pose(
    pixel: FloatArray,
    weight: FloatArray,
    corner_place: FloatArray,
    height: float,
    rotation: FloatArray,
    place: FloatArray,
    intrinsics: FloatArray,
) -> FloatArray:
    """Closed form: rays onto the marker plane, then a weighted rigid fit in the plane."""
    n = len(pixel)
    ray = undistort(pixel.reshape(n, -1, 2), intrinsics)
    direction = np.concatenate([ray, np.ones((*ray.shape[:-1], 1))], axis=-1) @ rotation
    eye = -np.einsum("nji,nj->ni", rotation, place)
    steep = np.where(np.abs(direction[..., 2]) < 1e-6, -1e-6, direction[..., 2])
    distance = (height - eye[:, None, 2]) / steep
    on_floor = eye[:, None, :2] + distance[..., None] * direction[..., :2]
    return fit_rigid(corner_place.reshape(-1, 2), on_floor, weight.reshape(n, -1))


def _left(jacobian: FloatArray, up: FloatArray, shrink: FloatArray, w: FloatArray, rest: FloatArray) -> FloatArray:
    five = np.concatenate([jacobian, up, shrink], axis=-1)
    weighted = five * w[..., None]
    result: FloatArray = _solve(np.swapaxes(five, 1, 2) @ weighted, np.swapaxes(weighted, 1, 2) @ rest[..., None])[
        :, 4, 0
    ]
    return result


def _lean(
    jacobian: FloatArray,
    by_floor: FloatArray,
    arm: FloatArray,
    turn: FloatArray,
    middle: FloatArray,
    w: FloatArray,
    rest: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Roll and pitch of the plate about its own middle, and its rise, m: one linear step from the level pose."""
    n = len(arm)
    reach = arm - np.einsum("nij,j->ni", turn, middle)[:, None, None]
    ahead, left = turn[:, :, 0], turn[:, :, 1]
    up = by_floor[..., 2]
    forward = np.einsum("nmki,ni->nmk", reach, ahead)[..., None]
    sideways = np.einsum("nmki,ni->nmk", reach, left)[..., None]
    six = np.concatenate([jacobian, np.stack([up, up * sideways, -up * forward], axis=-1).reshape(n, -1, 3)], axis=-1)
    weighted = six * w[..., None]
    normal = np.swapaxes(six, 1, 2) @ weighted
    found = _solve(normal, np.swapaxes(weighted, 1, 2) @ rest[..., None])[..., 0]
    covariance = _solve(normal, np.broadcast_to(np.eye(6), normal.shape))
    u = np.sqrt(np.maximum(np.diagonal(covariance, axis1=1, axis2=2), 0.0))
    return found[:, 4:6], u[:, 4:6], np.stack([found[:, 3], u[:, 3]], axis=-1)
