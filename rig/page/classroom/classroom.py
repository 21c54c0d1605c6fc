"""First try and class mode: a guess set before the push, the push, and what came of it. No names, points or clock."""

import threading
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from rig.base.errors import InputError
from rig.base.files import write_text
from rig.base.plain_json import Json
from rig.cards.measures import MM, wheelbase
from rig.jobs.demo.first_try import pin_sentence, plain_car, see_push
from rig.jobs.pushing.compare import Verdict
from rig.jobs.series.guesses import guess_spread
from rig.page.bench.bench import Bench
from rig.page.bench.lesson_steps import CAUTIONS, PLACE, SEEN, STEPS, LessonStep
from rig.page.bench.views import estimate_json, picture_json, seen_json
from rig.page.classroom.question import SCREEN, Asked, ClassPhase, Question, Vote, resumed, stored
from rig.page.classroom.worked_answers import Worked, worked_out
from rig.page.live.broadcast import Broadcast
from rig.records.classroom import FIRST_TRY, GUESS, FirstTryInputs, FirstTryResult, GuessInputs
from rig.records.codec import plain
from rig.report.words.sentences import first_sentence

OWN_QUESTION = "Where will it pivot?"
"""Asked of a car that stands in no experiment of the lesson."""
THANKS = "Thank you: the guess is on the board."


