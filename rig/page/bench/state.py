"""What the page works on: cards, the car's state, the virtual bench. The work at pads and pushes: modules beside."""

import contextlib
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from analysis.base.errors import AnalysisError
from rig.base.errors import BenchError, InputError
from rig.base.plain_json import Json
from rig.cards.keys.bench import Pads
from rig.cards.keys.fields import CardKeys
from rig.cards.read import CardSet
from rig.jobs.pushing.compare import Verdict
from rig.jobs.pushing.picture import car_picture
from rig.jobs.weighing.weights import RecordedWeighing, weighing_from
from rig.log.lock import LogHold
from rig.log.store import LOG_FILE, BenchLog
from rig.lookups.belongs import weighing_of
from rig.page.bench.card_files import Deck, editor
from rig.page.bench.jobs import Job, Work
from rig.page.bench.lesson_steps import FIRST_STEP, LessonStep, step_named
from rig.page.bench.views import picture_json, verdict_json, weights_json
from rig.page.bench.virtual import VirtualSide, bench_text, step_cards
from rig.page.live.broadcast import Broadcast
from rig.page.live.camera_view import CameraView
from rig.page.live.pad_listeners import PadHub
from rig.page.live.racer import checked_target, keep_target, racer_json, stored_target
from rig.records.weighing import WEIGHING
from rig.virtual.dunlin import SetUp


