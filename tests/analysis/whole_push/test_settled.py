"""Finite pushes with kinks on the way against SciPy's stiff integrator with tight tolerances and steps of its own."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from analysis.base.errors import InputError
from analysis.sliding import Contacts, Finger, LoadTransfer, solve_push
from analysis.whole_push.finite import Until, integrate_push
from analysis.whole_push.settled import integrate_settled
from analysis.whole_push.together import PushBatch, join_pushes

L, H = 0.26, 0.083
PLACE = np.array([[L, H - 0.004], [L, -H], [0.0, H], [0.0, -H - 0.003]])
LOAD = np.array([3.9, 3.6, 3.7, 3.5])
TURN = np.radians(10.0)


def car(drag: list[float], coupling: list[int] | None = None) -> Contacts:
    return Contacts(place=PLACE, load=LOAD, grip=0.8, drag=drag, coupling=coupling)


def by_scipy(contacts: Contacts, station: float, turn: float) -> float:
    """kappa over the whole slide, 1/m: yaw is the clock, short steps throughout. The finger runs straight on the floor.

    Facts of the plane alone: the touched point is where the finger is, the pole of the whole move as in a textbook of
    kinematics; only the solver of one instant is the project's.
    """
    touch = np.array([station, -H])

    def rates(_: float, state: np.ndarray) -> list[float]:
        x, y, yaw, advance = state
        c, s = np.cos(yaw), np.sin(yaw)
        tip = touch + np.array([-x, advance - y])
        place = np.array([c * tip[0] + s * tip[1], -s * tip[0] + c * tip[1]])
        finger = Finger(kind="rolling", place=place, direction=(0.0, 1.0), motion=(s, c))
        vx, vy, omega = solve_push(contacts, finger).twist
        return [c * vx - s * vy, s * vx + c * vy, omega, 1.0]

    def turned(_: float, state: np.ndarray) -> float:
        return abs(state[2]) - turn

    turned.terminal = True  # type: ignore[attr-defined]
    end = solve_ivp(rates, (0, 0.12), np.zeros(4), events=turned, max_step=4e-4, rtol=1e-6, atol=1e-9).y_events[0][0]
    x, y, yaw = end[:3]
    away = complex(x, y) + L / 2 * np.exp(1j * yaw) - L / 2
    return float(2 * np.sin(yaw / 2) / (away * np.exp(-0.5j * yaw)).imag)


CASES = {
    "blocked": (car([1.0] * 4), 0.62),
    "front rolls, switches on the way": (car([0.02, 0.02, 1.0, 1.0]), 0.6),
    "rear rolls, switches on the way": (car([1.0, 1.0, 0.02, 0.02]), 0.58),
    "solid rear": (car([0.02] * 4, [0, 0, 1, 1]), 0.62),
}


@pytest.mark.thorough
@pytest.mark.parametrize("name", CASES)
def test_a_kink_on_the_way_costs_no_accuracy(name: str) -> None:
    contacts, share = CASES[name]
    batch = PushBatch(contacts=contacts, finger=Finger(kind="rolling", place=(share * L, -H)), transfer=None, count=1)
    until = Until(turn=TURN, travel=0.12)
    told = integrate_settled(batch, until=until, tolerance=1e-3, rule="fixed on floor", middle=L / 2)
    want = by_scipy(contacts, share * L, TURN)
    assert told.kappa[0] == pytest.approx(want, abs=0.02)
    assert told.certified[0]
    one = integrate_push(contacts, batch.finger, until=until, steps=1, rule="fixed on floor", middle=L / 2)
    if name != "blocked":
        assert abs(float(one.kappa) - want) > 5 * abs(told.kappa[0] - want)  # the case has a kink: one step misses it


def test_each_push_of_a_batch_comes_out_as_alone_and_says_how_near_it_came() -> None:
    parts = [
        PushBatch(contacts=contacts, finger=Finger(kind="rolling", place=(share * L, -H)), transfer=None, count=1)
        for contacts, share in CASES.values()
    ]
    until, middle = Until(turn=TURN, travel=0.12), L / 2
    together = integrate_settled(join_pushes(parts), until=until, tolerance=1e-3, rule="fixed on floor", middle=middle)
    for i, part in enumerate(parts):
        alone = integrate_settled(part, until=until, tolerance=1e-3, rule="fixed on floor", middle=middle)
        assert together.kappa[i] == pytest.approx(alone.kappa[0], rel=1e-9)
        # the touch walks towards the balance point (PHYSICS: 9 to 17 % of the wheelbase in 12 degrees), never away
        start = float(list(CASES.values())[i][1]) * L - LOAD[:2].sum() / LOAD.sum() * L
        assert 0.0 <= together.nearest[i] < start - 0.03 * L


def test_a_push_that_only_slides_straight_ends_at_the_finger_s_advance() -> None:
    even = Contacts(place=np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]]), load=np.full(4, 4.0), grip=0.8)
    batch = PushBatch(contacts=even, finger=Finger(kind="rolling", place=(L / 2, -H)), transfer=None, count=1)
    told = integrate_settled(batch, until=Until(turn=TURN, travel=0.03), tolerance=1e-3, rule="fixed on floor")
    assert told.turn[0] == pytest.approx(0.0, abs=1e-9)
    np.testing.assert_allclose(told.displacement[0], [0.0, 0.03], atol=1e-9)
    assert told.nearest[0] == pytest.approx(0.0, abs=1e-9)


def test_pushes_that_tip_on_their_way_stop_no_other() -> None:
    """By statics: pushed 0.2 m up with grip 0.8 a car 166 mm wide rolls over; its neighbour slides as it does alone."""
    lean = LoadTransfer(track_front=2 * H, track_rear=2 * H)
    parts = [
        PushBatch(
            contacts=Contacts(place=PLACE, load=LOAD, grip=grip),
            finger=Finger(kind="rolling", place=(0.6 * L, -H), height=height),
            transfer=lean,
            count=1,
        )
        for grip, height in ((0.8, 0.2), (0.8, 0.01), (0.45, 0.01))
    ]
    until = Until(turn=TURN, travel=0.12)
    told = integrate_settled(join_pushes(parts), until=until, tolerance=1e-3, rule="fixed on floor", middle=L / 2)
    assert told.certified.tolist() == [False, True, True]
    assert told.start.tips.tolist() == [True, False, False]
    alone = integrate_settled(parts[1], until=until, tolerance=1e-3, rule="fixed on floor", middle=L / 2)
    assert told.kappa[1] == pytest.approx(alone.kappa[0], rel=1e-9)
    with pytest.raises(InputError, match="rolls the car over"):
        integrate_settled(parts[0], until=until, tolerance=1e-3, rule="fixed on floor", middle=L / 2)
