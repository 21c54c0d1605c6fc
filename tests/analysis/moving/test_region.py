"""The region a car can reach and ranked set-up changes: against another way of computing, and laws."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from analysis.base.errors import InputError
from analysis.moving.phases import Phase
from analysis.moving.pivots import pivot_spans, pivot_station, push_turn_per_travel, reachable_pivots
from analysis.moving.region import grip_limit, reachable, reaches
from analysis.moving.setup_changes import (
    SetupChange,
    effects,
    usual_changes,
    with_ballast,
    with_bars,
    with_height,
    with_springs,
    with_track,
)
from analysis.moving.tyres import Tyres, capacity, friction_centre, tyres_like
from analysis.springs.chassis import Chassis
from analysis.springs.equilibrium import equilibrium
from tests.analysis.springs.sprung_cars import G, dunlin, picked, random_cars


def test_the_grip_limit_is_where_the_tyres_give_just_what_is_asked() -> None:
    car = dunlin(bar=[900.0, 0.0])
    tyres = tyres_like(car, front=0.9, rear=0.75, sensitivity=0.2)
    turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    limit, rolls = grip_limit(car, tyres, turn)
    assert not rolls.any()

    def spare(a: float, way: float) -> float:
        load = equilibrium(car, a * np.cos(way), a * np.sin(way)).load
        return float(capacity(tyres, load).sum() - car.mass * a)

    by_scipy = [brentq(spare, 0.1, 15.0, args=(way,), xtol=1e-12) for way in turn]
    np.testing.assert_allclose(limit, by_scipy, rtol=1e-7)
    even = tyres_like(car, front=0.8, rear=0.8, sensitivity=0.0)
    np.testing.assert_allclose(grip_limit(car, even, turn)[0], 0.8 * G, rtol=1e-9)  # mu g, whatever the loads
    # a tall car on grippy tyres rolls over before it slides: limit a little under g track/2h (statics)
    tall, grippy = dunlin(height=0.07), tyres_like(car, front=1.5, rear=1.5, sensitivity=0.0)
    limit, rolls = grip_limit(tall, grippy, np.array([np.pi / 2]))
    assert rolls.all()
    assert 0.85 * G * 0.165 / 0.14 < limit[0] < G * 0.165 / 0.14
    assert equilibrium(tall, 0.0, limit[0]).rolls_over == np.False_
    assert equilibrium(tall, 0.0, limit[0] * 1.001).rolls_over == np.True_


def test_region_holds_all_reachable_points_and_its_area_is_that_of_its_edge() -> None:
    car = dunlin()
    tyres = tyres_like(car, front=0.8, rear=0.8, sensitivity=0.15)
    region = reachable(car, tyres)
    # no wheel lifts and the map does not fold: the edge bounds the region, shoelace formula
    edge = np.vstack([region.edge, region.edge[:1]])
    shoelace = 0.5 * abs(np.sum(edge[:-1, 0] * edge[1:, 1] - edge[1:, 0] * edge[:-1, 1]))
    assert region.area == pytest.approx(shoelace, rel=0.01)
    finer = reachable(car, tyres, directions=300, shares=150)
    assert region.area == pytest.approx(finer.area, rel=0.01)
    assert region.station == pytest.approx(finer.station, abs=1e-4 * 0.257)
    # random accelerations within the limit fall inside its extent
    rng = np.random.default_rng(1)
    a, way = 0.985 * region.limit.min() * np.sqrt(rng.random(500)), rng.uniform(0, 2 * np.pi, 500)
    points = friction_centre(car, tyres, equilibrium(car, a * np.cos(way), a * np.sin(way)).load)
    assert np.all((points[:, 0] > region.station[0] - 1e-6) & (points[:, 0] < region.station[1] + 1e-6))
    assert np.all((points[:, 1] > region.side[0] - 1e-6) & (points[:, 1] < region.side[1] + 1e-6))
    (line,) = region.outline
    rim = 0.5 * abs(np.sum(line[:-1, 0] * line[1:, 1] - line[1:, 0] * line[:-1, 1]))
    assert rim == pytest.approx(region.area, rel=0.03)  # half a cell of 160 around it


def test_regions_of_many_cars_are_those_of_each() -> None:
    cars = random_cars(4, np.random.default_rng(8))
    grip = np.array([[0.7, 0.7, 0.8, 0.8], [0.9, 0.9, 0.6, 0.6], [0.5] * 4, [1.0] * 4])
    fall = np.array([0.05, 0.2, 0.1, 0.15])
    quarter = np.asarray(cars.weight)[:, None] / 4
    many = reaches(cars, Tyres(grip=grip, sensitivity=np.repeat(fall[:, None], 4, 1), nominal=np.repeat(quarter, 4, 1)))
    for k in range(4):
        car = picked(cars, k)
        tyres = Tyres(grip=grip[k], sensitivity=np.full(4, fall[k]), nominal=np.full(4, quarter[k, 0]))
        one = reachable(car, tyres)
        np.testing.assert_allclose(many.station[k], one.station, atol=0.012 * np.ptp(one.station))
        np.testing.assert_allclose(many.side[k], one.side, atol=0.02 * np.ptp(one.side))
        np.testing.assert_allclose(many.width[k], one.width, rtol=0.05)
        assert many.area[k] == pytest.approx(one.area, rel=0.06)


def test_the_width_of_a_round_region_near_its_ends() -> None:
    """A disc of radius r, a tenth of its length in: chord 2 r sqrt(1 - 0.8^2) = 1.2 r (elementary geometry)."""
    car = dunlin(spring=[1e5] * 4, tyre=[1e7] * 4)
    found = reachable(car, tyres_like(car, front=0.8, rear=0.8, sensitivity=0.0))
    np.testing.assert_allclose(found.width, 1.2 * 0.8 * 0.035, rtol=0.01)
    # a stiff front bar, tyres that lose grip with load: the front end gets narrower (more transfer costs more there)
    soft, stiff = (
        reachable(one, tyres_like(one, front=0.8, rear=0.8, sensitivity=0.25))
        for one in (dunlin(bar=[0.0, 0.0]), dunlin(bar=[1500.0, 0.0]))
    )
    assert stiff.width[1] / stiff.width[0] < 0.95 * soft.width[1] / soft.width[0]


def test_region_without_load_sensitivity_is_where_the_loads_put_it() -> None:
    # mu alike and constant: the balance point is the centre of pressure, so the region is the shadow of
    # centre - h a / g with |a| <= mu g: an ellipse-like disc of radius mu h, area pi (mu h)^2 (statics; no lean)
    car = dunlin(spring=[1e5] * 4, tyre=[1e7] * 4)
    region = reachable(car, tyres_like(car, front=0.8, rear=0.8, sensitivity=0.0))
    assert region.area == pytest.approx(np.pi * (0.8 * 0.035) ** 2, rel=0.01)
    assert np.diff(region.station)[0] == pytest.approx(1.6 * 0.035, rel=0.01)
    assert np.diff(region.side)[0] == pytest.approx(1.6 * 0.035, rel=0.01)
    assert region.rest == pytest.approx([0.257 * 0.48, 0.0], abs=1e-9)


def test_a_region_with_lifted_wheels_and_many_set_ups_at_once() -> None:
    car = dunlin(height=0.06, bar=[4000.0, 0.0])
    tyres = tyres_like(car, front=0.9, rear=0.9, sensitivity=0.1)
    region = reachable(car, tyres, outline=False)
    assert region.lifts
    assert region.area > 0
    cars = random_cars(6, np.random.default_rng(2))
    many = tyres_like(cars, front=0.8, rear=0.7, sensitivity=0.1)
    turn = np.linspace(0, 2 * np.pi, 9)
    together, _ = grip_limit(cars, many, turn)
    for i in range(6):
        one = picked(cars, i)
        alone, _ = grip_limit(one, tyres_like(one, front=0.8, rear=0.7, sensitivity=0.1), turn)
        np.testing.assert_allclose(together[i], alone, rtol=1e-7)
    with pytest.raises(InputError, match="one set-up"):
        reachable(cars, many)


def test_changes_go_the_way_the_trade_says() -> None:  # common practice, with load-sensitive tyres
    car = dunlin()
    tyres = tyres_like(car, front=0.8, rear=0.8, sensitivity=0.2)
    turn = Phase(name="turn", ax=0.0, ay=6.0, steer=0.0, duration=1.0)
    found = {one.name: one for one in effects(car, tyres, turn)}
    assert found["front bar one size stiffer"].balance_change < 0 < found["rear bar one size stiffer"].balance_change
    assert found["front springs 20 % stiffer"].balance_change < 0 < found["rear springs 20 % stiffer"].balance_change
    nose, tail = found["2 % ballast at the front axle"], found["2 % ballast at the rear axle"]
    assert nose.balance_change > 0 > tail.balance_change
    assert nose.kappa_change < 0 < tail.kappa_change  # more front grip lowers turn per travel
    with pytest.raises(InputError, match="rolls over"):
        effects(car, tyres, Phase(name="flip", ax=0.0, ay=50.0, steer=0.0, duration=1.0))


def test_changed_cars_stand_as_they_should() -> None:
    car = dunlin()
    for change in usual_changes(car):
        state = equilibrium(change.chassis)
        np.testing.assert_allclose(state.load.sum(), change.chassis.weight, rtol=1e-9)
    # springs changed with the collars set anew: same height and loads; without: it sinks by force/rate
    kept, left = (equilibrium(with_springs(car, (0.8, 0.8), keep_height=k), leaning=False) for k in (True, False))
    np.testing.assert_allclose(kept.load, car.tyre_force, rtol=1e-9)
    assert kept.heave == pytest.approx(0.0, abs=1e-12)
    # collars left alone: the springs push 0.8 times as much there, so the body sinks by the rest over the new rate
    carried = car.tyre_force - car.unsprung_mass * G
    np.testing.assert_allclose(left.travel, 0.2 * carried / (0.8 * car.wheel_rate), rtol=1e-4)
    heavy = with_ballast(car, 0.1, (0.257, 0.0, 0.02))
    gained = equilibrium(heavy).load - car.tyre_force
    np.testing.assert_allclose(gained, [0.05 * G, 0.05 * G, 0, 0], atol=1e-9)  # over the front axle: all on it
    assert equilibrium(heavy).heave == pytest.approx(0.0, abs=1e-9)
    sunk = equilibrium(with_ballast(car, 0.1, (0.257, 0.0, 0.02), keep_height=False))
    assert sunk.pitch > 0  # nose down
    assert float(with_height(car, 1e-3).sprung_place[2] - car.sprung_place[2]) == pytest.approx(1e-3)
    assert with_track(car, (4e-3, 0.0)).track.tolist() == [0.169, 0.165]
    with pytest.raises(InputError, match="bar rate"):
        equilibrium(replace(car, bar=np.array([-1.0, 0.0])))
    assert with_bars(car, (-1e6, 0.0)).bar[0] == 0.0


def test_each_usual_change_is_what_its_name_says() -> None:
    """The name, read by itself, gives the factor or the addition; everything else stays as it was."""
    car = dunlin()
    found = {one.name: one.chassis for one in usual_changes(car)}
    assert len(found) == 13
    for name, changed in found.items():
        at = 1.0 * np.array(["front" in name, "rear" in name])  # which axle
        spring, bar, track, up = np.ones(2), np.zeros(2), np.zeros(2), 0.0
        if "springs" in name:
            spring = 1 + at * (0.2 if "stiffer" in name else -0.2)
        elif "bar" in name:
            bar = 0.15 * (800 + 700) / 2 * 0.65**2 * at  # 15 % of the mean wheel rate
        elif "track" in name:
            track = 4e-3 * at
        elif "ride height" in name:
            up = 1e-3 if "up" in name else -1e-3
        np.testing.assert_allclose(changed.spring, car.spring * np.repeat(spring, 2), err_msg=name)
        np.testing.assert_allclose(changed.bar, car.bar + bar, err_msg=name)
        np.testing.assert_allclose(changed.track, car.track + track, err_msg=name)
        np.testing.assert_allclose(changed.bump_gap, car.bump_gap + up, err_msg=name)
        np.testing.assert_allclose(changed.droop, car.droop - up, err_msg=name)
        np.testing.assert_allclose(changed.roll_centre, car.roll_centre + up / 2, err_msg=name)
        if "ballast" in name:
            assert changed.mass == pytest.approx(1.02 * car.mass)
            # 2 % at an axle, half as high as the sprung mass: moment balance
            place = np.array([0.257 if "front" in name else 0.0, 0.0, 0.5 * car.sprung_place[2]])
            whole = car.sprung_mass * car.sprung_place + 0.02 * car.mass * place
            np.testing.assert_allclose(changed.sprung_place, whole / changed.sprung_mass)
        else:
            np.testing.assert_allclose(changed.sprung_place, car.sprung_place + np.array([0, 0, up]), err_msg=name)
        if "preload" in name:
            np.testing.assert_allclose(changed.spring_force - car.spring_force, car.spring * 1e-3 * [1, -1, -1, 1])


def test_effects_by_single_cars() -> None:
    """Each effect is the difference of two cars computed apart; stations in per cent of each car's own wheelbase."""
    car = dunlin()
    tyres = tyres_like(car, front=0.9, rear=0.7, sensitivity=0.15)
    turn = Phase(name="turn", ax=-1.0, ay=4.0, steer=0.0, duration=1.0)
    (bar,) = effects(car, tyres, turn, [SetupChange(name="bar", chassis=with_bars(car, (0.0, 300.0)))], push_pct=70.0)

    def told(one: Chassis) -> tuple[float, float]:
        load = equilibrium(one, -1.0, 4.0).load
        station = 100 * (capacity(tyres, load)[:2].sum() / capacity(tyres, load).sum())
        return station, float(push_turn_per_travel(one, tyres, load, push_pct=70.0))

    before, after = told(car), told(with_bars(car, (0.0, 300.0)))
    assert (bar.balance, bar.kappa) == pytest.approx(after, rel=1e-9)
    assert bar.balance_change == pytest.approx(after[0] - before[0], rel=1e-6)
    assert bar.kappa_change == pytest.approx(after[1] - before[1], rel=1e-6)
    assert not bar.rolls_over
    falls = effects(car, tyres, turn, [SetupChange(name="tall", chassis=with_height(car, 0.2))])
    assert falls[0].rolls_over


