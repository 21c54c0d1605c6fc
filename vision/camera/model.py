"""Pinhole camera with Brown-Conrady distortion: projecting, its derivatives, undoing the distortion.

Pixel centres are at whole numbers. Camera axes: x right, y down, z forward. `camera_from_floor` is a pair
(rotation (..., 3, 3), place (..., 3)): point_camera = rotation @ point_floor + place.
Source: Brown 1971 as written in the OpenCV documentation of `calib3d` (tests compare with `projectPoints`).
"""

import numpy as np

from vision.base.errors import InputError
from vision.base.types import Camera, FloatArray


def intrinsics_of(camera: Camera) -> FloatArray:
    """(9,) fx fy cx cy k1 k2 p1 p2 k3."""
    m = camera.matrix
    return np.array([m[0, 0], m[1, 1], m[0, 2], m[1, 2], *camera.distortion[:5]], dtype=float)


def camera_of(intrinsics: FloatArray, size: tuple[int, int], *, known: bool, u: FloatArray) -> Camera:
    """The inverse of `intrinsics_of`.

    intrinsics: (9,).  u: (9,), their standard uncertainties.
    """
    fx, fy, cx, cy = intrinsics[:4]
    matrix = np.array([[fx, 0.0, cx], [0.0, fy, cy], [0.0, 0.0, 1.0]])
    return Camera(matrix=matrix, distortion=np.array(intrinsics[4:9]), size=size, known=known, u=u)


def scaled_to(camera: Camera, size: tuple[int, int]) -> Camera:
    """The same camera at another resolution of the same shape (both sides scaled alike)."""
    ratio = size[0] / camera.size[0]
    matrix = camera.matrix.copy()
    # The picture's corner lies at -0.5, so the middle moves by a little more than the ratio.
    matrix[:2, 2] = (matrix[:2, 2] + 0.5) * ratio - 0.5
    matrix[0, 0] *= ratio
    matrix[1, 1] *= ratio
    u = camera.u.copy()
    u[:4] *= ratio
    return Camera(matrix=matrix, distortion=camera.distortion.copy(), size=size, known=camera.known, u=u)


def fitting_camera(camera: Camera | None, size: tuple[int, int]) -> Camera | None:
    """The camera for pictures of this size (width, height) px, None for None.

    Raises InputError when it was calibrated for another shape of picture, or is of a kind that does not scale.
    """
    if camera is None or camera.size == size:
        return camera
    (width, height), (own_width, own_height) = size, camera.size
    alike = abs(own_width * height - own_height * width) <= 0.01 * own_width * height
    if alike and camera.scales:
        return scaled_to(camera, size)
    if camera.scales:
        raise InputError(
            f"the calibration is for {own_width} x {own_height} pixels, the clip has {width} x {height}",
            where="camera",
            remedy="Calibrate in the mode and orientation in which the push is filmed, or leave the calibration out",
        )
    remedy = "Write the numbers of this mode and orientation, or take the lens off the card"
    if alike:
        fx, fy, cx, cy = intrinsics_of(scaled_to(camera, size))[:4]
        remedy += (
            f". Where it is the same picture, only made smaller or larger (nothing cut off at the edges), it is "
            f"width_px = {width}, height_px = {height}, fx_px = {fx:.6g}, fy_px = {fy:.6g}, cx_px = {cx:.6g}, "
            f"cy_px = {cy:.6g}, and k1 and the others stay"
        )
    raise InputError(
        f"the lens on the card is for pictures of {own_width} x {own_height} pixels, the clip has {width} x {height}",
        where="camera.lens",
        remedy=remedy,
    )


def rotation_of(vector: FloatArray) -> FloatArray:
    """(..., 3) rotation vector, rad -> (..., 3, 3). Rodrigues' formula."""
    angle = np.linalg.norm(vector, axis=-1)[..., None, None]
    x, y, z = np.moveaxis(vector, -1, 0)
    zero = np.zeros_like(x)
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=-1).reshape(*x.shape, 3, 3)
    small = angle < 1e-8
    safe = np.where(small, 1.0, angle)
    first = np.where(small, 1.0, np.sin(safe) / safe)
    second = np.where(small, 0.5, (1.0 - np.cos(safe)) / safe**2)
    result: FloatArray = np.eye(3) + first * cross + second * (cross @ cross)
    return result


def project(point: FloatArray, intrinsics: FloatArray) -> FloatArray:
    """Points in camera axes (..., 3), m -> pixels (..., 2). intrinsics: (9,) or broadcastable (..., 9).

    point: (..., 3) m.
    """
    return project_with_derivatives(point, intrinsics, derivatives=False)[0]


