"""Compute what stands in the log again, and list what comes out differently."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import msgspec

from rig.base.plain_json import Json
from rig.base.progress import Progress
from rig.cards.mechanics import with_drag_by_load, without_load_sensitivity
from rig.jobs.measuring.finger import finger_record, pushed_as_seen
from rig.jobs.measuring.found_pushes import pushes_in
from rig.jobs.measuring.push_rows import push_record
from rig.jobs.pushing.balance import answer_from, answer_push, whole_patches_then
from rig.jobs.pushing.compare import comparison_record, set_beside
from rig.jobs.pushing.forecast import asked, predicted, prediction_record
from rig.jobs.pushing.push_force import force_result
from rig.jobs.series.change import changed_again
from rig.jobs.weighing.calibrate import calibration_from, fitted_again
from rig.jobs.weighing.finger_cell import fitted_finger
from rig.jobs.weighing.scale import loads_of, pool
from rig.jobs.weighing.weights import as_pushed, weighing_from, weights_of, weights_record, weights_then
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import estimate_from
from rig.lookups.sources import MissingSourceError, cards_of, finger_row, judged_row, kept_file, parents_of, track_of
from rig.records.balance import BALANCE, CHANGE, BalanceResult
from rig.records.codec import as_record, plain
from rig.records.content import Content
from rig.records.force import FINGER_CELL, PUSH_FORCE
from rig.records.pushing import COMPARISON, PREDICTION, PUSH
from rig.records.record import AnyRecord
from rig.records.weighing import CALIBRATION, WEIGHING, CalibrationResult


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One figure that came out otherwise. path: where in the result."""

    record: int
    kind: str
    path: str
    stored: Any
    now: Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Recalculated:
    """same: records whose every figure came out alike.  differing: the others, figure by figure.

    not_computed: number -> why it could not be computed again (raw material, a guess, a file that is gone).
    """

    same: int
    differing: tuple[Difference, ...]
    not_computed: dict[int, str]


def recalculate(log: BenchLog, *, tolerance: float = 0.0, progress: Progress | None = None) -> Recalculated:
    """Compute every record again from the inputs in the log.

    tolerance: relative, 0 for bit by bit (same machine and thread counts); across numpy builds 1e-9 is to be expected.
    """
    records = list(log.records())
    same, differing, not_computed = 0, [], {}
    for index, record in enumerate(records):
        again = AGAIN.get(record.kind)
        if again is None:
            not_computed[record.number] = f"a {record.kind} is raw material or an answer of a person"
        else:
            try:
                now = plain(again(record, log))
            except MissingSourceError as error:
                not_computed[record.number] = str(error)
            else:
                found = list(_differences(record, _shared(plain(record.result), now), now, tolerance, ""))
                differing += found
                same += not found
        if progress is not None:
            progress((index + 1) / len(records))
    return Recalculated(same=same, differing=tuple(differing), not_computed=not_computed)


def _calibration(record: AnyRecord, log: BenchLog) -> Content:
    kept = CALIBRATION.of(record)
    if not kept.inputs.pads:
        raise MissingSourceError("these scales are taken at their word: there were no masses")
    fits = zip(kept.inputs.pads, kept.result.pads, strict=True)
    return CalibrationResult(pads=tuple(fitted_again(run, stored, kept.inputs.mass_u_g) for run, stored in fits))


def _weighing(record: AnyRecord, log: BenchLog) -> Content:
    kept, cards = WEIGHING.of(record), cards_of(record, log)
    if kept.inputs.source != "pads" or kept.inputs.placings is None:
        raise MissingSourceError("weights typed in or from several orientations are kept as they were")
    calibration = parents_of(record, log).of(CALIBRATION)
    if calibration is None:
        raise MissingSourceError("its calibration is not in the log")
    calibrations = [calibration_from(one) for one in calibration.result.pads]
    placed = [loads_of(calibrations, raw, kept.result.gravity_m_s2) for raw in kept.inputs.placings]
    pooled = pool(cards.bench, placed)
    load_g, parts, _ = as_pushed(cards, pooled.load_g, list(pooled.parts))
    return weights_record(weights_of(cards, load_g, parts, model=kept.inputs.model))


def _push(record: AnyRecord, log: BenchLog) -> Content:
    cards, track = cards_of(record, log), track_of(record, log)
    how = PUSH.of(record).inputs
    found = pushes_in(track, cards, speeds=how.speeds, turns=how.turns)
    return msgspec.structs.replace(
        PUSH.of(record).result,
        pushes=tuple(push_record(push) for push in found.pushes),
        finger=None if found.contacts is None else finger_record(found.contacts, track.shared_names, cards),
    )


def _prediction(record: AnyRecord, log: BenchLog) -> Content:
    kept = PREDICTION.of(record)
    # as many draws as were made: a forecast stopped with Ctrl-C is kept with those it had
    inputs = msgspec.structs.replace(kept.inputs, draws=kept.result.pivot.count)
    return prediction_record(predicted(cards_of(record, log), inputs))


