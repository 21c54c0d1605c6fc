"""The predicted pivot against a general-purpose rigid-body engine: drawn cars with all six freedoms, on patches.

Baseline (second opinion, run here): MuJoCo, see `body_engine.py` for the settings that matter. 300 cars and pushes
are drawn with a seed (`rigid_engine_cases.py`): blocked, one axle blocked, rolling, solid at the rear; a finger that
slides, rubs or sticks, on either side, 5 to 25 mm up, 12 to 45 % of the wheelbase beside the balance point. What a card
leaves open when nobody measured it (the tyres' patches, the drag of rolling wheels) is drawn from the doubts it states.

`blocked_p95_pct`, `sticking_p95_pct`, `rubbing_p95_pct`: 95 % of the cars blocked on both axles have their station off
by less, per cent of the wheelbase, with the true patch; the latter two are those with such a finger. Only pivots
within one wheelbase of the car's middle are told by a station: farther ones are compared as turn per travel.
`rolling_inside_pct`: how often the engine's turn per travel lies inside the forecast's 95 % interval where some wheel
rolls, patch and drag being those of a card; with the medians of the half-widths, and each kind apart.
The engine's drag is of bearings, a card does not say so. `before_*`: the same with contact in points;
`before_kinds_*`: with patches, and a drag that grows with the load. Then the planar quick pushes of
`rigid_engine_quick.py`.

Run: python tests/benchmarks/rigid_engine.py [--quick] [--seed N] [--keep FILE]. --keep: what the engine said is kept
there, so that a run that was stopped goes on. The last line is one JSON object.
"""

import argparse
import json
import os
import pickle
import sys
from collections import defaultdict
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1] / "analysis" / "sliding"))

from body_engine import BodyPush, body_push
from rigid_engine_cases import (
    DRAWS,
    SEED,
    EngineCase,
    card_state,
    drawn_cases,
    forecast_kappa,
    interval_of,
    mass_check,
)
from rigid_engine_quick import quick_pushes

NEAR = 1.0
"""Wheelbases from the middle within which a pivot is told by its station."""


