"""Cars on springs in a rigid-body engine (MuJoCo), on tilted pads and accelerated on the flat.

Nothing here comes from the mechanics under test: bodies turn by finite angles, each wheel hangs on a swing arm with its
own pivot (which makes the roll centre), tyres give up and down, sideways and, where a wheel is taped, along. Tyres are
long springs to far points of the floor, so that no contact solver stands between the car and its loads. What is read
is the force of the upright springs: what a pad would carry square to its board.
"""

from dataclasses import dataclass

import mujoco
import numpy as np

from analysis.base.arrays import FloatArray

G = 9.80665
FAR = 50.0
"""m, length of the springs that stand for tyres: they turn by a ten-thousandth where the car moves by millimetres."""
STEP, LONGEST = 1e-3, 12.0
"""s of one step; s after which a car that still moves is given up."""
QUIET = 2e-7
"""m/s and rad/s, below which a car is taken to stand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineCar:
    """One car, SI; wheels FL FR RL RR. load: N at rest, level.  height: m, centre of gravity of all.

    wheel_rate, tyre, give: (4,) N/m at the wheel, up and down, sideways.  bar: (2,) N/m at each wheel per metre of
    difference.  arm: (2,) m, swing arms.  roll_centre: (2,) m.  droop: m of wheel travel to a stiff limit, inf: none.
    preload: (4,) N at the wheel by which collars were turned since, None: not at all.
    """

    wheelbase: float
    track: FloatArray
    load: FloatArray
    height: float
    wheel_rate: FloatArray
    tyre: FloatArray
    give: FloatArray
    bar: FloatArray
    arm: FloatArray
    roll_centre: FloatArray
    unsprung: FloatArray
    radius: float
    droop: float
    preload: FloatArray | None = None


def drawn_car(rng: np.random.Generator) -> EngineCar:
    """A 1:10 car as workshops have them: 1.2 to 2.2 kg, unequal corners, one in ten with little droop."""
    front, side, cross = rng.uniform(0.4, 0.6), rng.uniform(0.48, 0.52), rng.uniform(-0.02, 0.02)
    share = np.array(
        [
            front * side + cross,
            front * (1 - side) - cross,
            (1 - front) * side - cross,
            (1 - front) * (1 - side) + cross,
        ]
    )
    track = rng.uniform(0.14, 0.19, 2)
    rate = np.repeat(rng.uniform(500.0, 2500.0, 2), 2)
    return EngineCar(
        wheelbase=rng.uniform(0.24, 0.28),
        track=track,
        load=share * rng.uniform(1.2, 2.2) * G,
        height=rng.uniform(0.025, 0.05),
        wheel_rate=rate,
        tyre=np.full(4, rng.uniform(8e3, 3e4)),
        give=np.full(4, rng.uniform(1.5e3, 6e3)),
        bar=rng.uniform(0.0, 800.0, 2) * (rng.random(2) < 0.6),
        arm=rng.uniform(0.06, 0.12, 2),
        roll_centre=rng.uniform(0.0, 0.02, 2),
        unsprung=np.full(4, rng.uniform(0.02, 0.05)),
        radius=0.031,
        droop=rng.uniform(0.0008, 0.002) if rng.random() < 0.1 else np.inf,
    )


def _place(car: EngineCar, k: int) -> tuple[float, float]:
    side = 1.0 if k % 2 == 0 else -1.0
    return (car.wheelbase if k < 2 else 0.0), side * float(car.track[k // 2]) / 2


class Stand:
    """One car in the engine. taped: (4,), wheels that cannot roll."""

    def __init__(self, car: EngineCar, taped: tuple[bool, bool, bool, bool]) -> None:
        self.car, self.taped = car, taped
        carried = car.load - car.unsprung * G
        mass = float(carried.sum()) / G
        x = car.wheelbase * float(carried[:2].sum() / carried.sum())
        sides = np.array([_place(car, k)[1] for k in range(4)])
        y = float((carried * sides).sum() / carried.sum())
        z = (car.height * float(car.load.sum()) / G - float(car.unsprung.sum()) * car.radius) / mass
        arms, sites, tendons = [], [], []
        for k in range(4):
            px, py = _place(car, k)
            inward = -np.sign(py)
            length = float(car.arm[k // 2])
            pivot_y, pivot_z = py + inward * length, float(car.roll_centre[k // 2]) * length / (abs(py))
            # the arm turns about x; bump turns a left arm one way and a right arm the other
            moment = (carried[k] + (0.0 if car.preload is None else car.preload[k])) * length
            stiff = float(car.wheel_rate[k]) * length**2
            slow = 1.4 * length**2 * np.sqrt(float(car.wheel_rate[k]) * mass / 4)
            limit = ""
            if np.isfinite(car.droop):
                low = -car.droop / length
                limit = f'limited="true" range="{low:.9g} 1.0" solreflimit="-{stiff * 40:.9g} -{0.02:.9g}"'
            arms.append(
                f'<body name="arm{k}" pos="{px - x:.9g} {pivot_y - y:.9g} {pivot_z - z:.9g}">'
                f'<joint name="arm{k}" type="hinge" axis="{-inward:.9g} 0 0" stiffness="{stiff:.9g}" '
                f'springref="{-moment / stiff:.9g}" damping="{slow:.9g}" {limit}/>'
                f'<inertial pos="0 {-inward * length:.9g} {car.radius - pivot_z:.9g}" mass="{car.unsprung[k]:.9g}" '
                f'diaginertia="2e-5 2e-5 2e-5"/>'
                f'<site name="foot{k}" pos="0 {-inward * length:.9g} {-pivot_z:.9g}"/></body>'
            )
            down = car.load[k] / car.tyre[k]
            ends = {"z": (px, py, -FAR), "y": (px, py + FAR, 0.0)} | ({"x": (px + FAR, py, 0.0)} if taped[k] else {})
            rates = {"z": float(car.tyre[k]), "y": float(car.give[k]), "x": float(car.give[k])}
            for axis, place in ends.items():
                sites.append(f'<site name="{axis}{k}" pos="{place[0]:.9g} {place[1]:.9g} {place[2]:.9g}"/>')
                rest = FAR + (down if axis == "z" else 0.0)
                tendons.append(
                    f'<spatial name="{axis}{k}" stiffness="{rates[axis]:.9g}" springlength="{rest:.12g}" '
                    f'damping="{np.sqrt(rates[axis] * mass / 4):.9g}"><site site="foot{k}"/>'
                    f'<site site="{axis}{k}"/></spatial>'
                )
        for axle in range(2):
            rate = float(car.bar[axle]) * float(car.arm[axle]) ** 2
            if rate > 0:
                tendons.append(
                    f'<fixed name="bar{axle}" stiffness="{rate:.9g}" springlength="0"><joint joint="arm{2 * axle}" '
                    f'coef="1"/><joint joint="arm{2 * axle + 1}" coef="-1"/></fixed>'
                )
        text = (
            f'<mujoco><compiler angle="radian"/><option timestep="{STEP}" integrator="implicitfast" '
            f'gravity="0 0 -{G}"/><worldbody>'
            f'{"".join(sites)}<body name="body" pos="{x:.9g} {y:.9g} {z:.9g}"><freejoint/>'
            f'<inertial pos="0 0 0" mass="{mass:.9g}" diaginertia="{mass * 2e-3:.9g} {mass * 6e-3:.9g} '
            f'{mass * 7e-3:.9g}"/>{"".join(arms)}</body></worldbody><tendon>{"".join(tendons)}</tendon></mujoco>'
        )
        self.model = mujoco.MjModel.from_xml_string(text)
        self.data = mujoco.MjData(self.model)
        self.uprights = [self.model.tendon(f"z{k}").id for k in range(4)]
        self.rolls_free = not any(taped)  # then nothing stops it along, and its drift is no lack of rest

    def raise_pad(self, wheel: int, height: float) -> None:
        """Lift the floor under one wheel, m."""
        self.model.site_pos[self.model.site(f"z{wheel}").id, 2] += height

    def stick(self, newton: float) -> None:
        """Let every suspension stick by so much at its wheel."""
        for k in range(4):
            joint = self.model.joint(f"arm{k}")
            dof = int(joint.dofadr[0])
            self.model.dof_frictionloss[dof] = newton * float(self.car.arm[k // 2])
            self.model.dof_solref[dof] = [0.002, 1.0]  # nearly dry: the usual regularised friction creeps free
            self.model.dof_solimp[dof] = [0.99999, 0.99999, 0.001, 0.5, 2.0]

    def press(self, newton: float, pull: tuple[float, float, float]) -> None:
        """Press the body down square to the floor and let it up slowly, under `pull`."""
        self.model.opt.gravity[:] = pull
        body, data = self.model.body("body").id, self.data
        for share in np.concatenate([np.linspace(0, 1, 40), np.linspace(1, 0, 160)]):
            data.xfrc_applied[body, 2] = -newton * share
            mujoco.mj_step(self.model, data, 25)

    def loads(self, pull: tuple[float, float, float]) -> FloatArray:
        """(4,) N square to the floor, standing under gravity and inertia together `pull`, m/s2, car axes."""
        self.model.opt.gravity[:] = pull
        data = self.data
        for _ in range(int(LONGEST / STEP / 50)):
            mujoco.mj_step(self.model, data, 50)
            speed = np.abs(data.qvel[1:] if self.rolls_free else data.qvel).max()
            if speed < QUIET:
                break
        else:
            raise RuntimeError(f"the car still moves at {speed:.1e}")
        return self._read()

    def settle(self, pull: tuple[float, float, float], seconds: float = 1.0) -> FloatArray:
        """The same of a car that sticks, read after so many seconds: the engine's dry friction creeps a little."""
        self.model.opt.gravity[:] = pull
        mujoco.mj_step(self.model, self.data, int(seconds / STEP))
        return self._read()

    def _read(self) -> FloatArray:
        data = self.data
        mujoco.mj_forward(self.model, data)
        springs = np.array([self.model.tendon_lengthspring[k, 0] - data.ten_length[k] for k in self.uprights])
        return np.asarray(springs * self.car.tyre, dtype=float)


ROLLING, LEFT_TAPED, ALL_TAPED = (False,) * 4, (True, False, True, False), (True,) * 4


def tilted(angle: float) -> tuple[float, float, float]:
    """Gravity on a board whose right side is down by `angle`, rad (left side where it is negative)."""
    return 0.0, -G * float(np.sin(angle)), -G * float(np.cos(angle))


def nose_up(angle: float) -> tuple[float, float, float]:
    """Gravity on a board whose front is up by `angle`, rad."""
    return -G * float(np.sin(angle)), 0.0, -G * float(np.cos(angle))


def cornering(ay: float) -> tuple[float, float, float]:
    """Gravity and inertia on the flat at ay to the left, m/s2: the load goes to the right."""
    return 0.0, -ay, -G


def driving(ax: float) -> tuple[float, float, float]:
    """Gravity and inertia on the flat at ax ahead, m/s2: the load goes to the rear."""
    return -ax, 0.0, -G
