"""The hidden change: something was done under the shell; after each push, the odds of what it was."""

import secrets
from typing import Any

from analysis.base.pivot import PivotEstimate
from analysis.forecast.inputs import CarState, PushState
from analysis.series.hidden_change import Hypothesis, hidden_change, most_telling_push
from rig.base.errors import InputError
from rig.cards.mechanics import car_state, push_state
from rig.page.bench.bench import Bench
from rig.page.bench.jobs import Job
from rig.page.bench.lesson_steps import HIDDEN, STEPS, HiddenChoice, hidden_setup
from rig.page.bench.whatif import WhatIf, loads_with
from rig.virtual.dunlin import BALLAST_G

SCATTER_PER_M = 0.05
"""Standard deviation between pushes of one car (common practice, no source), until repeats measure it."""
PUSHES_PCT = (15.0, 30.0, 70.0, 85.0)


class HiddenGame:
    """One game at a time, on the virtual bench."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._secret: HiddenChoice | None = None
        self._pushes: list[tuple[PushState, PivotEstimate]] = []
        self._choices = [choice.name for choice in HIDDEN]
        self._tell("")

    def start(self, secret: str | None = None) -> int:
        """Hide something. secret: its name, or None for chance. The car is weighed as it was before."""
        bench = self._bench
        if bench.virtual is None:
            raise InputError("this game needs the virtual car", where="hidden change", remedy="Switch it on first")
        named = [choice for choice in HIDDEN if choice.name == secret]
        self._secret = named[0] if named else secrets.choice(HIDDEN)
        self._pushes = []
        step = STEPS[0]
        assert step.setup is not None
        bench.set_up(step, step.setup, hidden_setup(self._secret))
        bench.tell()
        self._tell("Something may have been done under the shell: ballast, or an odd pair of tyres. Push, and see.")
        return 0

    def push(self, position_pct: float) -> int:
        """Push, measure, and work the odds out again."""
        if self._secret is None:
            raise InputError("nothing is hidden yet", where="hidden change", remedy="Start the game first")
        bench = self._bench
        bench.save_card("test", {"push.position_pct": position_pct})

        def do(job: Job) -> str:
            assert bench.virtual is not None
            cards = bench.cards()
            job.say("Pushing and filming the car with the secret")
            clip = bench.virtual.film(cards, bench.folder / "page" / "clips", job.progress)
            job.say("Measuring the pivot")
            estimate = measured_only(bench, clip, job)
            self._pushes.append((push_state(cards.car, cards.test), estimate))
            found = hidden_change(self._hypotheses(), self._pushes, scatter=SCATTER_PER_M)
            states = [push_state(cards.car, _at(cards.test, pct)) for pct in PUSHES_PCT]
            told = most_telling_push(
                self._hypotheses(), found.probability, states, kappa_u=max(estimate.kappa_u, SCATTER_PER_M)
            )
            self._tell(found.sentence, [[name, round(p, 4)] for name, p in found.probability.items()], told.sentence)
            return found.sentence

        return bench.work.start("hidden change", do)

    def reveal(self) -> str:
        """Lift the shell."""
        if self._secret is None:
            raise InputError("nothing is hidden yet", where="hidden change", remedy="Start the game first")
        said = f"Under the shell: {self._secret.name}."
        self._secret = None
        self._tell(said)
        return said

    def _hypotheses(self) -> list[Hypothesis]:
        bench = self._bench
        cards, weighing = bench.cards(), bench.weighing
        cars: list[Hypothesis] = []
        for choice in HIDDEN:
            at_mm = choice.ballast_at_mm or 0.0
            asked = WhatIf(
                front=choice.grip[0],
                rear=choice.grip[1],
                ballast_g=0.0 if choice.ballast_at_mm is None else BALLAST_G,
                ballast_pct=100 * at_mm / cards.car.geometry.wheelbase_mm,
                push_pct=50.0,
            )
            load, covariance, test = loads_with(cards, weighing, asked)
            car: CarState = car_state(cards.car, test, load=load, load_covariance=covariance)
            cars.append(Hypothesis(name=choice.name, car=car))
        return cars

    def _tell(self, sentence: str, odds: list[list[Any]] | None = None, next_push: str = "") -> None:
        self._bench.broadcast.publish(
            "hidden",
            {
                "running": self._secret is not None,
                "pushes": len(self._pushes),
                "sentence": sentence,
                "odds": odds or [],
                "next": next_push,
                "choices": self._choices,
            },
        )


def measured_only(bench: Bench, clip: Any, job: Job) -> PivotEstimate:
    """The pivot of the first push in a clip, kept in the log, without a forecast beside it."""
    from rig.jobs.pushing.measure import measure_clip

    with bench.log() as log:
        return measure_clip(clip, bench.cards(), log, progress=job.progress).pushes[0].estimate


def _at(test: Any, pct: float) -> Any:
    import msgspec

    return msgspec.structs.replace(test, push=msgspec.structs.replace(test.push, position_pct=pct))
