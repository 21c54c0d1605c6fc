"""Results in plain words: the verdict first, then the one thing that would help, then details."""

from collections.abc import Sequence
from pathlib import Path

from analysis.base.pivot import DEG_PER_CM, PivotEstimate
from analysis.base.wheel_names import WHEELS
from analysis.figures.car import CarPicture, top_view
from analysis.weighing.corner_weights import CornerWeights
from rig.base.car_words import station_words_mm
from rig.jobs.measuring.finger import station_words
from rig.jobs.pushing.compare import Verdict
from rig.lookups.sources import finger_row
from rig.report.words.plots import save_figure
from rig.report.words.push_answer import push_lines, what_happened
from rig.report.words.rounding import decimals_of

FINEST = 3
"""Decimals of a turn, °/cm, beyond which no push tells anything."""


def pivot_words(estimate: PivotEstimate) -> str:
    """Where it pivoted: per cent of the wheelbase and mm, or how straight it slid."""
    if estimate.station_pct is not None and estimate.interval_pct is not None:
        low, high = estimate.interval_pct
        from_axle = station_words_mm(estimate.station_pct / 100 * estimate.wheelbase)
        return f"{estimate.station_pct:.1f} % ({low:.1f} to {high:.1f}), {from_axle}"
    if estimate.finding == "straight":
        return f"straight: pivot farther than {estimate.bound_wheelbases:.0f} wheelbases"
    return f"cannot tell: somewhere farther than {estimate.bound_wheelbases:.1f} wheelbases, if anywhere"


def turn_words(estimate: PivotEstimate) -> str:
    """Turn per travel in degrees per centimetre with its 95 % half-width."""
    half = 0.5 * (estimate.interval[1] - estimate.interval[0])
    digits = min(max(2, decimals_of(half * DEG_PER_CM)), FINEST)
    shown = f"{half * DEG_PER_CM:.{digits}f}"
    known = shown if float(shown) > 0 else f"under {10**-FINEST:.{FINEST}f}"  # never ± 0.00
    return f"{estimate.kappa * DEG_PER_CM:+.{digits}f} ± {known} °/cm"


def weights_words(weights: CornerWeights) -> str:
    """A weighing for a terminal."""
    lines = [
        f"{name:<12} {load.value:7.1f} g ± {load.half_width:4.1f}   {share:5.1f} %"
        for name, load, share in zip(WHEELS, weights.corner_g, weights.share_pct, strict=True)
    ]
    lines += [
        f"{'total':<12} {weights.total_g.value:7.1f} g ± {weights.total_g.half_width:4.1f}",
        f"{'front':<12} {weights.front_pct.value:8.2f} % ± {weights.front_pct.half_width:4.2f}",
        f"{'left':<12} {weights.left_pct.value:8.2f} % ± {weights.left_pct.half_width:4.2f}",
        f"cross weight (front right + rear left)    {weights.diagonal_fr_rl_pct.value:6.2f} % ± "
        f"{weights.diagonal_fr_rl_pct.half_width:4.2f}",
        f"other diagonal (front left + rear right)  {weights.diagonal_fl_rr_pct.value:6.2f} % ± "
        f"{weights.diagonal_fl_rr_pct.half_width:4.2f}",
    ]
    if weights.cg_x is not None and weights.cg_y is not None:
        side = "left" if weights.cg_y.value >= 0 else "right"
        lines.append(
            f"centre of gravity {weights.cg_x.value * 1e3:.1f} ± {weights.cg_x.half_width * 1e3:.1f} mm ahead of the "
            f"rear axle, {abs(weights.cg_y.value) * 1e3:.1f} ± {weights.cg_y.half_width * 1e3:.1f} mm "
            f"{side} of the middle"
        )
    return "\n".join(lines)


def first_sentence(verdict: Verdict) -> str:
    """What happened, as one says it first; of a pivot typed in by hand the comparison's own sentence."""
    return verdict.comparison.sentence if verdict.answer is None else what_happened(verdict.answer)


def verdict_words(verdict: Verdict) -> str:
    """A comparison for a terminal: what happened and the balance first, then how it was found."""
    prediction = verdict.forecast.prediction
    lines = [
        *([*push_lines(verdict.answer), "", "How this was found:"] if verdict.answer is not None else []),
        verdict.comparison.sentence,
        verdict.forecast.advice,
        f"measured   {pivot_words(verdict.measured)}   {turn_words(verdict.measured)}",
        f"forecast   {pivot_words(prediction.estimate)}   {turn_words(prediction.estimate)}",
        f"balance point {prediction.balance_pct:.1f} % of the wheelbase; {prediction.sentence}.",
    ]
    if verdict.measurement is not None and verdict.push is not None:
        row = finger_row(verdict.measurement.record, verdict.push.number)
        lines += [station_words(row)] if row else []
    return "\n".join([*lines, *noted(warnings_of(verdict))])


def warnings_of(verdict: Verdict) -> list[str]:
    """All that people should know beside the figures, each once."""
    texts = [*verdict.weighing.warnings, *verdict.measured.warnings, *verdict.forecast.prediction.warnings]
    if verdict.measurement is not None:
        texts += verdict.measurement.track.warnings
    if verdict.quickness is not None and verdict.quickness.recommendation.choice != "quasi-static":
        texts.append(verdict.quickness.recommendation.reason)
        if (dynamic := verdict.quickness.dynamic) is not None:
            low, high = (end * DEG_PER_CM for end in dynamic.interval)
            texts.append(
                f"The dynamic forecast, at best estimates: {dynamic.kappa * DEG_PER_CM:+.2f} °/cm ({low:+.2f} to "
                f"{high:+.2f}, depending on how the finger started)"
            )
    return list(dict.fromkeys(texts))


def noted(texts: Sequence[str]) -> list[str]:
    """Remarks as lines of their own."""
    return [f"note: {text}" for text in texts]


def write_picture(path: Path, verdict: Verdict) -> Path:
    """Write the top view; the ending (.png, .svg, .pdf) decides the format."""
    return draw_picture(path, verdict.picture)


def draw_picture(path: Path, picture: CarPicture) -> Path:
    """Write a car from above, as `write_picture` does."""
    return save_figure(top_view(picture), path, dpi=150)