def test_stations_of_the_region_in_per_cent_and_a_region_without_extent() -> None:
    car = dunlin()
    region = reachable(car, tyres_like(car, front=0.8, rear=0.8, sensitivity=0.1), outline=False)
    np.testing.assert_allclose(region.station_pct(0.257), 100 * np.array(region.station) / 0.257, rtol=1e-12)
    # a car that does not lean on rigid tyres and carries nothing across: no height, no transfer, one point
    flat = dunlin(height=1e-12, unsprung_height=[0.0] * 4, roll_centre=[0.0, 0.0], unsprung_mass=[1e-6] * 4)
    point = reachable(flat, tyres_like(flat, front=0.8, rear=0.8, sensitivity=0.0))
    assert point.area == 0.0
    assert point.outline == ()
    # from the middle of the wheelbase 0.3 m ahead: 1/kappa back, and straight ahead at infinity
    np.testing.assert_allclose(pivot_station(np.array([-4.0, 5.0, 0.0]), 0.26), [0.38, -0.07, -np.inf], rtol=1e-12)


def test_pivot_of_the_moving_loads_is_that_of_a_blocked_push_with_them() -> None:
    # Closed form of a blocked, left-right even car (push at s): F[(L-X)(L-s)+h2]/sqrt((L-X)2+h2) +
    # R[Xs+h2]/sqrt(X2+h2) = 0, solved by SciPy.
    car = dunlin(rest_load=np.full(4, 0.4 * G))
    tyres = tyres_like(car, front=0.8, rear=0.6, sensitivity=0.0)
    load = equilibrium(car, 1.0, 0.0).load
    front, rear = capacity(tyres, load)[:2].sum(), capacity(tyres, load)[2:].sum()
    length, h2, s = 0.257, (0.165 / 2) ** 2, 0.8 * 0.257

    def balance(x: float) -> float:
        return float(
            front * ((length - x) * (length - s) + h2) / np.hypot(length - x, 0.0825)
            + rear * (x * s + h2) / np.hypot(x, 0.0825)
        )

    kappa = push_turn_per_travel(car, tyres, load, push_pct=80.0)
    assert pivot_station(kappa, 0.257) == pytest.approx(brentq(balance, -1.0, 0.1), abs=1e-6)
    assert np.isnan(push_turn_per_travel(car, tyres, np.full((2, 4), np.nan))).all()


