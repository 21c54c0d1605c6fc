"""From the bench to the floor: radius, speed, slide angle, acceleration and the moving pivot of a filmed drive."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import BoolArray, ComplexArray, FloatArray
from analysis.base.errors import InputError
from analysis.base.plane import place

LACKING = (
    "a push lacks what a drive has: driven wheels that spin (their side grip is used up along), counter-steer, "
    "caster that jacks the steered wheels, air on the body",
    "expect the direction and the rank of set-up changes to carry over, not their size",
)
"""Said with every comparison of a push with a drive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """A drive as the floor sees it, one value a moment (m,), and over the whole.

    time: s.  speed: m/s of the reference point.  yaw_rate: rad/s.  slide_angle: rad, velocity against the nose, left
    positive.  ax, ay: m/s2, car axes.  pivot: (m, 2) m, centre of
    rotation in car axes, nan while it hardly turns.  turning: (m,) the pivot can be named.
    radius: m, of the circle fitted to the path, with radius_u; inf for a straight one.
    """

    time: FloatArray
    speed: FloatArray
    yaw_rate: FloatArray
    slide_angle: FloatArray
    ax: FloatArray
    ay: FloatArray
    pivot: FloatArray
    turning: BoolArray
    radius: float
    radius_u: float
    centre: FloatArray


def drive(
    time: FloatArray,
    pose: FloatArray,
    *,
    reference: tuple[float, float] = (0.0, 0.0),
    window: float = 0.2,
    slowest_turn: float = 0.2,
) -> Drive:
    """Read a drive from a track of floor poses.

    time: (m,) s, rising, uneven steps allowed.  pose: (m, 3) x, y (m) and yaw (rad), floor axes, of the car's origin
    (middle of the rear axle).  reference: m, car axes, the point that is followed (the centre of gravity).
    window: s, over which a fit smooths and differentiates: a parabola of the yaw, of the place a turn with the car's
    yaw rate and a constant change of velocity.  slowest_turn: rad/s below which no pivot is named.
    Raises InputError with fewer than 5 moments, times that do not rise, or a window with too few of them.
    Source: local least squares; planar kinematics; algebraic circle fit (Kasa), refined by Gauss-Newton.
    """
    t, p = np.asarray(time, dtype=float), np.asarray(pose, dtype=float)
    if t.ndim != 1 or p.shape != (len(t), 3) or len(t) < 5:
        raise _refuse("a drive needs at least five poses, one for each time", "Keep more of the clip")
    if not (np.all(np.isfinite(t)) and np.all(np.isfinite(p))) or np.any(np.diff(t) <= 0):
        raise _refuse("times must rise and poses be finite", "Leave out frames in which the car was not seen")
    spot = place(p, np.asarray(reference, dtype=float))
    yaw = np.unwrap(p[:, 2])
    smooth, rate, _ = _smooth(t, yaw.astype(complex), window, np.zeros(len(t)))
    heading, turn = smooth.real, rate.real
    # a way that bends with the car: a parabola across the floor would read the speed of a turn too low
    _, rate, second = _smooth(t, spot[:, 0] + 1j * spot[:, 1], window, turn)
    c, s = np.cos(heading), np.sin(heading)

    def to_car(v: ComplexArray) -> FloatArray:
        return np.stack([c * v.real + s * v.imag, -s * v.real + c * v.imag], -1)

    velocity, pull = to_car(rate), to_car(second)
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    turning = np.abs(turn) > slowest_turn
    with np.errstate(divide="ignore", invalid="ignore"):
        pivot = np.where(
            turning[:, None],
            np.asarray(reference) + np.stack([-velocity[:, 1], velocity[:, 0]], -1) / turn[:, None],
            np.nan,
        )
    centre, radius, radius_u, _ = circle(spot)
    return Drive(
        time=t,
        speed=speed,
        yaw_rate=turn,
        slide_angle=np.arctan2(velocity[:, 1], velocity[:, 0]),
        ax=pull[:, 0],
        ay=pull[:, 1],
        pivot=pivot,
        turning=turning,
        radius=radius,
        radius_u=radius_u,
        centre=centre,
    )


def circle(points: FloatArray) -> tuple[FloatArray, float, float, float]:
    """Circle through points (m, 2): centre (2,), radius, its standard uncertainty, and the scatter about it, m.

    A straight path has radius inf.  Source: Kasa's algebraic fit, then Gauss-Newton on the distances.
    """
    p = np.asarray(points, dtype=float)
    if len(p) < 4:
        raise _refuse("a circle needs at least four points", "Film more of the circle")
    middle = p.mean(0)
    d = p - middle
    size = float(np.sqrt((d**2).sum(-1).mean()))
    if size == 0:
        raise _refuse("the car does not move", "Film a drive")
    d = d / size
    if np.linalg.svd(d, compute_uv=False)[-1] < 1e-9 * np.sqrt(len(p)):
        return np.full(2, np.inf), float("inf"), float("inf"), 0.0
    a, *_ = np.linalg.lstsq(np.column_stack([2 * d, np.ones(len(d))]), (d**2).sum(-1), rcond=None)
    x = np.array([a[0], a[1], np.sqrt(max(a[2] + a[0] ** 2 + a[1] ** 2, 1e-12))])
    for _ in range(50):
        away = d - x[:2]
        far = np.hypot(away[:, 0], away[:, 1])
        jacobian = np.column_stack([-away / far[:, None], -np.ones(len(d))])
        step, *_ = np.linalg.lstsq(jacobian, -(far - x[2]), rcond=None)
        x = x + step
        if np.abs(step).max() < 1e-12 * max(1.0, x[2]):
            break
    residual = np.hypot(d[:, 0] - x[0], d[:, 1] - x[1]) - x[2]
    variance = float((residual**2).sum()) / max(len(d) - 3, 1)
    doubt = float(np.sqrt(variance * np.linalg.pinv(jacobian.T @ jacobian)[2, 2]))
    return middle + size * x[:2], float(size * x[2]), size * doubt, size * float(np.sqrt(variance))


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyDrive:
    """A stretch taken as steady: means with standard uncertainties of the mean, by scatter alone unless widened.

    speed, speed_u m/s; slide_angle, slide_angle_u rad; ay, ay_u m/s2; radius, radius_u m; pivot (2,) m with pivot_u;
    balance: m, station that the model gives for the balance point, if told.  notes: what to expect of a comparison.
    """

    speed: float
    speed_u: float
    slide_angle: float
    slide_angle_u: float
    ay: float
    ay_u: float
    radius: float
    radius_u: float
    pivot: FloatArray
    pivot_u: FloatArray
    model_balance: float | None
    notes: tuple[str, ...]


