"""What a term's log holds beside filmed pushes: weighings, grip, set-up series and tyre ladders, told in a report."""

from collections import Counter
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from analysis.base.pivot import DEG_PER_CM
from analysis.figures.car import FORECAST, MEASURED
from analysis.statistics.quantiles import NORMAL_95
from rig.jobs.pushing.balance import answer_from
from rig.jobs.weighing.calibrate import AS_SHOWN
from rig.lookups.cards_and_pivots import estimate_from
from rig.records.aside import ASIDE
from rig.records.balance import BALANCE, CHANGE
from rig.records.camera import CAMERA_CALIBRATION, CAR_MARKERS, FLOOR_LAYOUT, PLATE_PLACE
from rig.records.classroom import FIRST_TRY
from rig.records.force import FINGER_CELL, PUSH_FORCE
from rig.records.grip import GRIP, GRIP_ALONG, INFERENCE
from rig.records.moving import DRIVE, LOAD_SENSITIVITY, TILTED_PADS
from rig.records.pushing import COMPARISON, PREDICTION, PUSH
from rig.records.record import AnyRecord, Record
from rig.records.series import LADDER, SERIES, EffectRow, EffectsResult, LadderInputs, LadderResult, SeriesInputs
from rig.records.weighing import CALIBRATION, CG_HEIGHT, CROSS_WEIGHT, SHIM, WEIGHING, EstimateRow
from rig.report.html import Part, Table
from rig.report.words.effect_lines import TURN_HEADS, turn_rows
from rig.report.words.push_answer import what_happened
from rig.report.words.rounding import small_words, with_uncertainty
from rig.report.words.sentences import pivot_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def other_parts(records: Sequence[AnyRecord]) -> list[Part]:
    """One part with a line for each record that says something by itself, then one for each series and ladder.

    Kinds that are raw material (zeros, readings by key) are only counted.
    """
    records = sorted(records, key=lambda record: record.number)
    rows = [
        (str(record.number), record.at[:10], record.kind, record.title, record_words(record))
        for record in records
        if record.kind in WORDS
    ]
    uncounted = Counter(
        record.kind
        for record in records
        if record.kind not in WORDS and record.kind not in (SERIES.name, LADDER.name, BALANCE.name)
    )
    parts = []
    if rows or uncounted:
        counted = ", ".join(f"{count} × {kind}" for kind, count in uncounted.most_common())
        parts.append(
            Part(
                title="Besides the pushes",
                paragraphs=[f"Also in the log: {counted}."] if counted else [],
                tables=[
                    Table(
                        caption="Weighed, measured and prepared",
                        heads=("record", "day", "what", "of", "found"),
                        rows=rows,
                    )
                ]
                if rows
                else [],
            )
        )
    parts += [_series(SERIES.of(record)) for record in records if SERIES.holds(record)]
    parts += [_ladder(LADDER.of(record)) for record in records if LADDER.holds(record)]
    return parts


def _plus(estimate: EstimateRow, unit: str, digits: int = 1) -> str:
    """An estimate as it stands in the log, with the half-width of its interval."""
    half = 0.5 * (estimate.interval[1] - estimate.interval[0])
    return f"{estimate.value:.{digits}f} ± {half:.{digits}f} {unit}"


def _weighing(record: AnyRecord) -> str:
    result = WEIGHING.of(record).result
    return (
        f"{_plus(result.total_g, 'g')}; front {_plus(result.front_pct, '%', 2)}, left "
        f"{_plus(result.left_pct, '%', 2)}, cross weight (front right with rear left) "
        f"{_plus(result.diagonal_fr_rl_pct, '%', 2)}"
    )


def _grip(record: AnyRecord) -> str:
    result = GRIP.of(record).result
    half = NORMAL_95 * result.value * result.relative_u
    return f"{result.quantity} ({result.state}) {result.value:.3f} ± {half:.3f}, {result.method}"


def _grip_along(record: AnyRecord) -> str:
    result = GRIP_ALONG.of(record).result
    return (
        f"{result.part} tyres grip {result.ratio:.3f} ± {NORMAL_95 * result.ratio_u:.3f} times as well along as across"
    )


def _calibration(record: AnyRecord) -> str:
    pads = CALIBRATION.of(record).result.pads
    if all(pad.evidence == AS_SHOWN for pad in pads):
        return f"{len(pads)} scales, taken at their word"
    return f"{len(pads)} pads from {min(p.lightest_g for p in pads):g} to {max(p.heaviest_g for p in pads):g} g"


def _inference(record: AnyRecord) -> str:
    result = INFERENCE.of(record).result
    low, high = result.interval
    return f"grip front to rear {result.grip_ratio:.3f} ({low:.3f} to {high:.3f})"


