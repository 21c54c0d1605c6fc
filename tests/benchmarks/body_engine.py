"""A car with all its six freedoms on tyres with patches, pushed slowly in a general-purpose engine (MuJoCo).

A tyre is a set of discs side by side and one behind the other that turn together: each touches the floor in a point,
and its points have equal loads, so that they slide as the uniform rectangle they stand for. On blocked wheels, far from
the pivot, they stand in Chebyshev's places (equal weights, here four each way, none in the middle). On a wheel that
rolls the pivot may lie in its patch: there they stand in the middles of equal parts. By least power (`pushed_truth.py`,
16 by 16 pieces) the pivots of 47 rolling cars then lie 0.034 % of the wheelbase too near to the axle to 0.040 too far
(5 and 95 %, median −0.003); in Chebyshev's places 0.127 too near to 0.011 (−0.037). The body weighs on them by gravity,
leans, pitches and sinks.

What matters, found by trying (a car on points, whose answer least power knows): soft normal contacts, since slip lifts
stiff ones (an impedance of 0.001, stiffness such that a wheel sinks by about a millimetre); stiff friction by damping
alone, elliptic cone, impratio 1e4; a heavy finger whose place and speed are set at every step; a finger that holds the
car along its side but not up and down.

What its own numerics leave, told by least power on 16 by 8 pieces a tyre (`pushed_truth.py`): friction acts half as
deep as a tyre sinks, so that a finger at its height above the floor stood half a millimetre too high above it (0.1 to
0.4 % of the wheelbase on half blocked cars): it is lowered by that. A speed of 3.3 in place of 10 mm/s moves such
cars by up to 0.07 towards least power (it runs at 5); four times the stiffness, half the step, a tenth of impratio or
six places along a patch by 0.03 at most.
"""

from dataclasses import dataclass, field

import mujoco
import numpy as np

from analysis.base.arrays import FloatArray

GRAVITY, RADIUS, TIP = 9.80665, 0.03, 0.001
CHEBYSHEV = np.array([-0.794654, -0.187592, 0.187592, 0.794654])
"""Chebyshev's nodes of equal weight for four points, in halves of the patch (Abramowitz and Stegun,
25.4.28, from memory; their mean square is that of a uniform spread, 1/3)."""
MIDDLES = np.array([-0.75, -0.25, 0.25, 0.75])
STIFF, DAMPED, IMPEDANCE, RUBBING, RUBBING_TIP = 4e3, 60.0, 0.001, 4.5, 1e3
"""The first, second and fourth a wheel, per unit of the contact's own inverse mass: all wheels are then as stiff."""
ARMATURE, RATIO = 2e-4, 1e5
SETTLING, EASE = 0.6, 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyCase:
    """One car and push. SI, wheels FL, FR, RL, RR; car axes, origin on the floor at mid rear axle.

    place: (4, 2).  mass, middle: kg and centre of gravity (3,).  grip: (4,).  drag: (4,), share of grip times load at
    which a wheel turns; 1 blocked.  patch: (2, 2), front and rear, length and width, 0 for points.  solid: the rear
    wheels turn together.  finger: friction of the tip.  side_y: where the tip touches.  turn: rad, at which it ends.
    """

    place: FloatArray
    mass: float
    middle: FloatArray
    grip: FloatArray
    drag: FloatArray
    station: float
    side_y: float
    height: float
    patch: FloatArray = field(default_factory=lambda: np.zeros((2, 2)))
    solid: bool = False
    finger: float = 0.0
    turn: float = float(np.radians(6.0))
    longest: float = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyPush:
    """load: (4,) N at rest.  before, after: x, y, yaw.  place, motion: of the tip in car axes at `before`."""

    load: FloatArray
    before: FloatArray
    after: FloatArray
    place: FloatArray
    motion: FloatArray

    @property
    def turn(self) -> float:
        """rad."""
        return float(self.after[2] - self.before[2])

    def kappa(self, middle: float) -> float:
        """2 sin(dpsi/2) over the sideways way of the point at station `middle` in the middle heading, 1/m."""
        moved = [p[0] + 1j * p[1] + middle * np.exp(1j * p[2]) for p in (self.before, self.after)]
        sideways = ((moved[1] - moved[0]) * np.exp(-0.5j * (self.before[2] + self.after[2]))).imag
        return float(2 * np.sin(self.turn / 2) / sideways)


