"""The demo as a story: one table, one picture, the film of the first change, and what the pushes ahead show."""

import base64
from dataclasses import dataclass
from pathlib import Path

from analysis.balance.results import BalanceChange, ChangeFinding
from analysis.figures.pushed_cars import cars_from_above
from analysis.set_ups.change_words import points_words
from rig.base.files import write_text
from rig.base.version import SOFTWARE
from rig.jobs.demo.demo import Demo, DemoRow
from rig.jobs.series.change_film import drawn_car
from rig.log.store import BenchLog
from rig.report.html import Part, Table, report_html
from rig.report.words.change_words import ChangeFiles, film_text, write_change
from rig.report.words.plots import save_figure
from rig.report.words.push_answer import measured_words, place_sentence, seen_short, what_happened
from rig.report.words.rounding import plus_minus

STORY_HEADS = ("set-up", "by weights and grip", "by the push", "what you saw")
AGAIN_HEADS = ("set-up", "pushed again at", "by the push", "what you saw")


@dataclass(frozen=True, slots=True, kw_only=True)
class StoryFiles:
    """What was written."""

    page: Path
    picture: Path
    film: ChangeFiles


def story_rows(found: Demo) -> list[tuple[str, str, str, str]]:
    """The pushes at the middle: set-up, both balance points, what was seen."""
    return [(row.setup.title, _by_weights(row), _by_push(row), seen_short(row.answer)) for row in found.first]


def again_rows(found: Demo) -> list[tuple[str, str, str, str]]:
    """The pushes at the balance point that the first ones found."""
    return [
        (row.setup.title, f"{row.push_position_pct:g} %", _by_push(row), seen_short(row.answer)) for row in found.again
    ]


def changes_sentence(found: Demo) -> str:
    """ "More front grip moved the balance forward by 3.1 ± 0.9 points; ballast at the rear moved it back by ..."."""
    parts = [
        f"{row.setup.title} {_moved_words(change.change, last=number == 0)}"
        for number, (row, change) in enumerate(zip(found.first[1:], found.changes, strict=True))
    ]
    sentence = "; ".join(parts)
    return f"{sentence[:1].upper()}{sentence[1:]}."


def _moved_words(change: BalanceChange, *, last: bool) -> str:
    """last: with the unit."""
    if change.moved is None or change.finding is ChangeFinding.CANNOT_TELL:
        return f"cannot be told: {change.reason}"
    if change.finding is ChangeFinding.NO_CHANGE_SEEN:
        return f"moved the balance by no more than {change.bound or 0.0:.1f} points"
    half = (change.moved.interval[1] - change.moved.interval[0]) / 2
    way = "forward" if change.moved.value > 0 else "back"
    return f"moved the balance {way} by {points_words(abs(change.moved.value), half)}{' points' if last else ''}"


def write_story(out: Path, found: Demo, log: BenchLog) -> StoryFiles:
    """Write story.html, the picture of the cars (SVG and PNG) and the film of the first change.

    Raises the rooms' errors.
    """
    cars = [
        drawn_car(row.verdict.cards, row.answer, f"{row.setup.title}\n{seen_short(row.answer).split(' (')[0]}")
        for row in found.first
    ]
    figure = cars_from_above(cars)
    picture = save_figure(figure, out / "three-cars.png", dpi=110)
    save_figure(figure, out / "three-cars.svg")
    film = write_change(out, found.changes[0], log, stem="first-change")
    shown = "" if film.film is None else _data(film.film)
    parts = [
        Part(
            title="Pushed at the middle",
            verdict=changes_sentence(found),
            paragraphs=[what_happened(row.answer) + f" ({row.setup.title})" for row in found.first],
            figure=figure,
            alt="Three cars from above, nose up. "
            + " ".join(f"{row.setup.title}: {seen_short(row.answer)}." for row in found.first),
            tables=[
                Table(
                    caption="The balance point, per cent ahead of the rear axle",
                    heads=STORY_HEADS,
                    rows=story_rows(found),
                )
            ],
        ),
        Part(
            title="The first change, filmed from above",
            paragraphs=film_text(found.changes[0]).splitlines() + ([film.why] if film.why else []),
            film=shown,
            alt="Two pushes side by side from above; the text above says what it shows",
        ),
        Part(
            title="Pushed again, at the balance point just found",
            paragraphs=["Pushed there, a car goes straight: that is what the balance point means."],
            tables=[Table(caption="Each car once more", heads=AGAIN_HEADS, rows=again_rows(found))],
        ),
        Part(
            title="Second chapter: why the point lies behind the car when I push near the nose",
            paragraphs=_second_chapter(found),
            folded=True,
        ),
    ]
    page = out / "story.html"
    write_text(page, report_html("Dunlin in three set-ups", parts, footer=f"{SOFTWARE}. All ± are 95 %."))
    return StoryFiles(page=page, picture=picture, film=film)


def _second_chapter(found: Demo) -> list[str]:
    ahead = [row for row in found.rows if row not in found.first]
    lines = [f"{row.setup.title}: {what_happened(row.answer)} {place_sentence(row.answer)}".strip() for row in ahead]
    return [
        "Pushed well ahead of the balance point, a car with blocked wheels turns about a point behind its rear axle.",
        *lines,
        "The same changes show here, too, but about ten times smaller, and more front grip moves this point backward: "
        "that is why the balance point is told first.",
    ]


def _by_weights(row: DemoRow) -> str:
    known = row.answer.by_weights
    return "" if known is None else plus_minus(known.pct, known.interval_pct, "")


def _by_push(row: DemoRow) -> str:
    balance = row.answer.balance
    return "" if balance is None else measured_words(balance).removesuffix(" %")


def _data(film: Path) -> str:
    return "data:video/webm;base64," + base64.b64encode(film.read_bytes()).decode("ascii")
