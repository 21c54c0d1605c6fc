"""A car set so that it shares out load sideways as tilted pads measured it: instead of what its card says of height and
springs, which few can measure.
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


def as_measured(
    chassis: Chassis, *, share: FloatArray | float, height: FloatArray | float, ay: float
) -> tuple[Chassis, BoolArray]:
    """Cars (...) whose share (...) of 1 and effective transfer height (...) m at ay, m/s2, are those measured, and
    whether that could be had.

    The body's height and the front against the rear springs are moved, loads at rest and bars kept. Where a car shares
    out otherwise for another reason (roll centres, a stop), it is as near as springs can bring it.
    Source: one step of each unknown against the misfit, the two being nearly independent; repeated.
    """
    wanted, high = np.asarray(share, dtype=float), np.asarray(height, dtype=float)
    shape = np.broadcast_shapes(chassis.shape, wanted.shape, high.shape)
    raised, leaned = np.zeros(shape), np.zeros(shape)
    mass = np.asarray(chassis.mass / chassis.sprung_mass)
    best, fits = chassis, np.zeros(shape, dtype=bool)
    for _ in range(FIT_ROUNDS):
        best = _moved(chassis, raised, leaned)
        now = shared_out(best, ay)
        miss = np.nan_to_num(wanted - now.share), np.nan_to_num(high - now.height)
        fits = np.asarray((np.abs(miss[0]) < SHARE_FITS) & (np.abs(miss[1]) < HEIGHT_FITS) & np.isfinite(now.share))
        if fits.all():
            break
        miss = np.where(fits, 0.0, miss[0]), np.where(fits, 0.0, miss[1])  # each car for itself
        slope = np.maximum(2.0 * now.share * (1.0 - now.share), 0.1)
        leaned = np.clip(leaned + np.clip(miss[0] / slope, -0.4, 0.4), -MOST_LEANED, MOST_LEANED)
        raised = raised + miss[1] * mass
    return best, fits


def _moved(chassis: Chassis, raised: FloatArray, leaned: FloatArray) -> Chassis:
    """Bodies higher by `raised`, m, front springs stiffer and rear ones softer by the factor exp(leaned); (...)."""
    place = np.asarray(chassis.sprung_place) + np.stack([0.0 * raised, 0.0 * raised, raised], -1)
    lowest = 0.2 * np.asarray(chassis.sprung_place)[..., 2]
    place[..., 2] = np.maximum(place[..., 2], lowest)
    each = np.repeat(np.stack([np.exp(leaned), np.exp(-leaned)], -1), 2, axis=-1)
    return checked(replace(chassis, sprung_place=place, spring=np.asarray(chassis.spring * each)))


def one_by_one(many: Chassis) -> Sequence[Chassis]:
    """The cars of one leading axis, each by itself."""
    count = many.shape[0]
    ends = {name: (last,) if last else () for name, last in SHAPES.items()}
    whole = {name: np.broadcast_to(getattr(many, name), (count, *end)) for name, end in ends.items()}
    return [replace(many, **{name: part[k] for name, part in whole.items()}) for k in range(count)]
