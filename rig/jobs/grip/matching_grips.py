"""Grip measurements in the log, like with like: one car, one set of tyres, one treatment, one surface."""

from collections.abc import Sequence, Set
from dataclasses import dataclass, replace

from analysis.grip.along import as_across
from analysis.grip.combine import GripMeasurement
from analysis.grip.push_force import pooled
from rig.base.errors import InputError
from rig.cards.identity import same_id
from rig.cards.keys.test import Grip, TestCard
from rig.cards.read import CardSet
from rig.jobs.series.evidence import notes_of
from rig.log.store import BenchLog
from rig.lookups.aside import reasons_aside, standing
from rig.lookups.belongs import own_or_imported
from rig.lookups.sources import MissingSourceError, cards_of
from rig.records.grip import GRIP, GRIP_ALONG, GripInputs, GripResult
from rig.records.pushing import PUSH
from rig.records.record import Record

GripRecord = Record[GripInputs, GripResult]

SUBJECT = ("compound_front", "compound_rear", "treatment", "surface")
SUBJECT_NAMES = ("front tyres", "rear tyres", "treatment", "surface")
ALONG, ACROSS = "along", "across"
ALONG_AGAINST_ACROSS_U = 0.05
"""Tyres need not grip alike along and across; 1.00 ± 0.05 unless measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GripOnRecord:
    """One grip measurement with what it belongs to. day: of the wall clock, UTC.  direction: "" where not kept."""

    measurement: GripMeasurement
    record: GripRecord
    subject: tuple[str, ...]
    day: str
    direction: str


Along = tuple[tuple[float, float], tuple[float, float]]
"""Grip along over across of the front and the rear tyres, and the standard uncertainties of both."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LikeGrips:
    """Measurements that belong together, oldest first. remarks: what is not sure, to be told first.

    left_out: measurements on other tyres or surfaces, in words.  along: what was measured of grip along over across;
    None: nothing was.
    """

    grips: tuple[GripOnRecord, ...]
    remarks: tuple[str, ...]
    left_out: tuple[str, ...] = ()
    along: "Along | None" = None

    @property
    def days(self) -> list[str]:
        """The days on which they were made."""
        return sorted({grip.day for grip in self.grips})

    def measurements(self, state: str) -> list[GripMeasurement]:
        """Those at the first slip ("static") or while sliding ("sliding").

        All are of grip across, which forecasts take: those along the car go by what was measured of grip along over
        across. Where nothing was, and some were made along and some across, those along carry what the two may differ.
        The levels of pushes whose force was recorded are one measurement, with the scatter among them.
        """
        used = [grip for grip in self.grips if grip.measurement.state == state]
        if self.along is not None:
            ratio, u = self.along
            return pooled(
                [
                    as_across(grip.measurement, ratio, u) if grip.direction == ALONG else grip.measurement
                    for grip in used
                ]
            )
        if len({grip.direction for grip in used if grip.direction}) < 2:
            return pooled([grip.measurement for grip in used])
        extra = {"grip along against across": ALONG_AGAINST_ACROSS_U}
        return pooled(
            [
                replace(grip.measurement, shared={**grip.measurement.shared, **extra})
                if grip.direction == ALONG and grip.measurement.quantity != "ratio"
                else grip.measurement
                for grip in used
            ]
        )


def like_grips(cards: CardSet, log: BenchLog) -> LikeGrips:
    """The grip measurements of this car on the tyres and the surface of the test card; others are left out and told.

    A push that was set aside, or its clip, or its weighing, tells no grip by its force either.

    Raises InputError when the test card does not say which of several it asks about.
    """
    found = [grip for record in standing(log, GRIP) if (grip := _grip(record, cards, log)) is not None]
    kept = {record.id for record in own_or_imported([grip.record for grip in found], log)}
    clips, gone = {record.id for record in log.records(kind=PUSH)}, reasons_aside(log).keys()
    found = [grip for grip in found if grip.record.inputs.push_number is None or not gone & {*grip.record.parents}]
    found = _each_push_once([grip for grip in found if grip.record.id in kept], clips)
    asked = subject_of(cards.test)
    groups = list(dict.fromkeys(grip.subject for grip in found))
    remarks: list[str] = []
    left_out: list[str] = []
    if asked not in groups and groups and all(_unsaid(asked, one) for one in groups):
        if len(groups) > 1:
            raise InputError(
                f"grip was measured {' and '.join(subject_words(one) for one in groups)}: they are not one grip",
                where=f"{cards.test.name}, conditions",
                remedy="Write tyres and surface under [conditions] of the test card that asks",
            )
        remarks.append(f"Measured {subject_words(groups[0])}; the test card does not say so")
        asked = groups[0]
    for other in groups:
        if other != asked:
            count = sum(grip.subject == other for grip in found)
            left_out.append(
                f"{count} measurement{'s' if count > 1 else ''} {subject_words(other)} left out: this is "
                f"{subject_words(asked)}"
            )
    used = tuple(grip for grip in found if grip.subject == asked)
    if not used:
        remarks += left_out  # what is answered then is an assumption
    along, where = along_over_across_of(cards, log, asked)
    if where and any(grip.direction == ALONG for grip in used):
        remarks.append(where)
    return LikeGrips(grips=used, remarks=tuple(remarks), left_out=tuple(left_out), along=along)


