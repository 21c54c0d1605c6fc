"""The floor seen by the camera: pose, ink shift, lens and sheet places from the floor markers of one or more views.

One weighted least-squares fit (Gauss-Newton with priors) answers all of it. What the card or the calibration
says enters as a prior with its uncertainty, so a calibrated camera stays where it is, an unknown one is estimated
as far as the markers determine it, and what remains unsure comes out in the covariance.
"""

from dataclasses import dataclass

import numpy as np

from vision.base.errors import VisionError
from vision.base.robust import fading_weight
from vision.base.types import Camera, FloatArray, FloorLayout
from vision.camera.model import intrinsics_of, project, project_with_derivatives, rotation_of, undistort
from vision.floor.geometry import bent_edge_shift, first_camera_pose, ink_direction, marker_corners
from vision.floor.laid_sheets import moved_corners, sheet_numbers, sheet_prior_u

INK_PRIOR_U = 0.6  # px; measured shifts are about 0.35
LEAST_NOISE = 0.03  # px, per corner, repeats from frame to frame
FOCAL_GUESS, FOCAL_GUESS_U = (
    0.95,
    0.40,
)  # focal length over the longer side of the picture: phones and webcams
CENTRE_GUESS_U = 0.01  # of the longer side
K1_GUESS_U = 0.12


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorFit:
    """Everything the floor markers told.

    rotation (v, 3, 3), place (v, 3): camera_from_floor of each view.  intrinsics: (9,).  basis: (9, q), the
    directions in which the intrinsics were free.  ink: px.  sheet: (s, 3) dx, dy (m) and turn (rad) of each sheet
    from its place on the card.  sheet_of: (m,) which sheet a marker is on.
    covariance: of [q intrinsics, ink, 3 s sheets, 6 v pose] (pose: rotation vector in camera axes, then place).
    residual: (v, m, 4, 2) px, measured less predicted.  weight: (m,) 0..1 of each marker.  noise: px per corner.
    corner_place: (m, 4, 2) m, where the markers' corners were found to be.
    """

    rotation: FloatArray
    place: FloatArray
    intrinsics: FloatArray
    basis: FloatArray
    ink: float
    sheet: FloatArray
    sheet_of: tuple[int, ...]
    covariance: FloatArray
    residual: FloatArray
    weight: FloatArray
    noise: float
    corner_place: FloatArray

    @property
    def shared_count(self) -> int:
        """How many leading entries of the covariance all views share."""
        return int(self.basis.shape[1]) + 1 + 3 * len(self.sheet)


def guess_camera(size: tuple[int, int]) -> Camera:
    """A camera of which only the picture size is known."""
    longer = max(size)
    focal = FOCAL_GUESS * longer
    matrix = np.array([[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1.0]])
    return Camera(matrix=matrix, distortion=np.zeros(5), size=size, known=False)


def _camera_prior(camera: Camera) -> tuple[FloatArray, FloatArray]:
    """Free directions (9, q) of the intrinsics and the prior standard uncertainty (q,) of each."""
    if camera.known:
        free = np.flatnonzero(camera.u > 0)
        return np.eye(9)[:, free], camera.u[free]
    longer = max(camera.size)
    basis = np.zeros((9, 4))
    basis[0, 0] = basis[1, 0] = basis[2, 1] = basis[3, 2] = basis[4, 3] = 1.0
    return basis, np.array([FOCAL_GUESS_U * longer, CENTRE_GUESS_U * longer, CENTRE_GUESS_U * longer, K1_GUESS_U])


def fit_floor(
    seen: FloatArray,
    layout: FloorLayout,
    camera: Camera,
    *,
    noise: float = LEAST_NOISE,
    sheet_u: FloatArray | None = None,
    sheet_start: FloatArray | None = None,
    robust: bool = True,
) -> FloorFit:
    """Fit views of the floor markers.

    seen: (v, m, 4, 2) px corners by edge fits, nan where not seen.  camera: calibrated, or `guess_camera`.
    noise: px per corner, the part that does not average away.  sheet_u: (s, 3) priors instead of the card's.
    sheet_start: (s, 3) m, m, rad, where the fit begins to look for the sheets: zeros without it.
    Raises VisionError when the markers cannot be laid into one plane.
    """
    corner = marker_corners(layout.markers)
    sheet_of = sheet_numbers(layout)
    sheets = max(sheet_of) + 1
    prior_u = sheet_prior_u(layout, sheet_of) if sheet_u is None else sheet_u
    basis, camera_u = _camera_prior(camera)
    base = intrinsics_of(camera)
    starts: list[FloatArray] = [np.zeros(basis.shape[1])]
    if not camera.known:  # the focal length has wide valleys: start from several
        starts = [np.array([factor * base[0], 0.0, 0.0, 0.0]) for factor in (-0.25, 0.0, 0.4, 1.0)]
    best: FloorFit | None = None
    best_cost = np.inf
    if len(starts) > 1 and len(seen) > 1:  # choose the valley with two views, descend it with all
        few = seen[[0, -1]]
        rough = [
            _Problem(few, corner, sheet_of, prior_u, basis, camera_u, base, noise).descend(
                start, np.zeros((sheets, 3)) if sheet_start is None else sheet_start.copy(), robust=robust
            )
            for start in starts
        ]
        fit, cost = min(rough, key=lambda pair: pair[1])
        if np.isfinite(cost):
            starts = [np.asarray(np.linalg.lstsq(basis, fit.intrinsics - base, rcond=None)[0], float)]
    for start in starts:
        sheet = np.zeros((sheets, 3)) if sheet_start is None else sheet_start.copy()
        problem = _Problem(seen, corner, sheet_of, prior_u, basis, camera_u, base, noise)
        fit, cost = problem.descend(start, sheet, robust=robust)
        if np.isfinite(cost) and cost < best_cost:
            best, best_cost = fit, cost
    if best is None:
        raise VisionError(
            "the floor markers do not lie in one plane as the card says",
            where="floor markers",
            remedy="Check the places and sizes of the floor markers on the bench card",
        )
    return best


