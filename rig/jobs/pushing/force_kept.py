"""The force of a push as it is kept: its own record, and the grip it measured beside other measurements of grip."""

from dataclasses import dataclass
from pathlib import Path

from analysis.grip.combine import GripMeasurement
from analysis.grip.push_force import METHOD, RATIO_METHOD
from analysis.statistics.quantiles import NORMAL_95
from rig.base.errors import InputError
from rig.cards.read import CardSet
from rig.jobs.measuring.measure import Measurement
from rig.jobs.weighing.weights import Weighing, written
from rig.log.rows import file_hash
from rig.log.store import BenchLog
from rig.lookups.aside import standing
from rig.lookups.cards_and_pivots import keep_cards
from rig.lookups.sources import parents_of
from rig.records.force import PUSH_FORCE, ForceInputs, ForceResult
from rig.records.grip import GRIP, GripInputs, GripResult
from rig.records.pushing import PUSH
from rig.records.record import Record

ForceRecord = Record[ForceInputs, ForceResult]


@dataclass(frozen=True, slots=True, kw_only=True)
class PushForce:
    """What the force of one push said. inputs, result: as kept.  ratio: front over rear grip by this push, with its
    relative standard uncertainty; None where its balance point does not tell.
    """

    inputs: ForceInputs
    result: ForceResult
    ratio: tuple[float, float] | None
    file: Path

    @property
    def sentence(self) -> str:
        """For people: the force, the level of grip with its ±, and that of each axle."""
        r = self.result
        half = NORMAL_95 * r.level * r.level_u
        axles = ""
        if self.ratio is not None:
            front, rear = NORMAL_95 * r.front * r.front_u, NORMAL_95 * r.rear * r.rear_u
            axles = f" (front {r.front:.2f} ± {_half(front)}, rear {r.rear:.2f} ± {_half(rear)})"
        return (
            f"The finger held {r.force_N:.1f} N while the car slid: grip {r.level:.2f} ± {_half(half)} in this push"
            f"{axles}. Grip differs from push to push: three or more make a level, pivotbench grip tells it."
        )


def _half(half: float) -> str:
    return f"{max(half, 0.01):.2f}"


def refuse_other_clip(log: BenchLog, file: Path, measurement: Measurement) -> None:
    """Raise InputError where this recording stands in the log as that of another clip: one push has one force."""
    digest, clips = file_hash(file)[0], {one.hash for one in log.files() if one.kind == "clip"}
    mine = clips.intersection(measurement.record.files)
    for record in standing(log, PUSH_FORCE):
        if digest not in record.files:
            continue
        pushed = parents_of(record, log).of(PUSH)
        theirs = set() if pushed is None else clips.intersection(pushed.files)
        if mine and theirs and not mine & theirs:
            raise InputError(
                f'this force stands in record {record.number} as that of another clip ("{record.title}")',
                where=str(file),
                remedy=f"Give the recording made with this clip; or, if that was the wrong one: pivotbench log aside "
                f'{record.number} --why "force of another push"',
            )


def write_force(
    log: BenchLog, cards: CardSet, found: PushForce, *, measurement: Measurement, weighing: Weighing
) -> ForceRecord:
    """Write the force of a push down, and the grip that it measured beside the other measurements of grip."""
    kept, weighed = keep_cards(log, cards), written(weighing, cards, log).record.id
    file = log.add_file("force recording", found.file)
    record = log.record(
        PUSH_FORCE,
        cards.test.name,
        inputs=found.inputs,
        result=found.result,
        cards=kept,
        files=[file],
        parents=[measurement.record.id, weighed],
    )
    for one in grips_of(found):
        log.record(
            GRIP,
            cards.car.name,
            inputs=GripInputs(part="car", direction="across", push_number=found.inputs.push_number),
            result=GripResult(
                quantity=one.quantity,
                value=one.value,
                relative_u=one.relative_u,
                method=one.method,
                state=one.state,
                front_weight=one.front_weight,
                shared=dict(one.shared),
            ),
            cards=kept,
            files=[file],
            parents=[record.id, measurement.record.id, weighed],
        )
    return record


def grips_of(found: PushForce) -> list[GripMeasurement]:
    """The level of this push, and the axles' ratio where its balance point tells it."""
    r = found.result
    level = GripMeasurement(
        quantity="mean",
        value=r.level,
        relative_u=max(r.own_u, 1e-4),
        method=METHOD,
        front_weight=r.front_weight,
        shared=r.shared,
    )
    if found.ratio is None:
        return [level]
    value, u = found.ratio
    return [level, GripMeasurement(quantity="ratio", value=value, relative_u=u, method=RATIO_METHOD)]
