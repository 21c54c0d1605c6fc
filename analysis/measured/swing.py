"""Turn per travel between two rests with an interval that stays honest at zero and through infinity."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.pivot import LARGEST_KAPPA
from analysis.base.plane import slide_jacobian, slide_parts
from analysis.statistics.quantiles import coverage_factor

TURNED_LEVEL = 0.995
"""Of straight slides, one in 200 may seem to turn (with the 95 % interval it would be one in 20)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RestPose:
    """Mean pose of a rest.

    mean: (3,) m, m, rad, floor axes.  scatter: (3, 3) covariance of the mean from frame-to-frame noise with
    `dof` degrees of freedom.  repeating: (3, 3) what averaging does not reduce.
    """

    mean: FloatArray
    scatter: FloatArray
    repeating: FloatArray
    dof: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SlideResult:
    """Turn per travel of one slide and what goes with it.

    kappa, kappa_u: 1/m.  common_u: 1/m, the cards' part of kappa_u.
    interval: 95 %, 1/m; `interval[0] > interval[1]` runs through infinity.
    turned: the turn is told from zero at the 99.5 % level.
    turn, turn_u: rad.  travel, travel_u: m.  pole (2,) and pole_covariance (2, 2): m, car axes.
    """

    kappa: float
    kappa_u: float
    common_u: float
    interval: tuple[float, float]
    turned: bool
    turn: float
    turn_u: float
    travel: float
    travel_u: float
    pole: FloatArray
    pole_covariance: FloatArray


def mean_rest(
    pose: FloatArray, covariance: FloatArray, repeating: FloatArray, pooled: FloatArray, dof: float
) -> RestPose:
    """Weighted mean pose of one rest.

    pose: (n, 3).  covariance: (n, 3, 3) stated per frame, used as weights.  repeating: (3, 3).
    pooled: (3, 3) covariance of the residuals after whitening by the stated covariance, with dof.
    """
    root = np.linalg.cholesky(covariance)
    weight = np.linalg.inv(covariance)
    spread = np.linalg.inv(weight.sum(0))
    mean = spread @ np.einsum("nij,nj->i", weight, pose)
    # Weights from the stated covariance, spread from the scatter that the rests really show.
    actual = root @ pooled @ np.swapaxes(root, 1, 2)
    scatter = spread @ (weight @ actual @ weight).sum(0) @ spread
    scatter *= repetition(np.linalg.solve(root, (pose - mean)[..., None])[..., 0])
    return RestPose(mean=mean, scatter=scatter, repeating=repeating, dof=dof)


def repetition(residual: FloatArray) -> float:
    """Variance inflation of a mean by neighbouring frames that err alike (first-order autoregression).

    residual: (n, 3), of n frames in turn, each coordinate in parts of its noise.
    """
    n = len(residual)
    if n < 10:
        return 1.0
    alike = float((residual[1:] * residual[:-1]).sum() / (residual**2).sum()) + 1.0 / n
    if alike < 2.0 / np.sqrt(3.0 * n):
        return 1.0  # not significant over the three coordinates together
    alike = min(alike, 0.9)
    return (1.0 + alike) / (1.0 - alike)


def whitened_scatter(rests: list[tuple[FloatArray, FloatArray]]) -> tuple[FloatArray, float]:
    """Covariance (3, 3), and its dof, of whitened residuals about the mean of each rest.

    rests: pairs of pose (n, 3) and stated covariance (n, 3, 3).
    """
    total, dof = np.zeros((3, 3)), 0.0
    for pose, covariance in rests:
        weight = np.linalg.inv(covariance)
        mean = np.linalg.solve(weight.sum(0), np.einsum("nij,nj->i", weight, pose))
        residual = np.linalg.solve(np.linalg.cholesky(covariance), (pose - mean)[..., None])[..., 0]
        total += residual.T @ residual
        dof += len(pose) - 1.0
    return total / dof + 1e-9 * np.eye(3), dof  # a track without noise must stay solvable


def pose_drift(rests: list[tuple[FloatArray, FloatArray, FloatArray]], pooled: FloatArray) -> tuple[FloatArray, float]:
    """Common slow drift of the pose within the rests (3,), m/s and rad/s, and its chi-square (3 degrees of
    freedom).

    rests: time (n,), pose (n, 3), stated covariance (n, 3, 3) of each.  pooled: as from `whitened_scatter`.
    """
    above, below, stated, frames = np.zeros(3), 0.0, np.zeros((3, 3)), 0
    for time, pose, covariance in rests:
        t = time - time.mean()
        above += t @ (pose - pose.mean(0))
        below += float(t @ t)
        stated += covariance.sum(0)
        frames += len(t)
    root = np.linalg.cholesky(stated / frames)
    rate = above / below
    spread = root @ pooled @ root.T / below
    return rate, float(rate @ np.linalg.solve(spread, rate))


