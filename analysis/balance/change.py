"""Two set-ups, pushed once or often: did the balance point move, which way, by how much."""

from collections.abc import Collection, Sequence

from analysis.balance.results import BalanceChange, GripMoved, MeasuredBalance, WeightsMoved

PUSH_SCATTER = 0.5
"""Points: scatter from push to push (2 % of the front-to-rear ratio; from memory) until four repeats measure it."""


def what_changed(
    a: Sequence[MeasuredBalance],
    b: Sequence[MeasuredBalance],
    *,
    shared: Collection[str] = (),
    scatter: float = PUSH_SCATTER,
    weights: WeightsMoved | None = None,
    grip: GripMoved | None = None,
) -> BalanceChange:
    """The change from A to B.

    a, b: balances of repeats (at least one each).  shared: names of causes (`BalanceCause.name`) that all the pushes
    share, so that they cancel as far as their effects are alike; all others but the pushes' own are one for A, one
    for B.  scatter: points, from push to push.  weights, grip: what weighings and grip measurements say.
    Raises InputError without a push on either side, or for two wheelbases more than 0.1 % apart.
    """
    raise NotImplementedError


def shared_causes(
    *, same_car_card: bool, same_weighing: bool, same_tyres: bool, same_plate: bool, same_camera: bool, same_notch: bool
) -> frozenset[str]:
    """Names of the causes that two pushes share, from what stayed as it was between them."""
    raise NotImplementedError


def change_sentences(change: BalanceChange, *, wheelbase: float) -> tuple[str, ...]:
    """The answer for people, the first sentence first: "The balance moved forward by 2.6 ± 0.9 points (7 mm; ...)"."""
    raise NotImplementedError
