"""Forecast against 400 pushes that others measured: the outside check of the main job, as figures and a picture.

Baseline, in the same run: equal loads on all three feet, as if nobody had weighed.

Forces, too: the least power of a push is its force over friction times weight, so measured force over that is the
friction of a set, one number; how much the single pushes scatter about it (half of the middle 68 %, per cent of it)
says how well the forecast knows which pushes are heavy. Baselines: equal loads, and every push alike.

As a hint, not a forecast: the finger pushed some 10 to 12.5 mm above the table (inferred, the first touch is not
documented), which carries load over the feet; `median_angle_deg_with_height` has the loads of each push with the
measured force at those heights (statics of three feet).

    python tests/benchmarks/three_point_push.py [--quick] [--figure FILE.png]

Data: J. Zhou, R. Paolini, J. A. Bagnell, M. T. Mason, ICRA 2016 (tests/data/three_point_push, Apache-2.0).
"""

import argparse
import json

import numpy as np

from analysis.sliding import Contacts, Finger, solve_push
from tests.analysis.sliding.test_three_point import EXPECTED, SETS, angles_deg, predicted, table

WEIGHT = 1.518 * 9.80665
"""N, of the block, as its authors state."""
HEIGHTS_MM = (10.0, 12.5)


def carried(of: str, height: float) -> np.ndarray:
    """(pushes, 3) shares of the load under each measured force at this height, m; not below nothing.

    Statics: three feet give the weight, and its moment with the force's about the table's two axes.
    """
    feet, pushes = table("supports.csv", of), table("pushes.csv", of)
    place = np.stack([np.ones(3), feet["x_mm"] / 1000, feet["y_mm"] / 1000])
    moved = height * np.stack([np.zeros_like(pushes["fx_N"]), pushes["fx_N"], pushes["fy_N"]]) / WEIGHT
    load = np.maximum(feet["load_fraction"] + np.linalg.solve(place, moved).T, 0.0)
    return np.asarray(load / load.sum(axis=1, keepdims=True))


