"""One set-up against another on the move: what differs, as far as the cards tell."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.statistics.drawn import WithRange, drawn
from rig.jobs.moving.moving import MovingAnswers
from rig.jobs.moving.reach import RegionChange, region_change


@dataclass(frozen=True, slots=True, kw_only=True)
class Differences:
    """The other set-up less the first. region: at rest, its ends and widths.  balance: (p,) points per phase.

    shared: whether both are states of one car, so that what is not known of it moves both alike and cancels.
    """

    region: RegionChange
    balance: WithRange
    shared: bool


def differences(first: MovingAnswers, other: MovingAnswers) -> Differences:
    """What the other set-up does otherwise. Both answers must be to the same question, draws included."""
    ids = {first.card.id, other.card.id} - {""}
    shared = len(ids) < 2  # set-ups of one car, unless their cards say otherwise

    def points(answers: MovingAnswers, value: FloatArray) -> FloatArray:
        return np.asarray(100.0 * value / answers.wheelbase)

    before = points(first, first.ranges.many_balance[..., 0])
    after = points(other, other.ranges.many_balance[..., 0])
    if not shared:  # two cars: any order of the draws that is not the same
        after = after[::-1]
    return Differences(
        region=region_change(first.reached, other.reached, shared=shared),
        balance=drawn(
            points(other, other.table.centre[:, 0]) - points(first, first.table.centre[:, 0]), after - before
        ),
        shared=shared,
    )
