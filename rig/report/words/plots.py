"""Figures of a report beside the top view: the slide in time, the budgets, and measured against forecast.

Measured and forecast differ in marker and hatching as well as in colour (palette after Okabe and Ito, 2008).
"""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.base.pivot import DEG_PER_CM
from analysis.figures.car import FORECAST, MEASURED, QUIET
from analysis.statistics.quantiles import NORMAL_95
from rig.base.files import write_bytes
from rig.jobs.pushing.picture import PushedPoses
from rig.jobs.record.experiments import Contribution, Experiment

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def save_figure(figure: "Figure", path: Path, **how: Any) -> Path:
    """Write a figure whole or not at all; its ending is the format, else PNG. how: as `savefig` takes it."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format=path.suffix.lstrip(".") or "png", **how)
    write_bytes(path, buffer.getvalue())
    return path


def slide_figure(track: PushedPoses) -> "Figure":
    """Way and turn of the car over time, the rests shaded: from where the pivot was read."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.6, 3.4), layout="constrained")
    axes = figure.add_subplot()
    first = track.pose[0]
    way = 1e3 * np.linalg.norm(track.pose[:, :2] - first[:2], axis=-1)
    axes.plot(track.time, way, color=MEASURED, label="way of the rear axle's middle, mm")
    axes.set_xlabel("s")
    axes.set_ylabel("mm")
    turned = axes.twinx()
    turned.plot(
        track.time, np.degrees(track.pose[:, 2] - first[2]), color=FORECAST, linestyle="--", label="turn, degrees"
    )
    turned.set_ylabel("degrees")
    for low, high in ((track.time[0], track.start), (track.end, track.time[-1])):
        axes.axvspan(low, high, color=QUIET, alpha=0.12, linewidth=0)
    axes.set_title("The slide; shaded: at rest, where poses are averaged", loc="left", fontsize=11)
    lines = [*axes.get_lines(), *turned.get_lines()]
    axes.legend(handles=lines, loc="upper left", fontsize=9)
    return figure


def budget_figure(experiment: Experiment) -> "Figure | None":
    """What each cause of uncertainty makes of turn per travel, on one scale for both sides."""
    from matplotlib.figure import Figure

    sides = [
        ("measured", experiment.measured_budget, MEASURED, "//"),
        ("forecast", experiment.forecast_budget, FORECAST, ".."),
    ]
    shown = [(name, _largest(parts), color, hatch) for name, parts, color, hatch in sides if parts]
    if not shown:
        return None
    rows = sum(len(parts) for _, parts, _, _ in shown) + len(shown) - 1
    figure = Figure(figsize=(8.6, 1.1 + 0.27 * rows), layout="constrained")
    axes = figure.add_subplot()
    at, labels, places = 0.0, [], []
    for name, parts, color, hatch in shown:
        for part in parts:
            axes.barh(at, NORMAL_95 * part.u * DEG_PER_CM, color=color, alpha=0.75, hatch=hatch, edgecolor="white")
            labels.append(f"{part.name} ({name})")
            places.append(at)
            at += 1
        at += 1
    axes.set_yticks(places, labels, fontsize=9)
    axes.invert_yaxis()
    axes.set_xlabel("± that this cause alone makes of turn per travel, °/cm (95 %)")
    axes.grid(axis="x", alpha=0.2)
    return figure


def overview_figure(experiments: Sequence[Experiment]) -> "Figure":
    """Measured and forecast turn per travel with their 95 % intervals, one row an experiment."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.6, 1.3 + 0.42 * len(experiments)), layout="constrained")
    axes = figure.add_subplot()
    for row, experiment in enumerate(experiments):
        _interval(axes, row - 0.13, experiment.measured, MEASURED, "o", "measured" if row == 0 else "")
        _interval(axes, row + 0.13, experiment.predicted, FORECAST, "D", "forecast" if row == 0 else "")
    axes.axvline(0.0, color="black", linewidth=0.8)
    axes.set_yticks(
        range(len(experiments)),
        [f"{experiment.record.number}: {experiment.cards.test.name}" for experiment in experiments],
    )
    axes.tick_params(axis="y", labelsize=9)
    axes.invert_yaxis()
    axes.set_xlabel("turn per travel, °/cm (0: slides straight)")
    axes.grid(axis="x", alpha=0.2)
    axes.legend(
        handles=[_key("measured", MEASURED, "o"), _key("forecast", FORECAST, "D")],
        loc="lower center",
        bbox_to_anchor=(0.5, 1.0),
        ncol=2,
        frameon=False,
    )
    return figure


def _key(label: str, color: str, shape: str) -> "object":
    from matplotlib.lines import Line2D

    return Line2D([], [], color=color, marker=shape, markerfacecolor="white", label=label)


def _interval(axes: "Axes", row: float, estimate: object, color: str, shape: str, label: str) -> None:
    from analysis.base.pivot import PivotEstimate

    if not isinstance(estimate, PivotEstimate):
        return
    low, high = (end * DEG_PER_CM for end in estimate.interval)
    axes.plot([low, high], [row, row], color=color, linewidth=2)
    axes.plot([estimate.kappa * DEG_PER_CM], [row], shape, markerfacecolor="white", markeredgecolor=color, label=label)


def _largest(parts: Sequence[Contribution]) -> list[Contribution]:
    return [part for part in parts if part.share >= 0.005][:7]
