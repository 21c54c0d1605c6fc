"""What a forecast makes of the cards, key by key, against the mechanics of a push worked out another way.

The other way is the least virtual power of four contacts, found by a general optimiser (`cards_typed.slide`): it
shares nothing with the forecast but the law. The car is heavier at one corner, its tracks, tyres and pushes differ.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from .cards_typed import PLACES, WEIGHTS, found, newtons, run, slide, whole_push, write

LENGTH = 0.26
ROLLING = {"push.wheels": "as on the car card"}


def told(folder: Path, **cards: Any) -> dict[str, Any]:
    return found("push", "forecast", write(folder, **cards), "--log", folder / "log")


def same(got: dict[str, Any], want: tuple[float, np.ndarray, float], *, force: bool = True) -> None:
    """Turn per travel, pivot's place (both ways) and force, as closely as an optimiser finds the foot of a valley."""
    kappa, pole, push = want
    assert got["pivot"]["kappa_per_m"] == pytest.approx(kappa, rel=1e-5)
    assert got["pivot"]["station_pct"] == pytest.approx(100 * (0.5 - 1 / (kappa * LENGTH)), abs=1e-3)
    np.testing.assert_allclose(got["place_m"], pole, atol=2e-5)
    if force:
        # the mean of 4,000 draws of the typed weights' common 0.2 %: three standard errors
        assert got["push_force_N"] == pytest.approx(push, rel=1e-4)


def test_weights_tracks_grip_and_place_of_the_push(tmp_path: Path) -> None:
    got = told(tmp_path, test={"grip.front": 0.9, "grip.rear": 0.6, "push.position_pct": 15.0})
    same(got, slide(newtons(), [0.9, 0.9, 0.6, 0.6], 0.15 * LENGTH))
    # x_c = L F / (F + R): moments about the rear axle
    front, rear = 0.9 * (560 + 310), 0.6 * (420 + 250)
    assert got["balance_pct"] == pytest.approx(100 * front / (front + rear), abs=1e-4)
    assert got["turn_deg"] == 10.0


def test_contacts_given_one_by_one(tmp_path: Path) -> None:
    contacts = [[255.0, 70.0], [262.0, -80.0], [3.0, 90.0], [-4.0, -99.0]]
    got = told(tmp_path, car={"geometry.contacts_mm": contacts})
    kappa, pole, force = slide(newtons(), [0.8] * 4, 0.8 * LENGTH, places=np.array(contacts) / 1000)
    same(got, (kappa, pole, force))
    moment = sum(w * x for w, (x, _) in zip(WEIGHTS, contacts, strict=True)) / sum(WEIGHTS)
    assert got["balance_pct"] == pytest.approx(100 * moment / 260, abs=1e-4)


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_high_push_loads_the_far_side(tmp_path: Path, side: str) -> None:
    """Pushed from the right at 30 mm the left wheels gain; 30 % of that moment go to the narrower front."""
    got = told(tmp_path, test={"push.side": side, "push.height_mm": 30.0})
    want = slide(newtons(), [0.8] * 4, 0.8 * LENGTH, height=0.03, side=1 if side == "right" else -1)
    same(got, want)
    other = slide(newtons(), [0.8] * 4, 0.8 * LENGTH, height=0.03, side=-1 if side == "right" else 1)
    assert abs(want[1][1] - other[1][1]) > 1e-3  # the case would show an exchange


TOES = [(4.0, 0.0), (0.0, 4.0), (3.0, -5.0), (-6.0, 2.0)]


@pytest.mark.parametrize(("front", "rear"), TOES)
def test_toe_turns_rolling_wheels_inwards(tmp_path: Path, front: float, rear: float) -> None:
    """Toe-in: the front ends of both wheels point to the middle, so the left wheel is turned clockwise."""
    got = told(
        tmp_path, car={"front.toe_deg": front, "rear.toe_deg": rear, "front.drag": 0.02, "rear.drag": 0.3}, test=ROLLING
    )
    same(
        got,
        slide(
            newtons(),
            [0.8] * 4,
            0.8 * LENGTH,
            drag=[0.02, 0.02, 0.3, 0.3],
            heading=np.radians([-front, front, -rear, rear]),
        ),
    )


