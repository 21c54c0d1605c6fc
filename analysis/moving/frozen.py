"""A moment of driving frozen at rest: which ballast where gives the standing car that moment's shares of load."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeBallast:
    """mass: kg one has.  start: (2,) m where it lies on the car now, ahead of the rear axle and left; None: not on it.

    along, across: (lowest, highest) m where it may go.
    """

    mass: float
    along: tuple[float, float]
    across: tuple[float, float]
    start: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Frozen:
    """place: (2,) m, where the ballast goes.  front, left: share of the load that the standing car then has; wanted:
    (front, left) of the moment.  left_over: (front, left), wanted less reached.  reached: whether the ballast could go
    where it had to.  weight: N with the ballast.
    """

    place: tuple[float, float]
    front: float
    left: float
    wanted: tuple[float, float]
    left_over: tuple[float, float]
    reached: bool
    weight: float


def frozen_moment(
    load: FloatArray, moment: FloatArray, contact: FloatArray, ballast: FreeBallast, *, sideways: bool, gravity: float
) -> Frozen:
    """Where ballast must go so that the car at rest has the axle shares of a moment on the move.

    load: (4,) N at rest, ballast that lies on the car included.  moment: (4,) N on the move.  contact: (4, 2) m, car
    axes.  sideways: set the side shares, too; cross weight is left to the collars.  gravity: m/s2.
    Raises InputError for a mass that is none, or heavier than the car.
    Source: moments about the axles and the middle line (statics); equal tracks are not needed, the side share then
    means moment over half the mean track.
    """
    weight_b = ballast.mass * gravity
    if not (np.isfinite(weight_b) and 0 < weight_b < float(load.sum())):
        raise InputError("this ballast is none, or outweighs the car", where="ballast", remedy="Give grams")
    length, half = float(contact[:2, 0].mean() - contact[2:, 0].mean()), float(np.abs(contact[:, 1]).mean())
    rear = float(contact[2:, 0].mean())
    total = float(load.sum())
    along = float(load @ (contact[:, 0] - rear))
    across = float(load @ contact[:, 1])
    if ballast.start is not None:
        total -= weight_b
        along -= weight_b * (ballast.start[0] - rear)
        across -= weight_b * ballast.start[1]
    whole = total + weight_b
    wanted_front = float(moment @ (contact[:, 0] - rear)) / (float(moment.sum()) * length)
    wanted_side = float(moment @ contact[:, 1]) / (float(moment.sum()) * half)
    x = (wanted_front * length * whole - along) / weight_b + rear
    y = (wanted_side * half * whole - across) / weight_b if sideways else _own(ballast)
    place = float(np.clip(x, *ballast.along)), float(np.clip(y, *ballast.across))
    front = (along + weight_b * (place[0] - rear)) / (whole * length)
    side = (across + weight_b * place[1]) / (whole * half)
    aim = (wanted_front, 0.5 + wanted_side / 2)
    left = 0.5 + side / 2
    return Frozen(
        place=place,
        front=front,
        left=left,
        wanted=aim,
        left_over=(aim[0] - front, aim[1] - left),
        reached=bool(np.allclose(place, (x, y), rtol=0, atol=1e-9)),
        weight=whole,
    )


def _own(ballast: FreeBallast) -> float:
    return ballast.start[1] if ballast.start is not None else 0.0


def loads_with(
    load: FloatArray, contact: FloatArray, frozen: Frozen, ballast: FreeBallast, *, gravity: float
) -> FloatArray:
    """(4,) N of the standing car with its ballast: shared out as by four wheels that give alike; axle sums are exact.

    load: (4,) N and contact: (4, 2) m as in `frozen_moment`.  gravity: m/s2.
    """
    out = np.asarray(load, dtype=float)
    moves = [(frozen.place, 1.0)] + ([(ballast.start, -1.0)] if ballast.start is not None else [])
    for place, sign in moves:
        out = out + sign * ballast.mass * gravity * _shares(contact, np.array(place))
    return out


def _shares(contact: FloatArray, place: FloatArray) -> FloatArray:
    """(4,) share of a mass at place (2,) m that each wheel takes: a plane that gives alike under all four."""
    design = np.column_stack([np.ones(4), contact])
    return np.asarray(design @ np.linalg.solve(design.T @ design, np.array([1.0, *place])), dtype=float)
