"""One answer on one sheet of paper: what was found, its picture, its figures with ±, and what it rests on."""

import base64
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.base.wheel_names import WHEELS
from rig.base.cautions import SCALE
from rig.base.errors import InputError
from rig.jobs.moving.reach import Tried
from rig.page.bench.bench import Bench
from rig.page.bench.changes import Changes
from rig.page.bench.region import AS_NOW, AS_TRIED
from rig.page.bench.views import pushed_json
from rig.page.classroom.prints import page_html
from rig.report.html import safe, table_html
from rig.report.words.moving.on_the_move import (
    FEW_DRAWN,
    NOT_SEEN_AT_REST,
    change_sentence,
    lift_line,
    moved_line,
    region_rows,
)
from rig.report.words.push_answer import push_lines
from rig.report.words.rounding import plus_minus
from rig.report.words.sentences import first_sentence

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_NOTES = 6
"""More would not stay on the sheet; all of them stand in the report."""


def push_sheet(bench: Bench) -> str:
    """The newest push. Raises InputError when there is none."""
    verdict = bench.verdict
    if verdict is None:
        raise InputError("no push was measured yet", where="print", remedy="Push the car first")
    answer = verdict.answer
    picture = ""
    if answer is not None:
        shown = pushed_json(verdict, answer)
        picture = _picture(shown["src"], shown["alt"])
    lines = [] if answer is None else [line for line in push_lines(answer)[1:] if line]
    return _sheet(
        f"{verdict.cards.car.name}: {verdict.cards.test.name}",
        first_sentence(verdict),
        [picture, _lines(lines), _lines([verdict.comparison.sentence, verdict.forecast.advice])],
        f"Record {verdict.record.number} of the log, {verdict.record.at[:16].replace('T', ' ')}.",
    )


def weights_sheet(bench: Bench) -> str:
    """The newest weighing. Raises InputError when there is none."""
    weighing = bench.need_weights()
    weights, record = weighing.weights, weighing.record
    corners = [
        (WHEELS[k], plus_minus(float(weights.load_g[k]), (float(low), float(high)), "g"))
        for k, (low, high) in enumerate(record.result.corner_interval_g)
    ]
    shares = [
        (name, plus_minus(one.value, one.interval, unit))
        for name, one, unit in (
            ("total", weights.total_g, "g"),
            ("front", weights.front_pct, "%"),
            ("left", weights.left_pct, "%"),
            ("cross weight (front right + rear left)", weights.diagonal_fr_rl_pct, "%"),
            ("other diagonal (front left + rear right)", weights.diagonal_fl_rr_pct, "%"),
        )
    ]
    total = weights.total_g
    return _sheet(
        f"{bench.cards().car.name}: corner weights",
        f"{plus_minus(total.value, total.interval, 'g')}, {shares[1][1]} of it in front.",
        [
            table_html(("wheel", "carries"), corners),
            table_html(("of the car", ""), shares),
            _lines(weighing.warnings[:MOST_NOTES]),
        ],
        f"Record {record.number} of the log, {record.at[:16].replace('T', ' ')}.",
    )


def change_sheet(changes: Changes) -> str:
    """The newest change between two set-ups. Raises InputError when there is none."""
    newest = changes.newest
    if newest is None:
        raise InputError("nothing was compared yet", where="print", remedy="Choose two set-ups first")
    first, *rest = newest["lines"]
    picture = _picture(newest["picture"], "Both cars from above, nose up, at the start and the end of a push")
    return _sheet(
        "What the change did", first, [picture, _lines(rest[:MOST_NOTES])], f"Record {newest['record']} of the log."
    )


def region_sheet(bench: Bench, tried: Tried) -> str:
    """Where the balance can go on the move, as it is and as it is tried. Raises InputError where that is not known."""
    from rig.report.moving import reached_figure

    found = bench.region.both(tried)
    now, other, change = found.now, found.tried, found.change
    figure = reached_figure(found.contacts, [(AS_NOW, now)] + ([] if other is None else [(AS_TRIED, other)]))
    heads = ["the balance point", AS_NOW, *([] if other is None else [AS_TRIED])]
    others = [] if other is None else region_rows(other)
    rows = [(where, much, *([others[k][1]] if others else [])) for k, (where, much) in enumerate(region_rows(now))]
    sentence = region_rows(now)[0]
    words = f"{sentence[0].capitalize().removesuffix(', %')}: {sentence[1]} % of the wheelbase."
    lifts = [f"{name}: {lift_line(one)}" for name, one in ((AS_NOW, now), (AS_TRIED, other)) if one and lift_line(one)]
    return _sheet(
        f"{found.card.name} on the move",
        words if change is None else change_sentence(AS_NOW, AS_TRIED, change),
        [
            _picture(_png(figure), "The car from above with the region that its balance can reach"),
            table_html(heads, rows),
            _lines([*([] if change is None else [f"The region: {moved_line(change)}."]), *lifts]),
            _lines([NOT_SEEN_AT_REST, f"{FEW_DRAWN[:1].upper()}{FEW_DRAWN[1:]}."]),
        ],
        " ".join(f"{one.rstrip('.')}." for one in found.remarks),
    )


def _sheet(title: str, sentence: str, parts: Sequence[str], footer: str) -> str:
    body = f"<h1>{safe(title)}</h1><p class='found'>{safe(sentence)}</p>{''.join(parts)}"
    return page_html(title, f"<div class='sheet'>{body}<p class='small'>{safe(f'{footer} {SCALE}')}</p></div>")


def _picture(src: str, alt: str) -> str:
    return f'<p class="picture"><img src="{safe(src)}" alt="{safe(alt)}"></p>'


def _lines(lines: Sequence[str]) -> str:
    return "".join(f"<p>{safe(line)}</p>" for line in lines if line)


def _png(figure: "Figure") -> str:
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=200)
    return f"data:image/png;base64,{base64.b64encode(buffer.getvalue()).decode()}"
