"""How often do the stated 95 % intervals of a weighing hold the truth?

Every weighing is simulated from masses to sentences: pads with unlike, slightly bent responses are
calibrated with check
masses that are a little wrong; then their spans and zeros move; the floor is uneven; the car is placed several times
in two or four orientations and scatters from placement to placement; each placement is a stream of noisy whole counts
at 10 or 80 a second with an occasional bump. An axle is lifted to several heights, up and down. The truth is known
only to the simulation. What is told to the measuring side is what a bench card would say of such pads.

A second simulation goes the bench's own way for calibrated pads, with what the bench knows: as many placings turned as
unturned, their intervals set beside each other (`turned_…`, `unturned_…`). A third weighs on scales that show grams,
whose gains nobody has checked (`scales_…`): each reading is a rounded number that repeats.

Baseline: one placement in one orientation, with an interval from the noise of the reading alone, as a plain scale
would have it.

Usage: weighing_coverage.py [--quick] [--count N]. The last line is one JSON object: share of intervals that hold the
truth for corner, cg_x, cg_y, cg_height, cross_weight, and for turned, unturned and scales; `half_width` their medians;
`turned_wider_than_unturned` the ratio of the medians of the corners; `baseline` the baseline's shares.
"""

import argparse
import json
import math
import sys
import time as clock
from dataclasses import dataclass, field

import numpy as np

from analysis.pads.calibration import Calibration, CalibrationNotes, fit_calibration
from analysis.pads.detector import SettledDetector
from analysis.pads.error_budget import RunOrder
from analysis.pads.loads import loads_from_counts
from analysis.pads.pad_faults import SHOWN_WEIGHT
from analysis.pads.settled import settled_reading
from analysis.pads.zero_tracking import drift_rate, zero_at
from analysis.statistics.estimate import Estimate
from analysis.weighing.cg_height import AxleLift, HeightDoubts, LiftedCar, cg_height
from analysis.weighing.corner_weights import CornerWeights, corner_weights
from analysis.weighing.orientations import PAD_UNDER, SPOT_UNDER, PadPrior, Turn, solve_orientations
from analysis.weighing.reseating import usual_scatter
from rig.cards.keys.bench import BenchCard, Pads
from rig.jobs.weighing.calibrate import SHOWN_GAIN_U, as_shown
from rig.jobs.weighing.scale import pool
from rig.jobs.weighing.weigh import calibrated_prior
from tests.analysis.weighing.rectangle import rectangle_contacts

SEED = 20260
KEYS = ("corner", "cg_x", "cg_y", "cg_height", "cross_weight")
WAYS = ("turned", "unturned", "scales")
MORE_KEYS = tuple(f"{way}_{what}" for way in WAYS for what in ("corner", "total", "cross"))
CROSS = np.array([1.0, -1.0, -1.0, 1.0])
SCHEMES: tuple[tuple[Turn, ...], ...] = (
    ("as is", "half turn") * 3,
    ("as is", "half turn", "pads exchanged", "half turn, pads exchanged") * 2,
    ("as is", "quarter left", "half turn", "quarter right") * 2,
    ("as is",) * 5,
)

# What the card says of these pads and this floor: standard uncertainties.
SPAN_U = 0.002  # span since calibration, relative (temperature)
PLACE_U_G = 0.8  # a tyre off the middle of its pad, the same each time the wheel comes to that pad
FLOOR_U = 0.08e-3  # m
GRAMS_PER_MM = 27.0
DRIFT_G = 0.02  # g per square root of a second
CONTACT_U = 0.5e-3
MASS_U = 1e-4  # of the check masses together, relative
LIFT_U, LIFT_COMMON_U, WHEELBASE_U, RADIUS_U = 0.3e-3, 0.2e-3, 0.5e-3, 0.3e-3


