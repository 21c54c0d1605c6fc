"""Lenses and cameras of the benchmark's own: pixels to rays, written apart from the measuring side.

Camera axes as OpenCV has them (x right, y down, z into the picture); floor axes right-handed, z up; m, rad, px.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

Array = np.ndarray
Sway = Callable[[Array], tuple[Array, Array, Array]]
"""Moments (n,) s -> turns of the camera about its own axes (n, 3) rad, shifts of its eye (n, 3) m in floor axes,
and focal lengths (n,) as shares of the lens's."""


@dataclass
class Lens:
    """focal: px.  centre: (2,) px.  bend: k1 k2 p1 p2 k3 of the polynomial model; with `fisheye` the first is the
    cubic term of the angle."""

    focal: float
    centre: Array
    bend: Array
    fisheye: bool = False

    def slopes(self, pixel: Array, zoom: Array) -> Array:
        """Directions (..., 3) in camera axes. pixel: (..., 2).  zoom: broadcast against the leading axes."""
        seen = (pixel - self.centre) / (self.focal * zoom[..., None])
        if self.fisheye:
            radius = np.linalg.norm(seen, axis=-1)
            angle = radius.copy()
            for _ in range(8):
                angle -= (angle + self.bend[0] * angle**3 - radius) / (1 + 3 * self.bend[0] * angle**2)
            share = np.where(radius > 1e-12, np.sin(angle) / np.maximum(radius, 1e-12), 1.0)
            return np.concatenate([seen * share[..., None], np.cos(angle)[..., None]], axis=-1)
        k1, k2, p1, p2, k3 = self.bend
        flat = seen.copy()
        for _ in range(10):
            x, y = flat[..., 0], flat[..., 1]
            r = x * x + y * y
            radial = 1 + r * (k1 + r * (k2 + r * k3))
            skew = np.stack([2 * p1 * x * y + p2 * (r + 2 * x * x), p1 * (r + 2 * y * y) + 2 * p2 * x * y], axis=-1)
            flat = (seen - skew) / radial[..., None]
        return np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], axis=-1)


def turned(angle: Array) -> Array:
    """(n, 3, 3) rotations of rotation vectors (n, 3), by Rodrigues' formula."""
    size = np.linalg.norm(angle, axis=-1)[:, None, None]
    cross = np.zeros((len(angle), 3, 3))
    cross[:, [2, 0, 1], [1, 2, 0]] = angle
    cross -= np.swapaxes(cross, 1, 2)
    safe = np.maximum(size, 1e-12)
    return np.eye(3) + np.sin(size) / safe * cross + (1 - np.cos(size)) / safe**2 * (cross @ cross)


def facing(eye: Array, aim: Array, roll: float) -> Array:
    """(3, 3) rotation, camera = R @ floor direction, of a camera that looks from `eye` at `aim` (m)."""
    ahead = (aim - eye) / np.linalg.norm(aim - eye)
    right = np.cross(ahead, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    upright = np.stack([right, np.cross(ahead, right), ahead])
    c, s = np.cos(roll), np.sin(roll)
    return np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]]) @ upright


def stands(time: Array) -> tuple[Array, Array, Array]:
    """A camera that stands still."""
    n = len(time)
    return np.zeros((n, 3)), np.zeros((n, 3)), np.ones(n)


@dataclass
class View:
    """A camera on its stand. size: (width, height) px.  eye: m.  facing: (3, 3).  readout: s, first row to last."""

    lens: Lens
    size: tuple[int, int]
    eye: Array
    facing: Array
    sway: Sway = stands
    readout: float = 0.0
    _kept: tuple[Array, Array, Array] | None = None

    def rays(self, pixel: Array, moment: float) -> tuple[Array, Array, Array]:
        """(eyes (rows, 1, 3), directions (rows, columns, 3), moments (rows,)) in floor axes of a grid of pixels.

        pixel: (rows, columns, 2), each row at one height.  moment: s, of the picture's middle row.
        """
        if self._kept is not None:
            return self._kept
        height = pixel[:, 0, 1]
        times = moment + self.readout * (height / self.size[1] - 0.5)
        angle, shift, zoom = self.sway(times if self.readout else np.array([moment]))
        rotation = turned(angle) @ self.facing
        ahead = self.lens.slopes(pixel, zoom[:, None])
        direction = np.einsum("rij,rci->rcj", np.broadcast_to(rotation, (len(pixel), 3, 3)), ahead)
        cast = (self.eye + shift)[:, None, :], direction, times
        if self.sway is stands and not self.readout:
            self._kept = cast[0], cast[1], np.zeros_like(cast[2])
        return cast