def along_over_across_of(cards: CardSet, log: BenchLog, subject: tuple[str, ...]) -> tuple[Along | None, str]:
    """Grip along over across of these tyres on this surface: the test card's, as in forecasts, else the newest in the
    log; and in words where it was found. (None, "") where nobody measured either axle."""
    card, usual = cards.test.grip, Grip()
    ratio = {"front": card.front_along, "rear": card.rear_along}
    u = {"front": card.front_along_u, "rear": card.rear_along_u}
    if (ratio, u) != ({"front": usual.front_along, "rear": usual.rear_along}, dict.fromkeys(u, usual.front_along_u)):
        return ((ratio["front"], ratio["rear"]), (u["front"], u["rear"])), ""
    found: dict[str, int] = {}
    for record in standing(log, GRIP_ALONG):  # oldest first
        try:
            then = cards_of(record, log)
        except MissingSourceError:
            continue
        if same_id(then.car, cards.car) and subject_of(then.test) == subject:
            part = record.result.part
            ratio[part], u[part], found[part] = record.result.ratio, record.result.ratio_u, record.number
    if not found:
        return None, ""
    ratios = " and ".join(f"{part} tyres {ratio[part]:.3f} (record {number})" for part, number in found.items())
    return ((ratio["front"], ratio["rear"]), (u["front"], u["rear"])), (
        f"Grip along over across as measured, which the test card does not say: {ratios}"
    )


def _each_push_once(found: Sequence[GripOnRecord], clips: Set[str]) -> list[GripOnRecord]:
    """A push that was measured again counts once, as last measured; its ratio not beside a sweep that rests on it.

    clips: ids of the records of measured clips.
    """
    swept = {one for grip in found if grip.record.inputs.tests is not None for one in grip.record.parents} & clips
    once: dict[object, GripOnRecord] = {}
    for grip in found:
        number = grip.record.inputs.push_number
        if number is None:
            once[grip.record.id] = grip
        elif grip.measurement.quantity != "ratio" or not swept.intersection(grip.record.parents):
            key = (grip.record.files, number, grip.measurement.quantity)
            once.pop(key, None)  # the newest measurement stands last
            once[key] = grip
    return list(once.values())


def subject_of(test: TestCard) -> tuple[str, ...]:
    """Tyres, treatment and surface of a test card, as they are compared."""
    return tuple(" ".join(getattr(test.conditions, key).split()).casefold() for key in SUBJECT)


def subject_words(subject: Sequence[str]) -> str:
    """In words."""
    named = [f'{name} "{value}"' for name, value in zip(SUBJECT_NAMES, subject, strict=True) if value]
    return f"with {', '.join(named)}" if named else "with no tyres and surface noted"


def _unsaid(asked: Sequence[str], measured: Sequence[str]) -> bool:
    """Whether a card leaves out what a measurement states, and contradicts nothing."""
    return all(not a or a == b for a, b in zip(asked, measured, strict=True))


def _grip(record: GripRecord, cards: CardSet, log: BenchLog) -> GripOnRecord | None:
    r = record.result
    try:
        then = cards_of(record, log)
    except MissingSourceError:
        then = None
    if then is None and record.title != cards.car.name:
        return None
    if then is not None and not same_id(then.car, cards.car):
        return None
    measurement = GripMeasurement(
        quantity=r.quantity,
        value=r.value,
        relative_u=r.relative_u,
        method=r.method,
        state=r.state,
        front_weight=r.front_weight,
        shared=r.shared,
    )
    if then is not None:
        measurement = replace(measurement, notes=notes_of(then))
    return GripOnRecord(
        measurement=measurement,
        record=record,
        subject=subject_of(then.test) if then is not None else ("",) * len(SUBJECT),
        day=record.at[:10],
        direction=record.inputs.direction or "",
    )
