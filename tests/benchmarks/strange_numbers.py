"""Is a slip of the pen on a card ever taken without a word, and is a good card ever refused?

    PYTHONPATH=. python tests/benchmarks/strange_numbers.py [--quick] [--slips N] [--seed N] [--show]

Cards of random scale cars from 1:64 to 1:5 (strange/world.py) get one slip each: unit, factor, sign, order, comma,
neighbour key, front and rear exchanged (strange/slips.py). Cards and log go the way of the program: read, typed
weights, forecast. Each slip is refused, warned of before the answer, or taken; a taken one counts when it moves the
answer (weight, balance point, turn per travel, push force) by more than the interval of the right answer and something
on the cards or in the log contradicts it, which is worked out from the true car beside the program.
Baseline, in the same run: the schema alone, types and ranges, as cards were read before.
As many good cards again are read and answered; none may be refused.

Last line: JSON with taken_without_a_word (per cent of the slips that move the answer and are contradicted),
baseline_taken_without_a_word, moving_and_contradicted (how many those are), good_cards_refused, good_cards_warned,
good_cards, not_contradicted (moving ones, taken, that nothing contradicts, by kind and key), kinds (by kind: refused,
warned, moved, taken; moved is taken and moves the answer). Ctrl-C leaves the figures so far.
"""

import argparse
import contextlib
import json
import multiprocessing
import os
import signal
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

import numpy as np

from analysis.base.errors import AnalysisError
from rig.base.errors import BenchError
from rig.cards.read import read_set
from rig.jobs.pushing.forecast import forecast_inputs, predicted
from rig.jobs.weighing.weights import known_weighing, weigh_typed
from rig.log.store import BenchLog
from tests.benchmarks.strange.slips import draw_slip
from tests.benchmarks.strange.world import draw_world, write_world

SEED = 23
DRAWS = 60
LONGEST_S = 3.0
"""Processor time for one answer: cars that would fall over keep the solver busy for minutes."""


@dataclass(frozen=True)
class Answer:
    """What the program said. refused: its words.  figures, half: each figure and half of its 95 % interval.

    slow: it took too long; what a slip does to the answer is then not known, and counts as moving it.
    """

    refused: str = ""
    slow: bool = False
    remarks: tuple[str, ...] = ()
    figures: tuple[float, ...] = ()
    half: tuple[float, ...] = ()

    def moved_from(self, right: "Answer") -> bool:
        """Whether a figure lies outside the right one's interval."""
        return any(
            abs(now - was) > half for now, was, half in zip(self.figures, right.figures, right.half, strict=True)
        )


@dataclass(frozen=True)
class Told:
    """One slip. outcome, before: refused, warned, moved, taken; with the rules, and by the schema alone."""

    kind: str
    key: str
    against: str
    outcome: str
    before: str
    words: str
    good: Answer


def _too_long(*_: object) -> None:
    raise TimeoutError


def answer(test_card: Path, log: BenchLog) -> Answer:
    """Read, weigh, forecast, as the program does it."""
    remarks: tuple[str, ...] = ()
    signal.signal(signal.SIGVTALRM, _too_long)
    signal.setitimer(signal.ITIMER_VIRTUAL, LONGEST_S)
    try:
        cards = read_set(test_card)
        weighing = known_weighing(cards, log)
        remarks = tuple(weighing.remarks)
        made = predicted(cards, forecast_inputs(cards, weighing, draws=DRAWS))
    except (BenchError, AnalysisError) as error:
        return Answer(refused=str(error))
    except TimeoutError:
        return Answer(slow=True, remarks=remarks)
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
    turn, force = made.estimate, made.force
    total, front = weighing.weights.total_g, weighing.weights.front_pct
    half = 1.96 * made.balance.u / turn.wheelbase * 100
    return Answer(
        remarks=remarks,
        figures=(made.balance_pct, turn.kappa, force.value, total.value, front.value),
        half=(
            half,
            (turn.interval[1] - turn.interval[0]) / 2,
            (force.interval[1] - force.interval[0]) / 2,
            total.half_width,
            front.half_width,
        ),
    )