def _comparison(record: AnyRecord, log: BenchLog) -> Content:
    parents = parents_of(record, log)
    pushed, forecast = parents.of(PUSH), parents.of(PREDICTION)
    if pushed is None or forecast is None:
        raise MissingSourceError("its pivot was typed in, or a record it rests on is missing")
    kept = COMPARISON.of(record)
    car, push = asked(cards_of(record, log), forecast.inputs)
    comparison = set_beside(
        estimate_from(judged_row(kept, pushed).pivot),
        estimate_from(forecast.result.pivot),
        car,
        push,
        turn=forecast.inputs.turn_rad,
    )
    return comparison_record(comparison)


def _balance(record: AnyRecord, log: BenchLog) -> Content:
    kept, parents, cards = BALANCE.of(record), parents_of(record, log), cards_of(record, log)
    pushed, weighed = parents.of(PUSH), parents.of(WEIGHING)
    if pushed is None:
        raise MissingSourceError("the record of its clip is missing")
    number, track, turns = kept.inputs.push_number, track_of(pushed, log), pushed.inputs.turns
    placed = pushed_as_seen(cards, finger_row(pushed, number), number)
    push = next((one for one in pushes_in(track, cards, turns=turns).pushes if one.number == number), None)
    if push is None:
        raise MissingSourceError(f"its clip has no push {number} any more")
    weighing = None if weighed is None else weighing_from(weighed, placed)
    others = []
    for fit in kept.result.would_fit:
        if weighing is not None and fit.number is not None:
            then = next((one for one in log.records(kind=WEIGHING) if one.id == fit.weighing), None)
            if then is None:
                raise MissingSourceError("the record of another weighing that it names is missing")
            # with its number where this was written
            others.append(replace(weights_then(then, placed, weighing, log), number=fit.number))
    if kept.inputs.model < 2:
        placed = replace(placed, car=without_load_sensitivity(placed.car))
    if kept.inputs.model < 3:
        placed = replace(placed, car=with_drag_by_load(placed.car))
    placed = replace(placed, whole_patches=whole_patches_then(kept.inputs.model))
    answer = answer_push(placed, push, weighing, track=track, verdict=answer_from(kept).verdict, others=others)
    again, by_weights = as_record(answer, BalanceResult), kept.result.by_weights
    if again.by_weights is not None and by_weights is not None and by_weights.front_weight_pct is None:
        again = msgspec.structs.replace(  # written before these two were kept
            again, by_weights=msgspec.structs.replace(again.by_weights, front_weight_pct=None, sensitivity=None)
        )
    # the forecast's place stands in its own record; remarks come in words
    return msgspec.structs.replace(
        again,
        forecast_mm=kept.result.forecast_mm,
        remarks=kept.result.remarks,
    )


def _force(record: AnyRecord, log: BenchLog) -> Content:
    kept, parents, cards = PUSH_FORCE.of(record), parents_of(record, log), cards_of(record, log)
    pushed, weighed = parents.of(PUSH), parents.of(WEIGHING)
    if pushed is None or weighed is None:
        raise MissingSourceError("the record of its clip or of its weighing is missing")
    placed = pushed_as_seen(cards, finger_row(pushed, kept.inputs.push_number), kept.inputs.push_number)
    track = track_of(pushed, log)
    return force_result(
        placed,
        weighing_from(weighed, placed),
        track,
        pushes_in(track, cards).pushes,
        kept.inputs,
        kept_file(record, "force recording", log),
    )


def _finger_cell(record: AnyRecord, log: BenchLog) -> Content:
    of = FINGER_CELL.of(record).inputs
    return fitted_finger(of.mass_g, of.counts, of.mass_u_g, hung=of.hung, gravity=of.gravity_m_s2)


def _change(record: AnyRecord, log: BenchLog) -> Content:
    return changed_again(CHANGE.of(record), log)


AGAIN: dict[str, Callable[[AnyRecord, BenchLog], Content]] = {
    CALIBRATION.name: _calibration,
    WEIGHING.name: _weighing,
    PUSH.name: _push,
    PREDICTION.name: _prediction,
    COMPARISON.name: _comparison,
    BALANCE.name: _balance,
    CHANGE.name: _change,
    PUSH_FORCE.name: _force,
    FINGER_CELL.name: _finger_cell,
}


def _shared(stored: Json, now: Json) -> Json:
    """The part of the stored result that is computed again (notes in words come with it)."""
    return {key: stored[key] for key in stored if key in now}


def _differences(record: AnyRecord, stored: Any, now: Any, tolerance: float, path: str) -> Iterator[Difference]:
    if isinstance(stored, dict) and isinstance(now, dict):
        for key in sorted(set(stored) | set(now)):
            yield from _differences(record, stored.get(key), now.get(key), tolerance, f"{path}.{key}".lstrip("."))
    elif isinstance(stored, list) and isinstance(now, list) and len(stored) == len(now):
        for index, (a, b) in enumerate(zip(stored, now, strict=True), start=1):
            yield from _differences(record, a, b, tolerance, f"{path}[{index}]")
    elif not _alike(stored, now, tolerance):
        yield Difference(record=record.number, kind=record.kind, path=path, stored=stored, now=now)


def _alike(stored: Any, now: Any, tolerance: float) -> bool:
    if isinstance(stored, float | int) and isinstance(now, float | int) and not isinstance(stored, bool):
        return stored == now or math.isclose(stored, now, rel_tol=tolerance, abs_tol=tolerance * 1e-3)
    return bool(stored == now)
