"""What a series of pushes shows: effects of factors with intervals, drift, and how many pushes are needed.

Everything is done in turn per travel, kappa, which passes smoothly through a straight slide, or in balance points
found from it push by push, which are alike wherever a car was pushed. Linear model
with one level of each factor as the reference; the pushes of one block (one visit to a set-up) share what
was set up and put down then, so blocks, not pushes, are what is counted. Source: analysis of split-plot
experiments by generalised least squares (standard method, from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from analysis.base.arrays import FloatArray, IntArray
from analysis.base.errors import InputError
from analysis.base.signs import two_digits
from analysis.statistics.quantiles import coverage_factor


class Quantity(Enum):
    """What the pushes of a series are compared in: its name for people, and its unit."""

    TURN_PER_TRAVEL = ("Turn per travel", "per metre")
    BALANCE = ("The balance point", "points")


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesPush:
    """One recorded push. setup: factor -> level.  block: the visit to a set-up.  kappa, kappa_u: 1/m.

    order: place in time, any increasing number (minutes will do).
    In a series in balance points (`Quantity.BALANCE`) kappa and kappa_u are such points, per cent of the wheelbase.
    """

    setup: Mapping[str, str]
    block: int
    kappa: float
    kappa_u: float
    order: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """Change of kappa, 1/m, when a factor goes from its reference to a level, with its 95 % interval.

    clear: the interval excludes zero.  weights: of each push in the change, which is their sum.
    dof: behind the interval.  averaged: share of u squared that more pushes in each block would average.
    In a series in balance points all are in points, forward positive.
    """

    factor: str
    level: str
    reference: str
    change: float
    u: float
    interval: tuple[float, float]
    clear: bool
    weights: tuple[float, ...]
    dof: int
    averaged: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """Trend of kappa with the order of the pushes, set-ups accounted for: 1/m per unit of order.

    interval: 95 %, of what it makes from the first push to the last, 1/m.
    """

    slope: float
    interval: tuple[float, float]
    clear: bool
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesResult:
    """push_u: 1/m, scatter between pushes of one block, measurement included.  block_u: 1/m, further scatter
    between blocks of one set-up (0 where no set-up was visited twice).  dof: behind the intervals."""

    effects: tuple[Effect, ...]
    drift: Drift | None
    push_u: float
    block_u: float
    dof: int
    pushes: int
    warnings: tuple[str, ...]


def analyse_series(
    pushes: Sequence[SeriesPush],
    *,
    reference: Mapping[str, str] | None = None,
    quantity: Quantity = Quantity.TURN_PER_TRAVEL,
) -> SeriesResult:
    """Effects of all factors that were varied.

    reference: the level of each factor that changes are counted from (the first one met, where not given).
    Raises InputError when two factors always changed together, or with fewer pushes than unknowns.
    """
    if len(pushes) < 3:
        raise InputError(
            f"{len(pushes)} pushes are too few", where="series", remedy="Repeat each set-up at least twice"
        )
    names = list(pushes[0].setup)
    if any(set(one.setup) != set(names) for one in pushes):
        raise InputError(
            "the pushes do not name the same factors", where="series", remedy="Give every push a level for every factor"
        )
    ground = {name: (reference or {}).get(name, pushes[0].setup[name]) for name in names}
    columns = [
        (name, level)
        for name in names
        for level in dict.fromkeys(one.setup[name] for one in pushes)
        if level != ground[name]
    ]
    if not columns:
        raise InputError("nothing was varied", where="series", remedy="Change one factor between set-ups")
    design = np.array([[1.0] + [float(one.setup[n] == level) for n, level in columns] for one in pushes])
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise InputError(
            "some factors always changed together",
            where="series",
            remedy="Add a set-up in which only one of them is changed",
        )
    kappa = np.array([one.kappa for one in pushes])
    blocks: IntArray = np.unique([one.block for one in pushes], return_inverse=True)[1].astype(np.intp)
    fit = _fit(design, kappa, blocks)
    value, covariance, push_u, block_u, dof = fit.value, fit.covariance, fit.push_u, fit.block_u, fit.dof
    within = push_u**2 / (len(pushes) / (int(blocks.max()) + 1))
    averaged = within / (within + block_u**2) if within > 0 else 0.0
    factor = coverage_factor(dof=dof)
    effects = []
    for i, (name, level) in enumerate(columns, start=1):
        u = float(np.sqrt(covariance[i, i]))
        interval = (float(value[i]) - factor * u, float(value[i]) + factor * u)
        effects.append(
            Effect(
                factor=name,
                level=level,
                reference=ground[name],
                change=float(value[i]),
                u=u,
                interval=interval,
                clear=not interval[0] <= 0.0 <= interval[1],
                weights=tuple(fit.weights[i].tolist()),
                dof=dof,
                averaged=averaged,
            )
        )
    drift = _drift(design, kappa, np.array([one.order for one in pushes], dtype=np.float64), quantity)
    warnings = []
    if drift is not None and drift.clear:
        warnings.append(drift.sentence)
    if block_u == 0.0 and _repeated_blocks(design, blocks) == 0:
        warnings.append(
            "No set-up was visited twice, so what putting it together anew does is not in the intervals: "
            "return to the baseline at the end"
        )
    stated = float(np.sqrt(np.mean([one.kappa_u**2 for one in pushes])))
    if push_u > 2.0 * stated:
        warnings.append(
            f"Pushes scatter {push_u / stated:.1f} times as much as each states: something moves between them"
        )
    return SeriesResult(
        effects=tuple(effects),
        drift=drift,
        push_u=push_u,
        block_u=block_u,
        dof=dof,
        pushes=len(pushes),
        warnings=tuple(warnings),
    )


def _repeated_blocks(design: FloatArray, blocks: IntArray) -> int:
    """Degrees of freedom between blocks: blocks less what their set-ups can explain."""
    first = np.array([design[np.argmax(blocks == b)] for b in range(int(blocks.max()) + 1)])
    return int(len(first) - np.linalg.matrix_rank(first))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """value (p,) and covariance (p, p); push_u, block_u: scatter within and between blocks; weights (p, n) of each push
    in each value."""

    value: FloatArray
    covariance: FloatArray
    push_u: float
    block_u: float
    dof: int
    weights: FloatArray


def _fit(design: FloatArray, kappa: FloatArray, blocks: IntArray) -> _Fit:
    """Estimate, covariance, scatter within and between blocks, degrees of freedom.

    With the same number of pushes in each block the block means carry everything: the estimate is ordinary
    least squares on them, and its interval has the degrees of freedom between blocks. Without a repeated
    block the scatter within them has to serve.
    """
    count = int(blocks.max()) + 1
    size = np.bincount(blocks, minlength=count).astype(np.float64)
    mean = np.bincount(blocks, weights=kappa, minlength=count) / size
    rows = np.array([design[np.argmax(blocks == b)] for b in range(count)])
    within_dof = len(kappa) - count
    within = float(np.sum((kappa - mean[blocks]) ** 2)) / within_dof if within_dof > 0 else 0.0
    between_dof = count - rows.shape[1]
    if between_dof < 0 or (between_dof == 0 and within_dof == 0):
        raise InputError("fewer pushes than unknowns", where="series", remedy="Repeat each set-up at least twice")
    weight = size  # while the scatter between blocks is unknown, pushes count
    for _ in range(20 if between_dof > 0 else 1):
        weight_used = weight
        normal = rows.T @ (weight[:, None] * rows)
        value = np.linalg.solve(normal, rows.T @ (weight * mean))
        residual = mean - rows @ value
        if between_dof == 0:
            break
        chi = float(np.sum(size * residual**2)) / between_dof
        between = max(0.0, (chi - within) / float(np.mean(size))) if within_dof > 0 else chi
        weight = 1.0 / np.maximum(within / size + between, 1e-300)
    used = np.linalg.solve(normal, rows.T * weight_used)[:, blocks] / size[blocks]
    if between_dof == 0:
        return _Fit(
            value=value,
            covariance=np.linalg.inv(normal) * within,
            push_u=float(np.sqrt(within)),
            block_u=0.0,
            dof=within_dof,
            weights=used,
        )
    # The interval rests on the spread of block means about the fit, whatever its causes. Pooling it with the
    # scatter inside blocks when it looks small would make intervals that hold the truth too rarely.
    scale = float(np.sum(weight * residual**2)) / between_dof
    return _Fit(
        value=value,
        covariance=np.linalg.inv(normal) * scale,
        push_u=float(np.sqrt(within)),
        block_u=float(np.sqrt(between)),
        dof=between_dof,
        weights=used,
    )


def _drift(design: FloatArray, kappa: FloatArray, order: FloatArray, quantity: Quantity) -> Drift | None:
    """Slope against order, or None when the set-ups leave no room to see one."""
    centred = order - order.mean()
    rows = np.column_stack([design, centred])
    if len(kappa) <= rows.shape[1] or np.linalg.matrix_rank(rows) < rows.shape[1]:
        return None
    value, *_ = np.linalg.lstsq(rows, kappa, rcond=None)
    residual = kappa - rows @ value
    dof = len(kappa) - rows.shape[1]
    covariance = np.linalg.inv(rows.T @ rows) * float(residual @ residual) / dof
    span = float(np.ptp(order))
    half = coverage_factor(dof=dof) * float(np.sqrt(covariance[-1, -1])) * span
    total = float(value[-1]) * span
    clear = abs(total) > half
    name, unit = quantity.value
    sentence = (
        f"{name} drifted by {two_digits(total, signed=True)} {unit} (±{two_digits(half)}) over the series, "
        "set-ups accounted for: tyres wear in or the floor gathers dust; run in longer, or return to the baseline "
        "more often"
        if clear
        else "No drift over the series can be told from scatter"
    )
    return Drift(slope=float(value[-1]), interval=(total - half, total + half), clear=clear, sentence=sentence)


def pushes_needed(
    difference: float, push_u: float, *, block_u: float = 0.0, power: float = 0.9, most: int = 1000
) -> int | None:
    """Pushes for each of two set-ups that tell a difference of kappa apart (95 % interval, this power).

    push_u: 1/m, standard deviation of one push.  block_u: 1/m, that no number of pushes in one visit averages
    out. None when more than `most` would be needed (or none suffice). Two-sided t test with 2 (n - 1) degrees of
    freedom, normal approximation of its power shifted by the t quantile (standard, from memory).
    """
    from scipy.special import nctdtr

    if difference <= 0 or push_u < 0 or block_u < 0 or not 0.5 < power < 1:
        raise InputError(
            "difference and scatter must be positive, power between 0.5 and 1",
            where="pushes needed",
            remedy="Give sizes in 1/m",
        )
    for n in range(2, most + 1):
        dof = 2 * (n - 1)
        spread = np.sqrt(2.0 * (push_u**2 / n + block_u**2))
        if spread == 0 or 1.0 - nctdtr(dof, difference / spread, coverage_factor(dof=dof)) >= power:
            return n
    return None