def test_free_wheels_with_toe_swing_where_their_axles_meet(tmp_path: Path) -> None:
    """Two heavy wheels that roll without drag leave only the point where the lines of their axes meet.

    Left wheels carry nearly all. Front left with 8 degrees toe-in, rear left with 3 degrees toe-out: by hand
    (lines square to both headings).
    """
    got = told(
        tmp_path,
        car={"front.toe_deg": 8.0, "rear.toe_deg": -3.0, "front.drag": 0.0, "rear.drag": 0.0},
        test=ROLLING | {"typed.weights_g": [700.0, 30.0, 800.0, 30.0]},
    )
    # axis of a wheel turned by a: through its contact, along (-sin a, cos a)
    a, b = np.radians(-8.0), np.radians(3.0)
    (x1, y1), (x2, y2) = PLACES[0], PLACES[2]
    t, _ = np.linalg.solve([[-np.sin(a), np.sin(b)], [np.cos(a), -np.cos(b)]], [x2 - x1, y2 - y1])
    meet = [x1 - t * np.sin(a), y1 + t * np.cos(a)]
    np.testing.assert_allclose(got["place_m"], meet, atol=1e-4)
    assert abs(meet[1]) > 0.2  # far to one side: a sign would show


@pytest.mark.parametrize(("front", "rear"), [(0.05, 0.6), (0.6, 0.05), (0.3, 0.4)])
def test_drag_of_each_axle(tmp_path: Path, front: float, rear: float) -> None:
    got = told(tmp_path, car={"front.drag": front, "rear.drag": rear}, test=ROLLING)
    same(got, slide(newtons(), [0.8] * 4, 0.8 * LENGTH, drag=[front, front, rear, rear]))


def test_blocked_wheels_know_no_drag_and_no_kind(tmp_path: Path) -> None:
    got = told(tmp_path, car={"front.drag": 0.05, "rear.drag": 0.3, "rear.drag_u": 0.1})
    same(got, slide(newtons(), [0.8] * 4, 0.8 * LENGTH))
    assert got["kind"] == "graded"
    assert "graded" in got["sentence"]


@pytest.mark.thorough
@pytest.mark.parametrize("axle", ["front", "rear"])
def test_a_solid_axle_at_one_end(tmp_path: Path, axle: str) -> None:
    drag = [0.1, 0.1, 0.15, 0.15]
    got = told(
        tmp_path,
        car={"front.drag": 0.1, "rear.drag": 0.15, f"{axle}.kind": "solid"},
        test=ROLLING | {"push.position_pct": 90.0},
    )
    want = slide(newtons(), [0.8] * 4, 0.9 * LENGTH, drag=drag, solid=[axle])
    other = slide(newtons(), [0.8] * 4, 0.9 * LENGTH, drag=drag, solid=["rear" if axle == "front" else "front"])
    assert got["pivot"]["kappa_per_m"] == pytest.approx(want[0], rel=1e-4)
    np.testing.assert_allclose(got["place_m"], want[1], atol=1e-4)
    assert np.hypot(*(want[1] - other[1])) > 1e-3
    assert got["kind"] == "graded"  # wheels that turn together do not roll alone


def test_rolling_wheels_are_a_switch(tmp_path: Path) -> None:
    got = told(tmp_path, car={"front.kind": "differential", "rear.drag": 0.1}, test=ROLLING)
    assert got["kind"] == "switch"
    same(got, slide(newtons(), [0.8] * 4, 0.8 * LENGTH, drag=[0.02, 0.02, 0.1, 0.1]))
    assert told(tmp_path, car={"rear.drag": 0.25}, test=ROLLING)["kind"] == "graded"


@pytest.mark.thorough
@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("finger", ["sticking", "rolling"])
def test_a_finger_goes_straight_on_the_floor(tmp_path: Path, side: str, finger: str) -> None:
    """The finger touches the side that the card names, half the body's width from the middle."""
    push = {
        "push.side": side,
        "push.finger": finger,
        "push.finger_path": "straight on the floor",
        "push.distance_mm": 500.0,
    }
    got = told(tmp_path, test=push)
    to = 1 if side == "right" else -1
    y = -0.1 * to
    long, short = (
        whole_push(newtons(), [0.8] * 4, 0.8 * LENGTH, side=to, finger_y=y, sticks=finger == "sticking", steps=steps)
        for steps in (4, 8)
    )
    want = short + (short - long) / 3  # the midpoint rule's error goes with the square of the step
    mirrored = whole_push(newtons(), [0.8] * 4, 0.8 * LENGTH, side=to, finger_y=-y, sticks=finger == "sticking")
    assert got["pivot"]["kappa_per_m"] == pytest.approx(want, rel=2e-4)
    assert abs(mirrored / want - 1) > 2e-3


