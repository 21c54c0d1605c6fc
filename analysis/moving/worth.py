"""What springs, bars and ride heights do at a sideways acceleration, told in grams of ballast that would do the same.

At rest no load moves sideways, so nothing that shares out moved load moves the balance point; while the car
accelerates, the axle that takes more of it loses grip, as tyres lose grip with load (statics, load-sensitive grip).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.signs import two_digits
from analysis.moving.setup_changes import (
    BALLAST_SHARE,
    SetupChange,
    one_bar_size,
    with_ballast_over,
    with_bars,
    with_height,
    with_springs,
)
from analysis.moving.tyres import Tyres, friction_centre
from analysis.springs.chassis import Chassis, stacked
from analysis.springs.equilibrium import equilibrium
from analysis.statistics.monte_carlo import coverage_interval

_NO_POINTS = 1e-6
"""Points: what rounding makes of none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MovingWorth:
    """One change at a sideways acceleration, the mean of a left and a right turn.

    points: of the wheelbase, forward positive; points_interval: 95 %.  grams: of ballast over the axle `end` that move
    the balance point as far, grams_interval: 95 %.  roll_deg: the body's roll before and after.  moved_g: load that
    moves from the inside to the outside wheels, before and after.
    """

    name: str
    points: float
    points_interval: tuple[float, float]
    grams: float
    grams_interval: tuple[float, float]
    end: Literal["front", "rear"]
    roll_deg: tuple[float, float]
    moved_g: tuple[float, float]

    @property
    def way_known(self) -> bool:
        """Whether the interval of `points` stays on one side of zero; without load sensitivity it is zero itself."""
        low, high = self.points_interval
        both_ways = low < -_NO_POINTS and high > _NO_POINTS
        return abs(self.points) > _NO_POINTS and not both_ways


def spring_changes(chassis: Chassis, *, bar_step: float) -> tuple[SetupChange, ...]:
    """Springs, bars and heights as people change them first; a bar that is there also comes off.

    bar_step: N/m per metre of left-right difference.
    """
    tried = [
        ("front springs 20 % stiffer", with_springs(chassis, (1.2, 1.0))),
        ("rear springs 20 % stiffer", with_springs(chassis, (1.0, 1.2))),
        (f"front bar stiffer by {two_digits(bar_step / 1e3)} N/mm", with_bars(chassis, (bar_step, 0.0))),
        (f"rear bar stiffer by {two_digits(bar_step / 1e3)} N/mm", with_bars(chassis, (0.0, bar_step))),
    ]
    front, rear = (float(one) for one in np.broadcast_to(chassis.bar, (2,)))
    tried += [("front bar taken off", with_bars(chassis, (-front, 0.0)))] if front > 0.0 else []
    tried += [("rear bar taken off", with_bars(chassis, (0.0, -rear)))] if rear > 0.0 else []
    tried.append(("ride height 1 mm lower", with_height(chassis, -1e-3)))
    return tuple(SetupChange(name=name, chassis=car) for name, car in tried)


def moving_worth(cars: Sequence[Chassis], tyres: Tyres, ay: float) -> tuple[MovingWorth, ...]:
    """What each change is worth, largest first.

    cars: n set-ups without leading axes: the best known one, then draws from what is not known of it (Monte Carlo,
    JCGM 101).  tyres: fields (n, 4), a row a car.  ay: m/s2, positive.
    Raises InputError where no car was given, the acceleration is not positive, or the best known car rolls over.
    """
    if not cars or not (np.isfinite(ay) and ay > 0):
        raise InputError("a car and a positive acceleration are needed", where="acceleration", remedy="Give m/s2")
    step = one_bar_size(cars[0])
    tried = [spring_changes(car, bar_step=step) for car in cars]
    ballast = BALLAST_SHARE * float(cars[0].mass)
    rows = [
        [
            car,
            *(one.chassis for one in changes),
            *(with_ballast_over(car, ballast, station) for station in (float(car.wheelbase), 0.0)),
        ]
        for car, changes in zip(cars, tried, strict=True)
    ]
    station, roll, moved = _held(rows, tyres, ay)
    if not np.all(np.isfinite(station[0])):
        raise InputError(
            f"the car rolls over at {two_digits(ay / STANDARD_GRAVITY)} g sideways",
            where="acceleration",
            remedy="Ask for a smaller one",
        )
    stands = np.isfinite(station).all(axis=1)
    change = station[stands] - station[stands, :1]
    grams = 1e3 * ballast
    found = []
    for k, one in enumerate(tried[0], start=1):
        points = change[:, k]
        end: Literal["front", "rear"] = "front" if points[0] >= 0 else "rear"
        per_ballast = change[:, -2 if end == "front" else -1]
        worth = grams * points / per_ballast
        found.append(
            MovingWorth(
                name=one.name,
                points=float(points[0]),
                points_interval=coverage_interval(points),
                grams=float(worth[0]),
                grams_interval=coverage_interval(worth),
                end=end,
                roll_deg=(float(roll[0, 0]), float(roll[0, k])),
                moved_g=(float(moved[0, 0]), float(moved[0, k])),
            )
        )
    return tuple(sorted(found, key=lambda one: -abs(one.points)))


def _held(rows: Sequence[Sequence[Chassis]], tyres: Tyres, ay: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(n, k) each: balance point in % of the wheelbase, roll in degrees, grams moved; means of both turns."""
    count = len(rows[0])
    flat = stacked([car for row in rows for car in row])
    worn = Tyres(
        **{
            name: np.repeat(np.broadcast_to(np.asarray(getattr(tyres, name), dtype=float), (len(rows), 4)), count, 0)
            for name in ("grip", "sensitivity", "nominal")
        }
    )
    rest = equilibrium(flat).load
    station, roll, moved = [], [], []
    for side in (ay, -ay):
        state = equilibrium(flat, 0.0, side)
        station.append(100.0 * friction_centre(flat, worn, state.load)[:, 0] / np.asarray(flat.wheelbase))
        roll.append(np.degrees(np.abs(state.roll)))
        to_left = (state.load - rest)[:, [0, 2]].sum(axis=1)
        moved.append(np.abs(to_left) * 1e3 / STANDARD_GRAVITY)
    shape = (len(rows), count)
    mean = [np.mean(both, axis=0).reshape(shape) for both in (station, roll, moved)]
    return mean[0], mean[1], mean[2]
