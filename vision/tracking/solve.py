"""From sightings to poses: was the camera still, where is it, where is the car, and how unsure is all that."""

import warnings
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from vision.base.chunks import frames_together
from vision.base.errors import VisionError
from vision.base.types import Camera, CarMarkers, FloatArray, FloorLayout
from vision.floor.fit import FloorFit, guess_camera
from vision.floor.geometry import marker_corners
from vision.tracking.clip_floor import fit_clip_floor, is_moving, median_seen, temporal_noise
from vision.tracking.gauss_newton import Optics
from vision.tracking.poses import CameraPoses, CarPoses, fit_cameras, fit_cars

LEAST_CORNERS = 8  # two whole markers
SHARED_KEPT = 8
CARD_CAUSES = 6  # leading shared causes that come from the cards; the rest are camera and floor places
LEAST_RESIDUAL = 0.08  # px; the least that counts as a usual residual when odd corners are faded
INK_FRAMES = 80  # frames behind the difference of the car's ink shift from the floor's


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """What is kept of one chunk of n frames; see Solved. What the poses were worked out with goes with the chunk.

    shared: (k, n, 3) of all causes.  rest: (n, m, 2) mean residual of each car marker, weight: (n, m) mean weight.
    extra_ink: (n,) px.
    """

    pose: FloatArray
    unit: FloatArray
    noise: FloatArray
    used: FloatArray
    floor_used: FloatArray
    repeating_gain: FloatArray
    lean: FloatArray
    lean_u: FloatArray
    rise: FloatArray
    extra_ink: FloatArray
    marker_mean: FloatArray
    rest: FloatArray
    weight: FloatArray
    shared: FloatArray
    names: tuple[str, ...]
    camera_part: FloatArray
    m_per_px: FloatArray
    rotation: FloatArray
    place: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """Poses of all n frames of the pass, vouched for or not; see ClipTrack for the shapes.

    fit: of the floor.  moving: whether the camera was taken as moving.  used: (n,) car corners behind a pose.
    noise: (n,) px, residual scale of each frame.  corner_noise: px, usual frame-to-frame noise of one corner.
    rotation (k, 3, 3), place (k, 3): camera_from_floor, k = n when moving and 1 otherwise.
    unit: (n, 3, 3) covariance for 1 px of corner noise.  by_marker: (n, 3, m, 2).  marker_rest: (m, 2) px, usual
    residual of each car marker over the frames; marker_mean: (n, m, 2) px frame by frame.  m_per_px: (n,).
    floor_used: (n,).  car_ink: px, ink shift of the car's markers (smaller markers leave less room for their edges).
    """

    fit: FloorFit
    moving: bool
    rotation: FloatArray
    place: FloatArray
    pose: FloatArray
    unit: FloatArray
    noise: FloatArray
    used: FloatArray
    floor_used: FloatArray
    corner_noise: float
    marker_rest: FloatArray
    marker_weight: FloatArray
    repeating_gain: FloatArray
    marker_mean: FloatArray
    car_ink: float
    lean: FloatArray
    lean_u: FloatArray
    rise: FloatArray
    m_per_px: FloatArray
    shared: FloatArray
    shared_names: tuple[str, ...]
    camera_part: FloatArray


def solve(
    corner: FloatArray,
    floor: FloorLayout,
    car: CarMarkers,
    camera: Camera | None,
    size: tuple[int, int],
) -> Solved:
    """All poses of a pass. corner: (n, m, 4, 2) px, floor markers first."""
    count = len(floor.markers)
    on_floor = corner[:, :count]
    moves = is_moving(on_floor)
    fit = fit_clip_floor(on_floor, floor, camera if camera is not None else guess_camera(size), moves=moves)
    if not np.isfinite(fit.covariance).all():
        raise VisionError(
            "the floor markers do not fix the camera's place",
            where="floor markers",
            remedy="Lay the floor markers farther apart, around the car, and keep them in the picture",
        )
    noise = temporal_noise(on_floor) if not moves else fit.noise
    ink = _car_ink(corner, count, floor, car, fit, moves, max(noise, LEAST_RESIDUAL))
    parts = list(_chunks(corner, count, floor, car, fit, moves, max(noise, LEAST_RESIDUAL), ink))
    return _joined(parts, fit, moves, noise, car, ink)


