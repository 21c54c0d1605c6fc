"""Records of several pushes: effects of a series, a ladder of tyres."""

from rig.records.content import Content, Pair, Words
from rig.records.record import Kind


class SeriesInputs(Content, frozen=True, kw_only=True):
    """plan: the table as it was filled in, CSV."""

    plan: str


class EffectRow(Content, frozen=True, kw_only=True):
    """What going from the reference to a level did. clear: beyond chance, by the finding where there is one.

    change_per_m: of turn per travel.  From finding on as a change of two set-ups has it, in points of the wheelbase,
    forward positive; None in older records, and where a push gives no balance point.
    """

    factor: str
    level: str
    reference: str
    change_per_m: float
    interval_per_m: Pair
    clear: bool
    finding: str | None = None
    moved_pct: float | None = None
    interval_pct: Pair | None = None
    bound_pct: float | None = None
    more_pushes: int | None = None
    sentences: Words = ()


class EffectsResult(Content, frozen=True, kw_only=True):
    """push_u_per_m, block_u_per_m: scatter between pushes, between blocks; push_u_pct, block_u_pct: in points.

    drift: in words, None when there is none.  no_points: why there are no balance points; "" where there are.
    """

    effects: tuple[EffectRow, ...]
    push_u_per_m: float
    block_u_per_m: float
    pushes: int
    drift: str | None = None
    warnings: Words
    push_u_pct: float | None = None
    block_u_pct: float | None = None
    no_points: str = ""


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
