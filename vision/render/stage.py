"""The rendered scene from moment to moment: table, pages, car, hand; what stays still is painted once."""

import cv2
import numpy as np

from vision.base.types import BgrImage, FloatArray, FloorLayout, Marker
from vision.markers.layouts import finger_square
from vision.render.camera import RenderCamera, all_rays
from vision.render.filmed import Filming, Hand, PushScene
from vision.render.scene import (
    FLOOR,
    Light,
    LinearColour,
    Plane,
    clipped_box,
    paint_card,
    paint_hulls,
    plane_from_rays,
    print_card,
    softened,
    table_tile,
)

BODY, ROOF, TYRE, SKIN = (0.20, 0.07, 0.03), (0.26, 0.10, 0.05), (0.02, 0.02, 0.02), (0.24, 0.33, 0.52)


class Stage:
    """The scene with what stays the same from frame to frame."""

    def __init__(self, scene: PushScene, filming: Filming) -> None:
        floor, car, outline = scene.floor, scene.car, scene.outline
        camera, size, look, samples = filming.camera, filming.size, filming.look, filming.samples
        worn = None if scene.hand is None else scene.hand.worn
        self.car, self.camera, self.size, self.look, self.samples = car, camera, size, look, samples
        self.pages = [
            print_card(page, floor.dictionary, margin=0.018, ink_spread=look.ink_spread) for page in _pages(floor)
        ]
        self.plate = print_card(car.markers, car.dictionary, margin=0.008, ink_spread=look.ink_spread)
        spacing = 1.0 / (samples * _least_scale(camera, car.height))
        self.pages, self.plate = [softened(p, spacing) for p in self.pages], softened(self.plate, spacing)
        self.ring = None
        if worn is not None:
            self.ring = softened(
                print_card(
                    (finger_square(worn.id, worn.size),),
                    worn.dictionary,
                    margin=worn.size / 8,
                    ink_spread=look.ink_spread,
                ),
                spacing,
            )
        corner = self.plate.outline(1)
        self.middle = corner.mean(axis=0)
        self.outline = (
            outline
            if outline is not None
            else _rounded_box(corner.min(axis=0) - [0.10, 0.035], corner.max(axis=0) + np.array([0.10, 0.035]), 0.05)
        )
        self.wheels = np.empty((0, 2)) if scene.wheels is None else np.asarray(scene.wheels)
        grid = np.stack(np.meshgrid(np.arange(size[0]), np.arange(size[1])), axis=-1).astype(float)
        self.rays = all_rays(camera, size)
        centred = (grid - [(size[0] - 1) / 2, (size[1] - 1) / 2]) / (np.hypot(*size) / 2)
        gain = look.brightness / 0.8 * (1 - look.vignette * np.sum(centred**2, axis=-1))
        self.gain = cv2.merge([gain.astype(np.float32) * 4095] * 3)
        self.tile = table_tile()
        self.kernel_reach = int(np.ceil(4 * look.lens_blur)) + 1
        self.coded = (np.linspace(0, 1, 4096) ** (1 / look.gamma) * 255).round().astype(np.uint8)
        self.raw: Light | None = None
        self.still: BgrImage | None = None
        self.last: tuple[FloatArray, BgrImage] | None = None

    def steps(self, ends: FloatArray, cameras: list[RenderCamera]) -> int:
        """How many moments an exposure needs so that markers move at most 0.4 px in between.

        ends: (2, 5, 7 or 10), moments at both ends of the exposure.
        """
        seen = [
            camera.project(self._plate_plane(row).points(self.plate.outline(1)))
            for row, camera in zip(ends, cameras, strict=True)
        ]
        moved = float(np.abs(seen[1] - seen[0]).max())
        return 1 if moved < 0.1 else int(np.clip(np.ceil(moved / 0.4) + 1, 2, 24))

    def frame(
        self,
        rows: FloatArray,
        cameras: list[RenderCamera] | None,
        hand: Hand | None,
        lines: tuple[int, int] | None = None,
    ) -> BgrImage:
        """One picture without noise. rows: (n, 5, 7 or 10) moments inside the exposure.

        lines: only these lines of the picture (first, one past the last) are wanted; others may lack the car.
        """
        if cameras is not None:
            light = sum(
                (self._moment(row, camera, hand)[0] for row, camera in zip(rows, cameras, strict=True)),
                start=np.zeros(1, np.float32),
            ) / len(rows)
            return self._developed(light, (0, 0, *self.size))
        if self.last is not None and self.last[0].shape == rows.shape and np.all(self.last[0] == rows):
            return self.last[1]
        if self.raw is None:
            self.raw = self._empty_floor(self.camera)
            self.still = self._developed(self.raw, (0, 0, *self.size))
        assert self.still is not None
        picture = self.still.copy()
        box = self._region(rows, self.camera, hand)
        if box is not None and lines is not None:
            around = 2 * self.kernel_reach + 26
            top, bottom = max(box[1], lines[0] - around), min(box[3], lines[1] + around)
            box = (box[0], top, box[2], bottom) if top < bottom else None
        if box is not None:
            light = sum(
                (self._paint_car(self.raw, row, self.camera, hand, box) for row in rows), start=np.zeros(1, np.float32)
            ) / len(rows)
            reach = self.kernel_reach
            # The blur needs what lies around; only the inner part of the region is exact.
            inner = (
                box[0] + reach * (box[0] > 0),
                box[1] + reach * (box[1] > 0),
                box[2] - reach * (box[2] < self.size[0]),
                box[3] - reach * (box[3] < self.size[1]),
            )
            done = self._developed(light, box)
            picture[inner[1] : inner[3], inner[0] : inner[2]] = done[
                inner[1] - box[1] : inner[3] - box[1], inner[0] - box[0] : inner[2] - box[0]
            ]
        if lines is None:
            self.last = (rows, picture)
        return picture

    def rolled(self, bands: list[FloatArray], edges: list[int], hand: Hand | None) -> BgrImage:
        """One picture of a rolling shutter. bands: moments of the lines from edges[k] to edges[k + 1]."""
        if all(band.shape == bands[0].shape and np.all(band == bands[0][0]) for band in bands):
            return self.frame(bands[0], None, hand)
        picture = np.empty((self.size[1], self.size[0], 3), np.uint8)
        for rows, top, bottom in zip(bands, edges[:-1], edges[1:], strict=True):
            picture[top:bottom] = self.frame(rows, None, hand, (top, bottom))[top:bottom]
        return picture

    def _moment(
        self, row: FloatArray, camera: RenderCamera, hand: Hand | None
    ) -> tuple[Light, tuple[int, int, int, int] | None]:
        """The whole picture at one moment, for a moving camera."""
        light = self._empty_floor(camera)
        box = self._region(row[None], camera, hand)
        if box is not None:
            light[box[1] : box[3], box[0] : box[2]] = self._paint_car(light, row, camera, hand, box)
        return light, box

    def _empty_floor(self, camera: RenderCamera) -> Light:
        """(H, W, 3) linear light of the table with its pages."""
        x, y = plane_from_rays(camera, FLOOR, self.rays)
        ahead = (
            self.rays[..., 0] * camera.rotation[0, 2]
            + self.rays[..., 1] * camera.rotation[1, 2]
            + camera.rotation[2, 2]
            < 0
        )
        count = len(self.tile)
        texel = [np.mod(np.where(ahead, v, 0.0) * 1000, count - 1).astype(np.float32) for v in (x, y)]
        light: Light = cv2.remap(self.tile, texel[0], texel[1], cv2.INTER_LINEAR)
        light[~ahead] = 0.35
        for page in self.pages:
            paint_card(light, page, FLOOR, camera, self.rays, self.samples)
        return light

    def _plate_plane(self, row: FloatArray) -> Plane:
        turn = _turned(row)
        middle = np.array([*self.middle, 0.0])
        above = np.array([0.0, 0.0, self.car.height])
        origin = [row[0], row[1], 0.0] + _yawed(row[2]) @ middle + turn @ (above - middle)
        return Plane(origin=origin, along=turn[:, 0], across=turn[:, 1])

    def _solids(self, row: FloatArray) -> list[tuple[FloatArray, LinearColour]]:
        """Convex solids of the car from below to above, (n, 3) m in floor axes with their colours."""
        turn, middle = _turned(row), np.array([*self.middle, 0.0])
        base = [row[0], row[1], 0.0] + _yawed(row[2]) @ middle
        circle = np.linspace(0, 2 * np.pi, 20, endpoint=False)
        rim = np.stack([0.032 * np.cos(circle), 0.032 * np.sin(circle) + 0.032], axis=-1)
        solids: list[tuple[FloatArray, LinearColour]] = []
        for wheel in self.wheels:
            flat = [
                np.stack([wheel[0] + rim[:, 0], np.full(20, wheel[1] + side), rim[:, 1]], axis=-1)
                for side in (-0.013, 0.013)
            ]
            solids.append((np.concatenate(flat), TYRE))
        top = self.car.height - 0.004
        for low, high, colour in ((0.008, top, BODY), (top, top, ROOF)):
            flat = [np.column_stack([self.outline, np.full(len(self.outline), z)]) for z in (low, high)]
            solids.append((np.concatenate(flat), colour))
        return [(base + (solid - middle) @ turn.T, colour) for solid, colour in solids]

    def _worn_plane(self, row: FloatArray, hand: Hand) -> Plane:
        assert hand.worn is not None
        turn = _turned(np.array([0.0, 0.0, *row[7:10]]))
        tip = np.array([row[5], row[6], hand.height])
        return Plane(origin=tip - turn @ hand.worn.tip, along=turn[:, 0], across=turn[:, 1])

    def _hand_solids(self, row: FloatArray, hand: Hand) -> list[tuple[FloatArray, LinearColour]]:
        circle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        ring = np.stack([np.cos(circle), np.sin(circle)], axis=-1)
        out = np.asarray(hand.outward) / np.linalg.norm(hand.outward)

        def disc(way: float, radius: float, height: float) -> FloatArray:
            return np.column_stack([row[5:7] + out * (way + hand.width / 2) + radius * ring, np.full(24, height)])

        half, z = hand.width / 2, hand.height
        return [
            (np.concatenate([disc(0.08, 0.036, z + 0.03), disc(0.45, 0.034, z + 0.12)]), SKIN),
            (np.concatenate([disc(0.0, half, z), disc(0.09, half, z + 0.03)]), SKIN),
        ]

    def _region(self, rows: FloatArray, camera: RenderCamera, hand: Hand | None) -> tuple[int, int, int, int] | None:
        """The part of the picture that a car and a hand touch, its shadow and blur included."""
        points = []
        for row in rows[[0, -1]]:
            points += [solid for solid, _ in self._solids(row)]
            points.append(self._plate_plane(row).points(self.plate.outline(1)))
            if hand is not None:
                points += [solid for solid, _ in self._hand_solids(row, hand)]
                if self.ring is not None:
                    points.append(self._worn_plane(row, hand).points(self.ring.outline(1)))
        return clipped_box(camera.project(np.concatenate(points)), 2 * self.kernel_reach + 26, self.size)

    def _paint_car(
        self, below: Light, row: FloatArray, camera: RenderCamera, hand: Hand | None, box: tuple[int, int, int, int]
    ) -> Light:
        """(h, w, 3) light of the region `box` with shadow, car, plate and hand at one moment."""
        left, top, right, bottom = box
        near = _shifted(camera, left, top)
        solids, fingers = self._solids(row), [] if hand is None else self._hand_solids(row, hand)
        quarter: Light = np.ones((-(-(bottom - top) // 4), -(-(right - left) // 4)), np.float32)
        ground = near.project(solids[-1][0] * [1, 1, 0]) / 4
        cv2.fillConvexPoly(quarter, cv2.convexHull(np.round(ground * 16).astype(np.int32)), 0.45, shift=4)
        quarter = cv2.GaussianBlur(quarter, (0, 0), 1.6, borderType=cv2.BORDER_REPLICATE)
        shadow = cv2.resize(quarter, (right - left, bottom - top), interpolation=cv2.INTER_LINEAR)
        light = below[top:bottom, left:right] * cv2.merge([shadow] * 3)
        behind = hand is not None and hand.height < self.car.height and self._farther(row, camera)
        rays = self.rays[top:bottom, left:right]
        if behind:
            paint_hulls(light, fingers, near)
            self._paint_ring(light, row, hand, near, rays)
        paint_hulls(light, solids, near)
        paint_card(light, self.plate, self._plate_plane(row), near, rays, self.samples)
        if fingers and not behind:
            paint_hulls(light, fingers, near)
            self._paint_ring(light, row, hand, near, rays)
        return light

    def _paint_ring(
        self, light: Light, row: FloatArray, hand: Hand | None, near: RenderCamera, rays: FloatArray
    ) -> None:
        if self.ring is not None and hand is not None:
            paint_card(light, self.ring, self._worn_plane(row, hand), near, rays, self.samples)

    def _farther(self, row: FloatArray, camera: RenderCamera) -> bool:
        """Whether the finger is behind the car as the camera sees it."""
        car = self._plate_plane(row).points(self.middle)[:2]
        return bool(np.hypot(*(row[5:7] - camera.position[:2])) > np.hypot(*(car - camera.position[:2])))

    def _developed(self, light: Light, box: tuple[int, int, int, int]) -> BgrImage:
        """Lens blur, uneven light, gamma, eight bits."""
        if self.look.lens_blur > 0:
            light = cv2.GaussianBlur(light, (0, 0), self.look.lens_blur, borderType=cv2.BORDER_REPLICATE)
        seen = light * self.gain[box[1] : box[3], box[0] : box[2]]
        index = np.minimum(seen, 4095.0).astype(np.uint16)
        developed: BgrImage = np.take(self.coded, index)
        return developed


def _pages(floor: FloorLayout) -> list[tuple[Marker, ...]]:
    """Markers that share a page; one without a page name has a page of its own."""
    pages: dict[str, list[Marker]] = {}
    for marker in floor.markers:
        pages.setdefault(marker.sheet or f"\0{marker.id}", []).append(marker)
    return [tuple(page) for page in pages.values()]


def _least_scale(camera: RenderCamera, height: float) -> float:
    """px per m in the direction that is foreshortened most, in the middle of the floor."""
    step = 1e-3
    spot = np.array([[0.0, 0.0, height], [step, 0.0, height], [0.0, step, height]])
    pixel = camera.project(spot)
    return max(float(np.linalg.svd((pixel[1:] - pixel[0]) / step, compute_uv=False)[-1]), 1.0)


def _yawed(yaw: float) -> FloatArray:
    c, s = np.cos(yaw), np.sin(yaw)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _turned(row: FloatArray) -> FloatArray:
    """(3, 3) floor axes from leaning car axes: yaw, then pitch, then roll."""
    (cr, cp), (sr, sp) = np.cos(row[3:5]), np.sin(row[3:5])
    pitch = np.array([[cp, 0.0, sp], [0.0, 1.0, 0.0], [-sp, 0.0, cp]])
    roll = np.array([[1.0, 0.0, 0.0], [0.0, cr, -sr], [0.0, sr, cr]])
    turned: FloatArray = _yawed(row[2]) @ pitch @ roll
    return turned


def _shifted(camera: RenderCamera, left: int, top: int) -> RenderCamera:
    """The same camera with pixels counted from a region's corner."""
    matrix = camera.matrix.copy()
    matrix[:2, 2] -= [left, top]
    return RenderCamera(matrix=matrix, distortion=camera.distortion, rotation=camera.rotation, position=camera.position)


def _rounded_box(low: FloatArray, high: FloatArray, radius: float) -> FloatArray:
    angle = np.linspace(0, np.pi / 2, 6)
    arc = radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    half = (high - low) / 2
    radius_at = half - radius
    quarter = radius_at + arc
    mirror = np.array([-1.0, 1.0])
    corners = [quarter, mirror * quarter[::-1], -quarter, -mirror * quarter[::-1]]
    rounded: FloatArray = np.concatenate(corners) + (low + high) / 2
    return rounded
