"""The virtual bench's car: a school workshop's 1:10 car "Dunlin" in three set-ups, with a truth of its own.

The cards say what a person would have measured; the truth differs from them within the stated uncertainties, drawn
with a seed. Only the virtual pads and the virtual push know the truth: it is stored apart and the measuring
side never reads it.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from rig.cards.keys.fields import CardKeys
from rig.virtual.pushed_car import PushedCar


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """One state of the car. mass_g at cg_mm (ahead of the rear axle, left), cross_g: g more on
    front left and rear right each, and less on the other two.

    grip: front, rear, as measured by the workshop.  car, test: card keys that differ from the starter's.
    """

    name: str
    title: str
    mass_g: float
    cg_mm: tuple[float, float]
    cross_g: float = 4.0
    grip: tuple[float, float] = (0.80, 0.80)
    car: CardKeys = field(default_factory=dict)
    test: CardKeys = field(default_factory=dict)


BALLAST_G = 150.0
_BARE = (1560.0, (130.0, 1.5))
_BALLAST_AT_MM = (-25.0, 0.0)


def _with_ballast(mass: float, cg: tuple[float, float]) -> tuple[float, tuple[float, float]]:
    total = mass + BALLAST_G
    return total, ((mass * cg[0] + BALLAST_G * _BALLAST_AT_MM[0]) / total, mass * cg[1] / total)


SETUPS: tuple[SetUp, ...] = (
    SetUp(name="alike", title="alike all round", mass_g=_BARE[0], cg_mm=_BARE[1]),
    SetUp(name="front-grip", title="more front grip", mass_g=_BARE[0], cg_mm=_BARE[1], grip=(0.96, 0.80)),
    SetUp(
        name="rear-ballast",
        title="ballast at the rear",
        mass_g=_with_ballast(*_BARE)[0],
        cg_mm=_with_ballast(*_BARE)[1],
    ),
)

CAR_KEYS: CardKeys = {
    "geometry.wheelbase_mm": 257.0,
    "geometry.wheelbase_mm_u": 0.3,
    "geometry.track_front_mm": 165.0,
    "geometry.track_front_mm_u": 1.0,
    "geometry.track_rear_mm": 165.0,
    "geometry.track_rear_mm_u": 1.0,
    "geometry.front_roll_share_u": 0.10,
    "plate.height_mm": 90.0,
    "plate.height_mm_u": 1.0,
    "plate.place_mm_u": 0.5,
    "plate.turn_deg_u": 0.2,
    "plate.bar_mm": 100.0,
    "plate.bar_mm_u": 0.1,
}
"""What the workshop measured on Dunlin, and how well."""

ON_SPRINGS: CardKeys = {
    "geometry.cg_height_mm": 36.0,
    "geometry.cg_height_mm_u": 2.0,
    "chassis.front.spring_n_per_mm": 2.5,
    "chassis.rear.spring_n_per_mm": 2.2,
    "chassis.front.bar_n_per_mm": 0.3,
    "chassis.load_sensitivity": 0.15,
    "chassis.load_sensitivity_u": 0.05,
}
"""What the workshop knows of Dunlin's springs, beside what its card says anyway."""

TEST_KEYS: CardKeys = {
    "push.wheels": "blocked",
    "push.finger": "rolling",
    "push.height_mm": 8.0,
    "push.height_mm_u": 1.0,
    "push.position_pct_u": 0.4,
    "push.direction_deg_u": 1.0,
    "push.distance_mm": 60.0,
    "push.speed_mm_s": 30.0,
    "grip.ratio_u": 0.02,
    "grip.level_u": 0.10,
    "grip.measured": True,
    "conditions.surface": "painted board, wiped dry",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What the virtual car really is.

    corner_g: (4,) g, FL FR RL RR.  station_shift: m that the finger touches ahead of where the card says.
    height: m of the finger above the floor.  plate_shift: (3,) m, m, rad of the plate, car axes.
    """

    corner_g: FloatArray
    pushed: PushedCar
    station_shift: float
    height: float
    plate_shift: FloatArray


def corner_weights_g(setup: SetUp, wheelbase_mm: float, track_mm: float) -> FloatArray:
    """(4,) g, FL FR RL RR: statics for the given centre of gravity and cross weight."""
    front, left = setup.cg_mm[0] / wheelbase_mm, 0.5 + setup.cg_mm[1] / track_mm
    corners = np.array([front * left, front * (1 - left), (1 - front) * left, (1 - front) * (1 - left)])
    return setup.mass_g * corners + setup.cross_g * np.array([1.0, -1.0, -1.0, 1.0])


def draw_truth(setup: SetUp, rng: np.random.Generator) -> Truth:
    """The truth behind one set-up: every quantity off its card by a draw from the uncertainty stated there."""
    keys = CAR_KEYS | dict(setup.car)
    test = TEST_KEYS | dict(setup.test)
    wheelbase = float(keys["geometry.wheelbase_mm"] + keys["geometry.wheelbase_mm_u"] * rng.standard_normal())
    track = [
        float(keys[f"geometry.track_{end}_mm"] + keys[f"geometry.track_{end}_mm_u"] * rng.standard_normal())
        for end in ("front", "rear")
    ]
    ratio = math.exp(test["grip.ratio_u"] * rng.standard_normal())
    level = math.exp(test["grip.level_u"] * rng.standard_normal())
    grip = np.repeat([setup.grip[0] * level * math.sqrt(ratio), setup.grip[1] * level / math.sqrt(ratio)], 2)
    corner_g = corner_weights_g(setup, wheelbase, float(np.mean(track)))
    contacts = (
        np.array([[wheelbase, track[0] / 2], [wheelbase, -track[0] / 2], [0.0, track[1] / 2], [0.0, -track[1] / 2]])
        * 1e-3
    )
    mass = setup.mass_g * 1e-3
    pushed = PushedCar(
        contacts=contacts,
        loads=corner_g * 1e-3 * STANDARD_GRAVITY,
        grip=grip,
        drag=np.ones(4),
        mass=mass,
        yaw_inertia=mass * 0.095**2,
        cg=np.array(setup.cg_mm) * 1e-3,
        heading=np.zeros(4),
        roll_share=float(np.clip(0.5 + keys["geometry.front_roll_share_u"] * rng.standard_normal(), 0.2, 0.8)),
    )
    place_u = keys["plate.place_mm_u"] * 1e-3
    shift = rng.standard_normal(3) * [place_u, place_u, math.radians(keys["plate.turn_deg_u"])]
    return Truth(
        corner_g=corner_g,
        pushed=pushed,
        station_shift=float(test["push.position_pct_u"] / 100 * wheelbase * 1e-3 * rng.standard_normal()),
        height=float(max(test["push.height_mm"] + test["push.height_mm_u"] * rng.standard_normal(), 1.0)) * 1e-3,
        plate_shift=shift,
    )
