"""Speed and certificates of the sliding solver.

`batch_s`: 10,000 random cars (a third each blocked, with a solid rear axle, rolling; push height coupled with the
loads), best of several runs on one core.  `single_ms`: one such car, median.  `finite_push_s`: 10,000 blocked and
rolling cars pushed along a fixed line on the floor until they have turned by 15 degrees.
`worst_residual`: largest certificate of 100,000 random cars, a part of them nasty (three wheels carrying nothing, all
wheels rolling, pushed exactly at the centre of friction, zero grip on one axle, zero load), those that tip excepted.

Baseline, measured in the same run: a loop over scipy's SLSQP on the dual (largest push that the tyres can balance),
a smooth problem and so the quickest general-purpose optimiser found for it, given the loads of the answer so that it
need not find them. `times_generic` is its processor time per car over ours; `generic_miss` the largest relative
difference in power, a check that both solve the same thing.

Times are wall clock; the keys with `cpu` are processor time, which means more on a machine that others use too.

Run: python tests/benchmarks/sliding_solver.py [--quick]. The last line is one JSON object.
"""

import argparse
import json
import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import statistics
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.sliding import Contacts, Finger, LoadTransfer, solve_push
from analysis.whole_push.finite import Until, integrate_push

Case = tuple[Contacts, Finger, LoadTransfer]


