"""One question to a class: who may answer when, how answers are counted, and what outlives a restart.

Truth: counted by hand.
"""

from pathlib import Path

import pytest

from rig.base.errors import InputError
from rig.jobs.series.guesses import counted, zone
from rig.page.bench.bench import Bench
from rig.page.classroom.classroom import Classroom
from rig.page.classroom.question import Asked, ClassPhase, Question, Vote, resumed, stored
from rig.records.classroom import GUESS
from rig.records.codec import from_plain

LEADS = ("nose", "straight", "tail")


@pytest.mark.parametrize(
    ("pct", "where"),
    [
        (-0.1, "behind the rear axle"),
        (0.0, "rear half"),
        (49.9, "rear half"),
        (50.0, "front half"),
        (100.0, "front half"),
        (100.1, "ahead of the front axle"),
    ],
)
def test_a_place_lies_in_one_zone(pct: float, where: str) -> None:
    assert zone(pct) == where


def test_answers_are_counted_in_the_order_of_the_choices() -> None:
    rows = counted(["tail", "nose", "tail", "rear half", "tail"], LEADS)
    assert [(row.answer, row.count) for row in rows] == [("nose", 1), ("straight", 0), ("tail", 3), ("rear half", 1)]


def test_a_hand_is_a_vote_and_a_device_has_one() -> None:
    question = Question(number=1, text="?", choices=LEADS, pupils=6)
    for vote in (
        Vote(who="a", answer="nose"),
        Vote(answer="tail", hands=3),
        Vote(who="b", answer="nose"),
        Vote(who="a", answer="straight"),
    ):
        question = question.answered(vote)
    assert [(row.answer, row.count) for row in question.tally(Asked.FIRST)] == [
        ("nose", 1),
        ("straight", 1),
        ("tail", 3),
    ]
    with pytest.raises(InputError, match="all 6 answers"):
        question.answered(Vote(answer="nose", hands=2))
    assert question.taken_back("").hands(Asked.FIRST) == 2  # the three hands, given at the screen
    assert question.taken_back("c").hands(Asked.FIRST) == 5
    for wrong in (Vote(answer="sideways"), Vote()):
        with pytest.raises(InputError):
            question.answered(wrong)
    with pytest.raises(InputError, match="is over"):
        question.in_phase(ClassPhase.REVEALED).answered(Vote(answer="nose"))


def test_the_latest_answer_of_a_screen_and_only_the_own_one_of_a_device_is_taken_back() -> None:
    question = Question(number=1, text="?", choices=LEADS, pupils=9)
    for vote in (
        Vote(answer="nose"),
        Vote(who="a", answer="straight"),
        Vote(answer="tail", hands=2),
        Vote(who="b", answer="nose"),
    ):
        question = question.answered(vote)

    def counts(one: Question) -> list[int]:
        return [row.count for row in one.tally(Asked.FIRST)]

    assert counts(question) == [2, 1, 2]
    once = question.taken_back("")
    assert counts(once) == [2, 1, 0]
    assert counts(once.taken_back("")) == [1, 1, 0]
    assert counts(once.taken_back("").taken_back("")) == [1, 1, 0]
    assert counts(question.taken_back("a")) == [2, 0, 2]
    assert counts(question.taken_back("b")) == [1, 1, 2]


def test_answers_outlive_a_restart_and_no_answer_counts_for_the_next_question(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    room = Classroom(bench)
    room.vote(Vote(who="a", place=(-20.0, 5.0), reason="so"))
    number = room.question.number
    bench.close()
    bench = Bench(tmp_path)
    try:
        room = Classroom(bench)
        assert room.question.number == number
        assert room.guesses == ((-20.0, 5.0),)
        room.vote(Vote(who="a", place=(30.0, 0.0)), number=number)  # it is still known
        assert room.guesses == ((30.0, 0.0),)
        room.again()
        assert room.guesses == ()
        assert "so" not in (tmp_path / "page" / "class.json").read_text()
        with pytest.raises(InputError, match="over"):
            room.vote(Vote(who="a", place=(30.0, 0.0)), number=number)
        with pytest.raises(InputError, match="nothing was pushed"):
            room.reveal()
        with pytest.raises(InputError, match="something else"):
            room.vote(Vote(answer="the nose led"), seen=True)
        with pytest.raises(InputError, match="first vote"):
            room.second_vote()
    finally:
        bench.close()


def test_a_guess_of_an_older_log_is_a_first_vote_of_places() -> None:
    result = {"count": 1, "middle_pct": 20.0, "half_pct": [20.0, 20.0], "words": "One guess: at 20 %."}
    inputs, _ = from_plain(GUESS, 1, {"guesses": [[20.0, 3.0]]}, result, where="old log")
    assert (inputs.guesses, inputs.vote, inputs.answers) == (((20.0, 3.0),), 1, ())


def test_the_first_vote_outlives_a_restart_of_the_same_question_only() -> None:
    """By hand: number, pupils and votes go on; another question counts on from the number, without the votes."""
    votes = (
        Vote(who="a", answer="nose", reason="heavy"),
        Vote(answer="tail", hands=3),
        Vote(who="b", place=(61.0, -4.0)),
    )
    asked = Question(number=4, text="Which end?", choices=LEADS, pupils=9, votes={Asked.FIRST: votes[:2]})
    fresh = Question(number=1, text="Which end?", choices=LEADS)
    assert resumed(stored(asked), fresh) == asked
    other = Question(number=1, text="Where?")
    assert resumed(stored(asked), other) == Question(number=5, text="Where?", pupils=9)
    placed = Question(number=2, text="Where?", votes={Asked.FIRST: votes[2:]})
    assert resumed(stored(placed), other) == placed
    assert resumed(stored(placed.in_phase(ClassPhase.REVEALED)), other) == Question(number=2, text="Where?")
    # what was kept does not fit: an answer that cannot be given any more, too many, no JSON
    assert resumed(stored(asked), Question(number=1, text="Which end?", choices=("left", "right"))).votes == {}
    for broken in (b"", b"{", b"\xff", b'{"number": "four", "text": ""}'):
        assert resumed(broken, fresh) is fresh