@dataclass
class Bench:
    """The truth about four pads and a floor."""

    rng: np.random.Generator
    zero: np.ndarray = field(init=False)
    span: np.ndarray = field(init=False)
    bend: np.ndarray = field(init=False)
    place: np.ndarray = field(init=False)
    height: np.ndarray = field(init=False)
    rate: int = field(init=False)
    noise: float = field(init=False)
    memory: float = field(init=False)
    now: float = 0.0

    def __post_init__(self) -> None:
        rng = self.rng
        self.zero = rng.normal(0, 60_000, 4)
        self.span = rng.normal(430, 30, 4)
        self.bend = rng.normal(0, 2e-6, 4)  # 0.2 % of span at 1 kg
        self.place = np.zeros(4)
        self.height = np.zeros(4)
        self.rate = int(rng.choice([10, 80]))
        self.noise = 21.5 if self.rate == 10 else 38.7  # counts: 50 and 90 nV on 5 mV over 5 kg
        self.memory = float(rng.choice([0.0, 0.3])) if self.rate == 80 else 0.0

    def calibrate(self) -> list[Calibration]:
        steps = np.array([0, 200, 500, 1000, 500, 200, 0, 200, 500, 1000, 500, 200, 0.0])
        wrong = 1 + self.rng.normal(0, MASS_U)
        return [
            fit_calibration(
                steps,
                self.zero[p]
                + self.span[p] * (steps * wrong) * (1 + self.bend[p] * steps)
                + self.rng.normal(0, 0.3 * self.span[p], len(steps)),
                mass_u_g=MASS_U * steps,
                notes=CalibrationNotes(pad=f"pad {p + 1}"),
                order=RunOrder(rising=np.array([True] * 4 + [False] * 3 + [True] * 3 + [False] * 3)),
                capacity_g=5000,
            )
            for p in range(4)
        ]

    def move_on(self) -> None:
        """Between calibration and weighing: spans and zeros move, the pads are set up on an uneven floor."""
        self.zero = self.zero + self.rng.normal(0, 30 * self.span, 4)
        self.span = self.span * (1 + self.rng.normal(0, SPAN_U, 4))
        self.place = self.rng.normal(0, PLACE_U_G, 4)
        self.height = self.rng.normal(0, FLOOR_U, 4)

    def read(self, load_g: np.ndarray, seconds: float = 25.0) -> tuple[np.ndarray, np.ndarray]:
        """A settled reading of four pads after some seconds: mean counts and u. load_g: (4,), pads."""
        self.now += seconds
        self.zero = self.zero + self.rng.normal(0, DRIFT_G * self.span * math.sqrt(seconds), 4)
        mean = self.zero + self.span * load_g * (1 + self.bend * load_g)
        for _ in range(20):
            n = 2 * self.rate + 1
            noise = self.rng.normal(0, self.noise, (n, 4))
            noise[1:] += self.memory * noise[:-1]  # what a short digital filter leaves between neighbours
            if self.rng.random() < 0.2:
                noise[self.rng.integers(2, n - 4)] += self.rng.normal(0, 2000)
            reading = settled_reading(np.arange(n) / self.rate, np.round(mean + noise))
            if reading.settled:
                return reading.counts, reading.u
        raise RuntimeError("a resting load was refused 20 times")


@dataclass
class Tally:
    inside: dict[str, list[bool]] = field(default_factory=lambda: {key: [] for key in KEYS + MORE_KEYS})
    width: dict[str, list[float]] = field(default_factory=lambda: {key: [] for key in KEYS + MORE_KEYS})

    def add(self, key: str, estimate: Estimate | None, truth: float) -> None:
        assert estimate is not None
        low, high = estimate.interval
        self.inside[key].append(low <= truth <= high)
        self.width[key].append(estimate.half_width)

    def share(self) -> dict[str, float]:
        return {key: float(np.mean(seen)) for key, seen in self.inside.items() if seen}