def cars(count: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """A third each blocked, solid at the rear, rolling."""
    wheelbase, track = rng.uniform(0.24, 0.28, count), rng.uniform(0.15, 0.19, count)
    place = np.zeros((count, 4, 2))
    place[:, :2, 0] = wheelbase[:, None]
    place[..., 1] = track[:, None] / 2 * np.array([1, -1, 1, -1])
    kind = np.arange(count) % 3
    drag = np.where(kind[:, None] == 0, 1.0, rng.uniform(0.01, 0.05, (count, 4)))
    return {
        "place": place,
        "load": rng.uniform(3, 5, (count, 4)),
        "grip": np.repeat(rng.uniform(0.6, 1.0, (count, 2)), 2, axis=1),
        "drag": drag,
        "heading": np.radians(rng.normal(0, 0.2, (count, 4))),
        "coupling": np.where(kind[:, None] == 1, np.array([0, 0, 1, 1]), 0),
        "station": rng.uniform(0.1, 1.1, count) * wheelbase,
        "track": track,
        "height": rng.uniform(0.005, 0.02, count),
    }


def case(sheet: dict[str, np.ndarray], rows: object = slice(None)) -> Case:
    """Contacts, finger and load transfer of some cars."""
    some = {key: value[rows] for key, value in sheet.items()}
    ground = {key: some[key] for key in ("place", "load", "grip", "drag", "heading", "coupling")}
    place = np.stack([some["station"], -some["track"] / 2], axis=-1)
    lean = LoadTransfer(track_front=some["track"], track_rear=some["track"])
    return Contacts(**ground), Finger(kind="rolling", place=place, height=some["height"]), lean


def nasty(count: int, rng: np.random.Generator) -> Case:
    """Random cars of which about a half have something wrong with them."""
    sheet = cars(count, rng)

    def some(share: float) -> np.ndarray:
        return np.flatnonzero(rng.random(count) < share)

    one, rolling, tiny, uneven = some(0.06), some(0.1), some(0.1), some(0.03)
    sheet["load"][one] = 0.0
    sheet["load"][one, rng.integers(0, 4, one.size)] = 16.0
    sheet["drag"][rolling] = 0.01
    sheet["drag"][tiny] = 10.0 ** rng.uniform(-6, 0, (tiny.size, 4))
    sheet["heading"][some(0.5)] = 0.0
    sheet["grip"][some(0.05), :2] = 0.0
    sheet["grip"][some(0.05), 2:] = 0.0
    sheet["load"][some(0.02)] = 0.0
    sheet["load"][uneven] = 10.0 ** rng.uniform(-8, 1, (uneven.size, 4))
    centred, axle = some(0.1), some(0.02)
    weight = sheet["load"] * sheet["grip"]
    total = np.where(weight.sum(axis=-1) > 0, weight.sum(axis=-1), 1.0)
    sheet["station"][centred] = ((weight * sheet["place"][..., 0]).sum(axis=-1) / total)[centred]
    sheet["station"][axle] = 0.0
    sheet["height"][some(0.3)] = 0.0
    return case(sheet)


def generic(sheet: dict[str, np.ndarray], k: int, load: np.ndarray) -> float:
    """Power of one car by SLSQP: the largest push P that tyre forces within their limits can balance."""
    from scipy.optimize import minimize

    x, y = sheet["place"][k].T
    m, c, d = sheet["grip"][k] * load, sheet["drag"][k], sheet["heading"][k]
    weight, s = m.sum(), sheet["station"][k]
    m = m / weight
    cos, sin = np.cos(d), np.sin(d)
    # unknown: along and across of each tyre, then P; equilibrium of two forces and the moment in wheelbases
    arm = 1.0 / 0.26
    balance = np.zeros((3, 9))
    balance[0, :4], balance[0, 4:8] = cos, -sin
    balance[1, :4], balance[1, 4:8] = sin, cos
    balance[2, :4], balance[2, 4:8] = (x * sin - y * cos) * arm, (x * cos + y * sin) * arm
    balance[1, 8], balance[2, 8] = -1.0, -s * arm

    solid = sheet["coupling"][k][2] != 0
    rolls = np.zeros((0, 9))
    for i in range(2 if solid else 4):
        if c[i] < 1:
            row = np.zeros(9)
            row[i] = 1.0 / (c[i] * m[i])
            rolls = np.vstack([rolls, row, -row])
    if solid:
        row = np.zeros(9)
        row[2:4] = 1.0 / (c[2:] * m[2:]).sum()
        rolls = np.vstack([rolls, row, -row])

    def inside(z: np.ndarray) -> np.ndarray:
        return np.concatenate([m * m - z[:4] ** 2 - z[4:8] ** 2, 1 - rolls @ z])

    def slope(z: np.ndarray) -> np.ndarray:
        disc = np.zeros((4, 9))
        disc[range(4), range(4)], disc[range(4), range(4, 8)] = -2 * z[:4], -2 * z[4:8]
        return np.vstack([disc, -rolls])

    goal = np.zeros(9)
    goal[8] = -1.0
    limits = [
        {"type": "eq", "fun": lambda z: balance @ z, "jac": lambda z: balance},
        {"type": "ineq", "fun": inside, "jac": slope},
    ]
    options = {"ftol": 1e-13, "maxiter": 300}
    best = minimize(
        lambda z: goal @ z, np.zeros(9), jac=lambda z: goal, method="SLSQP", constraints=limits, options=options
    )
    return -float(best.fun) * weight


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer repeats, and 20,000 nasty cars")
    quick = parser.parse_args().quick
    rng = np.random.default_rng(6)
    sheet = cars(10_000, rng)
    contacts, finger, lean = case(sheet)
    times, busy = [], []
    for _ in range(3 if quick else 9):
        begin, worked = time.perf_counter(), time.process_time()
        motion = solve_push(contacts, finger, transfer=lean)
        times.append(time.perf_counter() - begin)
        busy.append(time.process_time() - worked)
    batch_s, batch_cpu_s = min(times), min(busy)
    assert motion.certified.all()
    print(f"10,000 cars in {batch_s:.3f} s (median {statistics.median(times):.3f}), worst {motion.residual.max():.1e}")

    single, single_busy = [], []
    for k in range(60 if quick else 300):
        one = case(sheet, k)
        begin, worked = time.perf_counter(), time.process_time()
        solve_push(one[0], one[1], transfer=one[2])
        single.append(time.perf_counter() - begin)
        single_busy.append(time.process_time() - worked)
    single_ms = 1e3 * statistics.median(single)
    print(f"one car in {single_ms:.2f} ms (median; 90 % within {1e3 * sorted(single)[int(0.9 * len(single))]:.2f} ms)")

    count = 30 if quick else 150
    spent, misses = [], []
    for k in range(count):
        worked = time.process_time()
        power = generic(sheet, k, motion.load[k])
        spent.append(time.process_time() - worked)
        misses.append(abs(power / motion.power[k] - 1))
    times_generic = statistics.mean(spent) / (batch_cpu_s / 10_000)
    generic_ms = 1e3 * statistics.mean(spent)
    print(f"generic optimiser {generic_ms:.1f} ms a car, differs in power by at most {max(misses):.1e}")

    loose = {**sheet, "coupling": np.zeros((10_000, 4), dtype=int)}
    ground, touch, tilt = case(loose)
    begin, worked = time.perf_counter(), time.process_time()
    finite = integrate_push(ground, touch, until=Until(turn=np.radians(15)), rule="fixed on floor", transfer=tilt)
    finite_push_s, finite_cpu_s = time.perf_counter() - begin, time.process_time() - worked
    print(f"finite push of 10,000 cars in {finite_push_s:.2f} s, {finite.certified.mean():.4%} certified")

    worst, seen, tips = 0.0, 0, 0
    for _ in range(2 if quick else 10):
        ground, touch, tilt = nasty(10_000, rng)
        hard = solve_push(ground, touch, transfer=tilt)
        worst = max(worst, float(hard.residual[~hard.tips].max()))
        seen, tips = seen + hard.tips.size, tips + int(hard.tips.sum())
    print(f"{seen} random cars, nasty ones included, {tips} of them tip over: worst residual {worst:.1e}")
    print(
        json.dumps(
            {
                "batch_s": round(batch_s, 4),
                "times_generic": round(times_generic),
                "single_ms": round(single_ms, 3),
                "finite_push_s": round(finite_push_s, 3),
                "worst_residual": worst,
                "batch_cpu_s": round(batch_cpu_s, 4),
                "single_cpu_ms": round(1e3 * statistics.median(single_busy), 3),
                "finite_push_cpu_s": round(finite_cpu_s, 3),
                "generic_ms": round(generic_ms, 2),
                "generic_miss": max(misses),
                "cars": seen,
            }
        )
    )


if __name__ == "__main__":
    main()
