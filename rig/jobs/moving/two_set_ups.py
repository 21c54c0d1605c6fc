"""One set-up against another on the move: what differs, as far as the cards tell."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.statistics.drawn import WithRange, drawn
from rig.jobs.moving.moving import MovingAnswers


@dataclass(frozen=True, slots=True, kw_only=True)
class Differences:
    """The other set-up less the first. rest: points, balance point at rest.  balance: (p,) points per phase.

    ends: (2,) points, rear and front end of the region.  width: (2,) mm, rear and front.  area: ratio.
    shared: whether both are states of one car, so that what is not known of it moves both alike and cancels.
    """

    rest: WithRange
    balance: WithRange
    ends: WithRange
    width: WithRange
    area: WithRange
    shared: bool


def differences(first: MovingAnswers, other: MovingAnswers) -> Differences:
    """What the other set-up does otherwise. Both answers must be to the same question, draws included."""
    ids = {first.card.id, other.card.id} - {""}
    shared = len(ids) < 2  # set-ups of one car, unless their cards say otherwise

    def paired(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
        return a, (b if shared else b[::-1])  # two cars: any order of the draws that is not the same

    def points(answers: MovingAnswers, value: FloatArray) -> FloatArray:
        return np.asarray(100.0 * value / answers.wheelbase)

    before, after = paired(
        points(first, first.ranges.many_balance[..., 0]), points(other, other.ranges.many_balance[..., 0])
    )
    ends = paired(points(first, first.reach.many.station), points(other, other.reach.many.station))
    width = paired(first.reach.many.width, other.reach.many.width)
    area = paired(first.reach.many.area, other.reach.many.area)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = drawn(other.region.area / np.float64(first.region.area), area[1] / area[0])
    rest = paired(points(first, first.reach.many.rest[:, 0]), points(other, other.reach.many.rest[:, 0]))
    return Differences(
        rest=drawn(
            points(other, other.region.rest[0]) - points(first, first.region.rest[0]),
            rest[1] - rest[0],
        ),
        balance=drawn(
            points(other, other.table.centre[:, 0]) - points(first, first.table.centre[:, 0]), after - before
        ),
        ends=drawn(
            points(other, np.array(other.region.station)) - points(first, np.array(first.region.station)),
            ends[1] - ends[0],
        ),
        width=drawn(1e3 * (np.array(other.region.width) - np.array(first.region.width)), 1e3 * (width[1] - width[0])),
        area=ratio,
        shared=shared,
    )
