"""The virtual bench behind the page: pads, the car of a lesson step, a finger and a camera, switched on at will."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.plane import compose, invert, swing_pole, turn_per_travel
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.measures import contact_place
from rig.cards.read import CardSet
from rig.cards.template import card_text
from rig.jobs.weighing.pads import CheckMasses, OpenPads, calibrate
from rig.log.store import BenchLog
from rig.pads.reader import PadReader
from rig.pads.steps import Step
from rig.page.bench.lesson_steps import LessonStep
from rig.virtual.bench import CHECK_MASSES_G, VirtualOperator, film_virtual_push, virtual_finger
from rig.virtual.dunlin import CAR_KEYS, TEST_KEYS, SetUp, Truth, draw_truth
from rig.virtual.pads import VirtualPads
from rig.virtual.push_truth import PushedCar, simulate_push

BENCH_NAME = "Virtual bench"
CALIBRATING_FACTOR = 40.0
"""The pads were calibrated "before the lesson": that goes quickly, on pads of the same make."""
FRAMES_SHOWN = 48
PLAIN_CORNER_G = 400.0
LONGEST_LOOK_S = 20.0


def step_cards(step: LessonStep, setup: SetUp) -> dict[str, str]:
    """Texts of the car and test card of one lesson step."""
    head = f"The virtual bench's car in one set-up: {setup.title}."
    car = CAR_KEYS | dict(setup.car) | {"name": f"Dunlin, {setup.title}"}
    test = (
        TEST_KEYS
        | dict(setup.test)
        | {"name": f"{step.title}", "grip.front": setup.grip[0], "grip.rear": setup.grip[1]}
    )
    return {"car": card_text("car", car, head=head), "test": card_text("test", test)}


def bench_text() -> str:
    """The bench card of the virtual bench."""
    keys = {"name": BENCH_NAME, "pads.port": "virtual", "pads.reseat_g": 2.0, "floor.bar_mm_u": 0.1}
    return card_text("bench", keys)


def true_car(setup: SetUp, seed: int) -> Truth:
    """What the virtual car really is in one set-up: rolling and solid axles as on its cards."""
    truth = draw_truth(setup, np.random.default_rng([seed, sum(setup.name.encode())]))
    keys = dict(setup.car)
    rolling = dict(setup.test).get("push.wheels") == "as on the car card"
    solid = (keys.get("front.kind") == "solid", keys.get("rear.kind") == "solid")
    drag = np.full(4, 0.02) if rolling else np.ones(4)
    return replace(truth, pushed=replace(truth.pushed, drag=drag, solid=solid if rolling else (False, False)))


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenPush:
    """A push of the virtual car as it really went, seen without a camera.

    poses: (n, 3) in the car axes of the start, evenly in time.  kappa: 1/m.  place: (2,) m, car axes, the point
    that stayed; not finite when the car did not turn.  station: m of the push.
    """

    poses: FloatArray
    kappa: float
    place: FloatArray
    station: float


class VirtualSide:
    """Virtual pads with a car to set on them. Knows the truth; nothing on the measuring side reads it from here."""

    def __init__(self, *, seed: int = 0, time_factor: float = 6.0) -> None:
        self._seed = seed
        self.pads = VirtualPads(seed=seed, rate=80, time_factor=time_factor)
        self._rng = np.random.default_rng([seed, 3])
        self.setup: SetUp | None = None
        self._truth: Truth | None = None
        self._films = 0

    def close(self) -> None:
        """Switch off."""
        self.pads.close()

    def take(self, setup: SetUp) -> None:
        """Make this the car on the bench; the pads are empty."""
        self.setup, self._truth = setup, true_car(setup, self._seed)
        self.pads.set_loads([0.0] * 4)

    def _true(self) -> Truth:
        if self._truth is None:
            raise InputError("there is no virtual car yet", where="virtual bench", remedy="Choose a lesson step")
        return self._truth

    def operator(self, say: Callable[[str], None]) -> Callable[[Step], None]:
        """Does the steps that a person is asked for."""
        hand = VirtualOperator(self.pads, self._true().corner_g, self._rng)

        def act(step: Step) -> None:
            say(f"{step.text} (the virtual bench does it)")
            hand(step)

        return act

    def place(self, on: bool) -> None:
        """Set the car on the pads, or take it off."""
        self.pads.set_loads(self._true().corner_g.tolist() if on else [0.0] * 4)

    def calibrated(self, cards: CardSet, log: BenchLog, progress: Progress) -> None:
        """Calibrate pads of this make, once per log."""
        if log.latest("calibration", cards.bench.name) is not None:
            return
        with VirtualPads(seed=self._seed, rate=80, time_factor=CALIBRATING_FACTOR) as pads:
            hand = VirtualOperator(pads, np.zeros(4), np.random.default_rng([self._seed, 4]))
            raw = log.folder / "raw" / "virtual-calibration.txt"
            raw.parent.mkdir(parents=True, exist_ok=True)
            raw.touch()
            names = tuple(f"pad {index + 1} ({wheel})" for index, wheel in enumerate(cards.bench.pads.wheels))
            with PadReader(pads.url) as reader:
                calibrate(
                    cards.bench,
                    OpenPads(source=reader, raw_file=raw, names=names),
                    log,
                    CheckMasses(masses_g=CHECK_MASSES_G, cycles=1),
                    ask=hand,
                    progress=progress,
                )

    def film(self, cards: CardSet, folder: Path, progress: Progress) -> Path:
        """Push the car and film it; returns the clip."""
        folder.mkdir(parents=True, exist_ok=True)
        self._films += 1
        seed = int(np.random.SeedSequence().entropy % (1 << 31))  # type: ignore[operator]
        clip = folder / f"push-{seed:08x}-{self._films}.avi"
        film_virtual_push(cards, self._true(), clip, seed=seed, progress=progress)
        return clip

    def see(self, cards: CardSet) -> SeenPush:
        """Push the car and look without a camera."""
        return see_push(self._true(), cards)


def plain_car(cards: CardSet) -> Truth:
    """A car of the card's size that is alike all round, for a first try with nothing set up."""
    contacts = contact_place(cards.car)
    length, mass = float(np.ptp(contacts[:, 0])), 4 * PLAIN_CORNER_G * 1e-3
    corner_g = np.full(4, PLAIN_CORNER_G)
    pushed = PushedCar(
        contacts=contacts,
        loads=corner_g * 1e-3 * STANDARD_GRAVITY,
        grip=np.full(4, 0.8),
        drag=np.ones(4),
        mass=mass,
        yaw_inertia=mass * (0.37 * length) ** 2,  # as of the virtual bench's car
        cg=contacts.mean(axis=0),
        heading=np.zeros(4),
    )
    height = cards.test.push.height_mm * 1e-3
    return Truth(corner_g=corner_g, pushed=pushed, station_shift=0.0, height=height, plate_shift=np.zeros(3))


