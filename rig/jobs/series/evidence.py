"""Pushes and grip measurements from the log, as evidence for statistics."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.pivot import PivotEstimate
from analysis.grip.combine import GripMeasurement
from analysis.grip.conditions import GripNotes, differences
from analysis.grip.inference import PushEvidence
from rig.base.errors import InputError
from rig.cards.mechanics import push_state
from rig.cards.read import CardSet
from rig.jobs.pushing.finger import pushed_as_seen
from rig.jobs.weighing.weigh import Weighing, known_weighing, weighed_car
from rig.log.cards_and_pivots import estimate_from
from rig.log.sources import finger_row, push_row
from rig.log.store import BenchLog
from rig.records.record import AnyRecord as Record


@dataclass(frozen=True, slots=True, kw_only=True)
class PushOnRecord:
    """One push that was made and measured. turn: rad."""

    cards: CardSet
    weighing: Weighing
    measured: PivotEstimate
    turn: float
    record: Record

    @property
    def evidence(self) -> PushEvidence:
        """For the backwards inference."""
        car = weighed_car(self.cards, self.weighing)
        return PushEvidence(
            car=car,
            push=push_state(self.cards.car, self.cards.test),
            measured=self.measured,
            turn=abs(self.turn) if self.measured.finding == "pivot" else None,
        )


def notes_of(cards: CardSet) -> GripNotes:
    """The conditions on a test card as they belong to a grip factor."""
    c = cards.test.conditions
    compound = " / ".join(filter(None, [c.compound_front, c.compound_rear]))
    return GripNotes(
        compound=compound,
        runs=c.runs,
        cleaning=c.cleaning,
        treatment=c.treatment,
        treatment_minutes=c.treatment_minutes,
        surface=c.surface,
        dust=c.dust,
        floor_temperature_c=c.floor_temperature_c,
        air_temperature_c=c.air_temperature_c,
        humidity_pct=c.humidity_pct,
        rest_minutes=c.rest_minutes,
    )


def measured_push(cards: CardSet, log: BenchLog) -> PushOnRecord:
    """The first push of the newest measured clip of a test card. Raises InputError when it has none."""
    record = log.latest("push", cards.test.name)
    if record is None:
        raise InputError(
            "no push of this test was measured", where=cards.test.name, remedy="Run: pivotbench measure CLIP TEST.toml"
        )
    row = push_row(record, 1)
    return PushOnRecord(
        cards=pushed_as_seen(cards, finger_row(record, 1), 1),
        weighing=known_weighing(cards, log),
        measured=estimate_from(row["pivot"]),
        turn=float(np.radians(row["turn_deg"])),
        record=record,
    )


def measured_pushes(sets: Sequence[CardSet], log: BenchLog) -> list[PushOnRecord]:
    """The newest measured push of each test card."""
    return [measured_push(cards, log) for cards in sets]


def told_apart(sets: Sequence[CardSet]) -> list[str]:
    """What differs in the conditions of tests that are compared, in sentences."""
    said: list[str] = []
    for other in sets[1:]:
        said += [
            f"{sets[0].test.name} / {other.test.name}: {text}"
            for text in differences(notes_of(sets[0]), notes_of(other))
        ]
    return list(dict.fromkeys(said))


def grip_record(measurement: GripMeasurement) -> dict[str, object]:
    """A grip measurement as plain JSON."""
    return {
        "quantity": measurement.quantity,
        "value": measurement.value,
        "relative_u": measurement.relative_u,
        "method": measurement.method,
        "state": measurement.state,
        "front_weight": measurement.front_weight,
        "shared": dict(measurement.shared),
    }


def stored_grips(cards: CardSet, log: BenchLog) -> list[GripMeasurement]:
    """All grip measurements of this car in the log."""
    return [
        GripMeasurement(
            quantity=r["quantity"],
            value=r["value"],
            relative_u=r["relative_u"],
            method=r["method"],
            state=r["state"],
            front_weight=r["front_weight"],
            shared=r.get("shared", {}),
        )
        for r in (record.result for record in log.records(kind="grip", title=cards.car.name))
    ]
