"""A slow push in a general-purpose rigid-body engine (MuJoCo), as a second opinion on the sliding solver.

Settings that matter, found by trying: each wheel is pressed down with a given force on its own vertical slide, since
slip adds lift to stiff contacts of one rigid body; soft, overdamped normal contacts; friction as pure damping
(solreffriction 0 -b), elliptic cone, impratio 1e4; a finger that is a heavy body whose place and speed are set at every
step; stiff joint friction for the bearing drag. The push eases in over 50 ms and runs at 20 mm/s.
"""

from dataclasses import dataclass

import mujoco
import numpy as np

from analysis.base.arrays import FloatArray
from analysis.sliding import Contacts, Finger, LoadTransfer
from analysis.whole_push.finite import FinitePush, Until, integrate_push

L, H = 0.26, 0.085
WHEELS = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
RADIUS, TIP, STEP, SPEED, EASE = 0.03, 0.001, 2e-4, 0.02, 0.05
STICKY = 5.0
"""Finger friction that holds in every case."""
BASE = np.full(4, 0.4 * 9.80665)
CARS = {
    "balanced": (BASE, [0.8, 0.8, 0.8, 0.8]),
    "front grip": (BASE, [0.95, 0.95, 0.75, 0.75]),
    "rear grip": (BASE, [0.75, 0.75, 0.95, 0.95]),
    "front ballast": (BASE + np.array([0.08, 0.08, 0.02, 0.02]) * 9.80665, [0.8, 0.8, 0.8, 0.8]),
    "rear ballast": (BASE + np.array([0.02, 0.02, 0.08, 0.08]) * 9.80665, [0.8, 0.8, 0.8, 0.8]),
    "side ballast": (BASE + np.array([0.08, 0.02, 0.08, 0.02]) * 9.80665, [0.8, 0.8, 0.8, 0.8]),
}
"""Loads (N) and grip of cars for a grid of pushes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PushCase:
    """load (4,) N and grip (4,) of the car; station of the finger, m; drag: None when blocked; finger friction."""

    load: FloatArray
    grip: FloatArray
    station: float
    drag: float | None = None
    finger: float = 0.0
    height: float = 0.0
    turn: float = float(np.radians(4.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class EnginePush:
    """Poses of the middle of the rear axle before and after, and the finger's tip and way in car axes before."""

    before: FloatArray
    after: FloatArray
    place: FloatArray
    motion: FloatArray

    @property
    def turn(self) -> float:
        """Yaw change, rad."""
        return float(self.after[2] - self.before[2])

    @property
    def kappa(self) -> float:
        """2 sin(dpsi/2)/dy_mid in the middle heading, 1/m."""
        middle = (self.after[2] + self.before[2]) / 2
        ends = [p[:2] + L / 2 * np.array([np.cos(p[2]), np.sin(p[2])]) for p in (self.before, self.after)]
        moved = ends[1] - ends[0]
        sideways = moved[1] * np.cos(middle) - moved[0] * np.sin(middle)
        return float(2 * np.sin(self.turn / 2) / sideways)

    @property
    def pole(self) -> FloatArray:
        """Fixed point of the displacement in car axes, m, by complex numbers."""
        moved = complex(*(self.after[:2] - self.before[:2])) * np.exp(-1j * self.before[2])
        pole = moved / (1 - np.exp(1j * self.turn))
        return np.array([pole.real, pole.imag])


