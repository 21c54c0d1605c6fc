"""The slide on patches begun from a motion near it, and cars that drive off.

Truth: `tests/benchmarks/pushed_truth.py`, a smoothed search of its own, on 16 by 8 pieces a tyre; Coulomb's law at the
finger; for the least power, a sum over a tyre's pieces written here.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.sliding import Contacts, Finger, LoadTransfer, solve_push
from analysis.sliding.finger import FingerKind
from analysis.whole_push.carried_on import carried_on
from analysis.whole_push.patch import at_patches
from analysis.whole_push.rolls_straight import within_limits
from analysis.whole_push.whole_patches import _power_at_least

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

import pushed_truth
from pushed_truth import TrueCars, TruePush

L = 0.258
PLACE = np.array([[L, 0.081], [L, -0.077], [0.0, 0.087], [0.0, -0.083]])
LOAD = np.array([3.9, 3.9, 4.3, 4.3])
"""N. Even left and right: what pitching moves is shared there by another rule than in the truth."""
GRIP, BEARING = np.array([0.93, 0.93, 1.06, 1.06]), np.array([0.05, 0.08, 0.12, 0.07])
PATCH = np.array([[0.012, 0.024], [0.012, 0.024], [0.008, 0.022], [0.008, 0.022]])
LEAN = LoadTransfer(track_front=0.158, track_rear=0.17, front_roll_share=0.46, wheelbase=L)
SIDE = -0.09


def car(drag: list[float], coupling: list[int] | None = None) -> Contacts:
    held = np.array(drag)
    return Contacts(
        place=PLACE,
        load=LOAD,
        grip=GRIP,
        drag=held,
        bearing=np.where(held < 1.0, BEARING, 0.0),
        coupling=coupling,
        patch=PATCH,
        together=True,
        whole="all",
    )


def true(contacts: Contacts, station: float, height: float, *, sticks: bool, solid: bool) -> float:
    drag = np.asarray(contacts.drag)[None]
    cars = TrueCars(
        place=PLACE[None],
        load=LOAD[None],
        grip=GRIP[None],
        along=np.ones((1, 4)),
        share=drag,
        bearing=np.asarray(contacts.bearing)[None],
        heading=np.zeros((1, 4)),
        patch=PATCH[None],
        fall=np.zeros((1, 2)),
        sensitivity=np.zeros(1),
        roll_share=np.array([0.46]),
        faster=np.zeros(1),
        solid=solid,
    )
    push = TruePush(
        station=np.array([station]),
        side=np.ones(1),
        height=np.array([height]),
        angle=np.zeros(1),
        finger_y=np.array([SIDE]),
        sticks=sticks,
    )
    fresh = pushed_truth._fresh(cars), pushed_truth._fresh(cars)
    here = np.array([[station, SIDE]])
    twist = pushed_truth._pushed(cars, push, np.zeros(1), here, fresh, pushed_truth.LEVELS)[0]
    return float(twist[2] / (twist[1] + L / 2 * twist[2]))


@pytest.mark.parametrize("finger", ["rolling", "sticking"])
def test_loads_follow_what_the_patches_resist(finger: FingerKind, monkeypatch: pytest.MonkeyPatch) -> None:
    """25 mm up: blocked, one axle blocked, rolling, solid. Loads of points move a finger that sticks by more."""
    ahead, aside = np.meshgrid((np.arange(16) + 0.5) / 8 - 1, (np.arange(8) + 0.5) / 4 - 1, indexing="ij")
    monkeypatch.setattr(pushed_truth, "AHEAD", ahead.ravel())
    monkeypatch.setattr(pushed_truth, "ASIDE", aside.ravel())
    off = []
    for drag, tied, station in (
        ([1.0, 1.0, 1.0, 1.0], None, 0.21),
        ([1.0, 1.0, 0.02, 0.02], None, 0.05),
        ([0.02, 0.02, 1.0, 1.0], None, 0.19),
        ([0.02, 0.02, 0.02, 0.02], None, 0.21),
        ([0.02, 0.02, 0.02, 0.02], [0, 0, 1, 1], 0.05),
    ):
        contacts = car(drag, tied)
        tip = Finger(kind=finger, place=(station, SIDE), height=0.025)
        points = solve_push(contacts, tip, transfer=LEAN)
        want = true(contacts, station, 0.025, sticks=finger == "sticking", solid=tied is not None)
        each = [at_patches(points, replace(contacts, whole=one), tip, LEAN).kappa(L / 2) for one in ("all", "turning")]
        off.append([100 / L * abs(1 / k - 1 / want) for k in each])
    now, before = np.array(off).T

    assert now.max() < 0.015  # per cent of the wheelbase; pieces half as large leave half of it
    assert before.max() > 2 * now.max()


def test_where_a_search_begins_does_not_matter() -> None:
    """A convex sum has one least (elementary): begun at points, and at the motion of another push, cars end alike."""
    rng = np.random.default_rng(5)
    n = 60
    cars = Contacts(
        place=PLACE + rng.normal(0.0, 1e-3, (n, 4, 2)),
        load=LOAD + rng.normal(0.0, 0.3, (n, 4)),
        grip=0.8 * rng.normal(1.0, 0.05, (n, 4)),
        drag=np.where(rng.random((n, 2)) < 0.4, 1.0, np.abs(rng.normal(0.02, 0.01, (n, 2)))).repeat(2, axis=-1),
        heading=rng.normal(0.0, 0.007, (n, 4)),
        patch=np.abs(np.array([0.0096, 0.024]) * rng.normal(1.0, 0.2, (n, 4, 2))),
        fall=rng.normal(0.0, 1e-3, (n, 2)),
        whole="all",
    )
    for kind, friction in (("rolling", 0.0), ("sticking", 0.0), ("rubbing", 0.35)):
        tip = Finger(kind=kind, place=(0.2, SIDE), friction=friction, height=0.015)  # type: ignore[arg-type]
        cold = at_patches(solve_push(cars, tip, transfer=LEAN), cars, tip, LEAN)
        other = replace(tip, place=(0.17, SIDE), direction=(0.06, 1.0))
        began = at_patches(solve_push(cars, other, transfer=LEAN), cars, other, LEAN)
        warm, found = carried_on(began, cars, tip, LEAN)
        assert found.mean() > 0.95
        assert cold.certified.all()
        np.testing.assert_array_equal(warm.finger_sticks[found], cold.finger_sticks[found])
        for name in ("twist", "push_force", "load"):
            got, want = getattr(warm, name)[found], getattr(cold, name)[found]
            np.testing.assert_allclose(got, want, rtol=1e-5, atol=1e-5 * np.abs(want).max(axis=-1, keepdims=True).min())


def test_a_rubbing_finger_obeys_coulomb_by_the_patches_own_force() -> None:
    """Held inside the cone, or slipping against its edge (Coulomb's law); both occur among these."""
    rng = np.random.default_rng(8)
    n = 80
    cars = replace(car([0.02, 0.02, 1.0, 1.0]), load=LOAD + rng.normal(0.0, 0.3, (n, 4)))
    friction, normal = 0.12, np.array([0.0, 1.0])
    tip = Finger(
        kind="rubbing",
        place=np.stack([rng.uniform(0.02, 0.24, n), np.full(n, SIDE)], axis=-1),
        motion=np.stack([rng.normal(0.0, 0.1, n), np.ones(n)], axis=-1),
        direction=normal,
        friction=friction,
        height=0.01,
    )
    got = at_patches(solve_push(cars, tip, transfer=LEAN), cars, tip, LEAN)
    assert got.certified.all()
    place, motion = np.asarray(tip.place), np.asarray(tip.motion) / np.linalg.norm(tip.motion, axis=-1, keepdims=True)
    speed = got.twist[:, :2] + got.twist[:, 2:] * np.stack([-place[:, 1], place[:, 0]], axis=-1)
    slip, holds = (motion - speed)[:, 0], got.finger_sticks
    assert 10 < holds.sum() < n - 10
    np.testing.assert_allclose((motion - speed)[:, 1], 0.0, atol=1e-9)  # it never lifts off
    np.testing.assert_allclose(slip[holds], 0.0, atol=1e-9)
    sideways, pressing = got.push_force.T
    assert np.all(np.abs(sideways[holds]) <= friction * pressing[holds] * (1 + 1e-4))
    np.testing.assert_allclose(sideways[~holds], np.sign(slip[~holds]) * friction * pressing[~holds], rtol=1e-6)


def test_a_push_that_tips_the_car_is_not_certified_and_spoils_no_other() -> None:
    """By statics a push of 0.8 of the weight tips a car 166 mm wide from 104 mm up."""
    cars = replace(car([1.0] * 4), grip=0.8)
    tip = Finger(kind="rolling", place=(0.2, SIDE), height=np.array([0.2, 0.01]))
    got = at_patches(solve_push(cars, tip, transfer=LEAN), cars, tip, LEAN)
    assert got.certified.tolist() == [False, True]
    low = replace(tip, height=0.01)
    alone = at_patches(solve_push(cars, low, transfer=LEAN), cars, low, LEAN)
    np.testing.assert_allclose(got.twist[1], alone.twist, rtol=1e-9)


UNEVEN = np.array([3.9, 4.0, 4.2, 4.3])
STEERED = {
    "the way a wheel points": (np.radians([1.8, 1.94, 2.02, 1.54]), np.array([0.0042, 0.0022])),
    "and turns, though the side force alone would do": (
        np.radians([2.03, 1.63, 1.68, 1.72]),
        np.array([0.0029, 0.0018]),
    ),
}
"""Headings of wheels that hardly drag, on a floor that falls: the car drives off along the finger."""


def lost(heading: np.ndarray, fall: np.ndarray, twist: np.ndarray) -> float:
    """W, by the pieces of each tyre; every wheel turns as loses least, found among many speeds."""
    ahead, aside = (np.arange(12) + 0.5) / 12 - 0.5, (np.arange(12) + 0.5) / 12 - 0.5
    pull = UNEVEN.sum() * fall
    middle = (UNEVEN[:, None] * PLACE).sum(0) / UNEVEN.sum()
    total = -(pull @ (twist[:2] + twist[2] * np.array([-middle[1], middle[0]])))
    for i in range(4):
        c, s = np.cos(heading[i]), np.sin(heading[i])
        xi, eta = np.meshgrid(PATCH[i, 0] * ahead, PATCH[i, 1] * aside)
        x, y = PLACE[i, 0] + xi * c - eta * s, PLACE[i, 1] + xi * s + eta * c
        vx, vy = twist[0] - twist[2] * y, twist[1] + twist[2] * x
        u, v = c * vx + s * vy, -s * vx + c * vy
        grip = GRIP[i] * UNEVEN[i]
        held = 0.001 * grip + 0.004
        w = np.concatenate([[0.0], u.mean() + np.linspace(-0.05, 0.05, 2001) * max(np.abs(v).max(), 1e-3)])
        loses = grip * np.hypot(u[..., None] - w, v[..., None]).mean((0, 1)) + held * np.abs(w)
        total += loses.min()
    return float(total)


@pytest.mark.parametrize("name", STEERED)
def test_a_car_that_drives_off(name: str) -> None:
    heading, fall = STEERED[name]
    cars = replace(car([0.001] * 4), load=UNEVEN, heading=heading, bearing=np.full(4, 0.004), fall=fall)
    tip = Finger(kind="rolling", place=(0.151, SIDE))
    got = at_patches(solve_push(cars, tip), cars, tip)
    assert got.certified
    way = np.arctan2(got.twist[1], got.twist[0])
    wheel = int(np.argmin(np.abs(way - heading)))
    straight = name == "the way a wheel points"
    assert (got.twist[2] == 0.0) == straight
    assert (way == pytest.approx(heading[wheel], abs=1e-12)) == straight
    at = lost(heading, fall, got.twist)
    assert got.push_force[1] == pytest.approx(at, rel=2e-3)  # the finger goes on at 1: what it does is what is lost
    turn, along = np.array([SIDE, -0.151, 1.0]), np.array([1.0, 0.0, 0.0])  # the touched point keeps its speed along y
    for change in (0.3 * turn, -0.3 * turn, 0.5 * along, -0.5 * along, 0.2 * turn + along, 0.2 * turn - along):
        assert lost(heading, fall, got.twist + change) > at


def test_what_a_patch_can_give() -> None:
    """A side force up to its grip, and on the spot a moment of 0.38260 grips times the side of a square (closed form,
    (sqrt(2) + asinh 1) / 6); both at once are less."""
    asked = np.array([[0.0, 0.99, 0.0], [0.6, -0.81, 0.0], [0.0, 0.0, 0.0038], [0.0, 0.0, 0.00386], [0.0, 0.95, 0.003]])
    half = np.full((2, len(asked)), 0.005)
    assert within_limits(asked.T, half, _power_at_least).tolist() == [True, False, True, False, False]
