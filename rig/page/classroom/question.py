"""One question to a class: votes, what was seen, and who may still answer. No bench, no clock, no names."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import msgspec

from rig.base.errors import InputError
from rig.jobs.series.guesses import ZONES, counted, zone
from rig.page.bench.lesson_steps import SEEN
from rig.records.classroom import AnswerCount

MOST_VOTES = 200
SCREEN = ""
"""Who answers at the class screen: one pupil after the other, or a show of hands. A phone has letters of its own."""


class ClassPhase(StrEnum):
    """What the class is doing, in the word that the page knows."""

    GUESSING = "guess"
    WATCHING = "watch"
    REVEALED = "reveal"
    VOTING = "second"
    COUNTED = "counted"


class Asked(StrEnum):
    """What is asked for: the first vote, what was seen of the push, the second vote."""

    FIRST = "first"
    SEEN = "seen"
    SECOND = "second"


ASKED_IN = {ClassPhase.GUESSING: Asked.FIRST, ClassPhase.WATCHING: Asked.SEEN, ClassPhase.VOTING: Asked.SECOND}


class Vote(msgspec.Struct, frozen=True, kw_only=True):
    """One answer. who: a device's letters, or SCREEN.  place: per cent of the wheelbase, mm left of the middle.

    hands: how many raised a hand for it; one from a phone.
    """

    who: str = SCREEN
    answer: str = ""
    place: tuple[float, float] | None = None
    reason: str = ""
    hands: int = 1

    @property
    def kind(self) -> str:
        """What is counted: the answer, or the zone of the place."""
        return self.answer or ("no answer" if self.place is None else zone(self.place[0]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A question with its answers so far; every change makes a new one.

    number: of the question, so that a late answer does not count for the next one.  choices: what can be answered;
    empty where a place is asked for.  watched: something is pushed, and everybody writes down what was seen.
    pupils: how many answers there will be, None when nobody said.
    """

    number: int
    text: str
    choices: tuple[str, ...] = ()
    watched: bool = True
    phase: ClassPhase = ClassPhase.GUESSING
    pupils: int | None = None
    votes: dict[Asked, tuple[Vote, ...]] = field(default_factory=dict)

    @property
    def asked(self) -> Asked | None:
        """What can be answered now."""
        if self.phase is ClassPhase.WATCHING and not self.watched:
            return None
        return ASKED_IN.get(self.phase)

    def of(self, asked: Asked) -> tuple[Vote, ...]:
        """Everybody's answers."""
        return self.votes.get(asked, ())

    def hands(self, asked: Asked) -> int:
        """How many have answered."""
        return sum(vote.hands for vote in self.of(asked))

    def mine(self, who: str) -> Vote | None:
        """What a device has answered to what is asked now."""
        return None if self.asked is None else next((v for v in self.of(self.asked) if v.who == who), None)

    def choices_of(self, asked: Asked) -> tuple[str, ...]:
        """What can be answered: of what was seen, of the question itself, or zones of the car."""
        return SEEN if asked is Asked.SEEN else self.choices or ZONES

    def tally(self, asked: Asked) -> tuple[AnswerCount, ...]:
        """How many gave each answer."""
        answers = [vote.kind for vote in self.of(asked) for _ in range(vote.hands)]
        return counted(answers, self.choices_of(asked)) if answers else ()

    def places(self, asked: Asked) -> tuple[tuple[float, float], ...]:
        """Where places were set, once for every hand."""
        return tuple(vote.place for vote in self.of(asked) if vote.place is not None for _ in range(vote.hands))

    def answered(self, vote: Vote) -> "Question":
        """With one more answer; a device's new one takes the place of its old one. Raises InputError."""
        asked = self._open()
        allowed = self.choices_of(asked) if asked is Asked.SEEN else self.choices
        if vote.answer and vote.answer not in allowed:
            raise InputError("this cannot be answered here", where="class", remedy="Choose one of the answers shown")
        if not vote.answer and (vote.place is None or asked is Asked.SEEN):
            raise InputError("nothing is chosen yet", where="class", remedy="Choose an answer first")
        if vote.place is not None and not all(map(math.isfinite, vote.place)):
            raise InputError("this place is no number", where="class", remedy="Set the ring again")
        others = tuple(one for one in self.of(asked) if vote.who == SCREEN or one.who != vote.who)
        room = min(MOST_VOTES, self.pupils or MOST_VOTES)
        if sum(one.hands for one in others) + vote.hands > room:
            raise InputError(
                f"all {room} answers are in", where="class", remedy="Ask whoever runs the class to set the number right"
            )
        return self._with(asked, (*others, vote))

    def taken_back(self, who: str) -> "Question":
        """Without a device's answer; at the screen, without the latest given there. Raises InputError."""
        asked = self._open()
        votes = list(self.of(asked))
        own = [index for index, vote in enumerate(votes) if vote.who == who]
        if own:
            del votes[own[-1]]
        return self._with(asked, tuple(votes))

    def in_phase(self, phase: ClassPhase) -> "Question":
        """In another phase."""
        return replace(self, phase=phase)

    def _open(self) -> Asked:
        if self.asked is None:
            raise InputError("this push is over", where="class", remedy="Wait for the next question")
        return self.asked

    def _with(self, asked: Asked, votes: Sequence[Vote]) -> "Question":
        return replace(self, votes=self.votes | {asked: tuple(votes)})


class StoredQuestion(msgspec.Struct, frozen=True, kw_only=True):
    """A question as it outlives a restart: only the first vote, the answer that follows it does not."""

    number: int
    text: str
    pupils: int | None = None
    votes: tuple[Vote, ...] = ()


def stored(question: Question) -> bytes:
    """What is kept on the disk until the next question."""
    first = question.of(Asked.FIRST) if question.phase is ClassPhase.GUESSING else ()
    return msgspec.json.encode(
        StoredQuestion(number=question.number, text=question.text, pupils=question.pupils, votes=first)
    )


def resumed(kept: bytes, fresh: Question) -> Question:
    """A fresh question with the votes that were kept for the same one; unchanged where they do not fit."""
    try:
        before = msgspec.json.decode(kept, type=StoredQuestion)
        again = replace(fresh, number=max(before.number, 1), pupils=before.pupils)
        if before.text != fresh.text:
            return replace(again, number=again.number + 1)
        for vote in before.votes:
            again = again.answered(vote)
    except (msgspec.DecodeError, InputError, UnicodeDecodeError):
        return fresh
    return again