def body_push(case: BodyCase, *, step: float = 5e-4, speed: float = 0.005) -> BodyPush:
    """Let the car settle, weigh it, push it until it has turned or the finger has gone its way."""
    model = mujoco.MjModel.from_xml_string(_sheet(case, step))
    for i in range(model.npair):
        light = float(model.body_invweight0[model.geom_bodyid[model.pair_geom2[i]], 0]) / _points(case)
        if model.geom(int(model.pair_geom2[i])).name.startswith("w"):
            model.pair_solref[i] *= light
            model.pair_solreffriction[i] *= light
    data = mujoco.MjData(model)
    finger = model.jnt_qposadr[model.joint("finger").id], model.jnt_dofadr[model.joint("finger").id]
    way = 1.0 if case.side_y < 0 else -1.0

    def advance(place: float, pace: float) -> None:
        data.qpos[finger[0]], data.qvel[finger[1]] = place, pace
        mujoco.mj_step(model, data)

    for _ in range(int(SETTLING / step)):
        advance(-0.002 * way, 0.0)
    load = _loads(model, data)
    _as_if_rigid(model, data, case)
    gone, time, before = -2e-5, 0.0, None
    first = _pose(data)
    while True:
        time += step
        pace = speed * min(1.0, time / EASE)
        gone += pace * step
        advance(way * gone, way * pace)
        pose = _pose(data)
        turned = abs(pose[2] - first[2])
        if before is None and time > 2 * EASE and (turned > case.turn / 8 or gone > case.longest / 8):
            before = pose
        if before is not None and (abs(pose[2] - before[2]) > case.turn or gone > case.longest):
            break
    x, _, yaw = before
    into_car = np.array([[np.cos(yaw), np.sin(yaw)], [-np.sin(yaw), np.cos(yaw)]])
    # the tip's line on the floor meets the car's side
    on_floor = (case.station - x - np.sin(yaw) * -case.side_y) / np.cos(yaw)
    return BodyPush(
        load=load,
        before=before,
        after=pose,
        place=np.array([on_floor, case.side_y]),
        motion=into_car @ np.array([0.0, way]),
    )


def _as_if_rigid(model: mujoco.MjModel, data: mujoco.MjData, case: BodyCase) -> None:
    """Undo what sinking does to levers: the engine has friction act half as deep as a tyre sinks.

    A finger half a millimetre too high above it moves a twentieth more load at 10 mm: up to 0.1 % of the wheelbase.
    """
    force, below, total = np.zeros(6), 0.0, 0.0
    for i in range(data.ncon):
        names = [model.geom(int(one)).name or "" for one in data.contact[i].geom]
        if any(name.startswith("w") for name in names):
            mujoco.mj_contactForce(model, data, i, force)
            below, total = below - force[0] * data.contact[i].pos[2], total + force[0]
    deep = below / total
    model.body_pos[model.body("finger").id, 2] = case.height - deep
    for i in range(model.njnt):
        if model.joint(i).name.startswith("s"):
            model.dof_frictionloss[model.jnt_dofadr[i]] *= (RADIUS - deep) / RADIUS


def _points(case: BodyCase) -> int:
    """Of one wheel."""
    return len(CHEBYSHEV) * len(CHEBYSHEV) if case.patch.any() else 1


def _pose(data: mujoco.MjData) -> FloatArray:
    """x, y of the car's origin and its yaw."""
    w, x, y, z = data.qpos[3:7]
    return np.array([data.qpos[0], data.qpos[1], np.arctan2(2 * (w * z + x * y), 1 - 2 * (y * y + z * z))])


def _loads(model: mujoco.MjModel, data: mujoco.MjData) -> FloatArray:
    load, force = np.zeros(4), np.zeros(6)
    for i in range(data.ncon):
        name = model.geom(data.contact[i].geom[1]).name or ""
        other = model.geom(data.contact[i].geom[0]).name or ""
        wheel = name if name.startswith("w") else other
        if wheel.startswith("w"):
            mujoco.mj_contactForce(model, data, i, force)
            load[int(wheel[1])] += force[0]
    return load


