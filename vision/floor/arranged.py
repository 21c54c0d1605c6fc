"""Floor sheets laid in another order, or turned round, than the card says: found by trying."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np

from vision.base.plane import plane_rotation
from vision.base.types import FloatArray
from vision.floor.laid_sheets import LaidFloor

TURNS = {180: np.pi, 90: np.pi / 2, 270: -np.pi / 2}


def other_arrangements(floor: LaidFloor, names: tuple[str, ...]) -> Iterator[tuple[str, str, LaidFloor]]:
    """Each single mistake in laying the sheets: what it is, what to do, and the floor as it would then be.

    names: of the sheets, in the order of `sheet_of`.
    """
    numbers = np.array(floor.sheet_of)
    middle = np.stack([floor.middle[numbers == sheet][0] for sheet in range(floor.sheets)])
    for a, b in combinations(range(floor.sheets), 2):
        exchanged = middle.copy()
        exchanged[[a, b]] = middle[[b, a]]
        yield (
            f"the floor sheets {names[a]} and {names[b]} lie in each other's places",
            "Exchange them, or exchange their places on the bench card",
            _laid(floor, exchanged - middle, np.zeros(floor.sheets)),
        )
    for sheet in range(floor.sheets):
        for degrees, turn in TURNS.items():
            turns = np.where(np.arange(floor.sheets) == sheet, turn, 0.0)
            yield (
                f"the floor sheet {names[sheet]} lies turned by {degrees}° against the bench card",
                "Turn it as the card says, or correct its markers' turn_deg and places on the card",
                _laid(floor, np.zeros_like(middle), turns),
            )


def _laid(floor: LaidFloor, move: FloatArray, turn: FloatArray) -> LaidFloor:
    """The floor with its sheets moved (s, 2) m and turned (s,) rad about their middles."""
    numbers = list(floor.sheet_of)
    arm = floor.corner - floor.middle[:, None]
    turned = np.einsum("mij,mkj->mki", plane_rotation(turn[numbers]), arm)
    middle = floor.middle + move[numbers]
    return replace(floor, corner=turned + middle[:, None], middle=middle)
