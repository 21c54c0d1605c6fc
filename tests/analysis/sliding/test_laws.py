"""Laws that any planar Coulomb slide obeys, cars at the edge, and refusals."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.sliding import Contacts, Finger, LoadTransfer, centre_of_friction, couple_axles, solve_push

from .sliding_cars import contacts_of, finger_of, random_cars

KINDS = ["rolling", "sticking", "rubbing"]
MIRROR = [1, 0, 3, 2]


def solved(cars: dict, kind: str = "rolling", *, height: float = 0.0, **ground: object):
    lean = LoadTransfer(track_front=cars["track"], track_rear=cars["track"])
    finger = finger_of(cars, kind, friction=0.25, height=height)
    return solve_push(contacts_of(cars, **ground), finger, transfer=lean)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("coupling", [None, [0, 0, 1, 1], [1, -1, 2, 2]])
def test_mirror_left_and_right(kind: str, coupling: list[int] | None) -> None:
    cars = random_cars(50, np.random.default_rng(11))
    before = solved(cars, kind, height=0.015, coupling=coupling)
    mirrored = dict(cars)
    mirrored["place"] = cars["place"][:, MIRROR] * [1, -1]
    for key in ("load", "grip", "drag"):
        mirrored[key] = cars[key][:, MIRROR]
    mirrored["heading"] = -cars["heading"][:, MIRROR]
    place = np.stack([cars["station"], 0.1 + 0 * cars["station"]], axis=-1)
    finger = Finger(kind=kind, place=place, direction=(0, -1), friction=0.25, height=0.015)
    lean = LoadTransfer(track_front=cars["track"], track_rear=cars["track"])
    swapped = None if coupling is None else np.array(coupling)[MIRROR]
    after = solve_push(contacts_of(mirrored, coupling=swapped), finger, transfer=lean)
    assert before.certified.all()
    np.testing.assert_allclose(after.twist, before.twist * [1, -1, -1], atol=1e-8)
    np.testing.assert_allclose(after.power, before.power, rtol=1e-11)
    np.testing.assert_allclose(after.load, before.load[:, MIRROR], rtol=1e-9)


def test_pushing_back_reverses_the_motion() -> None:
    cars = random_cars(50, np.random.default_rng(12))
    there = solve_push(contacts_of(cars), finger_of(cars))
    back = solve_push(contacts_of(cars), finger_of(cars, direction=(0, -1)))
    np.testing.assert_allclose(back.twist, -there.twist, atol=1e-9)
    np.testing.assert_allclose(back.push_force, -there.push_force, rtol=1e-11, atol=1e-11)


@pytest.mark.parametrize("kind", KINDS)
def test_only_ratios_of_loads_and_grips_matter(kind: str) -> None:
    cars = random_cars(50, np.random.default_rng(13))
    one = solved(cars, kind)
    for key in ("load", "grip"):
        many = solved({**cars, key: 3.7 * cars[key]}, kind)
        np.testing.assert_allclose(many.twist, one.twist, atol=1e-8)
        np.testing.assert_allclose(many.power, 3.7 * one.power, rtol=1e-11)


@pytest.mark.parametrize("kind", KINDS)
def test_axes_may_be_turned_and_moved(kind: str) -> None:
    cars = random_cars(50, np.random.default_rng(14))
    one = solve_push(contacts_of(cars), finger_of(cars, kind, friction=0.25))
    angle, shift = 0.7, np.array([1.3, -0.4])
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    place = np.stack([cars["station"], -0.1 + 0 * cars["station"]], axis=-1)
    moved = {**cars, "place": cars["place"] @ turn.T + shift, "heading": cars["heading"] + angle}
    finger = Finger(kind=kind, place=place @ turn.T + shift, direction=turn @ [0, 1], friction=0.25)
    other = solve_push(contacts_of(moved), finger)
    np.testing.assert_allclose(other.twist[:, 2], one.twist[:, 2], atol=1e-7)
    np.testing.assert_allclose(other.power, one.power, rtol=1e-11)
    np.testing.assert_allclose(other.push_force, one.push_force @ turn.T, atol=1e-9)


def test_the_order_of_contacts_does_not_matter() -> None:
    cars = random_cars(30, np.random.default_rng(15))
    order = [2, 0, 3, 1]
    one = solve_push(contacts_of(cars, coupling=[0, 0, 1, 1]), finger_of(cars))
    for key in ("place", "load", "grip", "drag", "heading"):
        cars[key] = cars[key][:, order]
    other = solve_push(contacts_of(cars, coupling=[1, 0, 1, 0]), finger_of(cars))  # pairs across the car now
    np.testing.assert_allclose(other.twist, one.twist, atol=1e-8)
    np.testing.assert_allclose(other.tyre_force, one.tyre_force[:, order], atol=1e-7)


def test_more_front_grip_or_weight_lowers_turn_per_travel() -> None:
    """Common practice, no source: the direction in which the balance works."""
    place = np.array([[0.26, 0.085], [0.26, -0.085], [0, 0.085], [0, -0.085]])
    front = np.linspace(0.6, 1.4, 9)
    grip = np.stack([front, front, np.ones(9), np.ones(9)], axis=-1)
    for station in (0.05, 0.13, 0.221):
        finger = Finger(kind="rolling", place=(station, -0.1))
        gripped = solve_push(Contacts(place=place, load=np.ones(4), grip=grip), finger)
        weighted = solve_push(Contacts(place=place, load=grip, grip=1.0), finger)
        assert np.all(np.diff(gripped.kappa(0.13)) < 0)
        assert np.all(np.diff(weighted.kappa(0.13)) < 0)


def test_load_sensitivity_is_a_grip_that_falls_with_load() -> None:
    cars = random_cars(40, np.random.default_rng(16))
    nominal = np.full((40, 4), 4.0)
    lean = LoadTransfer(track_front=cars["track"], track_rear=cars["track"])
    finger = finger_of(cars, height=0.02)
    linear = solve_push(contacts_of(cars, sensitivity=0.2, nominal_load=nominal), finger, transfer=lean)
    assert linear.certified.all()
    # by hand at the loads of the answer, the same motion without any sensitivity
    grip = cars["grip"] * (1 - 0.2 * (linear.load - 4.0) / 4.0)
    plain = solve_push(replace(contacts_of({**cars, "grip": grip}), load=linear.load), finger_of(cars))
    np.testing.assert_allclose(plain.twist, linear.twist, atol=1e-7)
    np.testing.assert_allclose(plain.power, linear.power, rtol=1e-10)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("coupling", [None, [0, 0, 1, 1], [1, -1, 2, 2]])
def test_a_car_alone_gets_the_same_answer_as_in_a_crowd(kind: str, coupling: list[int] | None) -> None:
    """One car goes another way through the solver (plain numbers); both answers carry their own proof."""
    cars = random_cars(40, np.random.default_rng(18))
    crowd = solved(cars, kind, height=0.01, coupling=coupling)
    for k in range(40):
        alone = solved({key: value[k] for key, value in cars.items()}, kind, height=0.01, coupling=coupling)
        assert alone.residual < 1e-12
        np.testing.assert_allclose(alone.twist, crowd.twist[k], atol=1e-8)
        np.testing.assert_allclose(alone.tyre_force, crowd.tyre_force[k], atol=1e-8)
        np.testing.assert_array_equal(alone.sliding, crowd.sliding[k])


def nasty_cars(count: int, rng: np.random.Generator) -> tuple[dict, Finger, LoadTransfer]:
    cars = random_cars(count, rng, drag=(1e-5, 1.0))
    cars["place"][: count // 2, :, 0] = cars["wheelbase"][: count // 2, None] * [1, 1, 0, 0]  # square to the axes
    cars["heading"][: count // 2] = 0.0
    cars["coupling"] = np.where(rng.random((count, 1)) < 0.3, [1, -1, 2, 2], 0)

    def some(share: float) -> np.ndarray:
        return np.flatnonzero(rng.random(count) < share)

    one = some(0.05)
    cars["load"][one] = 0.0
    cars["load"][one, rng.integers(0, 4, one.size)] = 10.0  # three wheels carry nothing
    rolling, blocked, centred = some(0.2), some(0.2), some(0.1)
    cars["drag"][rolling] = rng.uniform(1e-4, 0.05, (rolling.size, 4))
    cars["drag"][blocked] = 1.0
    cars["grip"][some(0.05), :2] = 0.0
    cars["grip"][some(0.05), 2:] = 0.0
    cars["load"][some(0.02)] = 0.0
    uneven, even = some(0.05), some(0.1)
    cars["load"][uneven] = 10.0 ** rng.uniform(-8, 1, (uneven.size, 4))
    cars["load"][even], cars["grip"][even] = 4.0, 0.8
    weight = cars["load"] * cars["grip"]
    total = np.where(weight.sum(axis=-1) > 0, weight.sum(axis=-1), 1.0)
    centre = (weight * cars["place"][..., 0]).sum(axis=-1) / total
    cars["station"][centred] = centre[centred]
    cars["station"][some(0.02)] = 0.0
    height = np.where(rng.random(count) < 0.5, 0.0, rng.uniform(0, 0.04, count))
    return cars, finger_of(cars, height=height), LoadTransfer(track_front=cars["track"], track_rear=cars["track"])


@pytest.mark.parametrize("kind", ["rolling", "sticking"])
def test_certificates_hold_in_nasty_cars(kind: str) -> None:
    cars, finger, lean = nasty_cars(4000, np.random.default_rng(17))
    contacts = contacts_of(cars, coupling=cars["coupling"])
    motion = solve_push(contacts, replace(finger, kind=kind), transfer=lean)
    assert motion.residual[~motion.tips].max() < 1e-9
    assert np.all(motion.certified | motion.tips)
    assert np.all(np.isfinite(motion.twist))
    assert np.all(motion.no_friction == ((cars["load"] * cars["grip"]).sum(axis=-1) == 0))
    assert motion.no_friction.any()
    assert np.all(motion.power[motion.no_friction] == 0)
    # certificate by hand, for a sliding finger: forces balance, and lie in their circles
    if kind == "rolling":
        balance = motion.tyre_force.sum(axis=1) + motion.push_force
        capacity = cars["grip"] * motion.load
        weight = (cars["grip"] * cars["load"]).sum(axis=-1)
        stands = ~motion.tips
        assert np.all(np.linalg.norm(balance, axis=-1)[stands] <= 1e-9 * weight[stands])
        excess = np.linalg.norm(motion.tyre_force, axis=-1) - capacity
        assert np.all(excess[stands] <= 1e-9 * weight[stands, None])


def test_lifted_wheel_hands_the_rest_to_the_other_axle() -> None:
    """Statics: when the front has no more to give, the rear takes the remaining moment."""
    place = np.array([[0.26, 0.085], [0.26, -0.085], [0, 0.085], [0, -0.085]])
    load = np.array([4.0, 0.3, 4.0, 4.0])
    motion = solve_push(
        Contacts(place=place, load=load, grip=0.8),
        Finger(kind="rolling", place=(0.13, -0.1), height=0.02),
        transfer=LoadTransfer(track_front=0.17, track_rear=0.17),
    )
    assert motion.certified
    assert motion.load[1] == 0.0
    assert motion.load.sum() == pytest.approx(load.sum(), rel=1e-14)
    gained = motion.load - load
    assert 0.17 * (gained[0] + gained[2]) == pytest.approx(motion.power * 0.02, rel=1e-12)
    assert gained[0] == pytest.approx(0.3, rel=1e-12)


def test_tipping_begins_at_track_over_twice_the_grip() -> None:
    place = np.array([[0.26, 0.085], [0.26, -0.085], [0, 0.085], [0, -0.085]])
    height = 0.17 / (2 * 0.9) * np.array([0.99, 1.01])
    motion = solve_push(
        Contacts(place=place, load=np.full(4, 4.0), grip=0.9),
        Finger(kind="rolling", place=(0.13, -0.1), height=height),
        transfer=LoadTransfer(track_front=0.17, track_rear=0.17),
    )
    assert list(motion.tips) == [False, True]
    assert list(motion.certified) == [True, False]


def test_a_push_along_the_car_carries_load_from_axle_to_axle() -> None:
    """Statics: mu W z / L from the rear to the front axle, each axle keeping its own left-right ratio."""
    place = np.array([[0.26, 0.085], [0.26, -0.085], [0, 0.085], [0, -0.085]])
    load, height, grip, length = np.array([4.0, 3.0, 2.0, 3.0]), 0.03, 0.8, 0.25
    lean = LoadTransfer(track_front=0.17, track_rear=0.17, wheelbase=length)
    ground = Contacts(place=place, load=load, grip=grip)
    for way in (1.0, -1.0):
        finger = Finger(kind="line", place=(0.0, 0.0), direction=(way, 0), height=height)
        motion = solve_push(ground, finger, transfer=lean)
        assert motion.certified
        moved = way * grip * load.sum() * height / length
        expected = load * np.repeat([1 + moved / 7, 1 - moved / 5], 2)
        # the friction centre moves a little sideways with the loads, so the car turns a little, and P < mu W
        np.testing.assert_allclose(motion.load, expected, rtol=2e-3)
        assert motion.load.sum() == pytest.approx(load.sum(), rel=1e-14)
        np.testing.assert_allclose(motion.load[::2] / motion.load[1::2], [4 / 3, 2 / 3], rtol=1e-12)
        by_moment = motion.push_force[0] * height / length
        assert motion.load[:2].sum() - 7 == pytest.approx(by_moment, rel=1e-9)


def test_pushed_along_from_too_high_up_it_tips_over_its_front_axle() -> None:
    """P z = mu W z against W_rear L (statics): z = L / (2 mu) for an even car; short of that the rear still stands."""
    place = np.array([[0.26, 0.085], [0.26, -0.085], [0, 0.085], [0, -0.085]])
    height = 0.26 / (2 * 0.9) * np.array([0.99, 1.01])
    motion = solve_push(
        Contacts(place=place, load=np.full(4, 4.0), grip=0.9),
        Finger(kind="rolling", place=(0.0, 0.0), direction=(1.0, 0.0), height=height),
        transfer=LoadTransfer(track_front=0.17, track_rear=0.17, wheelbase=0.26),
    )
    assert list(motion.tips) == [False, True]
    np.testing.assert_allclose(motion.load[0], [7.96, 7.96, 0.04, 0.04], rtol=1e-9)


GOOD = {"place": [[0.26, 0.08], [0.26, -0.08], [0, 0.08], [0, -0.08]], "load": [4.0] * 4, "grip": 0.8}
PUSH = {"kind": "rolling", "place": (0.2, -0.1)}


@pytest.mark.parametrize(
    ("ground", "finger", "names"),
    [
        ({"grip": -0.1}, {}, "grip factor"),
        ({"load": [4, 4, -1, 4]}, {}, "loads"),
        ({"load": [4, 4, np.nan, 4]}, {}, "loads"),
        ({"load": [4, 4, 4]}, {}, "contacts"),
        ({"drag": 1.2}, {}, "drag"),
        ({"drag": -0.1}, {}, "drag"),
        ({"along": [1.0, 0.9, 1, 1], "coupling": [1, 1, 0, 0]}, {}, "grip along"),
        ({"load": 0.0}, {}, "no friction at all"),
        ({"grip": 0.0}, {}, "no friction at all"),
        ({}, {"height": 0.2}, "push height"),
        ({}, {"height": -0.01}, "push height"),
        ({}, {"direction": (0, 0)}, "push direction"),
        ({}, {"kind": "glue"}, "finger"),
        ({}, {"friction": -1}, "finger friction"),
        ({}, {"place": (np.inf, 0)}, "push position"),
        ({}, {"motion": (0, -1)}, "finger motion"),
    ],
)
def test_nonsense_is_refused_by_name(ground: dict, finger: dict, names: str) -> None:
    lean = LoadTransfer(track_front=0.16, track_rear=0.16)
    with pytest.raises(InputError, match=names) as caught:
        solve_push(Contacts(**(GOOD | ground)), Finger(**(PUSH | finger)), transfer=lean)
    assert caught.value.exit_code == 2
    assert caught.value.remedy


def test_refusals_elsewhere() -> None:
    with pytest.raises(InputError, match="no friction"):
        centre_of_friction(Contacts(**(GOOD | {"grip": 0.0})))
    with pytest.raises(InputError, match="kind of axle"):
        couple_axles(rear="loose")
    for bad in ({"track_front": 0.0}, {"front_roll_share": 1.5}, {"wheelbase": -1.0}):
        lean = LoadTransfer(**({"track_front": 0.16, "track_rear": 0.16} | bad))
        with pytest.raises(InputError):
            solve_push(Contacts(**GOOD), Finger(**PUSH), transfer=lean)
    three = Contacts(place=[[0, 0], [1, 0], [0, 1]], load=[1, 1, 1])
    with pytest.raises(InputError, match="four wheels"):
        solve_push(three, Finger(**PUSH), transfer=LoadTransfer(track_front=0.16, track_rear=0.16))


def test_shapes_broadcast() -> None:
    stations = np.linspace(0.02, 0.3, 5)
    finger = Finger(kind="rolling", place=np.stack([stations, 0 * stations], axis=-1))
    grip = np.linspace(0.5, 1.0, 3)[:, None, None] * np.ones(4)
    motion = solve_push(Contacts(**(GOOD | {"grip": grip})), finger)
    assert motion.twist.shape == (3, 5, 3)
    assert motion.tyre_force.shape == (3, 5, 4, 2)
    assert motion.certified.shape == (3, 5)
    one = solve_push(Contacts(**(GOOD | {"grip": 0.75})), Finger(kind="rolling", place=(stations[3], 0)))
    assert one.twist.shape == (3,)
    np.testing.assert_allclose(motion.twist[1, 3], one.twist, atol=1e-12)
    empty = solve_push(Contacts(**GOOD), Finger(kind="rolling", place=np.zeros((0, 2))))
    assert empty.twist.shape == (0, 3)
