"""Height of the centre of gravity by lifting an axle to several heights, all lifts together.

With the lifted wheels on blocks the car pitches by theta. Moments about the lifted contacts give, exactly and for any
wheel radii, N_f (L + D t) = W (x + (h - r_r) t) for the front load N_f, t = tan theta, D = r_f - r_r: a straight
line in t whose slope holds the height. Lifting the front is the same line with t < 0.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.statistics.estimate import Estimate, effective_dof, mixed_factor
from analysis.statistics.quantiles import NORMAL_95, chi_square_tail

Axle = Literal["front", "rear"]
WORTH_TELLING = 5e-4
"""Of the car's weight (0.9 g of 1800 g): up and down may differ by so much without a word, however fine the pads."""
FEWEST_STEPS = 3
"""ISO 10392 asks for three or more steps."""
STEEP = math.radians(25.0)
CHANCE_OFF = 0.01
"""A residual is told when fewer series than this have one so large by chance."""
ALIKE = 0.9
"""Residuals of nearly one size do not say which reading is at fault: all of these are named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AxleLift:
    """One reading with an axle lifted.

    lifted: which axle.  height: m by which its wheels (so its wheel centres) were raised over the other's floor.
    load_down: load of the axle that stays down, both its wheels, unit as `total` (g or N).
    rising: whether the height was reached from below; None if not noted.
    """

    lifted: Axle
    height: float
    load_down: float
    rising: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftedCar:
    """The lifted car. total: its weight, unit of the loads.  wheelbase, radius_front, radius_rear (of wheels): m."""

    total: float
    wheelbase: float
    radius_front: float
    radius_rear: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightDoubts:
    """Standard uncertainties of what goes in. Loads in the unit of the loads, lengths in m.

    load: of one axle reading, from reading to reading.  load_common: shared by all lifted and level readings of the
    axle pair (zero of the pads).  gain: relative, of an axle's readings against the total, shared by that axle's.
    height: of one lift.  height_common: shared by all lifts (sagging support).  wheelbase, radius: of each.
    radius_common: of all wheels, where one radius was measured for them.
    """

    load: float
    load_common: float = 0.0
    gain: float = 0.0
    height: float = 0.5e-3
    height_common: float = 0.0
    total: float = 0.0
    wheelbase: float = 0.5e-3
    radius: float = 0.3e-3
    radius_common: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CgHeight:
    """height: m above the ground.  station: m ahead of the rear axle, from the same line.

    pitch: (n,) rad, + nose down.  residual: (n,) loads, unit of the loads, off the line.  count: readings.
    off_line: the reading that lies farther off the line than its uncertainty explains, in words with its size, or "".
    warnings: further sentences for people.
    """

    height: Estimate
    station: Estimate
    pitch: FloatArray
    residual: FloatArray
    count: int
    warnings: tuple[str, ...]
    off_line: str = ""


def _pitch(raised: FloatArray, wheelbase: float, radius_front: float, radius_rear: float) -> FloatArray:
    """raised: height of the rear axle over the front one, m, any shape."""
    step = radius_front - radius_rear
    sine = (raised - step) / math.hypot(wheelbase, step)
    if np.any(np.abs(sine) >= 1.0):
        raise InputError(
            "the lift is higher than the wheelbase allows",
            where="axle lift",
            remedy="Give the height in metres, measured between the floors under the two axles",
        )
    return np.asarray(np.arcsin(sine) + math.atan2(step, wheelbase))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """Points of the line. pitch: (n,) rad.  t: (n,) its tangent.  moment: (n,) m.  sd: (n,) m, of the moment."""

    pitch: FloatArray
    t: FloatArray
    moment: FloatArray
    sd: FloatArray


def cg_height(
    lifts: Sequence[AxleLift],
    *,
    car: LiftedCar,
    doubts: HeightDoubts,
    level_front: float | None = None,
    suspension_blocked: bool = True,
    battery_in: bool = False,
) -> CgHeight:
    """Height and station of the centre of gravity from all lifts.

    lifts: n >= 2 readings, with the level one.
    level_front: front axle load on level ground, same unit: one more point at zero pitch.
    suspension_blocked, battery_in: how it was done, for the warnings.
    Raises InputError when lengths or loads cannot be, or all lifts are alike.
    Source: moment balance (see above); weighted least squares in tan(theta) over three or more heights, up
    and down, as in
    ISO 10392:2011; law of propagation with the inputs' own doubts, GUM (JCGM 100:2008).
    """
    _check(lifts, car, level_front)
    total, wheelbase, radius_front, radius_rear = car.total, car.wheelbase, car.radius_front, car.radius_rear
    lifted = [lift.lifted for lift in lifts] + (["rear"] if level_front is not None else [])
    heights = np.array([lift.height for lift in lifts] + ([0.0] if level_front is not None else []))
    downs = np.array([lift.load_down for lift in lifts] + ([level_front] if level_front is not None else []))
    n = len(downs)
    sign = np.array([1.0 if one == "rear" else -1.0 for one in lifted])

    def line(inputs: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        weight, base, front, rear = inputs[2 * n : 2 * n + 4]
        pitch = _pitch(sign * inputs[n : 2 * n], base, front, rear)
        t = np.tan(pitch)
        front_load = np.where(sign > 0, inputs[:n], weight - inputs[:n])
        return pitch, t, front_load * (base + (front - rear) * t) / weight

    nominal = np.concatenate([downs, heights, [total, wheelbase, radius_front, radius_rear]])
    pitch, t, moment = line(nominal)
    if float(np.ptp(t)) < 1e-3:
        raise InputError("all lifts are alike", where="axle lift", remedy="Lift to several heights, the highest too")
    # Fixed weights: a lift's height matters in proportion to how steep the line is there.
    rough = np.polyfit(t, moment, 1)[0]
    sd = np.hypot(doubts.load * wheelbase / total, rough * doubts.height / wheelbase * (heights > 0)) + 1e-12

    def solve(inputs: FloatArray) -> FloatArray:
        _, tangent, y = line(inputs)
        weight = 1.0 / sd**2 / float((1.0 / sd**2).sum())
        middle, level = float(weight @ tangent), float(weight @ y)
        slope = float(weight @ ((tangent - middle) * (y - level))) / float(weight @ (tangent - middle) ** 2)
        return np.array([level - slope * middle, slope + inputs[2 * n + 3]])  # station, height

    answer = solve(nominal)
    jacobian = np.empty((2, len(nominal)))
    for i, value in enumerate(nominal):
        step = 1e-6 * max(abs(value), 1e-3)
        moved = nominal.copy()
        moved[i] += step
        jacobian[:, i] = (solve(moved) - answer) / step
    covariance = _input_covariance(doubts, sign, heights, downs)
    spread = jacobian @ covariance @ jacobian.T
    off = moment - np.column_stack([np.ones(n), t]) @ np.array([answer[0], answer[1] - radius_rear])
    residual = off * total / (wheelbase + (radius_front - radius_rear) * t)
    off_line = _off_the_line(lifts, t, off / sd, residual, sd)
    chi_squared = float(((off / sd) ** 2).sum())
    chance = chi_square_tail(chi_squared, dof=n - 2)
    own = jacobian @ _input_covariance(doubts, sign, heights, downs, common=False) @ jacobian.T
    dof = math.inf
    if chance < 0.01:  # the readings scatter more than they should: believe the scatter
        excess = chi_squared / (n - 2)
        spread, own, dof = spread + (excess - 1.0) * own, excess * own, n - 2.0
    warnings = []
    if not suspension_blocked:
        warnings.append(
            "The suspension was free to move: it shifts the body and spoils the height. Block it, for example "
            "with rods in place of the dampers"
        )
    if battery_in and float(np.abs(pitch).max()) > STEEP:
        warnings.append("The battery was in during a steep lift: replace it by a block of equal weight in its place")
    points = _Line(pitch=pitch, t=t, moment=moment, sd=sd)
    warnings += _seen_in_the_line(lifts, points, chance, float(answer[1]), car.wheelbase)

    def estimate(i: int) -> Estimate:
        variances, dofs = [float(own[i, i]), max(float(spread[i, i] - own[i, i]), 0.0)], [dof, math.inf]
        return Estimate(
            value=float(answer[i]),
            u=math.sqrt(spread[i, i]),
            dof=effective_dof(variances, dofs),
            factor=mixed_factor(variances, dofs),
        )

    return CgHeight(
        height=estimate(1),
        station=estimate(0),
        pitch=pitch,
        residual=residual,
        count=n,
        warnings=tuple(warnings),
        off_line=off_line,
    )


def _check(lifts: Sequence[AxleLift], car: LiftedCar, level: float | None) -> None:
    given = (car.wheelbase, car.radius_front, car.radius_rear, car.total)
    if not all(math.isfinite(v) and v > 0 for v in given):
        raise InputError(
            "wheelbase, wheel radii and total must be positive",
            where="axle lift",
            remedy="Correct the car card or weigh the car level first",
        )
    if len(lifts) + (level is not None) < 2:
        raise InputError("one reading gives no height", where="axle lift", remedy="Lift to three heights or more")
    for lift in lifts:
        if not (math.isfinite(lift.height) and lift.height >= 0 and 0 <= lift.load_down <= 1.001 * car.total):
            raise InputError(
                f"lift of {1000 * lift.height:g} mm with {lift.load_down:g} on the axle that stays down",
                where="axle lift",
                remedy="Heights are not negative and loads no more than the total",
            )


def _input_covariance(
    doubts: HeightDoubts, sign: FloatArray, heights: FloatArray, downs: FloatArray, *, common: bool = True
) -> FloatArray:
    n = len(downs)
    lifted = (heights > 0).astype(float)  # a level reading has no lift to be wrong about
    own = np.concatenate([np.full(n, doubts.load), doubts.height * lifted, np.zeros(4)]) ** 2
    covariance = np.diag(own)
    if common:
        for axle in (1.0, -1.0):  # each axle's pads have their own zero
            shared = np.concatenate([np.where(sign == axle, doubts.load_common, 0.0), np.zeros(n + 4)])
            covariance += np.outer(shared, shared)
            shared = np.concatenate([np.where(sign == axle, doubts.gain * downs, 0.0), np.zeros(n + 4)])
            covariance += np.outer(shared, shared)
        shared = np.concatenate([np.zeros(n), doubts.height_common * lifted, np.zeros(4)])
        covariance += np.outer(shared, shared)
        shared = np.concatenate([np.zeros(2 * n + 2), np.full(2, doubts.radius_common)])
        covariance += np.outer(shared, shared)
        covariance += np.diag(
            np.concatenate([np.zeros(2 * n), [doubts.total, doubts.wheelbase, doubts.radius, doubts.radius]]) ** 2
        )
    return covariance


def _off_the_line(
    lifts: Sequence[AxleLift], t: FloatArray, scaled: FloatArray, residual: FloatArray, sd: FloatArray
) -> str:
    """The reading with the largest residual, where chance makes one so large in fewer than CHANCE_OFF of all series.

    t: (n,) tangents of the pitch.  scaled: (n,) residuals over `sd` (n,).  residual: (n,) unit of the loads.
    Source: standardised residuals, each over its own scatter about a fitted line (1 minus leverage); Bonferroni's bound
    for the largest of n.
    """
    n = len(t)
    if n < 3:
        return ""
    design = np.column_stack([np.ones(n), t]) / sd[:, None]
    leverage = np.einsum("ij,jk,ik->i", design, np.linalg.pinv(design.T @ design), design)
    share = np.sqrt(np.clip(1.0 - leverage, 0.0, 1.0))
    # a reading that alone pins the line tells nothing of itself
    size = np.where(share > 0.05, np.abs(scaled) / np.maximum(share, 0.05), 0.0)
    worst = int(np.argmax(size))
    if n * chi_square_tail(float(size[worst]) ** 2, dof=1) > CHANCE_OFF:
        return ""
    usual = NORMAL_95 * share[worst] * abs(residual[worst] / scaled[worst])
    alike = [i for i in range(n) if size[i] > ALIKE * size[worst]]
    which = " or ".join(dict.fromkeys(_reading_words(lifts, i) for i in sorted(alike, key=lambda i: -size[i])))
    return (
        f"{which[0].upper()}{which[1:]} is {abs(residual[worst]):.1f} g off the line through all readings; the pads "
        f"and the height explain {usual:.1f} g: repeat it before you trust the height"
    )


def _reading_words(lifts: Sequence[AxleLift], index: int) -> str:
    if index >= len(lifts):
        return "the level weighing"
    way = {True: " going up", False: " coming down", None: ""}[lifts[index].rising]
    return f"the lift to {1e3 * lifts[index].height:.0f} mm{way}"


def _seen_in_the_line(
    lifts: Sequence[AxleLift], line: _Line, chance: float, height: float, wheelbase: float
) -> list[str]:
    """What the points say of how it was done.

    chance: of so much scatter.  height: m, of the centre of gravity.  wheelbase: m.
    """
    found, (t, moment, sd) = [], (line.t, line.moment, line.sd)
    if len({round(lift.height, 4) for lift in lifts}) < FEWEST_STEPS:
        found.append("Fewer than three heights: nothing shows whether something shifted")
    if len(t) > 3 and float(np.ptp(t)) > 0:
        curved = np.column_stack([np.ones(len(t)), t, t**2]) / sd[:, None]
        solution = np.linalg.lstsq(curved, moment / sd, rcond=None)[0]
        bend_u = math.sqrt(np.linalg.pinv(curved.T @ curved)[2, 2])
        if abs(solution[2]) > 3.0 * bend_u:
            found.append(
                "The load is not a straight line in the tangent of the pitch: the suspension moves, or the "
                "battery or the body shifts"
            )
        elif chance < 0.01:
            found.append("The readings scatter more than the pads and heights explain: something shifts between lifts")
    ways = [(t[i], moment[i] - height * t[i], lift.rising) for i, lift in enumerate(lifts) if lift.rising is not None]
    up, down = [m for _, m, way in ways if way], [m for _, m, way in ways if not way]
    if not (up and down):
        return found
    apart = abs(float(np.mean(up) - np.mean(down)))
    by_chance = 3.0 * float(np.mean(sd)) * math.hypot(len(up) ** -0.5, len(down) ** -0.5)
    if apart > max(by_chance, WORTH_TELLING * wheelbase):
        found.append("Going up and coming down differ: the suspension sticks or something slid")
    return found
