"""A pivot told as turn per travel, measured or predicted: the one shape in which the two are compared."""

from dataclasses import dataclass
from typing import Literal

STRAIGHT_AT_LEAST_WHEELBASES = 10.0
"""A pivot farther than this from the middle is called "slid straight" (shared definition of the bench)."""

FARTHEST_NAMED_WHEELBASES = 100.0
"""A pivot surely farther than this is not named either: metres away, no ruler would find it."""

LARGEST_KAPPA = 1e6
"""1/m. Stands for a turn about the mid-wheelbase point itself: its station errs by a thousandth of a mm."""

DEG_PER_CM = 0.572957795
"""1/m in degrees per centimetre, in which turn per travel is told to people."""

Finding = Literal["pivot", "straight", "cannot tell"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PivotEstimate:
    """Turn per travel with its doubt, and the pivot station that follows from it.

    kappa: yaw change per sideways travel of the mid-wheelbase point, 1/m (2 sin(dpsi/2)/dy for a finite
        slide, dy along the car's middle heading): positive when the pivot lies behind the middle.
    kappa_u: standard uncertainty of kappa, 1/m.  interval: 95 % interval of kappa, 1/m. A pivot at the middle
        itself has an interval that runs through infinity: interval[0] > 0 > interval[1], from the first up
        and from the second down; everything below holds for it too.
    turned: False when the turn itself is not told from zero at the 99.5 % level, so that of many straight slides
        fewer than one in a hundred is given a pivot.
    common_u: 1/m, the part of kappa_u that other pushes with the same cards and camera share.
    wheelbase: m.  count: pushes, or Monte Carlo draws, behind the estimate.  method: in plain words.
    warnings: sentences for people.
    Source of station = L/2 - 1/kappa: pole of a finite planar displacement, exact whatever the pole's y.
    """

    kappa: float
    kappa_u: float
    interval: tuple[float, float]
    wheelbase: float
    count: int
    method: str
    common_u: float = 0.0
    turned: bool = True
    warnings: tuple[str, ...] = ()

    @property
    def bound_wheelbases(self) -> float:
        """The pivot is at least this many wheelbases from the middle (95 %)."""
        steepest = max(abs(self.interval[0]), abs(self.interval[1]))
        return 1.0 / (steepest * self.wheelbase) if steepest > 0 else float("inf")

    @property
    def finding(self) -> Finding:
        """A pivot is named only when the interval of kappa excludes zero, the car surely turned, and it is near."""
        excludes_zero = self.interval[0] > 0.0 or self.interval[1] < 0.0
        if excludes_zero and self.turned and self.bound_wheelbases < FARTHEST_NAMED_WHEELBASES:
            return "pivot"
        return "straight" if self.bound_wheelbases >= STRAIGHT_AT_LEAST_WHEELBASES else "cannot tell"

    @property
    def station_pct(self) -> float | None:
        """Per cent of the wheelbase ahead of the rear axle, or None when no pivot can be named."""
        return self._station_pct(self.kappa) if self.finding == "pivot" else None

    @property
    def interval_pct(self) -> tuple[float, float] | None:
        """95 % interval of the station, per cent of the wheelbase, or None when no pivot can be named."""
        if self.finding != "pivot":
            return None
        ends = sorted(self._station_pct(kappa) for kappa in self.interval)
        return (ends[0], ends[1])

    def _station_pct(self, kappa: float) -> float:
        return 100.0 * (0.5 - 1.0 / (kappa * self.wheelbase))