def _car_ink(
    corner: FloatArray,
    count: int,
    floor: FloorLayout,
    car: CarMarkers,
    fit: FloorFit,
    moves: bool,
    noise: float,
) -> float:
    """Ink shift of the car's markers, px: what a sample of frames says, with the floor's as a prior."""
    whole = np.flatnonzero(np.isfinite(corner[:, count:]).all((2, 3)).sum(1) >= 2)
    if not len(whole):
        return fit.ink
    picked = corner[whole[np.linspace(0, len(whole) - 1, min(INK_FRAMES, len(whole))).astype(int)]]
    (cars,) = _chunks(picked, count, floor, car, fit, moves, noise, fit.ink)
    usable = cars.used >= LEAST_CORNERS
    if not usable.any():
        return fit.ink
    return fit.ink + float(np.clip(np.median(cars.extra_ink[usable]), -0.3, 0.3))


def _chunks(
    corner: FloatArray,
    count: int,
    floor: FloorLayout,
    car: CarMarkers,
    fit: FloorFit,
    moves: bool,
    noise: float,
    ink: float,
) -> Iterator[_Part]:
    place = marker_corners(car.markers)
    for frames in frames_together(len(corner)):
        part = corner[frames].astype(float)
        if moves:
            optics = Optics(intrinsics=fit.intrinsics, basis=fit.basis, ink=fit.ink, least_residual=noise)
            views = fit_cameras(part[:, :count], fit.corner_place, optics, fit.sheet_of)
            rotation, origin, used = views.rotation, views.place, views.used
            by_floor, spread = views.by_shared, _frame_spread(views)
        else:
            rotation, origin = fit.rotation, fit.place
            used = np.full(len(part), np.inf)
            by_floor, spread = np.zeros((len(part), 6, 0)), np.zeros((len(part), 6, 6))
        optics = Optics(intrinsics=fit.intrinsics, basis=fit.basis, ink=ink, least_residual=noise)
        cars = fit_cars(part[:, count:], place, car.height, (rotation, origin), optics)
        shared, names = _shared(cars, fit, moves, by_floor, floor, car, np.broadcast_to(origin, (len(part), 3)))
        per_frame = cars.by_camera @ spread @ np.swapaxes(cars.by_camera, 1, 2)
        distance = np.abs(np.linalg.norm(np.broadcast_to(origin, (len(part), 3)), axis=-1))
        counted = np.where(cars.weight[..., None] > 0, cars.residual, np.nan)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # a marker not seen has no residual
            mean = np.nanmean(np.where(cars.weight[..., None] > 0.3, cars.residual, np.nan), axis=2)
        yield _Part(
            pose=cars.pose,
            unit=cars.covariance,
            noise=cars.noise,
            used=cars.used,
            floor_used=used,
            repeating_gain=cars.by_marker,
            lean=cars.lean,
            lean_u=cars.lean_u,
            rise=cars.rise,
            extra_ink=cars.extra_ink,
            marker_mean=mean,
            rest=counted.mean(2),
            weight=np.where(cars.weight > 0, cars.weight, np.nan).mean(2),
            shared=shared,
            names=names,
            camera_part=per_frame,
            m_per_px=distance / fit.intrinsics[0],
            rotation=rotation,
            place=origin,
        )


def _frame_spread(views: CameraPoses) -> FloatArray:
    """(n, 6, 6) covariance of each frame's camera pose; one frame's own residuals say too little to go below usual."""
    usual = max(float(np.median(views.noise)), 0.015)
    spread: FloatArray = views.covariance * np.maximum(views.noise, usual)[:, None, None] ** 2
    return spread


