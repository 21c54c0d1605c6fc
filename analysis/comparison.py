"""Measured against predicted pivot, pooling of repeats, and how many pushes a difference needs."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from analysis.pivot import PivotEstimate

Verdict = Literal["agrees", "disagrees", "cannot tell"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What came of setting a measured pivot beside a predicted one.

    difference: measured minus predicted kappa, 1/m.  sigmas: size of the disagreement in standard deviations.
    difference_pct: measured minus predicted station, per cent of the wheelbase, when both have pivots.
    reconciling_grip_ratio: front-to-rear grip ratio at which prediction would meet measurement, and its
    interval.
    sentence: the verdict in plain words.
    """

    verdict: Verdict
    reason: str
    difference: float
    sigmas: float
    difference_pct: float | None
    reconciling_grip_ratio: float | None
    reconciling_interval: tuple[float, float] | None
    sentence: str


def compare(
    measured: PivotEstimate,
    predicted: PivotEstimate,
    *,
    grip_ratio_for: Callable[[float], float] | None = None,
) -> Comparison:
    """Set a measured pivot beside a predicted one.

    grip_ratio_for: kappa (1/m) -> front/rear grip ratio that predicts it.
    """
    raise NotImplementedError
