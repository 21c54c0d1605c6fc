"""Cross weight and the floor: what a millimetre is worth, whether the two can be told apart, which shims to use."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheels import CROSS
from analysis.statistics.estimate import Estimate
from analysis.statistics.quantiles import NORMAL_95
from analysis.weighing.corner_weights import CornerWeights
from analysis.weighing.warp import (
    WarpResponse,
)

SHIMS = (0.05e-3, 0.1e-3, 0.2e-3, 0.5e-3, 1.0e-3)
"""Common feeler-gauge thicknesses, m."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorVerdict:
    """Can the measured cross weight be told from an uneven floor?

    cross_g: (FL + RR) - (FR + RL), g, as measured.
    level_u: standard uncertainty of the pads' heights, m, that would still let it be told.  told_apart: the verdict.
    text: one sentence.
    """

    cross_g: Estimate
    told_apart: bool
    level_u: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShimPlan:
    """Shims that bring the four pads into one plane.

    thickness: (4,) m under FL, FR, RL, RR.  warp_after: m, how far the pads still are from one plane under these
    tyres: (FL + RR) - (FR + RL) where the tracks are alike, see `out_of_plane`.  text: what to do.
    """

    thickness: FloatArray
    warp_after: float
    text: str


def floor_verdict(
    weights: CornerWeights, response: WarpResponse, height_u: float, *, gravity: float = STANDARD_GRAVITY
) -> FloorVerdict:
    """Whether this weighing's cross weight is the car's own.

    height_u: standard uncertainty of one pad's height, m, independent of the others.
    Source: propagation of independent pad heights through the warp response; 95 %.
    """
    if not (math.isfinite(height_u) and height_u >= 0):
        raise InputError(
            "pad height uncertainty must not be negative",
            where="bench card",
            remedy="Give it in millimetres, for example 0.3 without any levelling",
        )
    per_pad = CROSS @ response.per_height * (1000.0 / gravity)
    per_metre = float(np.linalg.norm(per_pad))
    floor = per_metre * height_u
    measured = weights.cross_g
    both = math.hypot(measured.half_width, NORMAL_95 * floor)
    apart = abs(measured.value) > both
    spare = (abs(measured.value) ** 2 - measured.half_width**2) / NORMAL_95**2
    level = math.sqrt(spare) / per_metre if spare > 0 and per_metre > 0 else 0.0
    heavy = "front-left and rear-right" if measured.value > 0 else "front-right and rear-left"
    worth = f"1 mm under one wheel moves {response.cross_per_mm(gravity):.0f} g between the diagonals"
    if apart:
        text = (
            f"The diagonal {heavy} carries {abs(measured.value):.0f} g more, and the floor cannot explain it; {worth}"
        )
    elif level > 0:
        text = (
            f"{abs(measured.value):.0f} g between the diagonals may be the floor's: level the pads to "
            f"{1000 * level:.2f} mm or turn the car and the pads; {worth}"
        )
    else:
        text = f"{abs(measured.value):.0f} g between the diagonals cannot be told from zero by this weighing; {worth}"
    return FloorVerdict(cross_g=measured, told_apart=apart, level_u=level, text=text)


def out_of_plane(contact: FloatArray) -> FloatArray:
    """(4,) factors of the heights of FL, FR, RL, RR whose sum is zero where the four points lie in one plane.

    Their sizes add up to four and front left counts positively: 1, -1, -1, 1 where the tracks are alike; the wider
    axle's less, since the same height tilts it less.  contact: (4, 2) m, where the tyres stand.
    Source: the one combination of four heights that no plane a + b x + c y has, elementary.
    """
    from scipy.linalg import null_space

    factors = null_space(np.vstack([np.ones(4), np.asarray(contact, dtype=float).T]))[:, 0]
    return np.asarray(factors * 4.0 / np.abs(factors).sum() * np.sign(factors[0]), dtype=float)


def plan_shims(
    height: FloatArray,
    contact: FloatArray,
    *,
    available: Sequence[float] = SHIMS,
    most: int = 3,
) -> ShimPlan:
    """Which shims bring the pads into one plane: a tilt matters little to cross weight, a warp matters much.

    height: (4,) m, measured heights of the pads under FL, FR, RL, RR.  contact: (4, 2) m, where the tyres stand on
    them.  available: thicknesses, m, any number of each.  most: shims in one stack.
    Raises InputError on heights or shims that cannot be.
    """
    heights = np.asarray(height, dtype=float)
    if heights.shape != (4,) or not np.all(np.isfinite(heights)) or not all(s > 0 for s in available):
        raise InputError(
            "expected four finite heights and positive shims",
            where="shims",
            remedy="Measure each pad's height against a straight edge, in millimetres",
        )
    factors = out_of_plane(contact)
    warp = float(factors @ heights)
    # Raising one pad of the low diagonal is enough; the lower of the two keeps the tilt small.
    low_pair = [1, 2] if warp > 0 else [0, 3]
    wheel = min(low_pair, key=lambda i: heights[i])
    stacks = [stack for size in range(most + 1) for stack in combinations_with_replacement(sorted(available), size)]
    lacking = abs(warp / factors[wheel])
    best = min(stacks, key=lambda stack: (round(abs(lacking - sum(stack)), 9), len(stack)))
    thickness = np.zeros(4)
    thickness[wheel] = sum(best)
    remaining = float(factors @ (heights + thickness))
    name = ("front-left", "front-right", "rear-left", "rear-right")[wheel]
    text = "No shim: the pads lie in one plane as well as these shims can make them"
    if best:
        text = f"Put {' + '.join(f'{1000 * s:.2f}' for s in best)} mm under the {name} pad"
    return ShimPlan(thickness=thickness, warp_after=remaining, text=text)
