"""Poses of many frames at once: the camera from the floor markers, the car from its markers at a known height.

Both are models of the one robust fit in `vision.fitting.gauss_newton`.
"""

from dataclasses import dataclass, field

import numpy as np

from vision.base.plane import fit_rigid, plane_rotation
from vision.base.types import BoolArray, FloatArray
from vision.camera.model import rotation_of, undistort
from vision.fitting.gauss_newton import Fit, Optics, fit_corners_to
from vision.floor.fit import FloorFit
from vision.floor.geometry import first_camera_pose, on_level_plane
from vision.floor.laid_sheets import BOW_SHAPES, Ground

MOST_TURN = 0.3  # rad, about each axis, in one step of the camera


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraPoses:
    """camera_from_floor of n frames.

    rotation: (n, 3, 3).  place: (n, 3) m.
    covariance: (n, 6, 6) of rotation vector (rad, camera axes) and place (m), for unit corner noise (1 px).
    by_shared: (n, 6, s) its change per unit of [intrinsics q, ink, laid h], as `FloorFit` orders them.
    by_marker: (n, 6, m, 2) its change per px when a whole floor marker's corners move.
    noise: (n,) px.  used: (n,) corners behind each.
    zoom: (n,) relative, by how much longer a focal length would fit each frame better, and zoom_u: (n,) its uncertainty
    for unit corner noise.  by_zoom: (n, 6) change of the pose with it.
    readout, readout_u: (n,) s, the same of the picture's readout beyond the one believed.  by_readout: (n, 6) per s.
    """

    rotation: FloatArray
    place: FloatArray
    covariance: FloatArray
    by_shared: FloatArray
    by_marker: FloatArray
    noise: FloatArray
    used: FloatArray
    zoom: FloatArray
    zoom_u: FloatArray
    by_zoom: FloatArray
    readout: FloatArray
    readout_u: FloatArray
    by_readout: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class CarPoses:
    """Car poses of n frames, and how each depends on what all frames share.

    pose: (n, 3) x, y (m), yaw (rad).  covariance: (n, 3, 3) for unit corner noise (1 px).  noise: (n,) px per corner.
    residual: (n, m, 4, 2) px.  apart: the same after the six-degree fit, of a plate and an ink shift that are free.
    weight: (n, m, 4) 0..1.  used: (n,) corners that count.
    by_marker: (n, 3, m, 2) pose change per px when a whole marker's corners move.
    by_height: (n, 3) per m.  by_bow: (n, 3, 3) per m of the floor's shapes.  by_scale: (n, 3) per relative scale.
     by_camera: (n, 3, 6) per rotation vector (rad) and
    place (m) of the camera.  by_lens: (n, 3, q) per unit of the intrinsics' directions.  by_ink: (n, 3) per px.
    by_zoom: (n, 3) per relative change of the focal length.  by_readout: (n, 3) per s.
    lean: (n, 2) roll, pitch, rad, from a six-degree fit; lean_u: (n, 2) rad for unit corner noise.
    by_lean: (n, 3, 2) pose change per rad of roll and pitch of a plate that the fit holds level.
    rise: (n, 2) m, the plate above its height in that fit, and its uncertainty for unit corner noise.
    rise_by: (n, q + 1 + 3 + 6) m, its change per unit of the intrinsics' directions, ink (px), the floor's shapes (m)
    and the camera's rotation vector (rad) and place (m).
    extra_ink: (n,) px of ink shift that the frame would add, pose and rise being free.
    """

    pose: FloatArray
    covariance: FloatArray
    noise: FloatArray
    residual: FloatArray
    apart: FloatArray
    weight: FloatArray
    used: FloatArray
    by_marker: FloatArray
    by_height: FloatArray
    by_bow: FloatArray
    by_scale: FloatArray
    by_camera: FloatArray
    by_lens: FloatArray
    by_ink: FloatArray
    by_zoom: FloatArray
    by_readout: FloatArray
    lean: FloatArray
    lean_u: FloatArray
    by_lean: FloatArray
    rise: FloatArray
    rise_by: FloatArray
    extra_ink: FloatArray


