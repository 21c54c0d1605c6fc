"""States of one car with its ballast moved, as the load sensitivity of its tyres is read from them."""

from collections.abc import Sequence

from analysis.base.gravity import STANDARD_GRAVITY
from analysis.moving.load_sensitivity import BalanceAtLoads, LoadSensitivity
from analysis.set_ups.pooled import PooledBalance
from analysis.statistics.quantiles import NORMAL_95
from rig.base.errors import InputError
from rig.cards.identity import same_id
from rig.cards.read import CardSet
from rig.jobs.weighing.weights import Weighing
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.moving import LOAD_SENSITIVITY, LoadedState, LoadSensitivityInputs, LoadSensitivityResult
from rig.records.record import Record


def balance_at_loads(
    cards: CardSet, first: CardSet, weighing: Weighing, seen: PooledBalance | None, *, where: str
) -> BalanceAtLoads:
    """One state: where its pushes balance, and what its axles carry. first: the cards that all must be of one car with.

    Raises InputError for another car or floor, or a state that was not pushed.
    """
    if not same_id(cards.car, first.car):
        raise InputError(
            f'"{cards.car.name}" is another car than "{first.car.name}"',
            where=where,
            remedy="Name test cards of one car, ballast moved between them",
        )
    if cards.test.conditions.surface != first.test.conditions.surface:
        raise InputError(
            "this card was pushed on another floor", where=where, remedy="Push every state on the same floor"
        )
    if seen is None:
        raise InputError(
            "no push of this card tells a balance point", where=where, remedy="Film it: pivotbench push TEST.toml"
        )
    return BalanceAtLoads(
        balance=seen.pct / 100,
        u=seen.u / 100,
        front=float(weighing.load[:2].sum()),
        rear=float(weighing.load[2:].sum()),
    )


def record_load_sensitivity(
    found: LoadSensitivity,
    states: Sequence[BalanceAtLoads],
    cards: CardSet,
    log: BenchLog,
    *,
    pulls: Sequence[tuple[float, float]] = (),
) -> Record[LoadSensitivityInputs, LoadSensitivityResult]:
    """Write down what pushes with moved ballast, or pulls, said of the tyres. cards: of the first state, or of the
    tyres that were pulled.  pulls: (load g, force N) each, where there are no states.
    """
    grams = 1e3 / STANDARD_GRAVITY
    rows = tuple(
        LoadedState(
            balance_pct=100 * one.balance,
            balance_pct_u=100 * one.u,
            front_g=grams * one.front,
            rear_g=grams * one.rear,
        )
        for one in states
    )
    low, high = found.q.interval
    return log.record(
        LOAD_SENSITIVITY,
        cards.car.name,
        inputs=LoadSensitivityInputs(states=rows, pulls=tuple(pulls)),
        result=LoadSensitivityResult(
            q=found.q.value,
            q_u=found.q.half_width / NORMAL_95,
            interval=(low, high),
            told_from_none=found.from_none,
            widened=found.widened,
        ),
        cards=keep_cards(log, cards),
    )
