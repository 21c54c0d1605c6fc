"""Corner weights of the car: from loads, or as typed or recorded, to what forecasts and the log hold."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from msgspec import structs

from analysis.base.arrays import FloatArray
from analysis.forecast.inputs import CarState
from analysis.statistics.estimate import DoubtPart, Estimate
from analysis.weighing.corner_weights import (
    CornerWeights,
    corner_weights,
    newtons_from_grams,
    square_newtons_from_grams,
)
from analysis.weighing.parts import PartMass, add_parts
from rig.base.errors import InputError
from rig.cards.agreement import notes_on
from rig.cards.chassis import share_compliance
from rig.cards.identity import car_changes, changes_in_words
from rig.cards.keys.car import CarCard
from rig.cards.keys.kinds_of_key import ScalesKind
from rig.cards.keys.test import Typed
from rig.cards.measures import MM, contact_place, contact_place_u
from rig.cards.mechanics import car_state, place_gravity
from rig.cards.read import CardSet
from rig.jobs.weighing.kitchen_scales import read_off_scales, scales_unsaid, weighed_once
from rig.jobs.weighing.weights_fit import Weighed, corners_against, refuse_weights, weights_notes
from rig.log.store import BenchLog
from rig.lookups.aside import standing
from rig.lookups.belongs import car_card, weighing_of, weighings_of, weighings_otherwise
from rig.lookups.cards_and_pivots import keep_cards
from rig.lookups.sources import MissingSourceError, cards_of
from rig.records.content import finite, four, matrix, pair
from rig.records.weighing import (
    WEIGHING,
    WEIGHING_MODEL,
    DoubtRow,
    EstimateRow,
    WeighingInputs,
    WeighingRecord,
    WeighingResult,
    WeightsRow,
)

CAR = 1
"""Place of the car card among the cards that `keep_cards` answers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """Corner weights. load, load_covariance: (4,) N and (4, 4) N² for the forecast.

    inputs, result: what a record of them holds.  remarks: to be told before any figure that rests on them.
    """

    weights: CornerWeights
    load: FloatArray
    load_covariance: FloatArray
    inputs: WeighingInputs
    result: WeighingResult
    remarks: tuple[str, ...] = ()

    @property
    def warnings(self) -> tuple[str, ...]:
        """What people should know beside the weights."""
        return self.result.warnings


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedWeighing(Weighing):
    """Corner weights that stand in the log."""

    record: WeighingRecord


def weigh_typed(cards: CardSet, log: BenchLog) -> RecordedWeighing:
    """Take the weights typed on the test card, and see to it that they stand in the log once."""
    typed = typed_weighing(cards)
    against = _weighed_otherwise(typed, cards, log)
    kept = written(typed, cards, log)
    return replace(kept, remarks=(*kept.remarks, *against))


def typed_weighing(cards: CardSet) -> Weighing:
    """The weights typed on the test card, read off other scales. Raises InputError when there are none."""
    typed = cards.test.typed
    if typed.weights_g is None:
        raise InputError(
            "there are no weights: no weighing of this car is in the log and the test card has none typed in",
            where=f"{cards.car.name}, typed.weights_g",
            remedy="Run: pivotbench weigh TEST.toml, or fill in the test card's line weights_g: [FL, FR, RL, RR]",
        )
    refuse_weights(typed, cards.car, cards.test.name)
    load_g = np.array(typed.weights_g)
    parts = read_off_scales(load_g, typed, reseat_g=cards.bench.pads.reseat_g)
    advice = [weighed_once(typed), *_scales_unsaid(cards, typed, load_g)]
    return weighed(
        cards, load_g, parts, inputs=WeighingInputs(source="typed", model=WEIGHING_MODEL), remarks=[], warnings=advice
    )


