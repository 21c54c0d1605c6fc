"""Grip from the force on the finger: against hand-made statics, against pushes measured by others, and its mean."""

import numpy as np
import pytest
from scipy.optimize import root

from analysis.base.errors import InputError
from analysis.forecast.inputs import CarState, PushState
from analysis.grip.combine import GripMeasurement
from analysis.grip.push_force import CELL, LEVEL, Pressed, grip_by_force, grip_scale, mean_of_pushes
from analysis.sliding.contacts import Contacts
from analysis.sliding.finger import Finger
from tests.analysis.sliding.test_three_point import EXPECTED, SETS, table

LENGTH, TRACK = 0.26, 0.17
CONTACTS = np.array([[LENGTH, TRACK / 2], [LENGTH, -TRACK / 2], [0.0, TRACK / 2], [0.0, -TRACK / 2]])
LOAD = np.array([4.6, 4.1, 3.7, 4.2])


def car(grip: tuple[float, float] = (0.8, 0.7), **more: object) -> CarState:
    given = {
        "wheelbase": LENGTH,
        "contact_place": CONTACTS,
        "load": LOAD,
        "grip": np.repeat(grip, 2),
        "drag": np.ones(4),
    }
    return CarState(**(given | more))  # type: ignore[arg-type]


def balance_pct(state: CarState) -> float:
    each = state.grip * state.load
    return float(100.0 * each[:2].sum() / each.sum())


def force_by_statics(state: CarState, station: float) -> float:
    """N of a slippery finger along +y at this station on blocked wheels: three equations of statics, solved anew here.

    Coulomb friction opposes each contact's slip; unknown: the rotation centre (x, y) and the push. No least power.
    """
    limit = state.grip * state.load

    def out_of_balance(unknown: np.ndarray) -> np.ndarray:
        x, y, push = unknown
        # turning about (x, y); the contacts' velocity is (-(Y - y), X - x) times a rate with the sign of station - x
        sense = np.sign(station - x)
        slip = sense * np.stack([-(CONTACTS[:, 1] - y), CONTACTS[:, 0] - x], axis=-1)
        force = -limit[:, None] * slip / np.linalg.norm(slip, axis=-1, keepdims=True)
        moment = (CONTACTS[:, 0] * force[:, 1] - CONTACTS[:, 1] * force[:, 0]).sum()
        return np.array([force[:, 0].sum(), force[:, 1].sum() + push, moment + station * push])

    balance = balance_pct(state) / 100.0 * LENGTH
    radius = (TRACK / 2) ** 2 / (station - balance)
    found = root(out_of_balance, [station - radius, 0.01, 0.95 * limit.sum()], tol=1e-12)
    assert found.success
    return float(found.x[2])


def level_of(state: CarState, push: PushState, force: float, **more: float) -> float:
    pressed = Pressed(force=force, force_u=0.0, cell_u=0.0, station=push.station, **more)
    return grip_by_force(
        state, push, pressed, balance_pct=balance_pct(state), balance_u_pct=0.0, rng=np.random.default_rng(1), draws=4
    ).level


@pytest.mark.parametrize("at_mm", [20.0, 90.0, 118.0, 175.0, 230.0])
def test_the_level_is_that_of_the_statics_at_any_place(at_mm: float) -> None:
    true = car()
    push = PushState(station=at_mm / 1e3, path="fixed on car")
    assumed = car((1.6, 1.4))  # the cards' level says nothing, their ratio does
    expected = float((true.grip * true.load).sum() / LOAD.sum())
    assert level_of(assumed, push, force_by_statics(true, push.station)) == pytest.approx(expected, rel=2e-6)


