"""States of one car with its ballast moved, as the load sensitivity of its tyres is read from them."""

from analysis.balance.pooled import PooledBalance
from analysis.moving.load_sensitivity import BalanceAtLoads
from rig.base.errors import InputError
from rig.cards.identity import same_id
from rig.cards.read import CardSet
from rig.jobs.weighing.weights import Weighing


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
