"""Compute what stands in the log again, and list what comes out differently."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.forecast.comparison import compare
from analysis.forecast.forecast import predict_push
from analysis.grip.from_pivot import ratio_for
from analysis.measured.path_cause import with_cause_in_motion
from analysis.measured.pushes import measure_pivot
from analysis.weighing.calibration import fit_calibration, from_record, to_record
from rig.base.plain_json import finite_json
from rig.base.progress import Progress
from rig.cards.measures import MM, wheelbase
from rig.cards.mechanics import car_state, push_state
from rig.jobs.pushing.compare import comparison_record
from rig.jobs.pushing.finger import CarAndFinger, contacts, finger_record
from rig.jobs.pushing.forecast import forecast_cards, prediction_record
from rig.jobs.pushing.measure import push_record
from rig.jobs.weighing.scale import loads_of, pool
from rig.jobs.weighing.weigh import as_pushed, weights_of, weights_record
from rig.log.cards_and_pivots import estimate_from
from rig.log.sources import MissingSourceError, cards_of, judged_row, parents_of, track_arrays
from rig.log.store import BenchLog, Record


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
                now = finite_json(again(record, log))
            except MissingSourceError as error:
                not_computed[record.number] = str(error)
            else:
                found = list(_differences(record, _shared(record.result, now), now, tolerance, ""))
                differing += found
                same += not found
        if progress is not None:
            progress((index + 1) / len(records))
    return Recalculated(same=same, differing=tuple(differing), not_computed=not_computed)


def _calibration(record: Record, log: BenchLog) -> dict[str, Any]:
    fits = []
    for raw, stored in zip(record.inputs["pads"], record.result["pads"], strict=True):
        mass = np.array(raw["mass_g"])
        fits.append(
            to_record(
                fit_calibration(
                    mass,
                    np.array(raw["counts"]),
                    pad=stored["pad"],
                    mass_u_g=np.where(mass > 0, record.inputs["mass_u_g"], 0.0),
                    capacity_g=stored["capacity_g"],
                    cycle=np.array(raw["cycle"]),
                    rising=np.array(raw["rising"]),
                    date=stored["date"],
                    masses=stored["masses"],
                    temperature_c=stored.get("temperature_c"),
                    gravity=stored.get("gravity"),
                )
            )
        )
    return {"pads": fits}


def _weighing(record: Record, log: BenchLog) -> dict[str, Any]:
    cards = cards_of(record, log)
    if record.inputs["source"] != "pads":
        raise MissingSourceError("weights typed in or from several orientations are kept as they were")
    calibration = parents_of(record, log).get("calibration")
    if calibration is None:
        raise MissingSourceError("its calibration is not in the log")
    calibrations = [from_record(one) for one in calibration.result["pads"]]
    placed = [loads_of(calibrations, raw, record.result["gravity_m_s2"]) for raw in record.inputs["placings"]]
    pooled = pool(cards.bench, placed)
    load_g, parts, _ = as_pushed(cards, pooled.load_g, list(pooled.parts))
    return weights_record(weights_of(cards, load_g, parts))


def _push(record: Record, log: BenchLog) -> dict[str, Any]:
    cards = cards_of(record, log)
    kept = track_arrays(record, log)
    pushes = measure_pivot(
        kept["time_s"],
        kept["pose"],
        kept["covariance"],
        kept["repeating"],
        wheelbase=wheelbase(cards.car),
        wheelbase_u=cards.car.geometry.wheelbase_mm_u * MM,
        shared=kept["shared"],
    )
    if "shutter" in kept:  # a track of an earlier version has none
        pushes, _ = with_cause_in_motion(
            pushes,
            kept["time_s"],
            kept["pose"],
            kept["covariance"],
            kept["repeating"],
            kept["shutter"],
            wheelbase=wheelbase(cards.car),
        )
    result: dict[str, Any] = {"pushes": [push_record(push) for push in pushes]}
    if "finger_tip" in kept:
        names = [str(name) for name in kept["shared_names"]]
        seen = CarAndFinger(
            time=kept["time_s"],
            pose=kept["pose"],
            covariance=kept["covariance"],
            shared=kept["shared"],
            shared_names=names,
            finger_time=kept["finger_time_s"],
            tip=kept["finger_tip"],
            tip_covariance=kept["finger_covariance"],
            tip_shared=kept["finger_shared"],
        )
        result["finger"] = finger_record(contacts(pushes, seen), names, cards)
    return result


def _prediction(record: Record, log: BenchLog) -> dict[str, Any]:
    cards, given = forecast_cards(cards_of(record, log), record), record.inputs
    car = car_state(
        cards.car, cards.test, load=np.array(given["load_N"]), load_covariance=np.array(given["load_covariance_N2"])
    )
    prediction = predict_push(
        car,
        push_state(cards.car, cards.test),
        rng=np.random.default_rng(given["seed"]),
        turn=given.get("turn_rad"),
        travel=given["travel_m"],
        # as many as were made: a forecast stopped with Ctrl-C is kept with the draws it had
        draws=record.result["pivot"].get("count", given.get("draws")),
    )
    return prediction_record(prediction)


def _comparison(record: Record, log: BenchLog) -> dict[str, Any]:
    parents = parents_of(record, log)
    if "push" not in parents or "prediction" not in parents:
        raise MissingSourceError("its pivot was typed in, or a record it rests on is missing")
    forecast = parents["prediction"]
    cards = forecast_cards(cards_of(record, log), forecast)
    row = judged_row(record, parents["push"])
    car = car_state(
        cards.car,
        cards.test,
        load=np.array(forecast.inputs["load_N"]),
        load_covariance=np.array(forecast.inputs["load_covariance_N2"]),
    )
    push, turn = push_state(cards.car, cards.test), forecast.inputs.get("turn_rad")
    return comparison_record(
        compare(
            estimate_from(row["pivot"]),
            estimate_from(forecast.result["pivot"]),
            grip_ratio_for=lambda kappa: ratio_for(car, push, kappa, turn=turn),
        )
    )


AGAIN: dict[str, Callable[[Record, BenchLog], dict[str, Any]]] = {
    "calibration": _calibration,
    "weighing": _weighing,
    "push": _push,
    "prediction": _prediction,
    "comparison": _comparison,
}


def _shared(stored: dict[str, Any], now: dict[str, Any]) -> dict[str, Any]:
    """The part of the stored result that is computed again (notes and advice in words come with it)."""
    return {key: stored[key] for key in stored if key in now}


def _differences(record: Record, stored: Any, now: Any, tolerance: float, path: str) -> Iterator[Difference]:
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
