"""Lift-off, collars, tyres that tire of load, the balance point, and the rule of equal shares."""

import tomllib
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.moving.phases import with_axis
from analysis.moving.setup_changes import with_collars
from analysis.moving.tyres import (
    Driveline,
    Tyres,
    axle_capacity,
    balance,
    capacity,
    friction_centre,
    side_capacity,
    tyres_like,
)
from analysis.springs.chassis import stacked
from analysis.springs.equilibrium import equilibrium
from analysis.springs.lift_off import beside, equal_shares, lift_off, lift_offs
from tests.analysis.springs.sprung_cars import G, dunlin, random_cars

BOOK = tomllib.loads((Path(__file__).parents[2] / "data" / "vehicle_examples.toml").read_text())


def test_a_wheel_lifts_where_its_load_falls_to_nothing() -> None:
    # a* = N / (dN/da), linear until the first lift (statics); no stops in the way, no lean.
    car = dunlin(bump_gap=np.inf, droop=np.inf)
    found = lift_off(car)
    slope = (equilibrium(car, 0.0, 1.0).load - equilibrium(car).load)[[0, 2]]
    assert found.lifts == pytest.approx(float((-car.tyre_force[[0, 2]] / slope).min()), rel=1e-7)
    assert found.wheel == [0, 2][int(np.argmin(-car.tyre_force[[0, 2]] / slope))]
    # nothing holds the car once the whole weight stands on two wheels: a = g (t/2 - lean) / h, so less than g t/2h
    assert 0.9 * G * 0.165 / 2 / 0.035 < found.rolls < G * 0.165 / 2 / 0.035
    brake = lift_off(car, np.pi)
    assert brake.wheel in (2, 3)
    assert brake.lifts > found.lifts


def test_after_lift_off_that_axle_takes_no_more_elastic_roll() -> None:
    car = dunlin(bump_gap=np.inf, droop=np.inf, roll_centre=[0.0, 0.0], unsprung_height=[1e-6] * 4, bar=[1500.0, 0.0])
    lifted = lift_off(car)
    assert lifted.wheel == 0
    loads = equilibrium(car, 0.0, lifted.lifts + np.array([0.5, 1.0, 1.5]), leaning=False).load
    np.testing.assert_allclose(loads[:, 0], 0, atol=0)
    np.testing.assert_allclose(loads[:, 1], loads[0, 1], rtol=1e-9)  # its axle already carries all it can
    assert np.all(np.diff(loads[:, 3]) > 0)


def test_a_collar_turn_moves_what_statics_says() -> None:
    # Computed by two methods beforehand: spring 2.5 N/mm, ratio 0.65, 1.6 kg, equal corners, no bars, rigid tyres:
    # a collar turn of 0.75 mm moves 31 g per wheel = 3.9 points of cross weight; wheel rate 1.06 N/mm.
    car = dunlin(
        rest_load=np.full(4, 0.4 * G),
        spring=[2500.0] * 4,
        bar=[0.0, 0.0],
        tyre=[1e8] * 4,
        bump_gap=np.inf,
        droop=np.inf,
        unsprung_mass=[1e-6] * 4,
    )
    assert car.wheel_rate[0] == pytest.approx(1056.25)
    turned = equilibrium(with_collars(car, np.array([0.75e-3, 0, 0, 0])), leaning=False).load
    grams = (turned - car.tyre_force) / G * 1e3
    # N per wheel by hand: a quarter of spring force 2500 * 0.65 * 0.75e-3
    np.testing.assert_allclose(grams, 2500 * 0.65 * 0.75e-3 / 4 / G * 1e3 * np.array([1, -1, -1, 1]), rtol=1e-3)
    assert 100 * ((turned[0] + turned[3]) / turned.sum() - 0.5) == pytest.approx(3.9, abs=0.05)
    raised = equilibrium(car, floor=np.array([1e-3, 0, 0, 0]), leaning=False).load
    assert (raised[0] - car.tyre_force[0]) / G * 1e3 == pytest.approx(27, abs=0.5)


