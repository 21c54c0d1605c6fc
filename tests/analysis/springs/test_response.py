"""The body in time: against SciPy, a rigid-body engine, closed forms and the laws of energy."""

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import mujoco
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from analysis.base.errors import InputError
from analysis.springs.chassis import Chassis, Standing, Suspension, Unsprung, car_at_rest, stacked
from analysis.springs.dampers import BodyInertia, Dampers, box_inertia, dampers
from analysis.springs.elements import roll_axis
from analysis.springs.equilibrium import equilibrium
from analysis.springs.modes import modes
from analysis.springs.response import Manoeuvre, Response, arrival, ramp, respond
from tests.analysis.springs.sprung_cars import G, dunlin, picked, random_cars

RIDE = tomllib.loads((Path(__file__).parents[2] / "data" / "vehicle_examples.toml").read_text())["ride"]
INERTIA = BodyInertia(roll=np.array(0.0035), pitch=np.array(0.011))


def by_scipy(car: Chassis, damper: Dampers, time: np.ndarray, ax: float, ay: float, rise: float) -> np.ndarray:
    """Loads (m, 4) from SciPy's integrator, equations of motion written anew, wheel by wheel."""
    x = np.array([1, 1, 0, 0]) * car.wheelbase - car.sprung_place[0]
    y = np.array([1, -1, 1, -1]) * np.repeat(car.track, 2) / 2 - car.sprung_place[1]
    ms, h, front = car.sprung_mass, car.sprung_place[2], car.sprung_place[0] / car.wheelbase
    axis = front * car.roll_centre[0] + (1 - front) * car.roll_centre[1]
    mu, hu, share = car.unsprung_mass, car.unsprung_height, np.array([front, 1 - front])
    inertia = np.array([ms, INERTIA.pitch + ms * h**2, INERTIA.roll + ms * (h - axis) ** 2, *mu])

    def wheels(state: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        z, pitch, roll, wheel = state[0], state[1], state[2], state[3:7]
        vz, vp, vr, vw = state[7], state[8], state[9], state[10:14]
        up, rate = wheel - (z - x * pitch + y * roll), vw - (vz - x * vp + y * vr)
        spring = np.maximum(0, car.spring_force + car.spring * car.motion_ratio * up) * car.motion_ratio
        stops = car.bump_rate * np.maximum(0, up - car.bump_gap) - car.droop_rate * np.maximum(0, -up - car.droop)
        bar = np.repeat(car.bar * (up[[0, 2]] - up[[1, 3]]), 2) * np.array([1, -1, 1, -1])
        speed = car.motion_ratio * rate
        rate_now = np.where(speed > 0, damper.bump, damper.rebound)
        excess = np.sign(speed) * np.maximum(0, np.abs(speed) - damper.knee)
        damped = rate_now * (speed - (1 - damper.beyond) * excess) * car.motion_ratio
        return spring + stops + bar + damped, np.maximum(0, car.tyre_force - car.tyre * wheel)

    def change(t: float, state: np.ndarray) -> np.ndarray:
        part = min(1.0, t / rise)
        inner, tyre = wheels(state)
        side = ay * part * (ms * share * car.roll_centre + (mu * hu).reshape(2, 2).sum(-1)) / car.track
        push = np.repeat(side, 2) * np.array([1, -1, 1, -1])
        force = np.empty(7)
        force[0] = inner.sum() - ms * G
        force[1] = -x @ inner - (ms * h + mu @ hu) * ax * part + ms * G * h * state[1]
        force[2] = y @ inner + ms * (h - axis) * (ay * part + G * state[2])
        force[3:] = tyre - inner - mu * G + push
        return np.concatenate([state[7:], force / inertia])

    rest = equilibrium(car)
    start = np.concatenate([[rest.heave, rest.pitch, rest.roll], rest.wheel_height, np.zeros(7)])
    parts = [
        solve_ivp(
            change,
            (0, rise),
            start,
            method="LSODA",
            rtol=1e-8,
            atol=1e-11,
            max_step=5e-3,
            t_eval=np.append(time[time < rise], rise),
        )
    ]
    parts.append(
        solve_ivp(
            change,
            (rise, time[-1]),
            parts[0].y[:, -1],
            method="LSODA",
            rtol=1e-8,
            atol=1e-11,
            max_step=5e-3,
            t_eval=time[time >= rise],
        )
    )
    states = np.concatenate([parts[0].y[:, :-1], parts[1].y], 1).T
    return np.array([wheels(one)[1] for one in states])


@pytest.mark.parametrize(("ax", "ay"), [(0.0, 5.0), (-6.0, 0.0), (2.0, 16.0)])
def test_a_manoeuvre_agrees_with_a_tight_integration(ax: float, ay: float) -> None:
    car, damper = dunlin(), dampers(20.0, 28.0, knee=0.05, beyond=0.3)
    time, rise = np.arange(0, 0.5, 1e-3), 0.05
    found = respond(
        car,
        damper,
        INERTIA,
        Manoeuvre(time=time, ax=ramp(time, start=0, rise=rise, size=ax), ay=ramp(time, start=0, rise=rise, size=ay)),
    )
    truth = by_scipy(car, damper, time, ax, ay, rise)
    assert np.abs(found.load - truth).max() < 2e-3 * car.weight  # second order at 1 ms with wheels at 75 Hz
    assert abs(np.argmax(found.load[:, 1]) - np.argmax(truth[:, 1])) <= 1
    if ay > 10:
        assert found.lifted.any()


@pytest.mark.thorough
def test_random_cars_agree_with_the_integration_and_settle_in_their_equilibrium() -> None:
    rng = np.random.default_rng(12)
    cars = random_cars(3, rng)
    cars = replace(cars, unsprung_mass=np.maximum(cars.unsprung_mass, 0.02))
    damper = dampers(rng.uniform(5, 60, (3, 4)), rng.uniform(5, 60, (3, 4)))
    time = np.arange(0, 1.2, 1e-3)
    pull = ramp(time, start=0, rise=0.02, size=3.0)
    found = respond(cars, damper, INERTIA, Manoeuvre(time=time, ax=np.zeros_like(time), ay=pull))
    end = equilibrium(cars, 0.0, 3.0)
    np.testing.assert_allclose(found.load[:, -1], end.load, atol=2e-3 * cars.weight.max())
    for i in range(2):
        own = Dampers(
            **{k: np.broadcast_to(getattr(damper, k), (3, 4))[i] for k in ("bump", "rebound", "knee", "beyond")}
        )
        truth = by_scipy(picked(cars, i), own, time[:200], 0.0, 3.0, 0.02)
        assert np.abs(found.load[i, :200] - truth).max() < 4e-3 * cars.weight[i]


@pytest.mark.thorough
def test_energy_never_grows_with_dampers_only() -> None:
    rng = np.random.default_rng(2)
    cars = replace(random_cars(20, rng), unsprung_mass=np.full((20, 4), 0.03))
    time = np.arange(0, 0.6, 1e-3)
    still = np.zeros_like(time)
    stands = ~equilibrium(cars, 4.0, 6.0).rolls_over
    cars = picked(cars, np.flatnonzero(stands))  # type: ignore[arg-type]
    free = respond(cars, dampers(15.0, 30.0), INERTIA, Manoeuvre(time=time, ax=still, ay=still, start=(4.0, 6.0)))
    upward = np.diff(free.energy, axis=-1).max(-1)
    assert np.all(upward <= 1e-6 * np.ptp(free.energy, axis=-1))
    undamped = respond(cars, dampers(0.0, 0.0), INERTIA, Manoeuvre(time=time, ax=still, ay=still, start=(0.2, 0.2)))
    assert np.all(np.diff(undamped.energy, axis=-1).max(-1) <= 1e-6 * np.ptp(free.energy, axis=-1))


def block(m: float, k: float, c: float) -> tuple[Chassis, Dampers, BodyInertia]:
    """A body of mass m on a total rate k and damping c, rigid tyres, hardly any unsprung mass, low centre."""
    car = car_at_rest(
        Standing(wheelbase=1.0, track=[1.0, 1.0], load=[m * G / 4 + 1e-6 * G] * 4, height=1e-3),
        Suspension(spring=[k / 4] * 4, motion_ratio=[1.0] * 4, tyre=[k * 1e6] * 4),
        Unsprung(mass=[1e-6] * 4, height=[0.0] * 4),
    )
    return car, dampers(c / 4, c / 4), BodyInertia(roll=np.array(m * 0.36), pitch=np.array(m * 0.2))


def test_modes_of_printed_exercises() -> None:  # GATE examination, see vehicle_examples_README.md
    gate = RIDE["gate_exam"]
    found = modes(*block(gate["m_kg"], gate["k_N_per_m"], gate["c_Ns_per_m"]))
    at = found.name.index("heave")
    assert found.frequency[at] == pytest.approx(RIDE["gate_exact"]["f_natural_Hz"], rel=1e-4)
    assert found.damping[at] == pytest.approx(RIDE["gate_exact"]["zeta"], rel=1e-4)


def test_an_overdamped_heave_has_two_real_roots_told_as_one_motion() -> None:
    # s1 s2 = k/m and -(s1 + s2) = c/m (algebra): the same frequency and damping ratio as below critical
    found = modes(*block(2.0, 800.0, 120.0))
    at = found.name.index("heave")
    assert found.frequency[at] == pytest.approx(math.sqrt(800 / 2) / (2 * math.pi), rel=1e-4)
    assert found.damping[at] == pytest.approx(120 / (2 * math.sqrt(800 * 2)), rel=1e-4)
    assert found.damping[at] > 1


def test_an_even_block_about_its_own_axes() -> None:  # m (a^2 + b^2) / 12, from memory
    inertia = box_inertia(dunlin(unsprung_mass=[0.05] * 4), 0.4, 0.2, 0.1)
    assert inertia.roll == pytest.approx(1.4 * 0.05 / 12)
    assert inertia.pitch == pytest.approx(1.4 * 0.17 / 12)


def test_a_damper_by_hand() -> None:
    # bump 20 up to 0.1 m/s, then 0.25 of it; rebound 30 alike: N at the damper, and what one more m/s is worth
    damper = dampers(20.0, 30.0, knee=0.1, beyond=0.25)
    speed = np.array([0.05, 0.3, -0.1, -0.5])
    np.testing.assert_allclose(damper.force(speed), [1.0, 2.0 + 1.0, -3.0, -3.0 - 3.0], rtol=1e-14)
    np.testing.assert_allclose(damper.slope(speed), [20.0, 5.0, 30.0, 7.5], rtol=1e-14)
    np.testing.assert_allclose(damper.slope(np.zeros(4)), 25.0, rtol=1e-14)


def test_roll_step_overshoots_as_a_second_order_system() -> None:
    # closed form: overshoot exp(-pi zeta/sqrt(1-zeta^2)), peak at pi/omega_d
    car, damper, inertia = block(50.0, 3600.0, 60.0)
    car = replace(car, sprung_place=np.array([0.5, 0.0, 0.05]))
    k, c = 3600 / 4 - 50 * G * 0.05, 60 / 4
    roll_inertia = 50 * 0.36 + 50 * 0.05**2
    omega, zeta = math.sqrt(k / roll_inertia), c / (2 * math.sqrt(k * roll_inertia))
    time = np.arange(0, 1.5, 0.002)
    found = respond(car, damper, inertia, Manoeuvre(time=time, ax=np.zeros_like(time), ay=np.full_like(time, 0.5)))
    done = found.roll / equilibrium(car, 0.0, 0.5).roll - 1
    assert done.max() == pytest.approx(math.exp(-math.pi * zeta / math.sqrt(1 - zeta**2)), rel=1e-3)
    assert time[done.argmax()] == pytest.approx(math.pi / (omega * math.sqrt(1 - zeta**2)), abs=0.004)


def test_arrival_reads_a_known_rise() -> None:
    car = dunlin()
    time = np.arange(0, 0.9, 1e-3)
    found = respond(
        car,
        dampers(20.0, 25.0),
        INERTIA,
        Manoeuvre(time=time, ax=np.zeros_like(time), ay=ramp(time, start=0.2, rise=0.0, size=4.0)),
    )
    came = arrival(found, since=0.2)
    right = found.load[:, 1]
    full = right[-1] - right[0]
    crossing = np.interp(0.9, ((right - right[0]) / full)[200 : 200 + 40].clip(-1, 1), time[:40])
    assert came.arrive[1] == pytest.approx(crossing, abs=1.5e-3)
    assert came.peak_time[1] == pytest.approx(time[np.argmax(right)] - 0.2)
    assert came.overshoot[1] == pytest.approx((right.max() - right[0]) / full - 1)
    assert came.settle[1] > came.arrive[1]


def test_arrival_of_a_made_up_load() -> None:
    """Straight pieces whose moments are known by hand: 90 % between two frames, the peak, the last time outside 5 %."""
    time = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6])
    load = np.array(
        [
            [4.0, 4.0, 6.0, 9.0, 8.5, 8.1, 8.0],  # 4 N more: 90 % is 7.6 N; 25 % beyond; 8.2 at the latest
            [5.0, 5.0, 4.0, 3.0, 2.0, 1.5, 1.0],
            [4.0] * 7,
            [4.0] * 7,
        ]
    ).T
    nothing = np.zeros(7)
    made = Response(
        time=time,
        load=load,
        heave=nothing,
        pitch=nothing,
        roll=nothing,
        travel=0 * load,
        energy=nothing,
        lifted=load < 0,
        rolls_over=np.array(False),
    )
    came = arrival(made, since=0.15)
    np.testing.assert_allclose(came.change, [4.0, -4.0, 0.0, 0.0])
    np.testing.assert_allclose(came.arrive[:2], [0.2 + 0.1 * 1.6 / 3 - 0.15, 0.5 + 0.1 * 0.1 / 0.5 - 0.15])
    np.testing.assert_allclose(came.overshoot[:2], [0.25, 0.0])
    np.testing.assert_allclose(came.peak_time[:2], [0.15, 0.45])
    np.testing.assert_allclose(came.settle[:2], [0.35, 0.45])
    for times in (came.arrive, came.overshoot, came.peak_time, came.settle):
        assert np.isnan(times[2:]).all()
    assert arrival(made).arrive[0] == pytest.approx(0.2 + 0.1 * 1.6 / 3)


