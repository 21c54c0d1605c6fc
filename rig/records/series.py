"""Records of several pushes: effects of a series, a ladder of tyres."""

from rig.records.content import Content, Pair, Words
from rig.records.record import Kind


class SeriesInputs(Content, frozen=True, kw_only=True):
    """plan: the table as it was filled in, CSV."""

    plan: str


class EffectRow(Content, frozen=True, kw_only=True):
    """Change of turn per travel from the reference to a level. clear: beyond chance."""

    factor: str
    level: str
    reference: str
    change_per_m: float
    interval_per_m: Pair
    clear: bool


class EffectsResult(Content, frozen=True, kw_only=True):
    """push_u_per_m, block_u_per_m: scatter between pushes, between blocks. drift: in words, None when there is none."""

    effects: tuple[EffectRow, ...]
    push_u_per_m: float
    block_u_per_m: float
    pushes: int
    drift: str | None = None
    warnings: Words


class LadderInputs(Content, frozen=True, kw_only=True):
    """tests: names of the test cards."""

    tests: Words


class RungRow(Content, frozen=True, kw_only=True):
    """One pair of tyres. ranks: from and to."""

    name: str
    grip: float
    interval: Pair
    ranks: tuple[int, int]


class LadderResult(Content, frozen=True, kw_only=True):
    """From the grippiest down."""

    rungs: tuple[RungRow, ...]
    sentence: str


SERIES = Kind("series", SeriesInputs, EffectsResult)
LADDER = Kind("ladder", LadderInputs, LadderResult)