def test_unequal_tracks_follow_the_warp_formula() -> None:
    # dN = q (q' K^-1 K_s e d) / (q' K^-1 q), q = (1/tf, -1/tf, -1/tr, 1/tr) (statics of a warped car)
    car = dunlin(track=[0.17, 0.15], bump_gap=np.inf, droop=np.inf, unsprung_mass=[0.03] * 4)
    d = np.array([0.4e-3, 0, 0, 0])
    got = equilibrium(with_collars(car, d), leaning=False).load - car.tyre_force
    q = np.array([1 / 0.17, -1 / 0.17, -1 / 0.15, 1 / 0.15])
    ks = np.diag(car.wheel_rate)
    for axle, bar in enumerate(car.bar):
        two = np.ix_([2 * axle, 2 * axle + 1], [2 * axle, 2 * axle + 1])
        ks[two] += bar * np.array([[1, -1], [-1, 1]])
    whole = np.linalg.inv(ks) + np.diag(1 / car.tyre)
    push = car.spring * car.motion_ratio * d
    np.testing.assert_allclose(got, q * (q @ np.linalg.inv(ks) @ push) / (q @ whole @ q), rtol=1e-6)
    np.testing.assert_allclose([got[:2].sum(), got[2:].sum()], 0, atol=1e-9)


def test_grip_of_a_loaded_axle() -> None:
    tyres = Tyres(grip=np.full(4, 0.8), sensitivity=np.full(4, 0.2), nominal=np.full(4, 4.0))
    load = np.array([5.5, 2.5, 4.0, 4.0])
    by_hand = [0.8 * (1 - 0.2 * (n - 4) / 4) * n for n in load]
    np.testing.assert_allclose(capacity(tyres, load), by_hand, rtol=1e-14)
    loss = axle_capacity(tyres, np.full(4, 4.0)) - axle_capacity(tyres, load)
    # a transfer d costs the axle 2 grip q d^2 / N0 (algebra)
    np.testing.assert_allclose(loss, [2 * 0.8 * 0.2 * 1.5**2 / 4, 0], atol=1e-14)
    none = replace(tyres, sensitivity=np.zeros(4))
    np.testing.assert_allclose(axle_capacity(none, load), [6.4, 6.4])
    np.testing.assert_allclose(side_capacity(none, load, np.array([3.84, 9.0])), [5.12, 0.0])
    for bad in ({"front": -0.1, "rear": 1.0}, {"front": 0.8, "rear": 0.8, "sensitivity": 1.5}):
        with pytest.raises(InputError):
            tyres_like(dunlin(), **bad)


def test_balance_point_is_the_front_share_of_grip_and_words_follow_it() -> None:
    car = dunlin(rest_load=np.full(4, 0.4 * G))
    load = equilibrium(car).load
    tyres = tyres_like(car, front=0.9, rear=0.7, sensitivity=0.0)
    assert friction_centre(car, tyres, load) == pytest.approx([0.257 * 0.9 / 1.6, 0.0])
    # balance point ahead of the centre of gravity: the rear runs out first, and the reverse
    assert balance(car, tyres, load, 0.0, 7.5).words == "steps out at the rear"
    other = tyres_like(car, front=0.7, rear=0.9, sensitivity=0.0)
    assert balance(car, other, load, 0.0, -7.5).words == "pushes on at the front"
    alike = tyres_like(car, front=0.8, rear=0.8)
    assert balance(car, alike, load, 0.0, 2.0).words == "holds"
    assert balance(car, alike, load, 0.0, 9.0).words == "slides with all four wheels"
    # wheelspin: a rear axle that drives with all it has steps out at any side force
    assert balance(car, alike, load, 4.0, 0.5).words == "steps out at the rear"