@dataclass(slots=True)
class _CameraModel:
    """Floor corners (m, 4, 3) m seen by a camera at rotation (n, 3, 3) and place (n, 3) m, all six of it free.

    arm: (n, m, 4, 3) m, from where the camera sees the floor's origin to each corner, camera axes.
    """

    corner_place: FloatArray
    rotation: FloatArray
    place: FloatArray
    arm: FloatArray = field(init=False)

    def corners(self) -> FloatArray:
        self.arm = np.einsum("nij,mkj->nmki", self.rotation, self.corner_place)
        return self.arm + self.place[:, None, None, :]

    def derivatives(self, by_point: FloatArray) -> FloatArray:
        return np.concatenate([np.cross(self.arm[..., None, :], by_point), by_point], axis=-1)

    def move(self, step: FloatArray) -> None:
        step[:, :3] = np.clip(step[:, :3], -MOST_TURN, MOST_TURN)
        self.rotation = rotation_of(step[:, :3]) @ self.rotation
        self.place = self.place + step[:, 3:]


@dataclass(slots=True)
class _CarModel:
    """Plate corners (m, 4, 2) m at a height (n,) m of a car at pose (n, 3), which is free; the camera is known.

    rotation: (n, 3, 3), place: (n, 3) m: camera_from_floor.  turn: (n, 2, 2) of the car on the floor.
    arm: (n, m, 4, 2) m, from the car's origin to each corner, floor axes.  turned: (n, m, 4, 3) m, from the floor's
    origin to each corner, camera axes.
    """

    corner_place: FloatArray
    height: FloatArray
    rotation: FloatArray
    place: FloatArray
    pose: FloatArray
    turn: FloatArray = field(init=False)
    arm: FloatArray = field(init=False)
    turned: FloatArray = field(init=False)

    def corners(self) -> FloatArray:
        self.turn = plane_rotation(self.pose[:, 2])
        self.arm = np.einsum("nij,mkj->nmki", self.turn, self.corner_place)
        level = np.broadcast_to(self.height[:, None, None, None], (*self.arm.shape[:-1], 1))
        on_floor = np.concatenate([self.arm + self.pose[:, None, None, :2], level], axis=-1)
        self.turned = np.einsum("nij,nmkj->nmki", self.rotation, on_floor)
        return self.turned + self.place[:, None, None, :]

    def derivatives(self, by_point: FloatArray) -> FloatArray:
        by_floor = by_point @ self.rotation[:, None, None]
        spin = by_floor[..., 1] * self.arm[..., None, 0] - by_floor[..., 0] * self.arm[..., None, 1]
        return np.stack([by_floor[..., 0], by_floor[..., 1], spin], axis=-1)

    def move(self, step: FloatArray) -> None:
        self.pose = self.pose + step


def _seen_pixels(seen: FloatArray, optics: Optics) -> tuple[FloatArray, BoolArray]:
    """Corners (n, m, 4, 2) px with a number everywhere, and (n, m, 4) which were seen."""
    good: BoolArray = np.asarray(np.isfinite(seen).all(-1))
    return np.where(good[..., None], seen, optics.intrinsics[2:4]), good


def fit_cameras(
    seen: FloatArray, corner_place: FloatArray, optics: Optics, laid: FloatArray, smear: FloatArray | None = None
) -> CameraPoses:
    """The camera's pose in every frame from the floor markers seen in it.

    seen: (n, m, 4, 2) px, nan where not seen.  corner_place: (m, 4, 3) m.
    laid: (m, 4, 3, h) how the corners move with how the floor is laid, as `LaidFloor.columns`.
    smear: (n, m, 4, 2) px by which a readout of a second more would move them, `vision.fitting.readout`.
    """
    n = len(seen)
    model, fit = _fitted_cameras(seen, corner_place, optics)
    by_floor = fit.by_point @ model.rotation[:, None, None]
    columns = [fit.by_intrinsics @ optics.basis, fit.by_ink[..., None], by_floor @ laid]
    shared = np.concatenate(columns, axis=-1)
    zoomed = _by_zoom(fit, optics)
    found, u = fit.with_columns(zoomed)
    smeared = np.zeros_like(zoomed) if smear is None else smear.reshape(zoomed.shape)
    late, late_u = np.zeros((2, n, 8))
    if smear is not None:  # a focal length of the picture's own beside it: a zoom smears rows, too
        late, late_u = fit.with_columns(np.concatenate([zoomed, smeared], axis=-1))
    return CameraPoses(
        rotation=model.rotation,
        place=model.place,
        covariance=fit.covariance,
        by_shared=fit.change_by(np.nan_to_num(shared.reshape(n, -1, shared.shape[-1]))),
        by_marker=fit.gain.reshape(n, 6, len(corner_place), 4, 2).sum(3),
        noise=fit.noise,
        used=fit.used,
        zoom=found[:, 6],
        zoom_u=u[:, 6],
        by_zoom=fit.change_by(zoomed)[..., 0],
        readout=late[:, 7],
        readout_u=late_u[:, 7],
        by_readout=fit.change_by(smeared)[..., 0],
    )