def test_energy_of_a_body_let_go() -> None:
    """Without dampers nothing is lost, and moved from its equilibrium by accelerations a it has 1/2 a' K^-1 a there
    (quadratic springs): twice the pull, four times the energy."""
    car, time = dunlin(bump_gap=np.inf, droop=np.inf), np.arange(0, 0.2, 5e-4)
    still = np.zeros_like(time)
    rest = respond(car, dampers(0.0, 0.0), INERTIA, Manoeuvre(time=time, ax=still, ay=still)).energy
    np.testing.assert_allclose(rest, rest[0], rtol=1e-9)
    freed = [
        respond(car, dampers(0.0, 0.0), INERTIA, Manoeuvre(time=time, ax=still, ay=still, start=(0.0, a))).energy
        - rest[0]
        for a in (0.5, 1.0)
    ]
    assert freed[1][0] == pytest.approx(4 * freed[0][0], rel=1e-6)
    # the work of a side force that grew slowly to a: half of force times way, way by one step of acceleration more
    ms, arm = car.sprung_mass, car.sprung_place[2] - roll_axis(car)
    roll = float(equilibrium(car, 0.0, 1.0).roll)
    unsprung = equilibrium(car, 0.0, 1.0).wheel_height
    side = (
        ms * np.array([car.sprung_place[0], 0.257 - car.sprung_place[0]]) / 0.257 * car.roll_centre + 2 * 0.035 * 0.032
    ) / 0.165
    work = ms * arm * 1.0 * roll / 2 + (np.repeat(side, 2) * [1, -1, 1, -1] * unsprung).sum() / 2
    assert freed[1][0] == pytest.approx(work, rel=1e-6)
    np.testing.assert_allclose(freed[1], freed[1][0], rtol=2e-2)  # the method damps a little


