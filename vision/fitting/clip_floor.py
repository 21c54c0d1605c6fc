"""The floor markers over a whole clip: when did the camera stand still, and where is the floor for it."""

import warnings

import numpy as np

from vision.base.robust import MAD_TO_SIGMA
from vision.base.types import BoolArray, Camera, FloatArray, FloorLayout
from vision.base.windows import neighbours
from vision.fitting.gauss_newton import Optics
from vision.fitting.poses import CameraPoses, fit_cameras
from vision.floor.fit import FloorFit, fit_floor

STILL_LIMIT = 0.10  # px: floor markers that stay within this for several frames are those of a camera standing still
KNOCK_LIMIT = 0.3  # px, in a single frame
SMOOTH = 5  # sightings of a marker
REFERENCE = 15  # frames, at either end of a clip, whose middle may be where the camera stood
LEAST_STILL = 0.3  # of the frames; in fewer, the camera did not stand
LEAST_MARKERS = 2  # of the floor, for the place of a camera in one frame
VIEWS = 14  # frames behind the shared numbers of a moving camera
POOL = 400  # frames behind the middle of a still camera's corners


def median_seen(stack: FloatArray) -> FloatArray:
    """(n, ...) -> (...): median over the first axis of what was seen; nan, without complaint, where nothing was.

    stack: (n, ...), nan where not seen.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.asarray(np.nanmedian(stack, axis=0), float)


def still_frames(corner: FloatArray) -> BoolArray:
    """(n,) in which frames the camera stood where it stood longest. corner: (n, m, 4, 2) px of the floor markers.

    Shift, turn about its own axis, tilt and zoom all take most markers from their places; a hand or a shadow on one
    marker, or a sheet that was kicked, takes fewer than half. So each frame is judged by the middle one of its
    markers (the nearer of two). Frames in which no floor marker was measured go with their neighbours. Where the
    camera stood in fewer than one frame in ten it was held in a hand: all are False.
    """
    middle = corner.mean(axis=2)  # (n, m, 2)
    seen = np.isfinite(middle).all(-1)
    measured = np.flatnonzero(seen.any(1))
    if not len(measured):
        return np.ones(len(corner), dtype=bool)
    middle, seen = middle[measured], seen[measured]
    noise = _marker_noise(middle)
    samples = (middle[:REFERENCE], middle[-REFERENCE:], middle)
    stood = max((_stands(middle, seen, median_seen(sample), noise) for sample in samples), key=np.sum)
    if stood.sum() < max(LEAST_STILL * len(stood), min(3, len(stood))) or _crept(
        middle[stood], whole=bool(stood.all())
    ):
        return np.zeros(len(corner), dtype=bool)
    after = np.minimum(np.searchsorted(measured, np.arange(len(corner))), len(measured) - 1)
    before = np.maximum(np.searchsorted(measured, np.arange(len(corner)), side="right") - 1, 0)
    return np.asarray(stood[before] & stood[after], bool)


def _stands(middle: FloatArray, seen: BoolArray, reference: FloatArray, noise: float) -> BoolArray:
    """(n,) whether the markers' middles (n, m, 2) px are, in each frame, where the reference (m, 2) has them."""
    away = middle - reference
    lasting = np.full(away.shape, np.nan)
    for marker in range(away.shape[1]):
        own = seen[:, marker]
        if own.any():  # a median over time halves the noise, and keeps the edge of a sudden movement
            lasting[own, marker] = np.median(neighbours(away[own, marker], SMOOTH), axis=-1)
    at_once = _middle_size(away) <= max(KNOCK_LIMIT, 5.0 * noise)
    for_long = _middle_size(lasting) <= max(STILL_LIMIT, 2.5 * noise)
    return np.asarray(at_once & for_long, bool)