def _scales_unsaid(cards: CardSet, typed: Typed, load_g: FloatArray) -> list[str]:
    """What is said where the test card does not say which scales read its weights; nothing where it does."""
    if typed.weights_scales != "not said" or typed.weights_accuracy_pct == 0.0:
        return []

    def half_pct(scales: ScalesKind) -> float:
        said = structs.replace(typed, weights_scales=scales)
        parts = read_off_scales(load_g, said, reseat_g=cards.bench.pads.reseat_g)
        return weights_of(cards, load_g, list(parts)).front_pct.half_width

    return [scales_unsaid(half_pct("not said"), one=half_pct("one scale"), four=half_pct("four scales"))]


def known_weighing(cards: CardSet, log: BenchLog, *, before: int | None = None) -> Weighing:
    """The weights to forecast with: typed ones if the test card has them, else the weighing of this car in this state.

    before: number of the record (a push) that they are wanted for; what was weighed later does not change it.
    Its remarks hold what the cards, and the log, say against these weights and this push.
    Writes nothing. Raises InputError when there are none, or when the car card has changed since it was weighed.
    """
    named, odd = cards.choices.weighing, notes_on(cards.car, cards.test)
    if cards.test.typed.weights_g is not None and not named:
        typed = typed_weighing(cards)
        return replace(typed, remarks=(*typed.remarks, *_weighed_otherwise(typed, cards, log, before), *odd))
    found = weighing_of(cards.car, log, number=named, before=before)
    if found is None:
        return typed_weighing(cards)  # tells what is missing
    known = weighing_from(WEIGHING.of(found.record), cards)
    return replace(known, remarks=(*found.remarks, *_notes(known.weights, cards, known.inputs), *odd))


def whose_weights(weighing: Weighing, log: BenchLog) -> str:
    """Where weights come from, in words: the record with its day, and how the car was weighed then."""
    if not isinstance(weighing, RecordedWeighing):
        return "as typed on this test card"
    record, how = weighing.record, "on the pads"
    if weighing.inputs.source == "typed":
        try:
            how = f'typed on the test card "{cards_of(record, log).test.name}"'
        except MissingSourceError:
            how = "typed"
    return f"record {record.number} of {record.at[:10]}, {how}"


def _notes(
    weights: CornerWeights, cards: CardSet, inputs: WeighingInputs, load_g: FloatArray | None = None
) -> list[str]:
    """What car card and custom say against weights. load_g: (4,) g before parts were counted in, if known."""
    as_read = weights.load_g if load_g is None else load_g
    weighed = Weighed(load_g=as_read, total_u_g=weights.total_g.u, pushed_g=weights.total_g.value)
    return weights_notes(weighed, cards.car, typed=inputs.source == "typed")


def _weighed_otherwise(typed: Weighing, cards: CardSet, log: BenchLog, before: int | None = None) -> list[str]:
    """What a weighing of this car in this state in the log says against the typed weights, both sides.

    before: number of a record; what was weighed after it is not looked at.
    """
    for record in weighings_of(cards.car, log):
        if before is None or record.number < before:
            kept = weighing_from(record, cards).weights
            if contradiction := corners_against(typed.weights, kept, f"record {record.number} weighed this car"):
                return contradiction
    return []


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherWeights:
    """The weights of this car in another state. state: what differs then.  id, number: of the record of its weighing.

    load, load_covariance: (4,) N and (4, 4) N².
    """

    state: str
    id: str
    number: int
    load: FloatArray
    load_covariance: FloatArray


def weighed_otherwise(cards: CardSet, weighing: Weighing, log: BenchLog) -> tuple[OtherWeights, ...]:
    """Weights of this car in other states than the one a weighing is of, as they stand in the log. Writes nothing."""
    car = _car_of(cards, weighing, log)
    return tuple(weights_then(record, cards, weighing, log) for record in weighings_otherwise(car, log))


