"""Grip factors of the two axles from all measurements together, with their correlations.

Estimate: generalised least squares in the logarithms of the front and rear grip factor (GUM, JCGM 100:2008,
5.2 for the correlations; Gauss–Markov).  Contradictions: odds from the marginal likelihood with one
measurement at a time taken as wrong (Bayes' rule; the prior numbers below are our own choice).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.grip.conditions import GripNotes, differences
from analysis.statistics.odds import odds_words
from analysis.statistics.quantiles import NORMAL_95, chi_square_tail

GripState = Literal["static", "sliding"]
GripQuantity = Literal["front", "rear", "mean", "ratio"]

ASSUMED_LEVEL, ASSUMED_LEVEL_U, ASSUMED_RATIO_U = 0.8, 0.5, 0.3
"""Where nothing was measured: a usual grip factor and all four tyres alike, with wide relative doubts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """Relative standard uncertainty of what was not measured at all: the front-to-rear ratio 1 and the usual level.

    What was measured, however badly, goes by the wide figures above: a ratio that a sweep found is not to be pulled
    towards 1 by tyres that were thought to be the same.
    """

    ratio_u: float = ASSUMED_RATIO_U
    level_u: float = ASSUMED_LEVEL_U


PRIOR_WRONG, WRONG_BY = 0.05, 0.3
"""A measurement is taken beforehand to be wrong once in twenty, by a relative 30 %."""

DOUBTED = 0.05
"""Chance of so large a chi-square below which a combination is not to be used."""

TAKEN_UP = 2.0
"""Standard uncertainties by which a shared error may be moved to make measurements agree before it is told."""

