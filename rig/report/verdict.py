"""The report on one comparison, and on a series of them."""

from collections.abc import Sequence
from pathlib import Path

from analysis.figures import top_view
from rig.jobs.compare import Verdict
from rig.report.files import write_bytes, write_text
from rig.report.html import Part, Table, report_html
from rig.report.words import pivot_words, table_text, turn_words, warnings_of
from rig.version import SOFTWARE

METHOD = (
    "How it was found. The clip gives the car's pose in every frame from markers on the floor and on the car; the "
    "pivot is the point of the car that stands in the same floor place before and after the slide. The forecast "
    "takes the measured wheel loads and the grip factors, and finds the motion that wastes the least power in "
    "friction while the finger advances (quasi-static sliding), integrated over the same rotation. Every input "
    "carries a standard uncertainty; the forecast's interval is a Monte Carlo over all of them (JCGM 101), the "
    "measured one follows from the scatter of the rest poses, the part of it that repeats from frame to frame, and "
    "the doubts of the cards. All intervals are 95 %."
)
COMPARED_HEADS = ("set-up", "push at", "measured pivot", "forecast pivot", "verdict")


def compared_row(verdict: Verdict) -> list[str]:
    """One row of the table of measured against forecast."""
    return [
        verdict.cards.car.name,
        f"{verdict.cards.test.push.position_pct:g} %",
        pivot_words(verdict.measured),
        pivot_words(verdict.forecast.prediction.estimate),
        verdict.comparison.verdict,
    ]


def compared_table(verdicts: Sequence[Verdict]) -> str:
    """Measured against forecast, for a terminal."""
    return table_text(COMPARED_HEADS, [compared_row(verdict) for verdict in verdicts])


def part_of(verdict: Verdict) -> Part:
    """One comparison as a part of a report."""
    prediction, weights = verdict.forecast.prediction, verdict.weighing.weights
    alt = f"Top view of {verdict.cards.car.name}. {verdict.comparison.sentence}"
    names = ("front left", "front right", "rear left", "rear right")
    loads = Table(
        caption="Corner weights",
        heads=("wheel", "g", "±", "%"),
        rows=[
            (name, f"{one.value:.1f}", f"{one.half_width:.1f}", f"{share:.1f}")
            for name, one, share in zip(names, weights.corner_g, weights.share_pct, strict=True)
        ],
    )
    pivots = Table(
        caption="Pivot",
        heads=("", "per cent of the wheelbase, 95 %", "turn per travel"),
        rows=[
            ("measured", pivot_words(verdict.measured), turn_words(verdict.measured)),
            ("forecast", pivot_words(prediction.estimate), turn_words(prediction.estimate)),
            ("balance point", f"{prediction.balance_pct:.1f} %", "0"),
        ],
    )
    doubts = Table(
        caption="What makes the forecast uncertain",
        heads=("input", "share of the variance"),
        rows=[(one.name, f"{100 * one.share:.0f} %") for one in prediction.sensitivity if one.share >= 0.005],
    )
    return Part(
        title=f"{verdict.cards.car.name}: {verdict.cards.test.name}",
        verdict=verdict.comparison.sentence,
        paragraphs=[verdict.forecast.advice, *warnings_of(verdict)],
        figure=top_view(verdict.picture),
        alt=alt,
        tables=[pivots, loads, doubts],
    )


def write_report(path: Path, title: str, verdicts: Sequence[Verdict]) -> Path:
    """Write a self-contained HTML report on one or several comparisons."""
    parts = [part_of(verdict) for verdict in verdicts]
    if len(verdicts) > 1:
        table = Table(
            caption="Measured against forecast",
            heads=COMPARED_HEADS,
            rows=[compared_row(verdict) for verdict in verdicts],
        )
        parts.insert(0, Part(title="All pushes", tables=[table]))
    parts.append(Part(title="Method", paragraphs=[METHOD]))
    records = ", ".join(str(verdict.record.number) for verdict in verdicts)
    write_text(path, report_html(title, parts, footer=f"{SOFTWARE}; records {records} of the bench log"))
    return path


def write_picture(path: Path, verdict: Verdict) -> Path:
    """Write the top view; the ending (.png, .svg, .pdf) decides the format."""
    import io

    buffer = io.BytesIO()
    top_view(verdict.picture).savefig(buffer, format=path.suffix.lstrip(".") or "png", dpi=150)
    write_bytes(path, buffer.getvalue())
    return path
