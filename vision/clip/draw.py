"""Drawing on a picture of the floor: outlines, pivots with their regions, markers, words. All edges smooth."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.base.robust import CHI_SQUARE_95_PLANE
from vision.base.types import BgrImage, Camera, FloatArray

# Colours that people with any colour vision tell apart (Okabe and Ito 2008, from memory), BGR.
ORANGE, BLUE, GREEN, YELLOW, PINK, WHITE = (
    (0, 159, 230),
    (178, 114, 0),
    (115, 158, 0),
    (66, 228, 240),
    (167, 121, 204),
    (255, 255, 255),
)
Colour = tuple[int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorView:
    """How one picture sees the floor. rotation: (3, 3), place: (3,) m: camera = rotation @ floor + place."""

    camera: Camera
    rotation: FloatArray
    place: FloatArray

    def pixel(self, flat: FloatArray, height: float = 0.0) -> FloatArray:
        """(n, 2) m in floor axes, at a height in m -> (n, 2) px.

        flat: (n, 2) m.
        """
        solid = np.column_stack([flat, np.full(len(flat), height)])
        turn = cv2.Rodrigues(self.rotation)[0]
        seen = cv2.projectPoints(solid, turn, self.place, self.camera.matrix, self.camera.distortion)[0]
        return np.asarray(seen, dtype=float)[:, 0]


def dense(outline: FloatArray, step: float = 0.02) -> FloatArray:
    """A closed outline with points at least every `step` m: lenses bend long edges."""
    parts = []
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        count = max(1, int(np.ceil(np.linalg.norm(b - a) / step)))
        parts.append(a + (b - a) * (np.arange(count)[:, None] / count))
    return np.concatenate(parts)


def ellipse(centre: FloatArray, covariance: FloatArray) -> FloatArray:
    """(72, 2) m: border of the 95 % region of a point in a plane.

    centre: (2,) m.  covariance: (2, 2) m2.
    """
    size, axis = np.linalg.eigh(covariance)
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    border: FloatArray = centre + circle * np.sqrt(np.maximum(size, 0.0) * CHI_SQUARE_95_PLANE) @ axis.T
    return border


def line(picture: BgrImage, pixel: FloatArray, colour: Colour, *, width: int = 2, closed: bool = True) -> None:
    """A smooth line through (n, 2) px in place, back to its start when closed.

    pixel: (n, 2) px.
    """
    if np.all(np.abs(pixel) < 30_000):  # beyond that OpenCV's fixed-point numbers overflow
        cv2.polylines(picture, [np.round(pixel * 16).astype(np.int32)], closed, colour, width, cv2.LINE_AA, 4)


def dot(picture: BgrImage, pixel: FloatArray, colour: Colour, *, radius: int = 6) -> None:
    """A filled point with a white rim, in place.

    pixel: (2,) px.
    """
    if np.all(np.abs(pixel) < 30_000):
        spot = (round(float(pixel[0]) * 16), round(float(pixel[1]) * 16))
        cv2.circle(picture, spot, (radius + 2) * 16, WHITE, -1, cv2.LINE_AA, 4)
        cv2.circle(picture, spot, radius * 16, colour, -1, cv2.LINE_AA, 4)


def captioned(picture: BgrImage, lines: Sequence[tuple[str, Colour]], *, scale: float = 0.55) -> BgrImage:
    """The picture with a dark band of text under it, of even height. Plain ASCII only."""
    font = cv2.FONT_HERSHEY_SIMPLEX
    step = round(36 * scale)
    rows = step * len(lines) + 10
    rows += (picture.shape[0] + rows) % 2
    band = np.full((rows, picture.shape[1], 3), 30, np.uint8)
    for number, (text, colour) in enumerate(lines):
        fit = scale
        while fit > 0.1 and cv2.getTextSize(text, font, fit, 1)[0][0] > picture.shape[1] - 20:
            fit *= 0.96  # letters come in whole sizes: a width does not shrink with the scale alone
        cv2.putText(band, text, (10, round(step * (number + 0.7)) + 5), font, fit, colour, 1, cv2.LINE_AA)
    return np.concatenate([picture, band])
