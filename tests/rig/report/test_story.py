"""The demo's story in words: which way a change went, and which figure stands in which column.

Truth: pushes whose nose and tail went dictated ways; the front share of typed weights, by hand.
"""

import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from rig.jobs.demo.demo import Demo, DemoRow
from rig.jobs.series.answered_pushes import answered_pushes
from rig.jobs.series.change import compare_setups
from rig.log.store import BenchLog
from rig.report.story import STORY_HEADS, changes_sentence, story_rows
from rig.virtual.dunlin import SETUPS
from tests.rig.jobs.synthetic_pushes import cards, pushed, recorded

PLAIN = [430.0, 430.0, 360.0, 360.0]  # front 54.4 %
WAYS = ((0.060, 0.060), (0.050, 0.070), (0.070, 0.050))
"""m, nose and tail: straight, the tail led (more grip in front), the nose led."""


def story(folder: Path) -> Demo:
    """Three set-ups of one car, each pushed once at the middle."""
    with BenchLog(folder / "log") as log:
        sets = [cards(name=setup.title, typed__weights_g=PLAIN) for setup in SETUPS[:3]]
        for number, (one, ways) in enumerate(zip(sets, WAYS, strict=True)):
            recorded(log, one, pushed(*ways), folder / f"clip{number}")
        changes = tuple(compare_setups(sets[0], other, log) for other in sets[1:])
        found = [answered_pushes(one, log) for one in sets]
    rows = [
        DemoRow(
            setup=setup,
            push_position_pct=50.0,
            weighing=cast(Any, pushes.weighing),
            verdict=cast(Any, SimpleNamespace(answer=pushes.answers[0])),
        )
        for setup, pushes in zip(SETUPS, found, strict=False)
    ]
    return Demo(rows=tuple(rows), again=(), changes=changes)


@pytest.mark.thorough
def test_each_change_is_told_with_its_way_and_its_figure_in_its_column(tmp_path: Path) -> None:
    found = story(tmp_path)
    first, second = changes_sentence(found).split("; ")
    assert f"{SETUPS[1].title[1:]} moved the balance forward by " in first
    assert f"{SETUPS[2].title} moved the balance back by " in second
    assert STORY_HEADS[1:3] == ("by weights and grip", "by the push")
    for (title, weights, push, _), setup, sign in zip(story_rows(found), SETUPS, (0, 1, -1), strict=False):
        assert title == setup.title
        by_weights, by_push = (float(re.findall(r"[\d.]+", text)[0]) for text in (weights, push))
        # 430 and 360 g a wheel, 395 in the mean; tyres that nobody measured lose a tenth of grip per share of load
        front, rear = 860 * (1 - 0.1 * 35 / 395), 720 * (1 + 0.1 * 35 / 395)
        assert abs(by_weights - 100 * front / (front + rear)) < 0.2
        assert abs(by_push - 50.0) < 0.2 if sign == 0 else sign * (by_push - 50.0) > 1.0
