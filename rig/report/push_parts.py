"""The first part of a report on a push: plain words, the two balance points, the picture; where the ± comes from."""

from analysis.base.signs import two_digits
from analysis.figures.pushed_cars import cars_from_above
from analysis.statistics.quantiles import NORMAL_95
from rig.cards.read import CardSet
from rig.jobs.pushing.balance import PushAnswer
from rig.jobs.series.change_film import drawn_car
from rig.report.html import Part, Table
from rig.report.words.push_answer import balance_rows, push_lines, seen_short, what_happened

LEAST_SHARE = 0.001
"""Of the variance; causes with less are not worth a line."""


def answer_part(cards: CardSet, answer: PushAnswer) -> Part:
    """What a reader needs who reads nothing else."""
    figures = {name for name, _, _ in balance_rows(answer)}
    lines = [line for line in push_lines(answer)[1:] if line and not any(line.startswith(name) for name in figures)]
    return Part(
        title=f"{cards.car.name}: {cards.test.name}",
        verdict=what_happened(answer),
        paragraphs=lines,
        figure=cars_from_above([drawn_car(cards, answer, cards.car.name)]),
        alt=f"{cards.car.name} from above, nose up, at the start and the end of the push: {seen_short(answer)}",
        tables=balance_tables(answer),
    )


def balance_tables(answer: PushAnswer) -> list[Table]:
    """Balance by the push beside balance by weights and grip; none without weights."""
    rows = balance_rows(answer)
    if not rows:
        return []
    caption = "The balance point, per cent of the wheelbase ahead of the rear axle; ± 95 %"
    return [Table(caption=caption, heads=("", "balance point", ""), rows=rows)]


def uncertainty_table(answer: PushAnswer) -> list[Table]:
    """What makes the ± of the balance by this push; none where there is no figure."""
    balance = answer.balance
    if balance is None or balance.u is None or not balance.parts:
        return []
    whole = sum(u**2 for _, u in balance.parts)
    rows = [
        (name, two_digits(NORMAL_95 * u), f"{two_digits(100 * u**2 / whole)} %")
        for name, u in balance.parts
        if u**2 >= LEAST_SHARE * whole
    ]
    return [Table(caption="Balance by this push", heads=("cause", "± alone, points", "share"), rows=rows)]
