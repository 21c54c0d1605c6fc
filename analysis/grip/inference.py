"""Backwards: from pushes and weighings to the front-to-rear grip ratio, and what it depends on.

The likelihood is exact in the unknowns, on a grid, and linear in the doubts around each place of the grid
(Bayes' rule with Gaussian errors; the doubts of the car are common to all pushes, those of a push its own).
A rolling car is a switch, so only the side to which it turned counts.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.pivot import PivotEstimate
from analysis.base.signs import two_digits
from analysis.base.wheels import FRONT_LESS_REAR
from analysis.forecast.forecast import kind_of_test
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState
from analysis.forecast.variants import Variants, balance_doubt, doubt_effects, doubt_variants, kappa_of
from analysis.grip.one_sided import balance_station, one_side, one_sided_words
from analysis.grip.unknowns import FurtherUnknown, Unknown, further_unknown, variant_of
from analysis.statistics.odds import odds_words
from analysis.statistics.quantiles import chi_square_tail

WIDEST = 1.5
"""Largest size of the logarithm of the grip ratio on the grid: a factor of 4.5 either way."""

KAPPA_NODES, DOUBT_NODES = 25, 3
"""Places of the grid at which turn per travel, and the effects of the doubts on it, are solved."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PushEvidence:
    """One measured push. scatter: 1/m, standard deviation between pushes beyond what each states.

    turn: rad, how far it turned, or None for a usual push.
    """

    car: CarState
    push: PushState
    measured: PivotEstimate
    scatter: float = 0.0
    turn: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """What is known about one quantity after the pushes.

    value: median.  u: standard deviation (for the grip ratio: of its logarithm, so relative).
    interval: 95 %.  place, density: the marginal distribution; density integrates to 1 over place (for
    the grip ratio place is the ratio, and density belongs to its logarithm).
    informed: the pushes narrowed it clearly; False means that the prior still stands.
    """

    name: str
    unit: str
    value: float
    u: float
    interval: tuple[float, float]
    place: FloatArray
    density: FloatArray
    informed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Inference:
    """grip_ratio: front over rear.  other: the further unknown, when asked.

    correlation: of the two, 0 without a second.  chi_square, dof, chance: misfit at the best place, and
    the probability of so large a one if all stated uncertainties were right.
    odds_against: odds (to 1) against all pushes and their doubts being right, (1 - chance) / chance.
    side: +1 where all blocked pushes were ahead of the balance point, -1 behind it, 0: not all on one side.
    """

    grip_ratio: Posterior
    other: Posterior | None
    correlation: float
    chi_square: float
    dof: int
    chance: float
    odds_against: float
    side: int
    sentence: str
    warnings: tuple[str, ...]


def infer(
    evidence: Sequence[PushEvidence],
    *,
    also: Unknown | None = None,
    prior_log_u: float = 0.5,
    prior_log_ratio: float = 0.0,
) -> Inference:
    """Front-to-rear grip ratio from pushes of one car in any of its states (blocked, rolling, ballast).

    also: a further unknown. "cg station": the loads' own doubt about it is the prior, or, without any, a
        sixth of the wheelbase either way; "drag XX": the drag of one wheel, all values alike beforehand.
    prior_log_ratio, prior_log_u: prior of the logarithm of the ratio (normal).
    Raises InputError without any push, and for cars of different wheelbase.
    """
    if not evidence:
        raise InputError("no push was given", where="inference", remedy="Measure at least one push")
    for one in evidence:
        check_states(one.car, one.push)
        if abs(one.car.wheelbase - evidence[0].car.wheelbase) > 1e-9:
            raise InputError(
                "the pushes belong to cars of different wheelbase",
                where="inference",
                remedy="Infer from the pushes of one car at a time",
            )
    second = further_unknown(evidence[0].car, also)
    ratio = np.linspace(-WIDEST, WIDEST, 121)
    log_post, fits = _log_posterior(evidence, ratio, second, prior_log_ratio, prior_log_u)
    best = np.unravel_index(int(np.argmax(log_post)), log_post.shape)
    # A second pass on a finer grid where the first one found anything.
    seen = np.exp(log_post - log_post[best]).sum(1) > 1e-8
    low, high = (
        ratio[max(int(np.argmax(seen)) - 1, 0)],
        ratio[min(len(seen) - int(np.argmax(seen[::-1])), len(seen) - 1)],
    )
    ratio = np.linspace(low, high, 121)
    log_post, fits = _log_posterior(evidence, ratio, second, prior_log_ratio, prior_log_u)
    best = np.unravel_index(int(np.argmax(log_post)), log_post.shape)
    weight = np.exp(log_post - log_post[best]) * second.width
    weight /= weight.sum()
    grip = _marginal("grip ratio", "", ratio, weight.sum(1), prior_log_u, logarithmic=True)
    other = None
    correlation = 0.0
    if also is not None:
        other = _marginal(also, "m" if also == "cg station" else "", second.place, weight.sum(0), second.prior_u)
        correlation = _correlation(ratio, second.place, weight)
    graded = [one for one in evidence if kind_of_test(one.car) == "graded"]
    chi_square, dof = float(fits[best]), max(0, len(graded) - 1 - int(also is not None))
    chance = chi_square_tail(chi_square, dof=dof)
    warnings = _warnings(evidence, grip, other, chance, dof)
    side = one_side([(one.car, one.push) for one in graded], float(np.log(grip.value))) if graded else 0
    if side:
        known = [replace(one, car=replace(one.car, along_u=np.zeros(2))) for one in evidence]
        log_known, _ = _log_posterior(known, ratio, second, prior_log_ratio, prior_log_u)
        marginal = (np.exp(log_known - log_known.max()) * second.width).sum(1)
        without = _marginal("", "", ratio, marginal, prior_log_u).u
        balance = 100.0 * balance_station(graded[0].car, float(np.log(grip.value))) / graded[0].car.wheelbase
        warning = one_sided_words(side, u=grip.u, without=without, balance_pct=balance)
        warnings = (*warnings, *([warning] if warning else []))
    return Inference(
        grip_ratio=grip,
        other=other,
        correlation=correlation,
        chi_square=chi_square,
        dof=dof,
        chance=chance,
        odds_against=float((1.0 - chance) / max(chance, 1e-12)),
        side=side,
        sentence=_sentence(grip, other, len(evidence)),
        warnings=warnings,
    )