def _middle_size(away: FloatArray) -> FloatArray:
    """(n, m, 2) px -> (n,): the lower median of the markers' displacements; 0 where none has a reference."""
    size = np.sort(np.hypot(away[..., 0], away[..., 1]), axis=1)  # nan last
    known = np.isfinite(size).sum(1)
    picked = size[np.arange(len(size)), np.maximum(known - 1, 0) // 2]
    return np.where(known > 0, picked, 0.0)


def _crept(middle: FloatArray, *, whole: bool) -> bool:
    """Whether most markers' middles (n, m, 2) px went on and on in the frames in which the camera seemed to stand.

    whole: those are all frames of the clip; what it then went is within the limit, and in the doubt of the rests.
    """
    if whole or len(middle) < 2 * SMOOTH:
        return False
    third = max(len(middle) // 3, 1)
    way = np.sort(np.hypot(*np.moveaxis(median_seen(middle[-third:]) - median_seen(middle[:third]), -1, 0)))
    known = way[np.isfinite(way)]
    return bool(len(known)) and bool(known[(len(known) - 1) // 2] > STILL_LIMIT)


def _marker_noise(middle: FloatArray) -> float:
    """px, per coordinate, of a marker's middle (n, m, 2) from one of its sightings to the next.

    From third differences: a camera that moves, as hands do, changes them by far less than the middles themselves.
    """
    ways = [own[np.isfinite(own).all(-1)] for own in np.swapaxes(middle, 0, 1)]
    order = 3 if max((len(own) for own in ways), default=0) > 3 else 1
    every = np.abs(np.concatenate([np.diff(own, n=order, axis=0).ravel() for own in ways]))
    return float(MAD_TO_SIGMA * np.median(every) / np.sqrt({1: 2.0, 3: 20.0}[order])) if every.size else 0.0


def fit_clip_floor(on_floor: FloatArray, floor: FloorLayout, camera: Camera, *, still: BoolArray) -> FloorFit:
    """The floor fitted to the clip's floor corners: to their middle places over all frames in which the camera stood
    still (n,), the fit's first view; where it never did, to some frames. on_floor: (n, m, 4, 2) px.
    """
    if still.any():
        return fit_floor(_pooled(on_floor[still])[None], floor, camera)
    whole = np.isfinite(on_floor).all((2, 3)).sum(1)
    rich = np.flatnonzero(whole >= min(int(whole.max()), 4))
    return fit_floor(on_floor[rich[np.linspace(0, len(rich) - 1, min(VIEWS, len(rich))).astype(int)]], floor, camera)


def clip_cameras(
    on_floor: FloatArray, fit: FloorFit, optics: Optics, *, still: BoolArray, smear: FloatArray | None = None
) -> CameraPoses:
    """The camera's pose in each of n frames: where it stood still (n,) that of the fit, known with it; otherwise from
    the frame's own floor corners, on_floor: (n, m, 4, 2) px. used: infinite and 0 where there is nothing to fit.
    smear: (n, m, 4, 2) px/s, as `fit_cameras` takes it."""
    n = len(on_floor)
    own = np.flatnonzero(~still & (np.isfinite(on_floor).all((2, 3)).sum(1) >= LEAST_MARKERS))
    rotation, place = np.repeat(fit.rotation[:1], n, axis=0), np.repeat(fit.place[:1], n, axis=0)
    covariance, by_shared = np.zeros((n, 6, 6)), np.zeros((n, 6, fit.shared_count))
    by_marker = np.zeros((n, 6, on_floor.shape[1], 2))
    noise, used = np.zeros(n), np.where(still, np.inf, 0.0)
    zoom, zoom_u, by_zoom = np.zeros(n), np.zeros(n), np.zeros((n, 6))
    readout, readout_u, by_readout = np.zeros(n), np.zeros(n), np.zeros((n, 6))
    if len(own):
        views = fit_cameras(
            on_floor[own], fit.corner_place, optics, fit.floor.columns(fit.laid), None if smear is None else smear[own]
        )
        rotation[own], place[own], covariance[own] = views.rotation, views.place, views.covariance
        by_shared[own], by_marker[own], noise[own], used[own] = (
            views.by_shared,
            views.by_marker,
            views.noise,
            views.used,
        )
        zoom[own], zoom_u[own], by_zoom[own] = views.zoom, views.zoom_u, views.by_zoom
        readout[own], readout_u[own], by_readout[own] = views.readout, views.readout_u, views.by_readout
    return CameraPoses(
        rotation=rotation,
        place=place,
        covariance=covariance,
        by_shared=by_shared,
        by_marker=by_marker,
        noise=noise,
        used=used,
        zoom=zoom,
        zoom_u=zoom_u,
        by_zoom=by_zoom,
        readout=readout,
        readout_u=readout_u,
        by_readout=by_readout,
    )


def _pooled(on_floor: FloatArray) -> FloatArray:
    """Median corner places over the clip: (m, 4, 2). A hand that covers a marker for a while does not matter."""
    result = np.full(on_floor.shape[1:], np.nan)
    for marker in range(on_floor.shape[1]):
        seen = np.flatnonzero(np.isfinite(on_floor[:, marker]).all((1, 2)))
        if len(seen):
            picked = seen[np.linspace(0, len(seen) - 1, min(POOL, len(seen))).astype(int)]
            result[marker] = np.median(on_floor[picked, marker], axis=0)
    return result


def temporal_noise(on_floor: FloatArray) -> float:
    """Frame-to-frame noise of one floor corner's coordinate, px, robust.

    on_floor: (n, m, 4, 2) px.
    """
    away = on_floor - median_seen(on_floor)
    size = np.abs(away[np.isfinite(away)])
    return float(MAD_TO_SIGMA * np.median(size)) if size.size else 0.0
