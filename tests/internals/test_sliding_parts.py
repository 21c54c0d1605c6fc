"""Parts of the sliding solver by themselves: grip against load, the certificate, turn per travel, loads that move.

Truth: numerical derivatives, the laws of friction written out with plain numbers, statics by hand.
"""

from typing import Any

import numpy as np
import pytest

from analysis.sliding import LoadTransfer, solve_push
from analysis.sliding.batches import flatten_finger, flatten_ground
from analysis.sliding.certificate import residual
from analysis.sliding.contacts import centre_of_friction, check_contacts
from analysis.sliding.finger import check_finger
from analysis.sliding.load_transfer import load_slope, loads_lifting
from analysis.sliding.scene import scene

from ..analysis.sliding.sliding_cars import contacts_of, finger_of, power, random_cars

CARS = random_cars(12, np.random.default_rng(21), drag=(0.1, 0.9))


def test_capacity_and_its_slope_with_grip_that_falls_with_load() -> None:
    rng = np.random.default_rng(2)
    nominal, sensitivity = rng.uniform(3, 5, (12, 4)), rng.uniform(0.05, 0.4, (12, 4))
    ground = check_contacts(contacts_of(CARS, nominal_load=nominal, sensitivity=sensitivity))
    load = rng.uniform(1.0, 9.0, (12, 4))
    expected = CARS["grip"] * np.maximum(1 - sensitivity * (load / nominal - 1), 0.0) * load
    np.testing.assert_allclose(ground.capacity(load), expected, rtol=1e-12)
    slope = (ground.capacity(load + 1e-6) - ground.capacity(load - 1e-6)) / 2e-6
    np.testing.assert_allclose(ground.capacity_slope(load), slope, rtol=1e-6)
    far = nominal * (1 + 1.2 / sensitivity)  # no grip is left, and it does not come back
    np.testing.assert_array_equal(ground.capacity(far), 0.0)
    np.testing.assert_array_equal(ground.capacity_slope(far), 0.0)


def test_the_centre_of_friction_is_the_mean_place_by_grip_times_load() -> None:
    expected = [
        float(sum(m * n * p[0] for m, n, p in zip(g, w, place, strict=True)) / sum(g * w))
        for g, w, place in zip(CARS["grip"], CARS["load"], CARS["place"], strict=True)
    ]
    np.testing.assert_allclose(centre_of_friction(contacts_of(CARS)), expected, rtol=1e-12)


@pytest.mark.parametrize("ellipse", [False, True])
def test_the_certificate_is_the_worst_of_five_breaches(ellipse: bool) -> None:
    """Each law is broken in turn by a known amount, from a true solution; the certificate tells just that amount."""
    contacts, finger = contacts_of(CARS, ellipse=ellipse), finger_of(CARS, "rolling")
    motion = solve_push(contacts, finger)
    touch = check_finger(finger)
    ground = flatten_ground(check_contacts(contacts, touch.batch))
    flat = flatten_finger(touch, (12,))
    made = scene(ground, flat.place, flat.direction, flat.height, None)

    def told(**changed: Any) -> Any:
        given = {
            "load": motion.load.T,
            "twist": motion.twist,
            "roll_speed": motion.roll_speed.T,
            "tyre_force": motion.tyre_force,
            "push_force": motion.push_force,
        } | changed
        return residual(made, **given)

    total = (CARS["grip"] * CARS["load"]).sum(-1)
    np.testing.assert_array_less(told(), 1e-11)
    # a force on the car that nothing balances
    push = motion.push_force.copy()
    push[:, 0] += 0.01 * total
    np.testing.assert_array_less(0.00999, told(push_force=push))
    # the finger's advance, along its direction, is one
    np.testing.assert_allclose(told(twist=motion.twist * 1.003), 0.003, rtol=2e-2)
    # a contact beyond its limit: all friction five per cent up, balanced by a push five per cent up
    over = told(tyre_force=motion.tyre_force * 1.05, push_force=motion.push_force * 1.05)
    size = CARS["grip"] * CARS["load"]
    np.testing.assert_array_less(0.99 * 0.05 * size.min(-1) / total, over)
    np.testing.assert_array_less(over, 0.0501)
    # power lost in the contacts less the power of the push, and moment, by the definitions
    turned = motion.twist + np.array([0.0, 0.0, 0.4])
    lost = power(
        turned, place=CARS["place"], capacity=size, drag=CARS["drag"], heading=CARS["heading"], ellipse=ellipse
    )
    x, y = flat.place[:, 0], flat.place[:, 1]
    given = motion.push_force[:, 0] * (turned[:, 0] - turned[:, 2] * y) + motion.push_force[:, 1] * (
        turned[:, 1] + turned[:, 2] * x
    )
    vx = turned[:, 0, None] - turned[:, 2, None] * CARS["place"][..., 1]
    vy = turned[:, 1, None] + turned[:, 2, None] * CARS["place"][..., 0]
    fastest = np.maximum(np.hypot(vx, vy).max(-1), 1.0)
    gap = np.abs(lost - given) / fastest / total
    advance = np.abs(
        (turned[:, 0] - turned[:, 2] * y) * flat.direction[:, 0]
        + (turned[:, 1] + turned[:, 2] * x) * flat.direction[:, 1]
        - 1.0
    )
    np.testing.assert_allclose(told(twist=turned), np.maximum(gap, advance), rtol=1e-6)