def test_spinning_wheels_leave_their_axle_less_grip_sideways() -> None:
    """Friction circle by hand: an axle that spends s of its grip along the car keeps sqrt(1 - s^2) of it sideways."""
    car = dunlin(rest_load=np.array([0.3, 0.3, 0.2, 0.2]) * 1.6 * G)
    load, tyres = np.array([5.0, 4.0, 4.0, 3.0]), tyres_like(car, front=0.9, rear=0.8, sensitivity=0.0)
    hold = np.array([0.9 * 9.0, 0.8 * 7.0])
    need = 1.6 * 2.5 * np.array([0.6, 0.4])
    spin = balance(car, tyres, load, 0.5, -2.5, spent=0.96)  # rear-driven: ax is not asked what it takes
    np.testing.assert_allclose(spin.used, [need[0] / hold[0], need[1] / (0.28 * hold[1])], rtol=1e-12)
    assert spin.words == "steps out at the rear"
    np.testing.assert_allclose(spin.spare_along, np.sqrt(1 - (need / hold) ** 2), rtol=1e-12)
    lift = balance(car, tyres, load, 0.5, -2.5, spent=float(spin.spare_along[1]) - 0.01)
    assert lift.words == "holds"
    front = balance(car, tyres, load, 0.5, -2.5, spent=0.96, driveline=Driveline(drive_front=1.0))
    assert front.words == "pushes on at the front"
    np.testing.assert_allclose(front.used[1], need[1] / hold[1], rtol=1e-12)
    brake = balance(
        car, tyres, load, -2.0, -2.5, spent=0.5, driveline=Driveline(brake_front=0.6)
    )  # the front brakes by its share
    np.testing.assert_allclose(brake.used[0], need[0] / np.sqrt(hold[0] ** 2 - (1.6 * 2.0 * 0.6) ** 2), rtol=1e-12)
    with pytest.raises(InputError, match="more than all"):
        balance(car, tyres, load, 0.0, 1.0, spent=1.2)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        none = balance(car, tyres, load, 0.0, 1.0, spent=1.0, driveline=Driveline(drive_front=0.5))
    assert none.words == "slides with all four wheels"  # all of it goes along the car, on either axle


def test_steered_front_tyres_push_across_themselves() -> None:
    """Statics by hand: S across and A along the front wheels give S cos(steer) + A sin(steer) sideways."""
    car = dunlin(rest_load=np.array([0.3, 0.3, 0.2, 0.2]) * 1.6 * G)
    load, tyres = np.array([5.0, 4.0, 4.0, 3.0]), tyres_like(car, front=0.9, rear=0.8, sensitivity=0.0)
    hold, need, angle = 0.9 * 9.0, 1.6 * 2.5 * 0.6, np.radians(20.0)
    for steer in (angle, -angle):  # rear-driven: nothing along the front wheels
        used = balance(car, tyres, load, 1.0, -2.5, driveline=Driveline(steer=steer)).used
        np.testing.assert_allclose(used[0], need / np.cos(angle) / hold, rtol=1e-12)
        np.testing.assert_allclose(used[1], balance(car, tyres, load, 1.0, -2.5).used[1], rtol=1e-12)
    # braked by 1.6 * 2 * 0.6 N at the front, in a right-hand turn: steered into it, that pulls out of the turn
    brake = 1.6 * 2.0 * 0.6
    left = np.sqrt(hold**2 - brake**2)
    for steer, more in ((-angle, 1.0), (angle, -1.0)):
        used = balance(car, tyres, load, -2.0, -2.5, driveline=Driveline(brake_front=0.6, steer=steer)).used[0]
        across = (need + more * brake * np.sin(angle)) / np.cos(angle)
        np.testing.assert_allclose(used, across / left, rtol=1e-12)


