"""The floor markers over a whole clip: did the camera stand still, and where is the floor for it."""

import warnings

import numpy as np

from vision.base.types import Camera, FloatArray, FloorLayout
from vision.floor.fit import FloorFit, fit_floor

STILL_LIMIT = 0.10  # px: a common motion of the floor markers below this is a camera standing still
VIEWS = 14  # frames behind the shared numbers of a moving camera
POOL = 400  # frames behind the middle of a still camera's corners


def median_seen(stack: FloatArray) -> FloatArray:
    """(n, ...) -> (...): median over the first axis of what was seen; nan, without complaint, where nothing was.

    stack: (n, ...), nan where not seen.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.asarray(np.nanmedian(stack, axis=0), float)


def camera_motion(corner: FloatArray) -> tuple[float, float]:
    """Common motion of the floor markers over the clip and the noise with which it is known, both px rms.

    corner: (n, m, 4, 2) px. Markers that were not seen in a frame do not count in it.
    """
    middle = corner.mean(axis=2)  # (n, m, 2)
    away = middle - median_seen(middle)
    seen = np.isfinite(away).all(-1)
    count = seen.sum(1)
    common = np.where(seen[..., None], away, 0.0).sum(1) / np.maximum(count, 1)[:, None]
    own = np.where(seen[..., None], away - common[:, None], 0.0)
    several = count >= 2
    if several.sum() < 2:
        return 0.0, 0.0
    spare = np.maximum(count[several] - 1, 1)
    scatter = float(np.sqrt((own[several] ** 2).sum() / (2 * spare.sum())))
    noise = scatter / np.sqrt(float(np.mean(count[several])))
    # The middle 98 %: a knock of the table for one frame is not a camera in the hand.
    size = np.sort(np.hypot(common[several, 0], common[several, 1]))
    return float(np.sqrt(np.mean(size[: max(2, int(0.98 * len(size)))] ** 2))), noise


def is_moving(corner: FloatArray) -> bool:
    """Whether the camera moved, tested on the floor markers' corners (n, m, 4, 2).

    corner: (n, m, 4, 2) px, nan where not seen.
    """
    motion, noise = camera_motion(corner)
    return motion > max(STILL_LIMIT, 3.0 * noise)


def fit_clip_floor(on_floor: FloatArray, floor: FloorLayout, camera: Camera, *, moves: bool) -> FloorFit:
    """The floor fitted to the clip's floor corners (n, m, 4, 2) px: to some frames of a moving camera, to the middle
    places of all frames of a still one.
    on_floor: (n, m, 4, 2) px.  moves: whether the camera does.
    """
    if not moves:
        return fit_floor(_pooled(on_floor)[None], floor, camera)
    whole = np.isfinite(on_floor).all((2, 3)).sum(1)
    rich = np.flatnonzero(whole >= min(int(whole.max()), 4))
    return fit_floor(on_floor[rich[np.linspace(0, len(rich) - 1, min(VIEWS, len(rich))).astype(int)]], floor, camera)


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
    return float(1.4826 * np.median(size)) if size.size else 0.0