def test_turn_per_travel_is_of_the_point_that_was_named() -> None:
    motion = solve_push(contacts_of(CARS), finger_of(CARS, "rolling"))
    for middle in (0.0, 0.13, CARS["wheelbase"] / 2):
        sideways = motion.twist[:, 1] + motion.twist[:, 2] * middle
        np.testing.assert_allclose(motion.kappa(middle), motion.twist[:, 2] / sideways, rtol=1e-12)
        np.testing.assert_allclose(middle - 1 / motion.kappa(middle), motion.pivot[:, 0], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(motion.pivot[:, 1], motion.twist[:, 0] / motion.twist[:, 2])


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_loads_that_move_keep_weight_and_moments(sign: float) -> None:
    """Statics: weight stays; moments of the loads about x and y change by force times height; shares as given."""
    rng = np.random.default_rng(5)
    rest, height = rng.uniform(3, 6, (4, 8)), rng.uniform(0.01, 0.05, 8)
    track_front, track_rear, wheelbase, share = 0.17, 0.15, 0.26, 0.4
    transfer = LoadTransfer(track_front=track_front, track_rear=track_rear, front_roll_share=share, wheelbase=wheelbase)
    push = sign * rng.uniform(1.0, 4.0, (2, 8))
    slope = load_slope(rest, height, transfer)
    for load, tips in (
        (rest + slope[0] * push[0] + slope[1] * push[1], None),
        loads_lifting(push, rest, height, transfer)[::2],
    ):
        change = load - rest
        np.testing.assert_allclose(change.sum(0), 0.0, atol=1e-12)
        np.testing.assert_allclose((change[:2].sum(0) - change[2:].sum(0)) / 2 * wheelbase, push[0] * height, rtol=1e-9)
        roll = [(change[0] - change[1]) / 2 * track_front, (change[2] - change[3]) / 2 * track_rear]
        lean = [0.0, 0.0]
        for k, wheels in enumerate((slice(0, 2), slice(2, 4))):  # what moves lengthwise goes by the wheels' own shares
            part = rest[wheels] / rest[wheels].sum(0)
            moved = push[0] * height / wheelbase * (1 if k == 0 else -1)
            lean[k] = (part[0] - part[1]) * moved / 2 * (track_front, track_rear)[k]
        np.testing.assert_allclose(roll[0] - lean[0], share * push[1] * height, rtol=1e-9)
        np.testing.assert_allclose(roll[1] - lean[1], (1 - share) * push[1] * height, rtol=1e-9)
        assert tips is None or not np.any(tips)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_lifted_wheel_s_axle_is_spent_and_the_other_takes_the_rest(side: float) -> None:
    rest = np.array([[2.0], [2.0], [5.0], [5.0]])
    height, share = np.array([0.05]), 0.6
    transfer = LoadTransfer(track_front=0.16, track_rear=0.14, front_roll_share=share)
    lifts = 2.0 * 0.16 / (share * 0.05)  # the front inner wheel carries nothing from this push on
    falls = (2.0 * 0.16 + 5.0 * 0.14) / 0.05  # both inner wheels carry nothing
    inner, outer = (1, 0) if side > 0 else (0, 1)
    for size in (0.9 * lifts, 1.2 * lifts, 0.98 * falls, 1.05 * falls):
        load, slope, tips = loads_lifting(np.array([[0.0], [side * size]]), rest, height, transfer)
        assert load.sum() == pytest.approx(14.0)
        assert bool(tips[0]) is (size > falls)
        assert load[inner, 0] == pytest.approx(max(0.0, 2.0 - share * size * 0.05 / 0.16), abs=1e-12)
        if size <= falls:
            roll = abs(load[0] - load[1]) / 2 * 0.16 + abs(load[2] - load[3]) / 2 * 0.14
            assert roll[0] == pytest.approx(size * 0.05)
            step = 1e-6 * side
            more = loads_lifting(np.array([[0.0], [side * size + step]]), rest, height, transfer)[0]
            np.testing.assert_allclose(slope[1], (more - load) / step, rtol=1e-5, atol=1e-9)
        assert load[outer, 0] == pytest.approx(4.0 - load[inner, 0])


def test_tracks_and_shares_reach_their_own_axle_in_a_batch() -> None:
    """Different tracks front and rear, cars of one batch: as each alone."""
    finger = finger_of(CARS, "rolling", height=0.02)
    transfer = LoadTransfer(track_front=CARS["track"], track_rear=CARS["track"] * 0.8, front_roll_share=0.3)
    whole = solve_push(contacts_of(CARS), finger, transfer=transfer)
    for k in range(3):
        car = {name: value[[k]] for name, value in CARS.items()}
        one = solve_push(
            contacts_of(car),
            finger_of(car, "rolling", height=0.02),
            transfer=LoadTransfer(track_front=car["track"], track_rear=car["track"] * 0.8, front_roll_share=0.3),
        )
        np.testing.assert_allclose(one.load[0], whole.load[k], rtol=1e-8)
        moved = whole.load[k] - CARS["load"][k]
        force = whole.push_force[k, 1] * 0.02
        assert moved[0] == pytest.approx(0.3 * force / CARS["track"][k], rel=1e-9)
        assert moved[2] == pytest.approx(0.7 * force / (0.8 * CARS["track"][k]), rel=1e-9)
