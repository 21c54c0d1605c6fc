"""What there is at a bench: cards, tables, cars, tests, pushes; and a question with what is true of it."""

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar

from tests.faults.quick_bench import Board, Said

Figures = list[float]


@dataclass
class Card:
    """A card as a file. values: dotted key -> value.  remark: a comment at its top."""

    path: Path
    values: dict[str, Any]
    remark: str = ""

    def write(self, **_: object) -> "Card":
        """Put it down as it is now."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        text = f"# {self.remark}\n" if self.remark else ""
        self.path.write_text(text + "".join(f"{key} = {_toml(value)}\n" for key, value in self.values.items()))
        return self

    def edit(self, values: Mapping[str, Any]) -> "Card":
        """Change it in place."""
        self.values |= values
        return self.write()

    def copy_to(self, path: Path, values: Mapping[str, Any] | None = None) -> "Card":
        """A copy as people make it: everything stays that is not changed."""
        return Card(path, self.values | dict(values or {})).write()


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value)


@dataclass
class Table:
    """A bench: its card, its board, and what lies where."""

    card: Card
    board: Board


@dataclass
class Push:
    """A push as it really was. loads_g: of the car then.  grip_ratio: of its tyres then."""

    kappa: float
    station_pct: float
    loads_g: Figures
    grip_ratio: float
    clip: Path


@dataclass
class Test:
    """A test card, the car it names as that really is now, and the pushes made with it."""

    __test__: ClassVar[bool] = False  # not a test class, whatever its name suggests to pytest

    card: Card
    car: "Car"
    table: Table
    pushes: list[Push] = field(default_factory=list)

    @property
    def station_pct(self) -> float:
        """Where the card says that the finger pushes."""
        return float(self.card.values["push.position_pct"])


@dataclass
class Car:
    """A car: its card, what it really weighs now (FL FR RL RR) and how its tyres really grip (front over rear)."""

    card: Card
    loads_g: Figures
    grip_ratio: float


@dataclass
class Question:
    """Something asked, and what is true. truth: None where nothing in the record can answer it.

    pick: the figures in the answer.  careless: the figures that the newest record of the name gives.
    touched: by a trap; else a refusal is needless.  tolerance: (relative, absolute).
    """

    what: str
    words: tuple[object, ...]
    pick: Callable[[Said], Figures]
    truth: Figures | None
    careless: Figures | None
    touched: bool
    tolerance: tuple[float, float]
    hands: Callable[[str], None] | None = None

    def near(self, figures: Figures | None) -> bool:
        """Whether these figures are the true ones."""
        if self.truth is None or figures is None or len(figures) != len(self.truth):
            return False
        relative, absolute = self.tolerance
        return all(
            math.isfinite(one) and abs(one - true) <= relative * abs(true) + absolute
            for one, true in zip(figures, self.truth, strict=True)
        )


@dataclass(frozen=True)
class Answer:
    """A question's outcome. outcome: right, refused, warned or wrong.  warned: also when it was right."""

    what: str
    outcome: str
    warned: bool
    careless_wrong: bool
    touched: bool
    words: str