def _fitted_cameras(seen: FloatArray, corner_place: FloatArray, optics: Optics) -> tuple[_CameraModel, Fit]:
    n = len(seen)
    pixel, good = _seen_pixels(seen, optics)
    ray = undistort(pixel, optics.intrinsics)
    start = first_camera_pose(
        ray.reshape(n, -1, 2), corner_place[..., :2].reshape(-1, 2), good.reshape(n, -1).astype(float)
    )
    model = _CameraModel(corner_place, *start)
    return model, fit_corners_to(model, pixel, good, optics)


def sheet_offsets(seen: FloatArray, corner_place: FloatArray, optics: Optics, own: BoolArray) -> FloatArray:
    """(n, 3) m, m, rad: where some of the floor's markers lie beside their places, turned about their middle, by every
    picture alone; its camera's place and focal length are found with it.

    seen: (n, m, 4, 2) px, nan where not seen.  corner_place: (m, 4, 3) m.  own: (m,) those markers.
    """
    model, fit = _fitted_cameras(seen, corner_place, optics)
    by_floor = fit.by_point @ model.rotation[:, None, None]
    arm = corner_place - corner_place[own].mean((0, 1))
    moved = np.zeros((*corner_place.shape, 3))
    moved[own, :, 0, 0] = moved[own, :, 1, 1] = 1.0
    moved[own, :, 0, 2], moved[own, :, 1, 2] = -arm[own][..., 1], arm[own][..., 0]
    columns = np.concatenate([_by_zoom(fit, optics), (by_floor @ moved).reshape(len(seen), -1, 3)], axis=-1)
    return fit.with_columns(columns)[0][:, 7:]


def _by_zoom(fit: Fit, optics: Optics) -> FloatArray:
    """(n, 8 m, 1) px by which the corners move for a relative change of the focal length."""
    by_focal = fit.by_intrinsics[..., :2] @ optics.intrinsics[:2]
    return by_focal.reshape(len(by_focal), -1, 1)


def fit_cars(
    seen: FloatArray,
    corner_place: FloatArray,
    height: float,
    camera_from_floor: tuple[FloatArray, FloatArray],
    optics: Optics,
    ground: Ground | None = None,
    smear: FloatArray | None = None,
) -> CarPoses:
    """The car's pose in every frame: one planar fit of all its markers, and a six-degree fit for the lean.

    seen: (n, m, 4, 2) px, nan where not seen.  corner_place: (m, 4, 2) m, car axes.  height: m.
    camera_from_floor: rotation (n or 1, 3, 3) and place (n or 1, 3) m.  ground: under the car, None where it is flat.
    smear: (n, m, 4, 2) px by which a readout of a second more would move the corners.
    """
    n, m = seen.shape[:2]
    rotation = np.broadcast_to(camera_from_floor[0], (n, 3, 3))
    place = np.broadcast_to(camera_from_floor[1], (n, 3))
    pixel, good = _seen_pixels(seen, optics)
    weight, middle = good.reshape(n, -1).astype(float), corner_place.reshape(-1, 2).mean(0)
    on_floor = on_level_plane(pixel.reshape(n, -1, 2), np.full(n, height), rotation, place, optics.intrinsics)
    start = fit_rigid(corner_place.reshape(-1, 2), on_floor, weight)
    stands = start[:, :2] + plane_rotation(start[:, 2]) @ middle  # a millimetre off changes no height
    level = np.full(n, height) if ground is None else height + ground.height(stands)
    model = _CarModel(corner_place, level, rotation, place, start)
    fit = fit_corners_to(model, pixel, good, optics)
    gain = fit.gain
    by_floor = fit.by_point @ rotation[:, None, None]
    from_middle = np.einsum("nij,mkj->nmki", model.turn, corner_place - middle)
    scale = np.einsum("nmkij,nmkj->nmki", by_floor[..., :2], from_middle).reshape(n, -1, 1)
    by_camera = np.concatenate([np.cross(model.turned[..., None, :], fit.by_point), fit.by_point], axis=-1)
    up, ink = by_floor[..., 2].reshape(n, -1, 1), np.nan_to_num(fit.by_ink).reshape(n, -1, 1)
    lens = (fit.by_intrinsics @ optics.basis).reshape(n, gain.shape[2], optics.basis.shape[1])
    by_camera = by_camera.reshape(n, -1, 6)
    tilting = _tilting(model, by_floor[..., 2], middle)
    lean, lean_u, rise, by_lean, rise_gain = _lean(fit, tilting)
    by_ground = np.zeros((n, BOW_SHAPES)) if ground is None else -ground.floor.bow_shapes(stands)
    rise_by = -(rise_gain[:, None] @ np.concatenate([lens, ink, by_camera], axis=-1))[:, 0]
    by_height = -(gain @ up)[..., 0]
    pose, by_bow = model.pose.copy(), np.zeros((n, 3, BOW_SHAPES))
    if ground is not None:
        slopes = ground.floor.bow_slopes(stands)
        tilts = np.stack([model.turn[:, :, 1], -model.turn[:, :, 0]], axis=1) @ slopes  # left side up, nose down
        pose[:, :2] += ground.foot(stands, height)
        pose -= (by_lean @ tilts) @ ground.bow
        lean = lean - tilts @ ground.bow
        by_bow = by_height[..., None] * ground.floor.bow_shapes(stands)[:, None] - by_lean @ tilts
        by_bow[:, :2] += height * slopes
    return CarPoses(
        pose=pose,
        covariance=fit.covariance,
        noise=fit.noise,
        residual=fit.residual,
        apart=fit.left_with(np.concatenate([tilting, ink], axis=-1)),
        weight=fit.weight,
        used=fit.used,
        by_marker=gain.reshape(n, 3, m, 4, 2).sum(3),
        by_height=by_height,
        by_bow=by_bow,
        by_scale=-(gain @ scale)[..., 0],
        by_camera=-(gain @ by_camera),
        by_lens=-(gain @ lens),
        by_ink=-(gain @ ink)[..., 0],
        by_zoom=-(gain @ _by_zoom(fit, optics))[..., 0],
        by_readout=np.zeros((n, 3)) if smear is None else -(gain @ smear.reshape(n, -1, 1))[..., 0],
        lean=lean,
        lean_u=lean_u,
        by_lean=by_lean,
        rise=rise,
        rise_by=np.concatenate([rise_by[:, :-6], by_ground, rise_by[:, -6:]], axis=1),
        extra_ink=fit.with_columns(np.concatenate([up, ink], axis=-1))[0][:, 4],
    )


