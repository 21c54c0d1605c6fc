"""The answer about two set-ups: sentences, the drawing of both cars, and the film with its captions and its text."""

from dataclasses import dataclass
from pathlib import Path

from analysis.figures.pushed_cars import cars_from_above
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.base.spelled import HANDLER
from rig.jobs.pushing.balance import PushAnswer
from rig.jobs.series.answered_pushes import PushesOf
from rig.jobs.series.change import SetUpsCompared
from rig.jobs.series.change_film import drawn_car, film_of_setups, film_pushes
from rig.log.store import BenchLog
from rig.report.words.plots import save_figure
from rig.report.words.push_answer import balance_rows, measured_words, seen_short, what_happened
from vision.base.errors import VisionError


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeFiles:
    """What was written. film, still and words are None where a clip cannot be shown; why says so."""

    picture: Path
    film: Path | None = None
    still: Path | None = None
    words: Path | None = None
    why: str = ""


def change_lines(found: SetUpsCompared) -> list[str]:
    """The answer for a terminal, the finding first; what it rests on (`found.remarks`) is told before it."""
    lines = [*found.record.result.sentences, *(note for note in found.notes if note not in found.remarks)]
    if min(found.change.pushes) == 1:
        lines.append("Repeats make it surer: push in the order A B B A, placing the car anew each time.")
    rows = [(_name(pushes), seen_short(answer), _figure(answer)) for pushes, answer in _each(found)]
    widths = [max(len(row[column]) for row in rows) for column in (0, 1)]
    return [*lines, "", *(f"{a:<{widths[0]}}   {b:<{widths[1]}}   {c}".rstrip() for a, b, c in rows)]


def write_change(
    folder: Path, found: SetUpsCompared, log: BenchLog, *, stem: str = "", progress: Progress | None = None
) -> ChangeFiles:
    """Write the picture of both cars, the film, its still and its text. Raises the rooms' errors.

    stem: of the files' names; otherwise made from the names of the two test cards.
    """
    first = [(pushes, pushes.answers[0]) for pushes in (found.a, found.b)]
    stem = stem or f"change-{_plain(_name(found.a))}-{_plain(_name(found.b))}"
    cars = [
        drawn_car(pushes.cards, answer, f"{_name(pushes)}\n{seen_short(answer).split(' (')[0]}")
        for pushes, answer in first
    ]
    picture = save_figure(cars_from_above(cars), folder / f"{stem}.png", dpi=110)
    try:
        sides = film_of_setups(found.a, found.b, log, (_captions(*first[0]), _captions(*first[1])))
    except InputError as error:
        return ChangeFiles(picture=picture, why=f"No film: {error}")
    try:
        film, still, words = film_pushes(
            folder,
            stem,
            sides,
            title=_ascii(found.record.result.sentences[0]),
            text=film_text(found),
            progress=progress,
        )
    except VisionError as error:  # a clip that cannot be read any more takes nothing from the answer
        return ChangeFiles(picture=picture, why=f"No film: {error}")
    return ChangeFiles(picture=picture, film=film, still=still, words=words)


def film_text(found: SetUpsCompared) -> str:
    """The film in words, for those who cannot see it."""
    parts = [
        "The film shows two pushes side by side, seen from straight above, nose up, started together.",
        "The outline of each car at the start is grey, its outline now yellow. A solid orange line across the car is "
        "the balance point by this push, a dashed blue line the one by weights and grip.",
    ]
    for place, pushes in (("Left", found.a), ("Right", found.b)):
        answer = pushes.answers[0]
        figures = "; ".join(f"{name.lower()} {value}" for name, value, _ in balance_rows(answer))
        parts.append(f"{place}: {_name(pushes)}. {what_happened(answer)} {figures[:1].upper()}{figures[1:]}.")
    return "\n".join([*parts, *found.record.result.sentences]) + "\n"


def _captions(pushes: PushesOf, answer: PushAnswer) -> tuple[str, ...]:
    lines = [_name(pushes), seen_short(answer)]
    lines += [f"{name}: {value}" for name, value, _ in balance_rows(answer)]
    return tuple(_ascii(line) for line in lines)


def _each(found: SetUpsCompared) -> list[tuple[PushesOf, PushAnswer]]:
    return [(pushes, answer) for pushes in (found.a, found.b) for answer in pushes.answers]


def _figure(answer: PushAnswer) -> str:
    return "" if answer.balance is None else f"balance by this push {measured_words(answer.balance)}"


def _name(pushes: PushesOf) -> str:
    return pushes.cards.test.name


def _plain(name: str) -> str:
    """A name as part of a file's name."""
    kept = "".join(c if c.isascii() and c.isalnum() else "-" for c in name.lower())
    return "-".join(part for part in kept.split("-") if part)[:40] or "set-up"


def _ascii(text: str) -> str:
    """A line that the letters of a film can show."""
    return text.encode("ascii", HANDLER).decode()
