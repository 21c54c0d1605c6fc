"""Questions to a class whose answer is worked out: nothing is pushed, nothing told early, the figures are the bench's.

Truth: the mechanics by themselves (`region_change`), and the order of a class: guess, all in, reveal, second vote.
"""

import json
from pathlib import Path

import pytest

from rig.base.errors import InputError
from rig.jobs.moving.reach import Tried
from rig.page.bench.bench import Bench
from rig.page.bench.lesson_steps import BAR_CHOICES, DRIFT_CHOICES
from rig.page.classroom.classroom import Classroom
from rig.page.classroom.question import Asked, ClassPhase, Vote
from rig.page.classroom.worked_answers import ADDED_BAR, worked_out
from rig.records.classroom import GUESS
from rig.virtual.dunlin import ON_SPRINGS

pytestmark = pytest.mark.thorough


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A bench whose car has springs on its card and was weighed."""
    bench = Bench(tmp_path)
    bench.save_card("car", dict(ON_SPRINGS))
    bench.on_pads.weigh_typed([430.0, 410.0, 385.0, 395.0], 1.0)
    return bench


def told(bench: Bench) -> dict[str, object]:
    """What every page knows of the class."""
    content: dict[str, object] = json.loads(bench.broadcast.newest("class").split(b"data: ", 1)[1])
    return content


def test_a_bar_is_asked_and_its_answer_is_that_of_the_region(bench: Bench) -> None:
    room = Classroom(bench)
    bench.choose_step("front-bar")
    room.vote(Vote(answer=BAR_CHOICES[2]))
    room.vote(Vote(answer=BAR_CHOICES[0]))
    assert told(bench)["worked"] is True
    room.all_in()
    assert room.question.asked is None  # nothing was seen: nothing is written down of it
    before = told(bench)
    assert "sentence" not in before
    assert "region" not in before
    said = room.reveal()
    shown = told(bench)
    assert shown["sentence"] == said
    bar = ON_SPRINGS["chassis.front.bar_n_per_mm"] + ADDED_BAR
    change = bench.region.both(Tried(bars=(bar, None))).change
    assert change is not None
    low, high = change.width.pair(1)
    expected = BAR_CHOICES[0] if high < 0 else BAR_CHOICES[2] if low > 0 else ""
    assert shown["answer"] == expected == BAR_CHOICES[0]  # more transfer on the front axle (sign by statics)
    assert "±" in said or "(+" in said
    assert room.question.phase is ClassPhase.REVEALED
    room.second_vote()
    room.vote(Vote(answer=BAR_CHOICES[0]))
    with pytest.raises(InputError, match="second vote is open"):
        room.reveal()
    room.all_in()
    with bench.log() as log:
        votes = [GUESS.of(one).inputs for one in log.records(kind=GUESS)]
    assert [one.vote for one in votes] == [1, 2]
    assert {one.answer: one.count for one in votes[0].answers}[BAR_CHOICES[2]] == 1
    bench.choose_step("balanced")
    assert "lines" not in told(bench)
    assert room.question.asked is Asked.FIRST


def test_a_drift_is_told_with_its_doubt_and_of_which_car(tmp_path: Path) -> None:
    """No springs on this bench's card: the school's car, which is said. Braking into the turn brings load forward."""
    found = worked_out("drift", Bench(tmp_path))
    assert found.answer in ("", DRIFT_CHOICES[0])
    for choice, line in zip(DRIFT_CHOICES, found.lines, strict=False):
        assert line.startswith(choice)
        assert "±" in line or "(+" in line or " to " in line
    assert "school's car Dunlin" in found.lines[-1]
    with pytest.raises(InputError, match="not worked out"):
        worked_out("", Bench(tmp_path))
