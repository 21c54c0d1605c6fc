"""Plans: the standard set of pushes, and a series of set-ups in an order that is random where it may be."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from analysis.base.errors import InputError

Setup = Mapping[str, str]
"""Factor -> level, as on the cards: {"front tyres": "soft", "ballast": "rear"}."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPush:
    """One push to make. number: from 1.  side: "right" or "left", where the finger touches.

    board_turn_deg: how the floor board lies, 0 or 180.  recorded: False for run-in pushes.
    block: visits to one set-up are one block.  role: "run-in", "baseline", "test" or "baseline again".
    do_first: what to change before this push, in words.
    """

    number: int
    block: int
    setup: Setup
    role: str
    side: str
    station_pct: float
    board_turn_deg: int
    recorded: bool
    do_first: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Repetition:
    """How often. repeats: recorded pushes of each visit to a set-up, an even number.  run_in: pushes before them.

    rounds: how often the whole series is gone through, each time in a new order.
    """

    repeats: int = 4
    run_in: int = 2
    rounds: int = 1


USUALLY = Repetition()
BOTH_PLACES = (0, 1, 1, 0)
"""Of two places, in the order of four pushes whose sides alternate and whose board is turned after two."""


def plan_series(
    setups: Sequence[Setup],
    *,
    rng: np.random.Generator,
    slow: Sequence[str] = (),
    baseline: Setup | None,
    station_pct: float | tuple[float, float] = 50.0,
    often: Repetition = USUALLY,
) -> tuple[PlannedPush, ...]:
    """A series over several set-ups, in random order, but slow factors change as rarely as they can.

    slow: factors that take long to change (glued tyres, springs), slowest first: their levels come in random
        order, and all set-ups of one level are done, in random order, before the next. Within a level of the
        slowest, the next slowest is treated alike, and so on.
    baseline: a set-up that is pushed first and again at the end, to show drift; None for none.
    station_pct: where to push; two places, on both sides of the balance point, are changed so that neither goes with a
        side or a turn of the board.
    Raises InputError when a set-up lacks a factor that others have, or a slow factor is unknown.
    """
    repeats, run_in, rounds = often.repeats, often.run_in, often.rounds
    if not setups or repeats < 2 or repeats % 2 or run_in < 0 or rounds < 1:
        raise InputError(
            "needs a set-up and an even number of recorded pushes",
            where="series",
            remedy="Give at least one set-up and 2, 4, 6 ... repeats",
        )
    factors = set(setups[0])
    if any(set(one) != factors for one in [*setups, *([] if baseline is None else [baseline])]):
        raise InputError(
            "the set-ups do not name the same factors",
            where="series",
            remedy="Give every set-up a level for every factor",
        )
    unknown = [name for name in slow if name not in factors]
    if unknown:
        raise InputError(
            f'"{unknown[0]}" is no factor of this series',
            where="slow factors",
            remedy=f"Choose from {', '.join(sorted(factors))}",
        )
    visits: list[tuple[str, Setup]] = [] if baseline is None else [("baseline", baseline)]
    for _ in range(rounds):
        visits += [("test", one) for one in _ordered(list(setups), list(slow), rng)]
    if baseline is not None:
        visits.append(("baseline again", baseline))
    places = station_pct if isinstance(station_pct, tuple) else (station_pct, station_pct)
    plan: list[PlannedPush] = []
    before: Setup | None = None
    turned = 0
    for block, (role, setup) in enumerate(visits, start=1):
        changes = tuple(_told(before, setup))
        first_side = int(rng.integers(2))
        for push in range(-run_in, repeats):
            board = turned if push < repeats // 2 else 180 - turned
            steps = changes if push == -run_in else ()
            if push == repeats // 2:
                steps = (*steps, "turn the floor board by 180°")
            plan.append(
                PlannedPush(
                    number=len(plan) + 1,
                    block=block,
                    setup=setup,
                    role="run-in" if push < 0 else role,
                    side=("right", "left")[(push + first_side) % 2],
                    station_pct=places[BOTH_PLACES[push % 4]],
                    board_turn_deg=board,
                    recorded=push >= 0,
                    do_first=steps,
                )
            )
        turned = 180 - turned
        before = setup
    return tuple(plan)


def full_factorial(levels: Mapping[str, Sequence[str]]) -> tuple[Setup, ...]:
    """Every combination of the levels of every factor."""
    return tuple(dict(zip(levels, one, strict=True)) for one in product(*levels.values()))


def _ordered(setups: list[Setup], slow: list[str], rng: np.random.Generator) -> list[Setup]:
    if not slow:
        return [setups[i] for i in rng.permutation(len(setups))]
    name, rest = slow[0], slow[1:]
    levels = list(dict.fromkeys(one[name] for one in setups))
    order: list[Setup] = []
    for i in rng.permutation(len(levels)):
        order += _ordered([one for one in setups if one[name] == levels[i]], rest, rng)
    return order


def _told(before: Setup | None, after: Setup) -> list[str]:
    if before is None:
        return [f"set {name} to {level}" for name, level in after.items()]
    return [f"change {name} from {before[name]} to {level}" for name, level in after.items() if before[name] != level]
