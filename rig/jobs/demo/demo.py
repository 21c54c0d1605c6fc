"""The story on the virtual bench: three set-ups of one car, pushed at the middle, at the balance found, and ahead."""

import json
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.base.pivot import PivotEstimate
from analysis.figures.car import CarPicture
from rig.base.files import write_text
from rig.base.plain_json import Json, finite_json
from rig.base.progress import Progress
from rig.cards.read import CardSet, read_set
from rig.cards.template import card_text
from rig.jobs.batch.workers import worker_pool
from rig.jobs.measuring.measure import MeasuredClip, measured_clip, write_measured
from rig.jobs.pushing.balance import PushAnswer, answer_json
from rig.jobs.pushing.compare import Verdict, judge
from rig.jobs.series.answered_pushes import PushesOf
from rig.jobs.series.change import SetUpsCompared, change_between, change_json
from rig.jobs.weighing.calibrate import CheckMasses, calibrate, card_hashes
from rig.jobs.weighing.pads import bench_pads
from rig.jobs.weighing.weigh import weigh_on_pads
from rig.jobs.weighing.weights import Weighing
from rig.jobs.weighing.zero import zero
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import estimate_record
from rig.records.codec import plain
from rig.virtual.bench import CHECK_MASSES_G, VirtualOperator, film_virtual_push, write_cards, write_truth
from rig.virtual.dunlin import CAR_KEYS, SETUPS, TEST_KEYS, SetUp, Truth, draw_truth
from rig.virtual.pads import VirtualPads
from rig.virtual.push_truth import PushTruth

POSITIONS_PCT = (50.0, 85.0)
TIME_FACTOR = 12.0
"""The virtual pads' time runs this much faster than ours, so that nobody waits for them to settle."""

Say = Callable[[str], None]
Draw = Callable[[Path, CarPicture], object]
Filmed = tuple[PushTruth, MeasuredClip]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoRow:
    """One push of the demo."""

    setup: SetUp
    push_position_pct: float
    weighing: Weighing
    verdict: Verdict

    @property
    def answer(self) -> PushAnswer:
        """What the push said. Every push of the demo is filmed and weighed, so there is one."""
        assert self.verdict.answer is not None
        return self.verdict.answer


@dataclass(frozen=True, slots=True, kw_only=True)
class Demo:
    """All that the demo did.

    rows: every set-up pushed at each of POSITIONS_PCT, in that order.  again: each pushed once more, at the balance
    point that its first push found.  changes: from the first set-up to each of the others, both pushes pooled.
    """

    rows: tuple[DemoRow, ...]
    again: tuple[DemoRow, ...]
    changes: tuple[SetUpsCompared, ...]

    @property
    def first(self) -> tuple[DemoRow, ...]:
        """The pushes at the middle."""
        return tuple(row for row in self.rows if row.push_position_pct == POSITIONS_PCT[0])


def run_demo(
    out: Path, *, seed: int = 0, say: Say = print, progress: Progress | None = None, draw: Draw | None = None
) -> Demo:
    """Run it, leaving cards, clips, log and result.json in `out`.

    Clips are filmed and looked at in two workers, while the pads settle and forecasts are made here.
    say: takes one line of text at each stage.  progress: 0..1.  draw: draws the picture of a push, in a worker (so it
    is a function of a module).  Ctrl-C leaves what was done, log included.
    """
    rng = np.random.default_rng(seed)
    setups = [(setup, draw_truth(setup, rng)) for setup in SETUPS]
    sets = {
        setup.name: [read_set(path) for path in write_cards(out / setup.name, setup, POSITIONS_PCT)]
        for setup, _ in setups
    }
    jobs = [(setup, truth, cards) for pct in (0, 1) for setup, truth in setups for cards in [sets[setup.name][pct]]]
    write_trial(out / "try", setups)
    rows: list[DemoRow] = []
    with BenchLog(out / "log") as log, worker_pool(2) as pool:
        say("Filming six pushes of the virtual car")
        films = [
            pool.submit(_filmed_and_measured, cards, truth, seed + index)
            for index, (_, truth, cards) in enumerate(jobs)
        ]
        weighings = _weigh_all(setups, sets, log, seed, say)

        def pushed(setup: SetUp, cards: CardSet, film: Future[Filmed]) -> DemoRow:
            say(f"Measuring: {cards.test.name}")
            measurement = write_measured(film.result()[1], cards, log)
            return DemoRow(
                setup=setup,
                push_position_pct=cards.test.push.position_pct,
                weighing=weighings[setup.name],
                verdict=judge(cards, log, weighings[setup.name], measurement, seed=seed),
            )

        further: list[tuple[SetUp, Truth, CardSet]] = []
        pictures: list[Future[object]] = []
        for index, (setup, truth, cards) in enumerate(jobs):
            rows.append(pushed(setup, cards, films[index]))
            if cards is sets[setup.name][0]:
                anew = _placed_anew(truth, cards, np.random.default_rng([seed, 11, index]))
                further.append((setup, anew, _at_the_balance(out, rows[-1])))
                films.append(pool.submit(_filmed_and_measured, further[-1][2], anew, seed + len(jobs) + index))
            if draw is not None:
                picture = out / setup.name / f"push-{rows[-1].push_position_pct:g}.png"
                pictures.append(pool.submit(draw, picture, rows[-1].verdict.picture))
            write_text(out / "result.json", json.dumps(finite_json(rows_json(rows)), indent=2))
            if progress is not None:
                progress((index + 1) / (len(jobs) + len(setups)))
        rows.sort(key=lambda row: [setup.name for setup, _ in setups].index(row.setup.name))
        again = []
        for index, (setup, _, cards) in enumerate(further):
            again.append(pushed(setup, cards, films[len(jobs) + index]))
            if progress is not None:
                progress((len(jobs) + index + 1) / (len(jobs) + len(setups)))
        found = Demo(rows=tuple(rows), again=tuple(again), changes=())
        found = replace(found, changes=_changes(found, log))
        write_text(out / "result.json", json.dumps(finite_json(result_json(found)), indent=2))
        _store_truth(out, [*jobs, *further], films)
        for drawing in pictures:
            drawing.result()
    return found