@pytest.mark.parametrize(("away_mm", "share"), [(13.0, 0.989), (26.0, 0.962)])
def test_near_the_balance_point_it_is_the_small_formula(away_mm: float, share: float) -> None:
    """P = (F + R)(1 - (s - x_c)²/(2h²)): 0.989 and 0.962 at 13 and 26 mm were computed by an independent solver."""
    even = car((0.8, 0.8), load=np.full(4, 4.0))
    push = PushState(station=0.13 + away_mm / 1e3, path="fixed on car")
    pressed = Pressed(force=share * 12.8, force_u=0.0, cell_u=0.0, station=push.station)
    found = grip_by_force(
        even, push, pressed, balance_pct=50.0, balance_u_pct=0.0, rng=np.random.default_rng(1), draws=4
    )
    assert found.share == pytest.approx(share, abs=1e-3)
    assert found.level == pytest.approx(0.8, abs=1e-3)
    assert 1.0 - (away_mm / 85.0) ** 2 / 2.0 == pytest.approx(found.share, abs=0.01)


def test_the_axles_share_the_level_as_the_balance_point_says() -> None:
    state = car((0.9, 0.6), load=np.array([5.0, 4.6, 3.0, 3.4]))
    push = PushState(station=balance_pct(state) / 100 * LENGTH, path="fixed on car")
    pressed = Pressed(force=float((state.grip * state.load).sum()), force_u=0.0, cell_u=0.0, station=push.station)
    found = grip_by_force(
        car((0.7, 0.7), load=state.load),
        push,
        pressed,
        balance_pct=balance_pct(state),
        balance_u_pct=0.0,
        rng=np.random.default_rng(1),
        draws=4,
    )
    assert (found.front, found.rear) == (pytest.approx(0.9, rel=1e-6), pytest.approx(0.6, rel=1e-6))
    assert found.whole == pytest.approx(9.6 * 0.9 + 6.4 * 0.6, rel=1e-6)
    assert found.front_weight == pytest.approx(0.6)


@pytest.mark.parametrize("side", [1, -1])
def test_a_car_that_turned_presses_askew(side: int) -> None:
    """A slippery tip presses square to the side: along the finger only the cosine of the turn is felt."""
    push = PushState(station=0.16, side=side, path="fixed on floor")
    square, askew = (level_of(car(), push, 11.0, turn=np.radians(turn)) for turn in (0.0, 14.0))
    assert askew / square == pytest.approx(1.0 / np.cos(np.radians(14.0)), rel=1e-5)


@pytest.mark.parametrize("turn_deg", [0.0, 9.0])
def test_a_finger_that_rubs_without_friction_is_one_that_rolls(turn_deg: float) -> None:
    given = {"station": 0.17, "finger_y": -0.095, "path": "fixed on floor"}
    turn = float(np.radians(turn_deg))
    rolls = level_of(car(), PushState(finger="rolling", **given), 10.5, turn=turn)  # type: ignore[arg-type]
    rubs = level_of(car(), PushState(finger="rubbing", finger_friction=0.0, **given), 10.5, turn=turn)  # type: ignore[arg-type]
    assert rubs == pytest.approx(rolls, rel=1e-6)


def test_a_finger_that_sticks_at_the_balance_point_pushes_the_car_straight() -> None:
    """No turn, no force along the car: what it holds is the grip of all tyres, whichever side it touches."""
    even = car((0.8, 0.8), load=np.full(4, 4.0))
    for side in (1, -1):
        push = PushState(station=0.13, finger="sticking", finger_y=-side * 0.095, side=side, path="fixed on car")
        assert level_of(even, push, 12.8) == pytest.approx(0.8, rel=1e-6)


def test_each_cause_stands_for_itself() -> None:
    """A cell 3 % off, a finger 2 degrees off level (a grip's share of its angle) and a force of 0.2 N in 10."""
    even = car((0.8, 0.8), load=np.full(4, 4.0))
    push = PushState(station=0.13, path="fixed on car")
    pressed = Pressed(force=10.0, force_u=0.2, cell_u=0.03, station=0.13, tilt_u=float(np.radians(2.0)))
    found = grip_by_force(even, push, pressed, balance_pct=50.0, balance_u_pct=1.0, rng=np.random.default_rng(1))
    assert found.level == pytest.approx(10.0 / 16.0, rel=1e-6)
    assert found.own_u == pytest.approx(0.02)
    assert found.shared[CELL] == pytest.approx(0.03)
    assert found.shared[LEVEL] == pytest.approx(0.625 * np.radians(2.0))
    assert found.relative_u == pytest.approx(np.sqrt(0.02**2 + 0.03**2 + (0.625 * np.radians(2.0)) ** 2), rel=0.01)
    # a balance point known to one point in fifty leaves each axle's share to 2 %
    assert found.front_u == pytest.approx(np.hypot(found.relative_u, 0.02), rel=0.08)


