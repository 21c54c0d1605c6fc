"""First try and class mode: pins set before the push, the push, and how far they were. No names, points or clock."""

import json
import math
import secrets
import threading
import time
from enum import StrEnum

import numpy as np

from rig.base.errors import InputError
from rig.base.files import write_text
from rig.base.plain_json import Json
from rig.cards.measures import MM, wheelbase
from rig.jobs.demo.first_try import pin_sentence, plain_car, see_push
from rig.jobs.pushing.compare import Verdict
from rig.jobs.series.guesses import guess_spread
from rig.page.bench.bench import Bench
from rig.page.bench.lesson_steps import CAUTIONS, STEPS
from rig.page.bench.views import estimate_json, seen_json
from rig.records.classroom import FIRST_TRY, GUESS, FirstTryInputs, FirstTryResult, GuessInputs, GuessResult
from rig.records.codec import plain
from rig.report.words.sentences import first_sentence

MOST_GUESSES = 200


class ClassPhase(StrEnum):
    """What the class is doing, in the word that the page knows."""

    GUESSING = "guess"
    REVEALED = "reveal"


class Classroom:
    """What the class has guessed, and when it may see the answer."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._lock = threading.Lock()
        self._file = bench.folder / "page" / "class.json"
        self._guesses: list[tuple[float, float]] = self._stored()
        self._phase = ClassPhase.GUESSING
        self.phones: dict[str, str] | None = None
        self._pin: tuple[float, float] | None = None
        bench.on_change = self._bench_changed
        self._known = bench.verdict
        bench.broadcast.publish("first", {"pin": None, "seen": None})
        self.tell()

    @property
    def guesses(self) -> tuple[tuple[float, float], ...]:
        """On the board: per cent of the wheelbase ahead of the rear axle, mm left of the middle."""
        return tuple(self._guesses)

    # first try

    def first_push(self, station_pct: float, side_mm: float) -> Json:
        """Push the virtual car, look without a camera, and say how far the pin was."""
        bench = self._bench
        cards = bench.cards()
        seen = see_push(plain_car(cards), cards) if bench.virtual is None else bench.virtual.see(cards)
        length = wheelbase(cards.car)
        pin = np.array([station_pct / 100 * length, side_mm * MM])
        sentence = pin_sentence(seen, pin, length)
        with bench.log() as log:
            record = log.record(
                FIRST_TRY,
                cards.test.name,
                inputs=FirstTryInputs(pin_pct=station_pct, pin_side_mm=side_mm, push_pct=cards.test.push.position_pct),
                result=FirstTryResult(kappa_per_m=seen.kappa, sentence=sentence, virtual=True),
            )
        shown = {"pin": pin / MM, "sentence": sentence, "record": record.number}
        bench.broadcast.publish("first", seen_json(seen) | shown)
        return {"sentence": sentence}

    # class

    def guess(self, station_pct: float, side_mm: float) -> str:
        """One more guess. Raises InputError after the reveal or when there are too many."""
        with self._lock:
            if self._phase is ClassPhase.REVEALED:
                raise InputError("this push is over", where="class", remedy="Wait for the next question")
            if len(self._guesses) >= MOST_GUESSES:
                raise InputError("there are guesses enough", where="class", remedy="Reveal, then ask again")
            self._guesses = [*self._guesses, (station_pct, side_mm)]
            self._store()
        self.tell()
        return "Thank you: the guess is on the board."

    def take_back(self) -> str:
        """Undo the latest guess made."""
        with self._lock:
            self._guesses = self._guesses[:-1]
            self._store()
        self.tell()
        return "Took the latest guess back."

    def again(self) -> str:
        """Clear the board for the next question."""
        with self._lock:
            self._guesses, self._phase = [], ClassPhase.GUESSING
            self._known = self._bench.verdict
            self._store()
        self.tell()
        return "The board is clear."

    def reveal(self) -> str:
        """Show measured pivot, forecast and guesses, and write the guesses down."""
        verdict = self._bench.verdict
        if verdict is None:
            raise InputError("nothing was pushed yet", where="class", remedy="Push first, then reveal")
        with self._lock:
            if self._phase is not ClassPhase.REVEALED and self._guesses:
                with self._bench.log() as log:
                    log.record(
                        GUESS,
                        verdict.cards.test.name,
                        inputs=GuessInputs(guesses=tuple(self._guesses)),
                        result=self._spread(),
                        parents=[verdict.record.id],
                    )
            self._phase = ClassPhase.REVEALED
            self._store()
        self.tell()
        return self._revealed(verdict)

    def phones_opened(self, opened: dict[str, str] | None) -> None:
        """Phones may send guesses now (address and code), or no longer (None)."""
        self.phones = opened
        self.tell()

    def tell(self) -> None:
        """Tell every page. Where the pins stand is shown; the answer only at the reveal."""
        bench = self._bench
        verdict, step = bench.verdict, bench.step
        shown: Json = {
            "phase": self._phase,
            "question": "Where will it pivot?" if step is None else step.question,
            "title": "" if step is None else step.title,
            "guesses": [list(guess) for guess in self._guesses],
            "pushed": verdict is not None and verdict is not self._known,
            "phones": self.phones,
        }
        if self._phase is ClassPhase.REVEALED and verdict is not None:
            shown |= {
                "spread": plain(self._spread()),
                "sentence": self._revealed(verdict),
                "measured": estimate_json(verdict.measured),
                "forecast": estimate_json(verdict.forecast.prediction.estimate),
                "notes": "" if step is None else step.notes,
            }
        bench.broadcast.publish("class", shown)

    @staticmethod
    def _revealed(verdict: Verdict) -> str:
        """What happened, then the place that the class guessed."""
        found = verdict.comparison.sentence
        return found if verdict.answer is None else f"{first_sentence(verdict)} {found}"

    def _spread(self) -> GuessResult:
        return guess_spread([station_pct for station_pct, _ in self._guesses])

    def _bench_changed(self) -> None:
        if self._bench.verdict is None:
            with self._lock:
                self._phase = ClassPhase.GUESSING
                self._known = None
        self.tell()

    def _store(self) -> None:
        write_text(self._file, json.dumps({"guesses": self._guesses}))

    def _stored(self) -> list[tuple[float, float]]:
        try:
            stored = json.loads(self._file.read_text(encoding="utf-8"))["guesses"]
            return [(float(x), float(y)) for x, y in stored if math.isfinite(x) and math.isfinite(y)][:MOST_GUESSES]
        except (OSError, ValueError, KeyError, TypeError):
            return []


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


class RateLimit:
    """So many within so many seconds, for each who asks and for all together."""

    def __init__(self, each: int, everybody: int, seconds: float) -> None:
        self._each, self._all, self._seconds = each, everybody, seconds
        self._times: dict[str, list[float]] = {}
        self._lock = threading.Lock()

    def allows(self, who: str, now: float | None = None) -> bool:
        """Whether `who` may once more; counts it when so."""
        at = time.monotonic() if now is None else now
        with self._lock:
            kept = {name: [t for t in times if at - t < self._seconds] for name, times in self._times.items()}
            self._times = {name: times for name, times in kept.items() if times}
            if len(self._times.get(who, [])) >= self._each or sum(map(len, self._times.values())) >= self._all:
                return False
            self._times.setdefault(who, []).append(at)
            return True


def new_code() -> str:
    """Six digits that the teacher's screen shows."""
    return f"{secrets.randbelow(1_000_000):06d}"