def test_reachable_pivots_span_those_of_single_moments() -> None:
    car = dunlin()
    tyres = tyres_like(car, front=0.8, rear=0.8, sensitivity=0.15)
    found = reachable_pivots(car, tyres)
    rng = np.random.default_rng(3)
    a, way = 7.5 * np.sqrt(rng.random(60)), rng.uniform(0, 2 * np.pi, 60)
    kappa = push_turn_per_travel(car, tyres, equilibrium(car, a * np.cos(way), a * np.sin(way)).load)
    width = found.highest - found.lowest
    assert np.all((kappa > found.lowest - 0.02 * width) & (kappa < found.highest + 0.02 * width))
    # braking loads the front: lower turn per travel than at rest (more front weight lowers kappa)
    assert found.kappa[-1, 18] < found.rest < found.kappa[-1, 0]
    assert not found.through_straight
    assert found.station[0] < pivot_station(np.array(found.rest), 0.257) < found.station[1]
    near = reachable_pivots(car, tyres, push_pct=48.0)  # pushed at the balance point at rest: straight, either way
    assert near.through_straight


def test_pivots_of_many_cars_are_those_of_each() -> None:
    cars = random_cars(3, np.random.default_rng(4))
    quarter = np.asarray(cars.weight)[:, None] / 4
    tyres = Tyres(grip=np.full((3, 4), 0.8), sensitivity=np.full((3, 4), 0.1), nominal=np.repeat(quarter, 4, 1))
    spans = pivot_spans(cars, tyres)
    for k in range(3):
        one = reachable_pivots(
            picked(cars, k),
            Tyres(grip=np.full(4, 0.8), sensitivity=np.full(4, 0.1), nominal=np.full(4, quarter[k, 0])),
        )
        width = one.highest - one.lowest
        np.testing.assert_allclose(spans[k], [one.rest, one.lowest, one.highest], atol=0.03 * width)