def weigh_once(rng: np.random.Generator, tally: Tally, baseline: Tally) -> None:
    bench = Bench(rng)
    calibrations = bench.calibrate()
    bench.move_on()

    total, front, left = rng.uniform(1200, 2200), rng.uniform(0.42, 0.58), rng.uniform(0.48, 0.52)
    cross = rng.uniform(-0.05, 0.05) * total
    car = total * np.array([front * left, front * (1 - left), (1 - front) * left, (1 - front) * (1 - left)])
    car = car + CROSS * (cross - CROSS @ car) / 4
    card = rectangle_contacts(0.260, 0.170)
    contact = card + rng.normal(0, CONTACT_U, (4, 2))
    warp_per_m = GRAMS_PER_MM * 1000 * rng.normal(1, 0.1)
    seat = rng.uniform(2, 8)

    turns = SCHEMES[rng.integers(len(SCHEMES))]
    zero_times, zeros, zeros_u, readings = [], [], [], []
    for turn in turns:
        counts, u = bench.read(np.zeros(4))
        zero_times.append(bench.now)
        zeros.append(counts)
        zeros_u.append(u)
        spots, pads = list(SPOT_UNDER[turn]), list(PAD_UNDER[turn])
        scatter = CROSS * rng.normal(0, seat * 0.98) + rng.normal(0, seat * 0.2, 4)
        wheels = car + CROSS * warp_per_m * float(CROSS @ bench.height[spots]) + scatter
        on_pad = np.empty(4)
        on_pad[pads] = wheels
        readings.append((bench.now + 25.0, *bench.read(on_pad + bench.place)))
    counts, u = bench.read(np.zeros(4))
    zero_times, zeros, zeros_u = [*zero_times, bench.now], [*zeros, counts], [*zeros_u, u]

    known_drift = DRIFT_G * 430.0
    rate = drift_rate(np.array(zero_times), np.array(zeros), np.array(zeros_u), usual=known_drift)
    rows, noise = [], []
    for when, counts, u in readings:
        zero = zero_at(when, np.array(zero_times), np.array(zeros), np.array(zeros_u), drift=rate)
        loads = loads_from_counts(calibrations, counts, u, zero_counts=zero.counts, zero_u=zero.u)
        rows.append(loads.load_g)
        noise.append(sum(np.diag(part.covariance).mean() for part in loads.parts if part.name in ("noise", "zero")))
    lasting = sum(part.covariance for part in loads.parts if part.name in ("pads", "curves"))
    prior = PadPrior(
        offset=lasting + PLACE_U_G**2 * np.eye(4),
        gain=SPAN_U**2 * np.eye(4) + MASS_U**2 * np.ones((4, 4)),
        height_u=FLOOR_U,
        per_height=np.outer(CROSS, CROSS) * GRAMS_PER_MM * 1000,
    )
    found = solve_orientations(np.array(rows), turns, prior, noise_g=math.sqrt(float(np.mean(noise))))
    weights = corner_weights(found.load_g, found.parts, contact=card, contact_u=CONTACT_U)
    plain = corner_weights(rows[0], noise[0] * np.eye(4), contact=card)
    true_cg = (car[:, None] * contact).sum(0) / total
    for one, to in ((weights, tally), (plain, baseline)):
        for corner, truth in zip(one.corner_g, car, strict=True):
            to.add("corner", corner, truth)
        to.add("cg_x", one.cg_x, true_cg[0])
        to.add("cg_y", one.cg_y, true_cg[1])
        to.add("cross_weight", one.diagonal_fl_rr_pct, 100 * (car[0] + car[3]) / total)
    lift(rng, bench, calibrations, car, weights.total_g, tally, baseline)


TURNINGS: tuple[tuple[Turn, ...], ...] = (
    ("as is", "half turn"),
    ("as is", "as is", "half turn", "half turn"),
    ("as is", "half turn", "pads exchanged", "half turn, pads exchanged"),
    ("as is", "half turn") * 3,
)
ORDER = np.array([1, 3, 0, 2])  # pads under FL, FR, RL, RR: no pad is its own wheel's neighbour
RESEAT_G = 4.0


def weigh_as_the_bench_does(rng: np.random.Generator, tally: Tally) -> None:
    """Calibrated pads, as many placings turned as unturned; the card says how placings scatter, and says it right."""
    bench = Bench(rng)
    calibrations = bench.calibrate()
    car = random_car(rng)
    turns = TURNINGS[rng.integers(len(TURNINGS))]
    card = BenchCard(card="bench", name="b", pads=Pads(wheels=("RL", "FL", "RR", "FR"), reseat_g=RESEAT_G))
    for way, chosen in (("turned", turns), ("unturned", ("as is",) * len(turns))):
        zero, zero_u = bench.read(np.zeros(4))
        placed, rows = [], []
        for turn in chosen:
            scatter = RESEAT_G * (CROSS * rng.normal(0, math.sqrt(1 - 0.2**2)) + rng.normal(0, 0.2, 4))
            on_place = np.empty(4)
            on_place[list(PAD_UNDER[turn])] = car + scatter
            on_pad = np.empty(4)
            on_pad[ORDER] = on_place
            counts, u = bench.read(on_pad)
            drifted = np.hypot(zero_u, DRIFT_G * 430.0 * math.sqrt(25.0 * (len(placed) + 1)))
            placed.append(loads_from_counts(calibrations, counts, u, zero_counts=zero, zero_u=drifted))
            rows.append(placed[-1].load_g[ORDER])
        if way == "turned":
            noise = float(np.mean([np.diag(part.covariance) for one in placed for part in one.parts[:1]]))
            found = solve_orientations(
                np.array(rows),
                chosen,
                calibrated_prior(placed, ORDER),
                noise_g=math.sqrt(noise),
                assumed=usual_scatter(RESEAT_G),
                known_pads=True,
            )
            load, parts = found.load_g, found.parts
        else:
            pooled = pool(card, placed)
            load, parts = pooled.load_g, pooled.parts
        add_weights(tally, way, corner_weights(load, parts), car)


