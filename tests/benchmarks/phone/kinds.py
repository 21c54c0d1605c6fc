"""The kinds of trouble: what each does to an ordinary clip, and the words that name its cause.

A kind is `fine` when a person could expect an answer all the same (a refusal is then needless), and `clean` when
nothing is amiss (a warning is then needless too). Where nothing on earth could be answered rightly, `lost` is set.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass

from tests.benchmarks.phone.shot import Shot

Change = Callable[[Shot, float], None]


@dataclass(frozen=True)
class Kind:
    """sizes: of the trouble, taken in turn.  cause: a pattern for the words that name it.  cards: short or full."""

    name: str
    change: Change
    sizes: tuple[float, ...]
    cause: str
    fine: bool
    clean: bool
    lost: bool
    cards: str
    speed: bool

    def named(self, words: str) -> bool:
        """Whether the words name the cause."""
        return bool(self.cause) and re.search(self.cause, words, re.IGNORECASE) is not None


KINDS: dict[str, Kind] = {}


def kind(
    name: str,
    sizes: tuple[float, ...] = (1.0,),
    cause: str = "",
    *,
    fine: bool = True,
    clean: bool = False,
    lost: bool = False,
    cards: str = "either",
    speed: bool = False,
) -> Callable[[Change], Change]:
    """Enter a kind into the table."""

    def entered(change: Change) -> Change:
        KINDS[name] = Kind(name, change, sizes, cause, fine or clean, clean, lost, cards, speed)
        return change

    return entered