def project_with_derivatives(
    point: FloatArray, intrinsics: FloatArray, *, derivatives: bool = True
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Pixels (..., 2), their derivatives by the point (..., 2, 3) and by the intrinsics (..., 2, 9).

    Without `derivatives` the last two are empty.
    """
    fx, fy, cx, cy, k1, k2, p1, p2, k3 = np.moveaxis(np.asarray(intrinsics, dtype=float), -1, 0)
    depth = point[..., 2]
    x, y = point[..., 0] / depth, point[..., 1] / depth
    r2 = x * x + y * y
    radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
    xd = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
    yd = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
    pixel = np.stack([fx * xd + cx, fy * yd + cy], axis=-1)
    if not derivatives:
        return pixel, np.empty(0), np.empty(0)
    slope = k1 + r2 * (2 * k2 + 3 * k3 * r2)  # d radial / d r2
    xd_x = radial + 2 * x * x * slope + 2 * p1 * y + 6 * p2 * x
    xd_y = 2 * x * y * slope + 2 * p1 * x + 2 * p2 * y
    yd_y = radial + 2 * y * y * slope + 6 * p1 * y + 2 * p2 * x
    by_point = np.empty((*x.shape, 2, 3))
    by_point[..., 0, 0] = fx * xd_x / depth
    by_point[..., 0, 1] = fx * xd_y / depth
    by_point[..., 0, 2] = -fx * (xd_x * x + xd_y * y) / depth
    by_point[..., 1, 0] = fy * xd_y / depth  # the distortion's derivative is symmetric
    by_point[..., 1, 1] = fy * yd_y / depth
    by_point[..., 1, 2] = -fy * (xd_y * x + yd_y * y) / depth
    by_intrinsics = np.zeros((*x.shape, 2, 9))
    by_intrinsics[..., 0, 0] = xd
    by_intrinsics[..., 1, 1] = yd
    by_intrinsics[..., 0, 2] = by_intrinsics[..., 1, 3] = 1.0
    for column, power in ((4, r2), (5, r2 * r2), (8, r2**3)):
        by_intrinsics[..., 0, column] = fx * x * power
        by_intrinsics[..., 1, column] = fy * y * power
    by_intrinsics[..., 0, 6] = fx * 2 * x * y
    by_intrinsics[..., 1, 6] = fy * (r2 + 2 * y * y)
    by_intrinsics[..., 0, 7] = fx * (r2 + 2 * x * x)
    by_intrinsics[..., 1, 7] = fy * 2 * x * y
    return pixel, by_point, by_intrinsics


def undistort(pixel: FloatArray, intrinsics: FloatArray) -> FloatArray:
    """Pixels (..., 2) -> x/z, y/z in camera axes (..., 2). Newton's method on the distortion.

    pixel: (..., 2) px.  intrinsics: (9,).
    """
    fx, fy, cx, cy = intrinsics[:4]
    target = np.stack([(pixel[..., 0] - cx) / fx, (pixel[..., 1] - cy) / fy], axis=-1)
    plain = np.concatenate([[1.0, 1.0, 0.0, 0.0], intrinsics[4:9]])
    ray = np.concatenate([target, np.ones((*target.shape[:-1], 1))], axis=-1)
    for _ in range(8):
        seen, by_point, _unused = project_with_derivatives(ray, plain)
        step = np.linalg.solve(by_point[..., :2], (target - seen)[..., None])[..., 0]
        ray[..., :2] += np.clip(step, -0.3, 0.3)
        if np.abs(step).max(initial=0.0) < 1e-13:
            break
    result: FloatArray = ray[..., :2]
    return result


def floor_point(
    pixel: FloatArray,
    intrinsics: FloatArray,
    camera_from_floor: tuple[FloatArray, FloatArray],
    height: float = 0.0,
) -> FloatArray:
    """Where the ray of a pixel (..., 2) meets the level plane at `height`, m: floor x, y (..., 2).

    intrinsics: (9,).  camera_from_floor: rotation (..., 3, 3) and place (..., 3) m.
    """
    rotation, place = camera_from_floor
    ray = np.concatenate([undistort(pixel, intrinsics), np.ones((*pixel.shape[:-1], 1))], axis=-1)
    direction = ray @ rotation  # rotation.T applied to each ray
    eye = -rotation.T @ place
    distance = (height - eye[2]) / direction[..., 2]
    point: FloatArray = eye[:2] + distance[..., None] * direction[..., :2]
    return point