def weights_then(record: WeighingRecord, cards: CardSet, weighing: Weighing, log: BenchLog) -> OtherWeights:
    """The weights of a record of another state than the one a weighing is of."""
    then, found = car_card(record, log), weighing_from(record, cards)
    changes = [] if then is None else car_changes(_car_of(cards, weighing, log), then)
    return OtherWeights(
        state=changes_in_words(changes, most=len(changes)),  # all of them: no two states have the same words
        id=record.id,
        number=record.number,
        load=found.load,
        load_covariance=found.load_covariance,
    )


def _car_of(cards: CardSet, weighing: Weighing, log: BenchLog) -> CarCard:
    """The car as it was when it was weighed: a person may have named a weighing of another state."""
    then = car_card(weighing.record, log) if isinstance(weighing, RecordedWeighing) else None
    return cards.car if then is None else then


def written(weighing: Weighing, cards: CardSet, log: BenchLog) -> RecordedWeighing:
    """The weighing with its record: the one in the log that holds the same for this car card, else one made now."""
    if isinstance(weighing, RecordedWeighing):
        return weighing
    digests = keep_cards(log, cards)
    for record in standing(log, WEIGHING):
        if (
            record.bench == log.bench
            and digests[CAR] in record.cards
            and (record.inputs, record.result) == (weighing.inputs, weighing.result)
        ):
            return _recorded(weighing, record)
    return record_weighing(weighing, cards, log)


def weighing_from(record: WeighingRecord, cards: CardSet) -> RecordedWeighing:
    """A stored weighing, with the centre of gravity for the contact places on the card now."""
    load_g, gravity = np.array(record.result.corner_weights_g), record.result.gravity_m_s2
    weights = weights_of(cards, load_g, doubt_parts(record.result))
    return RecordedWeighing(
        weights=weights,
        load=newtons_from_grams(load_g, gravity=gravity),
        load_covariance=square_newtons_from_grams(weights.covariance, gravity=gravity),
        inputs=record.inputs,
        result=record.result,
        record=record,
    )


def weights_but_for(cause: str, weighing: Weighing, cards: CardSet) -> CornerWeights:
    """The corner weights of a weighing with one cause taken out of their uncertainty."""
    parts = [part for part in doubt_parts(weighing.result) if part.name != cause]
    return weights_of(cards, np.array(weighing.result.corner_weights_g), parts)


def doubt_parts(result: WeighingResult) -> list[DoubtPart]:
    """The causes of a stored weighing's uncertainty, g²."""
    return [
        DoubtPart(
            name=part.name,
            covariance=np.array(part.covariance_g2),
            dof=float("inf") if part.dof is None else part.dof,
        )
        for part in result.doubt
    ]


def weighed_car(cards: CardSet, weighing: Weighing) -> CarState:
    """The car of the cards with the loads of a weighing, for forecasts."""
    car = car_state(cards.car, cards.test, load=weighing.load, load_covariance=weighing.load_covariance)
    return replace(car, whole_patches=cards.whole_patches)


def car_as_it_stands(cards: CardSet, weighing: Weighing) -> CarState:
    """The same for what a push tells of it: its grip is that under the loads it stands with."""
    return replace(weighed_car(cards, weighing), sensitivity=None)


def as_pushed(
    cards: CardSet, load_g: FloatArray, parts: list[DoubtPart]
) -> tuple[FloatArray, list[DoubtPart], list[str]]:
    """Loads of the car as it is pushed, from those weighed and the parts listed on the car card; and a remark.

    load_g: (4,) g as weighed, FL, FR, RL, RR.
    """
    differing = cards.car.masses.parts
    if not differing:
        return load_g, parts, []
    corrected = add_parts(
        load_g,
        [PartMass(name=p.name, mass_g=p.mass_g, place=np.array([p.x_mm, p.y_mm]) * MM) for p in differing],
        contact_place(cards.car),
        compliance=share_compliance(cards.car),
    )
    listed = ", ".join(f"{p.name} {p.mass_g:+g} g" for p in differing)
    return (
        corrected.load_g,
        [*parts, *corrected.parts],
        [f"Counted in, since the car is pushed otherwise than it was weighed: {listed}"],
    )


