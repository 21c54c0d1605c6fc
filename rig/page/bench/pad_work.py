"""What is done on the pads from the page: zero, calibrate, weigh. Each method does one thing a person asked for."""

from collections.abc import Callable

from rig.base.errors import InputError
from rig.jobs.weighing.calibrate import CheckMasses, calibrate, card_hashes
from rig.jobs.weighing.plausible_loads import car_mass
from rig.jobs.weighing.weigh import weigh_on_pads
from rig.jobs.weighing.weights import RecordedWeighing, weigh_typed
from rig.jobs.weighing.zero import zero, zeroed_words
from rig.pads.steps import Step
from rig.page.bench.jobs import Job
from rig.page.bench.state import BenchState
from rig.page.live.racer import HandsFree


class PadWork:
    """The work at the pads of one bench."""

    def __init__(self, bench: BenchState) -> None:
        self._bench = bench

    def place(self, on: bool) -> str:
        """Set the virtual car on the pads, or take it off, to watch the loads."""
        if self._bench.virtual is None:
            raise InputError("this is done by hand", where="pads", remedy="Set the car on the pads yourself")
        self._bench.virtual.place(on)
        return "The car stands on the pads." if on else "The pads are empty."

    def zero(self) -> int:
        """Zero the empty pads."""

        return self._bench.work.start("zero", self._zero)

    def _zero(self, job: Job) -> str:
        cards = self._bench.cards()
        if self._bench.virtual is not None:
            self._bench.virtual.place(False)
        job.say("Waiting for the empty pads to rest")
        with self._bench.log() as log, self._bench.hub.lend(job.check) as pads:
            record = zero(cards.bench, pads, log, cards=card_hashes(log, cards), car_g=car_mass(cards, log))
            words = zeroed_words(record, cards.bench, log)
        self._bench.hub.scale_changed()
        return f"{words}."

    def calibrate(self, masses_g: list[float], mass_u_g: float) -> int:
        """Calibrate the pads against check masses; the page asks for each step."""

        def do(job: Job) -> str:
            cards = self._bench.cards()
            ask = job.ask if self._bench.virtual is None else self._bench.virtual.operator(job.say)
            with self._bench.log() as log, self._bench.hub.lend(job.check) as pads:
                _, record = calibrate(
                    cards.bench,
                    pads,
                    log,
                    CheckMasses(masses_g=masses_g, mass_u_g=mass_u_g, cycles=1),
                    ask=ask,
                    progress=job.progress,
                    cards=card_hashes(log, cards),
                )
            self._bench.hub.scale_changed()
            return f"Calibrated all four pads; record {record.number}. Now zero the empty pads."

        return self._bench.work.start("calibrate", do, asks=True)

    def weigh(self, placings: int, *, hands_free: bool = False) -> int:
        """Weigh the car on the pads. hands_free: the pads themselves show when a step is done."""

        return self._bench.work.start("weigh", lambda job: self._weigh(job, placings, hands_free), asks=True)

    def _weigh(self, job: Job, placings: int, hands_free: bool) -> str:
        cards = self._bench.cards()
        shown = HandsFree(lambda: self._bench.hub.newest).done if hands_free else lambda step: False
        ask: Callable[[Step], None] = lambda step: job.ask(step, shown)  # noqa: E731
        if self._bench.virtual is not None:
            ask = self._bench.virtual.operator(job.say)
        with self._bench.log() as log, self._bench.hub.lend(job.check) as pads:
            weighing = weigh_on_pads(cards, pads, log, placings=placings, ask=ask, progress=lambda share: job.check())
        return self._weighed(weighing)

    def virtual_weighed(self, job: Job) -> None:
        """Zero and weigh the virtual car within another job, where it has not been weighed: nobody must walk to it."""
        if self._bench.virtual is not None and self._bench.weighing is None:
            self._zero(job)
            self._weigh(job, 1, False)

    def weigh_typed(self, weights_g: list[float], resolution_g: float) -> str:
        """Weights read off other scales."""
        values = {"typed.weights_g": weights_g, "typed.weights_resolution_g": resolution_g}
        with self._bench.lock, self._bench.log() as log:
            self._bench.deck.save("test", values, log)
            weighing = weigh_typed(self._bench.deck.cards(), log)
        return self._weighed(weighing)

    def _weighed(self, weighing: RecordedWeighing) -> str:
        self._bench.weighed(weighing)
        total = weighing.weights.total_g
        first = "".join(f"Note: {remark}. " for remark in weighing.remarks)
        return f"{first}Weighed: {total.value:.1f} g ± {total.half_width:.1f}; record {weighing.record.number}."
