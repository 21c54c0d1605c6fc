"""Forecast against 400 pushes that others measured: the outside check of the main job, as figures and a picture.

Baseline, in the same run: equal loads on all three feet, as if nobody had weighed.

    python tests/benchmarks/three_point_push.py [--quick] [--figure FILE.png]

Data: J. Zhou, R. Paolini, J. A. Bagnell, M. T. Mason, ICRA 2016 (tests/data/three_point_push, Apache-2.0).
"""

import argparse
import json

import numpy as np

from tests.analysis.sliding.test_three_point import EXPECTED, SETS, angles_deg, predicted


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
    if given.figure:
        draw(given.figure, medians, equal)
    print(json.dumps({"median_angle_deg": medians, "baseline_equal_loads_deg": equal, "pushes": 50 * len(SETS)}))


if __name__ == "__main__":
    main()
