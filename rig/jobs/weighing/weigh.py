"""Weigh the car: from the pads, or from weights typed on the test card."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.forecast.inputs import CarState
from analysis.statistics.estimate import DoubtPart, Estimate
from analysis.weighing.corner_weights import CornerWeights, corner_weights, newtons_from_grams, typed_loads
from analysis.weighing.loads import Loads
from analysis.weighing.orientations import (
    PadPrior,
    Turn,
    TurnedWeighing,
    one_weighing_enough,
    pad_prior,
    solve_orientations,
)
from analysis.weighing.parts import PartMass, add_parts
from analysis.weighing.reseating import pool_placements
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.measures import MM, contact_place, contact_place_u
from rig.cards.mechanics import car_state, place_gravity
from rig.cards.read import CardSet
from rig.jobs.weighing.pads import Ask, OpenPads
from rig.jobs.weighing.scale import Placing, pool, scale_of
from rig.log.belongs import weighing_of
from rig.log.cards_and_pivots import keep_cards
from rig.log.store import BenchLog
from rig.pads.steps import Step
from rig.records.record import AnyRecord as Record

KITCHEN_SCALE_GAIN_U = 0.002
TURN_WORDS: dict[Turn, str] = {
    "as is": "Set the car on the pads",
    "half turn": "Turn the car half round on the same pads",
    "quarter left": "Turn the car a quarter to the left on the same pads",
    "quarter right": "Turn the car a quarter to the right on the same pads",
    "pads exchanged": "Exchange the pads left for right; the car stands as at first",
    "half turn, pads exchanged": "Leave the pads exchanged and turn the car half round",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """Corner weights with their record. load, load_covariance: (4,) N and (4, 4) N² for the forecast.

    remarks: to be told before any figure that rests on them.
    """

    weights: CornerWeights
    load: FloatArray
    load_covariance: FloatArray
    warnings: tuple[str, ...]
    record: Record
    remarks: tuple[str, ...] = ()


def weigh_on_pads(
    cards: CardSet,
    pads: OpenPads,
    log: BenchLog,
    *,
    placings: int = 1,
    ask: Ask,
    progress: Progress | None = None,
) -> Weighing:
    """Weigh the car on the pads, once or over several placings (lift off, settle, roll on).

    Raises InputError without a stored calibration or zero, BenchError when the pads fail.
    """
    scale = scale_of(cards.bench, log, pads=pads, calibration=cards.choices.calibration)
    placed: list[Placing] = []
    for number in range(placings):
        text = "Set the car on the pads" if number == 0 else "Lift the car off, bounce it, roll it on again"
        ask(Step(text=text, action="car"))
        placed.append(scale.place_once(pads, progress=progress))
    pooled = pool(cards.bench, [one.loads for one in placed])
    enough = one_weighing_enough(pooled.load_g, known_pads(placed[-1].loads))
    warnings = [*(text for one in placed for text in one.warnings), pooled.advice]
    warnings += [] if enough.enough else [enough.text]
    weighed = _AsWeighed(
        load_g=pooled.load_g,
        parts=list(pooled.parts),
        warnings=[text for text in dict.fromkeys(warnings) if text],
        remarks=_remarks(placed),
        inputs={"source": "pads", "placings": [one.raw for one in placed], "tally": tally_record(pads)},
        parents=scale.records,
        files=[log.add_file("raw readings", pads.raw_file)],
    )
    return _keep(cards, log, weighed)


def known_pads(loads: Loads) -> PadPrior:
    """How well the pads are known to agree: from their calibration and zero, as they enter this weighing."""
    part = {one.name: np.diag(one.covariance) for one in loads.parts}
    offset = float(np.sqrt(np.mean(part["zero"] + part["pads"])))
    gain = float(np.sqrt(np.mean(part["curves"])) / max(float(np.mean(np.abs(loads.load_g))), 1.0))
    return pad_prior(offset_u_g=offset, gain_u=gain)


def weigh_turned(
    cards: CardSet,
    pads: OpenPads,
    log: BenchLog,
    turns: Sequence[Turn],
    *,
    ask: Ask,
    placings: int = 1,
    progress: Progress | None = None,
) -> tuple[Weighing, TurnedWeighing]:
    """Weigh in several orientations on the same pads, and tell the car's weights from the pads' errors.

    turns: names as in analysis.weighing.orientations, the first usually "as is".  placings: in each of them.
    """
    scale = scale_of(cards.bench, log, pads=pads, calibration=cards.choices.calibration)
    rows, placed, done = [], [], []
    for turn in turns:
        for number in range(placings):
            again = ", once more" if number else ""
            ask(Step(text=f"{TURN_WORDS[turn]}{again}; bounce the car, roll it on", action="car"))
            placed.append(scale.place_once(pads, progress=progress))
            rows.append(
                scale.wheels(placed[-1].loads.load_g)
            )  # pads named by the wheel over them in the first weighing
            done.append(turn)
    prior = pad_prior(height_u=cards.bench.pads.level_mm_u * MM)
    found = solve_orientations(np.array(rows), done, prior, noise_g=0.5)
    weighed = _AsWeighed(
        load_g=found.load_g,
        parts=list(found.parts),
        warnings=[found.text],
        remarks=_remarks(placed),
        inputs={
            "source": "pads, turned",
            "turns": done,
            "placings": [one.raw for one in placed],
            "pad_error_g": found.pad_error_g,
            "pad_error_u_g": found.pad_error_u_g,
            "tally": tally_record(pads),
        },
        parents=scale.records,
        files=[log.add_file("raw readings", pads.raw_file)],
    )
    return _keep(cards, log, weighed), found


def weigh_typed(cards: CardSet, log: BenchLog) -> Weighing:
    """Take the weights typed on the test card, read off other scales. Raises InputError when there are none."""
    typed = cards.test.typed
    if typed.weights_g is None:
        raise InputError(
            "there are no weights: no weighing of this car is in the log and the test card has none typed in",
            where=f"{cards.car.name}, typed.weights_g",
            remedy="Run: pivotbench weigh TEST.toml, or write weights_g = [FL, FR, RL, RR] under [typed]",
        )
    load_g, parts = typed_loads(np.array(typed.weights_g), typed.weights_resolution_g, gain_u=KITCHEN_SCALE_GAIN_U)
    pooled = pool_placements(load_g, parts, scatter_g=cards.bench.pads.reseat_g)
    advice = [pooled.advice] if pooled.advice else []
    weighed = _AsWeighed(
        load_g=load_g,
        parts=list(pooled.parts),
        warnings=advice,
        remarks=[],
        inputs={"source": "typed"},
        parents=[],
        files=[],
    )
    return _keep(cards, log, weighed)


def known_weighing(cards: CardSet, log: BenchLog, *, before: int | None = None) -> Weighing:
    """The weights to forecast with: typed ones if the test card has them, else the weighing of this car in this state.

    before: number of the record (a push) that they are wanted for; what was weighed later does not change it.
    Raises InputError when there are none, or when the car card has changed since it was weighed.
    """
    named = cards.choices.weighing
    if cards.test.typed.weights_g is not None and not named:
        return weigh_typed(cards, log)
    found = weighing_of(cards.car, log, number=named, before=before)
    if found is None:
        return weigh_typed(cards, log)  # tells what is missing
    return replace(weighing_from(found.record, cards), remarks=found.remarks)


def weighing_from(record: Record, cards: CardSet) -> Weighing:
    """A stored weighing, with the centre of gravity for the contact places on the card now."""
    parts = [
        DoubtPart(name=part["name"], covariance=np.array(part["covariance_g2"]), dof=part.get("dof", float("inf")))
        for part in record.result["doubt"]
    ]
    load_g = np.array(record.result["corner_weights_g"])
    weights = weights_of(cards, load_g, parts)
    gravity = record.result["gravity_m_s2"]
    return Weighing(
        weights=weights,
        load=newtons_from_grams(load_g, gravity=gravity),
        load_covariance=weights.covariance * (gravity / 1000.0) ** 2,
        warnings=tuple(record.result["warnings"]),
        record=record,
    )


def weighed_car(cards: CardSet, weighing: Weighing) -> CarState:
    """The car of the cards with the loads of a weighing, for forecasts."""
    return car_state(cards.car, cards.test, load=weighing.load, load_covariance=weighing.load_covariance)


def as_pushed(
    cards: CardSet, load_g: FloatArray, parts: list[DoubtPart]
) -> tuple[FloatArray, list[DoubtPart], list[str]]:
    """Loads of the car as it is pushed, from those weighed and the parts listed on the car card; and a remark."""
    differing = cards.car.masses.parts
    if not differing:
        return load_g, parts, []
    corrected = add_parts(
        load_g,
        [PartMass(name=p.name, mass_g=p.mass_g, place=np.array([p.x_mm, p.y_mm]) * MM) for p in differing],
        contact_place(cards.car),
    )
    listed = ", ".join(f"{p.name} {p.mass_g:+g} g" for p in differing)
    return (
        corrected.load_g,
        [*parts, *corrected.parts],
        [f"Counted in, since the car is pushed otherwise than it was weighed: {listed}"],
    )


def weights_of(cards: CardSet, load_g: FloatArray, parts: list[DoubtPart]) -> CornerWeights:
    """Corner weights with the centre of gravity for the contact places on the car card."""
    return corner_weights(load_g, parts, contact=contact_place(cards.car), contact_u=contact_place_u(cards.car))


@dataclass(frozen=True, slots=True, kw_only=True)
class _AsWeighed:
    """Loads as they were weighed. load_g: (4,) g, their uncertainty by cause; the rest is for the log."""

    load_g: FloatArray
    parts: list[DoubtPart]
    warnings: list[str]
    remarks: list[str]
    inputs: dict[str, Any]
    parents: list[str]
    files: list[str]


def _keep(cards: CardSet, log: BenchLog, weighed: _AsWeighed) -> Weighing:
    """Correct for what is pushed otherwise than it was weighed, write the weighing down, and return it."""
    load_g, parts, counted = as_pushed(cards, weighed.load_g, weighed.parts)
    warnings = [*weighed.remarks, *weighed.warnings, *counted]
    weights = weights_of(cards, load_g, parts)
    uncertainty = [{"name": p.name, "covariance_g2": p.covariance, "dof": p.dof} for p in parts]
    record = log.record(
        "weighing",
        cards.car.name,
        inputs=weighed.inputs,
        result=weights_record(weights)
        | {"gravity_m_s2": place_gravity(cards.bench), "doubt": uncertainty, "warnings": warnings},
        cards=keep_cards(log, cards),
        files=weighed.files,
        parents=weighed.parents,
    )
    return replace(weighing_from(record, cards), remarks=tuple(weighed.remarks))


def _remarks(placed: Sequence[Placing]) -> list[str]:
    return list(dict.fromkeys(text for one in placed for text in one.remarks))


def weights_record(weights: CornerWeights) -> dict[str, Any]:
    """Corner weights as plain JSON."""

    def plain(estimate: Estimate | None) -> dict[str, Any] | None:
        return (
            None
            if estimate is None
            else {"value": estimate.value, "u": estimate.u, "interval": list(estimate.interval)}
        )

    return {
        "corner_weights_g": weights.load_g,
        "corner_interval_g": [list(estimate.interval) for estimate in weights.corner_g],
        "share_pct": weights.share_pct,
        "total_g": plain(weights.total_g),
        "front_pct": plain(weights.front_pct),
        "left_pct": plain(weights.left_pct),
        "diagonal_fl_rr_pct": plain(weights.diagonal_fl_rr_pct),
        "diagonal_fr_rl_pct": plain(weights.diagonal_fr_rl_pct),
        "cross_g": plain(weights.cross_g),
        "cg_m": weights.cg,
        "cg_x_m": plain(weights.cg_x),
        "cg_y_m": plain(weights.cg_y),
    }


def tally_record(pads: OpenPads) -> dict[str, int]:
    """What became of the lines, for the log."""
    tally = pads.source.tally
    return {name: getattr(tally, name) for name in tally.__slots__}