def _sheet(case: BodyCase, step: float) -> str:
    """The engine's model."""
    bodies, pairs, joined = "", "", ""
    for i, (x, y) in enumerate(case.place):
        half = case.patch[i // 2] / 2
        places = CHEBYSHEV if case.drag[i] >= 1 else MIDDLES
        along = half[0] * places if half[0] > 0 else np.zeros(1)
        across = half[1] * places if half[0] > 0 else np.zeros(1)
        load = _at_rest(case)[i]
        for j, ahead in enumerate(along):
            geoms = "".join(
                f'<geom name="w{i}_{j}_{k}" type="sphere" size="{RADIUS}" pos="0 {aside} 0" contype="0" '
                'conaffinity="0" mass="0"/>'
                for k, aside in enumerate(across)
            )
            turns = ""
            if case.drag[i] < 1:
                torque = case.drag[i] * case.grip[i] * load * RADIUS / len(along)
                turns = (
                    f'<joint name="s{i}_{j}" type="hinge" axis="0 1 0" frictionloss="{torque}" '
                    f'armature="{ARMATURE / len(along)}" solreffriction="0.001 1"/>'
                )
                if j:
                    joined += _together(f"s{i}_0", f"s{i}_{j}")
            bodies += (
                f'<body pos="{x + ahead} {y} {RADIUS}">{turns}<inertial pos="0 0 0" mass="1e-4" '
                f'diaginertia="1e-7 1e-7 1e-7"/>{geoms}</body>'
            )
            pairs += "".join(
                f'<pair geom1="floor" geom2="w{i}_{j}_{k}" condim="3" friction="{case.grip[i]} {case.grip[i]} 0 0 0" '
                f'solref="-{STIFF} -{DAMPED}" solreffriction="0 -{RUBBING}" solimp="{IMPEDANCE} {IMPEDANCE} 0.001"/>'
                for k in range(len(across))
            )
        if case.solid and i == 3 and case.drag[2] < 1:
            joined += _together("s2_0", "s3_0")
    rubs = 'condim="1"' if case.finger == 0 else f'condim="3" friction="1e-5 {case.finger} 0 0 0"'
    pairs += (
        f'<pair geom1="tip" geom2="side" {rubs} solreffriction="0 -{RUBBING_TIP}" solref="-1e5 -600" '
        'solimp="0.95 0.99 0.0001"/>'
    )
    cx, cy, cz = case.middle
    away = TIP if case.side_y > 0 else -TIP
    return f"""<mujoco><option timestep="{step}" gravity="0 0 -{GRAVITY}" cone="elliptic" impratio="{RATIO}"
        solver="Newton" tolerance="1e-10" iterations="60"/><contact>{pairs}</contact><equality>{joined}</equality>
        <worldbody><geom name="floor" type="plane" size="2 2 .1" contype="0" conaffinity="0"/>
        <body pos="0 0 -0.0005"><freejoint/>
        <inertial pos="{cx} {cy} {cz}" mass="{case.mass}" diaginertia="0.003 0.009 0.01"/>
        <geom name="side" type="box" size="0.4 {abs(case.side_y)} 0.1" pos="0.13 0 0.03" mass="0" contype="0"
        conaffinity="0"/>{bodies}</body>
        <body name="finger" pos="{case.station} {case.side_y + away} {case.height}">
        <joint name="finger" type="slide" axis="0 1 0"/>
        <inertial pos="0 0 0" mass="1000" diaginertia="1 1 1"/>
        <geom name="tip" type="sphere" size="{TIP}" contype="0" conaffinity="0" mass="0"/></body>
        </worldbody></mujoco>"""


def _together(one: str, other: str) -> str:
    return f'<joint joint1="{one}" joint2="{other}" polycoef="0 1 0 0 0" solref="0.002 1" solimp="0.99 0.999 0.001"/>'


def _at_rest(case: BodyCase) -> FloatArray:
    """(4,) N: a rigid body on four equal springs (statics)."""
    basis = np.column_stack([np.ones(4), case.place])
    wanted = case.mass * GRAVITY * np.array([1.0, case.middle[0], case.middle[1]])
    return np.asarray(basis @ np.linalg.solve(basis.T @ basis, wanted))
