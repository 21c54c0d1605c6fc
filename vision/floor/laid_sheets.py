"""Floor sheets as they really are: moved, turned and stretched against the card, on a floor that is not quite flat.

The floor's height over the plane is a sum of three quadratic shapes (a dome, a saddle along the axes, one across them)
and of every marker corner's own height, for paper that is not flat.
"""

from dataclasses import dataclass

import numpy as np

from vision.base.plane import plane_rotation
from vision.base.types import FloatArray, FloorLayout, Marker
from vision.floor.geometry import marker_corners

BOW_SHAPES = 3


def sheet_numbers(layout: FloorLayout) -> tuple[int, ...]:
    """(m,) which sheet each marker is on, of `sheet_names`."""
    names = sheet_names(layout)
    return tuple(names.index(_sheet_of(marker)) for marker in layout.markers)


def sheet_names(layout: FloorLayout) -> tuple[str, ...]:
    """(s,) the sheets as people are told of them; markers without a sheet name are laid one by one."""
    return tuple(dict.fromkeys(_sheet_of(marker) for marker in layout.markers))


def _sheet_of(marker: Marker) -> str:
    return marker.sheet or f"with marker {marker.id}"


@dataclass(frozen=True, slots=True)
class LaidFloor:
    """The floor by the card, and how its corners move with h numbers that say how it is really laid.

    corner: (m, 4, 2) m, by the card.  sheet_of: (m,) of s sheets.  middle: (m, 2) m, of the marker's sheet.
    centre: (2,) m and reach: m, of all markers.
    The numbers, in this order: dx, dy (m) and turn (rad) of each sheet; for each sheet by how much it is longer both
    ways, and by how much more along x than along y (relative); the three shapes of the floor's bow (m, height at the
    reach); the height of every corner (m).
    """

    corner: FloatArray
    sheet_of: tuple[int, ...]
    middle: FloatArray
    centre: FloatArray
    reach: float

    @classmethod
    def of(cls, layout: FloorLayout) -> "LaidFloor":
        """By the card."""
        corner, sheet_of = marker_corners(layout.markers), sheet_numbers(layout)
        numbers = np.array(sheet_of)
        middle = np.stack([corner[numbers == number].reshape(-1, 2).mean(0) for number in sheet_of])
        flat = corner.reshape(-1, 2)
        centre = 0.5 * (flat.min(0) + flat.max(0))
        return cls(corner, sheet_of, middle, centre, max(float(np.hypot(*(flat - centre).T).max()), 1e-3))

    @property
    def sheets(self) -> int:
        """How many."""
        return max(self.sheet_of) + 1

    @property
    def count(self) -> int:
        """How many numbers, h."""
        return 5 * self.sheets + BOW_SHAPES + 4 * len(self.corner)

    def moves(self, laid: FloatArray) -> FloatArray:
        """(s, 3) m, m, rad: of the sheets. laid: (h,)."""
        return laid[: 3 * self.sheets].reshape(-1, 3)

    def stretches(self, laid: FloatArray) -> FloatArray:
        """(s, 2) relative: both ways, and more along x. laid: (h,)."""
        return laid[3 * self.sheets : 5 * self.sheets].reshape(-1, 2)

    @property
    def bow_part(self) -> slice:
        """Which of the numbers are the floor's bow."""
        return slice(5 * self.sheets, 5 * self.sheets + BOW_SHAPES)

    @property
    def wave_part(self) -> slice:
        """Which of the numbers are the corners' heights."""
        return slice(5 * self.sheets + BOW_SHAPES, self.count)

    def corners(self, laid: FloatArray) -> FloatArray:
        """(m, 4, 3) m, where the corners are. laid: (h,)."""
        move = self.moves(laid)[list(self.sheet_of)]
        arm = self._arm(laid)
        flat = arm + (self.middle + move[:, :2])[:, None]
        height = self.bow_shapes(self.corner) @ laid[self.bow_part] + laid[self.wave_part].reshape(-1, 4)
        return np.concatenate([flat, height[..., None]], axis=-1)

    def columns(self, laid: FloatArray) -> FloatArray:
        """(m, 4, 3, h) by how much each corner moves for one unit of each number. laid: (h,)."""
        numbers = np.array(self.sheet_of)
        turned = plane_rotation(self.moves(laid)[list(numbers), 2])
        arm = self._arm(laid)
        own_axes = np.einsum("mji,mkj->mki", turned, arm)
        more_along = np.einsum("mij,mkj->mki", turned, own_axes * [1.0, -1.0])
        found = np.zeros((*self.corner.shape[:2], 3, self.count))
        for sheet in range(self.sheets):
            own, first = numbers == sheet, 3 * self.sheets + 2 * sheet
            found[own, :, 0, 3 * sheet] = found[own, :, 1, 3 * sheet + 1] = 1.0
            found[own, :, 0, 3 * sheet + 2], found[own, :, 1, 3 * sheet + 2] = -arm[own, :, 1], arm[own, :, 0]
            found[own, :, :2, first], found[own, :, :2, first + 1] = arm[own], more_along[own]
        found[..., 2, self.bow_part] = self.bow_shapes(self.corner)
        waves = np.arange(4 * len(numbers))
        found[waves // 4, waves % 4, 2, self.wave_part.start + waves] = 1.0
        return found

    def bow_shapes(self, point: FloatArray) -> FloatArray:
        """(..., 3) the three shapes: height for 1 m at the reach. point: (..., 2) m, on the floor."""
        x, y = np.moveaxis((point - self.centre) / self.reach, -1, 0)
        return np.stack([x * x + y * y, x * x - y * y, 2.0 * x * y], axis=-1)

    def bow_slopes(self, point: FloatArray) -> FloatArray:
        """(..., 2, 3) of the shapes along x and y. point: (..., 2) m, on the floor."""
        x, y = np.moveaxis((point - self.centre) / self.reach, -1, 0)
        rows = np.stack([np.stack([x, x, y], axis=-1), np.stack([y, -y, x], axis=-1)], axis=-2)
        return 2.0 / self.reach * rows

    def ground(self, laid: FloatArray) -> "Ground":
        """The floor that a car stands on. laid: (h,)."""
        return Ground(floor=self, bow=laid[self.bow_part])

    def _arm(self, laid: FloatArray) -> FloatArray:
        """(m, 4, 2) m, from the sheet's middle to the corner, stretched and turned."""
        numbers = list(self.sheet_of)
        both, more = self.stretches(laid)[numbers].T
        arm = (self.corner - self.middle[:, None]) * (1.0 + np.stack([both + more, both - more], axis=-1))[:, None]
        turned: FloatArray = np.einsum("mij,mkj->mki", plane_rotation(self.moves(laid)[numbers, 2]), arm)
        return turned


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """The floor between the sheets. bow: (3,) m, of the floor's shapes."""

    floor: LaidFloor
    bow: FloatArray

    def height(self, point: FloatArray) -> FloatArray:
        """(...) m over the plane. point: (..., 2) m, on the floor."""
        height: FloatArray = self.floor.bow_shapes(point) @ self.bow
        return height

    def foot(self, point: FloatArray, height: float) -> FloatArray:
        """(..., 2) m, from under a point at this height (m) over the floor points (..., 2), upright on the floor there,
        to where it stands: a slope takes what is high on it aside."""
        foot: FloatArray = height * (self.floor.bow_slopes(point) @ self.bow)
        return foot
