"""What all poses of a slide say together about its pivot, with errors that neighbouring poses share.

A car that slides has an instant pivot c(psi) in its own axes, and its origin runs along p' = -R'(psi) c(psi). Every
pose on the way is a measurement of that path. Pose errors are not new in every frame: what repeats while a car rests
(edges between the pixels, pictures copied by a coder) changes only as the car moves on, so neighbouring poses err
alike. How far that reaches, and how much larger it is in motion, the poses themselves tell, by restricted maximum
likelihood (H. D. Patterson and R. Thompson, Biometrika 58 (1971) 545-554), with the path free to wander.
"""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray

LEAST_MOVING = 4
MOST_GROUPS = 30
"""Poses in motion are joined into at most so many means; within one the turn is too small to matter."""
HIGHEST_DEGREE = 5
REACHES = (0.02, 0.1, 0.3)
"""Share of the turn over which errors stay alike (they fade exponentially)."""
LOUDER = (0.0, 1.0, 3.0)
"""How much larger than at rest the errors that repeat are in motion, added in square."""
NEW = (0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
"""Size in motion of the errors new in every frame, of what is stated (blur is stated as if it were all new)."""
MOVED = 2.0
"""Errors at rest, times so much, by which all poses in motion may be off together (smeared edges, late exposures)."""
SMALLEST_VARIANCE = 1e-16
"""m² and rad²: keeps poses without noise solvable."""
PLAUSIBLE = 6.0
"""Fall of twice the log likelihood within which other error models are as good: chi-square, 3 degrees, 89 %."""
ODD = 16.0
"""Squared residual over its variance, 2 degrees of freedom: beyond, a pose counts as wrong (3 in 10 000)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Poses:
    """Rest, groups of moving poses, rest: g of them in order.

    pose: (g, 3).  new: (g, 3, 3) covariance new in every frame, of the mean of the group.  repeating: (g, 3, 3).
    shared: (k, g, 3) one standard uncertainty of each cause common to all.  Only the first and last are rests.
    """

    pose: FloatArray
    new: FloatArray
    repeating: FloatArray
    shared: FloatArray

    @property
    def moving(self) -> BoolArray:
        """(g,) all but the two rests."""
        inner = np.ones(len(self.pose), bool)
        inner[[0, -1]] = False
        return inner


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorModel:
    """reach: share of the turn.  louder, new: factors as in LOUDER and NEW."""

    reach: float
    louder: float
    new: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """The linear model of a slide's path about its poses.

    new: (g, 2, 2), repeating: (g, 2, g, 2), causes: (2g, 2g) what the poses' covariances do to the residuals; the
    second as if all repeated alike.  fixed: (2g, 4) columns of start and pivot.  own: (g, d + 1) polynomials.
    free: (2g, 2, d) columns of the wandering, x and y of degrees 1 to d.  seen: (2g,) m.
    ends: rad, yaw at the rests.  alike: (g, g) distance between poses, share of the turn.
    models: error models from the likeliest on, all plausible.
    """

    poses: Poses
    new: FloatArray
    repeating: FloatArray
    causes: FloatArray
    own: FloatArray
    fixed: FloatArray
    free: FloatArray
    seen: FloatArray
    ends: tuple[float, float]
    alike: FloatArray
    models: tuple[ErrorModel, ...] = ()

    def columns(self, degree: int) -> FloatArray:
        """(2g, 4 + 2 degree) start, pivot, and the wandering up to a degree: x of all, then y of all."""
        return np.concatenate([self.fixed, self.free[:, :, :degree].reshape(len(self.seen), -1)], axis=1)

    def spread(self, model: ErrorModel) -> FloatArray:
        """(2g, 2g) covariance of the residuals."""
        moving, count = self.poses.moving, len(self.poses.pose)
        both = np.outer(moving, moving)
        kernel = np.exp(-self.alike / model.reach) * (1.0 + model.louder**2 * both) + MOVED**2 * both
        result = self.repeating * kernel[:, None, :, None]
        result[range(count), :, range(count)] += self.new * np.where(moving, model.new**2, 1.0)[:, None, None]
        spread: FloatArray = result.reshape(2 * count, 2 * count) + self.causes
        return spread


def joined(
    pose: FloatArray, new: FloatArray, repeating: FloatArray, shared: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Neighbouring moving poses (n, 3) joined into at most MOST_GROUPS means, with what goes with them.

    pose: (n, 3) m, m, rad.  new, repeating: (n, 3, 3) covariances.  shared: (k, n, 3), effect of each shared cause.
    """
    n = len(pose)
    if n <= MOST_GROUPS:
        return pose, new, repeating, shared
    parts = np.array_split(np.arange(n), MOST_GROUPS)
    return (
        np.stack([pose[part].mean(0) for part in parts]),
        np.stack([new[part].mean(0) / len(part) for part in parts]),
        np.stack([repeating[part].mean(0) for part in parts]),
        np.stack([shared[:, part].mean(1) for part in parts], axis=1),
    )


def path_of(poses: Poses) -> Path:
    """The path's model with the error models that the poses allow; at least LEAST_MOVING in motion are wanted."""
    moving = len(poses.pose) - 2
    degree = int(np.clip(moving // 3 - 1, 1, HIGHEST_DEGREE))
    path = _linear(poses, degree)
    ranked = _ranked(path)
    best = ranked[0][1]
    # A pose far off the best path counts as wrong and is let go; then the errors are judged again.
    columns, spread = path.columns(degree), path.spread(best)
    residual = (path.seen - columns @ solved(spread, columns, path.seen).value).reshape(-1, 2)
    own = np.stack([spread[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] for k in range(moving + 2)])
    size = np.einsum("gi,gij,gj->g", residual, np.linalg.inv(own), residual) * path.poses.moving
    if (size > ODD).any():
        wrong = np.where(size > ODD, size**2, 1.0)[:, None, None]
        path = replace(path, new=path.new * wrong)
        ranked = _ranked(path)
    least = ranked[0][0]
    return replace(path, models=tuple(model for cost, model in ranked if cost < least + PLAUSIBLE))


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Generalised least squares, for one covariance of the residuals or many (...).

    value: (..., k), covariance: (..., k, k).  chi2: (...) weighted squared residuals left.
    cost: (...) twice the negative restricted log likelihood, but for a constant.
    """

    value: FloatArray
    covariance: FloatArray
    chi2: FloatArray
    cost: FloatArray


def solved(spread: FloatArray, columns: FloatArray, seen: FloatArray) -> Solution:
    """Generalised least squares. spread: (..., n, n).  columns: (n, k).  seen: (n,)."""
    root = np.linalg.cholesky(spread)
    right = np.column_stack([columns, seen])
    both = np.linalg.solve(root, np.broadcast_to(right, (*root.shape[:-2], *right.shape)))
    a, y = both[..., :-1], both[..., -1:]
    scale = 1.0 / np.sqrt((a**2).sum(-2))
    a = a * scale[..., None, :]
    turned = np.swapaxes(a, -1, -2)
    normal = turned @ a
    inverse = np.linalg.inv(normal)
    value = inverse @ (turned @ y)
    chi2 = ((y - a @ value) ** 2).sum((-2, -1))
    size = np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(-1) - np.log(scale).sum(-1)
    return Solution(
        value=value[..., 0] * scale,
        covariance=inverse * scale[..., :, None] * scale[..., None, :],
        chi2=chi2,
        cost=2.0 * size + np.linalg.slogdet(normal)[1] + chi2,
    )


def swept(yaw: FloatArray, start: float, end: float, degree: int) -> tuple[FloatArray, FloatArray]:
    """Legendre polynomials (n, degree + 1) at the given yaw and their integrals (n, 2, 2, degree + 1).

    The integral from start to yaw of R'(angle) P_k, by Gauss-Legendre quadrature (16 points: exact to rounding
    for polynomials times a sine over less than a turn).
    """
    node, weight = np.polynomial.legendre.leggauss(16)
    half = 0.5 * (yaw - start)
    inner = start + half[:, None] * (node + 1.0)
    basis = np.polynomial.legendre.legvander(2.0 * (inner - start) / (end - start) - 1.0, degree)
    c, s = np.cos(inner)[..., None] * basis, np.sin(inner)[..., None] * basis
    row = np.einsum("nqk,q->nk", c, weight) * half[:, None], np.einsum("nqk,q->nk", s, weight) * half[:, None]
    integral = np.stack([np.stack([-row[1], -row[0]], 1), np.stack([row[0], -row[1]], 1)], 1)
    own = np.polynomial.legendre.legvander(2.0 * (yaw - start) / (end - start) - 1.0, degree)
    return np.asarray(own, float), np.asarray(integral, float)


def _linear(poses: Poses, degree: int) -> Path:
    """The model about the poses' own yaw; errors of the yaw act through the slope, found in three rounds."""
    yaw = poses.pose[:, 2]
    ends = (float(yaw[0]), float(yaw[-1]))
    own, integral = swept(yaw, *ends, degree)
    count = len(yaw)
    fixed = np.concatenate([np.tile(np.eye(2), (count, 1, 1)), -integral[..., 0]], axis=2).reshape(-1, 4)
    free = -integral[..., 1:].reshape(2 * count, 2, degree)
    seen = poses.pose[:, :2].reshape(-1)
    columns = np.concatenate([fixed, free.reshape(2 * count, -1)], axis=1)
    plain = poses.new + poses.repeating
    c, s = np.cos(yaw), np.sin(yaw)
    mixing = np.tile(np.eye(2, 3), (count, 1, 1))
    for _ in range(3):
        spread = np.zeros((count, 2, count, 2))
        spread[range(count), :, range(count)] = _mixed(mixing, plain)
        value = solved(spread.reshape(2 * count, -1), columns, seen).value
        coefficient = np.concatenate([value[2:4, None], value[4:].reshape(2, degree)], axis=1)
        pivot = own @ coefficient.T
        mixing[:, 0, 2] = -s * pivot[:, 0] - c * pivot[:, 1]
        mixing[:, 1, 2] = c * pivot[:, 0] - s * pivot[:, 1]
    share = (yaw - ends[0]) / (ends[1] - ends[0])
    root = mixing @ np.linalg.cholesky(poses.repeating + SMALLEST_VARIANCE * np.eye(3))
    moved = np.einsum("gia,kga->kgi", mixing, poses.shared).reshape(len(poses.shared), 2 * count)
    return Path(
        poses=poses,
        new=_mixed(mixing, poses.new),
        repeating=np.einsum("gia,hja->gihj", root, root),
        causes=moved.T @ moved,
        own=own,
        fixed=fixed,
        free=free,
        seen=seen,
        ends=ends,
        alike=np.abs(share[:, None] - share[None, :]),
    )


def _mixed(mixing: FloatArray, covariance: FloatArray) -> FloatArray:
    """(g, 2, 2) of residuals from (g, 3, 3) of poses."""
    mixed: FloatArray = mixing @ covariance @ np.swapaxes(mixing, 1, 2) + SMALLEST_VARIANCE * np.eye(2)
    return mixed


def _ranked(path: Path) -> list[tuple[float, ErrorModel]]:
    """Every error model with twice its negative log likelihood, the likeliest first, the path free to wander."""
    quiet = float(np.trace(path.poses.repeating, axis1=1, axis2=2).max()) < 1e-14  # nothing repeats
    models = [
        ErrorModel(reach=reach, louder=louder, new=new)
        for reach, louder, new in product(REACHES[:1] if quiet else REACHES, LOUDER[:1] if quiet else LOUDER, NEW)
    ]
    spreads = np.stack([path.spread(model) for model in models])
    cost = solved(spreads, path.columns(path.free.shape[2]), path.seen).cost
    return [(float(cost[k]), models[k]) for k in np.argsort(cost, kind="stable")]
