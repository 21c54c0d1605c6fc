"""The further unknown of an inference: its grid and prior, and the car for each place of it."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.wheel_names import WHEEL_KEYS
from analysis.base.wheels import FRONT
from analysis.forecast.inputs import CarState

Unknown = Literal["cg station", "drag FL", "drag FR", "drag RL", "drag RR"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FurtherUnknown:
    """The further unknown on its grid: place (k,), width (k,) of each cell, log prior (k,).

    log_prior: (k,).  prior_u: standard deviation of the prior, in the unit of the place.
    """

    name: Unknown | None
    place: FloatArray
    width: FloatArray
    log_prior: FloatArray
    prior_u: float


def further_unknown(car: CarState, also: Unknown | None) -> FurtherUnknown:
    """The grid of one unknown, with a prior as `infer` says; a single cell for None."""
    if also is None:
        return FurtherUnknown(name=None, place=np.zeros(1), width=np.ones(1), log_prior=np.zeros(1), prior_u=0.0)
    if also == "cg station":
        here = cg_station(car)
        moment = FRONT * car.wheelbase
        slope = (moment - here) / car.load.sum()
        u = float(np.sqrt(slope @ car.load_covariance @ slope)) or car.wheelbase / 6.0
        place = np.linspace(max(0.02 * car.wheelbase, here - 4 * u), min(0.98 * car.wheelbase, here + 4 * u), 41)
        return FurtherUnknown(
            name=also, place=place, width=np.gradient(place), log_prior=-0.5 * ((place - here) / u) ** 2, prior_u=u
        )
    place = np.linspace(0.0, 1.0, 33) ** 2  # small drags matter most
    return FurtherUnknown(
        name=also, place=place, width=np.gradient(place), log_prior=np.zeros(33), prior_u=float(1.0 / np.sqrt(12.0))
    )


def cg_station(car: CarState) -> float:
    """Station of the centre of gravity from the loads at rest, m."""
    return float(car.load @ car.contact_place[:, 0] / car.load.sum())


def variant_of(car: CarState, second: FurtherUnknown) -> tuple[CarState, FloatArray | float, FloatArray | None]:
    """The car, and for each place of the second unknown the loads to add (k, 4) or the drags (k, 4)."""
    if second.name is None:
        return car, 0.0, None
    k = len(second.place)
    if second.name == "cg station":
        front, rear = car.load[:2].sum(), car.load[2:].sum()
        moved = (second.place - cg_station(car)) / car.wheelbase * car.load.sum()
        share = np.concatenate([car.load[:2] / front, -car.load[2:] / rear])
        within = np.kron(np.eye(2), np.array([[0.5, -0.5], [-0.5, 0.5]]))  # what is left once axle sums are known
        fixed = replace(car, load_covariance=within @ car.load_covariance @ within.T)
        return fixed, moved[:, None] * share, None
    wheel = WHEEL_KEYS.index(second.name.removeprefix("drag "))
    drag = np.tile(car.drag, (k, 1))
    drag[:, wheel] = second.place
    known = car.drag_u.copy()
    known[wheel] = 0.0
    return replace(car, drag_u=known), 0.0, drag
