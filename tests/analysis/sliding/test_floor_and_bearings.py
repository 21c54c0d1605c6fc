"""A floor that falls and bearings that hold a wheel whatever it carries, against equilibrium written out here.

Truth: forces and moments of single wheels (statics), solved by SciPy; the largest push that tyres within their limits
can balance (the dual of least power, any textbook of convex programming).
"""

import numpy as np
import pytest
from scipy.optimize import fsolve, minimize

from analysis.base.errors import InputError
from analysis.sliding import Contacts, Finger, LoadTransfer, solve_push
from analysis.whole_push.finite import Until, integrate_push
from analysis.whole_push.settled import integrate_settled
from analysis.whole_push.together import PushBatch, join_pushes

L = 0.26
PLACE = np.array([[0.262, 0.081], [0.258, -0.077], [0.003, 0.09], [-0.002, -0.083]])
LOAD = np.array([5.1, 3.2, 4.4, 2.9])
GRIP = np.array([0.9, 0.85, 0.7, 0.75])
FALL = np.array([0.012, -0.03])


def equilibrium(station: float, fall: np.ndarray, side: float = 1.0) -> tuple[np.ndarray, float]:
    """Twist (vx, vy, omega) of a blocked car and the push, from three equations of balance. side: the push's way."""
    weight, middle = LOAD.sum() * fall, (LOAD[:, None] * PLACE).sum(axis=0) / LOAD.sum()

    def balance(unknown: np.ndarray) -> np.ndarray:
        vx, omega, push = unknown
        vy = side - omega * station
        speed = np.stack([vx - omega * PLACE[:, 1], vy + omega * PLACE[:, 0]], axis=-1)
        force = -(GRIP * LOAD)[:, None] * speed / np.linalg.norm(speed, axis=-1, keepdims=True)
        turning = (PLACE[:, 0] * force[:, 1] - PLACE[:, 1] * force[:, 0]).sum()
        turning += station * side * push + middle[0] * weight[1] - middle[1] * weight[0]
        return np.array([*(force.sum(axis=0) + weight + [0.0, side * push]), 10.0 * turning])

    vx, omega, push = fsolve(balance, [0.0, side * 2.0, 8.0], xtol=1e-13)
    return np.array([vx, side - omega * station, omega]), push


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_floor_that_falls_pulls_at_the_centre_of_gravity(side: float) -> None:
    contacts = Contacts(place=PLACE, load=LOAD, grip=GRIP, fall=FALL)
    told = solve_push(contacts, Finger(kind="rolling", place=(0.19, -side * 0.09), direction=(0.0, side)))
    twist, push = equilibrium(0.19, FALL, side)
    np.testing.assert_allclose(told.twist, twist, rtol=0, atol=1e-9)
    assert told.push_force[1] == pytest.approx(side * push, rel=1e-9)
    assert told.certified
    level = equilibrium(0.19, np.zeros(2), side)[0]
    assert abs(twist[1] / twist[2] - level[1] / level[2]) > 0.005  # the case would show a floor left level


def test_a_finger_that_sticks_on_a_floor_that_falls() -> None:
    """The touched point goes straight ahead; moments about it balance, and so do the forces with the finger's."""
    place, finger = np.array([0.19, -0.09]), Finger(kind="sticking", place=(0.19, -0.09))
    told = solve_push(Contacts(place=PLACE, load=LOAD, grip=GRIP, fall=FALL), finger)
    weight, middle = LOAD.sum() * FALL, (LOAD[:, None] * PLACE).sum(axis=0) / LOAD.sum()

    def forces(omega: float) -> np.ndarray:
        arm = PLACE - place
        speed = np.stack([-omega * arm[:, 1], 1.0 + omega * arm[:, 0]], axis=-1)
        return -(GRIP * LOAD)[:, None] * speed / np.linalg.norm(speed, axis=-1, keepdims=True)

    def moment(omega: np.ndarray) -> float:
        force, arm = forces(float(omega[0])), PLACE - place
        about = middle - place
        return float(
            (arm[:, 0] * force[:, 1] - arm[:, 1] * force[:, 0]).sum() + about[0] * weight[1] - about[1] * weight[0]
        )

    omega = float(fsolve(moment, [3.0], xtol=1e-13)[0])
    assert told.twist[2] == pytest.approx(omega, rel=1e-9)
    np.testing.assert_allclose(told.push_force, -forces(omega).sum(axis=0) - weight, atol=1e-8)


