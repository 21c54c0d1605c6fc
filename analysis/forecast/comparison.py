"""Measured against predicted pivot: agrees, disagrees or cannot tell, in one sentence and in numbers."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import AnalysisError, InputError
from analysis.base.pivot import PivotEstimate
from analysis.statistics.headings import heading_doubt, heading_of, heading_step
from analysis.statistics.quantiles import NORMAL_95

Verdict = Literal["agrees", "disagrees", "cannot tell"]

DECISIVE_HALF_WIDTH = 0.25
"""rad of the angle atan(kappa L / 2), which runs over half a turn from one extreme to the other.

A comparison whose combined 95 % half-width is larger could hardly have failed. It is a quarter of the wheelbase for a
pivot at either axle, an eighth for one in the middle, and "farther than 2 wheelbases" for a straight slide.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What came of setting a measured pivot beside a predicted one.

    verdict: "disagrees" when the two differ by more than 1.96 combined standard deviations; else "cannot
    tell"
        when the combined uncertainty is so wide that the comparison could hardly have failed; else "agrees".
    reason: why, in plain words.
    difference: measured minus predicted kappa, 1/m.  sigmas: size of the difference in standard deviations.
    difference_pct: measured minus predicted station, per cent of the wheelbase, when both have pivots.
    reconciling_grip_ratio: front-to-rear grip ratio at which the prediction would meet the measurement, and
        reconciling_interval over the measured 95 % interval; None when not asked for or out of reach.
    sentence: the verdict in one sentence for people.
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
    grip_ratios_for: Callable[[FloatArray], Sequence[float | None]] | None = None,
) -> Comparison:
    """Set a measured pivot beside a predicted one.

    Both are turned into the angle atan(kappa L / 2), in which a pivot at the middle and one at infinity are ordinary
    places (a quarter turn apart), and the sides of the two 95 % intervals that face each other give the standard
    deviation of the difference. An estimate that names no pivot takes part like any other.
    grip_ratios_for: kappa (k,), 1/m -> the front-to-rear grip ratios that predict each, None or nan where none does,
    AnalysisError when none can be told.
    Raises InputError when the two stand on different wheelbases (more than 0.1 % apart).
    """
    if abs(measured.wheelbase / predicted.wheelbase - 1.0) > 1e-3:
        raise InputError(
            f"measured with {measured.wheelbase:.4f} m, predicted with {predicted.wheelbase:.4f} m",
            where="wheelbase",
            remedy="Measure and predict with the same car card",
        )
    step = float(heading_step(heading_of(predicted), heading_of(measured)))
    toward_measured = heading_doubt(predicted, side=1 if step > 0 else -1)
    toward_predicted = heading_doubt(measured, side=-1 if step > 0 else 1)
    doubt = float(np.hypot(toward_measured, toward_predicted))
    sigmas = abs(step) / doubt if doubt > 0 else (0.0 if step == 0 else float("inf"))
    widest = float(
        np.hypot(
            max(heading_doubt(predicted, side=1), heading_doubt(predicted, side=-1)),
            max(heading_doubt(measured, side=1), heading_doubt(measured, side=-1)),
        )
    )

    verdict: Verdict
    if sigmas > NORMAL_95:  # by chance in 5 of 100 comparisons of a right prediction
        verdict = "disagrees"
        reason = f"the two differ by {_sigmas(sigmas)} standard deviations"
    elif NORMAL_95 * widest > DECISIVE_HALF_WIDTH:
        verdict = "cannot tell"
        wider = "measurement" if _width(measured) > _width(predicted) else "forecast"
        reason = f"the {wider} is too uncertain: almost any pivot would have passed"
    else:
        verdict = "agrees"
        reason = f"the two differ by {_sigmas(sigmas)} standard deviations"
    ratio, interval = _reconcile(measured, grip_ratios_for)
    one, two = measured.station_pct, predicted.station_pct
    return Comparison(
        verdict=verdict,
        reason=reason,
        difference=measured.kappa - predicted.kappa,
        sigmas=sigmas,
        difference_pct=None if one is None or two is None else one - two,
        reconciling_grip_ratio=ratio,
        reconciling_interval=interval,
        sentence=_sentence(measured, predicted, verdict, reason),
    )