def weigh_on_scales(rng: np.random.Generator, tally: Tally) -> None:
    """Scales that show grams, each with a gain of its own, placed once: step of the display and 0.5 % are known."""
    step = float(rng.choice([0.1, 0.5, 1.0]))
    card = BenchCard(
        card="bench", name="s", pads=Pads(wheels=("RL", "FL", "RR", "FR"), reseat_g=RESEAT_G, capacity_g=5000, unit="g")
    )
    car, gain = random_car(rng), 1 + rng.normal(0, SHOWN_GAIN_U, 4)
    offset = rng.uniform(-0.5, 0.5, 4) * step
    scatter = RESEAT_G * (CROSS * rng.normal(0, math.sqrt(1 - 0.2**2)) + rng.normal(0, 0.2, 4))
    on_pad = np.empty(4)
    on_pad[ORDER] = car + scatter
    shown = []
    for load in (np.zeros(4), on_pad):
        detector = SettledDetector(resolution=step, shown=True, limits=SHOWN_WEIGHT)
        for place in range(30):
            flicker = rng.normal(0, 0.05 * step, 4)
            detector.feed(place / 10, step * np.round((gain * load + offset + flicker) / step))
        reading = detector.reading()
        assert reading is not None
        assert reading.settled
        shown.append(reading)
    zero, reading = shown
    loads = loads_from_counts(as_shown(card), reading.counts, reading.u, zero_counts=zero.counts, zero_u=zero.u)
    pooled = pool(card, [loads])
    add_weights(tally, "scales", corner_weights(pooled.load_g, pooled.parts), car)


def random_car(rng: np.random.Generator) -> np.ndarray:
    """(4,) g, FL FR RL RR."""
    total, front, left = rng.uniform(1200, 2200), rng.uniform(0.42, 0.58), rng.uniform(0.46, 0.54)
    car = total * np.array([front * left, front * (1 - left), (1 - front) * left, (1 - front) * (1 - left)])
    return car + CROSS * rng.uniform(-0.02, 0.02) * total


def add_weights(tally: Tally, way: str, weights: CornerWeights, car: np.ndarray) -> None:
    for corner, truth in zip(weights.corner_g, car, strict=True):
        tally.add(f"{way}_corner", corner, truth)
    tally.add(f"{way}_total", weights.total_g, float(car.sum()))
    tally.add(f"{way}_cross", weights.diagonal_fl_rr_pct, 100 * (car[0] + car[3]) / float(car.sum()))