def test_the_floor_keeps_falling_the_same_way_while_the_car_turns() -> None:
    """A whole push on a floor that falls is one on a floor turned with it: only the axes at the start differ."""
    turn = np.radians(20.0)
    cos, sin = np.cos(0.5), np.sin(0.5)
    turned = np.array([[cos, -sin], [sin, cos]])
    finger = Finger(kind="rolling", place=(0.19, -0.09))
    one = integrate_push(
        Contacts(place=PLACE, load=LOAD, grip=GRIP, fall=FALL), finger, until=Until(turn=turn), steps=8, middle=L / 2
    )
    other = integrate_push(
        Contacts(place=PLACE @ turned.T, load=LOAD, grip=GRIP, fall=turned @ FALL),
        Finger(kind="rolling", place=turned @ [0.19, -0.09], direction=turned @ [0.0, 1.0]),
        until=Until(turn=turn),
        steps=8,
        middle=L / 2,
    )
    np.testing.assert_allclose(turned @ one.path[-1, :2], other.path[-1, :2], atol=1e-9)
    # after 10 degrees the car's own axes see the fall turned back by as much
    back = np.array([[np.cos(one.turn), np.sin(one.turn)], [-np.sin(one.turn), np.cos(one.turn)]])
    last = integrate_push(
        Contacts(place=PLACE, load=LOAD, grip=GRIP, fall=back @ FALL), finger, until=Until(turn=1e-4), steps=1
    )
    moved = (
        one.path[-1]
        - integrate_push(
            Contacts(place=PLACE, load=LOAD, grip=GRIP, fall=FALL), finger, until=Until(turn=turn - 1e-4), steps=8
        ).path[-1]
    )
    np.testing.assert_allclose(moved[2], last.turn, rtol=1e-6)
    np.testing.assert_allclose(back @ moved[:2], last.path[-1, :2], atol=3e-9)


def largest_push(station: float, drag: np.ndarray, bearing: np.ndarray, fall: np.ndarray, heading: np.ndarray) -> float:
    """N: SciPy's SLSQP over the wheels' forces along and across; nothing of the solver under test."""
    most = GRIP * LOAD
    weight, middle = LOAD.sum() * fall, (LOAD[:, None] * PLACE).sum(axis=0) / LOAD.sum()
    roll = np.minimum(drag * most + bearing, most)
    ahead = np.stack([np.cos(heading), np.sin(heading)], axis=-1)
    left = np.stack([-np.sin(heading), np.cos(heading)], axis=-1)

    def balance(z: np.ndarray) -> np.ndarray:
        force = z[:4, None] * ahead + z[4:8, None] * left
        turning = (PLACE[:, 0] * force[:, 1] - PLACE[:, 1] * force[:, 0]).sum() + station * z[8]
        turning += middle[0] * weight[1] - middle[1] * weight[0]
        return np.array([*(force.sum(axis=0) + weight + [0.0, z[8]]), turning / L])

    limits = [
        {"type": "eq", "fun": balance},
        {"type": "ineq", "fun": lambda z: most**2 - z[:4] ** 2 - z[4:8] ** 2},
        {"type": "ineq", "fun": lambda z: np.concatenate([roll - z[:4], roll + z[:4]])},
    ]
    best = minimize(
        lambda z: -z[8], np.zeros(9), method="SLSQP", constraints=limits, options={"ftol": 1e-14, "maxiter": 500}
    )
    return -float(best.fun)


@pytest.mark.parametrize("seed", range(6))
def test_bearings_and_fall_together_against_the_largest_push(seed: int) -> None:
    rng = np.random.default_rng(seed)
    drag, bearing = rng.uniform(0.01, 0.1, 4), rng.uniform(0.0, 0.5, 4)
    bearing[seed % 4] = 9.0  # one wheel's bearings hold all that its tyre can pass on
    heading, fall, station = rng.normal(0, 0.05, 4), rng.normal(0, 0.02, 2), rng.uniform(0.1, 0.9) * L
    told = solve_push(
        Contacts(place=PLACE, load=LOAD, grip=GRIP, drag=drag, bearing=bearing, heading=heading, fall=fall),
        Finger(kind="rolling", place=(station, -0.09)),
    )
    assert told.certified
    assert told.push_force[1] == pytest.approx(largest_push(station, drag, bearing, fall, heading), rel=2e-6)
    assert told.push_force[1] != pytest.approx(
        largest_push(station, drag, np.zeros(4), fall, heading), rel=1e-3
    )  # the case would show bearings left out


