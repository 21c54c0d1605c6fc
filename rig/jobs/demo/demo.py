"""The whole job on the virtual bench: three set-ups of one car, two pushes each, ending in one table."""

import json
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.base.pivot import PivotEstimate
from rig.base.files import write_text
from rig.base.plain_json import finite_json
from rig.base.progress import Progress
from rig.cards.read import CardSet, read_set
from rig.jobs.pushing.compare import Verdict, judge
from rig.jobs.pushing.measure import measure_clip
from rig.jobs.pushing.workers import worker_pool
from rig.jobs.weighing.pads import CheckMasses, bench_pads, calibrate, card_hashes, zero
from rig.jobs.weighing.weigh import Weighing, weigh_on_pads
from rig.log.cards_and_pivots import estimate_record
from rig.log.store import BenchLog
from rig.records.codec import plain
from rig.virtual.bench import CHECK_MASSES_G, VirtualOperator, film_virtual_push, write_cards, write_truth
from rig.virtual.dunlin import SETUPS, SetUp, Truth, draw_truth
from rig.virtual.pads import VirtualPads
from rig.virtual.push_truth import PushTruth

POSITIONS_PCT = (50.0, 85.0)
TIME_FACTOR = 12.0
"""The virtual pads' time runs this much faster than ours, so that nobody waits for them to settle."""

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoRow:
    """One push of the demo."""

    setup: SetUp
    push_position_pct: float
    weighing: Weighing
    verdict: Verdict


def run_demo(out: Path, *, seed: int = 0, say: Say = print, progress: Progress | None = None) -> list[DemoRow]:
    """Run it, leaving cards, clips, log and result.json in `out`.

    say: takes one line of text at each stage.  progress: 0..1.  Ctrl-C leaves what was done, log included.
    """
    rng = np.random.default_rng(seed)
    setups = [(setup, draw_truth(setup, rng)) for setup in SETUPS]
    sets = {
        setup.name: [read_set(path) for path in write_cards(out / setup.name, setup, POSITIONS_PCT)]
        for setup, _ in setups
    }
    jobs = [(setup, truth, cards) for setup, truth in setups for cards in sets[setup.name]]
    rows: list[DemoRow] = []
    with BenchLog(out / "log") as log, worker_pool(2) as pool:
        say("Filming six pushes of the virtual car")
        films = [
            pool.submit(film_virtual_push, cards, truth, _clip(cards), seed=seed + index)
            for index, (_, truth, cards) in enumerate(jobs)
        ]
        weighings = _weigh_all(setups, sets, log, seed, say)
        for index, (setup, _, cards) in enumerate(jobs):
            films[index].result()
            say(f"Measuring the pivot: {cards.test.name}")
            measurement = measure_clip(_clip(cards), cards, log)
            verdict = judge(cards, log, weighings[setup.name], measurement, None, seed=seed)
            rows.append(
                DemoRow(
                    setup=setup,
                    push_position_pct=cards.test.push.position_pct,
                    weighing=weighings[setup.name],
                    verdict=verdict,
                )
            )
            write_text(out / "result.json", json.dumps(finite_json(result_json(rows)), indent=2))
            if progress is not None:
                progress((index + 1) / len(jobs))
        _store_truth(out, jobs, films)
    return rows


def _weigh_all(
    setups: list[tuple[SetUp, Truth]], sets: dict[str, list[CardSet]], log: BenchLog, seed: int, say: Say
) -> dict[str, Weighing]:
    """Calibrate the virtual pads, then zero them and weigh every set-up, three placings each."""
    found: dict[str, Weighing] = {}
    bench_set = sets[setups[0][0].name][0]
    with VirtualPads(seed=seed, rate=80, time_factor=TIME_FACTOR) as pads:
        say("Calibrating the virtual pads against check masses")
        operator_rng = np.random.default_rng([seed, 3])
        empty = VirtualOperator(pads, np.zeros(4), operator_rng)
        with bench_pads(bench_set.bench, log, port=pads.url) as reader:
            calibrate(
                bench_set.bench,
                reader,
                log,
                CheckMasses(masses_g=CHECK_MASSES_G, cycles=1),
                ask=empty,
                cards=card_hashes(log, bench_set),
            )
            for setup, truth in setups:
                cards = sets[setup.name][0]
                say(f"Weighing: {cards.car.name}")
                pads.set_loads([0.0] * 4)
                zero(cards.bench, reader, log, cards=card_hashes(log, cards))
                operator = VirtualOperator(pads, truth.corner_g, operator_rng)
                found[setup.name] = weigh_on_pads(cards, reader, log, placings=3, ask=operator)
    return found


def result_json(rows: list[DemoRow]) -> dict[str, Any]:
    """The demo's table for programs."""

    def shown(estimate: PivotEstimate) -> dict[str, Any]:
        row = plain(estimate_record(estimate))
        keys = ("kappa_per_m", "kappa_interval_per_m", "station_pct", "interval_pct", "bound_wheelbases")
        return {key: row[key] for key in keys if key in row}

    return {
        "setups": [
            {
                "name": row.setup.name,
                "push_position_pct": row.push_position_pct,
                "corner_weights_g": row.weighing.weights.load_g.tolist(),
                "measured": shown(row.verdict.measured),
                "predicted": shown(row.verdict.forecast.prediction.estimate),
                "verdict": row.verdict.comparison.verdict,
            }
            for row in rows
        ]
    }


def _store_truth(out: Path, jobs: list[tuple[SetUp, Truth, CardSet]], films: list[Future[PushTruth]]) -> None:
    for setup in SETUPS:
        mine = [(cards, truth, film) for (other, truth, cards), film in zip(jobs, films, strict=True) if other is setup]
        write_truth(
            out / "virtual-truth" / f"{setup.name}.json",
            mine[0][1],
            {cards.test.name: film.result() for cards, _, film in mine},
        )


def _clip(cards: CardSet) -> Path:
    return cards.folder / cards.test.clip
