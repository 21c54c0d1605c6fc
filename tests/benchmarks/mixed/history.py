"""One history at the bench, and its truth kept by hand: what was really on the pads, under the finger, on the floor.

Every act goes through the command line on the quick bench; beside it stands what a careless look-up would remember:
events by kind and by the name somebody typed, the newest last.
"""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from rig.cards.keys.car import CarCard
from tests.benchmarks.mixed.things import Answer, Car, Card, Figures, Push, Question, Table, Test
from tests.benchmarks.mixed.truth import TRAVEL, WHEELBASE, balance_pct, grip_ratio_of, kappa_of
from tests.faults.quick_bench import BOARDS, CLOCKS, Board, Said, pivotbench, write_clip

HAS_IDS = "id" in CarCard.__struct_fields__
SHARES = (0.42, 0.455, 0.49, 0.525, 0.56)
RATIOS = (0.85, 0.92, 1.0, 1.09, 1.18)
GRAVITY = 9.80665
# the truth's statics (truth.py) has one grip an axle whatever it carries; a card silent on it stands for 0.1 of loss
EVEN_GRIP = {f"{axle}.{key}": 0 for axle in ("front", "rear") for key in ("load_sensitivity", "load_sensitivity_u")}
GAINS = ((400.0, -500.0, 250.0, 800.0), (520.0, -400.0, 330.0, 640.0), (300.0, -620.0, 410.0, 1000.0))


class WentWrongError(Exception):
    """The benchmark's own preparation was refused: a history that cannot be judged."""


class StopHistoryError(Exception):
    """Nothing more can be asked of this log."""