@pytest.mark.thorough
def test_a_rubbing_finger_lies_between_a_slippery_and_a_sticking_one(tmp_path: Path) -> None:
    def kappa(**push: object) -> float:
        keys = {f"push.{name}": value for name, value in push.items()}
        return float(told(tmp_path, test=keys)["pivot"]["kappa_per_m"])

    rolling, sticking = kappa(finger="rolling"), kappa(finger="sticking")
    assert kappa(finger="rubbing", finger_friction=0.0) == pytest.approx(rolling, rel=1e-4)
    assert kappa(finger="rubbing", finger_friction=3.0) == pytest.approx(sticking, rel=1e-4)
    # both ends differ, and a third of the friction is on the way
    assert abs(sticking / rolling - 1) > 0.01
    between = kappa(finger="rubbing", finger_friction=0.05)
    assert min(rolling, sticking) < between < max(rolling, sticking)


def test_a_short_push_ends_where_the_card_says(tmp_path: Path) -> None:
    """The finger's way ends the slide before it has turned by 10 degrees: the turn that belongs to that way counts."""
    push = {"push.finger": "sticking", "push.finger_path": "straight on the floor", "push.distance_mm": 8.0}
    got = told(tmp_path, test=push)["pivot"]["kappa_per_m"]

    def way(turn: float) -> float:
        return whole_push(newtons(), [0.8] * 4, 0.8 * LENGTH, side=1, finger_y=-0.1, sticks=True, turn=turn, steps=2)

    # a sticking finger goes square at first: its way is turn times (its station less the pivot's), by hand
    turn = 0.05
    for _ in range(3):
        kappa = way(turn)
        turn = 0.008 / (0.8 * LENGTH - (LENGTH / 2 - 1 / kappa))
    assert got == pytest.approx(way(turn), rel=5e-4)
    assert abs(got / way(np.radians(10.0)) - 1) > 2e-3


def test_weights_come_with_the_gravity_of_the_place(tmp_path: Path) -> None:
    """WGS84 (Somigliana and the free-air series, put in by hand): 68.5 degrees north, 1900 m up."""
    sine = np.sin(np.radians(68.5)) ** 2
    level = 9.7803253359 * (1 + 0.00193185265241 * sine) / np.sqrt(1 - 0.00669437999014 * sine)
    there = level - 3.0877e-6 * 1900  # free-air gradient at this latitude, to 1e-6 of g
    place = {"place.latitude_deg": 68.5, "place.height_m": 1900.0}
    got = told(tmp_path, bench=place)
    assert got["push_force_N"] / told(tmp_path)["push_force_N"] == pytest.approx(there / 9.80665, abs=2e-6)
    weighed = found("weigh", tmp_path / "test.toml", "--log", tmp_path / "log")
    write(tmp_path, bench=place)
    weighed = found("weigh", tmp_path / "test.toml", "--log", tmp_path / "log")
    assert weighed["gravity_m_s2"] == pytest.approx(there, abs=1e-5)
    assert weighed["corner_weights_g"] == list(WEIGHTS)  # a mass is a mass


def test_parts_that_come_on_for_the_push(tmp_path: Path) -> None:
    """A plate of 90 g, 200 mm ahead and 30 mm left: by levers along and across, the same total and moments."""
    parts = [
        {"name": "plate", "mass_g": 90.0, "x_mm": 200.0, "y_mm": 30.0},
        {"name": "battery", "mass_g": -40.0, "x_mm": 60.0, "y_mm": -20.0},
    ]
    path = write(tmp_path, car={"masses.parts": parts})
    weighed = found("weigh", path, "--log", tmp_path / "log")
    load = np.array(weighed["corner_weights_g"])
    assert load.sum() == pytest.approx(sum(WEIGHTS) + 50)
    assert load[:2].sum() == pytest.approx(870 + (90 * 200 - 40 * 60) / 260)
    across = np.array([75.0, -75.0, 95.0, -95.0])
    assert load @ across == pytest.approx(np.array(WEIGHTS) @ across + 90 * 30 + 40 * 20)
    assert "plate +90 g, battery −40 g" in run("weigh", path, "--log", tmp_path / "log")
    # it is pushed with them on: the forecast goes by these loads, not by those that the scales showed
    want = slide(newtons(load), [0.8] * 4, 0.8 * LENGTH)
    assert abs(want[2] / slide(newtons(), [0.8] * 4, 0.8 * LENGTH)[2] - 1) > 0.01
    same(found("push", "forecast", path, "--log", tmp_path / "log"), want)