def main() -> None:
    """Run the cases and print how far both are apart."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="every fifteenth case")
    parser.add_argument("--keep", type=Path, default=None, help="a file for what the engine said")
    parser.add_argument("--seed", type=int, default=SEED, help="of the cars; each seed needs a file of its own")
    given = parser.parse_args()
    cases = drawn_cases(given.quick, given.seed)
    said = engine_runs(cases, given.keep)
    figures = blocked_figures(cases, said) | rolling_figures(cases, said)
    print(json.dumps({"cases": len(cases)} | figures | quick_pushes(given.quick)))


def engine_runs(cases: list[EngineCase], keep: Path | None) -> list[BodyPush]:
    """What the engine says of each."""
    said: dict[int, BodyPush] = pickle.loads(keep.read_bytes()) if keep is not None and keep.exists() else {}
    for i, case in enumerate(cases):
        if i not in said:
            said[i] = body_push(case.body)
            if keep is not None and i % 10 == 9:
                keep.write_bytes(pickle.dumps(said))
        if i % 50 == 49:
            print(f"engine: {i + 1} of {len(cases)}", flush=True)
    if keep is not None:
        keep.write_bytes(pickle.dumps(said))
    return [said[i] for i in range(len(cases))]


def station_pct(kappa: float, wheelbase: float) -> float:
    """Per cent of the wheelbase ahead of the rear axle."""
    return 100 * (0.5 - 1 / (kappa * wheelbase))


def blocked_figures(cases: list[EngineCase], said: list[BodyPush]) -> dict[str, float]:
    """Cars blocked on both axles: how far the stations are apart."""
    off, points, carded, far, settled = defaultdict(list), defaultdict(list), [], [], []
    for case, seen in zip(cases, said, strict=True):
        if not case.both_blocked:
            continue
        length, engine = case.wheelbase, seen.kappa(case.wheelbase / 2)
        settled.append(mass_check(case, seen.load))
        told = {
            name: forecast_kappa(case, seen, card_state(case, seen.load, patch))[0]
            for name, patch in (("true", case.body.patch), ("points", np.zeros((2, 2))), ("card", None))
        }
        if abs(engine) * length < 1 / NEAR:
            far.append(abs(told["true"] - engine))
            continue
        miss = {name: abs(station_pct(k, length) - station_pct(engine, length)) for name, k in told.items()}
        off["blocked"].append(miss["true"])
        off[case.finger].append(miss["true"])
        points["blocked"].append(miss["points"])
        carded.append(miss["card"])
        print(
            f"{case.kind:14s} {case.finger:9s} {1e3 * case.body.height:4.0f} mm up: "
            f"engine {station_pct(engine, length):7.2f}, here {station_pct(told['true'], length):7.2f}, "
            f"on points {station_pct(told['points'], length):7.2f} %",
            flush=True,
        )

    def p95(values: list[float]) -> float:
        return round(float(np.quantile(values, 0.95)), 3) if values else float("nan")

    return {
        "blocked_cases": len(off["blocked"]),
        "blocked_p95_pct": p95(off["blocked"]),
        "sliding_p95_pct": p95(off["rolling"]),
        "sticking_p95_pct": p95(off["sticking"]),
        "rubbing_p95_pct": p95(off["rubbing"]),
        "blocked_median_pct": round(float(np.median(off["blocked"])), 3),
        "blocked_p95_with_the_card_s_patch_pct": p95(carded),
        "before_blocked_p95_pct": p95(points["blocked"]),
        "far_blocked_kappa_p95_per_m": p95(far),
        "engine_weight_off_most": round(max(settled), 6),
    }


def rolling_figures(cases: list[EngineCase], said: list[BodyPush]) -> dict[str, object]:
    """Cars with wheels that roll: whether the interval holds the engine's turn per travel."""
    inside, before, width = defaultdict(list), [], defaultdict(list)
    by_load, by_load_width = [], defaultdict(list)
    for case, seen in zip(cases, said, strict=True):
        if case.both_blocked:
            continue
        length, engine = case.wheelbase, seen.kappa(case.wheelbase / 2)
        kappa = forecast_kappa(case, seen, card_state(case, seen.load), DRAWS)
        low, high = interval_of(kappa)
        as_points = forecast_kappa(case, seen, card_state(case, seen.load, np.zeros((2, 2))), DRAWS // 3)
        inside[case.kind].append(low <= engine <= high)
        before.append(interval_of(as_points)[0] <= engine <= interval_of(as_points)[1])
        width[case.kind].append(0.5 * (high - low) / kappa[0] ** 2 * 100 / length)
        under_load = forecast_kappa(case, seen, card_state(case, seen.load, drag_open=False), DRAWS // 2)
        below, above = interval_of(under_load)
        by_load.append(below <= engine <= above)
        by_load_width[case.kind].append(0.5 * (above - below) / under_load[0] ** 2 * 100 / length)
        ends = sorted(station_pct(end, length) for end in (low, high))
        print(
            f"{case.kind:14s} {case.finger:9s} {1e3 * case.body.height:4.0f} mm up: engine "
            f"{station_pct(engine, length):7.2f}, here {station_pct(kappa[0], length):7.2f} "
            f"({ends[0]:.2f} to {ends[1]:.2f}) %" + ("" if inside[case.kind][-1] else "  outside"),
            flush=True,
        )
    everything = [one for kind in inside.values() for one in kind]
    return {
        "rolling_cases": len(everything),
        "rolling_inside_pct": round(100 * float(np.mean(everything)), 1),
        "before_rolling_inside_pct": round(100 * float(np.mean(before)), 1),
        "before_kinds_rolling_inside_pct": round(100 * float(np.mean(by_load)), 1),
        "inside_pct": {kind: round(100 * float(np.mean(values)), 1) for kind, values in inside.items()},
        "median_half_width_pct": {kind: round(float(np.median(values)), 2) for kind, values in width.items()},
        "before_kinds_median_half_width_pct": {
            kind: round(float(np.median(values)), 2) for kind, values in by_load_width.items()
        },
    }


if __name__ == "__main__":
    main()
