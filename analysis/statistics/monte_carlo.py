"""Uncertainty after the GUM and its Supplement 1: inputs with their doubt, propagated to a result.

Sources: JCGM 100:2008 (sections 5.1, 5.2, G.4) and JCGM 101:2008 (sections 6.4, 7.7, 7.9).
A model is a function of x (..., d), one column per input, giving (...) or (..., m).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.statistics.quantiles import NORMAL_95

Model = Callable[[FloatArray], FloatArray]
Progress = Callable[[int, int], None]
"""Called with (done, planned)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Normal:
    """A value with its standard uncertainty. dof: degrees of freedom of that uncertainty."""

    value: float
    u: float
    dof: float = float("inf")


REPEATED = 1e-6
"""Variances closer than this share of the largest count as one."""


def square_root(covariance: FloatArray) -> FloatArray:
    """A matrix S with S Sᵀ = covariance (d, d); also for a covariance that is only semidefinite.

    Where variances repeat (weighings turned by half a turn), their eigenvectors are whatever the processor's library
    comes upon; the symmetric root is the same on every machine, and so are the draws that are made with it.

    Raises InputError when the matrix is not a covariance (not symmetric or a negative variance).
    """
    matrix = np.asarray(covariance, dtype=np.float64)
    if matrix.ndim != 2 or matrix.shape[0] != matrix.shape[1] or not np.all(np.isfinite(matrix)):
        raise InputError("must be square and finite", where="covariance", remedy="Give one row and column per input")
    scale = float(np.max(np.abs(matrix), initial=0.0))
    values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.T))
    if not np.allclose(matrix, matrix.T, rtol=0, atol=1e-9 * scale) or np.any(values < -1e-9 * scale):
        raise InputError(
            "is not the covariance of anything (symmetric, no negative variance)",
            where="covariance",
            remedy="Check signs and correlations",
        )
    root: FloatArray = vectors * np.sqrt(np.clip(values, 0.0, None))
    return root @ vectors.T if np.any(np.diff(values) < REPEATED * values[-1]) else root


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstOrder:
    """Law of propagation of uncertainty. parts: |c_i| u_i of each input, in the unit of the result."""

    value: float
    u: float
    dof: float
    parts: Mapping[str, float]
    sensitivity: Mapping[str, float]


def jacobian(model: Model, x: FloatArray, step: FloatArray) -> FloatArray:
    """Derivatives (m, d) of a model at x (d,): central differences of fourth order, steps (d,) > 0.

    step: (d,), in the unit of each input.
    """
    shifts = np.eye(len(x)) * step
    near, far = (np.atleast_2d(np.asarray(model(x + k * shifts) - model(x - k * shifts)).T) for k in (1.0, 2.0))
    result: FloatArray = (8.0 * near - far) / (12.0 * step)
    return result


def first_order(model: Model, inputs: Mapping[str, Normal]) -> FirstOrder:
    """GUM 5.1 and 5.2 for one result, with the effective degrees of freedom of G.4 (Welch–Satterthwaite)."""
    x = np.array([one.value for one in inputs.values()], dtype=np.float64)
    u = np.array([one.u for one in inputs.values()], dtype=np.float64)
    slope = jacobian(model, x, 0.01 * np.where(u > 0, u, np.maximum(np.abs(x), 1.0) * 1e-6))[0]
    parts = slope * u
    variance = float(parts @ parts)
    dof = np.array([one.dof for one in inputs.values()])
    finite = np.isfinite(dof) & (parts != 0)
    effective = float("inf")
    if np.any(finite):
        effective = float(variance**2 / np.sum(parts[finite] ** 4 / dof[finite]))
    names = list(inputs)
    return FirstOrder(
        value=float(model(x)),
        u=float(np.sqrt(variance)),
        dof=effective,
        parts={n: float(abs(p)) for n, p in zip(names, parts, strict=True)},
        sensitivity={n: float(c) for n, c in zip(names, slope, strict=True)},
    )


def balanced_normals(rng: np.random.Generator, count: int, width: int, *, block: int) -> FloatArray:
    """(count, width) standard normal draws whose every block of rows has mean 0 and covariance 1 exactly.

    So few draws already give the spread of what depends on them almost straight. A last block of hardly more rows than
    columns stays as it was drawn.  Source: moment matching by the symmetric root, which is no matter of LAPACK's.
    """
    drawn = rng.standard_normal((count, width))
    for first in range(0, count, block):
        some = drawn[first : first + block]
        if len(some) > width + 2:
            some = some - some.mean(axis=0)
            size, axis = np.linalg.eigh(some.T @ some / len(some))
            drawn[first : first + block] = some @ (axis / np.sqrt(size)) @ axis.T
    return drawn


