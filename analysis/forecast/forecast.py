"""The predicted pivot with its uncertainty, from a car, a push and what is not known about them.

Sources: quasi-static sliding by minimum power (see the solver in `analysis.sliding`); Monte Carlo after
JCGM 101:2008, 7.9.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.pivot import PivotEstimate
from analysis.forecast.draws import assemble, draw_groups
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState, doubt_groups, pivot_stays
from analysis.forecast.region import PoleRegion, pole_region
from analysis.forecast.slide import USUAL_SLIDE, Slide, slide
from analysis.sliding.contacts import centre_of_friction
from analysis.statistics.headings import heading_from, heading_step
from analysis.statistics.monte_carlo import (
    Progress,
    adaptive_monte_carlo,
    coverage_interval,
    ends_known,
    variance_shares,
)
from analysis.statistics.quantiles import NORMAL_95
from analysis.whole_push.finite import Until

TestKind = Literal["switch", "graded"]

HYPERSENSITIVE_PCT = 12.0
"""A rolling car whose finger comes nearer than this to its centre of friction (per cent of the wheelbase), at the start
or on its way along the car, gives only the side on which it turns: a rigid-body engine and the cut circle part there
(measured beforehand)."""

ENDS_BLOCK = 1000
"""Draws at a time where those that the interval's ends need are enough: of a normal spread about as many do."""

MOST_INTEGRATED = 4000
"""Draws of such pushes at most."""

OUTRUN_TOLD = 0.05
"""Of the draws, in which a car rolls off ahead of its finger: from here on that is said."""

