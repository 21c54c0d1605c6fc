"""Grip factors on the bench: a tilt board, and a horizontal pull.

Statics of a car at the point of slipping; uncertainties by the law of propagation (GUM, 5.1).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.grip.combine import GripMeasurement, GripState
from analysis.grip.conditions import GripNotes
from analysis.statistics.monte_carlo import Normal, first_order

AxleName = Literal["front", "rear"]
Nose = Literal["up", "down"]


def slope_share(front_share: float, height_ratio: float, angle: float, *, axle: AxleName, nose: Nose) -> float:
    """Load on an axle over the load of the whole car square to the board: the slope moves some downhill.

    front_share: front part of the weight on the level.  height_ratio: height of the centre of gravity over
    the wheelbase.  angle: rad, of the board.  Source: moment balance about the other axle (statics).
    """
    shift = height_ratio * np.tan(angle) * (1.0 if nose == "down" else -1.0)
    share = front_share + shift if axle == "front" else 1.0 - front_share - shift
    return float(share)


@dataclass(frozen=True, slots=True, kw_only=True)
class OnBoard:
    """A car on the tilt board.

    angle: rad, at the slip (static) or at which it just keeps sliding (sliding).  angle_u: rad, its own uncertainty;
    angle_shared_u: rad, that of the protractor, which all tilt tests share.
    front_share, height_ratio: see `slope_share`, with their standard uncertainties _u.  nose: where it points.
    """

    angle: float
    angle_u: float
    angle_shared_u: float = 0.0
    front_share: float
    front_share_u: float = 0.0
    height_ratio: float
    height_ratio_u: float = 0.0
    nose: Nose = "up"

    def share(self, axle: AxleName) -> float:
        """Load on an axle over the load of the whole car square to the board."""
        return slope_share(self.front_share, self.height_ratio, self.angle, axle=axle, nose=self.nose)


def tilt_axle(
    board: OnBoard,
    *,
    axle: AxleName,
    rolling: float = 0.0,
    rolling_u: float = 0.01,
    state: GripState = "static",
    notes: GripNotes | None = None,
) -> GripMeasurement:
    """Grip of one axle from the slope at which the car slips, the other axle standing on rollers.

    The blocked axle holds the whole car: mu = (tan(angle) - k (1 - s)) / s with s the axle's share of the
    load on the slope and k the rolling resistance of the other axle over its load, rolling ± rolling_u.
    Raises InputError when the axle would carry nothing at that slope.
    """
    _check_angle(board.angle, board.angle_u)
    inputs: Mapping[str, Normal] = {
        "angle": Normal(value=board.angle, u=board.angle_u),
        "front share": Normal(value=board.front_share, u=board.front_share_u),
        "height": Normal(value=board.height_ratio, u=board.height_ratio_u),
        "rolling": Normal(value=rolling, u=rolling_u),
        "protractor": Normal(value=0.0, u=board.angle_shared_u),
    }
    if board.share(axle) <= 0.02:
        raise InputError(
            "carries almost nothing at this slope",
            where=f"tilt board, {axle} axle",
            remedy="Turn the car round on the board, or check the height of the centre of gravity",
        )
    sign = 1.0 if board.nose == "down" else -1.0

    def grip(x: FloatArray) -> FloatArray:
        tilt, front, height, drag, error = np.moveaxis(x, -1, 0)
        slope = np.tan(tilt + error)
        share = front + sign * height * slope
        share = share if axle == "front" else 1.0 - share
        factor: FloatArray = (slope - drag * (1.0 - share)) / share
        return factor

    result = first_order(grip, inputs)
    if result.value <= 0:
        raise InputError(
            "the rolling resistance alone would hold the car",
            where=f"tilt board, {axle} axle",
            remedy="Check the angle and the rolling resistance",
        )
    own = float(np.sqrt(max(result.u**2 - sum(result.parts[n] ** 2 for n in _SHARED), 0.0)))
    shared = {common: result.sensitivity[name] * inputs[name].u / result.value for name, common in _SHARED.items()}
    return GripMeasurement(
        quantity=axle,
        value=result.value,
        relative_u=own / result.value,
        state=state,
        method=f"tilt board, {axle} axle",
        shared=shared,
        notes=notes or GripNotes(),
    )


_SHARED = {
    "protractor": "tilt board, protractor",
    "front share": "front share of weight",
    "height": "height of the centre of gravity",
}
"""Errors that repeat in other measurements, and the names under which they are known there."""


def tilt_car(board: OnBoard, *, state: GripState = "static", notes: GripNotes | None = None) -> GripMeasurement:
    """Mean grip of the whole car, all wheels blocked, pointing up or down the slope: tan(angle).

    All wheels slip together, so tan(angle) is the mean of both axles' grip weighted by the loads they carry
    on the slope. (Across the slope the weaker axle slips first: do not use that for a mean.)
    """
    _check_angle(board.angle, board.angle_u)
    weight = board.share("front")
    if not 0 < weight < 1:
        raise InputError(
            "one axle would lift at this slope",
            where="tilt board, whole car",
            remedy="Check the height of the centre of gravity",
        )
    value, gain = float(np.tan(board.angle)), float(1.0 + np.tan(board.angle) ** 2)
    return GripMeasurement(
        quantity="mean",
        value=value,
        relative_u=gain * board.angle_u / value,
        front_weight=weight,
        state=state,
        method="tilt board, whole car",
        shared={"tilt board, protractor": gain * board.angle_shared_u / value},
        notes=notes or GripNotes(),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OnBalance:
    """A pull on a spring balance. force, force_u: N.  gauge_shared_u: relative, of the balance, which all pulls share.

    load, load_u: N, on what slips.  angle, angle_u: rad, of the string above the floor.
    """

    force: float
    force_u: float
    gauge_shared_u: float = 0.0
    load: float
    load_u: float
    angle: float = 0.0
    angle_u: float = 0.0


def pull(
    balance: OnBalance,
    *,
    quantity: Literal["front", "rear", "mean"],
    front_weight: float = 0.5,
    state: GripState = "sliding",
    notes: GripNotes | None = None,
) -> GripMeasurement:
    """Grip from a pull: of one axle (wheels of the other free, pulled sideways at the axle) or the whole car.

    mu = F cos(angle) / (N - F sin(angle)).  front_weight: front part of the load, for the whole car pulled at its
    balance point.  Raises InputError when force or load is not above zero, or the string lifts what it should drag.
    """
    if balance.force <= 0 or balance.load <= 0:
        raise InputError("force and load must be above zero", where="horizontal pull", remedy="Measure both again")
    inputs: Mapping[str, Normal] = {
        "force": Normal(value=balance.force, u=balance.force_u),
        "load": Normal(value=balance.load, u=balance.load_u),
        "angle": Normal(value=balance.angle, u=balance.angle_u),
        "gauge": Normal(value=1.0, u=balance.gauge_shared_u),
    }

    def grip(x: FloatArray) -> FloatArray:
        pulled, weight, tilt, gauge = np.moveaxis(x, -1, 0)
        factor: FloatArray = gauge * pulled * np.cos(tilt) / (weight - gauge * pulled * np.sin(tilt))
        return factor

    if balance.load - balance.force * np.sin(balance.angle) <= 0:
        raise InputError("the string lifts what it should drag", where="horizontal pull", remedy="Pull level")
    result = first_order(grip, inputs)
    own = float(np.sqrt(max(result.u**2 - result.parts["gauge"] ** 2, 0.0)))
    return GripMeasurement(
        quantity=quantity,
        value=result.value,
        relative_u=own / result.value,
        front_weight=front_weight,
        state=state,
        method=f"horizontal pull, {'whole car' if quantity == 'mean' else quantity + ' axle'}",
        shared={"spring balance": result.sensitivity["gauge"] * balance.gauge_shared_u / result.value},
        notes=notes or GripNotes(),
    )


def read_off_u(values: FloatArray) -> float:
    """Standard uncertainty of a mean of readings from the step they were read off in. values: (n,), in any unit.

    Three equal readings have no scatter and are not exact: the step, the coarsest of 1, 0.5, 0.1, 0.05, 0.01 that all
    readings stand on, leaves half of it to either side, in the same direction for equal readings.
    Source: JCGM 100:2008, F.2.2.1 (step / sqrt(12)).
    """
    for step in (1.0, 0.5, 0.1, 0.05):
        if np.allclose(values / step, np.round(values / step), rtol=0.0, atol=1e-6):
            return step / float(np.sqrt(12.0))
    return 0.01 / float(np.sqrt(12.0))


def mean_of_repeats(repeats: FloatArray, *, usual: float, read_off: float) -> tuple[float, float]:
    """Mean of repeats (n,) and its standard uncertainty by their scatter, never below what the scale's step leaves.

    usual: scatter, where there is only one.  read_off: of the step in which they were read off.
    """
    if len(repeats) == 1:
        return float(repeats[0]), usual
    return float(np.mean(repeats)), max(float(np.std(repeats, ddof=1) / np.sqrt(len(repeats))), read_off)


def mean_of_pulls(forces: FloatArray) -> tuple[float, float]:
    """Mean of pulls (n,), N, and its standard uncertainty; one alone scatters by 3 % (our own choice)."""
    return mean_of_repeats(forces, usual=0.03 * float(forces[0]), read_off=read_off_u(forces))


def _check_angle(angle: float, angle_u: float) -> None:
    if not 0 < angle < np.pi / 2:
        raise InputError(
            f"{np.degrees(angle):g} degrees is no slope",
            where="tilt board",
            remedy="Give an angle between 0 and 90 degrees",
        )
    if not angle_u > 0:
        raise InputError("the angle needs an uncertainty above 0", where="tilt board", remedy="Half a degree is usual")
