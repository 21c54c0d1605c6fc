"""What a printed marker's corners do on the picture before any fit: ink shift, bent edges, first poses."""

import math
from dataclasses import replace

import numpy as np

from vision.base.plane import moved
from vision.base.types import FloatArray, Marker
from vision.camera.model import project, undistort
from vision.markers.edges import ALONG

_LINE = np.linalg.pinv(np.stack([np.ones_like(ALONG), ALONG - 0.5], axis=1))  # (2, P): level and slope
_LINE_ENDS = (np.array([[1.0, -0.5], [1.0, 0.5]]) @ _LINE).T  # (P, 2): at the edge's start and end
BENDS = np.linspace(-0.4, 0.4, 17)
"""Of lenses that are tried: by how much the longer side's half is shortened or stretched at its end, relative."""
_NEXT, _PREVIOUS = [1, 2, 3, 0], [3, 0, 1, 2]  # corners or edges around a quadrilateral


def marker_corners(markers: tuple[Marker, ...]) -> FloatArray:
    """(m, 4, 2) m, corner places of flat markers in their own axes."""
    return np.stack([marker.corners() for marker in markers]) if markers else np.zeros((0, 4, 2))


def moved_marker(marker: Marker, pose: FloatArray) -> Marker:
    """The marker carried by a rigid motion of the plane, pose (3,) m, m, rad; its turn within half a turn of zero."""
    x, y = moved(np.array([marker.x, marker.y]), pose)
    return replace(marker, x=float(x), y=float(y), turn=math.remainder(marker.turn + float(pose[2]), 2 * math.pi))


def ink_direction(quad: FloatArray) -> FloatArray:
    """How corners move when every edge moves inward by one pixel: (..., 4, 2) px -> (..., 4, 2).

    Corners run clockwise on the picture.
    quad: (..., 4, 2) px.
    """
    along = quad[..., _NEXT, :] - quad
    length = np.maximum(np.hypot(along[..., 0], along[..., 1]), 1e-9)
    nx, ny = -along[..., 1] / length, along[..., 0] / length  # inward normal of the edge that starts here
    px, py = nx[..., _PREVIOUS], ny[..., _PREVIOUS]  # and of the edge that ends here
    cross = px * ny - py * nx
    cross = np.where(np.abs(cross) < 1e-6, np.nan, cross)
    return np.stack([(ny - py) / cross, (px - nx) / cross], axis=-1)


def bent_edge_shift(corner: FloatArray, intrinsics: FloatArray) -> FloatArray:
    """Where straight-line fits put the corners of edges that the lens bends, less where the corners are.

    corner: (..., 4, 3) camera axes, m.  Returns (..., 4, 2) px. Edge fits know no camera; comparing like with
    like takes the lens into account all the same.
    intrinsics: (9,).
    """
    at = np.append(ALONG, 0.0)[:, None]
    on_edge = corner[..., None, :] + at * (corner[..., _NEXT, :] - corner)[..., None, :]
    shown = project(on_edge, intrinsics)  # (..., 4, P + 1, 2)
    seen, quad = shown[..., :-1, :], shown[..., -1, :]
    chord = quad[..., _NEXT, :] - quad
    length = np.maximum(np.hypot(chord[..., 0], chord[..., 1]), 1e-9)
    inward = np.stack([-chord[..., 1], chord[..., 0]], axis=-1) / length[..., None]
    offset = ((seen - quad[..., None, :]) * inward[..., None, :]).sum(-1)
    ends = offset @ _LINE_ENDS  # offsets of the fitted line at the edge's two ends
    start, before = ends[..., 0], ends[..., _PREVIOUS, 1]  # before: of the previous edge, where this one starts
    pn = inward[..., _PREVIOUS, :]
    cross = pn[..., 0] * inward[..., 1] - pn[..., 1] * inward[..., 0]
    cross = np.where(np.abs(cross) < 1e-6, np.nan, cross)
    return np.stack(
        [
            (before * inward[..., 1] - start * pn[..., 1]) / cross,
            (start * pn[..., 0] - before * inward[..., 0]) / cross,
        ],
        axis=-1,
    )


