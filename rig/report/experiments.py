"""A report on one experiment, a series or a term, made from what the log tells."""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from analysis.base.pivot import DEG_PER_CM
from analysis.base.wheel_names import WHEELS
from analysis.figures.car import top_view
from rig.base.errors import InputError
from rig.base.files import write_bytes, write_text
from rig.base.version import SOFTWARE
from rig.jobs.record.experiments import Contribution, Experiment, Retold
from rig.report.html import Part, Table, report_html
from rig.report.method import MEANING, method_part
from rig.report.other_records import besides_parts
from rig.report.pdf import report_pdf
from rig.report.plots import budget_figure, overview_figure, save_figure, slide_figure
from rig.report.sentences import pivot_words, turn_words

DRAWN_IN_FULL = 4
"""A report on more pushes than this draws each from above only: a term would be hundreds of figures long."""


def report_parts(told: Retold) -> list[Part]:
    """All parts of the report: overview when there are several pushes, each push, what else was found, the method."""
    parts = [_overview(told)] if len(told.experiments) > 1 or told.untold else []
    drawn = len(told.experiments) <= DRAWN_IN_FULL
    for one in told.experiments:
        parts += _experiment_parts(one, drawn=drawn)
    return [*parts, *besides_parts(told.others), method_part()]


def write_experiments(path: Path, title: str, told: Retold, *, figures: Path | None = None) -> list[Path]:
    """Write the report as .html or .pdf, and every figure as SVG and PNG when a folder is given.

    Returns what was written. Raises InputError for another ending.
    """
    if path.suffix.lower() not in (".html", ".pdf"):
        raise InputError(
            f'"{path.suffix}" is not a kind of report', where=str(path), remedy="End the name in .html or .pdf"
        )
    parts = report_parts(told)
    numbers = sorted(
        {number for one in told.experiments for number in one.records} | {record.number for record in told.others}
    )
    footer = f"Made from the bench log by {SOFTWARE}; records {_ranges(numbers)}. All intervals are 95 %."
    if path.suffix.lower() == ".pdf":
        write_bytes(path, report_pdf(title, parts, footer=footer))
    else:
        write_text(path, report_html(title, parts, footer=footer))
    return [path, *(_write_figures(figures, parts) if figures is not None else [])]


def _write_figures(folder: Path, parts: Sequence[Part]) -> list[Path]:
    written = []
    for number, part in enumerate((part for part in parts if part.figure is not None), start=1):
        name = "".join(c if c.isalnum() else "-" for c in part.title.lower())
        short = "-".join(filter(None, name.split("-")))[:60]
        for kind in ("svg", "png"):
            assert part.figure is not None
            # the smallest PNG would cost far more time
            how = {"dpi": 220, "pil_kwargs": {"compress_level": 2}} if kind == "png" else {}
            written.append(save_figure(part.figure, folder / f"{number:02d}-{short}.{kind}", **how))
    return written


def _overview(told: Retold) -> Part:
    rows = [
        (
            str(one.record.number),
            one.record.at[:10],
            one.cards.car.name,
            f"{one.cards.test.push.position_pct:.3g} %",
            pivot_words(one.measured) if one.measured else "not measured",
            pivot_words(one.predicted) if one.predicted else "no forecast",
            str(one.comparison.get("verdict", "")),
        )
        for one in told.experiments
    ]
    heads = ("record", "day", "car", "push at", "measured pivot", "forecast pivot", "verdict")
    verdicts = Counter(str(one.comparison["verdict"]) for one in told.experiments if one.comparison)
    said = ", ".join(f"{count} × {verdict}" for verdict, count in verdicts.most_common())
    paragraphs = [
        f"{len(told.experiments)} experiments{f' with these verdicts: {said}' if said else ''}.",
        *(f"Record {number} could not be told: {why}." for number, why in told.untold.items()),
    ]
    return Part(
        title="All experiments",
        paragraphs=paragraphs,
        figure=overview_figure(told.experiments) if told.experiments else None,
        alt="Measured and forecast turn per travel of every experiment with their intervals",
        tables=[Table(caption="Measured against forecast", heads=heads, rows=rows)],
    )