@dataclass(slots=True)
class _Problem:
    """The least-squares problem of `fit_floor`: data and priors that stay while the fit descends."""

    seen: FloatArray
    corner: FloatArray
    sheet_of: tuple[int, ...]
    sheet_u: FloatArray
    basis: FloatArray
    camera_u: FloatArray
    base: FloatArray
    noise: float

    def descend(self, q: FloatArray, sheet: FloatArray, *, robust: bool) -> tuple[FloorFit, float]:
        """Gauss-Newton with halved steps; weights of odd markers and sheets are renewed between steps."""
        rotation, place = self._start(q, sheet)
        ink = 0.2
        weight = np.ones(len(self.corner))
        sheet_weight = np.ones(len(sheet))
        views = len(self.seen)
        head = len(q) + 1 + sheet.size
        state = (q, ink, sheet, rotation, place)
        for trial in range(25):
            residual, jacobian = self._linear(state)
            prior_residual, prior_scale = self._prior(state, sheet_weight)
            row_weight = np.broadcast_to(weight[:, None, None], residual.shape)
            w = np.where(np.isfinite(residual), row_weight, 0.0).ravel() / self.noise**2
            r = np.where(np.isfinite(residual), residual, 0.0).ravel()
            normal = (jacobian.T * w) @ jacobian
            gradient = jacobian.T @ (w * r)
            normal[range(head), range(head)] += prior_scale
            gradient[:head] += prior_scale * prior_residual
            cost = float(w @ r**2 + prior_scale @ prior_residual**2)
            try:
                step: FloatArray = np.asarray(
                    np.linalg.solve(normal + 1e-9 * np.diag(np.diag(normal)), gradient), float
                )
            except np.linalg.LinAlgError:
                return self._fit(state, np.full_like(normal, np.nan), residual, weight), np.inf
            share = 1.0
            for _ in range(6):
                new = self._moved(state, share * step, views)
                if self._cost(new, w, prior_scale) <= cost * (1 + 1e-9):
                    break
                share *= 0.4
            state = new
            small = float(np.abs(step[: len(q) + 1]).max()) < 1e-3 and float(np.abs(step[head:]).max()) < 1e-7
            if robust and trial >= 3:
                old = weight
                weight, sheet_weight = self._odd_ones(residual, state[2])
                small = small and float(np.abs(old - weight).max()) < 1e-3
            if small and trial >= 4:
                break
        residual, _ = self._linear(state, derivatives=False)
        return self._fit(state, normal, residual, weight), cost

    def _start(self, q: FloatArray, sheet: FloatArray) -> tuple[FloatArray, FloatArray]:
        intrinsics = self.base + self.basis @ q
        place = moved_corners(self.corner, self.sheet_of, sheet).reshape(-1, 2)
        views = len(self.seen)
        flat = self.seen.reshape(views, -1, 2)
        good = np.asarray(np.isfinite(flat).all(-1))
        ray = undistort(np.where(good[..., None], flat, intrinsics[2:4]), intrinsics)
        return first_camera_pose(ray, place, good.astype(float))

    def _prior(self, state: "_State", sheet_weight: FloatArray) -> tuple[FloatArray, FloatArray]:
        q, ink, sheet, _, _ = state
        residual = np.concatenate([-q, [-ink], -sheet.ravel()])
        scale = np.concatenate(
            [self.camera_u**-2, [INK_PRIOR_U**-2], (sheet_weight[:, None] * self.sheet_u**-2).ravel()]
        )
        return residual, scale

    def _points(self, state: "_State") -> tuple[FloatArray, FloatArray]:
        _, _, sheet, rotation, place = state
        flat = moved_corners(self.corner, self.sheet_of, sheet)
        return flat, np.einsum("vij,mkj->vmki", rotation[..., :2], flat) + place[:, None, None, :]

    def _linear(self, state: "_State", *, derivatives: bool = True) -> tuple[FloatArray, FloatArray]:
        """Residuals (v, m, 4, 2) and the Jacobian of the prediction (rows, parameters)."""
        q, ink, sheet, rotation, place = state
        intrinsics = self.base + self.basis @ q
        flat, point = self._points(state)
        pixel, by_point, by_intrinsics = project_with_derivatives(point, intrinsics)
        shrink = ink_direction(pixel)
        residual = self.seen - pixel - bent_edge_shift(point, intrinsics) - ink * shrink
        if not derivatives:
            return residual, np.empty(0)
        views, markers = self.seen.shape[:2]
        head = len(q) + 1 + sheet.size
        jacobian = np.zeros((views, markers, 4, 2, head + 6 * views))
        jacobian[..., : len(q)] = by_intrinsics @ self.basis
        jacobian[..., len(q)] = shrink
        numbers = np.array(self.sheet_of)
        by_floor = by_point @ rotation[:, None, None, :, :2]
        for number in range(len(sheet)):
            own = numbers == number
            arm = np.where(own[:, None, None], flat - flat[own].reshape(-1, 2).mean(0), 0.0)
            first = len(q) + 1 + 3 * number
            jacobian[..., first : first + 2] = by_floor * own[:, None, None, None]
            turn = np.stack([-arm[..., 1], arm[..., 0]], axis=-1)
            jacobian[..., first + 2] = np.einsum("vmkij,mkj->vmki", by_floor, turn)
        turned = point - place[:, None, None, :]
        for view in range(views):
            first = head + 6 * view
            jacobian[view, ..., first : first + 3] = np.cross(turned[view][..., None, :], by_point[view])
            jacobian[view, ..., first + 3 : first + 6] = by_point[view]
        return residual, jacobian.reshape(-1, head + 6 * views)

    def _moved(self, state: "_State", step: FloatArray, views: int) -> "_State":
        q, ink, sheet, rotation, place = state
        k = len(q)
        pose = step[k + 1 + sheet.size :].reshape(views, 6)
        return (
            q + step[:k],
            ink + float(step[k]),
            sheet + step[k + 1 : k + 1 + sheet.size].reshape(sheet.shape),
            rotation_of(pose[:, :3]) @ rotation,
            place + pose[:, 3:],
        )

    def _cost(self, state: "_State", w: FloatArray, prior_scale: FloatArray) -> float:
        q, ink, sheet, _, _ = state
        intrinsics = self.base + self.basis @ q
        _, point = self._points(state)
        if np.any(point[..., 2] < 0.01) or intrinsics[0] <= 0:
            return np.inf
        pixel = project(point, intrinsics)
        residual = self.seen - pixel - bent_edge_shift(point, intrinsics) - ink * ink_direction(pixel)
        r = np.where(np.isfinite(residual), residual, 0.0).ravel()
        own = np.concatenate([q, [ink], sheet.ravel()])
        return float(w @ r**2 + prior_scale @ own**2)

    def _odd_ones(self, residual: FloatArray, sheet: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Weights that fade markers which do not fit, and free sheets that lie far from the card's place."""
        good = np.isfinite(residual)
        size = np.sqrt(np.square(np.where(good, residual, 0.0)).sum((0, 2, 3)) / np.maximum(good.sum((0, 2, 3)), 1))
        seen = size[size > 0]
        usual = max(self.noise, float(np.median(seen)) if len(seen) else 0.0)
        off = np.abs(sheet / self.sheet_u)
        off = off - np.median(off, axis=0)
        return fading_weight(size, usual), 1.0 / (1.0 + (np.maximum(off.max(axis=1), 0.0) / 4.0) ** 2)

    def _fit(self, state: "_State", normal: FloatArray, residual: FloatArray, weight: FloatArray) -> FloorFit:
        q, ink, sheet, rotation, place = state
        good = np.isfinite(residual)
        w = np.where(good, weight[:, None, None], 0.0)
        freedom = max(float(w.sum()) - len(q) - 1 - 6 * len(self.seen), 4.0)
        found = float(np.sqrt((w * np.where(good, residual, 0.0) ** 2).sum() / freedom))
        if np.isfinite(normal).all():
            covariance = np.asarray(np.linalg.pinv(normal, hermitian=True), float)
            covariance *= max(1.0, (found / self.noise) ** 2)
        else:
            covariance = normal
        return FloorFit(
            rotation=rotation,
            place=place,
            intrinsics=self.base + self.basis @ q,
            basis=self.basis,
            ink=ink,
            sheet=sheet,
            sheet_of=self.sheet_of,
            covariance=covariance,
            residual=residual,
            weight=weight,
            noise=found,
            corner_place=moved_corners(self.corner, self.sheet_of, sheet),
        )


_State = tuple[FloatArray, float, FloatArray, FloatArray, FloatArray]