@contextlib.contextmanager
def schema_alone() -> Iterator[None]:
    """Cards are read by types and ranges alone, and nothing is held against anything."""
    with contextlib.ExitStack() as stack:
        for name in ("refuse_what_cannot_be_meant", "refuse_contradictions"):
            stack.enter_context(patch(f"rig.cards.read.{name}", lambda *_: None))
        for name, instead in (
            ("refuse_weights", None),
            ("weights_notes", []),
            ("notes_on", []),
            ("corners_against", []),
        ):
            stack.enter_context(patch(f"rig.jobs.weighing.weights.{name}", lambda *_, instead=instead: instead))
        yield


def outcome_of(said: Answer, right: Answer) -> str:
    """refused, warned, moved or taken."""
    if said.refused:
        return "refused"
    if set(said.remarks) - set(right.remarks):
        return "warned"
    return "moved" if said.slow or said.moved_from(right) else "taken"


def one(job: tuple[int, int]) -> Told:
    """One world, its right answer, a slip, what becomes of it."""
    rng = np.random.default_rng(job)
    with tempfile.TemporaryDirectory(prefix="strange-") as place:
        root, world = Path(place), draw_world(rng)
        good = write_world(world, root / "good")
        with BenchLog(root / "log") as log, BenchLog(root / "no-log") as bare:
            try:
                if world.in_log:
                    weigh_typed(read_set(good), log)
                right = answer(good, log)
            except (BenchError, AnalysisError) as error:
                right = Answer(refused=str(error))
            if right.refused or right.slow:
                return Told("", "", "", "", "", "", right)
            slip = draw_slip(world, rng)
            bad = write_world(slip.world, root / "slip", slip.texts)
            said = answer(bad, log)
            with schema_alone():
                before = answer(bad, bare)
        return Told(
            slip.kind,
            slip.key,
            slip.against,
            outcome_of(said, right),
            outcome_of(before, right),
            said.refused or "; ".join(sorted(set(said.remarks) - set(right.remarks))),
            right,
        )


def figures(told: list[Told]) -> dict[str, object]:
    """The counts."""
    slips = [each for each in told if each.kind]
    # what is refused now: whether it moved the answer is seen by the schema alone
    matters = [each for each in slips if each.against and (each.outcome == "moved" or each.before == "moved")]
    taken = [each for each in matters if each.outcome == "moved"]
    kinds: dict[str, Counter[str]] = defaultdict(Counter)
    for each in slips:
        kinds[each.kind][each.outcome] += 1
    return {
        "taken_without_a_word": round(100 * len(taken) / max(len(matters), 1), 2),
        "baseline_taken_without_a_word": round(
            100 * sum(each.before == "moved" for each in matters) / max(len(matters), 1), 2
        ),
        "moving_and_contradicted": len(matters),
        "baseline_moving_taken_of_all_slips": sum(each.before == "moved" for each in slips),
        "moving_taken_of_all_slips": sum(each.outcome == "moved" for each in slips),
        "taken": dict(Counter(f"{each.kind}: {each.key} ({each.against})" for each in taken)),
        "not_contradicted": dict(
            Counter(f"{each.kind}: {each.key}" for each in slips if not each.against and each.outcome == "moved")
        ),
        "good_cards": len(told),
        "good_cards_too_slow": sum(each.good.slow for each in told),
        "good_cards_refused": sum(bool(each.good.refused) for each in told),
        "good_cards_warned": sum(bool(each.good.remarks) for each in told),
        "slips": len(slips),
        "kinds": {name: dict(count) for name, count in sorted(kinds.items())},
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="60 slips")
    parser.add_argument("--slips", type=int, default=500)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--show", action="store_true", help="each slip with its outcome and the words")
    given = parser.parse_args()
    jobs = [(given.seed, number) for number in range(60 if given.quick else given.slips)]
    told: list[Told] = []
    start = time.monotonic()
    try:
        with multiprocessing.get_context("spawn").Pool(min(2, os.cpu_count() or 1)) as pool:
            for each in pool.imap_unordered(one, jobs):
                told.append(each)
                if each.good.refused or each.good.remarks:
                    print(f"good card: {each.good.refused or each.good.remarks}", file=sys.stderr)
                elif given.show and each.kind:
                    print(f"{each.outcome:8} {each.before:8} {each.kind}: {each.key} ({each.against}): {each.words}")
                if len(told) % 100 == 0:
                    print(f"{len(told)} of {len(jobs)}, {time.monotonic() - start:.0f} s", file=sys.stderr)
    except KeyboardInterrupt:
        print("stopped: figures so far", file=sys.stderr)
    print(json.dumps(figures(told)))


if __name__ == "__main__":
    main()
