"""What the page works on: cards, pads, weights, pushes. Each method does one thing a person asked for."""

import contextlib
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from analysis.base.errors import AnalysisError
from rig.base.errors import BenchError, InputError
from rig.base.plain_json import Json
from rig.cards.fields import CardKeys
from rig.cards.read import CardSet
from rig.cards.schema import Pads
from rig.jobs.pushing.compare import Verdict, judge, typed_pivot
from rig.jobs.pushing.film import LiveLook
from rig.jobs.pushing.measure import measure_clip, stored_camera
from rig.jobs.pushing.picture import car_picture
from rig.jobs.weighing.calibrate import CheckMasses, calibrate, card_hashes
from rig.jobs.weighing.plausible_loads import car_mass
from rig.jobs.weighing.weigh import weigh_on_pads
from rig.jobs.weighing.weights import RecordedWeighing, weigh_typed, weighing_from
from rig.jobs.weighing.zero import zero, zeroed_words
from rig.log.lock import LogHold
from rig.log.store import LOG_FILE, BenchLog
from rig.lookups.belongs import weighing_of
from rig.pads.steps import Step
from rig.page.bench.broadcast import Broadcast
from rig.page.bench.camera_view import CameraView
from rig.page.bench.card_files import Deck, editor
from rig.page.bench.jobs import Job, Work
from rig.page.bench.lesson_steps import FIRST_STEP, LessonStep, step_named
from rig.page.bench.pad_listeners import PadHub
from rig.page.bench.racer import HandsFree, checked_target, keep_target, racer_json, stored_target
from rig.page.bench.views import picture_json, verdict_json, weights_json
from rig.page.bench.virtual import VirtualSide, bench_text, step_cards
from rig.records.weighing import WEIGHING
from rig.report.words.sentences import first_sentence
from rig.virtual.dunlin import SetUp


