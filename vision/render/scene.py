"""What the renderer paints: flat cards with printed markers, plain polygons, and the canvas they go on.

Light is linear here, 0 black to 1 white; cards are painted with several samples per pixel.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from vision.base.types import FloatArray, Marker
from vision.markers.layouts import marker_bits
from vision.render.camera import RenderCamera

INK, PAPER = 0.035, 0.80
LinearColour = tuple[float, float, float]
"""Linear blue, green, red."""
Light = npt.NDArray[Any]
"""Linear light in single precision, (h, w) or (h, w, 3)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """A plane in floor axes: point = origin + x * along + y * across, all m.  Each field: (3,)."""

    origin: FloatArray
    along: FloatArray
    across: FloatArray

    def points(self, flat: FloatArray) -> FloatArray:
        """(..., 2) m on the plane -> (..., 3) m in floor axes.

        flat: (..., 2) m.
        """
        placed: FloatArray = self.origin + flat[..., :1] * self.along + flat[..., 1:] * self.across
        return placed


FLOOR = Plane(origin=np.zeros(3), along=np.array([1.0, 0.0, 0.0]), across=np.array([0.0, 1.0, 0.0]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A printed rectangle. light: (h, w) grey.  low: (2,) m, its lowest x and y.  step: m per texel."""

    light: Light
    low: FloatArray
    step: float

    def outline(self, per_edge: int = 12) -> FloatArray:
        """(n, 2) m, points along the rectangle's edges (a lens bends straight edges)."""
        high = self.low + self.step * np.array(self.light.shape[::-1])
        corner = np.array([self.low, [high[0], self.low[1]], high, [self.low[0], high[1]]])
        share = np.arange(per_edge)[:, None] / per_edge
        edges = [a + share * (b - a) for a, b in zip(corner, np.roll(corner, -1, axis=0), strict=True)]
        return np.concatenate(edges)


@lru_cache(maxsize=16)
def print_card(
    markers: tuple[Marker, ...],
    dictionary: str,
    *,
    margin: float,
    ink_spread: float = 0.0,
    step: float = 0.00025,
    samples: int = 3,
) -> Card:
    """Print markers on one white card that surrounds them by `margin` (m).

    ink_spread: m by which black grows over every edge (may be negative).
    """
    corners = np.concatenate([m.corners() for m in markers])
    low = corners.min(axis=0) - margin
    width, height = np.ceil((corners.max(axis=0) + margin - low) / step).astype(int)
    light = np.full((height, width), PAPER, dtype=np.float32)
    for marker in markers:
        _print_marker(light, low, step, marker, dictionary, ink_spread, samples)
    return Card(light=light, low=low, step=step)


def _print_marker(
    light: Light, low: FloatArray, step: float, marker: Marker, dictionary: str, spread: float, samples: int
) -> None:
    """Share of white under every texel, from samples x samples points each."""
    bits = marker_bits(dictionary, marker.id)
    padded = np.pad(bits, 1, constant_values=True)
    cell = marker.size / len(bits)
    corners = marker.corners()
    first = np.maximum(np.floor((corners.min(axis=0) - cell - low) / step).astype(int), 0)
    last = np.minimum(np.ceil((corners.max(axis=0) + cell - low) / step).astype(int), light.shape[::-1])
    points = [
        low[axis] + step * (np.arange(first[axis] * samples, last[axis] * samples) + 0.5) / samples for axis in (0, 1)
    ]
    right, down = (corners[1] - corners[0]) / marker.size, (corners[3] - corners[0]) / marker.size
    dx, dy = (points[0] - corners[0, 0])[None, :], (points[1] - corners[0, 1])[:, None]
    # Along the card's axes, the usual case, row and column depend on one of the two only: much faster.
    column, row = (
        dx * v[0] if abs(v[1]) < 1e-12 else dy * v[1] if abs(v[0]) < 1e-12 else dx * v[0] + dy * v[1]
        for v in (right, down)
    )
    looks: list[npt.NDArray[np.bool_]] = []
    reach = abs(spread)
    around = ((reach, reach), (reach, -reach), (-reach, reach), (-reach, -reach)) if reach else ((0.0, 0.0),)
    for ox, oy in around:
        i = np.clip(np.floor((row + oy) / cell).astype(np.intp) + 1, 0, len(padded) - 1)
        j = np.clip(np.floor((column + ox) / cell).astype(np.intp) + 1, 0, len(padded) - 1)
        looks.append(padded[i, j])
    # Ink grows where any neighbour is black, shrinks where any is white.
    white = np.all(looks, axis=0) if spread > 0 else np.any(looks, axis=0)
    rows, columns = last[1] - first[1], last[0] - first[0]
    share = white.reshape(rows, samples, columns, samples).mean(axis=(1, 3))
    light[first[1] : last[1], first[0] : last[0]] = INK + (PAPER - INK) * share


def softened(card: Card, spacing: float) -> Card:
    """The card blurred to suit looks that are `spacing` (m) apart.

    Sharp print sampled at a few places per pixel would shift edges that run along the pixels by up to
    a tenth of a pixel; a Gaussian of half the spacing leaves 1 % of that and is far below a lens's blur.
    """
    blurred = cv2.GaussianBlur(card.light, (0, 0), 0.5 * spacing / card.step, borderType=cv2.BORDER_REPLICATE)
    return Card(light=blurred, low=card.low, step=card.step)


def paint_card(canvas: Light, card: Card, plane: Plane, camera: RenderCamera, rays: FloatArray, samples: int) -> None:
    """Lay a card on a plane, in place, with samples x samples looks per pixel.

    canvas: (h, w, 3) linear light.  rays: (h, w, 2) through its pixels.  camera: counts pixels from
    the canvas's corner.
    """
    edge = camera.project(plane.points(card.outline()))
    box = clipped_box(edge, 3, (canvas.shape[1], canvas.shape[0]))
    if box is None:
        return
    left, top, right, bottom = box
    size, fine = (right - left, bottom - top), ((right - left) * samples, (bottom - top) * samples)
    flat = plane_from_rays(camera, plane, rays[top:bottom, left:right])
    texel = [
        cv2.resize(((flat[k] - card.low[k]) / card.step - 0.5).astype(np.float32), fine, interpolation=cv2.INTER_LINEAR)
        for k in (0, 1)
    ]
    light = cv2.remap(card.light, texel[0], texel[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    # The centre of pixel 0 lies at fine sample (samples - 1) / 2.
    outline = np.round(((edge - [left, top] + 0.5) * samples - 0.5) * 16).astype(np.int32)
    inside = cv2.fillPoly(np.zeros(light.shape, np.uint8), [outline], 255, lineType=cv2.LINE_AA, shift=4)
    inside = inside.astype(np.float32) * np.float32(1 / 255)
    cover = cv2.resize(inside, size, interpolation=cv2.INTER_AREA)
    light = cv2.resize(light * inside, size, interpolation=cv2.INTER_AREA)
    part = canvas[top:bottom, left:right]
    part *= cv2.merge([1.0 - cover] * 3)
    part += cv2.merge([light] * 3)


def paint_hulls(canvas: Light, solids: Sequence[tuple[FloatArray, LinearColour]], camera: RenderCamera) -> None:
    """Fill the silhouettes of convex solids, in order, in place.

    solids: (n, 3) m in floor axes and a colour each.  canvas, camera: as for `paint_card`.
    """
    # On a black, clear sheet OpenCV's antialiased fill yields colour times cover, and cover.
    sheet = np.zeros((*canvas.shape[:2], 4), np.uint8)
    for points, colour in solids:
        outline = cv2.convexHull(np.round(camera.project(points) * 16).astype(np.int32))
        cv2.fillConvexPoly(sheet, outline, [255 * v for v in (*colour, 1.0)], lineType=cv2.LINE_AA, shift=4)
    *colour_part, cover = cv2.split(sheet)
    clear = (1.0 - cover * np.float32(1 / 255)).astype(np.float32)
    canvas *= cv2.merge([clear] * 3)  # merged, since numpy is slow on a last axis of three
    canvas += cv2.merge(colour_part) * np.float32(1 / 255)


def plane_from_rays(camera: RenderCamera, plane: Plane, ray: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where rays (..., 2) meet a plane: its x and y, (...) m each.

    ray: (..., 2), x/z and y/z in camera axes.
    """
    seen = camera.rotation @ np.stack([plane.along, plane.across, plane.origin - camera.position], axis=-1)
    h = np.linalg.inv(seen)
    x, y = ray[..., 0], ray[..., 1]
    scale = 1.0 / (h[2, 0] * x + h[2, 1] * y + h[2, 2])
    return ((h[0, 0] * x + h[0, 1] * y + h[0, 2]) * scale, (h[1, 0] * x + h[1, 1] * y + h[1, 2]) * scale)


def clipped_box(
    pixel: FloatArray, margin: int, high: tuple[int, int], low: tuple[int, int] = (0, 0)
) -> tuple[int, int, int, int] | None:
    """Left, top, right, bottom of the pixels around (n, 2) points, or None when outside of low..high.

    pixel: (n, 2) px.  margin: px around them.
    """
    first = np.maximum(np.floor(pixel.min(axis=0)).astype(int) - margin, low)
    last = np.minimum(np.ceil(pixel.max(axis=0)).astype(int) + margin + 1, high)
    if np.any(last <= first):
        return None
    return int(first[0]), int(first[1]), int(last[0]), int(last[1])


@lru_cache(maxsize=1)
def table_tile() -> Light:
    """(n, n, 3) a table top, one texel per millimetre, seamless; the same table every time."""
    rng = np.random.default_rng(20)
    count = 512
    grain = sum(
        weight
        * cv2.GaussianBlur(rng.normal(size=(count, count)), (0, 0), across, sigmaY=along, borderType=cv2.BORDER_REFLECT)
        * np.sqrt(across * along)
        for weight, across, along in ((0.05, 9.0, 1.5), (0.03, 2.0, 2.0), (0.03, 30.0, 30.0))
    )
    light = np.clip(0.30 + 0.6 * np.asarray(grain), 0.1, 0.6)
    tile: Light = (light[..., None] * np.array([0.62, 0.85, 1.0])).astype(np.float32)
    return tile
