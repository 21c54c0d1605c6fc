"""What is true of a pushed car, worked out by hand: statics and the closed form of a blocked, even car.

Lengths in m, loads in g, turn per travel (kappa) in 1/m. One car stands for all: wheelbase 257 mm, contact tracks
165 mm, left and right alike, a slippery finger at floor height, wheels blocked.
"""

import math
from collections.abc import Sequence

WHEELBASE, HALF_TRACK = 0.257, 0.0825
TRAVEL = 0.006
"""m that a filmed push goes sideways."""
TURN_TOLD = math.radians(10.0)
"""The turn that a question without a push is meant for."""


def front_share(loads_g: Sequence[float]) -> float:
    """Front part of the weight, 0 to 1; loads FL FR RL RR."""
    return (loads_g[0] + loads_g[1]) / sum(loads_g)


def balance_pct(loads_g: Sequence[float], grip_ratio: float) -> float:
    """Balance point, per cent of the wheelbase: the front's part of the grip (statics)."""
    front = grip_ratio * (loads_g[0] + loads_g[1])
    return 100 * front / (front + loads_g[2] + loads_g[3])


def grip_ratio_of(station: float, kappa: float, loads_g: Sequence[float], turn: float = 0.0) -> float:
    """Front over rear grip factor of a car that turns by kappa when pushed at this station.

    Force and moment balance of four sliding contacts whose friction points against their velocity, solved for the
    two axles' grip: exact at one moment, left and right alike. Beyond what any ratio can do: 0 or infinity.
    turn: rad, of the whole push. A finger that goes straight on the floor slips along the turning side, half the
    track from the middle: on average it touches half the turn times that distance nearer to the tail.
    """
    station -= HALF_TRACK * turn / 2
    half, h = WHEELBASE / 2, HALF_TRACK
    front = math.hypot(1 + kappa * half, h * kappa)
    rear = math.hypot(1 - kappa * half, h * kappa)
    above = (station * (1 - kappa * half) - h * h * kappa) * front
    below = ((WHEELBASE - station) * (1 + kappa * half) + h * h * kappa) * rear
    if above <= 0 or below <= 0:
        return 0.0 if above <= 0 else math.inf
    return above / below * (loads_g[2] + loads_g[3]) / (loads_g[0] + loads_g[1])


def kappa_of(station: float, grip_ratio: float, loads_g: Sequence[float]) -> float:
    """Turn per travel of a push at this station: `grip_ratio_of` turned round by halving (it falls with kappa)."""
    low, high = -12.0, 12.0
    for _ in range(60):
        middle = (low + high) / 2
        if grip_ratio_of(station, middle, loads_g, middle * TRAVEL) > grip_ratio:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def station_for(pivot_pct: float, grip_ratio: float, loads_g: Sequence[float]) -> float:
    """Where to push, m ahead of the rear axle, for a pivot at this place: found by halving."""
    kappa = 1 / (WHEELBASE / 2 - pivot_pct / 100 * WHEELBASE)
    turn = math.copysign(TURN_TOLD, kappa)
    low, high = 0.0, 1.2 * WHEELBASE
    for _ in range(60):
        middle = (low + high) / 2
        if grip_ratio_of(middle, kappa, loads_g, turn) < grip_ratio:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def with_part(loads_g: Sequence[float], mass_g: float, ahead_mm: float) -> list[float]:
    """Loads with a part more on the middle line, ahead of the rear axle by so much (lever law)."""
    front = mass_g * ahead_mm / 1000 / WHEELBASE
    return [loads_g[0] + front / 2, loads_g[1] + front / 2, *(load + (mass_g - front) / 2 for load in loads_g[2:])]