def test_constant_drag_of_one_bearing_holds_the_pivot_at_its_wheel() -> None:
    """By hand: with a stiff bearing at the rear left the car turns about that wheel, whichever side is heavier.

    There the front left wheel goes straight sideways (all of its grip), the right wheels pass on 0.1 N each along and
    the rear left holds both; moments about the middle of the rear axle give the push. Drag by load would have put the
    pivot on the heavier, right side.
    """
    h, load = 0.085, np.array([3.5, 4.5, 3.6, 4.6])
    place = np.array([[L, h], [L, -h], [0.0, h], [0.0, -h]])
    bearing = np.array([0.1, 0.1, 0.5, 0.1])
    finger = Finger(kind="rolling", place=(0.8 * L, -h))
    told = solve_push(Contacts(place=place, load=load, grip=0.8, drag=0.0, bearing=bearing), finger)
    np.testing.assert_allclose(told.pivot, [0.0, h], atol=1e-4)
    across = 0.8 * load[0] + np.sqrt((0.8 * load[1]) ** 2 - 0.1**2)
    assert told.push_force[1] == pytest.approx((across + h * (0.1 + 0.1 + 0.2) / L) / 0.8, rel=1e-4)  # DRAG_FLOOR apart
    by_load = solve_push(Contacts(place=place, load=load, grip=0.8, drag=0.05), finger)
    assert by_load.pivot[1] < -0.05


def test_bearings_keep_their_drag_when_a_high_push_takes_load_off() -> None:
    """The rim of a rolling wheel is turned against the same 0.3 N however the push loads it: read off its force."""
    h = 0.085
    place = np.array([[L, h], [L, -h], [0.0, h], [0.0, -h]])
    lean = LoadTransfer(track_front=2 * h, track_rear=2 * h, wheelbase=L)
    car = Contacts(place=place, load=np.full(4, 4.0), grip=0.8, drag=0.02, bearing=[0.3, 0.1, 0.0, 0.0])
    told = solve_push(car, Finger(kind="rolling", place=(0.8 * L, -h), height=0.02), transfer=lean)
    turning = np.abs(told.roll_speed) > 1e-6
    assert turning[:2].any()
    for wheel in np.flatnonzero(turning):
        drag = 0.02 * 0.8 * told.load[wheel] + [0.3, 0.1, 0.0, 0.0][wheel]
        assert abs(told.tyre_force[wheel, 0]) == pytest.approx(drag, rel=1e-6)
    assert abs(told.load[0] - 4.0) > 0.2


def test_what_no_bearing_or_floor_has_is_refused_and_batches_keep_both() -> None:
    finger = Finger(kind="rolling", place=(0.2, -0.09))
    with pytest.raises(InputError, match="bearing drag"):
        solve_push(Contacts(place=PLACE, load=LOAD, bearing=[-0.1, 0, 0, 0]), finger)
    with pytest.raises(InputError, match="fall"):
        solve_push(Contacts(place=PLACE, load=LOAD, fall=(0.1, 0.1, 0.1)), finger)
    rolling = {"place": PLACE, "load": LOAD, "grip": GRIP, "drag": 0.03}
    parts = [
        PushBatch(contacts=one, finger=finger, transfer=None, count=1)
        for one in (Contacts(**rolling), Contacts(**rolling, bearing=[0.1, 0.4, 0.0, 0.2], fall=FALL))
    ]
    until = Until(turn=0.1, travel=0.1)
    together = integrate_settled(join_pushes(parts), until=until, tolerance=1e-3, rule="fixed on floor", middle=L / 2)
    for i, part in enumerate(parts):
        alone = integrate_settled(part, until=until, tolerance=1e-3, rule="fixed on floor", middle=L / 2)
        assert together.kappa[i] == pytest.approx(alone.kappa[0], rel=1e-9)
    assert np.abs(together.displacement[0] - together.displacement[1]).max() > 1e-4
