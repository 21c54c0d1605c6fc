"""One robust Gauss-Newton fit, done for all frames of a chunk together: corners seen less corners that a model shows.

Weights fade corners that do not fit (a moved, bent or half-hidden marker) and come out with the result. The camera's
pose from the floor and the car's pose from its plate (`vision.fitting.poses`) are two models of the same fit.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from vision.base.robust import fading_weight
from vision.base.types import BoolArray, FloatArray
from vision.camera.model import project_with_derivatives
from vision.floor.geometry import bent_edge_shift, ink_direction

ROUNDS = 10
GENTLE = 5  # rounds with weights of a convex cost (Huber), which lead to where fading may begin
COUNTS = 0.2  # a corner faded beyond this does not count as seen
NEAREST = 0.01  # m before the camera: no corner is nearer


@dataclass(frozen=True, slots=True, kw_only=True)
class Optics:
    """How the camera shows markers.

    intrinsics: (9,) px and numbers, as in `vision.camera.model`.  basis: (9, q), in which directions they are unsure.
    ink: px, ink shift.  least_residual: px, the least that counts as a usual residual when odd corners are faded.
    """

    intrinsics: FloatArray
    basis: FloatArray
    ink: float
    least_residual: float = 0.03


class Model(Protocol):
    """Flat markers whose m x 4 corners the camera shows in n frames, by p parameters a frame."""

    def corners(self) -> FloatArray:
        """(n, m, 4, 3) m, in camera axes."""

    def derivatives(self, by_point: FloatArray) -> FloatArray:
        """(n, m, 4, 2, p) px: of the corners' pixels by the parameters. by_point: (n, m, 4, 2, 3) px/m."""

    def move(self, step: FloatArray) -> None:
        """Change the parameters by the step (n, p)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """The last round of a fit: n frames, m markers, p parameters.

    residual: (n, m, 4, 2) px, seen less shown, 0 where not seen.  weight: (n, m, 4) 0..1.
    jacobian: (n, 8 m, p) px per parameter.  by_point: (n, m, 4, 2, 3) px/m.
    by_intrinsics: (n, m, 4, 2, 9) px per unit.  by_ink: (n, m, 4, 2) px per px of ink shift, nan where a
    marker shows no square.
    """

    residual: FloatArray
    weight: FloatArray
    jacobian: FloatArray
    by_point: FloatArray
    by_intrinsics: FloatArray
    by_ink: FloatArray

    @property
    def used(self) -> FloatArray:
        """(n,) corners that count."""
        used: FloatArray = (self.weight > COUNTS).sum((1, 2))
        return used

    @property
    def noise(self) -> FloatArray:
        """(n,) px, weighted root mean square of the residuals, the parameters' freedoms taken off."""
        w, flat = self._rows()
        noise: FloatArray = np.sqrt((w * flat**2).sum(1) / np.maximum(w.sum(1) - self.jacobian.shape[-1], 2.0))
        return noise

    @property
    def covariance(self) -> FloatArray:
        """(n, p, p) of the parameters, for corners with a standard uncertainty of 1 px."""
        normal, _ = self._normal(self.jacobian)
        return solve_batch(normal, np.broadcast_to(np.eye(normal.shape[-1]), normal.shape))

    @property
    def gain(self) -> FloatArray:
        """(n, p, 8 m) parameters per px of every coordinate."""
        return solve_batch(*self._normal(self.jacobian))

    def change_by(self, columns: FloatArray) -> FloatArray:
        """(n, p, k) how the parameters found change by causes that move the corners by columns (n, 8 m, k) px each."""
        normal, right = self._normal(self.jacobian)
        return -solve_batch(normal, right @ columns)

    def gain_with(self, columns: FloatArray) -> FloatArray:
        """(n, p + k, 8 m) parameters per px of every coordinate, with k more, as `with_columns` has them."""
        return solve_batch(*self._normal(np.concatenate([self.jacobian, columns], axis=-1)))

    def with_columns(self, columns: FloatArray) -> tuple[FloatArray, FloatArray]:
        """One linear step of a fit with k more parameters, which move the corners by columns (n, 8 m, k) px each.

        Returns the step (n, p + k) and its standard uncertainty (n, p + k) for corners with one of 1 px.
        """
        _, flat = self._rows()
        normal, right = self._normal(np.concatenate([self.jacobian, columns], axis=-1))
        step = solve_batch(normal, right @ flat[..., None])[..., 0]
        covariance = solve_batch(normal, np.broadcast_to(np.eye(normal.shape[-1]), normal.shape))
        return step, np.sqrt(np.maximum(np.diagonal(covariance, axis1=1, axis2=2), 0.0))

    def left_with(self, columns: FloatArray) -> FloatArray:
        """(n, m, 4, 2) px, what is left of the residuals after the step of `with_columns`; of no use where not seen."""
        every = np.concatenate([self.jacobian, columns], axis=-1)
        shown = every @ self.with_columns(columns)[0][..., None]
        return self.residual - shown.reshape(self.residual.shape)

    def step(self) -> FloatArray:
        """(n, p) to where the residuals are least."""
        normal, right = self._normal(self.jacobian)
        return solve_batch(normal, right @ self._rows()[1][..., None])[..., 0]

    def _rows(self) -> tuple[FloatArray, FloatArray]:
        """(n, 8 m) weight and (n, 8 m) px residual of every coordinate."""
        n = len(self.weight)
        return np.repeat(self.weight.reshape(n, -1), 2, axis=1), self.residual.reshape(n, -1)

    def _normal(self, jacobian: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(n, p, p) J' W J and (n, p, 8 m) J' W."""
        weighted = jacobian * self._rows()[0][..., None]
        return np.swapaxes(jacobian, 1, 2) @ weighted, np.swapaxes(weighted, 1, 2)


def fit_corners_to(model: Model, pixel: FloatArray, good: BoolArray, optics: Optics) -> Fit:
    """Move the model to where its corners are seen; returns the last round.

    pixel: (n, m, 4, 2) px.  good: (n, m, 4) which of them were seen; the others may be any number.
    """
    n = len(pixel)
    weight = good.astype(float)
    for trial in range(ROUNDS):
        point = model.corners()
        point[..., 2] = np.maximum(point[..., 2], NEAREST)
        shown, by_point, by_intrinsics = project_with_derivatives(point, optics.intrinsics)
        if trial < 2 or trial == ROUNDS - 1:
            by_ink = ink_direction(shown)
            shift = bent_edge_shift(point, optics.intrinsics) + optics.ink * by_ink
        residual = np.where(good[..., None], pixel - shown - shift, 0.0)
        if trial >= 1:
            weight = (_fading if trial > GENTLE else _gentle)(residual, good, optics.least_residual)
        fit = Fit(
            residual=residual,
            weight=weight,
            jacobian=model.derivatives(by_point).reshape(n, 2 * good[0].size, -1),
            by_point=by_point,
            by_intrinsics=by_intrinsics,
            by_ink=by_ink,
        )
        if trial < ROUNDS - 1:
            model.move(fit.step())
    return fit


def solve_batch(normal: FloatArray, right: FloatArray) -> FloatArray:
    """normal (n, p, p), right (n, p, k) -> (n, p, k), also for frames without enough corners.

    Their result means nothing; `Fit.used` says so.
    """
    size = np.trace(normal, axis1=-2, axis2=-1)[:, None, None] + 1e-30
    result: FloatArray = np.linalg.solve(normal + 1e-13 * size * np.eye(normal.shape[-1]), right)
    return result


def _gentle(residual: FloatArray, seen: BoolArray, least: float) -> FloatArray:
    """(n, m, 4) Huber's weights of residuals (n, m, 4, 2) px: an odd marker pulls no harder for being farther off."""
    size = np.hypot(residual[..., 0], residual[..., 1])
    return np.where(seen, least / np.maximum(size, least), 0.0)


def seen_median(rows: FloatArray) -> FloatArray:
    """(n,) median of each row (n, k) without its nans, of which no row is full. NumPy's own takes a slow way for small
    arrays.
    """
    ordered = np.sort(rows, axis=1)  # nans go last
    count = np.isfinite(rows).sum(axis=1)
    row = np.arange(len(rows))
    middle: FloatArray = 0.5 * (ordered[row, (count - 1) // 2] + ordered[row, count // 2])
    return middle


def _fading(residual: FloatArray, seen: BoolArray, least: float) -> FloatArray:
    """(n, m, 4) weights of residuals (n, m, 4, 2) px: full for corners that fit about as well as the frame's others."""
    size = np.where(seen, np.hypot(residual[..., 0], residual[..., 1]), np.nan)
    flat = size.reshape(len(size), -1)
    usual = np.full(len(size), least)
    some = seen.reshape(len(seen), -1).any(1)
    if some.any():
        usual[some] = np.maximum(least, seen_median(flat[some]) / 1.177)  # Rayleigh median to sigma
    return np.where(seen, fading_weight(size, usual[:, None, None]), 0.0)