NAMED = 3.0
"""Odds (to 1) from which the measurement most likely wrong is named: the priors alone must not choose it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GripMeasurement:
    """One measurement of grip.

    quantity: "front", "rear" (a grip factor), "mean" (front_weight * front + (1 - front_weight) * rear) or
        "ratio" (front over rear).
    value: the grip factor or ratio, above 0.  relative_u: its own standard uncertainty over the value.
    shared: name of an error that other measurements share -> its relative effect here, with sign.
    state: grip at the first slip ("static") or while sliding.  method: in words.
    """

    quantity: GripQuantity
    value: float
    relative_u: float
    method: str
    state: GripState = "sliding"
    front_weight: float = 0.5
    shared: Mapping[str, float] = field(default_factory=dict)
    notes: GripNotes = field(default_factory=GripNotes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """How well the measurements go together.

    chi_square, dof: of the combined fit.  chance: probability of so large a chi-square if all stated
        uncertainties were right.  odds_wrong: odds (to 1) that at least one measurement is wrong.
    suspect: place in the list of the one most likely wrong, or None.  suspect_odds: odds (to 1) that it is.
    sentence: for people; "" when there is nothing to say.
    """

    chi_square: float
    dof: int
    chance: float
    odds_wrong: float
    suspect: int | None
    suspect_odds: float
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GripEstimate:
    """Grip of both axles in one state ("static" or "sliding").

    front, rear: grip factors.  ratio: front over rear.  Each with its 95 % interval.
    log_covariance: (2, 2), of ln front and ln rear.  ratio_u, level_u: relative standard uncertainties of
    the ratio and of the geometric mean.  ratio_measured, level_measured: False where an assumption stands
    in: "all four tyres alike", or a usual level.  count: measurements used.
    contradiction: when measurements quarrel, front, rear and ratio are those of all taken together; the
    sentence says with which odds one of them is wrong.
    outside: what the estimate does that no measurement says, in words; "" when there is nothing to say.
    """

    state: GripState
    front: float
    rear: float
    ratio: float
    front_interval: tuple[float, float]
    rear_interval: tuple[float, float]
    ratio_interval: tuple[float, float]
    ratio_u: float
    level_u: float
    log_covariance: FloatArray
    ratio_measured: bool
    level_measured: bool
    count: int
    contradiction: Contradiction
    warnings: tuple[str, ...]
    outside: str = ""

    @property
    def usable(self) -> bool:
        """Whether the measurements agree well enough for their combination to be used."""
        doubted = self.contradiction.dof > 0 and self.contradiction.chance < DOUBTED
        return not (self.contradiction.sentence or self.outside or doubted)


def combine(
    measurements: Sequence[GripMeasurement], *, state: GripState = "sliding", assumed: Assumed | None = None
) -> GripEstimate:
    """All measurements of one state in one estimate; those of the other state are left out.

    assumed: the doubt of what was not measured; None takes the wide one.
    Raises InputError for a measurement that cannot be. With none at all the assumption is returned,
    marked as such.
    """
    used = [one for one in measurements if one.state == state]
    for number, one in enumerate(used, start=1):
        if not (np.isfinite(one.value) and one.value > 0 and np.isfinite(one.relative_u) and one.relative_u > 0):
            raise InputError(
                f"grip {one.value:g} with relative uncertainty {one.relative_u:g} cannot be",
                where=f"grip measurement {number} ({one.method})",
                remedy="Both must be above 0",
            )
        if one.quantity == "mean" and not 0 <= one.front_weight <= 1:
            raise InputError(
                "the front share must lie between 0 and 1",
                where=f"grip measurement {number} ({one.method})",
                remedy="Give the front share of load",
            )
    quantities = {one.quantity for one in used}
    level_measured = bool(quantities - {"ratio"})
    ratio_measured = "ratio" in quantities or len(quantities) >= 2
    prior, wide = assumed or Assumed(), Assumed()
    prior = Assumed(
        ratio_u=wide.ratio_u if ratio_measured else prior.ratio_u,
        level_u=wide.level_u if level_measured else prior.level_u,
    )
    log, covariance, chi_square = _fit(used, np.zeros(len(used)), prior)
    unknowns = int(level_measured) + int(ratio_measured)
    contradiction = _contradiction(used, chi_square, max(0, len(used) - unknowns))
    to_ratio, to_level = np.array([1.0, -1.0]), np.array([0.5, 0.5])
    ratio_u, level_u = (float(np.sqrt(row @ covariance @ row)) for row in (to_ratio, to_level))
    u = np.sqrt(np.diag(covariance))
    warnings = []
    if not ratio_measured:
        warnings.append("The front-to-rear ratio was not measured: all four tyres are taken alike")
    if not level_measured:
        warnings.append(f"The level of grip was not measured: {ASSUMED_LEVEL:g} is taken, with a wide doubt")
    warnings += [difference for one in used[1:] for difference in differences(used[0].notes, one.notes)]
    if contradiction.sentence:
        warnings.append(contradiction.sentence)
    return GripEstimate(
        state=state,
        front=float(np.exp(log[0])),
        rear=float(np.exp(log[1])),
        ratio=float(np.exp(log[0] - log[1])),
        front_interval=_interval(log[0], u[0]),
        rear_interval=_interval(log[1], u[1]),
        ratio_interval=_interval(log[0] - log[1], ratio_u),
        ratio_u=ratio_u,
        level_u=level_u,
        log_covariance=covariance,
        ratio_measured=ratio_measured,
        level_measured=level_measured,
        count=len(used),
        contradiction=contradiction,
        warnings=tuple(dict.fromkeys(warnings)),
        outside=_outside(used, log),
    )


def _outside(used: Sequence[GripMeasurement], log: FloatArray) -> str:
    """Where the combination leaves all measurements of a quantity behind, or an error they share takes up a conflict.

    Errors that are shared and much larger than the rest let least squares answer outside everything that was
    measured (Peelle's puzzle): right if the stated errors are, and otherwise not to be used.
    log: (2,), ln front and ln rear.
    """
    if len(used) < 2:
        return ""
    covariance = _errors(used, np.zeros(len(used)))
    predicted, _ = _model(used, log)
    off = predicted - np.log([one.value for one in used])
    beyond = NORMAL_95 * np.sqrt(np.diag(covariance))
    beyond_all = []
    for quantity in ("front", "rear", "mean", "ratio"):
        rows = [i for i, one in enumerate(used) if one.quantity == quantity]
        if rows and (all(off[i] > beyond[i] for i in rows) or all(off[i] < -beyond[i] for i in rows)):
            nearest = min(rows, key=lambda i: abs(off[i]))
            beyond_all.append(
                f"{quantity} {np.exp(predicted[nearest]):.3f} where {used[nearest].value:.3f} was measured"
            )
    names = sorted({name for one in used for name in one.shared})
    moved = np.linalg.solve(covariance, -off)
    pulled = [
        name
        for name in names
        if abs(sum(one.shared.get(name, 0.0) * m for one, m in zip(used, moved, strict=True))) > TAKEN_UP
    ]
    if not beyond_all and not pulled:
        return ""
    where = f"lies outside what was measured ({', '.join(beyond_all)})" if beyond_all else "fits only"
    blame = f" with {' and '.join(pulled)} off by more than twice the stated uncertainty" if pulled else ""
    return f"The combination {where}{blame}: measure again before using it"


def _interval(log: float, u: float) -> tuple[float, float]:
    return float(np.exp(log - NORMAL_95 * u)), float(np.exp(log + NORMAL_95 * u))


def _errors(used: Sequence[GripMeasurement], extra: FloatArray) -> FloatArray:
    """Covariance (n, n) of the logarithms. extra: (n,), added variances."""
    names = sorted({name for one in used for name in one.shared})
    common = np.array([[one.shared.get(name, 0.0) for name in names] for one in used]).reshape(len(used), -1)
    result: FloatArray = np.diag(np.array([one.relative_u**2 for one in used]) + extra) + common @ common.T
    return result


def _fit(used: Sequence[GripMeasurement], extra: FloatArray, assumed: Assumed) -> tuple[FloatArray, FloatArray, float]:
    """(ln front, ln rear), covariance (2, 2), chi-square; Gauss–Newton, the assumption as prior."""
    to_prior = np.array([[0.5, 0.5], [1.0, -1.0]])
    prior = to_prior.T @ np.diag([assumed.level_u**-2, assumed.ratio_u**-2]) @ to_prior
    start = np.full(2, np.log(ASSUMED_LEVEL))
    log = start.copy()
    if not used:
        return log, np.linalg.inv(prior), 0.0
    weight = np.linalg.inv(_errors(used, extra))
    observed = np.log([one.value for one in used])
    for _ in range(50):
        predicted, design = _model(used, log)
        normal = design.T @ weight @ design + prior
        step = np.linalg.solve(normal, design.T @ weight @ (observed - predicted) + prior @ (start - log))
        log = log + step
        if np.max(np.abs(step)) < 1e-12:
            break
    predicted, design = _model(used, log)
    residual = observed - predicted
    return log, np.linalg.inv(design.T @ weight @ design + prior), float(residual @ weight @ residual)


def _model(used: Sequence[GripMeasurement], log: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Logarithm of what each measurement should read (n,), and its derivatives (n, 2)."""
    predicted, design = np.empty(len(used)), np.empty((len(used), 2))
    front, rear = np.exp(log)
    for i, one in enumerate(used):
        if one.quantity == "mean":
            parts = np.array([one.front_weight * front, (1.0 - one.front_weight) * rear])
            predicted[i], design[i] = np.log(parts.sum()), parts / parts.sum()
        else:
            row = {"front": (1.0, 0.0), "rear": (0.0, 1.0), "ratio": (1.0, -1.0)}[one.quantity]
            predicted[i], design[i] = np.dot(row, log), row
    return predicted, design


def _log_evidence(used: Sequence[GripMeasurement], extra: FloatArray) -> float:
    """Logarithm of the marginal likelihood, prior over the two grip factors integrated out (linearised)."""
    log, _, _ = _fit(used, extra, Assumed())
    predicted, design = _model(used, log)
    to_log = np.linalg.inv(np.array([[0.5, 0.5], [1.0, -1.0]]))
    prior = to_log @ np.diag([ASSUMED_LEVEL_U**2, ASSUMED_RATIO_U**2]) @ to_log.T
    spread = _errors(used, extra) + design @ prior @ design.T
    residual = np.log([one.value for one in used]) - predicted - design @ (np.log(ASSUMED_LEVEL) - log)
    return float(-0.5 * residual @ np.linalg.solve(spread, residual) - 0.5 * np.linalg.slogdet(spread)[1])


def _contradiction(used: Sequence[GripMeasurement], chi_square: float, dof: int) -> Contradiction:
    if dof < 1:
        return Contradiction(
            chi_square=chi_square,
            dof=dof,
            chance=1.0,
            odds_wrong=0.0,
            suspect=None,
            suspect_odds=0.0,
            sentence="",
        )
    chance = chi_square_tail(chi_square, dof=dof)
    evidence = [_log_evidence(used, np.zeros(len(used)))]
    evidence += [_log_evidence(used, WRONG_BY**2 * row) for row in np.eye(len(used))]
    prior = np.log(np.array([1.0] + [PRIOR_WRONG / (1.0 - PRIOR_WRONG)] * len(used)))
    weight = np.exp(np.array(evidence) + prior - np.max(np.array(evidence) + prior))
    weight /= weight.sum()
    odds_wrong = float((1.0 - weight[0]) / max(weight[0], 1e-12))
    suspect = int(np.argmax(weight[1:]))
    suspect_odds = float(weight[1 + suspect] / max(1.0 - weight[1 + suspect], 1e-12))
    quarrel = odds_wrong > 1.0
    sentence = ""
    if quarrel:
        named = f"most likely {used[suspect].method}" if suspect_odds > NAMED else "which one cannot be told"
        sentence = (
            f"The grip measurements contradict each other: odds {odds_words(odds_wrong)} that one of them "
            f"is wrong, {named}; measure again before trusting their average"
        )
    return Contradiction(
        chi_square=chi_square,
        dof=dof,
        chance=chance,
        odds_wrong=odds_wrong,
        suspect=suspect if quarrel and suspect_odds > NAMED else None,
        suspect_odds=suspect_odds,
        sentence=sentence,
    )