def moved_by(of: str, load: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Twists (pushes, 3) and forces over friction times weight (pushes,), with shares of the load or the known ones."""
    feet, pushes = table("supports.csv", of), table("pushes.csv", of)
    force = np.stack([pushes["fx_N"], pushes["fy_N"]], axis=-1)
    touched = np.stack([pushes["contact_x_mm"], pushes["contact_y_mm"]], axis=-1) / 1000
    contacts = Contacts(
        place=np.stack([feet["x_mm"], feet["y_mm"]], axis=-1) / 1000,
        load=feet["load_fraction"] if load is None else load,
    )
    motion = solve_push(contacts, Finger(kind="line", place=touched, direction=force))
    return motion.twist, np.hypot(*motion.push_force.T)


def angles_of(of: str, twist: np.ndarray) -> np.ndarray:
    """Angles in degrees between measured and forecast motion, as the tests take them."""
    pushes = table("pushes.csv", of)
    turn = np.radians(pushes["dtheta_deg"])
    dx, dy, half = pushes["dx_mm"] / 1000, pushes["dy_mm"] / 1000, turn / 2
    measured = np.stack([dx * np.cos(half) + dy * np.sin(half), dy * np.cos(half) - dx * np.sin(half), 0.05 * turn])
    model = np.stack([twist[:, 0], twist[:, 1], 0.05 * twist[:, 2]])
    cosine = (measured * model).sum(0) / np.linalg.norm(measured, axis=0) / np.linalg.norm(model, axis=0)
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))


def friction(of: str, size: np.ndarray) -> tuple[float, float]:
    """Friction of a set by its forces, and how much its pushes scatter about it, per cent. size: (pushes,)."""
    pushes = table("pushes.csv", of)
    each = np.hypot(pushes["fx_N"], pushes["fy_N"]) / WEIGHT / size
    low, middle, high = np.quantile(each, [0.16, 0.5, 0.84])
    return float(middle), float(50 * (high - low) / middle)


def poles_mm(of: str) -> tuple[np.ndarray, np.ndarray]:
    """Measured and forecast pivots (n, 2), mm from the centre of mass, of pushes that turned more than 3 degrees."""
    twist, pushes = predicted(of)
    turned = np.abs(pushes["dtheta_deg"]) > 3.0
    forecast = np.stack([-twist[:, 1] / twist[:, 2], twist[:, 0] / twist[:, 2]], axis=-1)[turned] * 1000
    return np.stack([pushes["pole_x_mm"], pushes["pole_y_mm"]], axis=-1)[turned], forecast


def draw(path: str, medians: dict[str, float], equal: dict[str, float]) -> None:
    """Medians a set, and forecast against measured pivot."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 4.2), layout="constrained")
    left, right = figure.subplots(1, 2, width_ratios=(1.1, 1))
    places = np.arange(len(SETS))
    left.bar(places - 0.2, [medians[of] for of in SETS], 0.4, color="#0072B2", label="true loads")
    left.bar(places + 0.2, [equal[of] for of in SETS], 0.4, color="#E69F00", label="equal loads", hatch="//")
    left.set_xticks(places, SETS, rotation=40, ha="right")
    left.set_ylabel("median angle to the forecast, degrees")
    left.set_title("50 pushes a set; the lower the better", loc="left", fontsize=10)
    left.legend(frameon=False)
    for of in SETS:
        measured, forecast = poles_mm(of)
        right.plot(measured.ravel(), forecast.ravel(), ".", color="#009E73", markersize=3, alpha=0.5)
    right.plot([-150, 150], [-150, 150], color="black", linewidth=0.8)
    right.set(
        xlim=(-150, 150),
        ylim=(-150, 150),
        xlabel="measured pivot, mm from the centre of mass (x and y)",
        ylabel="forecast",
    )
    right.set_title("pushes that turned more than 3 degrees", loc="left", fontsize=10)
    right.set_aspect("equal")
    figure.savefig(path, dpi=90)


def main() -> None:
    """Print a table; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="no difference: it takes a second")
    parser.add_argument("--figure", default="")
    given = parser.parse_args()
    medians = {of: float(np.median(angles_deg(of))) for of in SETS}
    equal = {of: float(np.median(angles_deg(of, equal=True))) for of in SETS}
    print("set       true loads  equal loads  our earlier model (true)")
    for of in SETS:
        print(f"{of:<9} {medians[of]:8.1f}   {equal[of]:9.1f}   {EXPECTED['true_feet_and_loads'][of]:9.1f}")
    forces, scatters = {}, {"true loads": {}, "equal loads": {}, "all alike": {}}
    hint: dict[str, dict[str, float]] = {f"{h:g} mm": {} for h in HEIGHTS_MM}
    for of in SETS:
        size = moved_by(of)[1]
        forces[of], scatters["true loads"][of] = (round(one, 3) for one in friction(of, size))
        scatters["equal loads"][of] = round(friction(of, moved_by(of, np.full(3, 1 / 3))[1])[1], 1)
        scatters["all alike"][of] = round(friction(of, np.ones(len(size)))[1], 1)
        for h in HEIGHTS_MM:
            hint[f"{h:g} mm"][of] = float(np.median(angles_of(of, moved_by(of, carried(of, h / 1000))[0])))
    print("set       friction  scatter %: true loads, equal loads, all alike   angle at 10, 12.5 mm up (hint)")
    for of in SETS:
        rows = [scatters[name][of] for name in scatters]
        print(f"{of:<9} {forces[of]:8.3f}  " + "  ".join(f"{one:9.1f}" for one in rows + [hint[h][of] for h in hint]))
    pooled = {}
    for h in HEIGHTS_MM:
        every = [angles_of(of, moved_by(of, carried(of, h / 1000))[0]) for of in SETS]
        pooled[h] = float(np.median(np.concatenate(every)))
    if given.figure:
        draw(given.figure, medians, equal)
    told = {
        "median_angle_deg": medians,
        "baseline_equal_loads_deg": equal,
        "pooled_median_deg": float(np.median(np.concatenate([angles_deg(of) for of in SETS]))),
        "friction_by_force": forces,
        "force_scatter_pct": scatters["true loads"],
        "baseline_force_scatter_pct": {name: scatters[name] for name in ("equal loads", "all alike")},
        "median_angle_deg_with_height": hint,
        "pooled_median_deg_with_height": {f"{h:g} mm": value for h, value in pooled.items()},
        "pushes": 50 * len(SETS),
    }
    print(json.dumps(told))


if __name__ == "__main__":
    main()
