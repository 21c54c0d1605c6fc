"""How much load a raised pad, a shim or a turned spring collar moves between the wheels of a standing car.

A car on four springs can shift load in one way only without moving its centre of gravity: the warp q. A pad height h
and a spring preload f change the loads by q (q'(K_s^-1 f + h))/(q'K^-1 q), with the suspension's rates K_s and the
rates K from body to floor, the tyres in series. SI units: N, m, N/m.
"""

import math
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheels import AXLES, CROSS


@dataclass(frozen=True, slots=True, kw_only=True)
class SpringRates:
    """Springs, tyres and bars of one car.

    spring: (4,) N/m at the spring.  motion_ratio: (4,) spring travel per wheel travel.  tyre: (4,) N/m, inf if rigid.
    bar: (2,) N/m front and rear, per metre of left-right difference of wheel travel; 0 when unhooked.
    track: (2,) m front and rear, contact places.
    """

    spring: FloatArray
    motion_ratio: FloatArray
    tyre: FloatArray
    bar: FloatArray
    track: FloatArray

    @property
    def wheel_rate(self) -> FloatArray:
        """(4,) N/m at the wheel, without tyre and bars.  Source: spring rate times motion ratio squared."""
        return self.spring * self.motion_ratio**2

    @property
    def suspension_compliance(self) -> FloatArray:
        """(4, 4) m/N from body to wheel, bars included."""
        stiffness = np.diag(self.wheel_rate)
        for axle, bar in zip(AXLES, self.bar, strict=True):
            stiffness[np.ix_(axle, axle)] += bar * np.array([[1.0, -1.0], [-1.0, 1.0]])
        return np.asarray(np.linalg.inv(stiffness), dtype=float)

    @property
    def compliance(self) -> FloatArray:
        """(4, 4) m/N from body to floor: suspension and tyres in series."""
        return self.suspension_compliance + np.diag(1.0 / np.asarray(self.tyre, dtype=float))


@dataclass(frozen=True, slots=True, kw_only=True)
class WarpResponse:
    """What warping does to this car.

    pattern: (4,) load change of the wheels per newton gained by the front-left one (it and the rear-right gain).
    per_height: (4, 4) N per m: column j, load changes when the floor under wheel j rises.
    per_preload: (4, 4), N per N: column j, load changes when the spring force at wheel j is raised (at the wheel).
    relative_u: relative standard uncertainty of per_height (and of what follows from it).
    source: where it comes from, in words.
    """

    pattern: FloatArray
    per_height: FloatArray
    per_preload: FloatArray
    relative_u: float
    source: str

    def grams_per_mm(self, gravity: float = STANDARD_GRAVITY) -> float:
        """Load that one wheel gains when the floor under it rises by 1 mm, g, mean size over the four wheels."""
        return float(np.abs(np.diag(self.per_height)).mean()) / gravity

    def cross_per_mm(self, gravity: float = STANDARD_GRAVITY) -> float:
        """Change of (FL + RR) - (FR + RL) when the floor under one wheel of the first pair rises by 1 mm, g."""
        return float(CROSS @ self.per_height[:, 0]) / gravity


def warp_pattern(track: FloatArray) -> FloatArray:
    """Direction of load changes that no statics forbids, (4,), 1 at front-left. track: (2,) m front and rear.

    Source: force and moment balance of four supports on two parallel axles.
    """
    front, rear = float(track[0]), float(track[1])
    if not (front > 0 and rear > 0 and math.isfinite(front + rear)):
        raise InputError("track must be positive", where="car card", remedy="Give the contact track in millimetres")
    return np.array([1.0, -1.0, -front / rear, front / rear])


def response_from_rates(rates: SpringRates, *, relative_u: float = 0.1) -> WarpResponse:
    """Response from spring, tyre and bar rates. relative_u: of the rates together (default: common practice, 10 %).

    Raises InputError when a rate, ratio or track is not positive.
    Source: least strain energy of four springs under a rigid body (elementary statics).
    """
    for name, given in (("spring rate", rates.spring), ("motion ratio", rates.motion_ratio), ("tyre rate", rates.tyre)):
        if np.shape(given) != (4,) or not np.all(np.asarray(given) > 0):
            raise InputError(f"{name} must be four positive numbers", where="car card", remedy="Correct the car card")
    if not np.all(np.asarray(rates.bar) >= 0):
        raise InputError("bar rate must not be negative", where="car card", remedy="Give 0 for no bar")
    whole = rates.compliance
    q = warp_pattern(rates.track)
    per_height = np.outer(q, q) / float(q @ whole @ q)
    return WarpResponse(
        pattern=q,
        per_height=per_height,
        per_preload=per_height @ rates.suspension_compliance,
        relative_u=relative_u,
        source="spring and tyre rates on the car card",
    )


def response_from_shim(
    before: FloatArray,
    after: FloatArray,
    covariance: FloatArray,
    *,
    wheel: int,
    shim: float,
    track: FloatArray,
    shim_u: float = 2e-5,
) -> WarpResponse:
    """Response measured by putting a known shim under one pad.

    before, after: (4,) N.  covariance: (4, 4) N2 of one weighing's repeatable part (noise, re-seating).
    wheel: which pad was raised.  shim, shim_u: m.  track: (2,) m.
    per_preload assumes wheel rates equal all round and rigid tyres: give rates where they are known.
    Raises InputError when the shim is not positive or the answer has the wrong sign or drowns in its doubt.
    Source: generalised least squares of the change onto the warp pattern.
    """
    if not (shim > 0 and math.isfinite(shim)):
        raise InputError("the shim's thickness must be positive", where="shim", remedy="Measure it in millimetres")
    q = warp_pattern(track)
    change_covariance = 2.0 * np.asarray(covariance, dtype=float)
    weight = np.linalg.pinv(change_covariance + 1e-12 * np.trace(change_covariance) * np.eye(4) + 1e-18 * np.eye(4))
    moved = float(q @ weight @ (np.asarray(after) - np.asarray(before)) / (q @ weight @ q))
    moved_u = math.sqrt(float(q @ weight @ change_covariance @ weight @ q)) / float(q @ weight @ q)
    rate = moved / (shim * q[wheel])  # per_height = rate * q q' in the units where q[0] is 1
    if rate <= 0 or abs(moved) < 2.0 * moved_u:
        raise InputError(
            "the shim's effect cannot be told from the scatter",
            where="shim",
            remedy="Use a thicker shim, settle the car and repeat",
        )
    relative = math.hypot(moved_u / moved, shim_u / shim)
    per_height = rate * np.outer(q, q)
    wheel_rate = rate * float(q @ q)
    return WarpResponse(
        pattern=q,
        per_height=per_height,
        per_preload=per_height / wheel_rate,
        relative_u=relative,
        source=f"measured with a shim of {1000 * shim:.2f} mm",
    )


def collar_turn(response: WarpResponse, rates: SpringRates, wheel: int, turns: float, pitch: float) -> FloatArray:
    """Load changes (4,), N, when a spring collar is turned. turns > 0 raises the preload (collar towards the spring).

    pitch: m of collar travel per turn.
    Source: preload at the wheel is spring rate * motion ratio * collar travel.
    """
    preload = np.zeros(4)
    preload[wheel] = rates.spring[wheel] * rates.motion_ratio[wheel] * turns * pitch
    change: FloatArray = response.per_preload @ preload
    return change
