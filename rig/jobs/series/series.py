"""Series of pushes: planned in a table, pushed, analysed; the grip ladder; what to change to reach a wanted pivot."""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np

from analysis.balance.results import ChangeFinding
from analysis.base.arrays import FloatArray
from analysis.forecast.changes import Ballast, Change, pivot_map, to_reach
from analysis.grip.inference import infer
from analysis.series.effects import SeriesPush, SeriesResult, analyse_series, pushes_needed
from analysis.series.ladder import Ladder, LadderEntry, grip_ladder
from analysis.series.plan import PlannedPush, Repetition, full_factorial, plan_series
from analysis.statistics.headings import kappa_change
from rig.base.errors import InputError
from rig.base.files import small_file
from rig.base.printable import UNPRINTABLE
from rig.cards.measures import MM, wheelbase
from rig.cards.mechanics import push_state
from rig.cards.read import CardSet, Choices
from rig.jobs.series.effect_points import EffectsInPoints, effects_in_points
from rig.jobs.series.evidence import PushOnRecord, conditions_that_differ, measured_pushes, notes_of, same_test
from rig.jobs.series.plan_rows import pushes_of_plan
from rig.jobs.weighing.bench_figures import refuse_wanted_place
from rig.jobs.weighing.weights import Weighing, weighed_car
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.record import Record
from rig.records.series import (
    LADDER,
    SERIES,
    EffectRow,
    EffectsResult,
    LadderInputs,
    LadderResult,
    RungRow,
    SeriesInputs,
)

PLAN_HEADS = ("number", "block", "role", "side", "station_pct", "board_turn_deg", "recorded", "do_first", "test")


def plan_table(
    factors: Mapping[str, Sequence[str]],
    *,
    station_pct: float | tuple[float, float] = 50.0,
    repeats: int = 4,
    run_in: int = 2,
    rounds: int = 1,
    slow: Sequence[str] = (),
    seed: int = 0,
) -> str:
    """A plan as CSV: one row a push, in the order to push; the column `test` is to be filled with test cards.

    factors: name -> levels; the first level of each is the baseline, pushed again at the end.
    """
    for place in station_pct if isinstance(station_pct, tuple) else (station_pct,):
        refuse_wanted_place(place, "push position")
    setups = full_factorial(factors) if factors else ({},)
    baseline = {name: levels[0] for name, levels in factors.items()} if factors else None
    plan = plan_series(
        setups,
        often=Repetition(repeats=repeats, run_in=run_in, rounds=rounds),
        rng=np.random.default_rng(seed),
        slow=slow,
        baseline=baseline,
        station_pct=station_pct,
    )
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow([*PLAN_HEADS, *factors])
    for push in plan:
        writer.writerow(_plan_row(push, list(factors)))
    return text.getvalue()


