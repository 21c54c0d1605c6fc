"""Weigh the car: from the pads, or from weights typed on the test card."""

import time
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.arrays import FloatArray
from analysis.weighing.corner_weights import CornerWeights, corner_weights, newtons_from_grams, typed_loads
from analysis.weighing.estimate import DoubtPart, Estimate
from analysis.weighing.loads import loads_from_counts
from analysis.weighing.pad_faults import limits_for
from analysis.weighing.parts import PartMass, add_parts
from analysis.weighing.reseating import pool_placements
from analysis.weighing.zero_tracking import zero_at
from rig.cards.measures import MM, contact_place, contact_place_u
from rig.cards.mechanics import place_gravity
from rig.cards.read import CardSet
from rig.errors import InputError
from rig.jobs.keep import keep_cards
from rig.jobs.pads import Ask, OpenPads, Progress, Step, by_wheel, settle, stored_calibration
from rig.log.store import BenchLog, Record

DRIFT_G_PER_ROOT_MINUTE = 0.15
"""What cheap pads usually wander between zeroing and weighing (common practice, no source), until measured."""
KITCHEN_SCALE_GAIN_U = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """Corner weights with their record. load, load_covariance: (4,) N and (4, 4) N² for the forecast."""

    weights: CornerWeights
    load: FloatArray
    load_covariance: FloatArray
    warnings: tuple[str, ...]
    record: Record


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
    calibrations, calibrated = stored_calibration(cards.bench, log)
    zeros = [
        record for record in log.records(kind="zero", title=cards.bench.name) if record.number > calibrated.number
    ][-8:]
    if not zeros:
        raise InputError(
            "the empty pads have not been zeroed since their calibration",
            where=cards.bench.name,
            remedy="Take everything off and run: pivotbench zero",
        )
    order = by_wheel(cards.bench)
    limits = limits_for(calibrations)
    slopes = np.array([abs(float(one.slope(0.0))) for one in calibrations])
    order_matrix = np.ix_(order, order)
    readings, tries = [], []
    for number in range(placings):
        text = "Set the car on the pads" if number == 0 else "Lift the car off, bounce it, roll it on again"
        ask(Step(text=text, action="car"))
        reading = settle(pads, limits=limits, progress=progress)
        zero = zero_at(
            time.time(),
            np.array([record.inputs["at_s"] for record in zeros]),
            np.array([record.result["counts"] for record in zeros]),
            np.array([record.result["u"] for record in zeros]),
            drift=DRIFT_G_PER_ROOT_MINUTE / np.sqrt(60.0) * slopes,
        )
        loads = loads_from_counts(
            calibrations,
            reading.counts,
            reading.u,
            zero_counts=zero.counts,
            zero_u=zero.u,
            gravity=place_gravity(cards.bench),
        )
        readings.append((reading, zero))
        tries.append(loads)
    parts = {part.name: replace(part, covariance=part.covariance[order_matrix]) for part in tries[-1].parts}
    pooled = pool_placements(
        np.array([loads.load_g[order] for loads in tries]),
        [part for name, part in parts.items() if name != "noise"],
        noise=parts["noise"].covariance,
        scatter_g=cards.bench.pads.reseat_g,
    )
    warnings = [
        *dict.fromkeys(text for loads in tries for text in loads.warnings),
        readings[-1][1].advice,
        pooled.advice,
    ]
    raw = [
        {
            "counts": reading.counts,
            "u": reading.u,
            "zero_counts": zero.counts,
            "zero_u": zero.u,
            "outliers": reading.outliers,
            "samples": reading.count,
        }
        for reading, zero in readings
    ]
    return _kept(
        cards,
        log,
        pooled.load_g,
        list(pooled.parts),
        [text for text in warnings if text],
        inputs={"source": "pads", "placings": raw, "tally": _tally(pads)},
        parents=[calibrated.id, *(record.id for record in zeros)],
        files=[log.add_file("raw readings", pads.raw_file)],
    )


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
    return _kept(cards, log, load_g, list(pooled.parts), advice, inputs={"source": "typed"}, parents=[], files=[])


