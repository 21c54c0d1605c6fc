"""What a racer looks at: cross weight against the wanted one, what brings it there, last weighing against before."""

import json
import math
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from analysis.base.arrays import FloatArray
from analysis.statistics.estimate import Estimate
from analysis.statistics.quantiles import NORMAL_95
from rig.base.errors import InputError
from rig.base.files import write_text
from rig.base.plain_json import Json
from rig.cards.identity import changes_in_words
from rig.cards.read import CardSet
from rig.jobs.weighing.cross import CrossTarget, cross_gap
from rig.jobs.weighing.weights import RecordedWeighing, weighing_from
from rig.log.store import BenchLog
from rig.lookups.belongs import weighing_before
from rig.pads.steps import Step

HELD_S = 1.5
"""How long the car must stand at rest before the pads count as an answer."""
EMPTY_G = 20.0
"""Less than this on all pads together is no car."""
NARROWEST_PCT, WIDEST_PCT = 30.0, 70.0


def stored_target(file: Path) -> CrossTarget:
    """The cross weight that was wanted last on this bench; half and half where nothing fitting is kept."""
    try:
        return checked_target(float(json.loads(file.read_text(encoding="utf-8"))["share_pct"]))
    except (OSError, ValueError, KeyError, TypeError, RecursionError, InputError):
        return CrossTarget()


def checked_target(share_pct: float) -> CrossTarget:
    """A wanted cross weight. Raises InputError for one that cannot be meant."""
    if not NARROWEST_PCT <= share_pct <= WIDEST_PCT:
        raise InputError(
            f"{share_pct:g} % of the car on front right with rear left cannot be meant",
            where="cross weight",
            remedy=f"Give {NARROWEST_PCT:g} to {WIDEST_PCT:g} per cent; 50 is even",
        )
    return replace(CrossTarget(), share_pct=share_pct)


def keep_target(file: Path, target: CrossTarget) -> None:
    """Keep it for the next start."""
    write_text(file, json.dumps({"share_pct": target.share_pct}))


def racer_json(cards: CardSet, weighing: RecordedWeighing | None, target: CrossTarget, log: BenchLog) -> Json:
    """Target, gap and the weighing before; only the target for a car that was not weighed."""
    shown: Json = {"target_pct": target.share_pct, "tolerance_pct": target.tolerance_pct}
    if weighing is None:
        return shown
    gap = cross_gap(cards, weighing.weights, target)
    shown |= {"over_g": gap.over_g, "over_half_g": gap.half_width_g, "advice": gap.advice}
    found = weighing_before(cards.car, weighing.record, log)
    if found is None:
        return shown
    record, changes = found
    before, now = weighing_from(record, cards).weights, weighing.weights
    doubts = zip(_halves(now.covariance), _halves(before.covariance), strict=True)
    corners = zip((now.load_g - before.load_g).tolist(), (math.hypot(*both) for both in doubts), strict=True)
    return shown | {
        "before": {
            "record": record.number,
            "at": record.at,
            "changed": changes_in_words(changes) if changes else "",
            "corner_g": [list(one) for one in corners],
            "total_g": _moved(now.total_g, before.total_g),
            "front_pct": _moved(now.front_pct, before.front_pct),
            "left_pct": _moved(now.left_pct, before.left_pct),
            "cross_pct": _moved(now.diagonal_fr_rl_pct, before.diagonal_fr_rl_pct),
        }
    }


def _halves(covariance: FloatArray) -> list[float]:
    """Half-widths of the 95 % of the four corners. covariance: (4, 4)."""
    return [NORMAL_95 * math.sqrt(max(float(variance), 0.0)) for variance in covariance.diagonal()]


def _moved(now: Estimate, before: Estimate) -> list[float]:
    """Change and the half-width of its 95 %: at most this, since what both weighings share cancels."""
    return [now.value - before.value, math.hypot(now.half_width, before.half_width)]


class HandsFree:
    """Answers a step by what the pads show: the car set down anew and at rest for a while, or lifted off."""

    def __init__(self, newest: Callable[[], Json | None], clock: Callable[[], float] = time.monotonic) -> None:
        self._newest, self._clock = newest, clock
        self._began: Step | None = None
        self._free = False
        self._since: float | None = None

    def done(self, step: Step) -> bool:
        """Whether the pads show that it is done. Asked again and again while the step stands."""
        newest, now = self._newest(), self._clock()
        if newest is None or newest.get("total_g") is None:
            return False
        total, rest = float(newest["total_g"]), bool(newest.get("settled"))
        if step is not self._began:
            self._began, self._free, self._since = step, False, None
        empty = total < EMPTY_G
        self._free = self._free or empty  # a car that stood there when it was asked for was not set down anew
        wanted = rest and (empty if step.action == "empty" else self._free and not empty)
        self._since = (self._since if self._since is not None else now) if wanted else None
        return self._since is not None and now - self._since >= HELD_S