def see_push(truth: Truth, cards: CardSet) -> SeenPush:
    """Push a car and look without a camera: for the first try, in less than a second. Raises as `simulate_push`."""
    push = cards.test.push
    if push.distance_mm > LONGEST_LOOK_S * push.speed_mm_s:
        raise InputError(
            f"this push would take {push.distance_mm / push.speed_mm_s:.0f} s",
            where="test card, push.speed_mm_s",
            remedy="Push faster or less far for a first look",
        )
    length = cards.car.geometry.wheelbase_mm * 1e-3
    finger = virtual_finger(cards, truth, rest=0.1)
    # rounder friction than in a filmed push: off by at most 60 um over the push, and three times as quick
    moved = simulate_push(truth.pushed, finger, slip_floor=2e-5, rate=60.0, tolerance=1e-5)
    first, last = moved.pose[0], moved.pose[-1]
    rows = np.linspace(0, len(moved.pose) - 1, FRAMES_SHOWN).round().astype(int)
    return SeenPush(
        poses=compose(invert(first), moved.pose[rows]),
        kappa=float(turn_per_travel(first, last, length)),
        place=swing_pole(first, last),
        station=finger.station,
    )


def seen_record(seen: SeenPush) -> dict[str, Any]:
    """As plain JSON, mm."""
    return {"poses": seen.poses * np.array([1e3, 1e3, 1.0]), "kappa_per_m": seen.kappa, "place_mm": seen.place * 1e3}
