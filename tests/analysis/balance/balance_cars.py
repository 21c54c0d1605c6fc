"""The standard car of the closed forms, and what a clip would show of a push: independent of the code under test."""

import math

import numpy as np

from analysis.balance.results import TurnSeen
from analysis.forecast.inputs import CarState
from analysis.measured.loaded import PosesUsed

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])


def car(*, drag=1.0, load=(3.92, 3.92, 3.92, 3.92), **more) -> CarState:
    """260 mm wheelbase, 170 mm track, 1.6 kg, all tyres alike."""
    return CarState(
        wheelbase=L,
        contact_place=PLACE,
        load=np.array(load, float),
        grip=np.full(4, 0.8),
        drag=np.array(np.broadcast_to(drag, (4,)), float),
        **more,
    )


def seen(kappa, *, u=1e-4, travel=0.04, poses=PosesUsed.BETWEEN_LOADED, **more) -> TurnSeen:
    """A clip's turn per travel (1/m), over a sideways travel (m, signed) of the middle."""
    return TurnSeen(
        kappa=kappa,
        own_u=u,
        interval=(kappa - 1.959964 * u, kappa + 1.959964 * u),
        turn=2.0 * math.asin(kappa * travel / 2.0),
        travel=travel,
        wheelbase=L,
        poses=poses,
        **more,
    )


def front_over_rear(station, kappa, h=H):
    """F/R of a blocked car, left and right alike, that a sliding finger at `station` (m) turns by kappa (1/m): moments
    about the pivot (X = L/2 - 1/kappa), by hand."""
    half, square = kappa * L / 2.0, (h * kappa) ** 2
    above = (station * (1.0 - half) - h * h * kappa) * math.sqrt((1.0 + half) ** 2 + square)
    return above / (((L - station) * (1.0 + half) + h * h * kappa) * math.sqrt((1.0 - half) ** 2 + square))


def kappa_for(station, pct, h=H):
    """kappa, 1/m, of that car with its balance at pct, by bisection of `front_over_rear`."""
    wanted, low, high = pct / (100.0 - pct), -6.0, 6.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if front_over_rear(station, middle, h) > wanted else (low, middle)
    return 0.5 * (low + high)