def lift(
    rng: np.random.Generator,
    bench: Bench,
    calibrations: list[Calibration],
    car: np.ndarray,
    total: Estimate,
    tally: Tally,
    baseline: Tally,
) -> None:
    """The rear axle on blocks, the front wheels on their pads: five heights up and down, and level."""
    front_radius, rear_radius = rng.uniform(0.028, 0.034, 2)
    base = 0.260
    height, station = rng.uniform(0.025, 0.060), base * float(car[:2].sum() / car.sum())
    true_base, true_front, true_rear = (
        base + rng.normal(0, WHEELBASE_U),
        front_radius + rng.normal(0, RADIUS_U),
        rear_radius + rng.normal(0, RADIUS_U),
    )
    common = rng.normal(0, LIFT_COMMON_U)
    lifts, lasting, noise = [], 0.0, 0.0
    for nominal in (0.0, 0.03, 0.05, 0.07, 0.09, 0.09, 0.07, 0.05, 0.03):
        raised = nominal + (common + rng.normal(0, LIFT_U) if nominal else 0.0)
        front = float(car.sum()) * share_of_front(station, height, raised, true_base, true_front, true_rear)
        split = float(car[0] / car[:2].sum()) + rng.normal(0, 0.01)
        zero, zero_u = bench.read(np.zeros(4))
        counts, u = bench.read(np.array([front * split, front * (1 - split), 0, 0]) + bench.place * [1, 1, 0, 0], 15.0)
        drifted_u = np.hypot(zero_u, DRIFT_G * 430.0 * math.sqrt(15.0))
        loads = loads_from_counts(calibrations, counts, u, zero_counts=zero, zero_u=drifted_u)
        lifts.append(AxleLift(lifted="rear", height=nominal, load_down=float(loads.load_g[:2].sum())))
        by_name = {part.name: part.covariance[:2, :2] for part in loads.parts}
        noise = float((by_name["noise"] + by_name["zero"]).sum())
        lasting = float((by_name["pads"] + by_name["curves"]).sum()) + 2 * PLACE_U_G**2
    doubts = HeightDoubts(
        load=math.sqrt(noise),
        load_common=math.sqrt(lasting),
        gain=SPAN_U,
        height=LIFT_U,
        height_common=LIFT_COMMON_U,
        total=total.u,
        wheelbase=WHEELBASE_U,
        radius=RADIUS_U,
    )
    size = {"total": total.value, "wheelbase": base, "radius_front": front_radius, "radius_rear": rear_radius}
    tally.add("cg_height", cg_height(lifts, doubts=doubts, car=LiftedCar(**size)).height, height)
    noise_only = HeightDoubts(load=math.sqrt(noise), height=0.0, wheelbase=0.0, radius=0.0)
    baseline.add("cg_height", cg_height(lifts[:5], doubts=noise_only, car=LiftedCar(**size)).height, height)


def share_of_front(station: float, height: float, raised: float, base: float, front: float, rear: float) -> float:
    """Front share of a lifted car, from where its wheel centres lie (statics; complex numbers as vectors)."""
    axle = complex(base, front - rear)  # rear to front wheel centre in car axes
    drop = raised + rear - front
    placed = complex(math.sqrt(abs(axle) ** 2 - drop**2), -drop)
    turned = complex(station, height - rear) * placed / axle
    return turned.real / placed.real


def run(count: int, seed: int = SEED, progress: bool = False) -> tuple[Tally, Tally]:
    """Simulate `count` weighings; Ctrl-C keeps what there is."""
    tally, baseline, start = Tally(), Tally(), clock.monotonic()
    try:
        for i, child in enumerate(np.random.SeedSequence(seed).spawn(count)):
            rng = np.random.default_rng(child)
            weigh_once(rng, tally, baseline)
            weigh_as_the_bench_does(rng, tally)
            weigh_on_scales(rng, tally)
            if progress and (i + 1) % 100 == 0:
                print(f"{i + 1} of {count}, {clock.monotonic() - start:.0f} s", file=sys.stderr)
    except KeyboardInterrupt:
        print("stopped early", file=sys.stderr)
    return tally, baseline


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="300 weighings instead of 2000")
    parser.add_argument("--count", type=int)
    options = parser.parse_args()
    count = options.count or (300 if options.quick else 2000)
    tally, baseline = run(count, progress=True)
    unit = {
        "corner": ("g", 1),
        "cg_x": ("mm", 1e3),
        "cg_y": ("mm", 1e3),
        "cg_height": ("mm", 1e3),
        "cross_weight": ("points", 1),
    }
    widths = {}
    unit |= {key: ("points" if "cross" in key else "g", 1) for key in MORE_KEYS}
    for key, share in tally.share().items():
        name, factor = unit[key]
        widths[f"{key}_{name}"] = float(np.median(tally.width[key])) * factor
        beside = f"; baseline {100 * baseline.share()[key]:.1f} %" if key in KEYS else ""
        print(
            f"{key:15s} {100 * share:5.1f} % of {len(tally.inside[key])} hold the truth, median half-width "
            f"{widths[f'{key}_{name}']:.2f} {name}{beside}"
        )
    print(
        json.dumps(
            tally.share()
            | {
                "weighings": len(tally.inside["cg_x"]),
                "half_width": widths,
                "turned_wider_than_unturned": widths["turned_corner_g"] / widths["unturned_corner_g"],
                "baseline": baseline.share(),
            }
        )
    )


if __name__ == "__main__":
    main()
