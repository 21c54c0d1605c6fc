"""The predicted pivot against a general-purpose rigid-body engine, over a grid of cars and pushes.

Baseline (second opinion, run here): MuJoCo, a slow finger, the same friction (see
tests/analysis/sliding/engine_push.py for the settings that matter). Cars: balanced,
more front grip, more rear grip, ballast in front, at the rear, on one side;
blocked and rolling; sliding and sticking finger; pushed low (8 mm) at four stations: 96 cases.

Compared: kappa (1/m) everywhere but on rolling cars pushed within 12 % of the wheelbase of the centre of friction,
where only the side on which the car turns is; station (% of the wheelbase) and sideways place (mm, blocked) where the
pivot lies within 0.75 wheelbases of the middle.

Run: python tests/benchmarks/rigid_engine.py [--quick]. The last line is one JSON object.
"""

import argparse
import json
import os
import sys
from itertools import product
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1] / "analysis" / "sliding"))

from engine_push import STICKY, L, PushCase, engine_push, solver_push
from rigid_engine_quick import quick_pushes

G = 9.80665
BASE = np.full(4, 0.4 * G)
CARS = {
    "balanced": (BASE, [0.8, 0.8, 0.8, 0.8]),
    "front grip": (BASE, [0.95, 0.95, 0.75, 0.75]),
    "rear grip": (BASE, [0.75, 0.75, 0.95, 0.95]),
    "front ballast": (BASE + np.array([0.08, 0.08, 0.02, 0.02]) * G, [0.8, 0.8, 0.8, 0.8]),
    "rear ballast": (BASE + np.array([0.02, 0.02, 0.08, 0.08]) * G, [0.8, 0.8, 0.8, 0.8]),
    "side ballast": (BASE + np.array([0.08, 0.02, 0.08, 0.02]) * G, [0.8, 0.8, 0.8, 0.8]),
}
STATIONS = (0.2, 0.56, 0.68, 0.88)


def main() -> None:
    """Run the grid and print the worst differences."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="every fifth case")
    quick = parser.parse_args().quick
    worst: dict[str, float] = {}
    grid = list(product(CARS, (None, 0.02), (0.0, STICKY), STATIONS))[:: 5 if quick else 1]
    sides = turned = 0
    for name, drag, finger, share in grid:
        load, grip = CARS[name][0], np.array(CARS[name][1])
        case = PushCase(load=load, grip=grip, station=share * L, drag=drag, finger=finger, height=0.008)
        engine = engine_push(case)
        push = solver_push(case, engine)
        centre = L * (load * grip)[:2].sum() / (load * grip).sum()
        near = drag is not None and abs(case.station - centre) < 0.12 * L
        kind = ("blocked " if drag is None else "rolling ") + ("sticking" if finger else "sliding")
        within = abs(engine.pole[0] - L / 2) < 0.75 * L
        miss = (push.pole - engine.pole) * [100 / L, 1000]
        print(
            f"{name:14s} {kind:16s} {100 * share:3.0f} %: turn per metre {engine.kappa:8.4f} engine, "
            f"{push.kappa:8.4f} here; station {100 * engine.pole[0] / L:8.2f} {100 * push.pole[0] / L:8.2f} %"
            + (" (hypersensitive)" if near else ""),
            flush=True,
        )
        if near:
            sides, turned = sides + 1, turned + int(np.sign(engine.kappa) == np.sign(push.kappa))
            continue
        found = {"kappa": abs(push.kappa - engine.kappa)}
        if within:
            found["station_pct"] = abs(miss[0])
            if drag is None and finger == 0:
                found["sideways_mm"] = abs(miss[1])
        for key, value in found.items():
            label = f"{kind.replace(' ', '_')}_{key}"
            worst[label] = max(worst.get(label, 0.0), float(value))
    print(json.dumps({"cases": len(grid), "near": sides, "near_same_side": turned} | worst | quick_pushes(quick)))


if __name__ == "__main__":
    main()