def _drive(record: AnyRecord) -> str:
    result = DRIVE.of(record).result
    return (
        f"{with_uncertainty(result.speed_m_s, result.speed_u_m_s, 'm/s')} on a radius of "
        f"{with_uncertainty(result.radius_m, result.radius_u_m, 'm')}; pivot at {result.pivot_pct:.0f} %"
    )


def _tilted(record: AnyRecord) -> str:
    far = TILTED_PADS.of(record).result.across[-1]
    return (
        f"tilted by {far.angle_deg:.1f}°: front axle {far.share_pct:.1f} ± {far.share_half_points:.1f} % of the load "
        f"that moves sideways, effective transfer height {far.height_mm:.1f} ± {far.height_half_mm:.1f} mm"
    )


def _sensitivity(record: AnyRecord) -> str:
    result = LOAD_SENSITIVITY.of(record).result
    doubt = "" if result.told_from_none else "; it cannot be told from none"
    return f"load sensitivity {result.q:.2f} ± {NORMAL_95 * result.q_u:.2f} from {_states(record)} of the car{doubt}"


def _states(record: AnyRecord) -> str:
    return f"{len(LOAD_SENSITIVITY.of(record).inputs.states)} states"


def _height(record: AnyRecord) -> str:
    result = CG_HEIGHT.of(record).result
    return f"centre of gravity {result.cg_height_mm:.1f} ± {NORMAL_95 * result.cg_height_mm_u:.1f} mm high"


def _shim(record: AnyRecord) -> str:
    return f"cross weight {SHIM.of(record).result.cross_g_per_mm:.1f} g for each mm under one pad"


def _camera(record: AnyRecord) -> str:
    result = CAMERA_CALIBRATION.of(record).result
    return f"lens from {len(result.views)} pictures, {result.rms_px:.2f} px left over"


def _floor(record: AnyRecord) -> str:
    result = FLOOR_LAYOUT.of(record).result
    return f"{len(result.markers)} sheets, each within {NORMAL_95 * result.place_u_mm:.2f} mm"


def _plate(record: AnyRecord) -> str:
    result = PLATE_PLACE.of(record).result
    return (
        f"plate {result.shift_mm[0]:+.2f} mm along and {result.shift_mm[1]:+.2f} mm across, each ± "
        f"{NORMAL_95 * result.place_mm_u:.2f} mm; turned by {result.turn_deg:+.2f}°"
    )


def _finger_cell(record: AnyRecord) -> str:
    result = FINGER_CELL.of(record).result
    return (
        f"{result.counts_per_n:,.0f} ± {NORMAL_95 * result.counts_per_n_u:,.0f} counts a newton, up to "
        f"{result.heaviest_n:.1f} N"
    )


def _force(record: AnyRecord) -> str:
    r = PUSH_FORCE.of(record).result
    return f"{r.force_N:.1f} N while it slid: grip {r.level:.2f} ± {max(NORMAL_95 * r.level * r.level_u, 0.01):.2f}"


WORDS: dict[str, Callable[[AnyRecord], str]] = {
    WEIGHING.name: _weighing,
    GRIP.name: _grip,
    GRIP_ALONG.name: _grip_along,
    CALIBRATION.name: _calibration,
    INFERENCE.name: _inference,
    DRIVE.name: _drive,
    TILTED_PADS.name: _tilted,
    LOAD_SENSITIVITY.name: _sensitivity,
    FINGER_CELL.name: _finger_cell,
    PUSH_FORCE.name: _force,
    CG_HEIGHT.name: _height,
    CROSS_WEIGHT.name: lambda record: CROSS_WEIGHT.of(record).result.steps[-1],
    SHIM.name: _shim,
    CAMERA_CALIBRATION.name: _camera,
    FLOOR_LAYOUT.name: _floor,
    PLATE_PLACE.name: _plate,
    CHANGE.name: lambda record: " ".join(CHANGE.of(record).result.sentences[:1]),
    ASIDE.name: lambda record: f"record {ASIDE.of(record).inputs.number} set aside: {ASIDE.of(record).result.why}",
    CAR_MARKERS.name: lambda record: f"{len(CAR_MARKERS.of(record).result.markers)} markers' places",
}
"""Kind of record -> what it found, in one line."""

SENTENCES: dict[str, Callable[[AnyRecord], str]] = {
    PUSH.name: lambda record: "; ".join(
        pivot_words(estimate_from(push.pivot)) for push in PUSH.of(record).result.pushes
    ),
    PREDICTION.name: lambda record: pivot_words(estimate_from(PREDICTION.of(record).result.pivot)),
    COMPARISON.name: lambda record: COMPARISON.of(record).result.sentence,
    BALANCE.name: lambda record: what_happened(answer_from(BALANCE.of(record))),
    LADDER.name: lambda record: LADDER.of(record).result.sentence,
    FIRST_TRY.name: lambda record: FIRST_TRY.of(record).result.sentence,
}
"""The same for kinds that a report tells at length."""