def test_a_newer_weighing_in_the_log_is_taken(tmp_path: Path) -> None:
    write(tmp_path, test={"typed.weights_g": [400.0] * 4}, file="old")
    first = write(tmp_path)
    run("weigh", tmp_path / "old.toml", "--log", tmp_path / "log")
    run("weigh", first, "--log", tmp_path / "log")
    untyped = write(tmp_path, test={"typed.weights_g": None}, file="untyped")
    same(found("push", "forecast", untyped, "--log", tmp_path / "log"), slide(newtons(), [0.8] * 4, 0.8 * LENGTH))


@pytest.mark.parametrize(("front_mm", "rear_mm", "pct"), [(14.0, 8.0, 80.0), (14.0, 8.0, 25.0)])
def test_rolling_tyres_stand_on_patches(tmp_path: Path, front_mm: float, rear_mm: float, pct: float) -> None:
    """The pivot lies beside the axle, on the side away from the finger, by what the side force asks of the patch.

    By hand, for tyres so narrow that they are lines (statics about the finger): the axle gives the share q of its grip,
    and a line of length a gives it with the pivot a q / 2 from its middle. Here a wide tyre: 0.8 of the wheel's radius,
    so 1.3 to 1.7 times as far; the exact figure stands in the tests of the patch itself.
    """
    keys = {"front.patch_mm": front_mm, "rear.patch_mm": rear_mm, "front.patch_mm_u": 0.0, "rear.patch_mm_u": 0.0}
    keys |= {"front.drag": 0.002, "rear.drag": 0.002, "geometry.wheel_radius_mm": 30.0}
    got = told(tmp_path, car=keys, test=ROLLING | {"push.position_pct": pct})
    front, rear = WEIGHTS[0] + WEIGHTS[1], WEIGHTS[2] + WEIGHTS[3]
    to_front, to_rear = 1 - pct / 100, pct / 100
    if pct > 50:
        by_line = -rear_mm / 2 * (front * to_front) / (rear * to_rear)
        assert 1.3 * by_line > 10 * LENGTH * got["pivot"]["station_pct"] > 1.9 * by_line
    else:
        by_line = front_mm / 2 * (rear * to_rear) / (front * to_front)
        assert 1.3 * by_line < 10 * LENGTH * (got["pivot"]["station_pct"] - 100) < 1.9 * by_line


@pytest.mark.thorough
def test_a_patch_nobody_measured_goes_by_the_wheel_s_radius(tmp_path: Path) -> None:
    """A third of the radius and 40 %: twice the radius gives twice the distance, and its doubt."""
    found_at = {}
    for radius in (20.0, 40.0):
        keys = {"front.patch_mm": None, "rear.patch_mm": None, "geometry.wheel_radius_mm": radius, "rear.drag": 0.002}
        folder = tmp_path / f"{radius:g}"
        got = told(folder, car=keys | {"front.drag": 0.002}, test=ROLLING)
        low, high = got["pivot"]["interval_pct"]
        found_at[radius] = got["pivot"]["station_pct"], high - low
        patch = next(one for one in got["sensitivity"] if one["name"] == "contact patch")
        assert patch["share"] > 0.9
    (near, narrow), (far, wide) = found_at[20.0], found_at[40.0]
    assert far == pytest.approx(2 * near, rel=0.12)
    assert wide == pytest.approx(2 * narrow, rel=0.2)
    # the distance goes with the patch to the power of a half to one: 95 % of 40 % either way
    assert 0.5 * 2 * 1.96 * 0.4 < wide / -far < 1.3 * 2 * 1.96 * 0.4


def test_a_push_too_quick_for_a_slow_forecast_is_told(tmp_path: Path) -> None:
    """By hand: 1.54 kg pushed at the balance point with 0.8 of 15.1 N over 32 mm, 0.387 J; 0.4 % of that is 45 mm/s,
    17 % is 292 mm/s (the limits of a measured push)."""
    heavy = {"push.position_pct": 100 * 870 / 1540, "push.distance_mm": 32.0}
    said = {
        speed: told(tmp_path / f"{speed:g}", test=heavy | {"push.speed_mm_s": speed})["warnings"]
        for speed in (30.0, 50.0, 120.0, 5000.0)
    }
    assert said[30.0] == said[50.0] == []
    (gentle,), (quick,) = said[120.0], said[5000.0]
    assert "At 120 mm/s inertia counts unless the finger starts and stops gently" in gentle
    assert "(45 mm/s whatever the start)" in gentle
    assert "At 5000 mm/s" in quick
    assert "at most 45 mm/s whatever the start, up to 292 mm/s" in quick
