"""A report on one experiment, a series or a term, made from what the log tells."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from analysis.base.pivot import DEG_PER_CM
from analysis.base.signs import two_digits
from analysis.base.wheel_names import WHEELS
from analysis.figures.car import top_view
from analysis.statistics.quantiles import NORMAL_95
from rig.base.errors import InputError
from rig.base.files import write_bytes, write_text
from rig.base.progress import Progress
from rig.base.version import SOFTWARE
from rig.jobs.record.experiments import Contribution, Experiment, Retold
from rig.report.html import Part, Table, report_html
from rig.report.method import MEANING, SHOWN, method_part
from rig.report.other_records import other_parts
from rig.report.pdf import report_pdf
from rig.report.push_parts import answer_part, uncertainty_table
from rig.report.words.plots import budget_figure, overview_figure, save_figure, slide_figure
from rig.report.words.rounding import small_words
from rig.report.words.sentences import pivot_words, turn_words

DRAWN_IN_FULL = 4
"""A report on more pushes than this draws each from above only: a term would be hundreds of figures long."""


def report_parts(retold: Retold) -> list[Part]:
    """All parts of the report: overview when there are several pushes, each push, what else was found, the method."""
    parts = [_overview(retold)] if len(retold.experiments) > 1 or retold.untold else []
    drawn = len(retold.experiments) <= DRAWN_IN_FULL
    for experiment in retold.experiments:
        parts += _experiment_parts(experiment, drawn=drawn)
    return [*parts, *other_parts(retold.others), method_part()]


def write_experiments(
    path: Path, title: str, retold: Retold, *, figures: Path | None = None, progress: Progress | None = None
) -> list[Path]:
    """Write the report as .html or .pdf, and every figure as SVG and PNG when a folder is given.

    progress: 0..1 over the parts of a PDF, which take a second each.
    Returns what was written. Raises InputError for another ending.
    """
    if path.suffix.lower() not in (".html", ".pdf"):
        raise InputError(
            f'"{path.suffix}" is not a kind of report', where=str(path), remedy="End the name in .html or .pdf"
        )
    parts = report_parts(retold)
    numbers = sorted(
        {number for experiment in retold.experiments for number in experiment.records}
        | {record.number for record in retold.others}
    )
    footer = f"Made from the bench log by {SOFTWARE}; records {_ranges(numbers)}. All intervals are 95 %."
    if path.suffix.lower() == ".pdf":
        write_bytes(path, report_pdf(title, parts, footer=footer, progress=progress))
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


def _overview(retold: Retold) -> Part:
    rows = [
        (
            str(experiment.record.number),
            experiment.record.at[:10],
            experiment.cards.car.name,
            f"{experiment.cards.test.push.position_pct:.3g} %",
            pivot_words(experiment.measured) if experiment.measured else "not measured",
            pivot_words(experiment.predicted) if experiment.predicted else "no forecast",
            experiment.comparison.verdict if experiment.comparison else "",
        )
        for experiment in retold.experiments
    ]
    heads = ("record", "day", "car", "push at", "measured pivot", "forecast pivot", "verdict")
    verdicts = Counter(experiment.comparison.verdict for experiment in retold.experiments if experiment.comparison)
    counted = ", ".join(f"{count} × {verdict}" for verdict, count in verdicts.most_common())
    paragraphs = [
        f"{len(retold.experiments)} experiments{f' with these verdicts: {counted}' if counted else ''}.",
        *(f"Record {number} could not be told: {why}." for number, why in retold.untold.items()),
    ]
    return Part(
        title="All experiments",
        paragraphs=paragraphs,
        figure=overview_figure(retold.experiments) if retold.experiments else None,
        alt="Measured and forecast turn per travel of every experiment with their intervals",
        tables=[Table(caption="Measured against forecast", heads=heads, rows=rows)],
    )


def _experiment_parts(experiment: Experiment, *, drawn: bool) -> list[Part]:
    """drawn: the slide and the uncertainties as figures, too, beside the words and tables that say the same."""
    name = experiment.cards.test.name
    advice = experiment.forecast.advice if experiment.forecast else ""
    first = Part(
        title=f"{experiment.cards.car.name}: {name}",
        verdict=experiment.sentence,
        paragraphs=[
            text
            for text in (advice, *(f"Note: {text}" for text in (*experiment.warnings, *experiment.missing)))
            if text
        ],
        figure=top_view(experiment.picture),
        alt=f"Top view of {experiment.cards.car.name}. {experiment.sentence}",
        tables=[_pivots(experiment), *_loads(experiment)],
    )
    answer = experiment.answer
    parts = [first]
    if answer is not None:
        parts = [
            answer_part(experiment.cards, answer),
            replace(first, title=f"How this was found: {name}", folded=True),
        ]
    if experiment.track is not None:
        parts.append(
            Part(
                folded=answer is not None,
                title=f"How the pivot was found: {name}",
                paragraphs=_story(experiment),
                figure=slide_figure(experiment.track) if drawn else None,
                alt="Way and turn of the car over time",
            )
        )
    tables = [
        _budget(f"{side} turn per travel", parts_of)
        for side, parts_of in (("Measured", experiment.measured_budget), ("Forecast", experiment.forecast_budget))
        if parts_of
    ]
    tables += uncertainty_table(answer) if answer is not None else []
    if tables:
        parts.append(
            Part(
                folded=answer is not None,
                title=f"Where the ± comes from: {name}"
                if answer is not None
                else f"Where the uncertainty comes from: {name}",
                paragraphs=_budget_words(experiment),
                figure=budget_figure(experiment) if drawn else None,
                alt="Bars: how much each cause of doubt contributes",
                tables=tables,
            )
        )
    return parts


def _pivots(experiment: Experiment) -> Table:
    rows = []
    if experiment.measured is not None:
        rows.append(("measured", pivot_words(experiment.measured), turn_words(experiment.measured)))
    if experiment.predicted is not None and experiment.forecast is not None:
        rows.append(("forecast", pivot_words(experiment.predicted), turn_words(experiment.predicted)))
        rows.append(("balance point", f"{experiment.forecast.balance_pct:.1f} %", "0"))
    return Table(caption="Pivot", heads=("", "per cent of the wheelbase, 95 %", "turn per travel"), rows=rows)


def _loads(experiment: Experiment) -> list[Table]:
    if experiment.weights is None:
        return []
    rows = [
        (name, f"{load.value:.1f}", f"{load.half_width:.1f}", f"{share:.1f}")
        for name, load, share in zip(WHEELS, experiment.weights.corner_g, experiment.weights.share_pct, strict=True)
    ]
    return [Table(caption="Corner weights", heads=("wheel", "g", "±", "%"), rows=rows)]


def _story(experiment: Experiment) -> list[str]:
    """The way from the clip to the number, with this push's own figures, so that it can be done again by hand."""
    push, clip, measured = experiment.push, experiment.clip, experiment.measured
    assert push is not None  # what a track came of
    assert clip is not None
    assert measured is not None
    before, after = push.rest_frames
    half_mm = measured.wheelbase * 500
    turn, travel = push.turn_deg, push.travel_mm
    story = [
        f"{clip.frames_read} pictures were read, {clip.frames_left_out} left out. The car stood still until "
        f"{push.start_s:.2f} s ({before} pictures averaged) and again from {push.end_s:.2f} s ({after} pictures "
        "averaged).",
        f"Between these rests its middle went {abs(travel):.2f} ± {NORMAL_95 * push.travel_u_mm:.2f} mm sideways and "
        f"the car turned {abs(turn):.2f} ± {NORMAL_95 * push.turn_u_deg:.2f} degrees.",
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


def _budget_words(experiment: Experiment) -> list[str]:
    sentences = []
    for side, parts, estimate in (
        ("measured", experiment.measured_budget, experiment.measured),
        ("forecast", experiment.forecast_budget, experiment.predicted),
    ):
        if parts and estimate is not None:
            top, half = parts[0], NORMAL_95 * estimate.kappa_u * DEG_PER_CM
            sentences.append(
                f"The {side} turn per travel is known to ± {two_digits(half)} °/cm. Most "
                f"of it comes from {SHOWN.get(top.name, top.name)}: {MEANING.get(top.name, top.name)}. Without it "
                f"± {two_digits(half * max(1 - top.share, 0.0) ** 0.5)} would remain."
            )
    return sentences


def _budget(caption: str, parts: Sequence[Contribution]) -> Table:
    rows = [
        (
            SHOWN.get(part.name, part.name),
            MEANING.get(part.name, ""),
            small_words(NORMAL_95 * part.u * DEG_PER_CM),
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