def _log_posterior(
    evidence: Sequence[PushEvidence],
    log_ratio: FloatArray,
    second: FurtherUnknown,
    prior_centre: float,
    prior_u: float,
) -> tuple[FloatArray, FloatArray]:
    """Log posterior (g, k) over grip ratio and second unknown, and the misfit (g, k) of graded pushes."""
    g, k = len(log_ratio), len(second.place)
    log = -0.5 * ((log_ratio - prior_centre) / prior_u) ** 2
    total = log[:, None] + second.log_prior
    # kappa is smooth between places, so it is solved at some and interpolated; its doubts vary even less.
    solved = np.unique(np.linspace(0, g - 1, KAPPA_NODES).astype(int))
    nodes = np.unique(np.linspace(0, g - 1, DOUBT_NODES).astype(int))
    jobs: list[Variants] = []
    graded: list[PushEvidence] = []
    for one in evidence:
        car, extra, drag = variant_of(one.car, second)
        shift = log_ratio - np.log(one.car.grip_ratio)
        if kind_of_test(one.car) == "switch":
            total = total + _log_side(one, shift, second)
            continue
        graded.append(one)
        everywhere = Variants(
            car=car,
            push=one.push,
            turn=one.turn,
            log_ratio=np.repeat(shift[solved], k),
            extra_load=np.tile(extra, (len(solved), 1)) if isinstance(extra, np.ndarray) else 0.0,
            drag=None if drag is None else np.tile(drag, (len(solved), 1)),
        )
        places = Variants(
            car=car,
            push=one.push,
            turn=one.turn,
            log_ratio=shift[nodes],
            extra_load=np.tile(extra[k // 2], (len(nodes), 1)) if isinstance(extra, np.ndarray) else 0.0,
            drag=None if drag is None else np.tile(drag[k // 2], (len(nodes), 1)),
        )
        jobs += [everywhere, places]
    residual, own, common = [], [], []
    names: dict[str, int] = {}
    answers = kappa_of([job if i % 2 == 0 else doubt_variants(job) for i, job in enumerate(jobs)])
    for i, one in enumerate(graded):
        kappa = answers[2 * i].reshape(-1, k)
        residual.append(one.measured.kappa - _spread_over(log_ratio, solved, kappa))
        effects = doubt_effects(jobs[2 * i + 1], answers[2 * i + 1])
        alone = max(one.measured.kappa_u**2 - one.measured.common_u**2, 0.0) + one.scatter**2
        own.append(_spread_over(log_ratio, nodes, (effects.own**2).sum(1)[:, None])[:, 0] + alone)
        common.append((effects, one.measured.common_u))
        for name in effects.names:
            names.setdefault(name, len(names))
    columns = len(names)
    if not residual:
        return total, np.zeros((g, k))
    pushes = len(residual)
    shared = np.zeros((g, pushes, columns + 1))
    for i, (effects, common_u) in enumerate(common):
        table = _spread_over(log_ratio, nodes, effects.common)
        for j, name in enumerate(effects.names):
            shared[:, i, names[name]] = table[:, j]
        shared[:, i, -1] = common_u
    covariance = shared @ np.swapaxes(shared, 1, 2)
    covariance[:, np.arange(pushes), np.arange(pushes)] += np.maximum(np.array(own).T, 1e-18)
    by_push = np.moveaxis(np.array(residual), 0, -1)  # (g, k, pushes)
    whitened = np.linalg.solve(covariance, np.swapaxes(by_push, 1, 2))
    misfit = np.einsum("gkp,gpk->gk", by_push, whitened)
    return total - 0.5 * misfit - 0.5 * np.linalg.slogdet(covariance)[1][:, None], misfit


def _spread_over(log_ratio: FloatArray, nodes: npt.NDArray[np.intp], table: FloatArray) -> FloatArray:
    """Rows (nodes, c) interpolated to the whole grid (g, c)."""
    spread = np.empty((len(log_ratio), table.shape[1]))
    for i, column in enumerate(table.T):
        spread[:, i] = np.interp(log_ratio, log_ratio[nodes], column)
    return spread


def _log_side(one: PushEvidence, shift: FloatArray, second: FurtherUnknown) -> FloatArray:
    """Log probability (g, k) that a rolling car turns to the side it did turn to."""
    from scipy.special import log_ndtr

    car = one.car
    _, extra, _ = variant_of(car, second)
    load = car.load + np.atleast_2d(np.broadcast_to(extra, (len(second.place), 4)))
    capacity = load[None] * car.grip * np.exp(0.5 * shift[:, None, None] * FRONT_LESS_REAR)
    balance = (capacity * car.contact_place[:, 0]).sum(-1) / capacity.sum(-1)
    u = max(balance_doubt(car, one.push), 1e-4 * car.wheelbase)
    turned = np.sign(one.measured.kappa) * (one.push.station - balance) / u
    # One push in two hundred is taken as mistaken, so that no single one can rule anything out.
    side: FloatArray = np.logaddexp(log_ndtr(turned) + np.log(0.995), np.log(0.0025))
    return side


def _marginal(
    name: str, unit: str, place: FloatArray, weight: FloatArray, prior_u: float, *, logarithmic: bool = False
) -> Posterior:
    weight = weight / weight.sum()
    mean = float(weight @ place)
    u = float(np.sqrt(weight @ (place - mean) ** 2))
    steps = np.gradient(place)
    cumulative = np.concatenate([[0.0], np.cumsum(weight)])
    edges = np.concatenate([[place[0] - 0.5 * steps[0]], 0.5 * (place[1:] + place[:-1]), [place[-1] + 0.5 * steps[-1]]])
    low, middle, high = np.interp([0.025, 0.5, 0.975], cumulative, edges)
    shown = np.exp if logarithmic else np.asarray
    return Posterior(
        name=name,
        unit=unit,
        value=float(shown(middle)),
        u=u,
        interval=(float(shown(low)), float(shown(high))),
        place=shown(place),
        density=weight / steps,
        informed=u < 0.7 * prior_u,
    )


def _correlation(a: FloatArray, b: FloatArray, weight: FloatArray) -> float:
    da, db = a - weight.sum(1) @ a, b - weight.sum(0) @ b
    spread = np.sqrt((weight.sum(1) @ da**2) * (weight.sum(0) @ db**2))
    return float(da @ weight @ db / spread) if spread > 0 else 0.0


def _warnings(
    evidence: Sequence[PushEvidence], grip: Posterior, other: Posterior | None, chance: float, dof: int
) -> tuple[str, ...]:
    sentences = []
    if dof > 0 and chance < 0.05:
        sentences.append(
            f"The pushes contradict each other or the car card: odds {odds_words((1 - chance) / max(chance, 1e-12))} "
            "against all of them being right; look for the one that differs before using the ratio"
        )
    for one in (grip, other):
        if one is not None and not one.informed:
            sentences.append(f"These pushes hardly say anything about the {one.name}: the prior still stands")
    if all(kind_of_test(one.car) == "switch" for one in evidence):
        sentences.append(
            "Rolling wheels only tell on which side of the balance point each push was: block the wheels "
            "to measure the grip ratio"
        )
    return tuple(sentences)


def _sentence(grip: Posterior, other: Posterior | None, pushes: int) -> str:
    sentence = (
        f"Front tyres grip {grip.value:.3g} times as well as rear tyres (95 %: {grip.interval[0]:.3g} to "
        f"{grip.interval[1]:.3g}), from {pushes} push{'es' if pushes > 1 else ''}"
    )
    if other is not None and other.name == "cg station":
        sentence += f"; centre of gravity {1e3 * other.value:.1f} mm ahead of the rear axle "
        sentence += f"({1e3 * other.interval[0]:.1f} to {1e3 * other.interval[1]:.1f})"
    elif other is not None:
        low, high = map(two_digits, other.interval)
        sentence += f"; {other.name} {two_digits(other.value)} ({low} to {high})"
    return sentence
