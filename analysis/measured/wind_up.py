"""What the tyres' winding up and springing back leaves unknown of a push's turn per travel."""

from enum import Enum

TURNS = 2
"""How the turn of a push is found by now, kept with each, so that an older one gives its figures again.

1: the pivot from rest to rest, the balance between loaded poses, with a fixed part for the wind-up.  2: both between
the poses under load that the clip shows, with a part for the wind-up that grows as the push gets shorter.
"""
USUAL_WIND_UP = 0.002
"""m: of the touched place, where no springback shows it (1.5 N/mm a tyre)."""
MOST_OF_THE_WAY = 0.25
"""A wind-up is taken for no more than this part of the push."""


class PosesUsed(Enum):
    """Between which poses a turn was taken. The value is for people."""

    BETWEEN_LOADED = "between two loaded poses"
    REST_TO_LOADED = "from rest to the loaded end"
    REST_TO_RELEASED = "from rest to rest, after the finger had left"
    REST_TO_REST = "from rest to rest"

    @property
    def share(self) -> float:
        """Standard uncertainty of a balance point from the tyres' wind-up, as a part of the distance between push
        and balance, of a push of 30 mm or more (computed with spring tyres: 1.1-1.4 %, 1.5-1.8 % and 5-7 %; rest to
        rest may be either of the last two)."""
        return {
            PosesUsed.BETWEEN_LOADED: 0.013,
            PosesUsed.REST_TO_LOADED: 0.018,
            PosesUsed.REST_TO_RELEASED: 0.06,
            PosesUsed.REST_TO_REST: 0.06,
        }[self]


PER_WIND_UP = {
    PosesUsed.BETWEEN_LOADED: 0.2,
    PosesUsed.REST_TO_LOADED: 0.3,
    PosesUsed.REST_TO_RELEASED: 0.45,
    PosesUsed.REST_TO_REST: 0.45,
}
"""Relative error of turn per travel (standard) per wind-up over way: root mean squares over 300 cars on four elastic
tyres that slide (1 to 3 N/mm across, 0.8 to 2 times that along), pushed over 20 and 40 mm: 0.16 to 0.20 (0.08 to 0.12
from twice the springback on), 0.30 and 0.43 to 0.47. On tyres that give alike along and across the turn from rest to
the loaded end is right to a few thousandths."""


def wind_up_share(poses: PosesUsed, *, way: float, wound: float = USUAL_WIND_UP, turns: int = TURNS) -> float:
    """Standard uncertainty of a turn per travel from the tyres' wind-up, as a part of it.

    It is as well that of a balance point as a part of its distance from the push.
    way: m that the touched place went.  wound: m, of the wind-up.  turns: see `TURNS`.
    """
    if turns < 2:
        return poses.share
    part = min(abs(wound) / max(abs(way), 1e-9), MOST_OF_THE_WAY)
    return PER_WIND_UP[poses] * part