def _plan_row(push: PlannedPush, factors: list[str]) -> list[object]:
    return [
        push.number,
        push.block,
        push.role,
        push.side,
        push.station_pct,
        push.board_turn_deg,
        "yes" if push.recorded else "no",
        "; ".join(push.do_first),
        "",
        *(push.setup[name] for name in factors),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """What a series showed. result: in turn per travel.  points: in balance points, or why there are none.

    needed: pushes a set-up to tell 2 % of the wheelbase apart by turn per travel.  remarks: to be told before any
    figure.
    """

    result: SeriesResult
    points: EffectsInPoints | str
    needed: int | None
    warnings: tuple[str, ...]
    record: Record[SeriesInputs, EffectsResult]
    remarks: tuple[str, ...]


def analyse_plan(path: Path, log: BenchLog, choices: Choices | None = None) -> Series:
    """Effects of the factors in a filled-in plan. Raises InputError naming the row that cannot be used."""
    rows, factors = read_plan_table(path)
    pushed = pushes_of_plan(rows, factors, path, log, choices or Choices())
    used = pushed.used
    pushes = [
        SeriesPush(
            setup={name: row[name] for name in factors},
            block=int(row["block"]),
            kappa=push.measured.kappa,
            kappa_u=push.measured.kappa_u,
            order=float(row["number"]),
        )
        for row, push in used
    ]
    result = analyse_series(pushes)
    sets = [push.cards for _, push in used]
    length = wheelbase(sets[0].car)
    middle = float(np.median([push.kappa for push in pushes]))
    station = 100 * (0.5 - 1 / (middle * length)) if middle else 1e6
    needed = pushes_needed(abs(kappa_change(station, 2.0, length)), result.push_u)
    points = effects_in_points(used, factors, log)
    record = log.record(
        SERIES,
        path.stem,
        inputs=SeriesInputs(plan=path.read_text(encoding="utf-8")),
        result=_series_record(result, points),
        cards=keep_cards(log, sets[0]),
        parents=[push.record.id for _, push in used],
    )
    return Series(
        result=result,
        points=points,
        needed=needed,
        warnings=tuple(conditions_that_differ(sets)),
        record=record,
        remarks=pushed.remarks,
    )


def _series_record(result: SeriesResult, points: EffectsInPoints | str) -> EffectsResult:
    rows = [
        EffectRow(
            factor=e.factor,
            level=e.level,
            reference=e.reference,
            change_per_m=e.change,
            interval_per_m=e.interval,
            clear=bool(e.clear),
        )
        for e in result.effects
    ]
    shown = result
    if not isinstance(points, str):
        shown = points.result
        rows = [
            msgspec.structs.replace(
                row,
                clear=change.finding in (ChangeFinding.MOVED_FORWARD, ChangeFinding.MOVED_BACKWARD),
                finding=change.finding.value,
                moved_pct=None if change.moved is None else change.moved.value,
                interval_pct=None if change.moved is None else change.moved.interval,
                bound_pct=change.bound,
                more_pushes=change.more_pushes,
                sentences=sentences,
            )
            for row, change, sentences in zip(rows, points.changes, points.sentences, strict=True)
        ]
    return EffectsResult(
        effects=tuple(rows),
        push_u_per_m=result.push_u,
        block_u_per_m=result.block_u,
        pushes=result.pushes,
        drift=None if shown.drift is None else shown.drift.sentence,
        warnings=shown.warnings,
        push_u_pct=None if shown is result else shown.push_u,
        block_u_pct=None if shown is result else shown.block_u,
        no_points=points if isinstance(points, str) else "",
    )


def read_plan_table(path: Path) -> tuple[list[dict[str, str]], list[str]]:
    """A plan's rows by their heads, and its heads as they stand. Raises InputError for what is no plan."""
    try:
        reader = csv.DictReader(io.StringIO(small_file(path, "plan").decode("utf-8-sig"), newline=""))
        rows = [{key: value or "" for key, value in row.items() if key is not None} for row in reader]
        heads = list(reader.fieldnames or [])
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(
            f"this plan cannot be read ({error})",
            where=str(path),
            remedy="Write one with: pivotbench change plan FILE, keep it as CSV in UTF-8",
        ) from error
    missing = [head for head in PLAN_HEADS if head not in heads]
    if missing:
        raise InputError(
            f"the column {missing[0]} is missing",
            where=str(path),
            remedy=f"A plan has the columns {', '.join(PLAN_HEADS)} and one for each factor",
        )
    for line, row in enumerate([{head: head for head in heads}, *rows], start=1):
        if any(UNPRINTABLE.search(text) for text in row.values()):
            raise InputError(
                "a cell holds a character that steers the terminal instead of being shown",
                where=f"{path}, line {line}",
                remedy="Type it anew, do not paste it",
            )
    for line, row in enumerate(rows, start=2):
        # as int() reads them: digits like ² are none, and nobody plans a billion pushes
        if not all(row[head].isdecimal() and len(row[head]) <= 9 for head in ("number", "block")):
            raise InputError(
                "number and block must be whole numbers",
                where=f"{path}, line {line}",
                remedy="Leave these columns as they were planned",
            )
    return rows, [head for head in heads if head not in PLAN_HEADS]


LadderRecord = Record[LadderInputs, LadderResult]


def ladder_of(sets: Sequence[CardSet], log: BenchLog) -> tuple[Ladder, LadderRecord, tuple[str, ...]]:
    """Rank front tyre pairs on one reference car from their measured pushes, blocked wheels.

    Repeats of one test card make one entry. Returns what to tell before the figures, too.
    """
    gathered = measured_pushes(sets, log)
    pushes = gathered.pushes
    entries = []
    repeats: list[list[PushOnRecord]] = []
    for push in pushes:
        group = next((one for one in repeats if same_test(one[0].cards, push.cards)), None)
        if group is None:
            repeats.append([push])
        else:
            group.append(push)
    for push, *more in repeats:
        found = infer([one.evidence for one in (push, *more)]).grip_ratio
        name = push.cards.test.conditions.compound_front or push.cards.test.name
        entries.append(
            LadderEntry(name=name, log_ratio=float(np.log(found.value)), log_u=found.u, notes=notes_of(push.cards))
        )
    ladder = grip_ladder(entries)
    record = log.record(
        LADDER,
        sets[0].car.name,
        inputs=LadderInputs(tests=tuple(cards.test.name for cards in sets)),
        result=LadderResult(
            rungs=tuple(RungRow(name=r.name, grip=r.grip, interval=r.interval, ranks=r.ranks) for r in ladder.rungs),
            sentence=ladder.sentence,
        ),
        cards=keep_cards(log, sets[0]),
        parents=[push.record.id for push in pushes],
    )
    return ladder, record, gathered.remarks


def changes_for(
    cards: CardSet,
    weighing: Weighing,
    wanted_pct: float,
    *,
    ballast_g: float | None = None,
    ballast_mm: float = 0.0,
    seed: int = 0,
) -> tuple[Change, ...]:
    """Single changes that bring the pivot to a wanted station, ranked. ballast_mm: where it lies now.

    Raises InputError for a station that reads as a fraction.
    """
    refuse_wanted_place(wanted_pct, "wanted pivot")
    car = weighed_car(cards, weighing)
    ballast = None
    if ballast_g is not None:
        g = cards.car.geometry
        low, high = -g.body_rear_mm, g.wheelbase_mm + g.body_front_mm
        ballast = Ballast(mass=ballast_g / 1000, station=ballast_mm * MM, low=low * MM, high=high * MM)
    return to_reach(
        car, push_state(cards.car, cards.test), wanted_pct, rng=np.random.default_rng(seed), ballast=ballast
    )


def map_of(cards: CardSet, weighing: Weighing, stations_pct: FloatArray, ratios: FloatArray) -> FloatArray:
    """kappa (n, m), 1/m. stations_pct: (n,), where it is pushed.  ratios: (m,), front-to-rear grip."""
    car = weighed_car(cards, weighing)
    return pivot_map(
        car, push_state(cards.car, cards.test), station=stations_pct / 100 * wheelbase(cards.car), grip_ratio=ratios
    )
