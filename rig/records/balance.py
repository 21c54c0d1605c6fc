"""Records of the balance point: what one push says of it, and what a change between two set-ups did."""

from rig.records.content import Content, Pair, Triple, Words
from rig.records.record import Kind


class BalanceInputs(Content, frozen=True, kw_only=True):
    """push_number: of the push in its clip, from 1.

    model: what the balance by weights and grip took into account, as `rig.jobs.pushing.balance` numbers it.
    """

    push_number: int
    model: int = 1


class SawRow(Content, frozen=True, kw_only=True):
    """What was seen, as in `analysis.balance.results.NoseAndTail`."""

    saw: str
    nose_mm: float
    tail_mm: float
    side: int
    ratio: float
    interval: Pair


class CauseRow(Content, frozen=True, kw_only=True):
    """What one cause does to the balance point. effect: points for one standard uncertainty, signed."""

    name: str
    effect: float
    number: int = 0
    own: bool = False


class BalanceRow(Content, frozen=True, kw_only=True):
    """The balance point by a push, as in `analysis.balance.results.MeasuredBalance`. kappa: 1/m.  wheelbase: m."""

    pushed_pct: float
    kappa: float
    wheelbase: float
    pct: float | None = None
    u: float | None = None
    interval_pct: Pair | None = None
    axle: str | None = None
    odds: float | None = None
    bounds_pct: Pair | None = None
    causes: tuple[CauseRow, ...]
    distance: float | None = None
    next_push_pct: float | None = None
    reason: str = ""


class ByWeightsRow(Content, frozen=True, kw_only=True):
    """The balance point by weights and grip, per cent of the wheelbase.

    front_weight_pct, sensitivity: what it went by, None where that was not kept yet.
    """

    pct: float
    u: float
    interval_pct: Pair
    front_weight_pct: float | None = None
    sensitivity: float | None = None


class FingerFoundRow(Content, frozen=True, kw_only=True):
    """Whether the finger slid or stuck, read from the clip."""

    found: str
    odds: float
    reason: str


class ReconciledRow(Content, frozen=True, kw_only=True):
    """A single mistake that would bring measured and forecast together. odds: to 1.

    weighing, number: id of the record whose weights would do so, and its number in the log of the bench that wrote it.
    """

    name: str
    odds: float
    weighing: str = ""
    number: int | None = None


class BalanceResult(Content, frozen=True, kw_only=True):
    """As in `rig.jobs.pushing.balance.PushAnswer`. end: m, m, rad, car axes of the start."""

    number: int
    pushed_pct: float
    side: int
    blocked: tuple[bool, bool]
    wheelbase: float
    saw: SawRow
    end: Triple
    balance: BalanceRow | None = None
    by_weights: ByWeightsRow | None = None
    finger: FingerFoundRow | None = None
    verdict: str | None = None
    swung_mm: float | None = None
    forecast_mm: float | None = None
    would_fit: tuple[ReconciledRow, ...] = ()
    remarks: Words = ()


class ChangeInputs(Content, frozen=True, kw_only=True):
    """Numbers of the records of the clips that were pooled for either set-up.

    model: how what the weights explain was worked out, as `rig.jobs.pushing.balance` numbers the balance by weights.
    """

    a: tuple[int, ...]
    b: tuple[int, ...]
    model: int = 1


class MovedRow(Content, frozen=True, kw_only=True):
    """Points of the wheelbase, forward positive."""

    value: float
    u: float
    interval: Pair


class ChangeResult(Content, frozen=True, kw_only=True):
    """As in `analysis.balance.results.BalanceChange`. notes: what differs beside the change.

    sentences: the answer as it was shown, the finding first.
    """

    finding: str
    moved: MovedRow | None = None
    bound: float | None = None
    before: Pair | None = None
    after: Pair | None = None
    explained_by_weights: MovedRow | None = None
    left_for_tyres: MovedRow | None = None
    front_grip_up: Pair | None = None
    tyres_agree: str | None = None
    parts: tuple[tuple[str, float], ...] = ()
    u_without_sharing: float | None = None
    more_pushes: int | None = None
    target: float
    pushes: tuple[int, int]
    reason: str = ""
    warnings: Words = ()
    notes: Words = ()
    sentences: Words


BALANCE = Kind("balance", BalanceInputs, BalanceResult)
CHANGE = Kind("change", ChangeInputs, ChangeResult)