class Bench:
    """The state behind the page. Any thread; short changes under one lock, long work as jobs."""

    def __init__(self, folder: Path, *, time_factor: float = 6.0, seed: int = 0) -> None:
        self.folder = folder
        self.broadcast = Broadcast()
        self.work = Work(self.broadcast)
        self._lock = threading.RLock()
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
        with self._lock:
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
        with self._lock, self.log() as log:
            port = self._pads_on_card()
            self.deck.save(kind, values, log)
            again = self._pads_on_card() != port
        self._cards_changed(pads=again)
        return f"Saved a new version of the {kind} card."

    def undo(self) -> str:
        """Back to the versions before the last save."""
        with self._lock, self.log() as log:
            port = self._pads_on_card()
            undone = self.deck.undo(log)
            again = self._pads_on_card() != port
        self._cards_changed(pads=again)
        return f"Went back to the version before, for {undone}."

    def restore_card(self, kind: str) -> str:
        """Put back the last good version of a card that was spoilt from outside."""
        with self._lock, self.log() as log:
            self.deck.restore(kind, log)
        self._cards_changed(pads=True)
        return f"The {kind} card is again as it was last saved here; what was there is kept as {kind}-spoilt.toml."

    def editor(self) -> Json:
        """What the card editor shows."""
        with self._lock, self.log() as log:
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
                with self._lock, self.log() as log:
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
        with self._lock:
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
        with self._lock, self.log() as log:
            self.deck.begin(step_cards(step, carded), log)
            self.virtual.take(true)
        self.verdict = None

    def _need_rest(self) -> None:
        if self.work.busy:
            raise InputError("something is still running", where="bench", remedy="Wait for it, or stop it first")

    # weighing

    def place(self, on: bool) -> str:
        """Set the virtual car on the pads, or take it off, to watch the loads."""
        if self.virtual is None:
            raise InputError("this is done by hand", where="pads", remedy="Set the car on the pads yourself")
        self.virtual.place(on)
        return "The car stands on the pads." if on else "The pads are empty."

    def zero(self) -> int:
        """Zero the empty pads."""

        def do(job: Job) -> str:
            cards = self.cards()
            if self.virtual is not None:
                self.virtual.place(False)
            job.say("Waiting for the empty pads to rest")
            with self.log() as log, self.hub.lend(job.check) as pads:
                record = zero(cards.bench, pads, log, cards=card_hashes(log, cards), car_g=car_mass(cards, log))
                words = zeroed_words(record, cards.bench, log)
            self.hub.scale_changed()
            return f"{words}."

        return self.work.start("zero", do)

    def calibrate(self, masses_g: list[float], mass_u_g: float) -> int:
        """Calibrate the pads against check masses; the page asks for each step."""

        def do(job: Job) -> str:
            cards = self.cards()
            ask = job.ask if self.virtual is None else self.virtual.operator(job.say)
            with self.log() as log, self.hub.lend(job.check) as pads:
                _, record = calibrate(
                    cards.bench,
                    pads,
                    log,
                    CheckMasses(masses_g=masses_g, mass_u_g=mass_u_g, cycles=1),
                    ask=ask,
                    progress=job.progress,
                    cards=card_hashes(log, cards),
                )
            self.hub.scale_changed()
            return f"Calibrated all four pads; record {record.number}. Now zero the empty pads."

        return self.work.start("calibrate", do, asks=True)

    def weigh(self, placings: int, *, hands_free: bool = False) -> int:
        """Weigh the car on the pads. hands_free: the pads themselves show when a step is done."""

        def do(job: Job) -> str:
            cards = self.cards()
            shown = HandsFree(lambda: self.hub.newest).done if hands_free else lambda step: False
            ask: Callable[[Step], None] = lambda step: job.ask(step, shown)  # noqa: E731
            if self.virtual is not None:
                ask = self.virtual.operator(job.say)
            with self.log() as log, self.hub.lend(job.check) as pads:
                weighing = weigh_on_pads(
                    cards, pads, log, placings=placings, ask=ask, progress=lambda share: job.check()
                )
            return self._weighed(weighing)

        return self.work.start("weigh", do, asks=True)

    def weigh_typed(self, weights_g: list[float], resolution_g: float) -> str:
        """Weights read off other scales."""
        values = {"typed.weights_g": weights_g, "typed.weights_resolution_g": resolution_g}
        with self._lock, self.log() as log:
            self.deck.save("test", values, log)
            weighing = weigh_typed(self.deck.cards(), log)
        return self._weighed(weighing)

    def _weighed(self, weighing: RecordedWeighing) -> str:
        self.weighing, self.verdict = weighing, None
        self.tell()
        self.on_change()
        total = weighing.weights.total_g
        first = "".join(f"Note: {remark}. " for remark in weighing.remarks)
        return f"{first}Weighed: {total.value:.1f} g ± {total.half_width:.1f}; record {weighing.record.number}."

    def need_weights(self) -> RecordedWeighing:
        """The weighing to go by. Raises InputError when there is none."""
        if self.weighing is None:
            raise InputError("this car has not been weighed", where="weights", remedy="Weigh it, or type its weights")
        return self.weighing

    # pushing

    def push(self) -> int:
        """Push and film the virtual car, measure the clip and judge it."""
        if self.virtual is None:
            raise InputError(
                "there is no clip yet", where="push", remedy="Film the push with a phone or camera, then give its clip"
            )
        self.need_weights()

        def do(job: Job) -> str:
            assert self.virtual is not None
            cards = self.cards()
            job.say("Pushing and filming the virtual car")
            clip = self.virtual.film(cards, self.folder / "page" / "clips", job.progress)
            return self._measure(job, cards, clip)

        return self.work.start("push", do)

    def measure(self, clip: Path) -> int:
        """Measure a copy of a clip that was handed over; a copy that nothing was measured from is not kept."""

        def do(job: Job) -> str:
            try:
                return self._measure(job, self.cards(), clip)
            except BaseException:  # stopped, too
                self._forget(clip)
                raise

        try:
            self.need_weights()
            return self.work.start("measure", do)
        except InputError:
            clip.unlink(missing_ok=True)
            raise

    def _forget(self, clip: Path) -> None:
        """Remove a copy unless the log leads to it; where the log cannot be read, it stays."""
        with contextlib.suppress(BenchError), self.log() as log:
            if not any(Path(file.path).name == clip.name for file in log.files()):
                clip.unlink(missing_ok=True)

    def film(self) -> int:
        """Film a push with the bench card's camera: advice, recording while the car moves, then the verdict."""
        self.need_weights()

        def do(job: Job) -> str:
            from rig.jobs.pushing.film import film_push

            def say(look: LiveLook) -> None:
                job.check()
                self.view.tell(look)

            cards = self.cards()
            job.say("Looking through the camera; push when the picture is good")
            try:
                opener = self.view.opener(self.camera_opener)
                recording = film_push(cards, self.folder / "page" / "clips", say=say, opener=opener)
            finally:
                self.view.end()
            return self._measure(job, cards, recording.clip)

        return self.work.start("film", do)

    def judge_typed(self, pivot_pct: float, u_pct: float) -> int:
        """Judge a pivot found with ruler and pencil."""
        weighing = self.need_weights()
        with self._lock, self.log() as log:
            self.deck.save("test", {"typed.pivot_pct": pivot_pct, "typed.pivot_pct_u": u_pct}, log)

        def do(job: Job) -> str:
            cards = self.cards()
            job.say("Forecasting")
            with self.log() as log:
                return self._judged(judge(cards, log, weighing, None, typed_pivot(cards)))

        return self.work.start("judge", do)

    def _measure(self, job: Job, cards: CardSet, clip: Path) -> str:
        weighing = self.need_weights()
        with self.log() as log:
            job.say("Looking for the markers and measuring the pivot")
            camera = stored_camera(cards, log)
            measurement = measure_clip(clip, cards, log, camera=camera, progress=job.progress)
            job.say("Forecasting and comparing")
            return self._judged(judge(cards, log, weighing, measurement, None))

    def _judged(self, verdict: Verdict) -> str:
        self.verdict = verdict
        self.tell()
        self.on_change()
        return first_sentence(verdict)


def _setup_of(step: LessonStep) -> SetUp:
    assert step.setup is not None
    return step.setup