def measure_slide(
    start: RestPose,
    end: RestPose,
    *,
    wheelbase: float,
    wheelbase_u: float,
    place_u: FloatArray,
    scale_u: float,
    shared: FloatArray | None = None,
) -> SlideResult:
    """Turn per travel, swing pivot and their uncertainties from two rests and the cards.

    place_u: (3,) standard uncertainty of the plate's place on the car (x, y m, yaw rad), common to both
    rests.
    scale_u: relative, common to all floor distances.  wheelbase, wheelbase_u: m.
    shared: (k, 6) how far each further common cause moves start (3) and end (3) by one standard uncertainty.
    The interval is that of a ratio of two normal quantities (E. C. Fieller, J. R. Stat. Soc. B 16 (1954)
    175-185):
    exact for the turn and the travel, which are linear in the poses to far below their noise.
    Raises InputError when the two rests coincide exactly.
    """
    forward, sideways, chord = (float(part) for part in slide_parts(start.mean, end.mean))
    travel = sideways + wheelbase * chord / 2.0
    if chord == 0.0 and travel == 0.0:
        raise InputError(
            "the rests before and after the push coincide", where="pose track", remedy="Push the car sideways"
        )
    of_poses = slide_jacobian(start.mean, end.mean)  # forward, sideways, chord after both poses
    # Where the plate really sits moves the axes by R(yaw) e at both rests: a shift e_x adds chord * e_x
    # sideways.
    of_place = np.array([[0.0, -chord, sideways], [chord, 0.0, -forward], [0.0, 0.0, 0.0]])
    of_scale = np.array([[forward], [sideways], [0.0]])
    # The percentage divides by the wheelbase; kappa is told for the card's wheelbase, so that both err alike.
    of_wheelbase = np.array([0.0, -sideways / wheelbase])

    poses = [start.scatter, end.scatter, start.repeating, end.repeating]
    blocks = [of_poses[:, :3], of_poses[:, 3:]] * 2
    parts = [block @ part @ block.T for block, part in zip(blocks, poses, strict=True)]
    cards = of_place @ np.diag(np.square(place_u)) @ of_place.T + scale_u**2 * of_scale @ of_scale.T
    if shared is not None:
        moved = of_poses @ shared.T  # (3, k)
        cards = cards + moved @ moved.T
    slide_covariance = sum(parts) + cards

    to_pair = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, wheelbase / 2.0]])  # chord and travel
    pair = to_pair @ slide_covariance @ to_pair.T
    pair += wheelbase_u**2 * np.diag(of_wheelbase**2)
    seen = [to_pair @ part @ to_pair.T for part in parts]

    kappa = LARGEST_KAPPA if travel == 0.0 else float(np.clip(chord / travel, -LARGEST_KAPPA, LARGEST_KAPPA))
    # Work with the better-conditioned of kappa and 1/kappa, so that nothing overflows near the middle.
    gradient = np.array([1.0, -kappa]) if abs(kappa) < 1e3 else np.array([1.0 / kappa, -1.0])
    variance = float(gradient @ pair @ gradient)
    scattered = [float(gradient @ part @ gradient) for part in seen[:2]]
    if variance > 0 and max(scattered) > 0:
        # Welch-Satterthwaite; both scatters come from one pooled estimate, so they add before squaring.
        dof = variance**2 / (sum(scattered) ** 2 / min(start.dof, end.dof))
    else:
        dof = np.inf
    dof = min(max(dof, 1.0), 1e6)
    of_kappa = np.array([1.0, -kappa]) / max(abs(travel), abs(chord) / LARGEST_KAPPA)
    shared = to_pair @ cards @ to_pair.T + wheelbase_u**2 * np.diag(of_wheelbase**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        far = 1.0 / np.float64(chord)  # infinite where the car did not turn at all: there is no pole then
        pole = np.array([-sideways, forward]) * far
        of_pole = np.array([[0.0, -far, sideways * far**2], [far, 0.0, -forward * far**2]])
        pole_covariance = of_pole @ slide_covariance @ of_pole.T
    return SlideResult(
        kappa=kappa,
        kappa_u=float(np.sqrt(of_kappa @ pair @ of_kappa)),
        common_u=float(np.sqrt(of_kappa @ shared @ of_kappa)),
        interval=ratio_interval(chord, travel, pair, coverage_factor(dof=dof)),
        turned=bool(abs(chord) > coverage_factor(dof=dof, coverage=TURNED_LEVEL) * np.sqrt(pair[0, 0])),
        turn=float(end.mean[2] - start.mean[2]),
        turn_u=float(np.sqrt(pair[0, 0])) / max(abs(np.cos((end.mean[2] - start.mean[2]) / 2.0)), 1e-3),
        travel=travel,
        travel_u=float(np.sqrt(pair[1, 1])),
        pole=pole,
        pole_covariance=pole_covariance,
    )


def ratio_interval(above: float, below: float, covariance: FloatArray, quantile: float) -> tuple[float, float]:
    """Interval of above/below, both normal with the joint covariance (2, 2), after Fieller.

    quantile: of Student's t.  Returns (low, high); low > high means that the interval runs through infinity
    (from low up, and from high down). When neither quantity is told from zero nothing is excluded and the answer is
    plus and minus LARGEST_KAPPA.
    """
    t2 = quantile**2
    a = below**2 - t2 * covariance[1, 1]
    b = above * below - t2 * covariance[0, 1]
    c = above**2 - t2 * covariance[0, 0]
    root = b * b - a * c
    if a > 0.0:
        half = float(np.sqrt(max(root, 0.0)))
        ends = ((b - half) / a, (b + half) / a)
    elif c > 0.0 and root > 0.0:
        # The travel may be zero but the turn is not: the same question about 1/kappa has a plain answer.
        half = float(np.sqrt(root))
        low, high = (b - half) / c, (b + half) / c  # of 1/kappa, low <= 0 <= high
        ends = (1.0 / high if high > 0 else LARGEST_KAPPA, 1.0 / low if low < 0 else -LARGEST_KAPPA)
    else:
        return -LARGEST_KAPPA, LARGEST_KAPPA
    return float(np.clip(ends[0], -LARGEST_KAPPA, LARGEST_KAPPA)), float(
        np.clip(ends[1], -LARGEST_KAPPA, LARGEST_KAPPA)
    )