class Classroom:
    """What the class has answered, and when it may see the answer."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._lock = threading.RLock()
        self._file = bench.folder / "page" / "class.json"
        self._step = bench.step
        self._known = bench.verdict
        self._answer: Verdict | None = None
        self._worked: Worked | None = None
        self._question = resumed(self._kept(), _fresh(1, bench.step))
        self.phones: Json | None = None
        self.news = Broadcast()  # to phones: that something else is asked, and nothing of the bench
        bench.on_change = self._bench_changed
        bench.broadcast.publish("first", {"pin": None, "seen": None})
        self.tell()

    @property
    def guesses(self) -> tuple[tuple[float, float], ...]:
        """Places of the first vote: per cent of the wheelbase ahead of the rear axle, mm left of the middle."""
        return self._question.places(Asked.FIRST)

    @property
    def question(self) -> Question:
        """What is asked now, with everybody's answers."""
        return self._question

    # first try

    def first_push(self, station_pct: float, side_mm: float) -> Json:
        """Push the virtual car, look without a camera, and say how far the pin was."""
        bench = self._bench
        cards = bench.cards()
        seen = see_push(plain_car(cards), cards) if bench.virtual is None else bench.virtual.see(cards)
        length = wheelbase(cards.car)
        pin = np.array([station_pct / 100 * length, side_mm * MM])
        sentence = pin_sentence(seen, pin, length)
        if bench.virtual is None:  # a car stands here: it must not be taken for this one
            sentence = f"A virtual car, alike all round, not yours: {sentence[:1].lower()}{sentence[1:]}"
        with bench.log() as log:
            record = log.record(
                FIRST_TRY,
                cards.test.name,
                inputs=FirstTryInputs(pin_pct=station_pct, pin_side_mm=side_mm, push_pct=cards.test.push.position_pct),
                result=FirstTryResult(kappa_per_m=seen.kappa, sentence=sentence, virtual=True),
            )
        shown = {
            "pin": pin / MM,
            "sentence": sentence,
            "record": record.number,
            "of_this_bench": bench.virtual is not None,
        }
        bench.broadcast.publish("first", seen_json(seen) | shown)
        return {"sentence": sentence}

    # class

    def vote(
        self, vote: Vote, *, number: int | None = None, allowed: Callable[[], bool] = lambda: True, seen: bool = False
    ) -> str:
        """One more answer to what is asked now: the first vote, what was seen, or the second vote.

        number: of the question that was answered, None for the one that is asked now.  allowed: asked once more at the
        moment of counting, for an answer that was long on its way.  seen: it says what was seen.
        Raises InputError when nothing of the kind is asked, or when all answers are in.
        """
        with self._lock:
            question = self._question
            if not allowed() or (number is not None and number != question.number):
                raise InputError("this question is over", where="class", remedy="Answer the one that is asked now")
            if question.asked is not None and seen != (question.asked is Asked.SEEN):
                raise InputError(
                    "something else is asked now", where="class", remedy="Look at the question, then answer again"
                )
            self._take(question.answered(vote))
        return "Thank you: it is written down." if seen else THANKS

    def guess(self, station_pct: float, side_mm: float) -> str:
        """A place set at the class screen."""
        return self.vote(Vote(place=(station_pct, side_mm)))

    def take_back(self, who: str = SCREEN, number: int | None = None) -> str:
        """Undo a device's answer, or the latest that was given at the screen."""
        with self._lock:
            if number is not None and number != self._question.number:
                raise InputError("this question is over", where="class", remedy="Answer the one that is asked now")
            self._take(self._question.taken_back(who))
        return "Took the latest guess back." if who == SCREEN else "Taken back. You can answer again."

    def set_pupils(self, pupils: int | None) -> str:
        """How many will answer; more are not taken."""
        with self._lock:
            self._take(replace(self._question, pupils=pupils))
        return "Any number may answer." if pupils is None else f"{pupils} will answer."

    def all_in(self) -> str:
        """Close the vote: everybody sees it, and no one can answer any more."""
        with self._lock:
            if self._question.phase is ClassPhase.GUESSING:
                self._take(self._question.in_phase(ClassPhase.WATCHING))
                if not self._question.watched:
                    return "All are in. Talk about it, then reveal."
                return "All are in. Now push, and let everybody write down what they see."
            if self._question.phase is ClassPhase.VOTING:
                self._record(2, Asked.SECOND, self._answer or self._pushed())
                self._take(self._question.in_phase(ClassPhase.COUNTED))
                return "The second vote is counted."
        raise InputError("no vote is open", where="class", remedy="Ask the next question")

    def second_vote(self) -> str:
        """Ask the same question once more, after it was talked about."""
        with self._lock:
            if self._question.phase not in (ClassPhase.WATCHING, ClassPhase.REVEALED):
                raise InputError("the class cannot vote again now", where="class", remedy="Close the first vote first")
            self._take(self._question.in_phase(ClassPhase.VOTING))
        return "Vote again."

    def again(self) -> str:
        """Clear the board for the next question. What was pushed before is no answer to it."""
        with self._lock:
            self._next(self._bench.step)
        self.tell()
        return "The board is clear."

    def reveal(self) -> str:
        """Show what this question's push did, with the forecast and the guesses, and write the tallies down."""
        if self._step is not None and self._step.worked:
            return self._reveal_worked(self._step)
        with self._lock:
            verdict, phase = self._answer or self._pushed(), self._question.phase
            if verdict is None:
                raise InputError("nothing was pushed yet", where="class", remedy="Push first, then reveal")
            if phase is ClassPhase.VOTING:
                raise InputError("the second vote is open", where="class", remedy="Close it first")
            if self._answer is None and self._question.votes:
                self._record(1, Asked.FIRST, verdict)
            self._answer = verdict
            if phase in (ClassPhase.GUESSING, ClassPhase.WATCHING):
                self._question = self._question.in_phase(ClassPhase.REVEALED)
            self._store()
        self.tell()
        return self._revealed(verdict)

    def _reveal_worked(self, step: LessonStep) -> str:
        """Show what is worked out, where nothing is pushed."""
        worked = worked_out(step.worked, self._bench)
        with self._lock:
            if self._step is not step:
                raise InputError("this question is over", where="class", remedy="Reveal the one that is asked now")
            if self._question.phase is ClassPhase.VOTING:
                raise InputError("the second vote is open", where="class", remedy="Close it first")
            if self._worked is None and self._question.votes:
                self._record(1, Asked.FIRST, None)
            self._worked = worked
            if self._question.phase in (ClassPhase.GUESSING, ClassPhase.WATCHING):
                self._question = self._question.in_phase(ClassPhase.REVEALED)
            self._store()
        self.tell()
        return worked.sentence

    def phones_opened(self, opened: Json | None) -> None:
        """Phones may answer now (address and code), or no longer (None)."""
        with self._lock:  # not in the middle of counting an answer
            self.phones = opened
        self.tell()

    def tell(self) -> None:
        """Tell every page. What others answered and what the car did is told when the class may know it."""
        with self._lock:
            question, step, verdict = self._question, self._step, self._answer
            shown: Json = self._asked_json(question) | {
                "title": "" if step is None else step.title,
                "pushed": self._pushed() is not None,
                "worked": step is not None and bool(step.worked),
                "phones": self.phones,
            }
            if question.phase is not ClassPhase.GUESSING:
                first = question.of(Asked.FIRST)
                shown["guesses"] = [list(place) for place in question.places(Asked.FIRST)]
                shown["reasons"] = [vote.reason for vote in first if vote.reason]
                shown["tally"] = self._tally_json(question)
            if self._worked is not None:
                shown |= {
                    "sentence": self._worked.sentence,
                    "lines": list(self._worked.lines),
                    "region": self._worked.region,
                    "answer": self._worked.answer,
                    "notes": "" if step is None else step.notes,
                }
            if verdict is not None:
                shown |= {
                    "spread": plain(guess_spread([pct for pct, _ in question.places(Asked.FIRST)])),
                    "seen": [[one.answer, one.count] for one in question.tally(Asked.SEEN)],
                    "sentence": self._revealed(verdict),
                    "measured": estimate_json(verdict.measured),
                    "forecast": estimate_json(verdict.forecast.prediction.estimate),
                    "picture": picture_json(verdict.picture),
                    "notes": "" if step is None else step.notes,
                }
        self._bench.broadcast.publish("class", shown)
        self.news.publish("class", 0)

    def for_phone(self, who: str) -> Json:
        """What a phone shows: the question, where it is pushed, what can be answered, and its own answer."""
        push = self._bench.cards().test.push
        with self._lock:
            mine = self._question.mine(who)
            return self._asked_json(self._question) | {
                "push_pct": push.position_pct if self._question.watched else None,
                "place": self._question.watched,
                "push_side": -1 if push.side == "left" else 1,
                "mine": None if mine is None else {"answer": mine.answer, "place": mine.place, "reason": mine.reason},
            }

    @staticmethod
    def _asked_json(question: Question) -> Json:
        asked = question.asked
        return {
            "phase": question.phase,
            "number": question.number,
            "question": question.text,
            "asked": asked,
            "choices": [] if asked is None else list(question.choices if asked is not Asked.SEEN else SEEN),
            "count": 0 if asked is None else question.hands(asked),
            "pupils": question.pupils,
            "guesses": [],
        }

    @staticmethod
    def _tally_json(question: Question) -> Json:
        """Rows of answer, votes before, votes after (None while there are none)."""
        before = {one.answer: one.count for one in question.tally(Asked.FIRST)}
        voted = question.phase in (ClassPhase.COUNTED,) and bool(question.of(Asked.SECOND))
        after = {one.answer: one.count for one in question.tally(Asked.SECOND)} if voted else {}
        answers = list(dict.fromkeys([*before, *after]))
        return {"rows": [[one, before.get(one, 0), after.get(one, 0) if voted else None] for one in answers]}

    @staticmethod
    def _revealed(verdict: Verdict) -> str:
        """What happened, then the place that the class guessed."""
        found = verdict.comparison.sentence
        return found if verdict.answer is None else f"{first_sentence(verdict)} {found}"

    def _pushed(self) -> Verdict | None:
        """This question's push; what was pushed before it was asked is none."""
        return None if self._bench.verdict is self._known else self._bench.verdict

    def _record(self, vote: int, asked: Asked, verdict: Verdict | None) -> None:
        question = self._question
        places = question.places(asked)
        with self._bench.log() as log:
            log.record(
                GUESS,
                self._bench.cards().test.name if verdict is None else verdict.cards.test.name,
                inputs=GuessInputs(
                    guesses=places,
                    question=question.text,
                    vote=vote,
                    answers=question.tally(asked),
                    seen=question.tally(Asked.SEEN),
                ),
                result=guess_spread([station_pct for station_pct, _ in places]),
                parents=[] if verdict is None else [verdict.record.id],
            )

    def _bench_changed(self) -> None:
        """Another experiment is another question; a push of this one makes the reveal possible."""
        with self._lock:
            if self._bench.step is not self._step:
                self._next(self._bench.step)
        self.tell()

    def _next(self, step: LessonStep | None) -> None:
        before = self._question
        self._step, self._answer, self._worked, self._known = step, None, None, self._bench.verdict
        self._question = replace(_fresh(before.number + 1, step), pupils=before.pupils)
        self._store()

    def _take(self, question: Question) -> None:
        self._question = question
        self._store()
        self.tell()

    def _store(self) -> None:
        write_text(self._file, stored(self._question).decode())

    def _kept(self) -> bytes:
        try:
            return self._file.read_bytes()
        except OSError:
            return b""


def _fresh(number: int, step: LessonStep | None) -> Question:
    """The question of an experiment, or that of a car in none."""
    if step is None:
        return Question(number=number, text=OWN_QUESTION, choices=PLACE)
    return Question(number=number, text=step.question, choices=step.choices, watched=not step.worked)


def lesson_json() -> Json:
    """The lesson for the page."""
    return {
        "cautions": list(CAUTIONS),
        "steps": [
            {
                "name": step.name,
                "title": step.title,
                "question": step.question,
                "todo": step.todo,
                "notes": step.notes,
                "caution": step.caution,
                "pushed": step.setup is not None,
            }
            for step in STEPS
        ],
    }
