"""From loads on tilted pads to what the moving car does: shares and heights of its load transfer, with a budget.

On a board tilted by phi the car feels what it feels on the flat at g tan(phi), all forces times cos(phi). Wheels are
FL FR RL RR. A car "turned round" stands the other way at the same tilt: each wheel on the pad across the diagonal.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.statistics.estimate import Estimate
from analysis.statistics.quantiles import NORMAL_95

TURNED_PAD = np.array([3, 2, 1, 0])
"""The pad, named by the wheel that first stood on it, under each wheel once the car is turned round."""
SIDE_SIGN = np.array([-1.0, 1.0, -1.0, 1.0])
"""What the right side going down does to each wheel."""
NOSE_SIGN = np.array([-1.0, -1.0, 1.0, 1.0])
"""What the nose going up does to each wheel."""
WARP = np.array([1.0, -1.0, -1.0, 1.0])
TAPED_SHARE_U, TAPED_HEIGHT_U = 0.06e-2, 0.1e-3
"""Of the share, and m: wheels of one side taped against all four rolling (engine cars, standard deviations)."""
NOISE = "pads' noise"
STUCK_G, PRESSED_G = 5.0, 0.05
"""g that a suspension which sticks by 4 to 25 g hides at each wheel, standard; after pressing down and letting up."""


class Way(StrEnum):
    """Which way the board leans under the car. The second of each pair is meant with the car turned round at the same
    tilt, not with the board tilted the other way: only that removes the board's own twist.
    """

    RIGHT_DOWN = "right side down"
    LEFT_DOWN = "left side down"
    NOSE_UP = "nose up"
    NOSE_DOWN = "nose down"

    @property
    def sideways(self) -> bool:
        """Whether this is a tilt to one side."""
        return self in (Way.RIGHT_DOWN, Way.LEFT_DOWN)

    @property
    def sign(self) -> float:
        """+1 for the two that the signs are named by."""
        return 1.0 if self in (Way.RIGHT_DOWN, Way.NOSE_UP) else -1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tilted:
    """One reading on the tilted board. load: (4,) N at the wheels, plates taken off.  angle: rad.

    count: readings that it is the mean of.  pressed: pressed down and let up slowly before each.
    """

    way: Way
    angle: float
    load: FloatArray
    count: int = 1
    pressed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltBench:
    """What the bench leaves open, standard uncertainties. noise: N of one pad in one reading (the empty one's in it).
    drift: N of one pad from one placing to the next.  angle: rad.

    side_force: reading of a pad per side force on it.  track: (2,) m.  wheelbase: m.  warp: N that each wheel takes per
    metre by which one pad lies higher (measured with a strip, or from springs).  twist_tilt: m, that the board twists
    with the tilt by itself.  twist_load: m, under the car's load at 15 degrees.
    """

    noise: float
    drift: float
    angle: float
    side_force: float
    track: FloatArray
    wheelbase: float
    warp: float
    twist_tilt: float
    twist_load: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One line of a budget: standard uncertainties of the share (of 1; 0 for a pitch) and the height (m)."""

    name: str
    share_u: float
    height_u: float
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AxleTransfer:
    """Load moved across each axle at one angle. front, rear: N, from the inner to the outer wheel.

    acceleration: m/s2 on the flat that does the same.  share: front axle's, of 1.  height: m, effective transfer
    height: moment that arrives at the tyres per weight along the board; the tyres' sideways give and the body's roll
    are in it.  lifted: indices of wheels that carry nothing.  turned: both ways round.  budget: largest first.
    """

    angle: float
    acceleration: float
    front: float
    rear: float
    share: Estimate
    height: Estimate
    lifted: tuple[int, ...]
    turned: bool
    pressed: bool
    budget: tuple[Cause, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PitchTransfer:
    """Load moved from the front to the rear axle. moved: N.  height: m, effective, in pitch.  Other fields as above."""

    angle: float
    acceleration: float
    moved: float
    height: Estimate
    turned: bool
    pressed: bool
    budget: tuple[Cause, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCar:
    """The car on the level pads: load (4,) N, count readings, and its size: track (2,) m, wheelbase m."""

    load: FloatArray
    count: int
    track: FloatArray
    wheelbase: float

    @property
    def weight(self) -> float:
        """N."""
        return float(self.load.sum())


def across(car: LevelCar, readings: Sequence[Tilted], bench: TiltBench) -> tuple[AxleTransfer, ...]:
    """Lateral transfer at each angle that was read, smallest first.

    Readings of both ways round at one angle are taken together: that removes the board's own twist and the car's cross
    weight. One way alone is held against the level reading, of which the side sums shrink with the cosine and the cross
    weight does not.  Raises InputError where nothing was read sideways, or the car carries no load across.
    """
    found = [_across(car, group, bench) for group in _by_angle(readings, sideways=True)]
    if not found:
        raise InputError("nothing was read with a side down", where="tilted pads", remedy="Tilt the board sideways")
    return tuple(found)


def along(car: LevelCar, readings: Sequence[Tilted], bench: TiltBench) -> tuple[PitchTransfer, ...]:
    """Transfer from front to rear at each angle that was read, smallest first; () where none was."""
    return tuple(_along(car, group, bench) for group in _by_angle(readings, sideways=False))


def _by_angle(readings: Sequence[Tilted], *, sideways: bool) -> list[list[Tilted]]:
    some = sorted((one for one in readings if one.way.sideways is sideways), key=lambda one: one.angle)
    for one in some:
        if not (0 < one.angle < np.pi / 3) or np.shape(one.load) != (4,) or not np.all(np.isfinite(one.load)):
            raise InputError("a reading needs four loads and an angle", where="tilted pads", remedy="Read it again")
    groups: list[list[Tilted]] = []
    for one in some:
        if groups and abs(one.angle - groups[-1][0].angle) < np.radians(0.25):
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moved:
    """Load moved at each wheel, (4,) N, and how it follows from the pads' own errors.

    noise: (4, 4) covariance N2.  pads: (4, 4) N of each wheel per unit of side force error of each pad.
    """

    load: FloatArray
    noise: FloatArray
    pads: FloatArray
    turned: bool
    pressed: bool
    angle: float


def _moved(car: LevelCar, group: Sequence[Tilted], bench: TiltBench) -> _Moved:
    angle = float(np.mean([one.angle for one in group]))
    each: list[tuple[FloatArray, float, FloatArray]] = []
    signs = {one.way.sign for one in group}
    for sign in sorted(signs, reverse=True):
        those = [one for one in group if one.way.sign == sign]
        count = sum(one.count for one in those)
        load = np.average([one.load for one in those], axis=0, weights=[one.count for one in those])
        pads = np.arange(4) if sign > 0 else TURNED_PAD
        off = np.zeros((4, 4))
        off[np.arange(4), pads] = np.maximum(load, 0.0) * np.tan(angle)  # each tyre holds what it carries
        each.append((load * sign, count, off * sign))
    pressed = all(one.pressed for one in group)
    if len(each) == 2:
        load = (each[0][0] + each[1][0]) / 2
        variance = ((1 / each[0][1] + 1 / each[1][1]) * bench.noise**2 + 2 * bench.drift**2) / 4
        return _Moved(
            load=load,
            noise=np.eye(4) * variance,
            pads=(each[0][2] + each[1][2]) / 2,
            turned=True,
            pressed=pressed,
            angle=angle,
        )
    sign = next(iter(signs))
    q = WARP / np.repeat(car.track, 2)
    cross = q * float(q @ car.load) / float(q @ q)
    still = np.cos(angle) * car.load + (1 - np.cos(angle)) * cross
    return _Moved(
        load=each[0][0] - sign * still,
        noise=np.eye(4) * ((1 / each[0][1] + 1 / car.count) * bench.noise**2 + 2 * bench.drift**2),
        pads=each[0][2],
        turned=False,
        pressed=pressed,
        angle=angle,
    )


def _across(car: LevelCar, group: Sequence[Tilted], bench: TiltBench) -> AxleTransfer:
    moved = _moved(car, group, bench)
    # load moved across each axle, N, from the four wheels
    axle = np.array([[-0.5, 0.5, 0.0, 0.0], [0.0, 0.0, -0.5, 0.5]])
    front, rear = (float(one) for one in axle @ moved.load)
    total, pull = front + rear, car.weight * np.sin(moved.angle)
    if not total > 0:
        raise InputError(
            "no load moved to the lower side",
            where=f"tilted pads, {np.degrees(moved.angle):.1f}°",
            remedy="Check which side was down and which wheel stands on which pad",
        )
    share = front / total
    height = float(car.track @ [front, rear]) / pull
    to_share = np.array([1 - share, -share]) / total
    to_height = car.track / pull

    def cause(name: str, by_axle: FloatArray, remedy: str) -> Cause:
        """by_axle: (2, k) N of each axle per standard deviation of k independent errors."""
        return Cause(
            name=name,
            share_u=float(np.linalg.norm(to_share @ by_axle)),
            height_u=float(np.linalg.norm(to_height @ by_axle)),
            remedy=remedy,
        )

    twisted = np.array([[1.0], [-1.0]]) * bench.warp
    size = np.tan(moved.angle) / np.tan(np.radians(15.0))
    causes = [
        cause(NOISE, axle @ np.sqrt(moved.noise), "read more often"),
        cause("side force on the pads", axle @ moved.pads * bench.side_force, _turn(moved, "softer in side force")),
        cause("board's twist under load", twisted * bench.twist_load * size, "stiffen the board"),
        Cause(
            name="angle", share_u=0.0, height_u=height / np.tan(moved.angle) * bench.angle, remedy="measure H over L"
        ),
        Cause(
            name="track",
            share_u=0.0,
            height_u=float(np.linalg.norm(np.array([front, rear]) * bench.track) / pull),
            remedy="take contact prints",
        ),
        _friction(moved, axle, to_share, to_height),
        Cause(name="taped wheels", share_u=TAPED_SHARE_U, height_u=TAPED_HEIGHT_U, remedy="none is needed"),
    ]
    if not moved.turned:
        causes.append(cause("board's twist with the tilt", twisted * bench.twist_tilt, "turn the car round"))
    low = [int(k) for k in range(4) if min(float(one.load[k]) for one in group) <= 3 * bench.noise]
    return AxleTransfer(
        angle=moved.angle,
        acceleration=STANDARD_GRAVITY * float(np.tan(moved.angle)),
        front=front,
        rear=rear,
        share=Estimate(value=share, u=_together([one.share_u for one in causes])),
        height=Estimate(value=height, u=_together([one.height_u for one in causes])),
        lifted=tuple(low),
        turned=moved.turned,
        pressed=moved.pressed,
        budget=tuple(sorted(causes, key=lambda one: -one.share_u)),
    )


def _along(car: LevelCar, group: Sequence[Tilted], bench: TiltBench) -> PitchTransfer:
    moved = _moved(car, group, bench)
    to_rear = NOSE_SIGN / 2
    load, pull = float(to_rear @ moved.load), car.weight * float(np.sin(moved.angle))
    height = car.wheelbase * load / pull
    if not load > 0:
        raise InputError(
            "no load moved to the lower axle",
            where=f"tilted pads, {np.degrees(moved.angle):.1f}°",
            remedy="Check which end was up and which wheel stands on which pad",
        )

    def cause(name: str, by_wheel: FloatArray, remedy: str) -> Cause:
        u = car.wheelbase / pull * float(np.linalg.norm(to_rear @ by_wheel))
        return Cause(name=name, share_u=0.0, height_u=u, remedy=remedy)

    causes = [
        cause(NOISE, np.sqrt(moved.noise), "read more often"),
        cause("side force on the pads", moved.pads * bench.side_force, _turn(moved, "softer in side force")),
        Cause(
            name="angle", share_u=0.0, height_u=height / np.tan(moved.angle) * bench.angle, remedy="measure H over L"
        ),
        Cause(name="wheelbase", share_u=0.0, height_u=load * bench.wheelbase / pull, remedy="measure it again"),
    ]
    return PitchTransfer(
        angle=moved.angle,
        acceleration=STANDARD_GRAVITY * float(np.tan(moved.angle)),
        moved=load,
        height=Estimate(value=height, u=_together([one.height_u for one in causes])),
        turned=moved.turned,
        pressed=moved.pressed,
        budget=tuple(sorted(causes, key=lambda one: -one.height_u)),
    )


def _turn(moved: _Moved, otherwise: str) -> str:
    return f"take pads that are {otherwise}" if moved.turned else "turn the car round"


def _friction(moved: _Moved, axle: FloatArray, to_share: FloatArray, to_height: FloatArray) -> Cause:
    """What a suspension that sticks may hide: it moves load between corners, never between sides or axles."""
    grams = PRESSED_G if moved.pressed else STUCK_G
    newton = grams * 1e-3 * STANDARD_GRAVITY / np.sqrt(1 + moved.turned)
    warp = (axle @ WARP)[:, None] * newton
    return Cause(
        name="suspension friction",
        share_u=float(np.abs(to_share @ warp)[0]),
        height_u=float(np.abs(to_height @ warp)[0]),
        remedy="press down and let up slowly" if not moved.pressed else "none is needed",
    )


def _together(parts: Sequence[float]) -> float:
    return float(np.sqrt(np.sum(np.square(parts))))


def share_slack(own: Sequence[float]) -> float:
    """By how much, of 1, shares at two angles differ on no stop. own: (2,) of 1, what the pads' noise alone makes."""
    return NORMAL_95 * float(np.linalg.norm([*own, 0.25e-2])) + 0.5e-2


def stops_between(found: Sequence[AxleTransfer]) -> tuple[float, float] | None:
    """The two angles, rad, between which a stop touches or a wheel lifts; None where the share stays.

    What is common to all angles (side force, twist under load) does not count: only noise and half a point do.
    """
    for before, after in pairwise(found):
        own = [next(c.share_u for c in one.budget if c.name == NOISE) for one in (before, after)]
        if abs(after.share.value - before.share.value) > share_slack(own):
            return before.angle, after.angle
    return None
