"""Where floor sheets lie that were put down without measuring: learned from a clip in which the camera moves."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from vision.base.errors import InputError, VisionError
from vision.base.plane import fit_rigid, moved
from vision.base.types import BoolArray, Camera, CarMarkers, FloatArray, FloorLayout, Marker
from vision.camera.model import fitting_camera, floor_point, intrinsics_of, undistort
from vision.floor.fit import FloorFit, fit_floor, guess_camera
from vision.floor.geometry import first_camera_pose, marker_corners
from vision.floor.laid_sheets import sheet_numbers
from vision.tracking.follow import Follower, follow_clip

FAR = (2.0, 2.0, 3.0)  # m, m, rad: an unknown place
FIXED = 1e-7  # the first sheet defines the floor axes
MOST_VIEWS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedLayout:
    """Places found. floor: the layout with them; its place_u is the rms of `place_u`.

    place_u: (s,) m and turn_u: (s,) rad standard uncertainty of each sheet against the first.
    noise: px per corner.  views: frames used.  camera: the one given, or as estimated.
    """

    floor: FloorLayout
    place_u: FloatArray
    turn_u: FloatArray
    noise: float
    views: int
    camera: Camera


def learn_layout(
    source: Path | str | FloatArray,
    floor: FloorLayout,
    *,
    camera: Camera | None = None,
    size: tuple[int, int] | None = None,
    progress: Callable[[float], None] | None = None,
) -> LearnedLayout:
    """Find where hand-laid sheets lie, from a clip taken around them or from corners measured before.

    source: a clip, or corners (v, m, 4, 2) px with nan where not seen (then `size` or `camera` is needed).
    floor: markers with true ids and sizes; markers with the same sheet name have sure places on their sheet, all
    else about their places is ignored but for the first sheet, which defines the floor axes.
    Raises InputError when the views do not connect all sheets, or see them too much alike.
    Source of method: bundle adjustment (Triggs and others 2000), one plane.
    """
    shape = 1.0
    if isinstance(source, (str, Path)):
        nothing = CarMarkers(dictionary=floor.dictionary, markers=(), height=0.0)
        follower = Follower(floor, nothing, camera_moves=True)
        report = follow_clip(follower, Path(source), progress=progress)
        size, shape = report.size, report.pixel_shape
        camera = fitting_camera(camera, size)
        seen = follower.sightings.column("corner").astype(float)
    else:
        seen = np.asarray(source, dtype=float)
    if camera is None and size is None:
        raise InputError(
            "the size of the picture is not known",
            where="floor layout",
            remedy="Give the camera or the picture's size with the corners",
        )
    given = camera if camera is not None else guess_camera(size or (0, 0), shape)
    views = _choose(seen)
    sheet_of = sheet_numbers(floor)
    sheets = max(sheet_of) + 1
    never = [floor.markers[i].id for i in np.flatnonzero(~np.isfinite(seen).all((2, 3)).any(0))]
    if never:
        raise InputError(
            f"floor markers {never} were never seen",
            where="floor layout",
            remedy="Film all sheets, or take the missing ones off the card",
        )
    wide = np.tile(FAR, (sheets, 1))
    wide[0] = FIXED
    focal = (1.0,) if given.known else (0.75, 1.0, 1.4)
    best: FloorFit | None = None
    for factor in focal:
        start = _first_places(views, floor, intrinsics_of(given) * np.where(np.arange(9) < 2, factor, 1.0))
        try:
            fit = fit_floor(views, floor, given, sheet_u=wide, sheet_start=start)
        except (VisionError, np.linalg.LinAlgError):
            continue
        if best is None or fit.noise < best.noise:
            best = fit
    if best is None or not np.isfinite(best.covariance).all():
        raise InputError(
            "the views do not tell where the sheets lie",
            where="floor layout",
            remedy="Walk slowly around the sheets with at least two of them in every picture",
        )
    return _learned(best, floor, given, len(views))


def _learned(fit: FloorFit, floor: FloorLayout, given: Camera, views: int) -> LearnedLayout:
    first = fit.basis.shape[1] + 1
    sheets = len(fit.sheet)
    u = np.sqrt(np.maximum(np.diag(fit.covariance)[first : first + 3 * sheets].reshape(sheets, 3), 0.0))
    place_u = np.hypot(u[:, 0], u[:, 1]) / np.sqrt(2.0)
    markers = tuple(_marker(marker, corner) for marker, corner in zip(floor.markers, fit.corner_place, strict=True))
    others = place_u[1:] if sheets > 1 else place_u
    found = replace(floor, markers=markers, place_u=float(max(np.sqrt(np.mean(others**2)), 1e-6)))
    lens = fit.basis.shape[1]
    camera_u = np.sqrt(np.maximum(np.diag(fit.basis @ fit.covariance[:lens, :lens] @ fit.basis.T), 0.0))
    matrix = given.matrix.copy()
    matrix[[0, 1, 0, 1], [0, 1, 2, 2]] = fit.intrinsics[:4]
    camera = given if given.known else replace(given, matrix=matrix, distortion=fit.intrinsics[4:9].copy(), u=camera_u)
    return LearnedLayout(floor=found, place_u=place_u, turn_u=u[:, 2], noise=fit.noise, views=views, camera=camera)


def _marker(marker: Marker, corner: FloatArray) -> Marker:
    x, y = corner[:, :2].mean(0)
    top = 0.5 * (corner[0] + corner[1]) - corner.mean(0)
    return replace(marker, x=float(x), y=float(y), turn=float(np.arctan2(-top[0], top[1])))


def _choose(seen: FloatArray) -> FloatArray:
    """Views that differ and show much: evenly spread over the frames with the most markers."""
    whole = np.isfinite(seen).all((2, 3)).sum(1)
    rich = np.flatnonzero(whole >= min(2, int(whole.max(initial=0))))
    if not len(rich) or whole.max(initial=0) < 1:
        raise InputError("no floor marker was seen", where="floor layout", remedy="Film the floor sheets from nearer")
    parts = np.array_split(rich, min(MOST_VIEWS, len(rich)))
    return seen[[part[np.argmax(whole[part])] for part in parts]]


def _first_places(views: FloatArray, floor: FloorLayout, intrinsics: FloatArray) -> FloatArray:
    """(s, 3) rough sheet moves: from sheets already placed to the others that share a view with them."""
    sheet_of = np.array(sheet_numbers(floor))
    card = marker_corners(floor.markers)
    place = card.copy()
    sheets = int(sheet_of.max()) + 1
    move = np.zeros((sheets, 3))
    placed = {0}
    whole: BoolArray = np.asarray(np.isfinite(views).all((2, 3)))
    while len(placed) < sheets:
        known = np.isin(sheet_of, list(placed))
        candidates = [
            (int(whole[v, known].sum()), v, s)
            for v in range(len(views))
            for s in set(range(sheets)) - placed
            if whole[v, known].any() and whole[v, sheet_of == s].any()
        ]
        if not candidates:
            raise InputError(
                "some sheets are never in one picture with the others",
                where="floor layout",
                remedy="Film again so that neighbouring sheets are in the picture together",
            )
        _, view, sheet = max(candidates)
        base = known & whole[view]
        ray = undistort(views[view, base].reshape(1, -1, 2), intrinsics)
        rotation, origin = first_camera_pose(ray, place[base].reshape(-1, 2), np.ones((1, ray.shape[1])))
        own = (sheet_of == sheet) & whole[view]
        found = floor_point(views[view, own].reshape(-1, 2), intrinsics, (rotation[0], origin[0]))
        all_own = card[sheet_of == sheet].reshape(-1, 2)
        middle = all_own.mean(0)  # sheets turn about their middles
        move[sheet] = fit_rigid(card[own].reshape(-1, 2) - middle, found - middle)
        place[sheet_of == sheet] = moved(card[sheet_of == sheet] - middle, move[sheet]) + middle
        placed.add(sheet)
    return move
