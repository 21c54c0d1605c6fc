"""Grip along over grip across of one axle's tyres, from pulls both ways, for the test card."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.grip.along import AlongOverAcross, PulledBothWays, along_over_across
from analysis.grip.bench_tests import mean_of_pulls
from analysis.weighing.corner_weights import newtons_from_grams
from rig.cards.measures import MM, wheelbase
from rig.cards.mechanics import place_gravity, rolling_over_load
from rig.cards.read import CardSet
from rig.jobs.weighing.bench_figures import refuse_pulls
from rig.jobs.weighing.weights import Weighing, written
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.grip import GRIP_ALONG, GripAlongInputs, GripAlongResult
from rig.records.record import Record


@dataclass(frozen=True, slots=True, kw_only=True)
class PullsBothWays:
    """Repeats, N. way: in which the car was pulled lengthwise.  string_mm, string_mm_u: height over the floor."""

    part: Literal["front", "rear"]
    along: Sequence[float]
    across: Sequence[float]
    way: Literal["forwards", "backwards"] = "forwards"
    string_mm: float = 10.0
    string_mm_u: float = 3.0


def measure_along(
    cards: CardSet, log: BenchLog, weighing: Weighing, test: PullsBothWays
) -> tuple[AlongOverAcross, Record[GripAlongInputs, GripAlongResult]]:
    """What pulls of one axle both ways say, written down. Raises InputError for pulls that cannot be."""
    front = test.part == "front"
    here, there = ([0, 1], [2, 3]) if front else ([2, 3], [0, 1])
    gravity = place_gravity(cards.bench)
    load, other = (
        float(newtons_from_grams(weighing.weights.load_g[some].sum(), gravity=gravity)) for some in (here, there)
    )
    pulls = []
    for forces in (test.along, test.across):
        refuse_pulls(forces, load)
        pulls.append(mean_of_pulls(np.asarray(forces, dtype=float)))
    (along, along_u), (across, across_u) = pulls
    rolling, rolling_u = rolling_over_load(cards.car, cards.test, "rear" if front else "front", other)
    found = along_over_across(
        PulledBothWays(
            along=along,
            along_u=along_u,
            across=across,
            across_u=across_u,
            load=load,
            other=other,
            gains=1 if front == (test.way == "forwards") else -1,
            string=test.string_mm * MM,
            string_u=test.string_mm_u * MM,
            rolling=rolling,
            rolling_u=rolling_u,
            wheelbase=wheelbase(cards.car),
        )
    )
    record = log.record(
        GRIP_ALONG,
        cards.car.name,
        inputs=GripAlongInputs(
            part=test.part,
            along_N=tuple(test.along),
            across_N=tuple(test.across),
            way=test.way,
            string_mm=test.string_mm,
            string_mm_u=test.string_mm_u,
        ),
        result=GripAlongResult(part=test.part, ratio=found.ratio, ratio_u=found.u, parts=dict(found.parts)),
        cards=keep_cards(log, cards),
        parents=[written(weighing, cards, log).record.id],
    )
    return found, record
