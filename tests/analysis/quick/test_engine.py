"""Dynamic slide against a general-purpose rigid-body engine (MuJoCo): blocked cars up to 0.5 m/s.

The engine's usual contacts let a car creep on to twice the distance; soft normal contacts with stiff, well-damped
friction, an elliptic cone and a high impratio do not. Each wheel is pressed with constant force, since slip adds lift.
"""

import mujoco
import numpy as np
import pytest

from analysis.base.plane import swing_pole
from analysis.quick.slide import Body, FingerMotion, push_quickly
from analysis.sliding.contacts import Contacts
from tests.benchmarks import rigid_engine_quick as quick

L, H, G, MASS, GRIP, GYRATION = 0.26, 0.085, 9.80665, 1.6, 0.8, 0.11
WHEELS = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
WHEEL_MASS = 0.002


def engine_end(share: np.ndarray, twist: np.ndarray) -> np.ndarray:
    """Displacement (x, y, yaw) of the centre of gravity when the engine's car has stopped."""
    arm = WHEELS - share @ WHEELS
    pairs = "".join(
        f'<pair geom1="floor" geom2="w{i}" condim="3" friction="{GRIP} {GRIP} 0 0 0" solref="-2000 -20" '
        'solreffriction="0 -2000" solimp="0.95 0.99 0.001"/>'
        for i in range(4)
    )
    wheels = "".join(
        f'<body pos="{x} {y} 0.02"><joint type="slide" axis="0 0 1"/>'
        f'<inertial pos="0 0 0" mass="{WHEEL_MASS}" diaginertia="1e-8 1e-8 1e-8"/>'
        f'<geom name="w{i}" type="sphere" size="0.02" contype="0" conaffinity="0"/></body>'
        for i, (x, y) in enumerate(arm)
    )
    inertia = MASS * GYRATION**2 - WHEEL_MASS * (arm**2).sum()
    model = mujoco.MjModel.from_xml_string(
        f"""<mujoco><option timestep="2e-4" gravity="0 0 0" cone="elliptic" impratio="10000" solver="Newton"
        tolerance="1e-12" iterations="200"/><contact>{pairs}</contact><worldbody>
        <geom name="floor" type="plane" size="2 2 .1" contype="0" conaffinity="0"/>
        <body><joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 1 0"/><joint type="hinge" axis="0 0 1"/>
        <inertial pos="0 0 0.03" mass="{MASS - 4 * WHEEL_MASS}" diaginertia="0.01 0.01 {inertia}"/>{wheels}</body>
        </worldbody></mujoco>"""
    )
    data = mujoco.MjData(model)
    data.qfrc_applied[3:] = -share * MASS * G
    for _ in range(3000):
        mujoco.mj_step(model, data)
    data.qpos[:3], data.qvel[:3] = 0.0, twist
    for _ in range(4000):
        mujoco.mj_step(model, data)
        if np.abs(data.qvel[:2]).max() < 1e-4 and abs(data.qvel[2]) < 1e-3:
            break
    else:
        pytest.fail("the engine's car did not stop")
    return data.qpos[:3].copy()


@pytest.mark.thorough
@pytest.mark.parametrize("seed", [2, 3, 5])
def test_cars_left_by_the_finger_agree_with_the_engine(seed: int) -> None:
    # Asked: within 2 % of the wheelbase up to 0.5 m/s. From where the finger left the car, in its axes at that moment;
    # pole by complex numbers from the engine's own poses.
    rng = np.random.default_rng(seed)
    front = rng.uniform(0.4, 0.6)
    share = np.array([front, front, 1 - front, 1 - front]) / 2
    centre = share @ WHEELS
    finger = FingerMotion(station=centre[0] + rng.choice([-0.1, 0.1]), speed=rng.uniform(0.4, 0.6))
    contacts = Contacts(place=WHEELS, load=share * MASS * G, grip=GRIP)
    body = Body(mass=MASS, yaw_inertia=MASS * GYRATION**2, centre=centre)
    slide = push_quickly(contacts, body, finger, wheelbase=L, steps=120)
    left = int(np.flatnonzero(slide.time > finger.duration + 1.5 * slide.time[1])[0])
    x, y, yaw = engine_end(share, slide.twist[left])
    pole = complex(*centre) - complex(x, y) / (np.exp(1j * yaw) - 1)
    np.testing.assert_allclose(
        swing_pole(slide.pose[left], slide.pose[-1]), [pole.real, pole.imag], rtol=0, atol=0.02 * L
    )
    assert slide.pose[-1][2] - slide.pose[left][2] == pytest.approx(yaw, rel=0.01)


@pytest.mark.parametrize("number", [2, 7])
def test_a_quick_finger_agrees_with_the_engine(number: int) -> None:
    # a sudden and a ramped push at 0.5 m/s; 1 % of the wheelbase, half of what is promised up to there
    car, finger = quick.CARS[0], quick.PUSHES[number]
    assert (finger.speed, finger.ramp) in ((0.5, 0.0), (0.5, 0.02))
    body = Body(mass=quick.MASS, yaw_inertia=quick.MASS * quick.GYRATION**2, centre=tuple(car.share @ quick.WHEELS))
    engine = quick.station_of(quick.kappa_of(quick.engine_push(car, finger)))
    ours = quick.station_of(float(push_quickly(car.contacts, body, finger, wheelbase=quick.L).kappa))
    assert abs(ours - engine) < 1.0