def first_camera_pose(ray: FloatArray, place: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Camera poses from plane points, closed form: the start of every fit.

    ray: (n, k, 2) x/z, y/z seen.  place: (k, 2) m on the floor.  weight: (n, k), 0 for what was not seen.
    Returns rotations (n, 3, 3) and places (n, 3) of camera_from_floor.
    Source: homography by linear least squares, decomposed as in Zhang 2000.
    """
    matrix, middle, reach = _homographies(ray, place, weight)
    size = np.sqrt(np.linalg.norm(matrix[..., 0], axis=-1) * np.linalg.norm(matrix[..., 1], axis=-1))
    matrix = matrix / size[:, None, None]
    first, second = matrix[..., 0], matrix[..., 1]
    rough = np.stack([first, second, np.cross(first, second)], axis=-1)
    u, _, vt = np.linalg.svd(rough)
    u[..., 2] *= np.linalg.det(u @ vt)[..., None]
    rotation = u @ vt
    origin = matrix[..., 2] * reach - rotation[..., :2] @ middle
    return rotation, origin


def _homographies(ray: FloatArray, place: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Linear least squares, as for `first_camera_pose`: (n, 3, 3) from places less their middle (2,), over their reach.

    ray: (n, k, 2).  place: (k, 2) m.  weight: (n, k).
    """
    middle = place.mean(axis=0)
    reach = max(float(np.abs(place - middle).max()), 1e-6)
    p = (place - middle) / reach
    seen = np.where(weight[..., None] > 0, ray, 0.0)
    n, k = seen.shape[:2]
    one, zero = np.ones(k), np.zeros(k)
    top = np.stack([p[:, 0], p[:, 1], one, zero, zero, zero], axis=-1)
    low = np.stack([zero, zero, zero, p[:, 0], p[:, 1], one], axis=-1)
    rows = np.concatenate(
        [
            np.concatenate([np.broadcast_to(top, (n, k, 6)), -seen[..., :1] * p], axis=-1),
            np.concatenate([np.broadcast_to(low, (n, k, 6)), -seen[..., 1:] * p], axis=-1),
        ],
        axis=1,
    )
    w = np.concatenate([weight, weight], axis=1)[..., None]
    right = np.concatenate([seen[..., 0], seen[..., 1]], axis=1)[..., None]
    normal = np.swapaxes(rows, 1, 2) @ (w * rows) + 1e-12 * np.eye(8)
    h = np.linalg.solve(normal, np.swapaxes(rows, 1, 2) @ (w * right))[..., 0]
    matrix = np.concatenate([h, np.ones((n, 1))], axis=-1).reshape(n, 3, 3)
    return matrix, middle, reach


def plane_misfit(seen: FloatArray, place: FloatArray, centre: FloatArray, half: float) -> float:
    """px, root mean square: what no lens and no shape of pixels explains of points seen that lie in a plane at places.

    Any pinhole, however squeezed its pixels, takes a plane to the picture by a homography; lenses bend that along the
    radius, here by one number (the division model, A. W. Fitzgibbon, CVPR 2001), of which a range is tried.
    seen: (k, 2) px, nan where not seen.  place: (k, 2) m.  centre: (2,) px, of the lens.  half: px, of the longer side.
    """
    away = (seen - centre) / half
    square = np.square(away).sum(-1, keepdims=True)
    ray = away / (1.0 + BENDS[:, None, None] * square)
    weight = np.broadcast_to(np.isfinite(seen).all(-1).astype(float), ray.shape[:2])
    matrix, middle, reach = _homographies(ray, place, weight)
    flat = np.column_stack([(place - middle) / reach, np.ones(len(place))])
    shown = flat @ np.swapaxes(matrix, 1, 2)
    left = np.square(shown[..., :2] / shown[..., 2:] - ray).sum(-1)
    return half * float(np.sqrt(np.nanmean(left, axis=1).min()))


def on_level_plane(
    pixel: FloatArray, height: float | FloatArray, rotation: FloatArray, place: FloatArray, intrinsics: FloatArray
) -> FloatArray:
    """(n, k, 2) px -> (n, k, 2) m, where their rays meet the level plane at the height, m, one or (n,), of n frames.

    pixel: (n, k, 2) px.  rotation: (n, 3, 3), place: (n, 3) m: camera_from_floor.  intrinsics: (9,).
    """
    ray = undistort(pixel, intrinsics)
    direction = np.concatenate([ray, np.ones((*ray.shape[:-1], 1))], axis=-1) @ rotation
    eye = -np.einsum("nji,nj->ni", rotation, place)
    steep = np.where(np.abs(direction[..., 2]) < 1e-6, -1e-6, direction[..., 2])
    distance = (np.atleast_1d(height)[:, None] - eye[:, None, 2]) / steep
    on_level: FloatArray = eye[:, None, :2] + distance[..., None] * direction[..., :2]
    return on_level
