"""The moving car in words, tables and pictures."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.figures.moving import RegionDraws, path_figure, region_figure
from analysis.moving.phases import LACKS
from analysis.moving.ranking import Order, RankedEffect
from analysis.springs.lift_off import LABEL
from rig.base.files import write_text
from rig.jobs.moving.moving import MovingAnswers
from rig.jobs.moving.reach import Reached
from rig.jobs.moving.two_set_ups import Differences
from rig.report.html import Part, Table, report_html
from rig.report.words.moving.full_size import FULL_SIZE
from rig.report.words.moving.on_the_move import (
    HEADS,
    NOT_SEEN_AT_REST,
    SHARE_HEADS,
    behaviour,
    change_sentence,
    closing_lines,
    difference_lines,
    facts,
    lifting,
    phase_rows,
    points,
    ranged,
    rank_lines,
    reach_lines,
    share_rows,
)
from rig.report.words.rounding import plus_minus
from rig.report.words.tables import table_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SHOWN_DRAWS = 25
REGION_KEY = (
    "Thin lines: regions that the cards leave open as well. Bar: the balance point at rest with its 95 %. Dotted: the "
    "region's width, a tenth of its length in from its ends. Triangles: where a wheel is in the air."
)
FILM = (
    "To see it on the floor, film a steady circle over the floor sheets and run: "
    "pivotbench moving drive TEST.toml --clip CLIP"
)


def moving_words(
    answers: MovingAnswers,
    against: MovingAnswers | None = None,
    differ: Differences | None = None,
    *,
    width: int | None = None,
) -> str:
    """All cars for a terminal. differ: the second car less the first.  width: its columns, None for any."""
    room = None if width is None else width - 2
    lines: list[str] = []
    for car in (answers, *([against] if against else [])):
        table = table_text(HEADS, phase_rows(car), width=room)
        shares = table_text(SHARE_HEADS, share_rows(car), width=room)
        lines += [car.name, *(f"  {line}" for line in table.split("\n"))]
        lines += ["", *(f"  {text}" for text in facts(car)), ""]
        lines += ["  the trade's shares beside this car's, % of the weight"]
        lines += [*(f"  {line}" for line in shares.split("\n")), ""]
    if against is not None and differ is not None:
        lines += [f"  {text}" for text in difference_lines(answers, against, differ)] + [""]
    lines += [
        "what would move the balance point most" + (f" in {answers.ranked_phase}" if answers.ranked_phase else "")
    ]
    lines += [f"  {text}" for text in rank_lines(answers)]
    lines += ["", *closing_lines(), LACKS]
    return "\n".join(lines)


def moving_html(
    answers: MovingAnswers, against: MovingAnswers | None, differ: Differences | None = None, *, footer: str
) -> str:
    """The report as one page. differ: the second car less the first."""
    cars: Sequence[MovingAnswers] = (answers, *([against] if against else []))
    contact = answers.car.chassis.contact_place
    names = [phase.name for phase in answers.phases]
    why = answers.rest_rule.why if answers.rule is None else answers.rule.why
    tables = [Table(caption=car.name, heads=HEADS, rows=phase_rows(car)) for car in cars]
    shares = [
        Table(caption=f"{car.name}, % of the weight; {LABEL}", heads=SHARE_HEADS, rows=share_rows(car)) for car in cars
    ]
    change = Table(
        caption=f"Changes ranked by the balance point in {answers.ranked_phase}",
        heads=("rank", "change", "balance point, points of the wheelbase", "turn per travel of a push at 80 %, 1/m"),
        rows=[_change_row(one) for one in answers.ranking],
    )
    hardest = int(np.argmax([abs(phase.ay) for phase in answers.phases]))
    sentences = [f"{car.name}: {text}" for car in cars for text in facts(car)]
    sentences += difference_lines(answers, against, differ) if against and differ else []
    parts = [
        Part(
            title="The drift, phase by phase",
            verdict=_in_one(answers, hardest),
            paragraphs=sentences,
            tables=tables,
        ),
        Part(
            title="Loads and balance point through the drift",
            paragraphs=["Dampers included: load takes time to arrive."],
            figure=path_figure(names, [(car.name, car.path) for car in cars], contact),
            alt="Wheel loads against time and the way of the balance point",
        ),
        Part(
            title="Where the balance point can go",
            verdict=""
            if against is None or differ is None
            else change_sentence(answers.name, against.name, differ.region),
            paragraphs=[*reach_lines(answers.reached), REGION_KEY, NOT_SEEN_AT_REST],
            figure=reached_figure(contact, [(car.name, car.reached) for car in cars]),
            alt="Region of reachable balance points in the car seen from above, with what is not known of it",
        ),
        Part(
            title="Change one thing",
            paragraphs=[
                "Ranks that carry = are shared: which of these does more is not known. A change without a rank is too "
                "small for a push to show, or its direction is not known.",
                "The turn of a push far from the balance point also feels left against right: a change of cross weight "
                "can move the balance point forward and yet turn the push the other way.",
            ],
            tables=[change],
        ),
        Part(
            title="The rule of equal shares",
            paragraphs=["At rest, and at the moment at which a wheel lifts:", *why, lifting(answers)],
            tables=shares,
        ),
        Part(title="From the bench to the floor", paragraphs=[*closing_lines(), LACKS, FILM]),
        Part(title="From the model to full size", paragraphs=FULL_SIZE, folded=True),
    ]
    return report_html(f"{answers.name} on the move", parts, footer=footer)


def reached_figure(contact_place: FloatArray, found: Sequence[tuple[str, Reached]]) -> "Figure":
    """The picture of up to two regions with what is not known of them. contact_place: (4, 2) m."""
    return region_figure(contact_place, [(name, one.region) for name, one in found], [_draws(one) for _, one in found])


def _draws(found: Reached) -> RegionDraws:
    low, high = found.rest.pair()
    widths = [ranged(found.reach.width, k, unit="mm", factor=1e3) for k in range(2)]
    return RegionDraws(
        edges=found.reach.many.edge[:SHOWN_DRAWS],
        rest_half=(high - low) / 2,
        rest_by=found.rest_by,
        widths=(widths[0], widths[1]),
    )


def story_page(path: Path, car: MovingAnswers, other: MovingAnswers, sentences: Sequence[str]) -> Path:
    """The moving car's story as one page with one picture; returns its path."""
    picture = reached_figure(car.car.chassis.contact_place, [(one.name, one.reached) for one in (car, other)])
    parts = [
        Part(
            title="Pushed, tilted, frozen, and where the balance can go",
            paragraphs=[*sentences, REGION_KEY, NOT_SEEN_AT_REST],
            figure=picture,
            alt="The car from above with its balance point at rest and the region that it can reach, before and after",
        ),
        Part(title="From the model to full size", paragraphs=FULL_SIZE, folded=True),
    ]
    write_text(path, report_html("Dunlin on the move", parts, footer="From the virtual bench"))
    return path


def _in_one(answers: MovingAnswers, i: int) -> str:
    """One phase in one sentence."""
    if answers.table.rolls_over[i]:
        return f"{answers.phases[i].name}: the car rolls over"
    station = ranged(answers.ranges.balance, i, 0, unit="%", factor=100 / answers.wheelbase)
    return f"{answers.phases[i].name}: balance point at {station}; the car {behaviour(answers, i)}"


def _change_row(one: RankedEffect) -> list[str]:
    if one.order is Order.ROLLS_OVER:
        return ["-", one.effect.name, "rolls over, or might", "-"]
    turn = plus_minus(one.effect.kappa_change, one.kappa_interval, "")
    rank = f"{one.rank}{'=' if one.tied else ''}" if one.rank else f"none: {one.order.value}"
    return [rank, one.effect.name, points(one).removesuffix(" points"), turn]