class BenchState:
    """How the bench stands. Any thread; short changes under one lock, long work as jobs."""

    def __init__(self, folder: Path, *, time_factor: float = 6.0, seed: int = 0) -> None:
        self.folder = folder
        self.broadcast = Broadcast()
        self.work = Work(self.broadcast)
        self.lock = threading.RLock()
        self._time_factor, self._seed = time_factor, seed
        with BenchLog(folder):  # a folder that cannot be used is told at the start
            pass
        self._hold = LogHold(folder / LOG_FILE)  # nobody repairs the log under a running bench
        self.hub = PadHub(folder, self.broadcast)
        self._target_file = folder / "page" / "racer.json"
        self.cross_target = stored_target(self._target_file)
        self.hub.cross_target_pct = self.cross_target.share_pct
        self.virtual: VirtualSide | None = None
        self.deck = Deck(folder / "page" / "bench")
        self.step: LessonStep | None = None
        self.weighing: RecordedWeighing | None = None
        self.verdict: Verdict | None = None
        self.on_change: Callable[[], None] = lambda: None
        self.view = CameraView(self.broadcast)
        self.camera_opener: Callable[[str], Any] | None = None
        self._recall()
        self.tell()
        self._open_pads()

    def close(self) -> None:
        """Let go of everything; nothing recorded is lost without it."""
        self.work.close()
        self.hub.stop()
        if self.virtual is not None:
            self.virtual.close()
        self._hold.close()

    def log(self) -> BenchLog:
        """The log, for the thread that asks; close it after use."""
        return BenchLog(self.folder)

    def cards(self) -> CardSet:
        """The cards as they are now."""
        with self.lock:
            return self.deck.cards()

    def tell(self) -> None:
        """Tell every page how the bench stands."""
        try:
            cards = self.cards()
        except InputError as error:
            self.broadcast.publish("car", {"trouble": str(error)})
            return
        verdict = self.verdict
        picture = (
            verdict.picture
            if verdict is not None
            else car_picture(cards, None if self.weighing is None else self.weighing.weights)
        )
        self.broadcast.publish(
            "car",
            {
                "name": cards.car.name,
                "test": cards.test.name,
                "picture": picture_json(picture),
                "weights": None if self.weighing is None else weights_json(self.weighing),
                "verdict": None if verdict is None else verdict_json(verdict),
                "push": {"position_pct": cards.test.push.position_pct, "wheels": cards.test.push.wheels},
                "grip": {"front": cards.test.grip.front, "rear": cards.test.grip.rear},
                "virtual": self.virtual is not None,
                "step": self.step.name if self.step is not None else "",
                "can_undo": self.deck.can_undo,
                "racer": self._racer(cards),
            },
        )

    def _racer(self, cards: CardSet) -> Json:
        try:
            with self.log() as log:
                return racer_json(cards, self.weighing, self.cross_target, log)
        except (BenchError, AnalysisError) as error:
            return {"target_pct": self.cross_target.share_pct, "trouble": str(error)}

    def want_cross(self, share_pct: float) -> str:
        """The cross weight to come to: per cent of the car on front right with rear left."""
        self.cross_target = checked_target(share_pct)
        self.hub.cross_target_pct = share_pct
        keep_target(self._target_file, self.cross_target)
        self.tell()
        return f"Wanted cross weight: {share_pct:g} %."

    # cards

    def save_card(self, kind: str, values: CardKeys) -> str:
        """Save a new version of one card."""
        with self.lock, self.log() as log:
            port = self._pads_on_card()
            self.deck.save(kind, values, log)
            again = self._pads_on_card() != port
        self._cards_changed(pads=again)
        return f"Saved a new version of the {kind} card."

    def undo(self) -> str:
        """Back to the versions before the last save."""
        with self.lock, self.log() as log:
            port = self._pads_on_card()
            undone = self.deck.undo(log)
            again = self._pads_on_card() != port
        self._cards_changed(pads=again)
        return f"Went back to the version before, for {undone}."

    def restore_card(self, kind: str) -> str:
        """Put back the last good version of a card that was spoilt from outside."""
        with self.lock, self.log() as log:
            self.deck.restore(kind, log)
        self._cards_changed(pads=True)
        return f"The {kind} card is again as it was last saved here; what was there is kept as {kind}-spoilt.toml."

    def editor(self) -> Json:
        """What the card editor shows."""
        with self.lock, self.log() as log:
            return editor(self.deck, log)

    def _pads_on_card(self) -> Pads | None:
        """What the bench card says of the pads; None while the cards cannot be used."""
        try:
            return self.deck.cards().bench.pads
        except InputError:
            return None

    def _cards_changed(self, *, pads: bool) -> None:
        if pads and self.virtual is None:
            self._open_pads()
        self.verdict = None
        self._recall()
        self.tell()
        self.on_change()

    def _recall(self) -> None:
        """The newest weighing of this car, from the log: a server that starts again loses nothing."""
        self.weighing = None
        try:
            cards = self.cards()
            with self.log() as log:
                found = weighing_of(cards.car, log)
                if found is not None:
                    self.weighing = weighing_from(WEIGHING.of(found.record), cards)
        except (BenchError, AnalysisError, KeyError):
            self.weighing = None

    def _open_pads(self) -> None:
        try:
            bench = self.cards().bench
        except InputError:  # a card was spoilt from outside: the page says so, and can put it right
            self.hub.stop()
            return
        if bench.pads.port and bench.pads.port != "virtual":
            self.hub.start(bench, bench.pads.port)
        else:
            self.hub.stop()

    @contextlib.contextmanager
    def port_let_go(self, why: str) -> Iterator[None]:
        """The pads' port left to somebody else for as long as this lasts. why: a sentence for people."""
        self.hub.stop(why)
        try:
            yield
        finally:
            self._open_pads()

    # the virtual bench and the lesson

    def switch_virtual(self, on: bool) -> int:
        """Start or end the virtual bench."""
        if on == (self.virtual is not None):
            return 0
        if not on:
            self._need_rest()
            assert self.virtual is not None
            self.hub.stop()
            self.virtual.close()
            self.virtual, self.step, self.verdict = None, None, None
            self.deck = Deck(self.folder / "page" / "bench")
            self._recall()
            self.tell()
            self._open_pads()
            self.on_change()
            return 0

        def switch(job: Job) -> str:
            job.say("Starting the virtual bench")
            side = VirtualSide(seed=self._seed, time_factor=self._time_factor)
            try:
                with self.lock, self.log() as log:
                    deck = Deck(self.folder / "page" / "virtual")
                    deck.begin({"bench": bench_text()} | step_cards(FIRST_STEP, _setup_of(FIRST_STEP)), log)
                    self.hub.stop()
                    self.virtual, self.deck, self.step, self.verdict = side, deck, FIRST_STEP, None
                    side.take(_setup_of(FIRST_STEP))
                self._recall()
                self.tell()
                self.on_change()
                job.say("Calibrating the virtual pads against check masses")
                with self.log() as log:
                    side.calibrated(self.cards(), log, job.progress)
            finally:
                if self.virtual is side:
                    self.hub.start(self.cards().bench, side.pads.url)
                else:
                    side.close()
            return "The virtual bench is on: its pads are calibrated. Zero them, then weigh the car."

        return self.work.start("virtual bench", switch)

    def choose_step(self, name: str) -> str:
        """Go to one experiment of the lesson; on the virtual bench its car is there at once."""
        step = step_named(name)
        if step is None:
            raise InputError("there is no such experiment", where="lesson", remedy="Choose one of the list")
        self._need_rest()
        with self.lock:
            self.step = step
            if self.virtual is not None and step.setup is not None:
                self.set_up(step, step.setup, step.setup)
        self._recall()
        self.verdict = None
        self.tell()
        self.on_change()
        return f"{step.title}. {step.todo}"

    def set_up(self, step: LessonStep, carded: SetUp, true: SetUp) -> None:
        """On the virtual bench: cards as of `carded`, a car as of `true`."""
        assert self.virtual is not None
        with self.lock, self.log() as log:
            self.deck.begin(step_cards(step, carded), log)
            self.virtual.take(true)
        self.verdict = None

    def weighed(self, weighing: RecordedWeighing) -> None:
        """This car was weighed anew; what was pushed before belongs to the weights before."""
        self.weighing, self.verdict = weighing, None
        self.tell()
        self.on_change()

    def judged(self, verdict: Verdict) -> None:
        """A push was judged."""
        self.verdict = verdict
        self.tell()
        self.on_change()

    def need_weights(self) -> RecordedWeighing:
        """The weighing to go by. Raises InputError when there is none."""
        if self.weighing is None:
            raise InputError("this car has not been weighed", where="weights", remedy="Weigh it, or type its weights")
        return self.weighing

    def _need_rest(self) -> None:
        if self.work.busy:
            raise InputError("something is still running", where="bench", remedy="Wait for it, or stop it first")


def _setup_of(step: LessonStep) -> SetUp:
    assert step.setup is not None
    return step.setup