ROLLING_DRAG = 0.2
"""Two wheels of an axle with less drag than this, or turning together, make a rolling axle here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensitivity:
    """What one doubt does to the prediction.

    share: part of the variance of kappa that it explains on its own (0 to 1).
    u: its own contribution to kappa, 1/m.
    half_width_without: half-width of the 95 % interval of kappa if this were known exactly, 1/m.
    saving: by how much the interval would shrink then (0 to 1).
    """

    name: str
    share: float
    u: float
    half_width_without: float
    saving: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A quantity with its 95 % interval, all in one unit."""

    value: float
    u: float
    interval: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What a push is expected to do.

    car, push: what was asked.  estimate: turn per travel and pivot station, over the rotation `turn` (rad).
    best: kappa at the best estimates of all inputs, 1/m (the estimate is the mean over the doubts).
    kappa: (draws,), 1/m.  balance: station where a push slides the car straight, m.  force: push force, N.
    region: where the pivot lies in car axes, or None when it cannot be named.
    sensitivity: largest share first.  hypersensitive: a rolling car pushed near its balance point: only the
        side on which it turns is predicted.  rear_turn_odds: share of draws in which kappa is positive.
    kind: "switch" (rolling: swings about an axle) or "graded" (blocked: the pivot moves with push and grip).
    stable: the interval is known to two digits (JCGM 101, 7.9).  ends_known: how well the draws know its ends, 95 %
        sure, in parts of its half-width.
    """

    car: CarState
    push: PushState
    estimate: PivotEstimate
    best: float
    turn: float
    kappa: FloatArray
    balance: Known
    force: Known
    region: PoleRegion | None
    sensitivity: tuple[Sensitivity, ...]
    kind: TestKind
    sentence: str
    hypersensitive: bool
    rear_turn_odds: float
    stable: bool
    ends_known: float
    warnings: tuple[str, ...]

    @property
    def station_pct(self) -> FloatArray:
        """(draws,), pivot station of each draw, per cent of the wheelbase; infinite when straight."""
        with np.errstate(divide="ignore"):
            return 100.0 * (0.5 - 1.0 / (self.kappa * self.estimate.wheelbase))

    @property
    def balance_pct(self) -> float:
        """Balance point, per cent of the wheelbase ahead of the rear axle: the front share of grip."""
        return 100.0 * self.balance.value / self.estimate.wheelbase


def predict_push(
    car: CarState,
    push: PushState,
    *,
    rng: np.random.Generator,
    until: Until = USUAL_SLIDE,
    draws: int | None = None,
    ends_within: float | None = None,
    progress: Progress | None = None,
) -> Prediction:
    """Predict one slow push.

    until: how far the slide is followed: as far as the push went that was measured, or a usual turn.
    draws: at most this many; fewer when two digits of the uncertainty are stable before. None: 10 000, or
        2 000 where every draw must be integrated (a finger that rubs, sticks or runs along a floor line).
    ends_within: given, draws that must be integrated stop as soon as both ends of the interval are known, 95 % sure, to
        this part of its half-width, and at MOST_INTEGRATED at the latest.
    Raises InputError for a car or push that cannot be; Ctrl-C keeps the draws made so far.
    """
    check_states(car, push)
    sizes = doubt_groups(car, push)
    best = slide(assemble(car, push, {}, 1), car.wheelbase, until)
    kept: list[tuple[dict[str, FloatArray], FloatArray, Slide]] = []

    def evaluate(count: int, generator: np.random.Generator) -> FloatArray:
        scores = draw_groups(sizes, count, generator)
        drawn = assemble(car, push, scores, count)
        result = slide(drawn, car.wheelbase, until)
        kept.append((scores, centre_of_friction(drawn.contacts), result))
        return result.kappa

    if draws is None:
        draws = 10_000 if pivot_stays(push) else 2_000
    if pivot_stays(push):
        ends_within = None  # quick enough for two digits
    elif ends_within is not None:
        draws = min(draws, MOST_INTEGRATED)
    # one block may do where ends are asked for: asked again for as many draws as were made, it is the same block
    block = max(100, min(2000, draws // 2) if ends_within is None else min(ENDS_BLOCK, draws))
    most = max(draws, 2 * block) if ends_within is None else draws
    run = adaptive_monte_carlo(
        evaluate, rng=rng, block=block, max_draws=most, ends_within=ends_within, progress=progress
    )
    used = run.draws // block
    kappa = run.samples[:, 0]
    scores = {name: np.concatenate([part[0][name] for part in kept[:used]]) for name in sizes}
    balance = _known(np.concatenate([part[1] for part in kept[:used]]))
    slides = [part[2] for part in kept[:used]]
    forces = np.concatenate([one.force for one in slides])
    kind = kind_of_test(car)
    # forecasts of earlier models went by where the push began
    nearest = abs(push.station - balance.value) if push.settled is None else float(best.nearest[0])
    hypersensitive = side_only(car, nearest)
    tips, outrun = (np.concatenate([getattr(one, name) for one in slides]) for name in ("tips", "outrun"))
    warnings = _warnings(car, hypersensitive, best, tips, outrun)
    estimate = summarise(kappa, car.wheelbase, warnings)
    if hypersensitive:
        estimate = _side_only(estimate)
    drift = np.concatenate([one.drift for one in slides])
    # on rolling wheels the pivot lies left or right, and where a wheel points does the opposite there
    apart = drift > 0.0 if kind == "switch" and car.whole_patches == "paced" else None
    region = None
    if estimate.finding == "pivot" and not hypersensitive:
        region = pole_region(kappa, drift, car.wheelbase)
    return Prediction(
        car=car,
        push=push,
        estimate=estimate,
        best=float(best.kappa[0]),
        turn=float(until.turn),
        kappa=kappa,
        balance=balance,
        force=_known(forces),
        region=region,
        sensitivity=_sensitivity(scores, kappa, estimate.interval, apart),
        kind=kind,
        sentence=_sentence(kind, hypersensitive),
        hypersensitive=hypersensitive,
        rear_turn_odds=float(np.mean(kappa > 0)),
        stable=run.stable,
        ends_known=ends_known(kappa),
        warnings=warnings,
    )


def side_only(car: CarState, nearest: float) -> bool:
    """Whether a rolling car is pushed so near its balance point that only the side on which it turns can be told.

    nearest: m, how near the finger comes on its way.
    """
    return kind_of_test(car) == "switch" and 100.0 * nearest / car.wheelbase < HYPERSENSITIVE_PCT


def summarise(kappa: FloatArray, wheelbase: float, warnings: tuple[str, ...] = ()) -> PivotEstimate:
    """Mean, standard deviation and 95 % interval of draws of kappa (n,), 1/m.

    The interval is taken in the angle atan(kappa L / 2), which has no end at a pivot in the middle of the
    wheelbase; elsewhere it is that of kappa itself. Where draws lie on both sides of that pivot, value and
    uncertainty are those of the angle too, since kappa has no mean there.
    """
    angle = heading_from(kappa, wheelbase)
    centre = 0.5 * float(np.angle(np.mean(np.exp(2j * angle))))
    step = heading_step(centre, angle)
    low, high = coverage_interval(step)
    value, u = float(np.mean(kappa)), float(np.std(kappa))
    if np.any(np.abs(centre + step) > 0.5 * np.pi):
        turned = centre + float(np.mean(step))
        value = float(np.tan(turned)) / (0.5 * wheelbase)
        u = float(np.std(step)) * (1.0 + float(np.tan(turned)) ** 2) / (0.5 * wheelbase)
    ends = [float(np.tan(centre + one)) / (0.5 * wheelbase) for one in (low, high)]
    return PivotEstimate(
        kappa=value,
        kappa_u=u,
        interval=(ends[0], ends[1]),
        wheelbase=wheelbase,
        count=len(kappa),
        method="minimum-power sliding, Monte Carlo over all stated doubts",
        warnings=warnings,
    )


def _side_only(estimate: PivotEstimate) -> PivotEstimate:
    """The interval stretched to a straight slide and to a swing about either axle on the sides it reaches."""
    reach = 2.0 / estimate.wheelbase
    low = min(estimate.interval[0], 0.0 if estimate.interval[0] >= 0 else -reach)
    high = max(estimate.interval[1], 0.0 if estimate.interval[1] <= 0 else reach)
    return replace(estimate, interval=(low, high), kappa_u=max(estimate.kappa_u, (high - low) / (2.0 * NORMAL_95)))


def kind_of_test(car: CarState) -> TestKind:
    """Tell a "switch" (the wheels of both axles roll independently) from a "graded" test."""
    drag = car.drag + car.bearing / np.maximum(car.grip * car.load, 1e-9)
    rolling = []
    for wheels, kind, held in (
        (slice(0, 2), car.front_kind, car.front_held),
        (slice(2, 4), car.rear_kind, car.rear_held),
    ):
        alone = kind == "free" or (kind == "differential" and not held)
        rolling.append(alone and bool(np.all(drag[wheels] < ROLLING_DRAG)))
    return "switch" if all(rolling) else "graded"


def _known(samples: FloatArray) -> Known:
    return Known(value=float(np.mean(samples)), u=float(np.std(samples)), interval=coverage_interval(samples))


def _sensitivity(
    scores: dict[str, FloatArray], kappa: FloatArray, interval: tuple[float, float], apart: BoolArray | None
) -> tuple[Sensitivity, ...]:
    half, spread = 0.5 * (interval[1] - interval[0]), float(np.std(kappa))
    table = []
    for name, share in variance_shares(scores, kappa, apart=apart).items():
        left = float(np.sqrt(max(0.0, 1.0 - share)))
        table.append(
            Sensitivity(
                name=name,
                share=share,
                u=float(np.sqrt(share)) * spread,
                half_width_without=half * left,
                saving=1.0 - left,
            )
        )
    return tuple(sorted(table, key=lambda one: -one.share))


def _sentence(kind: TestKind, hypersensitive: bool) -> str:
    if hypersensitive:
        return "A switch, pushed close to its balance point: only the side on which the car turns means anything here"
    if kind == "switch":
        return (
            "A switch: rolling wheels swing the car about one axle or the other. Good for showing; block "
            "the wheels to measure grip"
        )
    return "A graded test: the pivot moves with grip, weight and push position, so it can measure grip"


def _warnings(car: CarState, hypersensitive: bool, best: Slide, tips: BoolArray, outrun: BoolArray) -> tuple[str, ...]:
    sentences = []
    if hypersensitive:
        sentences.append(
            "The wheels roll and the push is, or comes on its way, near the balance point: no figure can be trusted, "
            "only the side on which the car turns. Push farther away or block the wheels"
        )
    if not car.grip_measured:
        sentences.append("Grip was not measured: all four tyres are taken alike, with the stated doubt")
    if np.any(tips):
        sentences.append(f"The push tips the car over in {100 * np.mean(tips):.0f} % of the draws: push lower")
    if car.whole_patches == "paced" and (best.outrun[0] or np.mean(outrun) >= OUTRUN_TOLD):
        sentences.append(
            f"In {100 * np.mean(outrun):.0f} % of the draws the car rolls off along its own axis faster than the "
            "finger goes, since its drag does not hold what steered wheels and a sloping floor drive it with: the push "
            "is over then. Set the wheels straight, or push on a level floor"
        )
    if not np.all(best.certified):
        sentences.append("The solver could not certify its answer for this push")
    return tuple(sentences)