class History:
    """What happened at one or two tables with one log."""

    def __init__(self, root: Path, rng: np.random.Generator) -> None:
        self.root, self.rng, self.log = root, rng, root / "log"
        self.events: list[tuple[str, str, Any]] = []
        self.tables: list[Table] = []
        self.cars: list[Car] = []
        self.tests: list[Test] = []
        self.answers: list[Answer] = []
        self.shown: dict[int, Figures] = {}
        self.count = 0
        self.with_ids = bool(rng.uniform() < 0.75)  # cards from before cards had ids go on being used
        self.shares = [float(x) for x in rng.permutation(SHARES)]
        self.ratios = [float(x) for x in rng.permutation(RATIOS)]
        self.gains = [GAINS[i] for i in rng.permutation(len(GAINS))]
        CLOCKS.wall = CLOCKS.even = 0.0
        BOARDS.clear()

    # names and cards

    def number(self) -> int:
        """The next of this history's numbers, for names and seeds."""
        self.count += 1
        return self.count

    def ident(self) -> dict[str, str]:
        """A fresh card's own id, where cards have one."""
        if not (HAS_IDS and self.with_ids):
            return {}
        return {"id": "".join(chr(97 + i) for i in self.rng.integers(0, 26, 8))}

    def table(self, folder: str, name: str) -> Table:
        """Another table with a board of its own; it is calibrated later."""
        port = f"port-{folder}"
        offset = [float(x) for x in self.rng.integers(-50_000, 50_000, 4)]
        board = Board(f"board-{len(self.tables) + 1}-{self.number()}", self.gains[len(BOARDS) % 3], offset)
        BOARDS[port] = board
        values = {"card": "bench", "name": name, "pads.port": port} | self.ident()
        made = Table(Card(self.root / folder / "bench.toml", values).write(), board)
        self.tables.append(made)
        return made

    def car(self, table: Table, name: str, *, file: str = "car.toml") -> Car:
        """Another car, with a card beside the table's."""
        values = {
            "card": "car",
            "name": name,
            "geometry.wheelbase_mm": 257.0,
            "geometry.track_front_mm": 165.0,
            "geometry.track_rear_mm": 165.0,
            **EVEN_GRIP,
        } | self.ident()
        card = Card(table.card.path.parent / file, values)
        made = Car(card, self.new_loads(), self.ratios.pop() if self.ratios else 1.3)
        card.values["masses.total_g"] = round(sum(made.loads_g))
        card.write()
        self.cars.append(made)
        return made

    def new_loads(self) -> Figures:
        """Loads of a state that no car had before; left and right alike."""
        share = self.shares.pop() if self.shares else float(self.rng.uniform(0.3, 0.38))
        total = float(self.rng.integers(1400, 1700))
        front, rear = round(total * share / 2), round(total * (1 - share) / 2)
        return [front, front, rear, rear]

    def test(self, table: Table, car: Car, station_pct: float, **values: Any) -> Test:
        """A fresh test card beside the table's cards, with a name of its own."""
        n = self.number()
        keys = {
            "card": "test",
            "name": f"push {n}",
            "car": car.card.path.name,
            "push.position_pct": station_pct,
            "push.position_pct_u": 0.4,
            "push.height_mm": 0.0,
            "push.height_mm_u": 0.5,
            "push.side": "right",
            "conditions.surface": "painted board",
        } | self.ident()
        card = Card(table.card.path.parent / f"test-{n}.toml", keys | values).write()
        made = Test(card, car, table)
        self.tests.append(made)
        return made

    # acts

    def run(self, *words: object, hands: Callable[[str], None] | None = None, must: bool = True) -> Said:
        """A command that is part of the history, not a question."""
        said = pivotbench(*words, "--log", self.log, hands=hands)
        if must and said.code != 0:
            raise WentWrongError(f"{words}: {said.err}")
        return said

    def calibrate(self, table: Table) -> None:
        """Check masses on each pad in turn."""
        board = table.board

        def hands(text: str) -> None:
            found = re.findall(r"(?:Lay ([\d.]+) g on|Take everything off) pad (\d)", text)
            board.on[:] = [0.0] * 4
            if found:
                board.on[int(found[-1][1]) - 1] = float(found[-1][0] or 0)

        test = self.any_test(table)
        self.run("pads", "calibrate", test.path, "--mass", 300, "--mass", 900, "--cycles", 1, hands=hands)
        board.on[:] = [0.0] * 4
        self.events.append(("calibration", table.card.values["name"], (board.gain, list(board.offset))))

    def zero(self, table: Table, *, must: bool = True) -> None:
        """The pads as they are, empty."""
        table.board.on[:] = [0.0] * 4
        self.run("pads", "zero", self.any_test(table).path, must=must)
        self.events.append(("zero", table.card.values["name"], list(table.board.offset)))

    def ask(self, question: Question) -> Said:
        """Ask, and judge the answer by what is true."""
        said = pivotbench(*question.words, "--log", self.log, hands=question.hands)
        figures: Figures | None = None
        if said.code == 0:
            figures = [float(one) for one in question.pick(said)]
            outcome = "right" if question.near(figures) else ("warned" if said.warned else "wrong")
            if not figures and question.truth is None:
                outcome = "refused"  # no lines to paste, and that said
        else:
            outcome = "refused" if said.refused else "failed"
        shown = figures if figures is not None else said.err.strip().splitlines()[:1]
        self.answers.append(
            Answer(
                question.what,
                outcome,
                said.warned,
                question.careless is not None and not question.near(question.careless),
                question.touched,
                f"{question.words[0]}: {shown} for {question.truth}; first line: {said.first_line}",
            )
        )
        return said

    def note(self, what: str, outcome: str, *, careless_wrong: bool) -> None:
        """An outcome that a trap has judged by itself."""
        self.answers.append(Answer(what, outcome, False, careless_wrong, True, what))

    def any_test(self, table: Table) -> Card:
        """A test card that names this table's bench card."""
        for one in self.tests:
            if one.table is table:
                return one.card
        raise WentWrongError("no test card at this table")

    def weigh(self, test: Test) -> None:
        """The car as it really is now, on its table's pads."""
        said = self.run("weigh", test.card.path, "--json", hands=self.set_on(test.table, test.car))
        if max(abs(a - b) for a, b in zip(said.result["corner_weights_g"], test.car.loads_g, strict=True)) > 5:
            raise WentWrongError(f"weighed {said.result['corner_weights_g']} for {test.car.loads_g}")
        if self.log == self.root / "log" and (found := re.search(r"record (\d+)", said.text)):
            self.shown[int(found[1])] = list(test.car.loads_g)
        self.events.append(("weighing", test.car.card.values["name"], list(test.car.loads_g)))

    def set_on(self, table: Table, car: Car) -> Callable[[str], None]:
        """Hands that set the car on the pads when asked."""

        def hands(text: str) -> None:
            if "car" in text:
                under = table.card.values.get("pads.wheels", ["FL", "FR", "RL", "RR"])
                wheels = dict(zip(("FL", "FR", "RL", "RR"), car.loads_g, strict=True))
                table.board.on[:] = [wheels[name] for name in under]

        return hands

    def push(self, test: Test, *, station_pct: float | None = None) -> Push:
        """Push the car as it really is now, where the card says or at another place, film and measure it."""
        station = test.station_pct if station_pct is None else station_pct
        kappa = kappa_of(station / 100 * WHEELBASE, test.car.grip_ratio, test.car.loads_g)
        kappa += float(self.rng.normal(0.0, 0.005))
        clip = self.root / f"clip-{self.number()}.json"
        side, seed = test.card.values["push.side"], int(self.rng.integers(1 << 30))
        write_clip(clip, [(kappa, side)], seed=seed, travel=TRAVEL)
        made = Push(kappa, station, list(test.car.loads_g), test.car.grip_ratio, clip)
        self.measure(test, made)
        return made

    def measure(self, test: Test, push: Push) -> None:
        """Measure a clip under a test card."""
        self.run("push", "measure", test.card.path, "--clip", push.clip, "--json")
        test.pushes.append(push)
        self.events.append(("push", test.card.values["name"], push.kappa))

    # what a careless look-up remembers

    def newest(self, kind: str, name: str) -> Any:
        """The newest event of a kind under a name, or None."""
        return next((what for k, n, what in reversed(self.events) if (k, n) == (kind, name)), None)

    def careless_ratio(self, test: Test) -> float | None:
        """Grip ratio from the newest push of this name, the newest weighing of the car's name, the card as it is."""
        kappa, loads = (
            self.newest("push", test.card.values["name"]),
            self.newest("weighing", test.car.card.values["name"]),
        )
        if kappa is None or loads is None:
            return None
        return grip_ratio_of(test.station_pct / 100 * WHEELBASE, kappa, loads, kappa * TRAVEL)

    def careless_weights(self, table: Table, car: Car) -> Figures | None:
        """Loads through the newest calibration and zero of the bench's name; wheels on pads 1 to 4 in order."""
        name = table.card.values["name"]
        calibrated, zeroed = self.newest("calibration", name), self.newest("zero", name)
        if calibrated is None or zeroed is None:
            return None
        board = table.board
        return [
            (offset + gain * load - zero) / known
            for offset, gain, load, zero, known in zip(
                board.offset, board.gain, car.loads_g, zeroed, calibrated[0], strict=True
            )
        ]

    def careless_balance(self, test: Test) -> Figures | None:
        """Balance point from the newest weighing of the car's name."""
        loads = self.newest("weighing", test.car.card.values["name"])
        return None if loads is None else [balance_pct(loads, self.card_ratio(test))]

    @staticmethod
    def card_ratio(test: Test) -> float:
        """Front over rear grip as the test card states it."""
        return float(test.card.values.get("grip.front", 0.8) / test.card.values.get("grip.rear", 0.8))