def test_use_of_each_axle_by_hand() -> None:
    """Friction circle: what is left sideways is sqrt(C^2 - X^2); the axles share the side force by the place of the
    centre of gravity (elementary statics); of a driving or braking force each takes its stated part."""
    car = dunlin(rest_load=np.array([0.3, 0.3, 0.2, 0.2]) * 1.6 * G)
    load, tyres = np.array([5.0, 4.0, 4.0, 3.0]), tyres_like(car, front=0.9, rear=0.8, sensitivity=0.0)
    hold = np.array([0.9 * 9.0, 0.8 * 7.0])
    for ax, share in ((2.0, 0.3), (-3.0, 0.7)):
        along = 1.6 * abs(ax) * np.array([share, 1 - share])
        told = balance(car, tyres, load, ax, -2.5, driveline=Driveline(drive_front=0.3, brake_front=0.7))
        by_hand = 1.6 * 2.5 * np.array([0.6, 0.4]) / np.sqrt(hold**2 - along**2)
        np.testing.assert_allclose(told.used, by_hand, rtol=1e-9)
        np.testing.assert_allclose(told.capacity, hold, rtol=1e-12)
    gentle = balance(car, tyres, load, 0.0, 0.01)
    np.testing.assert_allclose(gentle.used, 0.016 * np.array([0.6, 0.4]) / hold, rtol=1e-9)
    usual = balance(car, tyres, load, np.array([1.0, -1.0]), 2.5)  # rear-driven, 60 % of the braking at the front
    along = 1.6 * np.array([[0.0, 1.0], [0.6, 0.4]])
    np.testing.assert_allclose(usual.used, 1.6 * 2.5 * np.array([0.6, 0.4]) / np.sqrt(hold**2 - along**2), rtol=1e-9)
    straight = balance(car, tyres, load, np.array([1.0, 9.0]), 0.0).used  # 14.4 N on a rear axle of 5.6 N
    np.testing.assert_array_equal(straight, [[0.0, 0.0], [0.0, np.inf]])
    near = tyres_like(car, front=0.9, rear=0.9 * 9 * 4 / 6 / 7 * 1.019, sensitivity=0.0)  # the rear has 1.9 % more
    assert balance(car, near, load, 0.0, 9.0).words == "slides with all four wheels"
    assert balance(car, near, load, 0.0, 8.0).words == "holds"
    apart = tyres_like(car, front=0.9, rear=0.9 * 9 * 4 / 6 / 7 * 1.021, sensitivity=0.0)  # 2.1 % more
    assert balance(car, apart, load, 0.0, 9.0).words == "pushes on at the front"


def test_lift_off_of_cars_that_stand_on_three_wheels_and_of_low_ones() -> None:
    car = dunlin(bump_gap=np.inf, droop=np.inf)
    found = lift_off(car)
    np.testing.assert_allclose(found.loads, equilibrium(car, 0.0, float(found.lifts)).load, atol=1e-5)
    three = with_collars(dunlin(unsprung_mass=[1e-4] * 4), np.array([-0.03, 0.03, 0.03, -0.03]))  # it rocks
    assert equilibrium(three).lifted.any()
    assert lift_off(three).lifts == 0.0
    low = dunlin(height=0.002, unsprung_height=[0.0] * 4, roll_centre=[0.0, 0.0])
    with pytest.raises(InputError, match="no wheel lifts below 200"):
        lift_off(low)
    assert np.isinf(lift_offs(stacked([low])).lifts[0])


def test_wheels_that_lift_together_are_told_as_such() -> None:
    """Even car, no bars: both left wheels lose d = W h a/(2 t) each, less what leaning adds, so both are empty at
    once; the outer two then carry all, 50:50 by the moment about the axles (elementary statics)."""
    even = dunlin(rest_load=np.full(4, 0.4 * G), spring=[800.0] * 4, bar=[0.0, 0.0], roll_centre=[0.01, 0.01])
    found = lift_off(even)
    assert found.leaves.tolist() == [True, False, True, False]
    assert found.tips
    assert found.rolls == found.lifts
    np.testing.assert_allclose(found.loads, [0.0, 0.8 * G, 0.0, 0.8 * G], atol=1e-9)
    other = lift_off(even, -np.pi / 2)
    assert other.leaves.tolist() == [False, True, False, True]
    assert other.lifts == pytest.approx(found.lifts, rel=1e-12)
    # a thousandth more front spring, and the front left is the first by itself: then the car stands on three wheels
    near = lift_off(dunlin(rest_load=np.full(4, 0.4 * G), spring=[804.0] * 2 + [800.0] * 2, bar=[0.0, 0.0]))
    assert near.leaves.sum() == 1
    assert not near.tips
    assert near.lifts < near.rolls


