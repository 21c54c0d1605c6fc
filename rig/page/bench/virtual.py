"""The virtual bench behind the page: pads, the car of a lesson step, a finger and a camera, switched on at will."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.read import CardSet
from rig.cards.template import card_text
from rig.jobs.demo.first_try import SeenPush, see_push
from rig.jobs.weighing.calibrate import CheckMasses, calibrate, card_hashes
from rig.jobs.weighing.pads import OpenPads, pad_names
from rig.log.store import BenchLog
from rig.lookups.belongs import calibration_of
from rig.pads.reader import PadReader
from rig.pads.steps import Step
from rig.page.bench.lesson_steps import LessonStep
from rig.virtual.bench import CHECK_MASSES_G, VirtualOperator, film_virtual_push, virtual_id
from rig.virtual.dunlin import CAR_KEYS, ON_SPRINGS, TEST_KEYS, SetUp, Truth, draw_truth
from rig.virtual.finger_force import finger_keys
from rig.virtual.pads import VirtualPads

BENCH_NAME = "Virtual bench"
CALIBRATING_FACTOR = 40.0
"""The pads were calibrated "before the lesson": that goes quickly, on pads of the same make."""


def step_cards(step: LessonStep, setup: SetUp) -> dict[str, str]:
    """Texts of the car and test card of one lesson step."""
    head = f"The virtual bench's car in one set-up: {setup.title}."
    car = CAR_KEYS | ON_SPRINGS | dict(setup.car) | {"name": f"Dunlin, {setup.title}", "id": virtual_id("car")}
    test = (
        TEST_KEYS
        | dict(setup.test)
        | {
            "name": f"{step.title}",
            "id": virtual_id("test", step.title),
            "grip.front": setup.grip[0],
            "grip.rear": setup.grip[1],
        }
    )
    return {"car": card_text("car", car, head=head), "test": card_text("test", test)}


def bench_text() -> str:
    """The bench card of the virtual bench."""
    keys = {
        "name": BENCH_NAME,
        "id": virtual_id("bench"),
        "pads.port": "virtual",
        "pads.reseat_g": 2.0,
        "floor.bar_mm": 100.0,
        "floor.bar_mm_u": 0.1,
    } | finger_keys()
    return card_text("bench", keys)


def true_car(setup: SetUp, seed: int) -> Truth:
    """What the virtual car really is in one set-up: rolling and solid axles as on its cards."""
    truth = draw_truth(setup, np.random.default_rng([seed, sum(setup.title.encode())]))
    keys = dict(setup.car)
    rolling = dict(setup.test).get("push.wheels") == "as on the car card"
    solid = (keys.get("front.kind") == "solid", keys.get("rear.kind") == "solid")
    drag = np.full(4, 0.02) if rolling else np.ones(4)
    return replace(truth, pushed=replace(truth.pushed, drag=drag, solid=solid if rolling else (False, False)))


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

    def truth(self) -> Truth:
        """What the car on the bench really is. Raises InputError before there is one."""
        if self._truth is None:
            raise InputError("there is no virtual car yet", where="virtual bench", remedy="Choose a lesson step")
        return self._truth

    def operator(self, say: Callable[[str], None]) -> Callable[[Step], None]:
        """Does the steps that a person is asked for."""
        hand = VirtualOperator(self.pads, self.truth().corner_g, self._rng)

        def act(step: Step) -> None:
            say(f"{step.text} (the virtual bench does it)")
            hand(step)

        return act

    def place(self, on: bool) -> None:
        """Set the car on the pads, or take it off."""
        self.pads.set_loads(self.truth().corner_g.tolist() if on else [0.0] * 4)

    def calibrated(self, cards: CardSet, log: BenchLog, progress: Progress) -> None:
        """Calibrate pads of this make, once per log."""
        if calibration_of(cards.bench, log) is not None:
            return
        with VirtualPads(seed=self._seed, rate=80, time_factor=CALIBRATING_FACTOR) as pads:
            hand = VirtualOperator(pads, np.zeros(4), np.random.default_rng([self._seed, 4]))
            raw = log.folder / "raw" / "virtual-calibration.txt"
            raw.parent.mkdir(parents=True, exist_ok=True)
            raw.touch()
            with PadReader(pads.url) as reader:
                calibrate(
                    cards.bench,
                    OpenPads(source=reader, raw_file=raw, names=pad_names(cards.bench)),
                    log,
                    CheckMasses(masses_g=CHECK_MASSES_G, cycles=1),
                    ask=hand,
                    progress=progress,
                    cards=card_hashes(log, cards),
                )

    def film(self, cards: CardSet, folder: Path, progress: Progress) -> Path:
        """Push the car and film it; returns the clip."""
        folder.mkdir(parents=True, exist_ok=True)
        self._films += 1
        seed = int(np.random.SeedSequence().entropy % (1 << 31))  # type: ignore[operator]
        clip = folder / f"push-{seed:08x}-{self._films}.avi"
        film_virtual_push(cards, self.truth(), clip, seed=seed, progress=progress)
        return clip

    def see(self, cards: CardSet) -> SeenPush:
        """Push the car and look without a camera."""
        return see_push(self.truth(), cards)