def _experiment_parts(one: Experiment, *, drawn: bool) -> list[Part]:
    """drawn: the slide and the doubts as figures, too, beside the words and tables that say the same."""
    name = one.cards.test.name
    advice = str(one.forecast.get("advice", ""))
    first = Part(
        title=f"{one.cards.car.name}: {name}",
        verdict=one.sentence,
        paragraphs=[text for text in (advice, *(f"Note: {text}" for text in (*one.warnings, *one.missing))) if text],
        figure=top_view(one.picture),
        alt=f"Top view of {one.cards.car.name}. {one.sentence}",
        tables=[_pivots(one), *_loads(one)],
    )
    parts = [first]
    if one.track is not None:
        parts.append(
            Part(
                title=f"How the pivot was found: {name}",
                paragraphs=_story(one),
                figure=slide_figure(one.track) if drawn else None,
                alt="Way and turn of the car over time",
            )
        )
    tables = [
        _budget(f"{side} turn per travel", parts_of)
        for side, parts_of in (("Measured", one.measured_budget), ("Forecast", one.forecast_budget))
        if parts_of
    ]
    if tables:
        parts.append(
            Part(
                title=f"Where the uncertainty comes from: {name}",
                paragraphs=_budget_words(one),
                figure=budget_figure(one) if drawn else None,
                alt="Bars: how much each cause of doubt contributes",
                tables=tables,
            )
        )
    return parts


def _pivots(one: Experiment) -> Table:
    rows = []
    if one.measured is not None:
        rows.append(("measured", pivot_words(one.measured), turn_words(one.measured)))
    if one.predicted is not None:
        rows.append(("forecast", pivot_words(one.predicted), turn_words(one.predicted)))
        rows.append(("balance point", f"{one.forecast['balance_pct']:.1f} %", "0"))
    return Table(caption="Pivot", heads=("", "per cent of the wheelbase, 95 %", "turn per travel"), rows=rows)


def _loads(one: Experiment) -> list[Table]:
    if one.weights is None:
        return []
    rows = [
        (name, f"{load.value:.1f}", f"{load.half_width:.1f}", f"{share:.1f}")
        for name, load, share in zip(WHEELS, one.weights.corner_g, one.weights.share_pct, strict=True)
    ]
    return [Table(caption="Corner weights", heads=("wheel", "g", "±", "%"), rows=rows)]


def _story(one: Experiment) -> list[str]:
    """The way from the clip to the number, with this push's own figures, so that it can be done again by hand."""
    push, clip, measured = one.push, one.clip, one.measured
    assert measured is not None
    before, after = push["rest_frames"]
    half_mm = measured.wheelbase * 500
    turn, travel = push["turn_deg"], push["travel_mm"]
    story = [
        f"{clip['frames_read']} pictures were read, {clip['frames_left_out']} left out. The car stood still until "
        f"{push['start_s']:.2f} s ({before} pictures averaged) and again from {push['end_s']:.2f} s ({after} pictures "
        "averaged).",
        f"Between these rests its middle went {abs(travel):.2f} ± {1.96 * push['travel_u_mm']:.2f} mm sideways and the "
        f"car turned {abs(turn):.2f} ± {1.96 * push['turn_u_deg']:.2f} degrees.",
    ]
    if measured.station_pct is not None and measured.finding == "pivot":
        away = 1000 / measured.kappa
        story.append(
            f"By hand: {abs(travel):.2f} mm over {abs(turn):.2f} degrees puts the pivot {abs(away):.1f} mm "
            f"{'behind' if away > 0 else 'ahead of'} the middle of the wheelbase, which lies {half_mm:.1f} mm ahead of "
            f"the rear axle; so the pivot is at {half_mm - away:.1f} mm, or {measured.station_pct:.1f} % of the "
            "wheelbase."
        )
    return story


def _budget_words(one: Experiment) -> list[str]:
    said = []
    for side, parts, estimate in (
        ("measured", one.measured_budget, one.measured),
        ("forecast", one.forecast_budget, one.predicted),
    ):
        if parts and estimate is not None:
            top = parts[0]
            said.append(
                f"The {side} turn per travel is known to ± {1.96 * estimate.kappa_u * DEG_PER_CM:.3f} °/cm. Most of it "
                f"comes from {top.name}: {MEANING.get(top.name, top.name)}. Without it "
                f"± {1.96 * estimate.kappa_u * max(1 - top.share, 0.0) ** 0.5 * DEG_PER_CM:.3f} would remain."
            )
    return said


def _budget(caption: str, parts: Sequence[Contribution]) -> Table:
    rows = [
        (
            part.name,
            MEANING.get(part.name, ""),
            f"{1.96 * part.u * DEG_PER_CM:.3f}",
            f"{100 * part.share:.1f} %" if part.share >= 0.0005 else "< 0.1 %",
        )
        for part in parts
    ]
    return Table(caption=caption, heads=("cause", "what it is", "± alone, °/cm", "share"), rows=rows)


def _ranges(numbers: Sequence[int]) -> str:
    """1, 2, 3, 7 as "1-3, 7"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)
