"""What stands before the camera: printed sheets, a floor that need not be flat, a car with its plate, a hand.

Every picture is cast: rays of a grid four pixels apart meet the surfaces, the meeting points are interpolated
between, and each sheet is looked up at two by two points a pixel. Linear light throughout, 1.0 is white paper.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np

from tests.benchmarks.phone.optics import Array, View

GRID, FINE = 4, 2
FAMILY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
INK, PAPER, FLOOR, TAPE = 0.035, 0.82, 0.30, 0.62
FLOOR_IDS = {"front": (10, 11, 12), "rear": (13, 14, 15)}
FLOOR_SIDE, FLOOR_GAP, FLOOR_ROW = 0.070, 0.092, 0.300
CAR_SIDE = 0.044
CAR_PLACES = {0: (0.075, 0.029), 1: (0.075, -0.029), 2: (-0.075, 0.029), 3: (-0.075, -0.029)}


@dataclass
class Sheet:
    """A printed page. raster: (rows, columns) reflectance, row 0 at the largest v.  pixel: m of one texel."""

    raster: Array
    pixel: float

    @property
    def half(self) -> Array:
        """(2,) m, half the width (u) and height (v)."""
        return np.array([self.raster.shape[1], self.raster.shape[0]]) * self.pixel / 2

    def looked_up(self, u: Array, v: Array, edge: float) -> tuple[Array, Array]:
        """(reflectance, cover) at places on the sheet, m. Beyond its edge the cover is 0."""
        half = self.half
        x = ((u + half[0]) / self.pixel - 0.5).astype(np.float32)
        y = ((half[1] - v) / self.pixel - 0.5).astype(np.float32)
        value = cv2.remap(self.raster, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        inside = np.minimum(half[0] - np.abs(u), half[1] - np.abs(v)) / edge + 0.5
        return value, np.clip(inside, 0.0, 1.0)


def _cells(number: int, texels: int) -> Array:
    bits = cv2.aruco.generateImageMarker(FAMILY, number, 8) > 127
    return np.where(np.kron(bits, np.ones((texels, texels), bool)), PAPER, INK).astype(np.float32)


def floor_page(ids: tuple[int, ...]) -> Sheet:
    """A landscape A4 page: u to the right of someone who looks along +x of the floor, v along +x.

    The markers stand in a row, first at the left; their top edges point along v.
    """
    pixel = 0.00025
    raster = np.full((840, 1188), PAPER, np.float32)
    for column, number in enumerate(ids):
        middle = 594 + round(FLOOR_GAP * (column - 1) / pixel)
        raster[420 - 140 : 420 + 140, middle - 140 : middle + 140] = _cells(number, 35)
    # cells are 17.5 of the larger texels: a texel that an edge halves is grey
    return Sheet(cv2.resize(raster, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), 2 * pixel)


def car_page(taped: tuple[tuple[float, float, float, float], ...] = ()) -> Sheet:
    """The plate, 205 by 115 mm: u along the car's x, v along its y; the markers' top edges point along v.

    taped: strips of masking tape over it, m: u and v of the middle, half width, half height.
    """
    pixel = 0.0005
    raster = np.full((230, 410), PAPER, np.float32)
    for number, (x, y) in CAR_PLACES.items():
        column, row = 205 + round(x / pixel), 115 - round(y / pixel)
        raster[row - 44 : row + 44, column - 44 : column + 44] = _cells(number, 11)
    for u, v, wide, high in taped:
        rows, columns = (
            (round(n + a / pixel), round(n + b / pixel))
            for n, a, b in ((115, -v - high, -v + high), (205, u - wide, u + wide))
        )
        raster[slice(*rows), slice(*columns)] = TAPE
    return Sheet(raster, pixel)


@dataclass
class Laid:
    """Where a page lies: middle (2,) m, turn rad (added to the page's own direction), print scale (2,) along u, v."""

    middle: Array
    turn: float = 0.0
    scale: Array = field(default_factory=lambda: np.ones(2))


def flat(x: Array, y: Array) -> Array:
    """The height of a flat floor."""
    return np.zeros_like(x)


Shade = Callable[[Array, Array, float], Array]
"""x, y (m, floor axes, where the picture sees the floor) and the moment -> light there as a share."""


@dataclass
class Stage:
    """Everything that is filmed.

    pages: floor pages with where they lie at a moment.  pose: moment -> (x, y, yaw) of the car, m, rad.
    lean: moment -> (roll, pitch) rad.  plate: where the car's page lies in car axes.  height: m, of the plate.
    bow: height of floor (and of paper) at x, y, m.  hand: moment -> fingertip (2,) m on the floor plan, or None.
    gloss: moment-free middle (2,) m, radius m and strength of a bright spot mirrored by the plate; None without.
    lift: moment -> m, that the car is held over the floor.
    """

    pages: Callable[[float], list[tuple[Sheet, Laid]]]
    pose: Callable[[float], Array]
    plate: Laid
    height: float
    lean: Callable[[float], Array]
    bow: Callable[[Array, Array], Array] = flat
    shade: Shade | None = None
    gloss: tuple[Array, float, float] | None = None
    hand: Callable[[float], Array | None] | None = None
    body: float = 0.028
    lift: Callable[[float], float] = lambda moment: 0.0
    car_sheet: Sheet = field(default_factory=car_page)

    def picture(self, view: View, moment: float, kept: "Kept") -> Array:
        """(height, width) float32 linear light of one instant; rows have their own where the camera reads out."""
        grid = kept.grid
        eye, ray, times = view.rays(grid, moment)
        still = kept.floor is not None and kept.still
        if still:
            light = kept.floor.copy()
        else:
            light = self._floor(eye, ray, moment, kept)
            if kept.still:
                kept.floor = light.copy()
        self._car(light, eye, ray, moment, times, view, kept)
        return light

    def _floor(self, eye: Array, ray: Array, moment: float, kept: "Kept") -> Array:
        height = 0.0
        for _ in range(3 if self.bow is not flat else 1):
            reach = (height - eye[..., 2]) / ray[..., 2]
            x, y = eye[..., 0] + reach * ray[..., 0], eye[..., 1] + reach * ray[..., 1]
            height = self.bow(x, y)
        x, y = kept.finer(x), kept.finer(y)
        light = np.full(x.shape, FLOOR, np.float32)
        for sheet, laid in self.pages(moment):
            dx, dy = x - laid.middle[0], y - laid.middle[1]
            c, s = np.cos(laid.turn), np.sin(laid.turn)
            along, left = c * dx + s * dy, -s * dx + c * dy
            value, cover = sheet.looked_up(-left / laid.scale[0], along / laid.scale[1], kept.edge)
            light += cover * (value - light)
        if self.shade is not None:
            light *= self.shade(x, y, moment).astype(np.float32)
        return light

    def _car(self, light: Array, eye: Array, ray: Array, moment: float, times: Array, view: View, kept: "Kept") -> None:
        if view.readout:
            poses = np.array([self.pose(t) for t in times])
        else:
            poses = np.broadcast_to(self.pose(moment), (len(times), 3))
        lean = self.lean(moment)
        ground = float(self.bow(poses[:1, 0], poses[:1, 1])[0]) + self.lift(moment)
        c, s = np.cos(poses[:, 2]), np.sin(poses[:, 2])
        ahead = np.stack([c, s, np.zeros_like(c)], -1)
        left = np.stack([-s, c, np.zeros_like(c)], -1)
        tilt_x, tilt_y = -np.sin(lean[1]), np.sin(lean[0])  # nose up is negative pitch, left up positive roll
        ahead[:, 2], left[:, 2] = tilt_x, tilt_y
        up = np.cross(ahead, left)
        origin = np.column_stack([poses[:, :2], np.full(len(poses), ground)])
        for height, sheet, laid in (
            (self.body, None, None),
            (self.height, self.car_sheet, self.plate),
        ):
            base = (origin + height * up / np.linalg.norm(up, axis=-1)[:, None])[:, None, :]
            n = up[:, None, :]
            reach = ((base - eye) * n).sum(-1) / (ray * n).sum(-1)
            hit = eye + reach[..., None] * ray - base
            u, v = (hit * ahead[:, None, :]).sum(-1), (hit * left[:, None, :]).sum(-1)
            if sheet is None:
                middle, half, rows = np.array([0.126, 0.0]), np.array([0.175, 0.085]), None
                du, dv = u - middle[0], v - middle[1]
            else:
                cl, sl = np.cos(laid.turn), np.sin(laid.turn)
                pu, pv = u - laid.middle[0], v - laid.middle[1]
                du, dv = (cl * pu + sl * pv) / laid.scale[0], (-sl * pu + cl * pv) / laid.scale[1]
                half = sheet.half
            near = (np.abs(du) < half[0] + 0.02) & (np.abs(dv) < half[1] + 0.02)
            if not near.any():
                continue
            rows, columns = np.flatnonzero(near.any(1)), np.flatnonzero(near.any(0))
            r0, r1 = max(rows[0] - 1, 0), min(rows[-1] + 2, near.shape[0])
            c0, c1 = max(columns[0] - 1, 0), min(columns[-1] + 2, near.shape[1])
            window, fine_u, fine_v = kept.part(du, dv, r0, r1, c0, c1)
            if window is None:
                continue
            if sheet is None:
                inside = np.minimum(half[0] - np.abs(fine_u), half[1] - np.abs(fine_v)) / kept.edge + 0.5
                value, cover = np.float32(0.09), np.clip(inside, 0.0, 1.0)
            else:
                value, cover = sheet.looked_up(fine_u, fine_v, kept.edge)
                if self.gloss is not None:
                    where, radius, strength = self.gloss
                    far = ((fine_u - where[0]) ** 2 + (fine_v - where[1]) ** 2) / radius**2
                    value = value + np.float32(strength) * np.exp(-far)
            part = light[window]
            if self.shade is not None and sheet is not None:
                x, y = kept.part(hit[..., 0] + base[..., 0], hit[..., 1] + base[..., 1], r0, r1, c0, c1)[1:]
                value = value * self.shade(x, y, moment)
            part += cover * (value - part)
        tip = self.hand(moment) if self.hand is not None else None
        if tip is not None:
            reach = (0.10 - eye[..., 2]) / ray[..., 2]
            x, y = eye[..., 0] + reach * ray[..., 0] - tip[0], eye[..., 1] + reach * ray[..., 1] - tip[1]
            x, y = kept.finer(x), kept.finer(y)
            cover = np.clip((0.035 - np.abs(x)) / kept.edge + 0.5, 0, 1) * np.clip(-y / kept.edge + 0.5, 0, 1)
            light += cover * (np.float32(0.35) - light)


class Kept:
    """The grid of a view and, where camera and floor stand still, the floor as it was cast once."""

    def __init__(self, view: View, *, still: bool) -> None:
        width, height = view.size
        self.size = view.size
        columns, rows = -(-width // GRID) + 2, -(-height // GRID) + 2
        x = (np.arange(columns) - 0.5) * GRID - 0.5
        y = (np.arange(rows) - 0.5) * GRID - 0.5
        self.grid = np.stack(np.meshgrid(x, y), axis=-1)
        self.still = still and view.readout == 0.0
        self.floor: Array | None = None
        self.edge = np.float32(0.0007)

    def finer(self, coarse: Array) -> Array:
        """(rows, columns) on the grid -> (FINE * height, FINE * width) float32."""
        k = GRID * FINE
        wide = cv2.resize(coarse.astype(np.float32), None, fx=k, fy=k, interpolation=cv2.INTER_LINEAR)
        width, height = self.size
        return wide[k : k + FINE * height, k : k + FINE * width]

    def part(
        self, u: Array, v: Array, r0: int, r1: int, c0: int, c1: int
    ) -> tuple[tuple[slice, slice] | None, Array, Array]:
        """(window of the fine picture, u and v there) of the grid's rows r0 to r1 and columns c0 to c1."""
        k = GRID * FINE
        width, height = self.size
        top, left = (r0 - 1) * k + k // 2, (c0 - 1) * k + k // 2
        bottom, right = (r1 - 1) * k - k // 2, (c1 - 1) * k - k // 2
        y0, y1 = max(top, 0), min(bottom, FINE * height)
        x0, x1 = max(left, 0), min(right, FINE * width)
        if y1 <= y0 or x1 <= x0:
            return None, u, v
        fine = [
            cv2.resize(one[r0:r1, c0:c1].astype(np.float32), None, fx=k, fy=k, interpolation=cv2.INTER_LINEAR)[
                k // 2 + y0 - top : k // 2 + y1 - top, k // 2 + x0 - left : k // 2 + x1 - left
            ]
            for one in (u, v)
        ]
        return (slice(y0, y1), slice(x0, x1)), fine[0], fine[1]
