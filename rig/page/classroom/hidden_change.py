"""The hidden change: something was done under the shell; after each push, the odds of what it was."""

import secrets
from typing import Any

from rig.base.errors import InputError
from rig.cards.mechanics import push_state
from rig.cards.read import CardSet
from rig.jobs.measuring.measure import measure_clip
from rig.jobs.pushing.what_if import WhatIf
from rig.jobs.series.hidden_change import SecretPush, hidden_odds
from rig.page.bench.bench import Bench
from rig.page.bench.jobs import Job
from rig.page.bench.lesson_steps import HIDDEN, STEPS, HiddenChoice, hidden_setup
from rig.virtual.dunlin import BALLAST_G


class HiddenGame:
    """One game at a time, on the virtual bench."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._secret: HiddenChoice | None = None
        self._pushes: list[SecretPush] = []
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
            with bench.log() as log:
                estimate = measure_clip(clip, cards, log, progress=job.progress).pushes[0].estimate
            self._pushes.append(SecretPush(push=push_state(cards.car, cards.test), measured=estimate))
            found = hidden_odds(cards, bench.weighing, self._choices(cards), self._pushes)
            self._tell(found.sentence, [[name, round(p, 4)] for name, p in found.probability.items()], found.next_push)
            return found.sentence

        return bench.work.start("hidden change", do)

    def reveal(self) -> str:
        """Lift the shell."""
        if self._secret is None:
            raise InputError("nothing is hidden yet", where="hidden change", remedy="Start the game first")
        sentence = f"Under the shell: {self._secret.name}."
        self._secret = None
        self._tell(sentence)
        return sentence

    def _choices(self, cards: CardSet) -> dict[str, WhatIf]:
        return {
            choice.name: WhatIf(
                front=choice.grip[0],
                rear=choice.grip[1],
                ballast_g=0.0 if choice.ballast_at_mm is None else BALLAST_G,
                ballast_pct=100 * (choice.ballast_at_mm or 0.0) / cards.car.geometry.wheelbase_mm,
                push_pct=50.0,
            )
            for choice in HIDDEN
        }

    def _tell(self, sentence: str, odds: list[list[Any]] | None = None, next_push: str = "") -> None:
        self._bench.broadcast.publish(
            "hidden",
            {
                "running": self._secret is not None,
                "pushes": len(self._pushes),
                "sentence": sentence,
                "odds": odds or [],
                "next": next_push,
                "choices": [choice.name for choice in HIDDEN],
            },
        )