def test_stiffer_dampers_bring_load_sooner() -> None:  # common practice, no source
    time = np.arange(0, 1.0, 1e-3)
    cars = stacked([dunlin(), dunlin()])
    damper = dampers(np.array([[15.0] * 4, [60.0] * 4]), np.array([[15.0] * 4, [60.0] * 4]))
    came = arrival(
        respond(cars, damper, INERTIA, Manoeuvre(time=time, ax=np.zeros_like(time), ay=np.full_like(time, 3.0)))
    )
    assert np.all(came.arrive[1] < came.arrive[0])


def engine_loads(car: Chassis, c: float, time: np.ndarray, ay: float, rise: float) -> np.ndarray:
    """Loads (m, 4) from a general-purpose rigid-body engine; true geometry, tyres as vertical push-only springs."""
    x = np.array([1, 1, 0, 0]) * car.wheelbase - car.sprung_place[0]
    y = np.array([1, -1, 1, -1]) * np.repeat(car.track, 2) / 2
    rate = car.wheel_rate
    wheels = "".join(
        f'<body pos="{x[i]} {y[i]} 0"><joint name="w{i}" type="slide" axis="0 0 1" stiffness="{rate[i]}" '
        f'springref="{-car.spring_force[i] * car.motion_ratio[i] / rate[i]}" damping="{c * car.motion_ratio[i] ** 2}"/>'
        f'<inertial pos="0 0 0" mass="{car.unsprung_mass[i]}" diaginertia="1e-9 1e-9 1e-9"/></body>'
        for i in range(4)
    )
    bars = "".join(
        f'<fixed stiffness="{car.bar[a]}" springlength="0 0"><joint joint="w{2 * a}" coef="1"/>'
        f'<joint joint="w{2 * a + 1}" coef="-1"/></fixed>'
        for a in range(2)
    )
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><option timestep="1e-4" integrator="RK4" gravity="0 0 {-G}"/><worldbody><body>'
        '<joint type="slide" axis="0 0 1"/><joint type="hinge" axis="0 1 0"/><joint type="hinge" axis="1 0 0"/>'
        f'<inertial pos="0 0 {car.sprung_place[2]}" mass="{car.sprung_mass}" '
        f'diaginertia="{INERTIA.roll} {INERTIA.pitch} 0.01"/>'
        f"{wheels}</body></worldbody><tendon>{bars}</tendon></mujoco>"
    )
    data = mujoco.MjData(model)
    out = np.empty((len(time), 4))
    every = round((time[1] - time[0]) / 1e-4)
    settle = 15000
    for k in range(settle + every * len(time)):
        at = k - settle
        model.opt.gravity[1] = -ay * min(1.0, max(0, at) * 1e-4 / rise)
        mujoco.mj_kinematics(model, data)
        load = np.maximum(0, car.tyre_force - car.tyre * data.xpos[2:, 2])
        data.xfrc_applied[2:, 2] = load
        if at >= 0 and at % every == 0:
            out[at // every] = load
        mujoco.mj_step(model, data)
    return out


@pytest.mark.thorough
def test_a_full_car_agrees_with_a_rigid_body_engine() -> None:
    car = dunlin(roll_centre=[0.0, 0.0], unsprung_height=[0.0] * 4, bump_gap=np.inf, droop=np.inf)
    time, rise = np.arange(0, 0.4, 1e-3), 0.03
    mine = respond(
        car,
        dampers(20.0, 20.0),
        INERTIA,
        Manoeuvre(time=time, ax=np.zeros_like(time), ay=ramp(time, start=0, rise=rise, size=5.0)),
    ).load
    theirs = engine_loads(car, 20.0, time, 5.0, rise)
    assert np.abs(mine - theirs).max() < 0.01 * car.weight
    for wheel, pick in ((0, np.argmin), (1, np.argmax), (2, np.argmin), (3, np.argmax)):
        peak = time[pick(theirs[:, wheel])]
        assert time[pick(mine[:, wheel])] == pytest.approx(peak, rel=0.02, abs=1e-3)


def test_a_car_that_falls_over_on_the_way_is_told() -> None:
    time = np.arange(0, 1.5, 1e-3)
    found = respond(
        dunlin(height=0.08),
        dampers(20.0, 20.0),
        INERTIA,
        Manoeuvre(time=time, ax=np.zeros_like(time), ay=ramp(time, start=0.1, rise=0.1, size=15.0)),
    )
    assert bool(found.rolls_over)
    assert np.isnan(found.load[-1]).all()
    assert np.isfinite(found.load[50]).all()


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda t: dampers(-1.0, 2.0), "not a damping"),
        (lambda t: dampers(1.0, 2.0, knee=0.0), "knee"),
        (lambda t: respond(dunlin(), dampers(1.0, 1.0), INERTIA, Manoeuvre(time=t[::-1], ax=0 * t, ay=0 * t)), "rise"),
        (
            lambda t: respond(dunlin(), dampers(1.0, 1.0), INERTIA, Manoeuvre(time=t, ax=0 * t[1:], ay=0 * t)),
            "one acceleration",
        ),
        (lambda t: respond(dunlin(), dampers(1.0, 1.0), INERTIA, Manoeuvre(time=t, ax=np.nan * t, ay=0 * t)), "finite"),
        (
            lambda t: respond(
                dunlin(), dampers(1.0, 1.0), INERTIA, Manoeuvre(time=t, ax=0 * t, ay=0 * t, start=(0, 60.0))
            ),
            "rolls over",
        ),
        (
            lambda t: respond(
                dunlin(unsprung_mass=[0.0] * 4), dampers(1.0, 1.0), INERTIA, Manoeuvre(time=t, ax=0 * t, ay=0 * t)
            ),
            "mass",
        ),
        (lambda t: box_inertia(dunlin(), 0.0, 0.1, 0.1), "length"),
    ],
)
def test_nonsense_is_told(call: object, says: str) -> None:
    with pytest.raises(InputError, match=says):
        call(np.linspace(0, 1, 5))  # type: ignore[operator]