def weights_of(
    cards: CardSet, load_g: FloatArray, parts: list[DoubtPart], *, model: int = WEIGHING_MODEL
) -> CornerWeights:
    """Corner weights with the centre of gravity for the contact places on the car card. load_g: (4,) g, FL to RR.

    model: as `rig.records.weighing.WeighingInputs` has it.
    """
    places_u, wheelbase_u = contact_place_u(cards.car), cards.car.geometry.wheelbase_mm_u * MM
    if model < 2:
        places_u, wheelbase_u = places_u + np.outer([wheelbase_u, wheelbase_u, 0.0, 0.0], [1.0, 0.0]), 0.0
    return corner_weights(load_g, parts, contact=contact_place(cards.car), contact_u=places_u, wheelbase_u=wheelbase_u)


def weighed(
    cards: CardSet,
    load_g: FloatArray,
    parts: Sequence[DoubtPart],
    *,
    inputs: WeighingInputs,
    remarks: Sequence[str],
    warnings: Sequence[str],
) -> Weighing:
    """A weighing, corrected for what is pushed otherwise. load_g: (4,) g as weighed.  parts: its uncertainty."""
    as_is, parts, counted = as_pushed(cards, load_g, list(parts))
    weights, gravity = weights_of(cards, as_is, parts), place_gravity(cards.bench)
    remarks = [*remarks, *_notes(weights, cards, inputs, load_g)]
    doubt = tuple(DoubtRow(name=p.name, covariance_g2=matrix(p.covariance), dof=finite(p.dof)) for p in parts)
    result = WeighingResult(
        **structs.asdict(weights_record(weights)),
        gravity_m_s2=gravity,
        doubt=doubt,
        warnings=(*remarks, *warnings, *counted),
    )
    return Weighing(
        weights=weights,
        load=newtons_from_grams(as_is, gravity=gravity),
        load_covariance=square_newtons_from_grams(weights.covariance, gravity=gravity),
        inputs=inputs,
        result=result,
        remarks=tuple(remarks),
    )


def record_weighing(
    weighing: Weighing, cards: CardSet, log: BenchLog, *, parents: Sequence[str] = (), files: Sequence[str] = ()
) -> RecordedWeighing:
    """Write a weighing into the log with its cards. files, parents: hashes and ids that it rests on."""
    record = log.record(
        WEIGHING,
        cards.car.name,
        inputs=weighing.inputs,
        result=weighing.result,
        cards=keep_cards(log, cards),
        files=files,
        parents=parents,
    )
    return _recorded(weighing, record)


def _recorded(weighing: Weighing, record: WeighingRecord) -> RecordedWeighing:
    return RecordedWeighing(
        weights=weighing.weights,
        load=weighing.load,
        load_covariance=weighing.load_covariance,
        inputs=record.inputs,
        result=record.result,
        remarks=weighing.remarks,
        record=record,
    )


def weights_record(weights: CornerWeights) -> WeightsRow:
    """Corner weights as a record holds them."""
    return WeightsRow(
        corner_weights_g=four(weights.load_g),
        corner_interval_g=tuple(estimate.interval for estimate in weights.corner_g),
        share_pct=four(weights.share_pct),
        total_g=_row(weights.total_g),
        front_pct=_row(weights.front_pct),
        left_pct=_row(weights.left_pct),
        diagonal_fl_rr_pct=_row(weights.diagonal_fl_rr_pct),
        diagonal_fr_rl_pct=_row(weights.diagonal_fr_rl_pct),
        cross_g=_row(weights.cross_g),
        cg_m=None if weights.cg is None else pair(weights.cg),
        cg_x_m=None if weights.cg_x is None else _row(weights.cg_x),
        cg_y_m=None if weights.cg_y is None else _row(weights.cg_y),
    )


def _row(estimate: Estimate) -> EstimateRow:
    return EstimateRow(value=estimate.value, u=estimate.u, interval=estimate.interval)