def steady(
    driven: Drive,
    *,
    since: float = -np.inf,
    until: float = np.inf,
    independent: float = 0.2,
    model_balance: float | None = None,
) -> SteadyDrive:
    """Means over a stretch of a drive. independent: s between moments that count as independent (the window).

    model_balance: m, balance point of the model at this side acceleration, to stand beside.
    ay is taken from speed times yaw rate, which is far quieter than the second derivative (steady circle).
    """
    use = (driven.time >= since) & (driven.time <= until) & driven.turning
    if use.sum() < 5:
        raise _refuse("the stretch holds fewer than five moments in which the car turns", "Choose a longer stretch")
    count = max(2.0, (driven.time[use][-1] - driven.time[use][0]) / independent)

    def mean(v: FloatArray) -> tuple[float, float]:
        return float(v[use].mean()), float(v[use].std(ddof=1) / np.sqrt(count))

    slide = np.exp(1j * driven.slide_angle[use])
    middle = float(np.angle(slide.mean()))
    spread = np.angle(slide * np.exp(-1j * middle)).std(ddof=1)
    speed, speed_u = mean(driven.speed)
    ay, ay_u = mean(driven.speed * driven.yaw_rate * np.cos(driven.slide_angle))
    radius, radius_u = mean(driven.speed / np.abs(driven.yaw_rate))
    pivot = driven.pivot[use]
    return SteadyDrive(
        speed=speed,
        speed_u=speed_u,
        slide_angle=middle,
        slide_angle_u=float(spread / np.sqrt(count)),
        ay=ay,
        ay_u=ay_u,
        radius=radius,
        radius_u=radius_u,
        pivot=pivot.mean(0),
        pivot_u=pivot.std(0, ddof=1) / np.sqrt(count),
        model_balance=model_balance,
        notes=LACKING,
    )


def with_shared_causes(best: SteadyDrive, changed: Sequence[SteadyDrive]) -> SteadyDrive:
    """The same with what acts on all pictures alike in its uncertainties: prints, heights, places, the camera.

    changed: the stretch read again with one standard uncertainty of each independent cause (law of propagation, JCGM
    100:2008).
    """

    if not changed:
        return best

    def moves(name: str) -> FloatArray:
        return np.array([np.asarray(getattr(one, name)) - getattr(best, name) for one in changed])

    def wider(u: float | FloatArray, by: FloatArray) -> FloatArray:
        return np.asarray(np.sqrt(np.square(u) + np.square(by).sum(0)), dtype=float)

    turned = np.angle(np.exp(1j * moves("slide_angle")))  # a car that goes backwards slides by half a turn, either way
    return replace(
        best,
        speed_u=float(wider(best.speed_u, moves("speed"))),
        slide_angle_u=float(wider(best.slide_angle_u, turned)),
        ay_u=float(wider(best.ay_u, moves("ay"))),
        radius_u=float(wider(best.radius_u, moves("radius"))),
        pivot_u=wider(best.pivot_u, moves("pivot")),
    )


def _smooth(
    t: FloatArray, y: ComplexArray, window: float, turn: FloatArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Value, first and second derivative (m,) of y (m,) from a least-squares fit over +- window/2 around each moment.

    The fit is a motion whose velocity turns by turn (m,) rad/s, exact on a steady circle, and a constant change of it;
    without a turn that is a parabola.
    """
    if not window > 0:
        raise _refuse("the smoothing window must be positive", "Use 0.2 s")
    out = np.empty((3, len(t)), dtype=complex)
    for i, now in enumerate(t):
        near = np.flatnonzero(np.abs(t - now) <= window / 2)
        if len(near) < 5:  # thin stretches and ends: the five nearest moments
            begin = int(np.clip(i - 2, 0, len(t) - 5))
            near = np.arange(begin, begin + 5)
        u = (t[near] - now) / window
        bends = 1j * turn[i] * window
        way = u if abs(bends) < 1e-9 else np.expm1(bends * u) / bends
        fit, *_ = np.linalg.lstsq(np.column_stack([np.ones_like(u), way, u**2]), y[near], rcond=None)
        out[0, i], out[1, i], out[2, i] = fit[0], fit[1] / window, (2 * fit[2] + bends * fit[1]) / window**2
    return out[0], out[1], out[2]


def _refuse(what: str, remedy: str) -> InputError:
    return InputError(what, where="drive", remedy=remedy)
