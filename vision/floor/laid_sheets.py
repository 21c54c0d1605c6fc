"""Floor sheets as they are laid: which markers share one, how surely it lies by the card, and moved from there."""

import numpy as np

from vision.base.plane import plane_rotation
from vision.base.types import FloatArray, FloorLayout
from vision.floor.geometry import marker_corners


def sheet_numbers(layout: FloorLayout) -> tuple[int, ...]:
    """(m,) which sheet each marker is on; markers without a sheet name are laid one by one."""
    names = [marker.sheet or f"marker {marker.id}" for marker in layout.markers]
    order = list(dict.fromkeys(names))
    return tuple(order.index(name) for name in names)


def sheet_prior_u(layout: FloorLayout, sheet_of: tuple[int, ...]) -> FloatArray:
    """(s, 3) standard uncertainty of each sheet's place (m) and turn (rad)."""
    corner = marker_corners(layout.markers)
    numbers = np.array(sheet_of)
    rows = []
    for number in range(max(sheet_of) + 1):
        own = corner[numbers == number].reshape(-1, 2)
        span = float(np.linalg.norm(own.max(0) - own.min(0)))
        rows.append([layout.place_u, layout.place_u, 2.0 * layout.place_u / span])
    return np.array(rows)


def moved_corners(corner: FloatArray, sheet_of: tuple[int, ...], sheet: FloatArray) -> FloatArray:
    """(m, 4, 2) card corners -> where they are when the sheets are moved and turned about their middles.

    corner: (m, 4, 2) m.  sheet: (s, 3) m, m, rad.
    """
    numbers = np.array(sheet_of)
    result = np.empty_like(corner)
    for number in range(max(sheet_of) + 1):
        own = numbers == number
        middle = corner[own].reshape(-1, 2).mean(0)
        result[own] = (corner[own] - middle) @ plane_rotation(sheet[number, 2]).T + middle + sheet[number, :2]
    return result
