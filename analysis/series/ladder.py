"""Two ready experiments: the grip ladder (only the front pair is swapped) and the hidden change."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.base.errors import InputError
from analysis.grip.conditions import GripNotes, differences
from analysis.statistics.quantiles import COVERAGE, NORMAL_95, coverage_factor


@dataclass(frozen=True, slots=True, kw_only=True)
class LadderEntry:
    """One tyre pair on the front of the reference car. log_ratio: of front over rear grip, with its u.

    common_u: the part of u that all pairs share (loads, contact places, ruler), as in one car on one bench.
    """

    name: str
    log_ratio: float
    log_u: float
    common_u: float = 0.0
    notes: GripNotes = field(default_factory=GripNotes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One tyre pair in the ranking. grip: over that of the reference pair, with its 95 % interval.

    ranks: best and worst rank that the intervals of differences leave open (1 is the most grip).
    """

    name: str
    grip: float
    interval: tuple[float, float]
    ranks: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    """Most grip first. sentence: for people.  warnings: what differed between the tests."""

    rungs: tuple[Rung, ...]
    reference: str
    sentence: str
    warnings: tuple[str, ...]


def grip_ladder(entries: Sequence[LadderEntry]) -> Ladder:
    """Rank tyre pairs by grip on this floor today. The rear tyres are the same throughout, so they cancel, and
    so does what all tests share.

    The grip of the first pair is 1.
    Differences of two pairs are told apart at the 95 % level, corrected for the number of pairs (Bonferroni).
    Raises InputError for fewer than two pairs or two of one name.
    """
    names = [one.name for one in entries]
    if len(entries) < 2 or len(set(names)) < len(names):
        raise InputError(
            "needs at least two tyre pairs with different names",
            where="grip ladder",
            remedy="Test one pair after another, and the first one again at the end under its own name",
        )
    log = np.array([one.log_ratio for one in entries])
    own = np.array([max(one.log_u**2 - one.common_u**2, 0.0) for one in entries])
    pairs = len(entries) * (len(entries) - 1) / 2
    sure = coverage_factor(dof=math.inf, coverage=1.0 - (1.0 - COVERAGE) / pairs)
    rungs = []
    for i in np.argsort(-log, kind="stable"):
        u = float(np.sqrt(own[i] + own[0])) if i != 0 else 0.0
        step = float(log[i] - log[0])
        apart = sure * np.sqrt(own + own[i])
        better = int(np.sum(log - log[i] > apart))
        worse = int(np.sum(log[i] - log > apart))
        rungs.append(
            Rung(
                name=names[i],
                grip=float(np.exp(step)),
                interval=(float(np.exp(step - NORMAL_95 * u)), float(np.exp(step + NORMAL_95 * u))),
                ranks=(1 + better, len(entries) - worse),
            )
        )
    sure_places = [one for one in rungs if one.ranks[0] == one.ranks[1]]
    top = rungs[0]
    sentence = (
        f"{top.name} grips most"
        if top.ranks == (1, 1)
        else f"{top.name} came out on top, but {_others(rungs)} cannot be told from it"
    )
    sentence += f"; {len(sure_places)} of {len(rungs)} places are certain"
    notes = [
        difference
        for one in entries[1:]
        for difference in differences(entries[0].notes, one.notes)
        if not difference.startswith("compound")
    ]
    return Ladder(rungs=tuple(rungs), reference=names[0], sentence=sentence, warnings=tuple(dict.fromkeys(notes)))


def _others(rungs: Sequence[Rung]) -> str:
    return " and ".join(one.name for one in rungs[1:] if one.ranks[0] == 1)