def test_lift_off_of_many_cars_is_where_the_equilibrium_lifts_a_wheel() -> None:
    """Just before, nothing is in the air; just after, some wheel is: against the solver of single states."""
    cars = random_cars(60, np.random.default_rng(11))
    for direction in (np.pi / 2, 0.4, 3.9):
        found = lift_offs(cars, direction)
        some = np.isfinite(found.lifts)
        assert some.sum() > 50
        a = np.where(some, found.lifts, 0.0)[:, None] * np.array([1 - 1e-6, 1 + 1e-6])
        state = equilibrium(with_axis(cars), a * np.cos(direction), a * np.sin(direction))
        up = state.lifted.any(-1) | state.rolls_over
        assert not up[some, 0].any()
        assert up[some, 1].all()
        np.testing.assert_allclose(state.load[some, 0], found.loads[some], atol=1e-3)


def test_a_stiffer_front_bar_moves_the_balance_point_rearwards() -> None:  # common practice; needs load-sensitive tyres
    cars = stacked([dunlin(), dunlin(bar=[900.0, 80.0])])
    load = equilibrium(cars, 0.0, 5.0).load
    station = friction_centre(cars, tyres_like(cars, front=0.8, rear=0.8, sensitivity=0.2), load)[:, 0]
    assert station[1] < station[0]
    blunt = friction_centre(cars, tyres_like(cars, front=0.8, rear=0.8, sensitivity=0.0), load)[:, 0]
    assert blunt[1] == pytest.approx(blunt[0], rel=1e-9)


def test_the_rule_of_equal_shares_is_shown_as_what_it_is() -> None:  # values as taught; common practice, no source
    np.testing.assert_allclose(equal_shares(np.ones(4, dtype=bool)), 0.25)
    one_up = equal_shares(np.array([False, True, True, True]))
    np.testing.assert_allclose(one_up, [0, 1 / 3, 1 / 3, 1 / 3])
    assert one_up[2:].sum() == pytest.approx(2 / 3)
    with pytest.raises(InputError):
        equal_shares(np.zeros(4, dtype=bool))
    car = dunlin(bar=[1500.0, 0.0])
    lift = lift_off(car)
    told = beside(lift.loads, ~lift.leaves)
    assert told.rule_front == pytest.approx(1 / 3)
    assert told.model_front == pytest.approx(0.48, abs=0.01)  # moments about the axles: the front keeps its share
    assert "simplification" in told.label
    assert any("front left up" in reason for reason in told.why)


def test_printed_rates_and_the_share_of_the_roll_couple() -> None:
    # By hand: 140101 N/m x 0.7334^2 = 75357; with a tyre of 318030 in series 60922 N/m (no source).
    assert replace(dunlin(), spring=np.full(4, 140101.0), motion_ratio=np.full(4, 0.7334)).wheel_rate[
        0
    ] == pytest.approx(75357, abs=1)
    quarter = 312.0 * G
    car = dunlin(
        rest_load=np.full(4, quarter),
        spring=[140101.0] * 4,
        motion_ratio=[0.7334] * 4,
        tyre=[318030.0] * 4,
        unsprung_mass=[1e-9] * 4,
        bar=[0.0, 0.0],
        bump_gap=np.inf,
        droop=np.inf,
    )
    heavier = replace(car, sprung_mass=car.sprung_mass * 1.01)  # 1 % more weight sinks it by 1 % W / rate
    assert 0.01 * quarter / -equilibrium(heavier, leaning=False).heave == pytest.approx(60922, rel=1e-4)
    # Statics (couples in parallel): a bar making the front twice as stiff in roll gives it 2/3 of the couple.
    rate = 800 * 0.65**2
    twice = dunlin(
        spring=[800.0] * 4,
        bar=[rate / 2, 0.0],
        tyre=[1e9] * 4,
        roll_centre=[0.0, 0.0],
        bump_gap=np.inf,
        droop=np.inf,
        unsprung_mass=[1e-9] * 4,
        rest_load=np.full(4, 0.4 * G),
    )
    load = equilibrium(twice, 0.0, 3.0, leaning=False).load
    share = (load[1] - load[0]) / (load[1] - load[0] + load[3] - load[2])
    assert share == pytest.approx(BOOK["roll_couple_share"]["front_share_of_roll_couple"], rel=1e-5)