def _sigmas(sigmas: float) -> str:
    return f"{sigmas:.1f}" if sigmas < 100 else "more than 100"


def _width(estimate: PivotEstimate) -> float:
    return max(heading_doubt(estimate, side=1), heading_doubt(estimate, side=-1))


def _reconcile(
    measured: PivotEstimate, grip_ratios_for: Callable[[FloatArray], Sequence[float | None]] | None
) -> tuple[float | None, tuple[float, float] | None]:
    """Grip ratio at the measured kappa and at the ends of its interval, as far as they are within reach."""
    if grip_ratios_for is None:
        return None, None
    try:
        found = grip_ratios_for(np.array([measured.kappa, *measured.interval]))
    except AnalysisError:
        return None, None
    ratio, *ends = (None if one is None or not np.isfinite(one) else float(one) for one in found)
    through_infinity = measured.interval[0] > measured.interval[1]
    if ratio is None or ends[0] is None or ends[1] is None or through_infinity:
        return ratio, None
    return ratio, (min(ends[0], ends[1]), max(ends[0], ends[1]))


def in_words(estimate: PivotEstimate) -> str:
    """Where a pivot is, for people: "about a point 31 mm behind the rear axle, ±3 mm", or why none is
    named."""
    if estimate.finding == "straight":
        return f"straight (pivot farther than {_wheelbases(estimate)} wheelbases)"
    if estimate.finding == "cannot tell":
        if estimate.bound_wheelbases < 1.0:
            return "with a turn too uncertain to name a pivot"
        return f"too straight to name a pivot (it is farther than {_wheelbases(estimate)} wheelbases away)"
    near, mm = _reference(estimate)
    return f"about a point {abs(mm):.{_digits(estimate)}f} mm {_side(mm)} the {near} axle, {_doubt(estimate)} mm"


def _wheelbases(estimate: PivotEstimate) -> str:
    bound = estimate.bound_wheelbases
    return f"{bound:.1f}" if bound < 10 else f"{min(bound, 1e4):.0f}"


def _side(mm: float) -> str:
    return "ahead of" if mm >= 0 else "behind"


def _reference(estimate: PivotEstimate) -> tuple[str, float]:
    """The axle a station is told from and the distance ahead of it, mm."""
    station = estimate.station_pct
    assert station is not None
    share = 1e3 * estimate.wheelbase / 100.0
    return ("front", (station - 100.0) * share) if station > 100.0 else ("rear", station * share)


def _half_widths_mm(estimate: PivotEstimate) -> tuple[float, float]:
    station, interval = estimate.station_pct, estimate.interval_pct
    assert station is not None
    assert interval is not None
    share = 1e3 * estimate.wheelbase / 100.0
    return (station - interval[0]) * share, (interval[1] - station) * share


def _digits(estimate: PivotEstimate) -> int:
    return 1 if max(_half_widths_mm(estimate)) < 2.0 else 0


def _doubt(estimate: PivotEstimate) -> str:
    below, above = _half_widths_mm(estimate)
    digits = _digits(estimate)
    if max(below, above) <= 1.25 * min(below, above):
        return f"±{max((below + above) / 2.0, 0.1):.{digits}f}"
    return f"+{above:.{digits}f} −{below:.{digits}f}"


def _sentence(measured: PivotEstimate, predicted: PivotEstimate, verdict: Verdict, reason: str) -> str:
    swung = "Swung" if measured.finding == "pivot" else "Slid"
    tail = f"{verdict}, {reason}" if verdict == "cannot tell" else verdict
    if measured.finding == "pivot" and predicted.finding == "pivot":
        (near, mm), (near_too, mm_too) = _reference(measured), _reference(predicted)
        if near == near_too and (mm >= 0) == (mm_too >= 0):
            forecast = f"{abs(mm_too):.{_digits(predicted)}f} {_doubt(predicted)} mm"
            return f"{swung} {in_words(measured)}; forecast {forecast}: {tail}."
    return f"{swung} {in_words(measured)}; forecast {in_words(predicted)}: {tail}."
