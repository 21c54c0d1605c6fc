"""What is done with a push from the page: film it, measure a clip, judge it."""

import contextlib
from collections.abc import Callable, Hashable
from pathlib import Path

from rig.base.errors import BenchError, InputError
from rig.cards.read import CardSet
from rig.jobs.measuring.lens_and_floor import stored_camera
from rig.jobs.measuring.measure import measure_clip
from rig.jobs.pushing.compare import Verdict, judge, typed_pivot
from rig.jobs.pushing.film import LiveLook
from rig.jobs.pushing.live_push import GettingReady, LivePush, ready_to_speak
from rig.page.bench.jobs import Job
from rig.page.bench.state import BenchState
from rig.report.words.sentences import first_sentence


class PushWork:
    """The pushes of one bench. weighed: makes sure within a job that the virtual car was weighed."""

    def __init__(self, bench: BenchState, weighed: Callable[[Job], None]) -> None:
        self._bench, self._weighed = bench, weighed
        self._prepared: tuple[Hashable, GettingReady] | None = None

    def push(self) -> int:
        """Weigh the virtual car where nobody did, push and film it, measure the clip and judge it."""
        if self._bench.virtual is None:
            raise InputError(
                "there is no clip yet", where="push", remedy="Film the push with a phone or camera, then give its clip"
            )

        def do(job: Job) -> str:
            assert self._bench.virtual is not None
            self._weighed(job)
            cards = self._bench.cards()
            job.say("Pushing and filming the virtual car")
            clip = self._bench.virtual.film(cards, self._bench.folder / "page" / "clips", job.progress)
            return self._measure(job, cards, clip)

        return self._bench.work.start("push", do)

    def measure(self, clip: Path) -> int:
        """Measure a copy of a clip that was handed over; a copy that nothing was measured from is not kept."""

        def do(job: Job) -> str:
            try:
                return self._measure(job, self._bench.cards(), clip)
            except BaseException:  # stopped, too
                self._forget(clip)
                raise

        try:
            self._bench.need_weights()
            return self._bench.work.start("measure", do)
        except InputError:
            clip.unlink(missing_ok=True)
            raise

    def _forget(self, clip: Path) -> None:
        """Remove a copy unless the log leads to it; where the log cannot be read, it stays."""
        with contextlib.suppress(BenchError), self._bench.log() as log:
            if str(clip.absolute()) not in {file.path for file in log.files()}:
                clip.unlink(missing_ok=True)

    def film(self) -> int:
        """Film a push with the bench card's camera: advice, recording while the car moves, then the verdict."""
        self._bench.need_weights()

        def do(job: Job) -> str:
            from rig.jobs.pushing.film import Onlookers, film_push

            def say(look: LiveLook) -> None:
                job.check()
                self._bench.view.tell(look)

            cards, view = self._bench.cards(), self._bench.view
            job.say("Looking through the camera; push when the picture is good")
            along = self.along(cards)
            clips = self._bench.folder / "page" / "clips"
            onlookers = Onlookers(say=say, told=job.say, along=along)
            try:
                with self._finger_has_port(cards):
                    recording = film_push(cards, clips, onlookers, opener=view.opener(self._bench.camera_opener))
            finally:
                self._bench.view.end()
            return self._measure(job, cards, recording.clip)

        return self._bench.work.start("film", do)

    def _finger_has_port(self, cards: CardSet) -> contextlib.AbstractContextManager[None]:
        """While this lasts, the port is the finger's where its cell is a channel of the pads' own board."""
        bench = cards.bench
        if (
            self._bench.virtual is not None
            or bench.force is None
            or bench.force.port not in ("", bench.pads.port, *(bench.pads.ports or ()))
        ):
            return contextlib.nullcontext()
        return self._bench.port_let_go("The pads’ board measures the finger’s force while a push is filmed")

    def along(self, cards: CardSet) -> LivePush:
        """Who looks along while a push is filmed. What it needs is worked out once for these cards and weights."""
        weighing = self._bench.need_weights()
        key = (cards.texts["car"], cards.texts["test"], weighing.record.id)
        if self._prepared is None or self._prepared[0] != key:
            self._prepared = (key, GettingReady(lambda: ready_to_speak(cards, weighing)))
        with self._bench.log() as log:
            camera = stored_camera(cards, log)
        return LivePush(cards, weighing, self._prepared[1], camera=camera, show=self._bench.view.show)

    def judge_typed(self, pivot_pct: float, u_pct: float) -> int:
        """Judge a pivot found with ruler and pencil."""
        weighing = self._bench.need_weights()
        with self._bench.lock, self._bench.log() as log:
            self._bench.deck.save("test", {"typed.pivot_pct": pivot_pct, "typed.pivot_pct_u": u_pct}, log)

        def do(job: Job) -> str:
            cards = self._bench.cards()
            job.say("Forecasting")
            with self._bench.log() as log:
                return self._judged(judge(cards, log, weighing, typed_pivot(cards)))

        return self._bench.work.start("judge", do)

    def _measure(self, job: Job, cards: CardSet, clip: Path) -> str:
        weighing = self._bench.need_weights()
        with self._bench.log() as log:
            job.say("Looking for the markers and measuring the pivot")
            camera = stored_camera(cards, log)
            measurement = measure_clip(clip, cards, log, camera=camera, progress=job.progress)
            job.say("Forecasting and comparing")
            return self._judged(judge(cards, log, weighing, measurement))

    def _judged(self, verdict: Verdict) -> str:
        self._bench.judged(verdict)
        return first_sentence(verdict)
