"""Grip along a tyre over grip across it, from pulls of one axle lengthwise and sideways on one spring balance."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.grip.combine import GripMeasurement
from analysis.statistics.monte_carlo import Normal, first_order
from analysis.statistics.quantiles import NORMAL_95


@dataclass(frozen=True, slots=True, kw_only=True)
class PulledBothWays:
    """An axle with its wheels blocked, the other one's free, pulled level while it slides.

    along, across: N, of the pull lengthwise and sideways, with standard uncertainties of their own; what the balance
    adds to both alike drops out.  load, other: N on this axle and on the rolling one.  gains: +1 where the pull
    lengthwise presses this axle down (the front one pulled forwards, the rear one backwards), -1 where it lifts it.
    string, string_u: m, height of the string over the floor.  rolling, rolling_u: resistance of the other axle over
    its load.  wheelbase: m.
    """

    along: float
    along_u: float
    across: float
    across_u: float
    load: float
    other: float
    gains: int
    string: float
    string_u: float
    rolling: float
    rolling_u: float
    wheelbase: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AlongOverAcross:
    """Grip along over grip across, with its standard uncertainty and the parts of it by name."""

    ratio: float
    u: float
    parts: Mapping[str, float]

    @property
    def interval(self) -> tuple[float, float]:
        """95 %."""
        return self.ratio - NORMAL_95 * self.u, self.ratio + NORMAL_95 * self.u

    @property
    def alike(self) -> bool:
        """Whether grip that is alike both ways would fit."""
        low, high = self.interval
        return low <= 1.0 <= high


def along_over_across(pulled: PulledBothWays) -> AlongOverAcross:
    """Grip along over across of one axle's tyres.

    along = (A - k M) / (N ± A z / L), across = C / N: A, C the pulls, N the axle's load, M the other's, k its rolling
    resistance, z the string's height, L the wheelbase.  Raises InputError for pulls or loads that are not above zero.
    Source: forces, and moments about the other axle's contact (statics); law of propagation (JCGM 100:2008, 5.1).
    """
    if min(pulled.along, pulled.across, pulled.load, pulled.other) <= 0:
        raise InputError("pulls and loads must be above zero", where="pulls both ways", remedy="Measure them again")
    inputs = {
        "pulls along": Normal(value=pulled.along, u=pulled.along_u),
        "pulls across": Normal(value=pulled.across, u=pulled.across_u),
        "height of the string": Normal(value=pulled.string, u=pulled.string_u),
        "rolling of the other axle": Normal(value=pulled.rolling, u=pulled.rolling_u),
    }

    def ratio(x: FloatArray) -> FloatArray:
        along, across, string, rolling = np.moveaxis(x, -1, 0)
        under = pulled.load + pulled.gains * along * string / pulled.wheelbase
        found: FloatArray = (along - rolling * pulled.other) / under * pulled.load / across
        return found

    result = first_order(ratio, inputs)
    if result.value <= 0 or pulled.load + pulled.gains * pulled.along * pulled.string / pulled.wheelbase <= 0:
        raise InputError(
            "the axle would carry nothing, or the other one alone would hold that pull",
            where="pulls both ways",
            remedy="Pull lower, and check weights and forces",
        )
    return AlongOverAcross(ratio=result.value, u=result.u, parts=result.parts)


def as_across(measured: GripMeasurement, ratio: tuple[float, float], u: tuple[float, float]) -> GripMeasurement:
    """What grip that was measured along the car says of that across it.

    ratio, u: along over across of the front and the rear tyres, with standard uncertainties, which all measurements of
    that axle along share.  Source: of a car, along = w a F + (1 - w) b R, with w the front share of load, a and b the
    ratios, F and R the grip factors across.
    """
    if measured.quantity == "ratio":
        front, rear = 1.0, -1.0
        factor, weight = ratio[0] / ratio[1], measured.front_weight
    else:
        share = {"front": 1.0, "rear": 0.0}.get(measured.quantity, measured.front_weight)
        factor = share * ratio[0] + (1.0 - share) * ratio[1]
        front = share * ratio[0] / factor
        rear = 1.0 - front
        weight = front if measured.quantity == "mean" else measured.front_weight
    shared = {
        f"{axle} tyres along against across": part * doubt / of
        for axle, part, doubt, of in (("front", front, u[0], ratio[0]), ("rear", rear, u[1], ratio[1]))
        if part * doubt != 0.0
    }
    return replace(measured, value=measured.value / factor, front_weight=weight, shared={**measured.shared, **shared})
