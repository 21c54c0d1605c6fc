"""Tell an experiment again from the log alone: its figures, its picture and where its uncertainty comes from."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.pivot import PivotEstimate
from analysis.base.plane import slide_parts, turn_per_travel_jacobian
from analysis.figures.car import CarPicture, PivotMark
from analysis.weighing.corner_weights import CornerWeights
from rig.base.errors import InputError
from rig.cards.measures import MM, wheelbase
from rig.cards.read import CardSet
from rig.jobs.pushing.compare import typed_pivot
from rig.jobs.pushing.forecast import forecast_cards
from rig.jobs.pushing.picture import car_picture, measured_mark, swept_poses
from rig.jobs.weighing.weigh import weighing_from
from rig.log.cards_and_pivots import estimate_from
from rig.log.sources import MissingSourceError, cards_of, judged_row, parents_of, track_arrays
from rig.log.store import BenchLog, Record

EXPERIMENTS = ("comparison", "push", "prediction")


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One cause of uncertainty of turn per travel. u: 1/m that it alone makes.  share: of the variance, 0..1."""

    name: str
    u: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """The poses behind a push. time: (n,) s.  pose: (n, 3) m, m, rad, floor axes.  start, end: s, of the slide."""

    time: FloatArray
    pose: FloatArray
    start: float
    end: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Experiment:
    """One push as the log knows it; None or empty where the log has nothing.

    push, forecast, comparison: results as they stand in the log.  measured_budget, forecast_budget: largest first.
    missing: what could not be told again, and why.
    """

    record: Record
    records: tuple[int, ...]
    cards: CardSet
    weights: CornerWeights | None
    measured: PivotEstimate | None
    predicted: PivotEstimate | None
    push: dict[str, Any]
    clip: dict[str, Any]
    forecast: dict[str, Any]
    comparison: dict[str, Any]
    track: Track | None
    measured_budget: tuple[Contribution, ...]
    forecast_budget: tuple[Contribution, ...]
    missing: tuple[str, ...] = ()
    warnings: tuple[str, ...] = field(default=())

    @property
    def sentence(self) -> str:
        """The verdict, or what there is instead of one."""
        if self.comparison:
            return str(self.comparison["sentence"])
        return "Measured, and not compared with a forecast." if self.measured else "Forecast, and not yet measured."

    @property
    def picture(self) -> CarPicture:
        """The top view, as it was shown when the result was new."""
        length, row, forecast, track = wheelbase(self.cards.car), self.push, self.forecast, self.track
        balance = forecast.get("balance_pct")
        return car_picture(
            self.cards,
            self.weights,
            balance=None
            if balance is None
            else (balance / 100 * length, forecast.get("balance_u_pct", 0.0) / 100 * length),
            measured=measured_mark(self.measured, _array(row, "place_m"), _array(row, "place_covariance_m2")),
            forecast=PivotMark(place=np.array(forecast["place_m"]), region=np.array(forecast["region_m"]))
            if forecast.get("place_m")
            else None,
            swept=None
            if track is None
            else swept_poses(
                track.time, track.pose, start=track.start, end=track.end, start_pose=np.array(row["start_pose"])
            ),
            verdict=str(self.comparison.get("sentence", "")),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Retold:
    """What a report is about. experiments: in the order of the log.  others: further records of the choice.

    untold: number -> why an experiment could not be told.
    """

    experiments: tuple[Experiment, ...]
    others: tuple[Record, ...]
    untold: dict[int, str]


def choose(
    log: BenchLog,
    *,
    numbers: Sequence[int] = (),
    kind: str | None = None,
    since: date | None = None,
    tests: Sequence[str] = (),
) -> list[Record]:
    """Records of the log by number, kind, day (UTC) or test name; what is not given does not narrow the choice.

    Raises InputError when nothing is left.
    """
    found = [log.get(str(number)) for number in dict.fromkeys(numbers)] if numbers else list(log.records(kind=kind))
    if numbers and kind:
        found = [record for record in found if record.kind == kind]
    if since is not None:
        found = [record for record in found if record.at[:10] >= since.isoformat()]
    if tests:
        found = [record for record in found if record.title in tests]
    if not found:
        raise InputError(
            "the log has no such records", where=str(log.path), remedy="List the records with: pivotbench log"
        )
    return found


def retell(log: BenchLog, chosen: Sequence[Record]) -> Retold:
    """Tell every experiment among the chosen records.

    A comparison takes its push, its forecast and its weighing with it, which are then not told once more.
    """
    order = {kind: rank for rank, kind in enumerate(EXPERIMENTS)}
    used: set[str] = set()
    experiments, untold = [], {}
    for record in sorted(chosen, key=lambda record: (order.get(record.kind, 9), record.number)):
        if record.kind not in order or record.id in used:
            continue
        used |= {record.id, *_family(record, log)}
        try:
            experiments.append(experiment(record, log))
        except MissingSourceError as error:
            untold[record.number] = str(error)
    return Retold(
        experiments=tuple(sorted(experiments, key=lambda found: found.record.number)),
        others=tuple(record for record in chosen if record.id not in used),
        untold=untold,
    )


def experiment(record: Record, log: BenchLog) -> Experiment:
    """One comparison, push or prediction, told from the log. Raises MissingSourceError when its cards are gone."""
    cards = cards_of(record, log)
    family = {member.kind: member for member in [*(log.get(parent) for parent in _family(record, log)), record]}
    missing: list[str] = []
    pushed, forecast = family.get("push"), family.get("prediction")
    if forecast is not None:
        cards = forecast_cards(cards, forecast)
    comparison = record.result if record.kind == "comparison" else {}
    row = judged_row(record, pushed) if pushed is not None else {}
    measured = estimate_from(row["pivot"]) if row else (typed_pivot(cards) if comparison else None)
    predicted = estimate_from(forecast.result["pivot"]) if forecast is not None else None
    weighing = weighing_from(family["weighing"], cards) if "weighing" in family else None
    track: Track | None = None
    budget: tuple[Contribution, ...] = ()
    if pushed is not None:
        try:
            track, budget = _from_track(pushed, log, cards, row)
        except MissingSourceError as error:
            missing.append(f"{error}: no path and no budget of the measured pivot can be shown")
    predicted_result = forecast.result if forecast is not None else {}
    warnings = [
        *(weighing.warnings if weighing else ()),
        *(measured.warnings if measured else ()),
        *predicted_result.get("warnings", ()),
        *(pushed.result["track"]["warnings"] if pushed is not None else ()),
    ]
    return Experiment(
        record=record,
        records=tuple(sorted(member.number for member in family.values())),
        cards=cards,
        weights=weighing.weights if weighing else None,
        measured=measured,
        predicted=predicted,
        push=row,
        clip=pushed.result["track"] if pushed is not None else {},
        forecast=predicted_result,
        comparison=comparison,
        track=track,
        measured_budget=budget,
        forecast_budget=_forecast_budget(predicted, predicted_result),
        missing=tuple(missing),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _family(record: Record, log: BenchLog) -> list[str]:
    """Ids of the records that an experiment rests on, down to the weighing."""
    wanted = {"push", "prediction", "weighing"}
    return [parent.id for kind, parent in parents_of(record, log).items() if kind in wanted]


def _array(row: dict[str, Any], key: str) -> FloatArray | None:
    return np.array(row[key]) if row.get(key) else None


def _from_track(
    pushed: Record, log: BenchLog, cards: CardSet, row: dict[str, Any]
) -> tuple[Track, tuple[Contribution, ...]]:
    stored = track_arrays(pushed, log)
    track = Track(time=stored["time_s"], pose=stored["pose"], start=row["start_s"], end=row["end_s"])
    return track, measured_budget(stored, cards, row)


def measured_budget(stored: dict[str, FloatArray], cards: CardSet, row: dict[str, Any]) -> tuple[Contribution, ...]:
    """What makes a measured turn per travel uncertain: each cause carried through by its derivative.

    stored: the arrays of a track file.  row: the push as it stands in the log.  Causes of one kind (name and
    number) are told as one; what is left of the whole is the scatter of the poses at rest.
    Source: law of propagation of uncertainty (JCGM 100:2008, 5.1.2).
    """
    start, end, length = np.array(row["start_pose"]), np.array(row["end_pose"]), wheelbase(cards.car)
    slope = turn_per_travel_jacobian(start, end, length)
    time, (frames_before, frames_after) = stored["time_s"], row["rest_frames"]
    before = np.flatnonzero(time <= row["start_s"] + 1e-9)[-frames_before:]
    after = np.flatnonzero(time >= row["end_s"] - 1e-9)[:frames_after]
    moved = np.concatenate([stored["shared"][:, rest].mean(axis=1) for rest in (before, after)], axis=1) @ slope[:6]
    parts: dict[str, float] = {}
    for name, move in zip(stored["shared_names"], moved, strict=True):
        kind = str(name).rstrip("0123456789 ")
        parts[kind] = parts.get(kind, 0.0) + float(move) ** 2
    repeats = np.broadcast_to(stored["repeating"], (len(time), 3, 3))
    repeating = sum(
        float(part @ repeats[rest].mean(axis=0) @ part) for part, rest in ((slope[:3], before), (slope[3:6], after))
    )
    kappa = float(row["pivot"]["kappa_per_m"])
    _, sideways, chord = (float(part) for part in slide_parts(start, end))
    travel = sideways + length * chord / 2.0
    # the per cent divides by the wheelbase too: only the way of the rear axle's middle is left of its uncertainty
    parts["wheelbase"] = (kappa / travel * sideways / length * cards.car.geometry.wheelbase_mm_u * MM) ** 2
    parts["what repeats from picture to picture"] = repeating
    whole = float(row["pivot"]["kappa_u_per_m"]) ** 2
    parts["scatter of the poses at rest"] = max(whole - sum(parts.values()), 0.0)
    return _ranked(parts, whole)


def _forecast_budget(predicted: PivotEstimate | None, forecast: dict[str, Any]) -> tuple[Contribution, ...]:
    if predicted is None:
        return ()
    whole = predicted.kappa_u**2
    return _ranked({cause["name"]: cause["share"] * whole for cause in forecast.get("sensitivity", ())}, whole)


def _ranked(parts: dict[str, float], whole: float) -> tuple[Contribution, ...]:
    found = [
        Contribution(name=name, u=float(np.sqrt(part)), share=part / whole if whole > 0 else 0.0)
        for name, part in parts.items()
    ]
    return tuple(sorted(found, key=lambda cause: -cause.share))