def _shared(
    cars: CarPoses,
    fit: FloorFit,
    moves: bool,
    by_floor: FloatArray,
    floor: FloorLayout,
    car: CarMarkers,
    origin: FloatArray,
) -> tuple[FloatArray, tuple[str, ...]]:
    """(k, n, 3) pose change for one standard uncertainty of each shared cause."""
    n = len(cars.pose)
    c, s, zero = np.cos(cars.pose[:, 2]), np.sin(cars.pose[:, 2]), np.zeros(n)
    along = np.stack([c, s, zero], axis=-1)
    across = np.stack([-s, c, zero], axis=-1)
    middle = marker_corners(car.markers).reshape(-1, 2).mean(0)
    # Turning the plate about its own middle also moves the rear axle's middle.
    turn = np.stack([c * middle[1] + s * middle[0], s * middle[1] - c * middle[0], zero + 1.0], axis=-1)
    scaled = np.concatenate([np.zeros((n, 3)), origin], axis=-1)[..., None]
    causes = {
        "height of the markers": cars.by_height * car.height_u,
        "print scale of the car sheet": cars.by_scale * car.scale_u,
        "place of the plate along the car": along * car.place_u,
        "place of the plate across the car": across * car.place_u,
        "turn of the plate on the car": turn * car.turn_u,
        "print scale of the floor sheets": (cars.by_camera @ scaled)[..., 0] * floor.scale_u,
    }
    lens = fit.basis.shape[1]
    head = fit.shared_count
    direct = np.zeros((n, 3, head))
    direct[..., :lens] = cars.by_lens
    direct[..., lens] = cars.by_ink
    if moves:
        gain = direct + cars.by_camera @ by_floor
        covariance = fit.covariance[:head, :head]
    else:
        gain = np.concatenate([direct, cars.by_camera], axis=-1)
        covariance = fit.covariance[: head + 6, : head + 6]
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    parts = np.moveaxis(gain @ root, -1, 0)  # (k, n, 3)
    return (
        np.concatenate([np.stack(list(causes.values())), parts]),
        (*causes, *(f"camera and floor markers {i + 1}" for i in range(len(parts)))),
    )


def _joined(
    parts: list[_Part],
    fit: FloorFit,
    moves: bool,
    noise: float,
    car: CarMarkers,
    ink: float,
) -> Solved:
    def all_of(name: str) -> FloatArray:
        return np.concatenate([getattr(part, name) for part in parts])

    shared, names = _compact([part.shared for part in parts], CARD_CAUSES, parts[0].names)
    good = all_of("used") >= LEAST_CORNERS
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a marker never seen has no residual
        marker_rest = median_seen(all_of("rest")[good]) if good.any() else np.zeros((len(car.markers), 2))
        marker_weight = np.nanmedian(all_of("weight")[good], axis=0)
    views = parts if moves else parts[:1]
    return Solved(
        fit=fit,
        moving=moves,
        rotation=np.concatenate([part.rotation for part in views]),
        place=np.concatenate([part.place for part in views]),
        corner_noise=noise,
        car_ink=ink,
        marker_rest=np.nan_to_num(marker_rest),
        marker_weight=np.nan_to_num(marker_weight, nan=1.0),
        shared=shared,
        shared_names=names,
        pose=all_of("pose"),
        unit=all_of("unit"),
        noise=all_of("noise"),
        used=all_of("used"),
        floor_used=all_of("floor_used"),
        marker_mean=all_of("marker_mean"),
        repeating_gain=all_of("repeating_gain"),
        lean=all_of("lean"),
        lean_u=all_of("lean_u"),
        rise=all_of("rise"),
        m_per_px=all_of("m_per_px"),
        camera_part=all_of("camera_part"),
    )


def _compact(shared: list[FloatArray], fixed: int, names: tuple[str, ...]) -> tuple[FloatArray, tuple[str, ...]]:
    """Join the many small camera causes of all chunks into the few independent combinations that matter."""
    rest = [part[fixed:] for part in shared]
    flat = [np.where(np.isfinite(part), part, 0.0).reshape(len(part), -1) for part in rest]
    values, vectors = np.linalg.eigh(np.sum([part @ part.T for part in flat], axis=0))
    order = np.argsort(values)[::-1][:SHARED_KEPT]
    kept = [i for i in order if values[i] > 1e-6 * max(values[order[0]], 1e-30)]
    joined = [
        np.concatenate([part[:fixed], np.einsum("ik,inj->knj", vectors[:, kept], part[fixed:])]) for part in shared
    ]
    return np.concatenate(joined, axis=1), names[: fixed + len(kept)]