def _tilting(model: _CarModel, up: FloatArray, middle: FloatArray) -> FloatArray:
    """(n, 8 m, 3) px by which the corners move for the plate's rise, m, and its roll and pitch about its own middle.

    up: (n, m, 4, 2) px per m of height.  middle: (2,) m, car axes.
    """
    reach = model.arm - np.einsum("nij,j->ni", model.turn, middle)[:, None, None]
    forward = np.einsum("nmki,ni->nmk", reach, model.turn[:, :, 0])[..., None]
    sideways = np.einsum("nmki,ni->nmk", reach, model.turn[:, :, 1])[..., None]
    return np.stack([up, up * sideways, -up * forward], axis=-1).reshape(len(up), -1, 3)


def _lean(fit: Fit, tilting: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Roll and pitch (n, 2) rad of the plate about its own middle, their uncertainty (n, 2) rad for unit corner noise,
    the plate's rise (n, 2) m with its own, what the lean does to the level pose (n, 3, 2) per rad, and the change of
    the rise (n, 8 m) m per px of every coordinate: one linear step from that pose.

    tilting: (n, 8 m, 3) as `_tilting`.
    """
    found, u = fit.with_columns(tilting)
    rise = np.stack([found[:, 3], u[:, 3]], axis=-1)
    return found[:, 4:6], u[:, 4:6], rise, fit.gain @ tilting[..., 1:], fit.gain_with(tilting)[:, 3]


def rise_doubt(cars: CarPoses, fit: FloorFit, views: CameraPoses, spread: FloatArray, still: BoolArray) -> FloatArray:
    """(n,) m, standard uncertainty of the plate's rise from lens, ink, floor and camera. spread: (n, 6, 6), of each
    frame's own camera pose.  still: (n,), in which frames it is the fit's."""
    lens, bow, head = fit.basis.shape[1], fit.floor.bow_part, fit.shared_count
    gain = np.zeros((len(cars.pose), head))
    own, by_camera = cars.rise_by[:, :-6], cars.rise_by[:, -6:]
    gain[:, : lens + 1] = own[:, : lens + 1]
    gain[:, lens + 1 + bow.start : lens + 1 + bow.stop] = own[:, lens + 1 :]
    gain += np.einsum("ni,nis->ns", by_camera, views.by_shared)
    if still.any():
        gain, head = np.concatenate([gain, by_camera * still[:, None]], axis=1), head + 6
    variance = ((gain @ fit.covariance[:head, :head]) * gain).sum(1)
    variance += np.einsum("ni,nij,nj->n", by_camera, spread, by_camera)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)), float)
