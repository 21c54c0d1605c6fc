"""The map of turn per travel over push position and grip ratio, as a picture."""

from pathlib import Path

import numpy as np

from rig.cards.measures import wheelbase
from rig.cards.read import CardSet
from rig.jobs.series.series import map_of
from rig.jobs.weighing.weights import Weighing
from rig.report.words.plots import save_figure


def write_map(path: Path, cards: CardSet, weighing: Weighing) -> Path:
    """Draw kappa, which has no poles, with lines labelled as pivot stations where they have one."""
    from matplotlib.figure import Figure

    stations, ratios = np.linspace(0.0, 100.0, 61), np.exp(np.linspace(np.log(0.6), np.log(1.7), 41))
    kappa = map_of(cards, weighing, stations, ratios)
    length = wheelbase(cards.car)
    figure = Figure(figsize=(8, 5.6), layout="constrained")
    axes = figure.add_subplot()
    wanted = np.array([-100.0, -50.0, -30.0, -20.0, 0.0, 100.0, 120.0, 150.0, 200.0])
    levels = np.unique(1.0 / ((0.5 - wanted / 100) * length))
    filled = axes.contourf(stations, ratios, np.clip(kappa.T, -12, 12), levels=np.linspace(-12, 12, 25), cmap="PuOr")
    lines = axes.contour(
        stations, ratios, kappa.T, levels=np.unique(np.append(levels, 0.0)), colors="black", linewidths=0.9
    )
    axes.clabel(
        lines, fmt=lambda level: "straight" if abs(level) < 1e-9 else f"{100 * (0.5 - 1 / (level * length)):.0f} %"
    )
    axes.plot(
        [cards.test.push.position_pct],
        [cards.test.grip.front / cards.test.grip.rear],
        "o",
        color="black",
        markersize=8,
        label="this test",
    )
    axes.set_xlabel("push position, % of the wheelbase ahead of the rear axle")
    axes.set_ylabel("grip factor, front over rear")
    axes.set_title(f"{cards.car.name}: where it pivots (lines: pivot, % of the wheelbase)", loc="left")
    axes.legend(loc="lower right")
    figure.colorbar(filled, label="turn per travel, 1/m")
    return save_figure(figure, path, dpi=140)
