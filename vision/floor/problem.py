"""The least-squares problem behind a fit of the floor: one descent, and how probable what it found is.

Unknown are the lens, the ink, how the floor is laid (`LaidFloor`) and where the camera stood. How noisy corners are and
how far from flat the paper is are found on the way, as variance components (D. A. Harville, J. Am. Stat. Assoc. 72
(1977) 320-338), so that what repeats in every view is counted once.
"""

from dataclasses import dataclass, replace

import numpy as np

from vision.base.robust import fading_weight
from vision.base.types import FloatArray
from vision.camera.model import project, project_with_derivatives, rotation_of, undistort
from vision.floor.geometry import bent_edge_shift, first_camera_pose, ink_direction
from vision.floor.laid_sheets import LaidFloor

LEAST_NOISE = 0.03
"""px, per corner: edges between the pixels, which no averaging over frames of a still camera makes smaller."""
INK_PRIOR_U = 0.6
"""px; measured shifts are about 0.35."""
WAVE_U, WAVE_WORTH = 0.0001, 12.0
"""m: usual height of a corner over the floor, paper taped down; and how many corners that belief is worth."""
LEAST_FOCAL = 0.5
"""Of half the picture's longer side: a lens with straight lines that sees 127 degrees. None sees more, and markers on a
floor that no lens explains would otherwise be taken for seen by one of no length."""
VARIANCE_ROUNDS = 3
CONVERGED = 1e-4
"""Fall of the cost that a step would still bring."""
LEAST_U = 1e-9
"""Of any prior: what is certain keeps the equations solvable."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Priors:
    """Standard uncertainties before the clip is looked at. camera: (q,).  laid: (h,), the corners' heights apart from
    those of `wave`, m, and `noise`, px, which the fit finds.  other_camera: (q,), where the lens is not what it was
    taken for."""

    camera: FloatArray
    laid: FloatArray
    other_camera: FloatArray
    wave: float = WAVE_U
    noise: float = LEAST_NOISE

    def precision(self, floor: LaidFloor) -> FloatArray:
        """(q + 1 + h,) of lens, ink and laying."""
        laid = self.laid.copy()
        laid[floor.wave_part] = self.wave
        u = np.concatenate([self.camera, [INK_PRIOR_U], laid])
        return np.asarray(1.0 / np.maximum(u, LEAST_U) ** 2, float)


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Where a descent is: lens q (q,), ink px, laid (h,), camera_from_floor rotation (v, 3, 3) and place (v, 3) m."""

    q: FloatArray
    ink: float
    laid: FloatArray
    rotation: FloatArray
    place: FloatArray

    @property
    def shared(self) -> FloatArray:
        """(q + 1 + h,) what all views share."""
        return np.concatenate([self.q, [self.ink], self.laid])

    def moved(self, step: FloatArray) -> "State":
        """After a step (q + 1 + h + 6 v,)."""
        lens, head = len(self.q), len(self.q) + 1 + len(self.laid)
        pose = step[head:].reshape(-1, 6)
        return State(
            q=self.q + step[:lens],
            ink=self.ink + float(step[lens]),
            laid=self.laid + step[lens + 1 : head],
            rotation=rotation_of(pose[:, :3]) @ self.rotation,
            place=self.place + pose[:, 3:],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Descent:
    """Where a descent ended. residual: (v, m, 4, 2) px.  weight: (m,).  covariance: (p, p) of [lens, ink, laid, poses].
    priors: with the noise and waves found.  evidence: log marginal likelihood (Laplace's approximation), comparable
    between priors of the same parameters and data; minus infinity when the descent failed.  cost: what it lowered,
    infinite when it failed or found a lens that there cannot be.
    """

    state: State
    residual: FloatArray
    weight: FloatArray
    covariance: FloatArray
    priors: Priors
    cost: float
    evidence: float


@dataclass(frozen=True, slots=True)
class FloorProblem:
    """Corners seen (v, m, 4, 2) px, nan where not, on a floor, through a lens base (9,) + basis (9, q) @ q."""

    seen: FloatArray
    floor: LaidFloor
    basis: FloatArray
    base: FloatArray

    def start(self, q: FloatArray, laid: FloatArray) -> State:
        """Poses in closed form for a lens, q, and a laying of the sheets, laid: (h,)."""
        intrinsics = self.base + self.basis @ q
        place = self.floor.corners(laid)[..., :2].reshape(-1, 2)
        flat = self.seen.reshape(len(self.seen), -1, 2)
        good = np.asarray(np.isfinite(flat).all(-1))
        ray = undistort(np.where(good[..., None], flat, intrinsics[2:4]), intrinsics)
        rotation, origin = first_camera_pose(ray, place, good.astype(float))
        return State(q=q, ink=0.2, laid=laid, rotation=rotation, place=origin)

    def misfit(self, state: State) -> float:
        """px, root mean square of what is left of the corners; infinite where they would not be before the camera."""
        residual, possible = self._looked(state)
        return float(np.sqrt(np.nanmean(np.square(residual)))) if possible else np.inf

    def settle(self, state: State, priors: Priors, *, robust: bool = True) -> Descent:
        """Descend, find noise and waves from what is left, and descend again."""
        found = self.descend(state, priors, robust=robust)
        for _ in range(VARIANCE_ROUNDS):
            if not np.isfinite(found.cost):
                return found
            before = found.priors
            found = self.descend(found.state, self._variances(found), robust=robust, weight=found.weight)
            if abs(found.priors.noise / before.noise - 1.0) + abs(found.priors.wave / before.wave - 1.0) < 0.05:
                break
        return found

    def descend(
        self, state: State, priors: Priors, *, robust: bool = True, weight: FloatArray | None = None
    ) -> Descent:
        """Gauss-Newton with halved steps; weights of odd markers are renewed between steps. weight: (m,) at first."""
        precision = priors.precision(self.floor)
        head = len(precision)
        weight = np.ones(len(self.floor.corner)) if weight is None else weight
        normal, cost = np.empty(0), np.inf
        residual, _ = self._looked(state)
        for trial in range(25):
            jacobian = self._jacobian(state)
            w = self._row_weight(residual, weight) / priors.noise**2
            r = np.where(np.isfinite(residual), residual, 0.0).ravel()
            normal = (jacobian.T * w) @ jacobian
            gradient = jacobian.T @ (w * r)
            normal[range(head), range(head)] += precision
            gradient[:head] -= precision * state.shared
            cost = float(w @ r**2 + precision @ state.shared**2)
            try:
                step = _solved(normal, gradient)
            except np.linalg.LinAlgError:
                return self._ended(state, residual, weight, np.full_like(normal, np.nan), priors, np.inf)
            share, before = 1.0, residual
            for _ in range(6):
                new = state.moved(share * step)
                residual, possible = self._looked(new)
                r = np.where(np.isfinite(residual), residual, 0.0).ravel()
                if possible and float(w @ r**2 + precision @ new.shared**2) <= cost * (1 + 1e-9):
                    break
                share *= 0.4
            state = new
            small = abs(float(gradient @ step)) < CONVERGED
            if robust and trial >= 3:
                old, weight = weight, self._odd_ones(before, priors.noise)
                small = small and float(np.abs(old - weight).max()) < 1e-3
            if small and trial >= 4:
                break
        return self._ended(state, residual, weight, normal, priors, cost)

    def repeated(self, found: Descent) -> FloatArray:
        """(p, p) covariance of what errors do that a corner has alike in all views, beside that of noise new in each.

        Print, paper and edges between the pixels put a corner beside its place in every view; a fit that takes views
        for independent counts such an error as many times as there are views. Its size is what the residuals' means
        over the views have beyond noise, with the freedoms that the shared numbers take.
        """
        views = len(self.seen)
        good = np.asarray(np.isfinite(found.residual).all(-1))
        if views < 2 or not np.isfinite(found.covariance).all():
            return np.zeros_like(found.covariance)
        own = np.where(good[..., None], found.residual, 0.0)
        count = np.maximum(good.sum(0), 1)[..., None]
        mean = own.sum(0) / count
        precision = found.priors.precision(self.floor)
        head = len(precision)
        taken = head - float((precision * np.diag(found.covariance)[:head]).sum())
        left = max(2.0 * float(good.any(0).sum()) - taken, 4.0)
        size = max(float((mean**2).sum()) / left - found.priors.noise**2 / float(count.mean()), 0.0)
        jacobian = self._jacobian(found.state)
        w = self._row_weight(found.residual, found.weight) / found.priors.noise**2
        gain = (found.covariance @ (jacobian.T * w)).reshape(len(found.covariance), views, -1).sum(1)
        spread: FloatArray = size * gain @ gain.T
        return spread

    def _jacobian(self, state: State) -> FloatArray:
        """(rows, parameters) of the prediction."""
        turned = self._turned(state)
        pixel, by_point, by_intrinsics = project_with_derivatives(
            turned + state.place[:, None, None, :], self._intrinsics(state)
        )
        shrink = ink_direction(pixel)
        views, markers = self.seen.shape[:2]
        lens, head = len(state.q), len(state.shared)
        jacobian = np.zeros((views, markers, 4, 2, head + 6 * views))
        jacobian[..., :lens] = by_intrinsics @ self.basis
        jacobian[..., lens] = shrink
        by_floor = by_point @ state.rotation[:, None, None]
        jacobian[..., lens + 1 : head] = by_floor @ self.floor.columns(state.laid)
        for view in range(views):
            first = head + 6 * view
            jacobian[view, ..., first : first + 3] = np.cross(turned[view][..., None, :], by_point[view])
            jacobian[view, ..., first + 3 : first + 6] = by_point[view]
        return jacobian.reshape(-1, head + 6 * views)

    def _intrinsics(self, state: State) -> FloatArray:
        return self.base + self.basis @ state.q

    def possible_lens(self, intrinsics: FloatArray) -> bool:
        """Whether there are lenses as short as intrinsics (9,) say."""
        return bool(min(intrinsics[:2]) > LEAST_FOCAL * self.base[2:4].max())

    def _turned(self, state: State) -> FloatArray:
        """(v, m, 4, 3) m, the corners along the camera's axes, from the floor's origin."""
        turned: FloatArray = np.einsum("vij,mkj->vmki", state.rotation, self.floor.corners(state.laid))
        return turned

    def _looked(self, state: State) -> tuple[FloatArray, bool]:
        """(v, m, 4, 2) px, what lens and ink leave of the corners seen; whether all lie before a possible camera."""
        point, intrinsics = self._turned(state) + state.place[:, None, None, :], self._intrinsics(state)
        pixel = project(point, intrinsics)
        residual = self.seen - pixel - bent_edge_shift(point, intrinsics) - state.ink * ink_direction(pixel)
        return residual, not np.any(point[..., 2] < 0.01) and self.possible_lens(intrinsics)

    def _row_weight(self, residual: FloatArray, weight: FloatArray) -> FloatArray:
        rows = np.broadcast_to(weight[:, None, None], residual.shape)
        return np.where(np.isfinite(residual), rows, 0.0).ravel()

    def _odd_ones(self, residual: FloatArray, noise: float) -> FloatArray:
        """(m,) weights that fade markers which do not fit."""
        good = np.isfinite(residual)
        size = np.sqrt(np.square(np.where(good, residual, 0.0)).sum((0, 2, 3)) / np.maximum(good.sum((0, 2, 3)), 1))
        seen = size[size > 0]
        usual = max(noise, float(np.median(seen)) if len(seen) else 0.0)
        return fading_weight(size, usual)

    def _variances(self, found: Descent) -> Priors:
        """The priors with the noise that the residuals and the waves that the corners' heights show."""
        w = self._row_weight(found.residual, found.weight)
        r = np.where(np.isfinite(found.residual), found.residual, 0.0).ravel()
        precision = found.priors.precision(self.floor)
        own = np.diag(found.covariance)
        free = len(own) - float((precision * own[: len(precision)]).sum())
        noise = float(np.sqrt(w @ r**2 / max(float(w.sum()) - free, 4.0)))
        first = self.basis.shape[1] + 1
        waves = slice(first + self.floor.wave_part.start, first + self.floor.wave_part.stop)
        square = found.state.shared[waves] ** 2 + own[waves]
        wave = (WAVE_WORTH * WAVE_U**2 + float(square.sum())) / (WAVE_WORTH + len(square))
        return replace(found.priors, noise=max(noise, LEAST_NOISE), wave=float(np.sqrt(wave)))

    def _ended(
        self,
        state: State,
        residual: FloatArray,
        weight: FloatArray,
        normal: FloatArray,
        priors: Priors,
        cost: float,
    ) -> Descent:
        covariance, evidence = normal, -np.inf
        if not self.possible_lens(self._intrinsics(state)):
            cost = np.inf
        if np.isfinite(normal).all() and np.isfinite(cost):
            size, alike = _of_one_size(normal)
            covariance = np.asarray(np.linalg.pinv(alike, rcond=1e-13, hermitian=True), float) / size / size[:, None]
            rows = float(self._row_weight(residual, weight).sum())
            precision = priors.precision(self.floor)
            log_size = float(np.linalg.slogdet(alike)[1]) + 2.0 * float(np.log(size).sum())
            evidence = 0.5 * (float(np.log(precision).sum()) - log_size - cost) - rows * np.log(priors.noise)
            evidence -= np.log(priors.noise) + 0.5 * WAVE_WORTH * (
                (WAVE_U / priors.wave) ** 2 + 2 * np.log(priors.wave)
            )
        return Descent(
            state=state,
            residual=residual,
            weight=weight,
            covariance=covariance,
            priors=priors,
            cost=cost,
            evidence=float(evidence),
        )


def _solved(normal: FloatArray, gradient: FloatArray) -> FloatArray:
    """The step of a Gauss-Newton round, its equations brought to one size first."""
    size, alike = _of_one_size(normal)
    return np.asarray(np.linalg.solve(alike + 1e-9 * np.eye(len(size)), gradient / size) / size, float)


def _of_one_size(normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(p,) size of each unknown in the equations, and the equations (p, p) divided by them: ones on the diagonal."""
    size = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    return size, normal / size / size[:, None]
