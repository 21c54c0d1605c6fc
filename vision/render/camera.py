"""The renderer's own camera: written apart from the camera model that measures, so that one checks the other.

Camera axes: x right, y down, z ahead; pixel (0, 0) is the centre of the first pixel.
"""

from dataclasses import dataclass

import numpy as np

from vision.base.types import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class RenderCamera:
    """A lens at a place.

    matrix: (3, 3) px.  distortion: (5,) k1 k2 p1 p2 k3 (Brown-Conrady).
    rotation: (3, 3) camera axes from floor axes.  position: (3,) m, floor axes.
    """

    matrix: FloatArray
    distortion: FloatArray
    rotation: FloatArray
    position: FloatArray

    def project(self, points: FloatArray) -> FloatArray:
        """(..., 3) m in floor axes -> (..., 2) px.

        points: (..., 3) m.
        """
        seen = (np.asarray(points) - self.position) @ self.rotation.T
        bent = distort(seen[..., :2] / seen[..., 2:], self.distortion)
        pixel: FloatArray = bent @ self.matrix[:2, :2].T + self.matrix[:2, 2]
        return pixel

    def rays(self, pixel: FloatArray) -> FloatArray:
        """(..., 2) px -> (..., 2) undistorted x/z, y/z in camera axes.

        pixel: (..., 2) px.
        """
        target = (np.asarray(pixel) - self.matrix[:2, 2]) @ np.linalg.inv(self.matrix[:2, :2]).T
        return straighten(target, self.distortion)


def all_rays(camera: RenderCamera, size: tuple[int, int]) -> FloatArray:
    """(height, width, 2) undistorted rays through every pixel, single precision (1e-4 px)."""
    import cv2

    coarse = 8  # px; straight lines in between miss by some 1e-2 px, one Newton step mends that
    columns, rows = -(-size[0] // coarse), -(-size[1] // coarse)
    grid = np.stack(np.meshgrid(np.arange(-1, columns + 1), np.arange(-1, rows + 1)), axis=-1)
    known = camera.rays((coarse * grid + (coarse - 1) / 2).astype(float))
    full = cv2.resize(known, (coarse * (columns + 2), coarse * (rows + 2)), interpolation=cv2.INTER_LINEAR)
    start = full[coarse : coarse + size[1], coarse : coarse + size[0]].astype(np.float32)
    pixel = np.stack(np.meshgrid(np.arange(size[0]), np.arange(size[1])), axis=-1)
    target = (pixel - camera.matrix[:2, 2]) @ np.linalg.inv(camera.matrix[:2, :2]).T
    return straighten(target.astype(np.float32), camera.distortion, start)  # type: ignore[arg-type]


def distort(ray: FloatArray, distortion: FloatArray) -> FloatArray:
    """Bend ideal rays (..., 2) as the lens does.  Source: D. C. Brown, 1966, in OpenCV's order of terms.

    ray: (..., 2).  distortion: (5,).
    """
    k1, k2, p1, p2, k3 = (float(v) for v in distortion)
    x, y = ray[..., 0], ray[..., 1]
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return np.stack(
        [x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x), y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y],
        axis=-1,
    )


def straighten(bent: FloatArray, distortion: FloatArray, start: FloatArray | None = None) -> FloatArray:
    """Undo `distort` by Newton steps; exact to rounding wherever the lens does not fold the picture.

    start: a guess within about 1e-4, from which one step is enough.
    bent: (..., 2).  distortion: (5,).
    """
    k1, k2, p1, p2, k3 = (float(v) for v in distortion)
    ray = np.array(bent if start is None else start)
    if not np.any(distortion):
        return ray
    for _ in range(20 if start is None else 1):
        x, y = ray[..., 0], ray[..., 1]
        r2 = x * x + y * y
        radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
        slope = 2 * (k1 + r2 * (2 * k2 + r2 * 3 * k3))  # of radial, per x and per y of unit length
        miss_x = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x) - bent[..., 0]
        miss_y = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y - bent[..., 1]
        xx = radial + x * x * slope + 2 * p1 * y + 6 * p2 * x
        yy = radial + y * y * slope + 6 * p1 * y + 2 * p2 * x
        xy = x * y * slope + 2 * p1 * x + 2 * p2 * y
        det = xx * yy - xy * xy
        dx, dy = (yy * miss_x - xy * miss_y) / det, (xx * miss_y - xy * miss_x) / det
        ray[..., 0] -= dx
        ray[..., 1] -= dy
        if max(np.abs(dx).max(initial=0.0), np.abs(dy).max(initial=0.0)) < 1e-11:
            break
    return ray


def looking_at(
    position: FloatArray,
    target: FloatArray,
    *,
    focal: float,
    size: tuple[int, int],
    distortion: FloatArray | None = None,
    roll: float = 0.0,
) -> RenderCamera:
    """A camera at `position` (m) that has `target` (m) in the middle of its picture, upright.

    focal: px.  size: (width, height) px.  roll: rad about the viewing direction.
    distortion: (5,).
    """
    ahead = np.asarray(target, dtype=float) - position
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, [0.0, 0.0, 1.0] if abs(ahead[2]) < 0.999 else [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    upright = np.stack([right, np.cross(ahead, right), ahead])
    c, s = np.cos(roll), np.sin(roll)
    rotation = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) @ upright
    matrix = np.array([[focal, 0.0, (size[0] - 1) / 2], [0.0, focal, (size[1] - 1) / 2], [0.0, 0.0, 1.0]])
    lens = np.zeros(5) if distortion is None else np.asarray(distortion, dtype=float)
    return RenderCamera(matrix=matrix, distortion=lens, rotation=rotation, position=np.asarray(position, dtype=float))