def known_weighing(cards: CardSet, log: BenchLog) -> Weighing:
    """The weights to forecast with: typed ones if the test card has them, else the newest weighing of this car."""
    if cards.test.typed.weights_g is not None:
        return weigh_typed(cards, log)
    record = log.latest("weighing", cards.car.name)
    if record is None:
        return weigh_typed(cards, log)  # tells what is missing
    return weighing_from(record, cards)


def weighing_from(record: Record, cards: CardSet) -> Weighing:
    """A stored weighing, with the centre of gravity for the contact places on the card now."""
    parts = [
        DoubtPart(name=part["name"], covariance=np.array(part["covariance_g2"]), dof=part.get("dof", float("inf")))
        for part in record.result["doubt"]
    ]
    load_g = np.array(record.result["corner_weights_g"])
    weights = _weights(cards, load_g, parts)
    gravity = record.result["gravity_m_s2"]
    return Weighing(
        weights=weights,
        load=newtons_from_grams(load_g, gravity=gravity),
        load_covariance=weights.covariance * (gravity / 1000.0) ** 2,
        warnings=tuple(record.result["warnings"]),
        record=record,
    )


def _weights(cards: CardSet, load_g: FloatArray, parts: list[DoubtPart]) -> CornerWeights:
    return corner_weights(load_g, parts, contact=contact_place(cards.car), contact_u=contact_place_u(cards.car))


def _kept(
    cards: CardSet,
    log: BenchLog,
    load_g: FloatArray,
    parts: list[DoubtPart],
    warnings: list[str],
    *,
    inputs: dict[str, Any],
    parents: list[str],
    files: list[str],
) -> Weighing:
    """Correct for what is pushed otherwise than it was weighed, write the weighing down, and return it."""
    differing = cards.car.masses.parts
    if differing:
        corrected = add_parts(
            load_g,
            [PartMass(name=p.name, mass_g=p.mass_g, place=np.array([p.x_mm, p.y_mm]) * MM) for p in differing],
            contact_place(cards.car),
        )
        load_g, parts = corrected.load_g, [*parts, *corrected.parts]
        listed = ", ".join(f"{p.name} {p.mass_g:+g} g" for p in differing)
        warnings = [*warnings, f"Counted in, since the car is pushed otherwise than it was weighed: {listed}"]
    weights = _weights(cards, load_g, parts)
    doubt = [{"name": p.name, "covariance_g2": p.covariance, "dof": p.dof} for p in parts]
    record = log.record(
        "weighing",
        cards.car.name,
        inputs=inputs,
        result=weights_record(weights)
        | {"gravity_m_s2": place_gravity(cards.bench), "doubt": doubt, "warnings": warnings},
        cards=keep_cards(log, cards),
        files=files,
        parents=parents,
    )
    return weighing_from(record, cards)


def weights_record(weights: CornerWeights) -> dict[str, Any]:
    """Corner weights as plain JSON."""

    def told(one: Estimate | None) -> dict[str, Any] | None:
        return None if one is None else {"value": one.value, "u": one.u, "interval": list(one.interval)}

    return {
        "corner_weights_g": weights.load_g,
        "corner_interval_g": [list(one.interval) for one in weights.corner_g],
        "share_pct": weights.share_pct,
        "total_g": told(weights.total_g),
        "front_pct": told(weights.front_pct),
        "left_pct": told(weights.left_pct),
        "diagonal_fl_rr_pct": told(weights.diagonal_fl_rr_pct),
        "diagonal_fr_rl_pct": told(weights.diagonal_fr_rl_pct),
        "cross_g": told(weights.cross_g),
        "cg_m": weights.cg,
        "cg_x_m": told(weights.cg_x),
        "cg_y_m": told(weights.cg_y),
    }


def _tally(pads: OpenPads) -> dict[str, int]:
    tally = pads.source.tally
    return {name: getattr(tally, name) for name in tally.__slots__}
