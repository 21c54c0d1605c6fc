"""The floor seen by the camera: pose, ink shift, lens and how the sheets are laid, from the markers of some views.

One weighted least-squares fit (Gauss-Newton with priors) answers all of it. What the card or the calibration
says enters as a prior with its uncertainty, so a calibrated camera stays where it is, an unknown one is estimated
as far as the markers determine it, and what remains unsure comes out in the covariance. Where the markers contradict
the cards, the likeliest single cause is looked for (`vision.floor.causes`).
"""

from dataclasses import dataclass, replace

import numpy as np

from vision.base.errors import InputError, VisionError
from vision.base.types import Camera, FloatArray, FloorLayout
from vision.camera.model import intrinsics_of
from vision.floor.arranged import other_arrangements
from vision.floor.causes import FloorCause, likeliest
from vision.floor.geometry import plane_misfit
from vision.floor.laid_sheets import LaidFloor, sheet_names
from vision.floor.problem import Descent, FloorProblem, Priors, State

FOCAL_GUESS, FOCAL_GUESS_U = 0.95, 0.40
"""Focal length over the longer side of the picture: phones and webcams."""
FOCAL_OTHER_U = 0.2
"""Relative: how far another phone's focal length, or that of another mode or zoom, is from the calibrated one."""
WIDE_LENS = 4.0
"""Times the uncertainty of an ordinary lens."""
CENTRE_GUESS_U = 0.01
"""Of the longer side."""
LENS_GUESS_U = {4: 0.12, 5: 0.10, 6: 0.001, 7: 0.001, 8: 0.05}
"""Column of the intrinsics (k1, k2, p1, p2, k3) -> standard uncertainty of a lens that nobody calibrated."""
ASPECT_U = 0.001
"""Relative: how much longer a sheet may be along the paper's way through the printer than across it."""
BOW_U = 0.001
"""Height of an ordinary floor's bow over the reach of the markers (0.3 mm at 0.3 m), each shape of it."""
SQUEEZES = (0.56, 0.65, 0.75, 0.88, 1.14, 1.33, 1.78)
"""Of the picture's width: by how much a clip may have been squeezed or stretched, to begin from."""
SQUEEZE_U = 0.1
"""Relative, around each of those."""
UNEXPLAINED = 0.15
"""px: noise that no cause on the floor has explained, from which the shape of pixels is asked."""
LEAST_SQUEEZE = 0.05
"""Relative, that a shape of pixels must be off to be the cause: what is nearest to square among formats is 16:15."""
NOT_AS_ON_CARD = 3.0
"""px: noise that no cause has explained, from which nothing is measured."""
HOPELESS, FITS = 1.0, 0.5
"""px: noise from which sheets are thought to lie in other places altogether, and below which another place is right."""
FOCAL_STARTS = (-0.45, -0.25, 0.0, 0.4, 1.0)
"""Relative, by how much the guessed focal length is changed to descend from."""
MISFIT = 3.0
"""px, that a lens of many terms and sheets that are not flat leave of markers seen through a bent homography."""
CLEARLY = 3.0
"""Times a misfit: what is worse is clearly worse."""
NEAREST_SHAPES, NEAREST_ARRANGEMENTS = 6, 3
"""How many shapes of pixels, and other layings of the sheets, are tried in full: those that fit best at first sight."""
MOVE_TURN = 2.0
"""A sheet's turn is as uncertain as its place, over its span, times this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorFit:
    """Everything the floor markers told.

    rotation (v, 3, 3), place (v, 3): camera_from_floor of each view.  intrinsics: (9,).  basis: (9, q), the
    directions in which the intrinsics were free.  ink: px.  floor: by the card; laid: (h,), how it is laid against it.
    covariance: of [q intrinsics, ink, h laid, 6 v pose] (pose: rotation vector in camera axes, then place).
    residual: (v, m, 4, 2) px, measured less predicted.  weight: (m,) 0..1 of each marker.  noise: px per corner.
    wave: m, usual height of a corner over the floor.  causes: what contradicts the cards, the first found first.
    """

    rotation: FloatArray
    place: FloatArray
    intrinsics: FloatArray
    basis: FloatArray
    ink: float
    floor: LaidFloor
    laid: FloatArray
    covariance: FloatArray
    residual: FloatArray
    weight: FloatArray
    noise: float
    wave: float
    causes: tuple[FloorCause, ...] = ()

    @property
    def shared_count(self) -> int:
        """How many leading entries of the covariance all views share."""
        return int(self.basis.shape[1]) + 1 + len(self.laid)

    @property
    def corner_place(self) -> FloatArray:
        """(m, 4, 3) m, where the markers' corners were found to be."""
        return self.floor.corners(self.laid)

    @property
    def sheet(self) -> FloatArray:
        """(s, 3) dx, dy (m) and turn (rad) of each sheet from its place on the card."""
        return self.floor.moves(self.laid)

    @property
    def sheet_of(self) -> tuple[int, ...]:
        """(m,) which sheet a marker is on."""
        return self.floor.sheet_of