def test_rolling_wheels_tell_no_level() -> None:
    rolling = car(drag=np.full(4, 0.02))
    with pytest.raises(InputError, match="Block the wheels"):
        level_of(rolling, PushState(station=0.16), 8.0)


def test_a_higher_push_moves_load_but_not_the_level_of_the_whole() -> None:
    """What leaves one side comes to the other: at the balance point the whole car grips as before."""
    even = car((0.8, 0.8), load=np.full(4, 4.0))
    push = PushState(station=0.13, height=0.03, path="fixed on car")
    assert level_of(even, push, 12.8) == pytest.approx(0.8, rel=1e-6)
    with pytest.raises(InputError, match="tip"):
        level_of(even, PushState(station=0.13, height=0.15, path="fixed on car"), 12.8)


@pytest.mark.parametrize("of", SETS)
def test_open_pushes_give_the_level_of_their_work_balance(of: str) -> None:
    """Forces on a block on three feet, measured by others; the level by work balance stands in expected.toml."""
    feet, pushes = table("supports.csv", of), table("pushes.csv", of)
    weight = 1.518 * 9.8
    count = len(pushes["fx_N"])
    contacts = Contacts(
        place=np.broadcast_to(np.stack([feet["x_mm"], feet["y_mm"]], axis=-1) / 1000, (count, 3, 2)),
        load=np.broadcast_to(feet["load_fraction"] * weight, (count, 3)),
    )
    force = np.stack([pushes["fx_N"], pushes["fy_N"]], axis=-1)
    size = np.linalg.norm(force, axis=-1)
    touched = np.stack([pushes["contact_x_mm"], pushes["contact_y_mm"]], axis=-1) / 1000
    finger = Finger(kind="line", place=touched, direction=force)
    levels = grip_scale(contacts, finger, size, axis=force / size[:, None])
    mean, spread = EXPECTED["mu"][of]
    assert abs(float(np.median(levels)) - mean) < spread
    assert 0.28 < float(np.median(levels)) < 0.39


def push_level(value: float, u: float = 0.01) -> GripMeasurement:
    return GripMeasurement(quantity="mean", value=value, relative_u=u, method="force", shared={CELL: 0.02})


def test_the_mean_of_three_pushes_goes_by_their_scatter() -> None:
    """Student's t of two degrees of freedom, 4.303, over sqrt(3), by hand; the cell's share stays."""
    found = mean_of_pushes([push_level(0.70), push_level(0.80), push_level(0.75)])
    logs = np.log([0.70, 0.80, 0.75])
    assert found.value == pytest.approx(np.exp(logs.mean()))
    assert 1.959964 * found.relative_u == pytest.approx(4.3027 * logs.std(ddof=1) / np.sqrt(3), rel=1e-4)
    assert found.shared == {CELL: pytest.approx(0.02)}


@pytest.mark.parametrize(("count", "u"), [(1, 0.17), (2, 0.1202)])
def test_one_or_two_pushes_have_the_usual_scatter(count: int, u: float) -> None:
    found = mean_of_pushes([push_level(0.7, 1e-6)] * count)
    assert found.relative_u == pytest.approx(u, rel=1e-3)


def test_pushes_that_happen_to_agree_are_no_surer_than_their_readings() -> None:
    assert mean_of_pushes([push_level(0.7, 0.03)] * 3).relative_u == pytest.approx(0.03 / np.sqrt(3))
    with pytest.raises(InputError):
        mean_of_pushes([])