def coverage_interval(samples: FloatArray, *, probability: float = 0.95, shortest: bool = False) -> tuple[float, float]:
    """Interval holding this share of the samples (n,), after JCGM 101, 7.7: equal tails, or the shortest."""
    ordered = np.sort(np.asarray(samples, dtype=np.float64))
    count = len(ordered)
    if count == 0:
        raise InputError("no samples", where="coverage interval", remedy="Draw at least one")
    inside = min(count - 1, int(probability * count + 0.5))
    widths = ordered[inside:] - ordered[: count - inside]
    start = int(np.argmin(widths)) if shortest else (count - inside) // 2
    start = min(start, count - 1 - inside)
    return float(ordered[start]), float(ordered[start + inside])


def numerical_tolerance(u: float, digits: int = 2) -> float:
    """Half a unit in the last of the significant digits with which u is stated (JCGM 101, 7.9.2)."""
    return 0.0 if u <= 0 else 0.5 * 10.0 ** (np.floor(np.log10(u)) - (digits - 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class MonteCarlo:
    """Result of a Monte Carlo propagation; every field has one entry per output.

    value: mean (m,).  u: standard deviation (m,).  interval: (m, 2), 95 %.
    spread: twice the standard deviation of value, u and both interval ends over the blocks (m, 4): how
    well the simulation itself knows them.  tolerance: (m,), what was asked of that spread.
    stable: the spread stayed below the tolerance.  samples: (draws, m).
    """

    value: FloatArray
    u: FloatArray
    interval: FloatArray
    spread: FloatArray
    tolerance: FloatArray
    stable: bool
    draws: int
    samples: FloatArray


def adaptive_monte_carlo(
    evaluate: Callable[[int, np.random.Generator], FloatArray],
    *,
    rng: np.random.Generator,
    digits: int = 2,
    block: int = 10_000,
    max_draws: int = 2_000_000,
    ends_within: float | None = None,
    progress: Progress | None = None,
) -> MonteCarlo:
    """Draw blocks until the result is stable to `digits` of its uncertainty (JCGM 101, 7.9.4).

    evaluate: (count, rng) -> results (count,) or (count, m).  Stops after max_draws at the latest
    (`stable` then says so), or at Ctrl-C with the blocks that were complete, if there are two.
    ends_within: given, one block may do: draws stop as soon as both ends of every interval are known to this part of
    its half-width (see `ends_known`), however many digits that is.
    """
    blocks: list[FloatArray] = []
    summaries: list[FloatArray] = []
    while True:
        try:
            drawn = np.asarray(evaluate(block, rng), dtype=np.float64)
        except KeyboardInterrupt:
            if len(blocks) < 2:
                raise
            return _monte_carlo(blocks, summaries, digits)
        blocks.append(drawn.reshape(block, -1))
        summaries.append(_summary(blocks[-1]))
        done = block * len(blocks)
        if progress is not None:
            progress(min(done, max_draws), max_draws)
        if ends_within is not None and _ends_do(blocks, ends_within):
            return _monte_carlo(blocks, summaries, digits)
        if len(blocks) >= 2 or ends_within is not None:
            if done + block > max_draws or (ends_within is None and _stable(summaries, digits)):
                return _monte_carlo(blocks, summaries, digits)
        elif done + block > max_draws:
            raise InputError(
                f"{max_draws} draws leave no room for two blocks of {block}",
                where="Monte Carlo",
                remedy="Allow more draws",
            )


def ends_known(samples: FloatArray) -> float:
    """How well draws know the ends of their 95 % interval, 95 % sure, in parts of its half-width: the worse end.

    samples: (n,), in any unit.

    Source: confidence interval of a quantile between order statistics, the number of draws below it being binomial
    (standard result, from memory; David & Nagaraja, Order Statistics).
    """
    ordered = np.sort(np.asarray(samples, dtype=np.float64))
    count = len(ordered)
    low, high = coverage_interval(ordered)
    if high == low:
        return 0.0
    below = 0.025 + NORMAL_95 * np.sqrt(0.025 * 0.975 / count) * np.array([-1.0, 1.0])
    if below[0] * count < 1.0:
        return float("inf")  # the end itself may lie beyond all draws
    wide = np.ptp(np.quantile(ordered, [below, 1.0 - below]), axis=-1)
    return float(np.max(wide) / (high - low))  # half of the one over half of the other


def _ends_do(blocks: list[FloatArray], within: float) -> bool:
    return all(ends_known(one) <= within for one in np.concatenate(blocks).T)


def _summary(samples: FloatArray) -> FloatArray:
    """Mean, standard deviation and interval ends of each output (m, 4)."""
    ends = [coverage_interval(one) for one in samples.T]
    return np.column_stack([samples.mean(0), samples.std(0, ddof=1), np.array(ends)])


def _stable(summaries: list[FloatArray], digits: int) -> bool:
    """Whether all four figures of all outputs are known to the digits asked, from the block summaries."""
    all_blocks = np.array(summaries)
    tolerance = np.array([numerical_tolerance(u, digits) for u in all_blocks[:, :, 1].mean(0)])
    rounding = 1e-12 * np.abs(all_blocks[0, :, :1])  # an output that is the same in every draw
    return bool(np.all(_spread(all_blocks) <= tolerance[:, None] + rounding))


def _spread(all_blocks: FloatArray) -> FloatArray:
    if len(all_blocks) == 1:
        return np.full(all_blocks.shape[1:], np.inf)
    spread: FloatArray = 2.0 * np.std(all_blocks, axis=0, ddof=1) / np.sqrt(len(all_blocks))
    return spread


def _monte_carlo(blocks: list[FloatArray], summaries: list[FloatArray], digits: int) -> MonteCarlo:
    samples = np.concatenate(blocks)
    whole = _summary(samples)
    return MonteCarlo(
        value=whole[:, 0],
        u=whole[:, 1],
        interval=whole[:, 2:],
        spread=_spread(np.array(summaries)),
        tolerance=np.array([numerical_tolerance(u, digits) for u in whole[:, 1]]),
        stable=_stable(summaries, digits),
        draws=len(samples),
        samples=samples,
    )


def variance_shares(
    scores: Mapping[str, FloatArray], result: FloatArray, *, apart: BoolArray | None = None
) -> dict[str, float]:
    """Share of the variance of result (n,) that each group of inputs explains on its own.

    scores: name -> standard normal scores (n, k) behind the draws, groups independent of each other.
    apart: (n,), draws that fall into two kinds in which an input may do the opposite; the share is then that inside of
    the kinds, and what parts the kinds is nobody's.
    A cubic in each score is fitted (Hermite polynomials, orthogonal under the normal law), so no further
    runs of the model are needed; what the sum leaves to 1 is joint effect and noise. With fewer than ten
    draws per coefficient only straight lines are fitted. Source: first-order variance-based sensitivity,
    estimated by regression (standard method, from memory).
    """
    kinds = [np.ones(len(result), dtype=bool)] if apart is None else [apart, ~apart]
    width = sum(group.reshape(len(result), -1).shape[1] for group in scores.values())
    kinds = [one for one in kinds if one.sum() > width + 1]
    if len(kinds) > 1:
        spread, told = float(np.var(result)), dict.fromkeys(scores, 0.0)
        for one in kinds if spread > 0.0 else []:
            inside = variance_shares({name: group[one] for name, group in scores.items()}, result[one])
            weight = float(np.mean(one) * np.var(result[one])) / spread
            told = {name: told[name] + weight * inside[name] for name in scores}
        return told
    spread = float(np.var(result))
    if spread <= 0.0 or not scores:
        return dict.fromkeys(scores, 0.0)
    columns, owner = [], []
    orders = 3 if len(result) >= 30 * width else 1
    for name, group in scores.items():
        z = group.reshape(len(result), -1)
        for basis in (z, z**2 - 1.0, z**3 - 3.0 * z)[:orders]:
            columns.append(basis)
            owner += [name] * basis.shape[1]
    design = np.concatenate(columns, axis=1)
    design = design - design.mean(0)
    coefficient = np.linalg.lstsq(design, result - result.mean(), rcond=None)[0]
    whose = np.array(owner)
    # A coefficient that is nothing but noise explains 1/n of the variance by chance: take that off.
    chance = {name: float(np.sum(whose == name)) / len(result) for name in scores}
    raw = {name: float(np.var(design[:, whose == name] @ coefficient[whose == name])) / spread for name in scores}
    unexplained = max(0.0, 1.0 - sum(raw.values()))
    return {name: max(0.0, raw[name] - chance[name] * unexplained) for name in scores}