def guess_camera(size: tuple[int, int], pixel_shape: float = 1.0) -> Camera:
    """A camera of which only the picture size, (width, height) px, and the width over height of a pixel are known."""
    focal = FOCAL_GUESS * max(size[0] * pixel_shape, size[1])
    matrix = np.array([[focal / pixel_shape, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1.0]])
    return Camera(matrix=matrix, distortion=np.zeros(5), size=size, known=False)


def _camera_prior(camera: Camera) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Free directions (9, q) of the intrinsics, the prior standard uncertainty (q,) of each, and what it is (q,) where
    the lens is not what it was taken for."""
    longer = max(camera.size)
    if not camera.known:
        basis = np.eye(9)[:, [0, 2, 3, *LENS_GUESS_U]]
        basis[1, 0] = camera.matrix[1, 1] / camera.matrix[0, 0]
        u = np.array([FOCAL_GUESS_U * longer, *(2 * [CENTRE_GUESS_U * longer]), *LENS_GUESS_U.values()])
        return basis, u, WIDE_LENS * u
    intrinsics = intrinsics_of(camera)
    free = np.flatnonzero(camera.u > 0)
    basis, u = np.eye(9)[:, free], camera.u[free].copy()
    guess = {0: FOCAL_OTHER_U * intrinsics[0], 1: FOCAL_OTHER_U * intrinsics[1]}
    guess |= {2: CENTRE_GUESS_U * longer, 3: CENTRE_GUESS_U * longer, **LENS_GUESS_U}
    other = np.maximum(u, [guess[int(one)] for one in free])
    if free[:2].tolist() == [0, 1]:  # another lens has another focal length, and square pixels as well
        fx, fy = intrinsics[:2]
        basis[:2, :2] = np.array([[1.0, fx / fy], [fy / fx, -1.0]])
        u[:2] = 0.5 * np.hypot(u[0] / fx, u[1] / fy) * np.array([fx, fy])
        other[1] = u[1]
    return basis, u, other


def floor_priors(layout: FloorLayout, floor: LaidFloor, camera: FloatArray, other_camera: FloatArray) -> Priors:
    """What the card says of how the floor is laid. camera, other_camera: (q,) of the lens, as `Priors` has them."""
    laid = np.zeros(floor.count)
    moves, stretches = floor.moves(laid), floor.stretches(laid)
    for sheet in range(floor.sheets):
        own = floor.corner[np.array(floor.sheet_of) == sheet].reshape(-1, 2)
        span = float(np.linalg.norm(np.ptp(own, axis=0)))
        moves[sheet] = layout.place_u, layout.place_u, MOVE_TURN * layout.place_u / span
    stretches[:] = layout.scale_u, ASPECT_U
    laid[floor.bow_part] = BOW_U * floor.reach
    return Priors(camera=camera, laid=laid, other_camera=other_camera)


def fit_floor(
    seen: FloatArray,
    layout: FloorLayout,
    camera: Camera,
    *,
    sheet_u: FloatArray | None = None,
    sheet_start: FloatArray | None = None,
    robust: bool = True,
) -> FloorFit:
    """Fit views of the floor markers.

    seen: (v, m, 4, 2) px corners by edge fits, nan where not seen.  camera: calibrated, or `guess_camera`.
    sheet_u: (s, 3) priors instead of the card's; no cause of a contradiction is looked for then.
    sheet_start: (s, 3) m, m, rad, where the fit begins to look for the sheets: zeros without it.
    Raises VisionError when the markers cannot be laid into one plane.
    """
    floor = LaidFloor.of(layout)
    basis, camera_u, other_camera = _camera_prior(camera)
    priors = floor_priors(layout, floor, camera_u, other_camera)
    laid = np.zeros(floor.count)
    if sheet_u is not None:
        floor.moves(priors.laid)[:] = sheet_u
        floor.stretches(priors.laid)[:, 0] = np.minimum(layout.scale_u, ASPECT_U)
    if sheet_start is not None:
        floor.moves(laid)[:] = sheet_start
    problem = FloorProblem(seen, floor, basis, intrinsics_of(camera))
    limit = MISFIT + 4.0 * layout.place_u * _px_per_m(problem)
    explained = _misfit(problem, floor) <= limit
    if sheet_u is None and not explained:
        _check_arrangement(problem, priors, layout, limit)
    found = problem.settle(_best_start(problem, priors, laid, robust=robust), priors, robust=robust)
    noise = found.priors.noise if np.isfinite(found.cost) else np.inf
    if sheet_u is None and explained and not noise < HOPELESS:
        _check_arrangement(problem, priors, layout, limit)
        if not camera.known:
            _check_squeezed(problem, priors, noise)
            if not np.isfinite(noise):
                raise InputError(
                    "no lens shows the floor markers as the clip does: its pictures may be squeezed or stretched",
                    where="clip",
                    remedy="Give the clip as the camera wrote it, or calibrate the camera with pictures changed alike",
                )
    if not np.isfinite(found.cost):
        raise VisionError(
            "the floor markers do not lie in one plane as the card says",
            where="floor markers",
            remedy="Check the places and sizes of the floor markers on the bench card",
        )
    if sheet_u is not None:
        return _fit(problem, found, ())
    if len(problem.seen) > 2 and found.priors.noise > NOT_AS_ON_CARD:
        few, begun = _few(problem, found.state)
        _check_as_on_card(likeliest(few, few.settle(begun, priors, robust=robust), robust=robust)[0])
    found, causes = likeliest(problem, found, robust=robust)
    _check_as_on_card(found)
    if explained and not camera.known and found.priors.noise > UNEXPLAINED:
        _check_squeezed(problem, priors, found.priors.noise)
    return _fit(problem, found, causes)


def _check_squeezed(problem: FloorProblem, priors: Priors, noise: float) -> None:
    """Raise InputError where pixels that are not square explain the markers, and square ones, which leave a noise (px),
    cannot.

    Such pictures come from programs that change a clip's shape. By how much they are squeezed nothing tells: one view
    of a floor gives a focal length or a shape of pixels, not both.
    """
    basis = np.concatenate([problem.basis, np.eye(9)[:, :1]], axis=1)
    more = SQUEEZE_U * problem.base[0]
    free = replace(
        priors,
        camera=np.append(priors.camera, more),
        other_camera=np.append(priors.other_camera, more),
    )
    begins: list[tuple[float, FloorProblem, State]] = []
    for start in SQUEEZES:
        base = problem.base * np.where(np.arange(9) == 0, start, 1.0)
        other = FloorProblem(problem.seen[:1], problem.floor, basis, base)
        for state in _focal_starts(other, np.zeros(problem.floor.count)):
            begins.append((other.misfit(state), other, state))
    best, ratio = -np.inf, 1.0
    for _, other, state in sorted(begins, key=lambda begin: begin[0])[:NEAREST_SHAPES]:
        end = other.settle(other.descend(state, free, robust=False).state, free)
        if not end.priors.noise > min(FITS, 0.5 * noise) and end.evidence > best:
            focal = other.base + basis @ end.state.q
            best, ratio = end.evidence, float(focal[0] / focal[1])
    if abs(ratio - 1.0) > LEAST_SQUEEZE:
        raise InputError(
            f"the pictures are {'squeezed' if ratio < 1 else 'stretched'} in width: their pixels are not square",
            where="clip",
            remedy="Give the clip as the camera wrote it, not changed in shape, or calibrate the camera with pictures "
            "that were changed alike",
        )


def _check_as_on_card(found: Descent) -> None:
    """Raise InputError when even the likeliest causes leave the markers far from where the card says."""
    if not found.priors.noise <= NOT_AS_ON_CARD:
        raise InputError(
            f"the floor markers do not lie as the bench card says (they are {found.priors.noise:.0f} pixels off in the "
            "picture), and no single mistake explains that",
            where="floor markers",
            remedy="Measure the places and sizes of all floor markers again and correct the bench card, or learn their "
            "places from a clip: pivotbench camera floor",
        )


def _few(problem: FloorProblem, state: State) -> tuple[FloorProblem, State]:
    """The problem with its first and last view alone."""
    ends = [0, -1]
    few = FloorProblem(problem.seen[ends], problem.floor, problem.basis, problem.base)
    return few, replace(state, rotation=state.rotation[ends], place=state.place[ends])


def _check_arrangement(problem: FloorProblem, priors: Priors, layout: FloorLayout, limit: float) -> None:
    """Raise InputError when the first view fits sheets that lie in each other's places, or turned.

    limit: px, the largest misfit that a lens and sheets laid as well as the card says explain.
    """
    names = sheet_names(layout)
    tried = [(_misfit(problem, other[2]), other) for other in other_arrangements(problem.floor, names)]
    least = min((misfit for misfit, _ in tried), default=0.0)
    best, wrong = FITS, None
    for misfit, (what, remedy, floor) in sorted(tried, key=lambda one: one[0])[:NEAREST_ARRANGEMENTS]:
        if misfit > min(limit, CLEARLY * least):
            break
        other = FloorProblem(problem.seen[:1], floor, problem.basis, problem.base)
        end = other.descend(_best_start(other, priors, np.zeros(floor.count), robust=False), priors, robust=False)
        noise = float(np.sqrt(np.nanmean(end.residual**2))) if np.isfinite(end.cost) else np.inf
        if noise < best:
            best, wrong = noise, InputError(what, where="floor markers", remedy=remedy)
    if wrong is not None:
        raise wrong


def _best_start(problem: FloorProblem, priors: Priors, laid: FloatArray, *, robust: bool) -> State:
    """From which lens to descend: the focal length has wide valleys, which two views show as well as many."""
    lens = problem.basis.shape[1]
    nothing = np.zeros(lens)
    if not lens or priors.camera[0] < 0.1 * problem.base[0]:
        return problem.start(nothing, laid)
    few = FloorProblem(problem.seen[[0, -1]][: len(problem.seen)], problem.floor, problem.basis, problem.base)
    ends = [few.descend(state, priors, robust=robust) for state in _focal_starts(few, laid)]
    best = min(ends, key=lambda end: end.cost)
    if len(problem.seen) == len(few.seen) or not np.isfinite(best.cost):
        return best.state
    begun = problem.start(best.state.q, best.state.laid)
    return State(q=begun.q, ink=best.state.ink, laid=begun.laid, rotation=begun.rotation, place=begun.place)


def _focal_starts(problem: FloorProblem, laid: FloatArray) -> list[State]:
    """With each focal length to descend from. laid: (h,)."""
    shorter = np.eye(problem.basis.shape[1])[0] * problem.base[0]
    return [problem.start(factor * shorter, laid) for factor in FOCAL_STARTS]


def _misfit(problem: FloorProblem, floor: LaidFloor) -> float:
    """px: what no camera at all explains of the first view of sheets laid like this."""
    centre = problem.base[2:4]
    return plane_misfit(problem.seen[0].reshape(-1, 2), floor.corner.reshape(-1, 2), centre, float(centre.max() + 0.5))


def _px_per_m(problem: FloorProblem) -> float:
    """How large a metre of the markers' edges is on the first picture."""
    seen, laid = (np.linalg.norm(np.diff(one, axis=1), axis=-1) for one in (problem.seen[0], problem.floor.corner))
    return float(np.nanmedian(seen / laid))


def _fit(problem: FloorProblem, found: Descent, causes: tuple[FloorCause, ...]) -> FloorFit:
    state = found.state
    return FloorFit(
        rotation=state.rotation,
        place=state.place,
        intrinsics=problem.base + problem.basis @ state.q,
        basis=problem.basis,
        ink=state.ink,
        floor=problem.floor,
        laid=state.laid,
        covariance=found.covariance + problem.repeated(found),
        residual=found.residual,
        weight=found.weight,
        noise=found.priors.noise,
        wave=found.priors.wave,
        causes=causes,
    )