def record_words(record: AnyRecord) -> str:
    """What any record found, in one line; nothing for raw material."""
    words = WORDS.get(record.kind) or SENTENCES.get(record.kind)
    return "" if words is None else words(record)


def _series(record: Record[SeriesInputs, EffectsResult]) -> Part:
    result = record.result
    effects = result.effects
    clear = [f"{e.factor} ({e.reference} → {e.level})" for e in effects if e.clear]
    sentence = f"Clear: {', '.join(clear)}." if clear else "No change is told from chance yet."
    scatter = (
        f"turn per travel scatters by {result.push_u_per_m * DEG_PER_CM:.2f} °/cm"
        if result.push_u_pct is None
        else f"the balance point scatters by {small_words(result.push_u_pct)} points"
    )
    return Part(
        title=f"Series: {record.title}",
        verdict=sentence,
        paragraphs=[
            *(f"{e.factor}, {e.reference} → {e.level}: {' '.join(e.sentences)}" for e in effects if e.sentences),
            *([f"{result.no_points}."] if result.no_points else []),
            f"{result.pushes} pushes. Between pushes of one set-up {scatter}. A change counts as clear when its 95 % "
            "interval leaves zero out; the order of the set-ups was drawn by lot within blocks, so that a floor that "
            "grows slippery is not taken for an effect.",
            *([result.drift] if result.drift and result.drift not in result.warnings else []),
            *(f"Note: {text}" for text in result.warnings),
        ],
        figure=_effect_bars(effects),
        alt="Effects of the series with their intervals",
        tables=[Table(caption="Effects", heads=TURN_HEADS, rows=turn_rows(result))],
    )


def _effect_bars(effects: Sequence[EffectRow]) -> "Figure | None":
    """Balance points where every effect has them, otherwise turn per travel."""
    names = [f"{e.factor}: {e.reference} → {e.level}" for e in effects]
    points = [(e.moved_pct, e.interval_pct) for e in effects if e.moved_pct is not None and e.interval_pct is not None]
    if len(points) == len(effects):
        rows = [(name, value, ends) for name, (value, ends) in zip(names, points, strict=True)]
        return _bars(rows, "the balance moved, points of the wheelbase, forward positive (95 %)", 0.0, MEASURED)
    turns = [
        (name, e.change_per_m * DEG_PER_CM, (e.interval_per_m[0] * DEG_PER_CM, e.interval_per_m[1] * DEG_PER_CM))
        for name, e in zip(names, effects, strict=True)
    ]
    return _bars(turns, "change of turn per travel, °/cm (95 %)", 0.0, MEASURED)


def ladder_rows(record: Record[LadderInputs, LadderResult]) -> list[tuple[str, str, str, str]]:
    """Tyres, grip, its interval and rank of every rung."""
    return [
        (
            r.name,
            f"{r.grip:.3f}",
            f"{r.interval[0]:.3f} to {r.interval[1]:.3f}",
            str(r.ranks[0]) if r.ranks[0] == r.ranks[1] else f"{r.ranks[0]} to {r.ranks[1]}",
        )
        for r in record.result.rungs
    ]


def _ladder(record: Record[LadderInputs, LadderResult]) -> Part:
    return Part(
        title=f"Ladder of tyres on {record.title}",
        verdict=f"{record.result.sentence}.",
        figure=_bars(
            [(r.name, r.grip, r.interval) for r in record.result.rungs],
            "grip of the front pair over that of the pair with 1.0 (95 %)",
            1.0,
            FORECAST,
        ),
        alt="Grip of each pair of tyres with its interval",
        tables=[Table(caption="Rungs", heads=("tyres", "grip", "95 %", "rank"), rows=ladder_rows(record))],
    )


def _bars(rows: Sequence[tuple[str, float, Sequence[float]]], label: str, zero: float, color: str) -> "Figure | None":
    """Values with their intervals, one row each."""
    from matplotlib.figure import Figure

    if not rows:
        return None
    figure = Figure(figsize=(8.6, 1.1 + 0.4 * len(rows)), layout="constrained")
    axes = figure.add_subplot()
    for at, (_, value, (low, high)) in enumerate(rows):
        axes.plot([low, high], [at, at], color=color, linewidth=2)
        axes.plot([value], [at], "o", markerfacecolor="white", markeredgecolor=color)
    axes.axvline(zero, color="black", linewidth=0.8)
    axes.set_yticks(range(len(rows)), [name for name, _, _ in rows])
    axes.tick_params(axis="y", labelsize=9)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xlabel(label)
    axes.grid(axis="x", alpha=0.2)
    return figure
