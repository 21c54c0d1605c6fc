"""Rigid motion in the plane: turning, moving, and the motion that lays one set of points best over another.

A pose is x, y (m) and yaw (rad, anticlockwise seen from above) of some axes in others.
"""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def plane_rotation(angle: Array | float) -> Array:
    """Angles (...) rad, anticlockwise -> matrices (..., 2, 2) that turn points by them."""
    c, s = np.cos(angle), np.sin(angle)
    matrix: Array = np.stack([np.stack([c, -s], axis=-1), np.stack([s, c], axis=-1)], axis=-2)
    return matrix


def moved(point: Array, pose: Array) -> Array:
    """Points (..., 2) m in axes that stand at the pose (3,) m, m, rad -> (..., 2) m in the outer axes."""
    result: Array = point @ plane_rotation(pose[2]).T + pose[:2]
    return result


def fit_rigid(source: Array, target: Array, weight: Array | None = None) -> Array:
    """Poses (..., 3) m, m, rad that carry source points best to target points, weighted least squares.

    source, target: (..., k, 2) m; one source may serve many targets.  weight: (..., k), not negative; None: all alike.
    Source: closed form of the plane's orthogonal Procrustes problem.
    """
    w = np.ones(target.shape[:-1]) if weight is None else weight
    total = np.maximum(w.sum(-1), 1e-9)[..., None]
    source_middle, target_middle = ((w[..., None] * points).sum(-2) / total for points in (source, target))
    a, b = source - source_middle[..., None, :], target - target_middle[..., None, :]
    along = (w[..., None] * a * b).sum((-2, -1))
    across = (w * (a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])).sum(-1)
    yaw = np.arctan2(across, along)
    c, s = np.cos(yaw), np.sin(yaw)
    x = target_middle[..., 0] - c * source_middle[..., 0] + s * source_middle[..., 1]
    y = target_middle[..., 1] - s * source_middle[..., 0] - c * source_middle[..., 1]
    return np.stack([x, y, yaw], axis=-1)


def fit_similarity(source: Array, target: Array) -> Array:
    """(2, 3) matrix [scale * rotation | shift] that carries source (k, 2) best to target (k, 2), least squares."""
    a, b = source - source.mean(0), target - target.mean(0)
    size = max(float((a * a).sum()), 1e-9)
    c = float((a * b).sum()) / size
    s = float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum()) / size
    matrix = np.array([[c, -s], [s, c]])
    return np.column_stack([matrix, target.mean(0) - matrix @ source.mean(0)])
