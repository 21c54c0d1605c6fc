"""What in the log belongs to this car on the move: tilted pads, how its tyres lose grip with load."""

from dataclasses import dataclass
from typing import Generic, TypeVar

import msgspec
import numpy as np

from analysis.statistics.quantiles import NORMAL_95
from rig.cards.identity import car_changes, changes_in_words, same_id
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard
from rig.cards.mechanics import mean_load_sensitivity
from rig.cards.read import CardSet
from rig.log.store import BenchLog
from rig.lookups.aside import standing
from rig.lookups.belongs import car_card, test_card
from rig.records.moving import (
    LOAD_SENSITIVITY,
    TILTED_PADS,
    LoadSensitivityInputs,
    LoadSensitivityResult,
    TiltInputs,
    TiltResult,
)
from rig.records.record import Record

_RecordT = TypeVar("_RecordT")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found(Generic[_RecordT]):
    """The newest record that belongs to the car, or None; and what to say of those that do not any more."""

    record: _RecordT | None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltedPads(Found[Record[TiltInputs, TiltResult]]):
    """read_on: the car card then, where bars or springs have changed since, otherwise None.  springs: whether springs
    or what carries them have, and not bars, dampers and travel alone.
    """

    read_on: CarCard | None = None
    springs: bool = False


def tilted_pads_of(car: CarCard, log: BenchLog) -> TiltedPads:
    """The newest reading on tilted pads of this car as it is loaded now, on this log's own bench."""
    for record in reversed(standing(log, TILTED_PADS)):
        before = car_card(record, log)
        if before is None or not same_id(before, car) or record.bench != log.bench:
            continue
        changes = car_changes(before, msgspec.structs.replace(car, name=before.name))  # a set-up may have its own
        if changes or before.chassis is None or car.chassis is None:
            why = changes_in_words(changes) if changes else "its springs were not on it, or are not now"
            remark = (
                f"The tilted pads of record {record.number} are not gone by: the car card has changed since ({why})"
            )
            return TiltedPads(record=None, remarks=(remark,))
        if _springs(before) == _springs(car):
            return TiltedPads(record=record)
        return TiltedPads(record=record, read_on=before, springs=_carried(before) != _carried(car))
    return TiltedPads(record=None)


def load_sensitivity_of(
    car: CarCard, test: TestCard, log: BenchLog
) -> Found[Record[LoadSensitivityInputs, LoadSensitivityResult]]:
    """The newest measured load sensitivity of this car's tyres on this floor."""
    for record in reversed(standing(log, LOAD_SENSITIVITY)):
        before, then = car_card(record, log), test_card(record, log)
        if before is None or then is None or not same_id(before, car) or record.bench != log.bench:
            continue
        was, now = _tyres(then), _tyres(test)
        differs = [f"{name} {a} → {b}" for name, a, b in zip(_SUBJECT, was, now, strict=True) if a and b and a != b]
        if not differs:
            return Found(record=record)
        remark = f"The load sensitivity of record {record.number} is not gone by: {', '.join(differs)}"
        return Found(record=None, remarks=(remark,))
    return Found(record=None)


def tyres_fall(cards: CardSet, log: BenchLog) -> tuple[float, float, tuple[str, ...]]:
    """Load sensitivity, its standard uncertainty, and what to say first of where it comes from."""
    found = load_sensitivity_of(cards.car, cards.test, log)
    if found.record is None:
        return (*mean_load_sensitivity(cards.car), found.remarks)
    q, q_u = float(np.clip(found.record.result.q, 0.0, 0.99)), found.record.result.q_u
    remark = (
        f"Load sensitivity {q:.2f} ± {NORMAL_95 * q_u:.2f} as measured, record {found.record.number}, not the card's"
    )
    return q, q_u, (*found.remarks, remark)


_SUBJECT = ("front tyres", "rear tyres", "floor")


def _tyres(test: TestCard) -> tuple[str, str, str]:
    conditions = test.conditions
    return conditions.compound_front.strip(), conditions.compound_rear.strip(), conditions.surface.strip()


def _carried(car: CarCard) -> object:
    """Springs and what carries them, without bars, dampers and travel."""
    section = car.chassis
    axles = () if section is None else (section.front, section.rear)
    return [
        (one.spring_n_per_mm, one.motion_ratio, one.roll_centre_mm, one.tyre_n_per_mm, one.unsprung_g) for one in axles
    ]


def _springs(car: CarCard) -> object:
    """What shares out load, without what the tyres do with it."""
    section = car.chassis
    return None if section is None else msgspec.structs.replace(section, load_sensitivity=0.1, load_sensitivity_u=0.1)
