"""Rolling wheels under a finger that runs straight on the floor: the touch walks along the car and parks."""

import math

import pytest

from analysis.balance.from_push import balance_from_push
from analysis.balance.results import BalanceDoubts, Placing
from analysis.forecast.inputs import PushState
from tests.analysis.balance.balance_cars import H, L, car, seen

SIDE_Y = -0.09


def walked(station: float, advance: float, balance: float, drag: float) -> tuple[float, float]:
    """Turn (rad) and sideways travel (m) of an even rolling car, by hand in small steps.

    Ahead of the balance by more than c·h/√(1 - c²) the car swings about the middle of its rear axle; nearer, the
    touch parks: it stays where it is on the car, so the turn makes up for the askew line: rate tan(yaw)/|y|.
    """
    dead = drag * H / math.sqrt(1 - drag**2)
    steps = 4000
    x = y = yaw = 0.0
    tip_x, tip_y = station, SIDE_Y
    for _ in range(steps):
        at = math.cos(yaw) * (tip_x - x) + math.sin(yaw) * (tip_y - y)
        rate = 1.0 / at if at > balance + dead else math.tan(yaw) / abs(SIDE_Y)
        pressed = advance / steps * math.cos(yaw)  # of the finger's step, square to the side
        aside = (1.0 - rate * at) * pressed  # of the rear axle's middle, to the left
        x, y, yaw = x - math.sin(yaw) * aside, y + math.cos(yaw) * aside, yaw + rate * pressed
        tip_y += advance / steps
    middle = (x + L / 2 * math.cos(yaw) - L / 2, y + L / 2 * math.sin(yaw))
    return yaw, middle[1] * math.cos(yaw / 2) - middle[0] * math.sin(yaw / 2)


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("station", "advance", "balance", "drag"),
    [(0.15, 0.06, 0.13, 0.05), (0.1445, 0.03, 0.1288, 0.08), (0.1445, 0.03, 0.131, 0.1), (0.1505, 0.05, 0.1288, 0.1)],
)
def test_a_touch_that_parked_gives_bounds_that_hold_the_balance(station, advance, balance, drag) -> None:
    turn, travel = walked(station, advance, balance, drag)
    kappa = 2 * math.sin(turn / 2) / travel
    assert 0.2 < kappa / (2 / L) < 0.95  # the clip shows neither axle: that is the case at hand
    push = PushState(station=station, finger_y=SIDE_Y, path="fixed on floor")
    found = balance_from_push(
        car(drag=drag), push, seen(kappa, u=0.05, travel=travel), doubts=BalanceDoubts(placing=Placing.SEEN)
    )
    assert found.axle == "rear"
    assert found.bounds_pct is not None
    assert found.bounds_pct[0] <= 100 * balance / L <= found.bounds_pct[1] < 100 * station / L
    assert found.bounds_pct[1] - found.bounds_pct[0] < 10.0
