"""A picture of a pushed car: its outline, trails, and the balance line with its ± across it."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.base.plane import plane_rotation
from vision.base.types import BgrImage, FloatArray
from vision.clip.draw import ORANGE, PINK, WHITE, YELLOW, Colour, FloorView, dense, line


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveScene:
    """What is drawn. outline: (k, 2) m, of the body, car axes.  pose: (3,) m, m, rad on the floor.  trails: each (n, 2)
    m on the floor, of a point of the car.  balance: m ahead of the rear axle, with the ends of its 95 %, or None.
    height: m above the floor at which all of it lies; at the marker plate's it covers the car that one sees, however
    obliquely the camera looks.
    """

    outline: FloatArray
    pose: FloatArray
    trails: tuple[FloatArray, ...] = ()
    balance: tuple[float, float, float] | None = None
    height: float = 0.0


def draw_live(picture: BgrImage, view: FloorView, scene: LiveScene, *, scale: float = 1.0) -> BgrImage:
    """A copy of the picture with the scene on it. picture: (h, w, 3) BGR, `scale` times as large as `view` sees it."""
    drawn = picture.copy()

    def on_floor(flat: FloatArray) -> FloatArray:
        return scale * view.pixel(flat, scene.height)

    def on_car(flat: FloatArray) -> FloatArray:
        return on_floor(flat @ plane_rotation(scene.pose[2]).T + scene.pose[:2])

    def rimmed(pixel: FloatArray, colour: Colour, *, closed: bool) -> None:
        for shade, width in ((WHITE, 4), (colour, 2)):
            line(drawn, pixel, shade, width=width, closed=closed)

    if scene.balance is not None:
        at, low, high = scene.balance
        half = float(np.abs(scene.outline[:, 1]).max())
        band = on_car(np.array([[low, -half], [high, -half], [high, half], [low, half]]))
        if np.all(np.abs(band) < 30_000):
            veil = drawn.copy()
            cv2.fillPoly(veil, [np.round(band * 16).astype(np.int32)], ORANGE, cv2.LINE_AA, 4)
            cv2.addWeighted(veil, 0.35, drawn, 0.65, 0.0, dst=drawn)
        rimmed(on_car(np.array([[at, -half], [at, half]])), ORANGE, closed=False)
    rimmed(on_car(dense(scene.outline)), YELLOW, closed=True)
    for trail in scene.trails:
        if len(trail) > 1:
            rimmed(on_floor(trail), PINK, closed=False)
    return drawn
