"""Measured and forecast disagree: which single mistake would bring them together."""

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.balance.results import Reconciled, TurnSeen
from analysis.forecast.inputs import CarState, PushState


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistake:
    """One thing that may have gone wrong: car and push as they would then have been, or the turn as it would be seen.

    name, sentence: as in `Reconciled`.  seen: None keeps what the clip shows.
    """

    name: str
    sentence: str
    car: CarState
    push: PushState
    seen: TurnSeen | None = None


def usual_mistakes(
    car: CarState, push: PushState, seen: TurnSeen, *, other_weights: Sequence[tuple[str, CarState]] = ()
) -> tuple[Mistake, ...]:
    """What commonly goes wrong, worked out for this car and push.

    other_weights: (name of the state, the car with its weights), of other states of the car that were weighed.
    """
    raise NotImplementedError


def what_would_reconcile(
    car: CarState, push: PushState, seen: TurnSeen, mistakes: Sequence[Mistake]
) -> tuple[Reconciled, ...]:
    """All mistakes, the likeliest first. Each stands alone: no two are combined."""
    raise NotImplementedError
