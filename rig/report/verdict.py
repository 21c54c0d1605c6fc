"""Comparisons that were just made: a table for a terminal, and the picture. Reports are made from the log."""

from collections.abc import Sequence
from pathlib import Path

from analysis.figures.car import top_view
from rig.base.files import write_bytes
from rig.jobs.pushing.compare import Verdict
from rig.report.words import pivot_words, table_text


def compared_table(verdicts: Sequence[Verdict]) -> str:
    """Measured against forecast, for a terminal."""
    rows = [
        [
            verdict.cards.car.name,
            f"{verdict.cards.test.push.position_pct:g} %",
            pivot_words(verdict.measured),
            pivot_words(verdict.forecast.prediction.estimate),
            verdict.comparison.verdict,
        ]
        for verdict in verdicts
    ]
    return table_text(("set-up", "push at", "measured pivot", "forecast pivot", "verdict"), rows)


def write_picture(path: Path, verdict: Verdict) -> Path:
    """Write the top view; the ending (.png, .svg, .pdf) decides the format."""
    import io

    buffer = io.BytesIO()
    top_view(verdict.picture).savefig(buffer, format=path.suffix.lstrip(".") or "png", dpi=150)
    write_bytes(path, buffer.getvalue())
    return path
