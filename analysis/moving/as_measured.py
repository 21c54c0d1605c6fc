"""A car set so that it shares out load as tilted pads measured it: instead of what its card says of height and springs,
which few can measure.

A map of loads between the angles read would add nothing to that: engine cars on no stop are met by a car so set as by
straight lines between the readings (95 % within 0.20 % of a wheel's mean load by either: `set_car_pct`, `map_pct` in
tests/benchmarks/tilted_pads.py), while pads know that load to 1 %. What a car so set does not do is told by `misfits`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.springs.chassis import SHAPES, Chassis, checked
from analysis.springs.equilibrium import equilibrium

FIT_ROUNDS = 14
SHARE_FITS, HEIGHT_FITS = 5e-4, 5e-5
"""Of 1, and m: nearer than any board measures."""
MOST_LEANED = float(np.log(8.0)) / 2
"""Half the logarithm of the factor between front and rear springs beyond which not they are wrong on the card."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedOut:
    """What moves sideways. share: (...) of it on the front axle, of 1.  height: (...) m, effective transfer height."""

    share: FloatArray
    height: FloatArray


def shared_out(chassis: Chassis, ay: float) -> SharedOut:
    """How a car (...) shares out the load that ay, m/s2, moves sideways: the mean of both ways round.

    Source: moments of the wheel loads about the middle line; height = moment over the side force.
    """
    moved = (equilibrium(chassis, 0.0, ay).load - equilibrium(chassis, 0.0, -ay).load) / 2
    axle = np.stack([moved[..., 1] - moved[..., 0], moved[..., 3] - moved[..., 2]], -1) / 2
    whole = axle.sum(-1)
    moment = (axle * np.asarray(chassis.track)).sum(-1)
    return SharedOut(share=np.asarray(axle[..., 0] / whole), height=np.asarray(moment / (chassis.mass * ay)))


def pitch_height(chassis: Chassis, ax: float) -> FloatArray:
    """(...) m, effective transfer height of a car (...) along, at ax, m/s2: the mean of driving and braking.

    Source: moments of the wheel loads about an axle; height = moment over the force along.
    """
    moved = (equilibrium(chassis, ax, 0.0).load - equilibrium(chassis, -ax, 0.0).load)[..., 2:].sum(-1) / 2
    return np.asarray(moved * np.asarray(chassis.wheelbase) / (chassis.mass * ax))


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What tilted pads say. share: (...) of 1 and height: (...) m, effective transfer height, at ay, m/s2, sideways.

    pitch: (...) m, effective transfer height at ax, m/s2, along; None: not read.
    """

    share: FloatArray | float
    height: FloatArray | float
    ay: float
    pitch: FloatArray | float | None = None
    ax: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What sets a car by its card as it was read. raised: (...) m, body higher.  leaned: (...) front springs stiffer
    and rear ones softer by the factor exp(leaned).  shift: (...) m, by which its weight acts higher sideways.
    """

    raised: FloatArray
    leaned: FloatArray
    shift: FloatArray


def as_measured(chassis: Chassis, read: Readings) -> tuple[Chassis, BoolArray]:
    """Cars (...) that share out load as was read, and whether that could be had."""
    found, fits = correction(chassis, read)
    return corrected(chassis, found), fits


def correction(chassis: Chassis, read: Readings) -> tuple[Correction, BoolArray]:
    """What makes cars (...) share out load as was read, and whether that could be had.

    Moved are the front against the rear springs, and the body's height; where both ways were read that goes by pitch,
    and what is higher or lower sideways is given to tyres that give. Loads at rest and bars are kept. Where a car
    shares out otherwise for another reason (roll centres, a stop), it is as near as springs can bring it.
    Source: one step of each unknown against the misfit, the three being nearly independent; repeated.
    """
    given = [read.share, read.height, *(() if read.pitch is None else (read.pitch,))]
    wanted, high, *along = (np.asarray(one, dtype=float) for one in given)
    shape = np.broadcast_shapes(chassis.shape, *(one.shape for one in (wanted, high, *along)))
    raised, leaned, shift = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    found = Correction(raised=raised, leaned=leaned, shift=shift)
    mass = np.asarray(chassis.mass / chassis.sprung_mass)
    fits = np.zeros(shape, dtype=bool)
    for _ in range(FIT_ROUNDS):
        found = Correction(raised=raised, leaned=leaned, shift=shift)
        best = corrected(chassis, found)
        now = shared_out(best, read.ay)
        short = np.nan_to_num(wanted - now.share), np.nan_to_num(high - now.height)
        fits = np.asarray((np.abs(short[0]) < SHARE_FITS) & (np.abs(short[1]) < HEIGHT_FITS) & np.isfinite(now.share))
        lower = np.nan_to_num(along[0] - pitch_height(best, read.ax)) if along else short[1]
        fits &= np.abs(lower) < HEIGHT_FITS
        if fits.all():
            break
        tilt, sideways, body = (np.where(fits, 0.0, one) for one in (*short, lower))  # each car for itself
        slope = np.maximum(2.0 * now.share * (1.0 - now.share), 0.1)
        leaned = np.clip(leaned + np.clip(tilt / slope, -0.4, 0.4), -MOST_LEANED, MOST_LEANED)
        raised = raised + body * mass
        shift = shift + (sideways - body if along else 0.0)
    return found, fits


def corrected(chassis: Chassis, by: Correction) -> Chassis:
    """Cars (...) with what is said of them otherwise than by their card. Loads at rest and bars are kept."""
    raised, leaned = by.raised, by.leaned
    place = np.asarray(chassis.sprung_place) + np.stack([0.0 * raised, 0.0 * raised, raised], -1)
    lowest = 0.2 * np.asarray(chassis.sprung_place)[..., 2]
    place[..., 2] = np.maximum(place[..., 2], lowest)
    each = np.repeat(np.stack([np.exp(leaned), np.exp(-leaned)], -1), 2, axis=-1)
    return checked(
        replace(
            chassis,
            sprung_place=place,
            spring=np.asarray(chassis.spring * each),
            side_shift=np.asarray(chassis.side_shift + by.shift),
        )
    )


def one_by_one(many: Chassis) -> Sequence[Chassis]:
    """The cars of one leading axis, each by itself."""
    count = many.shape[0]
    ends = {name: (last,) if last else () for name, last in SHAPES.items()}
    whole = {name: np.broadcast_to(getattr(many, name), (count, *end)) for name, end in ends.items()}
    return [replace(many, **{name: part[k] for name, part in whole.items()}) for k in range(count)]
