"""Which hidden change fits what was seen, and which push would tell most."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.pivot import PivotEstimate
from analysis.base.signs import two_digits
from analysis.forecast.forecast import kind_of_test
from analysis.forecast.impossible import check_states
from analysis.forecast.inputs import CarState, PushState
from analysis.forecast.variants import Variants, doubt_effects, doubt_variants, kappa_of
from analysis.statistics.odds import odds_words
from analysis.statistics.quantiles import chi_square_tail


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """One thing that may have been done in secret: the car as it would then be. prior: relative weight."""

    name: str
    car: CarState
    prior: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HiddenChange:
    """What the pushes say so far.

    probability: name -> posterior probability.  after: (pushes + 1, hypotheses), the same after 0, 1, 2 ... pushes.
    odds: (to 1) of the best against all others together.  best: its name.
    fits: False when no hypothesis explains the pushes (the best misses them beyond the 99 % level).
    """

    probability: Mapping[str, float]
    after: FloatArray
    best: str
    odds: float
    fits: bool
    sentence: str


def hidden_change(
    hypotheses: Sequence[Hypothesis], pushes: Sequence[tuple[PushState, PivotEstimate]], *, scatter: float = 0.0
) -> HiddenChange:
    """Odds of each hypothesis after each push (Bayes' rule; doubts linear about each hypothesis).

    pushes: how it was pushed and what was measured, in order.  scatter: 1/m, standard deviation between pushes.
    The doubts of the car repeat from push to push; those of the push are new each time. The doubt of the
    grip ratio counts as one of the car. Of rolling cars only the side counts.
    """
    _check(hypotheses)
    log = np.zeros((len(pushes) + 1, len(hypotheses)))
    log[0] = np.log([one.prior for one in hypotheses])
    misfit = np.zeros(len(hypotheses))
    forecasts = _forecasts(hypotheses, [push for push, _ in pushes])
    measured = np.array([one.kappa for _, one in pushes])
    noise = np.array([one.kappa_u**2 + scatter**2 for _, one in pushes])
    for h, hypothesis in enumerate(hypotheses):
        if kind_of_test(hypothesis.car) == "switch":
            # Side right or wrong, wrong once in two hundred near nothing in particular.
            sides = np.sign(forecasts[h].kappa) == np.sign(measured)
            log[1:, h] = log[0, h] + np.cumsum(np.where(sides, np.log(0.995), np.log(0.005)))
            continue
        for n in range(1, len(pushes) + 1):
            common = forecasts[h].common[:n]
            spread = common @ common.T + np.diag(forecasts[h].own[:n] + noise[:n])
            residual = measured[:n] - forecasts[h].kappa[:n]
            misfit[h] = float(residual @ np.linalg.solve(spread, residual))
            log[n, h] = log[0, h] - 0.5 * misfit[h] - 0.5 * np.linalg.slogdet(2 * np.pi * spread)[1]
    after = np.exp(log - log.max(axis=1, keepdims=True))
    after /= after.sum(axis=1, keepdims=True)
    best = int(np.argmax(after[-1]))
    odds = float(after[-1, best] / max(1.0 - after[-1, best], 1e-12))
    fits = _fits(misfit[best], len(pushes))
    name = hypotheses[best].name
    sentence = f"{name}: odds {odds_words(odds)} after {len(pushes)} push{'' if len(pushes) == 1 else 'es'}"
    if not fits:
        sentence += "; yet none of the listed changes explains the pushes, so something else was done"
    return HiddenChange(
        probability={one.name: float(p) for one, p in zip(hypotheses, after[-1], strict=True)},
        after=after,
        best=name,
        odds=odds,
        fits=fits,
        sentence=sentence,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TellingPush:
    """gain: expected fall of the uncertainty about which hypothesis holds, in bits, for each push looked at."""

    push: PushState
    gain: FloatArray
    sentence: str


def most_telling_push(
    hypotheses: Sequence[Hypothesis],
    probability: Mapping[str, float],
    candidates: Sequence[PushState],
    *,
    kappa_u: float,
) -> TellingPush:
    """The push whose outcome is expected to tell the hypotheses apart best.

    probability: as known now.  kappa_u: 1/m, what a measurement usually states, between-push scatter included.
    Expected information: mutual information between hypothesis and kappa, each hypothesis forecasting a normal
    law (numerical integral).
    """
    _check(hypotheses)
    if not candidates:
        raise InputError("no push to choose from", where="most telling push", remedy="Give a few stations")
    weight = np.array([probability[one.name] for one in hypotheses])
    weight = weight / weight.sum()
    forecasts = _forecasts(hypotheses, candidates)
    gain = np.empty(len(candidates))
    for c in range(len(candidates)):
        mean = np.array([one.kappa[c] for one in forecasts])
        sd = np.sqrt([one.own[c] + float(np.sum(one.common[c] ** 2)) + kappa_u**2 for one in forecasts])
        grid = np.linspace(float(np.min(mean - 6 * sd)), float(np.max(mean + 6 * sd)), 4001)
        density = np.exp(-0.5 * ((grid - mean[:, None]) / sd[:, None]) ** 2) / (sd[:, None] * np.sqrt(2 * np.pi))
        mixture = weight @ density
        ratio = np.where(density > 0, density / np.where(mixture > 0, mixture, 1.0), 1.0)
        gain[c] = float(np.sum(weight[:, None] * density * np.log2(np.maximum(ratio, 1e-300))) * (grid[1] - grid[0]))
    best = int(np.argmax(gain))
    push = candidates[best]
    pct = 100.0 * push.station / hypotheses[0].car.wheelbase
    return TellingPush(
        push=push, gain=gain, sentence=f"Push next at {pct:.0f} % of the wheelbase: worth {two_digits(gain[best])} bits"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Forecast:
    kappa: FloatArray  # (pushes,)
    own: FloatArray  # (pushes,), variance
    common: FloatArray  # (pushes, doubts)


def _forecasts(hypotheses: Sequence[Hypothesis], pushes: Sequence[PushState]) -> list[_Forecast]:
    jobs = [Variants(car=one.car, push=push, log_ratio=np.zeros(1)) for one in hypotheses for push in pushes]
    for job in jobs:
        check_states(job.car, job.push)
    best = kappa_of(jobs)
    around = kappa_of([doubt_variants(job) for job in jobs])
    ratio = kappa_of(
        [
            Variants(car=job.car, push=job.push, log_ratio=np.array([-1.0, 1.0]) * max(job.car.grip_ratio_u, 1e-6))
            for job in jobs
        ]
    )
    result = []
    for h in range(len(hypotheses)):
        own, rows = [], []
        part = range(h * len(pushes), (h + 1) * len(pushes))
        for i in part:
            effects = doubt_effects(jobs[i], around[i])
            own.append(float(np.sum(effects.own**2)))
            of_ratio = 0.5 * (ratio[i][1] - ratio[i][0]) if jobs[i].car.grip_ratio_u > 0 else 0.0
            rows.append(np.append(effects.common[0], of_ratio))
        common = np.array(rows).reshape(len(pushes), -1)
        result.append(_Forecast(kappa=np.array([best[i][0] for i in part]), own=np.array(own), common=common))
    return result


def _fits(misfit: float, pushes: int) -> bool:
    return chi_square_tail(misfit, dof=pushes) > 0.01


def _check(hypotheses: Sequence[Hypothesis]) -> None:
    names = [one.name for one in hypotheses]
    if len(names) < 2 or len(set(names)) < len(names) or any(one.prior <= 0 for one in hypotheses):
        raise InputError(
            "needs at least two hypotheses with different names and weights above zero",
            where="hidden change",
            remedy="List what may have been done, each once",
        )
