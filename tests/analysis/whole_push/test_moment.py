"""Cars that would outrun their finger, held to its pace.

Truth: Newton's second law for a car with mass that starts from rest, written here, stepped until it is as fast along
its own axis as the finger that pushes it; Coulomb's friction, a wheel giving at most its drag along its rolling
direction.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.sliding import Contacts, Finger, solve_push
from analysis.sliding.contacts import Whole
from analysis.sliding.finger import FingerKind
from analysis.whole_push.finite import Until, integrate_push
from analysis.whole_push.moment import at_pace, slide_begins, slide_goes_on
from analysis.whole_push.patch import at_patches

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

from pushed_truth import TrueCars, TruePush, true_balance, true_kappa

L, HALF, SIDE = 0.26, 0.085, -0.095
PLACE = np.array([[L, HALF], [L, -HALF], [0.0, HALF], [0.0, -HALF]])
LOAD, GRIP, DRAG = np.array([3.7, 3.9, 4.3, 4.1]), 0.8, np.array([0.004, 0.006, 0.003, 0.005])
MASS, YAW = LOAD.sum() / 9.80665, 0.012
STEER = np.radians([1.3, 0.9, 0.8, 1.2])
SPEED, CREEP, STEP = 0.02, 2e-5, 0.004
"""m/s, of the finger; and the slip below which friction fades, so that it can be stepped.  s."""


def resisted(v: np.ndarray, heading: np.ndarray) -> np.ndarray:
    """(3,) force ahead and to the left, and moment about the origin, of the floor on a car that moves so."""
    c, s = np.cos(heading), np.sin(heading)
    ahead, left = v[0] - v[2] * PLACE[:, 1], v[1] + v[2] * PLACE[:, 0]
    u, w = c * ahead + s * left, -s * ahead + c * left
    along = -DRAG * np.tanh(u / CREEP)
    across = -np.sqrt(1 - along**2) * np.tanh(w / CREEP)
    f = GRIP * LOAD * np.array([c * along - s * across, s * along + c * across])
    return np.array([f[0].sum(), f[1].sum(), (PLACE[:, 0] * f[1] - PLACE[:, 1] * f[0]).sum()])


def from_rest(station: float, heading: np.ndarray, friction: float) -> tuple[float, float]:
    """1/m, turn per sideways travel of the middle until the car drives along as fast as its finger goes, and at that
    last moment. friction: of the finger, along which the car slips."""
    ahead = (LOAD * PLACE[:, 0]).sum() / LOAD.sum()
    inertia = MASS * np.array([[1, 0, 0], [0, 1, ahead], [0, ahead, ahead**2 + YAW / MASS]])
    normal = np.array([0.0, 1.0, station])
    pressed = normal - np.sign(heading[0]) * friction * np.array([1.0, 0.0, -SIDE])
    v, turned, moved = np.zeros(3), 0.0, 0.0
    q = np.array([0.0, SPEED, 0.0, 0.0])  # motion and the finger's force
    while abs(v[0]) < SPEED:

        def wrong(q: np.ndarray, v: np.ndarray = v) -> np.ndarray:
            lacks = inertia @ (q[:3] - v) / STEP - resisted(q[:3], heading) - pressed * q[3]
            return np.append(lacks, normal @ q[:3] - SPEED)

        for _ in range(60):
            at = wrong(q)
            slope = np.array([(wrong(q + d) - at) / d.max() for d in np.diag([1e-9, 1e-9, 1e-8, 1e-6])]).T
            change, part = np.linalg.solve(slope, -at), 1.0
            while part > 1e-3 and np.abs(wrong(q + part * change)).sum() > np.abs(at).sum():
                part *= 0.5
            q = q + part * change
            if np.abs(change[:3]).max() < 1e-10:
                break
        v = q[:3]
        turned, moved = turned + STEP * v[2], moved + STEP * (v[1] + 0.5 * L * v[2])
    return turned / moved, v[2] / (v[1] + 0.5 * L * v[2])


def car(steer: np.ndarray, whole: Whole = "paced") -> Contacts:
    return Contacts(place=PLACE, load=LOAD, grip=GRIP, drag=DRAG, heading=steer, whole=whole)


@pytest.mark.parametrize(
    ("station", "steer", "kind", "friction"),
    [(0.22, STEER, "rolling", 0.0), (0.07, -STEER, "rolling", 0.0), (0.17, -STEER, "rubbing", 0.005)],
)
def test_a_car_from_rest(station: float, steer: np.ndarray, kind: FingerKind, friction: float) -> None:
    """Least power alone has the car drive off 44 times as fast as the finger and hardly turn."""
    whole, last = from_rest(station, steer, friction)
    tip = Finger(kind=kind, place=(station, SIDE), friction=friction)
    got = slide_begins(car(steer), tip, None)
    assert got.certified
    assert at_pace(got)
    assert got.twist[0] == pytest.approx(np.sign(steer[0]), abs=1e-9)
    assert got.twist[1] + station * got.twist[2] == pytest.approx(1.0, abs=1e-6)
    assert got.kappa(L / 2) == pytest.approx(last, rel=2e-3)  # slip that fades and steps of time leave 0.1 %
    assert got.kappa(L / 2) == pytest.approx(whole, rel=0.02)  # half of what it gains counts on its way
    assert abs(solve_push(car(steer), tip).kappa(L / 2)) < 0.1 * abs(whole)


@pytest.mark.parametrize("steer", [STEER, -STEER])
def test_the_truth_of_the_benchmarks_starts_from_rest_too(steer: np.ndarray) -> None:
    """Straight at the centre of friction (statics); it had been 12 to 50 mm off where the car drove off."""
    balance = (LOAD * PLACE[:, 0]).sum() / LOAD.sum()
    one, four = np.ones(1), np.ones((1, 4))
    cars = TrueCars(
        place=PLACE[None],
        load=LOAD[None],
        grip=GRIP * four,
        along=four,
        share=DRAG[None],
        bearing=0.0 * four,
        heading=steer[None],
        patch=np.full((1, 4, 2), 1e-4),
        fall=np.zeros((1, 2)),
        sensitivity=0.0 * one,
        roll_share=0.5 * one,
        faster=0.0 * one,
    )
    push = TruePush(station=0.22 * one, side=one, height=0.0 * one, angle=0.0 * one, finger_y=SIDE * one)
    told = true_kappa(cars, push, L / 2 * one, turn=0.1, travel=0.06)[0]
    assert told == pytest.approx(from_rest(0.22, steer, 0.0)[1], rel=2e-3)
    assert true_balance(cars, push)[0] == pytest.approx(balance, abs=2e-4)
    beside = [from_rest(balance + away, steer, 0.0)[0] for away in (-0.005, 0.005)]
    assert beside[0] < -6.0 < 6.0 < beside[1]


def many(n: int = 40) -> Contacts:
    """On patches; drag holds some of them, steered wheels and the floor drive others off."""
    rng = np.random.default_rng(4)
    return Contacts(
        place=PLACE,
        load=LOAD + rng.normal(0.0, 0.2, (n, 4)),
        grip=GRIP,
        drag=np.abs(rng.normal(0.006, 0.002, (n, 4))),
        heading=rng.normal(0.0, 0.018, (n, 1)) + rng.normal(0.0, 0.003, (n, 4)),
        fall=rng.normal(0.0, 0.002, (n, 2)),
        patch=np.array([0.0096, 0.024]),
        whole="paced",
    )


@pytest.mark.parametrize(("kind", "friction"), [("rolling", 0.0), ("rubbing", 0.004)])
def test_begun_a_moment_ago_or_anew(kind: FingerKind, friction: float) -> None:
    """A convex sum within bounds has one least (elementary), whether the car was held back a moment ago or not."""
    cars = many()
    way = Finger(kind=kind, place=(0.21, SIDE), motion=(0.05, 1.0), friction=friction, height=0.01)
    anew = slide_begins(cars, way, None)
    others = replace(cars, heading=-np.asarray(cars.heading)[::-1])
    before = slide_begins(others, replace(way, place=(0.19, SIDE)), None)
    now, was = at_pace(anew), at_pace(before)
    assert min((now & was).sum(), (now & ~was).sum(), (~now & was).sum(), (~now & ~was).sum()) > 0
    warm = slide_goes_on(cars, way, None, before, partly=True)
    assert warm.certified.all()
    assert anew.certified.all()
    np.testing.assert_array_equal(at_pace(warm), now)
    np.testing.assert_allclose(warm.twist, anew.twist, rtol=0, atol=2e-4)
    held = at_patches(solve_push(cars, way), replace(cars, whole="all"), way)
    np.testing.assert_allclose(held.twist[~now], anew.twist[~now], atol=1e-12)  # drag holds them: nothing changes
    assert np.all(np.abs(held.twist[now, 0]) > 1.0)


def test_a_whole_push_on_the_floor() -> None:
    """A finger on a line passes along a car at the pace that it is held to: never beyond its ends. Two of these cars
    are guided along seven and eight times as fast as the finger, which they come to: nothing changes."""
    cars = many()
    tip = Finger(kind="rolling", place=(0.21, SIDE), height=0.01)
    until = Until(turn=np.radians(10.0), travel=0.06)
    forms: tuple[Whole, ...] = ("paced", "all")
    ways = [replace(cars, whole=one) for one in forms]
    got, off = (integrate_push(one, tip, until=until, rule="fixed on floor") for one in ways)
    guided = np.abs(slide_begins(cars, tip, None).twist[:, 0]) > 1.5
    assert guided.sum() == 2
    np.testing.assert_allclose(got.displacement[guided], off.displacement[guided], rtol=1e-9)
    ran = ~guided & (np.abs(got.displacement[:, 0]) > 0.9 * got.travel)
    assert 5 < ran.sum() < 30
    assert got.certified.all()
    assert np.all(np.abs(np.degrees(got.turn[~guided])) > 9.99)
    assert np.abs(got.station[:, ~guided] - 0.21).max() < 0.08
    assert np.abs(off.station[-1, ran] - 0.21).max() > 0.3
    alone = integrate_push(car(STEER), tip, until=until, rule="fixed on floor")
    assert np.abs(alone.station - 0.21).max() < 0.08


def test_a_finger_that_holds_the_car_keeps_it_to_its_own_way() -> None:
    cars, tip = many(), Finger(kind="sticking", place=(0.21, SIDE), height=0.01)
    got, free = slide_begins(cars, tip, None), slide_begins(replace(cars, whole="all"), tip, None)
    np.testing.assert_array_equal(got.twist, free.twist)
    assert not at_pace(got).any()