def _filmed_and_measured(cards: CardSet, truth: Truth, seed: int) -> Filmed:
    """A push of the virtual car filmed, and its clip measured; for a worker."""
    made = film_virtual_push(cards, truth, _clip(cards), seed=seed)
    return made, measured_clip(_clip(cards), cards)


def _at_the_balance(out: Path, row: DemoRow) -> CardSet:
    """The card of a push at the balance point that a push at the middle found."""
    balance = row.answer.balance
    pct = 50.0 if balance is None or balance.pct is None else float(np.clip(round(balance.pct), 5, 95))
    return read_set(write_cards(out / row.setup.name, row.setup, (pct,), again=True)[0])


def _placed_anew(truth: Truth, cards: CardSet, rng: np.random.Generator) -> Truth:
    """The same car with the finger placed once more, as well as its card says."""
    push, length = cards.test.push, cards.car.geometry.wheelbase_mm * 1e-3
    return replace(truth, station_shift=float(push.position_pct_u / 100 * length * rng.standard_normal()))


def _changes(found: Demo, log: BenchLog) -> tuple[SetUpsCompared, ...]:
    """What each change of the first set-up did, both pushes of either pooled."""
    pooled = []
    for first, second in zip(found.first, found.again, strict=True):
        records = [row.verdict.measurement.record for row in (first, second) if row.verdict.measurement is not None]
        pooled.append(
            PushesOf(
                cards=first.verdict.cards,
                clips=tuple(records),
                answers=(first.answer, second.answer),
                weighing=first.weighing,
            )
        )
    return tuple(change_between(pooled[0], other, log) for other in pooled[1:])


def write_trial(folder: Path, setups: Sequence[tuple[SetUp, Truth]]) -> list[Path]:
    """Cards for a first try of `change`: one car with two sets of front tyres, weighed on kitchen scales.

    The clips are those of the first two set-ups, pushed at the middle. Returns the two test cards.
    """
    folder.mkdir(parents=True, exist_ok=True)
    (plain, truth), (rubber, other) = setups[0], setups[1]
    keys = CAR_KEYS | {"name": "Dunlin on kitchen scales"}
    write_text(folder / "car.toml", card_text("car", keys, head="The virtual car, for a first try of your own."))
    bench = {"name": "Kitchen table", "floor.bar_mm": 100.0, "floor.bar_mm_u": 0.1}
    write_text(folder / "bench.toml", card_text("bench", bench, head="A bench with kitchen scales instead of pads."))
    written = []
    for name, setup, car in (("plain", plain, truth), ("front-rubber", rubber, other)):
        test = {
            "name": name,
            "clip": f"../{setup.name}/push-50.avi",
            "push.position_pct": POSITIONS_PCT[0],
            "push.height_mm": TEST_KEYS["push.height_mm"],
            "push.height_mm_u": TEST_KEYS["push.height_mm_u"],
            "typed.weights_g": [float(round(grams)) for grams in car.corner_g],
            "typed.weights_resolution_g": 1.0,
        }
        written.append(folder / f"{name}.toml")
        write_text(written[-1], card_text("test", test, head="One push at the middle; weights from kitchen scales."))
    return written


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


def result_json(found: Demo) -> Json:
    """The demo's table for programs. pushed_again: at the balance point found.  changes: from the first set-up on."""
    return rows_json(found.rows) | {
        "pushed_again": rows_json(found.again)["setups"],
        "changes": [
            {"from": change.a.cards.test.name, "to": change.b.cards.test.name}
            | change_json(change, picture=None, film=None)
            for change in found.changes
        ],
    }


def rows_json(rows: Sequence[DemoRow]) -> Json:
    """Pushes for programs."""

    def shown(estimate: PivotEstimate) -> Json:
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
            | answer_json(row.answer)
            for row in rows
        ]
    }


def _store_truth(out: Path, jobs: list[tuple[SetUp, Truth, CardSet]], films: list[Future[Filmed]]) -> None:
    for setup in SETUPS:
        mine = [(cards, truth, film) for (other, truth, cards), film in zip(jobs, films, strict=True) if other is setup]
        write_truth(
            out / "virtual-truth" / f"{setup.name}.json",
            mine[0][1],
            {cards.test.name: film.result()[0] for cards, _, film in mine},
        )


def _clip(cards: CardSet) -> Path:
    return cards.folder / cards.test.clip