def engine_push(case: PushCase) -> EnginePush:
    """Run the engine until the car has turned by case.turn or the finger has gone 40 mm."""
    model = mujoco.MjModel.from_xml_string(_sheet(case))
    data = mujoco.MjData(model)
    down = [model.jnt_dofadr[model.joint(f"z{i}").id] for i in range(4)]
    tip = model.geom("tip").id
    data.qfrc_applied[down] = -case.load
    for _ in range(1500):  # settle, held
        data.qpos[-1], data.qvel[-1], data.qpos[:3], data.qvel[:3] = -0.001, 0.0, 0.0, 0.0
        mujoco.mj_step(model, data)
    load, force, advance, time = case.load.copy(), np.zeros(6), 0.0, 0.0
    before = None
    while abs(data.qpos[2]) < case.turn and advance < 0.04:
        time += STEP
        speed = SPEED * min(1.0, time / EASE)
        advance += speed * STEP
        data.qpos[-1], data.qvel[-1] = advance, speed
        mujoco.mj_step(model, data)
        if case.height:
            for i in range(data.ncon):
                if tip in data.contact[i].geom:  # statics: the push's moment goes to the far side, half to each axle
                    mujoco.mj_contactForce(model, data, i, force)
                    moved = force[0] * case.height / (2 * H) / 2
                    load += 0.002 * (case.load + moved * np.array([1, -1, 1, -1]) - load)
            data.qfrc_applied[down] = -load
        begun = abs(data.qpos[2]) > case.turn / 8 or advance > 0.01
        if before is None and begun and time > 2 * EASE:
            before = data.qpos[:3].copy()
    assert before is not None
    x, y, yaw = before
    cos, sin = np.cos(yaw), np.sin(yaw)
    into_car = np.array([[cos, sin], [-sin, cos]])
    centre_y = y + (-H - TIP + sin * (case.station - x)) / cos  # the tip touches the side, its centre on its line
    station = (into_car @ [case.station - x, centre_y - y])[0]
    return EnginePush(
        before=before, after=data.qpos[:3].copy(), place=np.array([station, -H]), motion=into_car @ [0.0, 1.0]
    )


def solver_push(case: PushCase, engine: EnginePush) -> FinitePush:
    """The same stretch of the same push by the solver under test."""
    kind = "rolling" if case.finger == 0 else "sticking" if case.finger == STICKY else "rubbing"
    return integrate_push(
        Contacts(place=WHEELS, load=case.load, grip=case.grip, drag=1.0 if case.drag is None else case.drag),
        Finger(kind=kind, place=engine.place, motion=engine.motion, friction=case.finger, height=case.height),
        until=Until(turn=abs(engine.turn), travel=1.0),
        steps=4,
        rule="fixed on floor",
        transfer=LoadTransfer(track_front=2 * H, track_rear=2 * H),
        middle=L / 2,
    )


def _sheet(case: PushCase) -> str:
    """The engine's model: a car that slides and turns in the plane, four wheels, and the finger."""
    contacts = "".join(
        f'<pair geom1="floor" geom2="w{i}" condim="3" friction="{mu} {mu} 0 0 0" solref="-2000 -200" '
        'solreffriction="0 -2000" solimp="0.95 0.99 0.001"/>'
        for i, mu in enumerate(case.grip)
    )
    rubs = f'condim="3" friction="{case.finger} {case.finger} 0 0 0" solreffriction="0 -2000"'
    finger = rubs if case.finger else 'condim="1"'
    contacts += f'<pair geom1="tip" geom2="side" {finger} solref="-1e5 -600" solimp="0.95 0.99 0.0001"/>'
    wheels = ""
    for i, (x, y) in enumerate(WHEELS):
        spin = ""
        if case.drag is not None:
            torque = case.drag * case.grip[i] * case.load[i] * RADIUS
            spin = (
                f'<joint type="hinge" axis="0 1 0" frictionloss="{torque}" solreffriction="0.001 1" armature="1e-6"/>'
            )
        wheels += (
            f'<body pos="{x} {y} {RADIUS}"><joint type="slide" name="z{i}" axis="0 0 1"/>{spin}'
            f'<inertial pos="0 0 0" mass="0.002" diaginertia="1e-6 1e-6 1e-6"/>'
            f'<geom name="w{i}" type="sphere" size="{RADIUS}" contype="0" conaffinity="0"/></body>'
        )
    return f"""<mujoco><option timestep="{STEP}" gravity="0 0 0" cone="elliptic" impratio="10000" solver="Newton"
        tolerance="1e-12" iterations="200"/><contact>{contacts}</contact><worldbody>
        <geom name="floor" type="plane" size="2 2 .1" contype="0" conaffinity="0"/>
        <body><joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 1 0"/><joint type="hinge" axis="0 0 1"/>
        <inertial pos="{L / 2} 0 0.03" mass="1.6" diaginertia="0.01 0.01 0.018"/>
        <geom name="side" type="box" size="0.3 {H} 0.02" pos="{L / 2} 0 0.03" mass="0" contype="0" conaffinity="0"/>
        {wheels}</body>
        <body pos="{case.station} {-H - TIP} 0.03"><joint type="slide" axis="0 1 0"/>
        <geom name="tip" type="sphere" size="{TIP}" mass="1000" contype="0" conaffinity="0"/></body>
        </worldbody></mujoco>"""
