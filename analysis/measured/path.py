"""The pivot over a whole slide: one fixed pivot, or one that wanders as the car turns."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.measured.path_errors import LEAST_MOVING, Poses, joined, path_of, solved
from analysis.measured.swing import mean_rest, whitened_scatter
from analysis.statistics.quantiles import chi_square_tail

LEAST_TURN = 0.026
"""rad (1.5 degrees): below this a pivot at every moment says nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PivotPath:
    """Instant pivot against rotation, fitted to all poses of one slide by total least squares.

    fixed: (2,) m car axes, the one pivot that fits all poses best.  fixed_covariance: (2, 2).
    fixed_chi2, fixed_dof: of that fit, by the likeliest error model.
    wanders: the fixed pivot is rejected (p below 0.001 under every plausible error model).
    wander: m, how far the pivot station moves, 0 when it does not.
    degree: of the polynomial in rotation used below.
    turn: (m,) rad since the start.  pivot: (m, 2) m car axes at those rotations.  pivot_covariance: (m, 2,
    2).
    rms: m, scatter of the poses about the wandering fit.  frames: poses used.
    """

    fixed: FloatArray
    fixed_covariance: FloatArray
    fixed_chi2: float
    fixed_dof: int
    wanders: bool
    wander: float
    degree: int
    turn: FloatArray
    pivot: FloatArray
    pivot_covariance: FloatArray
    rms: float
    frames: int


def fit_pivot_path(
    pose: FloatArray,
    covariance: FloatArray,
    *,
    moving: BoolArray,
    repeating: FloatArray | None = None,
    shared: FloatArray | None = None,
    points: int = 21,
) -> PivotPath | None:
    """Fit a fixed and a wandering pivot to all poses of one slide.

    pose (n, 3), in time order from the rest before to the rest after; covariance (n, 3, 3) new in every frame.
    moving: (n,) bool, frames between the rests.  repeating: (n, 3, 3) what neighbouring poses share.
    shared: (k, n, 3) one standard uncertainty of each cause common to all.  points: rotations at which it is told.
    Returns None when the car turns by less than 1.5 degrees or was seen too seldom on the way.
    The degree of the path is that of the smallest Bayesian information criterion (G. Schwarz, Ann. Stat. 6 (1978)
    461-464); the fixed pivot is tested by the fall in chi-square that the path brings, under every error model that
    the poses allow (`measured_pivot_motion`): what one of them can explain is not called wandering.
    """
    on_the_way = np.flatnonzero(moving)
    if len(on_the_way) < LEAST_MOVING:
        return None
    before, after = np.arange(on_the_way[0]), np.arange(on_the_way[-1] + 1, len(pose))
    if not len(before) or not len(after):
        return None
    if abs(float(pose[after, 2].mean() - pose[before, 2].mean())) < LEAST_TURN:
        return None
    poses = _grouped(pose, covariance, repeating, shared, before, on_the_way, after)
    path = path_of(poses)
    count = len(path.seen)
    spreads = np.stack([path.spread(model) for model in path.models])
    fits = [solved(spreads, path.columns(degree), path.seen) for degree in range(path.free.shape[2] + 1)]
    misfit = np.stack([fit.chi2 for fit in fits])  # degrees, models
    degrees = np.argmin(misfit + 2.0 * np.arange(len(fits))[:, None] * np.log(count), axis=0)
    gain = misfit[0] - misfit[degrees, range(len(degrees))]
    chances = [chi_square_tail(max(by, 0.0), dof=2 * degree) for by, degree in zip(gain, degrees, strict=True)]
    wanders = max(chances) < 1e-3
    degree = int(degrees[0])
    value, spread = fits[degree].value[0], fits[degree].covariance[0]
    # x and y of the fixed pivot, then x of all higher degrees, then y: as rows x and y
    order = np.array([[2, *range(4, 4 + degree)], [3, *range(4 + degree, 4 + 2 * degree)]])
    share = np.linspace(-1.0, 1.0, points)
    basis = np.polynomial.legendre.legvander(share, degree)
    pivot = basis @ value[order].T
    blocks = spread[order[:, :, None, None], order[None, None]]  # (2, d + 1, 2, d + 1)
    residual = (path.seen - path.columns(degree) @ value).reshape(-1, 2)
    inner = np.abs(share) <= 0.9  # the ends of a polynomial are its least certain part
    return PivotPath(
        fixed=fits[0].value[0, 2:],
        fixed_covariance=fits[0].covariance[0, 2:, 2:],
        fixed_chi2=float(misfit[0, 0]),
        fixed_dof=count - 4,
        wanders=wanders,
        wander=float(np.ptp(pivot[inner, 0])) if wanders else 0.0,
        degree=degree,
        turn=(share + 1.0) / 2.0 * (path.ends[1] - path.ends[0]),
        pivot=pivot,
        pivot_covariance=np.einsum("mk,ikjl,ml->mij", basis, blocks, basis),
        rms=float(np.sqrt(np.mean(np.sum(residual**2, -1)))),
        frames=len(pose),
    )


def _grouped(
    pose: FloatArray,
    covariance: FloatArray,
    repeating: FloatArray | None,
    shared: FloatArray | None,
    before: np.ndarray,
    moving: np.ndarray,
    after: np.ndarray,
) -> Poses:
    """The mean of either rest, and the poses between them, joined where they are many."""
    alike = np.zeros_like(covariance) if repeating is None else repeating
    causes = np.zeros((0, len(pose), 3)) if shared is None else shared
    stated = covariance + 1e-12 * np.eye(3)
    pooled, dof = whitened_scatter([(pose[rest], stated[rest]) for rest in (before, after)])
    start, end = (
        mean_rest(pose[rest], stated[rest], alike[rest].mean(axis=0), pooled, dof) for rest in (before, after)
    )
    way, new, repeats, moved = joined(pose[moving], stated[moving], alike[moving], causes[:, moving])
    ends = [causes[:, rest].mean(axis=1)[:, None] for rest in (before, after)]
    return Poses(
        pose=np.vstack([start.mean, way, end.mean]),
        new=np.concatenate([start.scatter[None], new, end.scatter[None]]),
        repeating=np.concatenate([start.repeating[None], repeats, end.repeating[None]]),
        shared=np.concatenate([ends[0], moved, ends[1]], axis=1),
    )
