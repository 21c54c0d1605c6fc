"""How fast the moving car's region and phase table are worked out, single-threaded.

    python tests/benchmarks/moving_car.py [--quick]

Baseline, in the same run: SciPy's general minimiser (BFGS with the exact gradient) on the same car's potential energy,
state after state, as anybody would do it without knowing that the energy is piecewise quadratic.
region_s: one set-up's region at 100 directions x 100 shares of the limit (1 %), outline included, median wall time;
region_cpu_s: the processor time of one (other work on the machine does not count).
phases_ms: a phase table of five phases after a set-up change, median.  times_generic: how many times faster a state is.
worst_generic_N: largest disagreement of wheel loads with the baseline.  path_ms: the path of a drift, 331 moments.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import statistics
import time
from collections.abc import Callable

import numpy as np
from scipy.optimize import minimize

from analysis.base.gravity import STANDARD_GRAVITY
from analysis.moving.phases import DRIFT, drift_path, phase_table
from analysis.moving.region import grip_limit, reachable
from analysis.moving.setup_changes import with_bars
from analysis.moving.tyres import tyres_like
from analysis.springs.chassis import Chassis, Standing, Stops, Suspension, Unsprung, car_at_rest, rows_of
from analysis.springs.elements import TYRE, elements_of, squash
from analysis.springs.equilibrium import equilibrium


def dunlin() -> Chassis:
    """The workshop's car with a stiff front bar and stops, so that wheels lift and stops are met."""
    return car_at_rest(
        Standing(
            wheelbase=0.257,
            track=[0.165, 0.165],
            load=np.array([0.24, 0.24, 0.26, 0.26]) * 1.6 * STANDARD_GRAVITY,
            height=0.06,
        ),
        Suspension(
            spring=[800.0, 800.0, 700.0, 700.0],
            motion_ratio=[0.65] * 4,
            tyre=[8000.0] * 4,
            roll_centre=[0.008, 0.012],
            bar=[900.0, 80.0],
        ),
        Unsprung(mass=[0.035] * 4, height=[0.032] * 4),
        Stops(bump_gap=0.006, bump_rate=5000.0, droop=0.004, droop_rate=20000.0),
    )


def median_s(work: Callable[[], object], runs: int) -> float:
    """Median wall time after one run to warm up, s."""
    work()
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def generic(car: Chassis, ax: np.ndarray, ay: np.ndarray) -> tuple[np.ndarray, float]:
    """Loads (k, 4), N, and s per state, by a general minimiser on the energy in scaled coordinates."""
    one = rows_of(car, ())
    parts = elements_of(one)
    flat, scale = np.zeros((1, 4)), np.array([1e-3, 1e-2, 1e-2, 1e-3, 1e-3, 1e-3, 1e-3])
    loads = []
    start = time.perf_counter()
    for x, y in zip(ax, ay, strict=True):
        force = parts.along * x + parts.across * y + parts.down * car.gravity

        def both(u: np.ndarray, force: np.ndarray = force) -> tuple[float, np.ndarray]:
            q = (u * scale)[None]
            s = squash(parts, q, flat)
            slope = (parts.rate * np.maximum(s, 0)) @ parts.lever[0] + q @ parts.linear[0] - force
            stored = 0.5 * (parts.rate * np.maximum(s, 0) ** 2).sum() + 0.5 * (q @ parts.linear[0] * q).sum()
            return float(stored - (force * q).sum()) * 1e3, slope[0] * scale * 1e3

        found = minimize(both, np.zeros(7), jac=True, method="BFGS", options={"gtol": 1e-7, "maxiter": 2000})
        s = squash(parts, (found.x * scale)[None], flat)
        loads.append((parts.rate * np.maximum(s, 0))[0, TYRE])
    return np.array(loads), (time.perf_counter() - start) / len(ax)


def main() -> None:
    """Run and print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    quick = parser.parse_args().quick
    car = dunlin()
    tyres = tyres_like(car, front=0.8, rear=0.8, sensitivity=0.15)
    region_s = median_s(lambda: reachable(car, tyres), 5 if quick else 25)
    changes = iter(np.linspace(0.0, 500.0, 10_000))
    phases_ms = 1e3 * median_s(
        lambda: phase_table(with_bars(car, (float(next(changes)), 0.0)), tyres, DRIFT), 20 if quick else 200
    )
    path_ms = 1e3 * median_s(lambda: drift_path(car, tyres, DRIFT), 5 if quick else 25)
    turn = np.linspace(0, 2 * np.pi, 100, endpoint=False)
    limit, _ = grip_limit(car, tyres, turn)
    a = np.linspace(0, 1, 101)[:, None] * limit
    grid = median_s(lambda: equilibrium(car, a * np.cos(turn), a * np.sin(turn)), 5 if quick else 15) / a.size
    rng = np.random.default_rng(0)
    picks = rng.integers(0, a.size, 40 if quick else 300)
    ax, ay = (a * np.cos(turn)).ravel()[picks], (a * np.sin(turn)).ravel()[picks]
    loads, each = generic(car, ax, ay)
    worst = float(np.abs(loads - equilibrium(car, ax, ay).load).max())
    region = reachable(car, tyres)
    print(
        f"region {region_s:.3f} s (10 100 states, {1e6 * region.area:.0f} mm2, wheels lift: {region.lifts}), "
        f"phase table {phases_ms:.1f} ms, path {path_ms:.1f} ms"
    )
    print(f"one state {1e6 * grid:.1f} us, by the general minimiser {1e3 * each:.2f} ms, loads differ by {worst:.1e} N")
    begin = time.process_time()
    reachable(car, tyres)
    cpu = time.process_time() - begin
    print(
        json.dumps(
            {
                "region_s": region_s,
                "region_cpu_s": cpu,
                "phases_ms": phases_ms,
                "path_ms": path_ms,
                "times_generic": each / grid,
                "state_us": 1e6 * grid,
                "baseline_state_ms": 1e3 * each,
                "worst_generic_N": worst,
            }
        )
    )


if __name__ == "__main__":
    main()
