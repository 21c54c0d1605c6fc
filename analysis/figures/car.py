"""The car to scale from above: loads, centre of gravity, balance point, and both pivots with their regions.

Drawn on matplotlib's Figure without any global state. Measured and forecast differ in shape and line style
as well as in colour, to hold in print and for colour-blind readers (palette after Okabe and Ito, 2008).
"""

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.statistics.quantiles import NORMAL_95

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MEASURED, FORECAST, LOAD, QUIET = "#D55E00", "#0072B2", "#009E73", "#555555"
FARTHEST_DRAWN = 1.6
"""Wheelbases from the middle; a pivot farther out is shown as an arrow with its distance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PivotMark:
    """A pivot to draw. place: (2,) m, car axes.  region: (k, 2) m, outline of its 95 % region or empty."""

    place: FloatArray
    region: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))


@dataclass(frozen=True, slots=True, kw_only=True)
class CarPicture:
    """All that the top view shows; car axes, m.

    contact_place: (4, 2).  load_g: (4,) g or None.  cg: (2,) or None.  body: (front overhang, rear overhang,
    width).  push: (2,) where the finger touches, push_side +1 when it pushes towards +y.  balance: station,
    m, with balance_u.  measured, forecast: marks, None when no pivot can be named.  swept: (m, 3) car poses
    in the car axes of the start of the push.  title, verdict: words above and below.
    """

    title: str
    wheelbase: float
    contact_place: FloatArray
    body: tuple[float, float, float]
    load_g: FloatArray | None = None
    cg: FloatArray | None = None
    push: FloatArray | None = None
    push_side: int = 1
    balance: float | None = None
    balance_u: float = 0.0
    measured: PivotMark | None = None
    forecast: PivotMark | None = None
    swept: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))
    verdict: str = ""


def top_view(picture: CarPicture) -> "Figure":
    """The car to scale from above, nose to the right. Returns a matplotlib Figure; nothing is saved here."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.6, 6.2), layout="constrained")
    axes = figure.add_subplot()
    _swept(axes, picture)
    _outline(axes, picture, (0.0, 0.0, 0.0), color="black", alpha=0.9, width=1.6)
    _wheels(axes, picture)
    _balance(axes, picture)
    _mark(axes, picture, picture.forecast, FORECAST, "forecast pivot", "D", "--")
    _mark(axes, picture, picture.measured, MEASURED, "measured pivot", "o", "-")
    _push(axes, picture)
    _frame(axes, picture)
    axes.set_title(picture.title, loc="left", fontsize=13)
    if picture.verdict:
        figure.supxlabel(picture.verdict, fontsize=10, wrap=True)
    return figure


def body_outline(wheelbase: float, body: tuple[float, float, float]) -> FloatArray:
    """(4, 2) m, corners of the body from above, car axes, anticlockwise from the right of its tail.

    wheelbase: m.  body: m, overhang ahead of the front axle, behind the rear axle, width.
    """
    ahead, behind, half = wheelbase + body[0], -body[1], body[2] / 2
    return np.array([[behind, -half], [ahead, -half], [ahead, half], [behind, half]])


def closed(outline: FloatArray) -> FloatArray:
    """(k + 1, 2), the outline (k, 2) back to its start."""
    return np.concatenate([outline, outline[:1]])


def moved(points: FloatArray, pose: FloatArray | tuple[float, float, float]) -> FloatArray:
    """Points (k, 2) of a body carried to a pose (x, y, yaw).

    points: (k, 2) m, body axes.
    """
    c, s = math.cos(pose[2]), math.sin(pose[2])
    carried: FloatArray = points @ np.array([[c, s], [-s, c]]) + np.array([pose[0], pose[1]])
    return carried


def _outline(
    axes: "Axes",
    picture: CarPicture,
    pose: FloatArray | tuple[float, float, float],
    *,
    color: str,
    alpha: float,
    width: float,
) -> None:
    corners = moved(closed(body_outline(picture.wheelbase, picture.body)), pose) * 1000
    axes.plot(corners[:, 0], corners[:, 1], color=color, alpha=alpha, linewidth=width, solid_joinstyle="round")


def _swept(axes: "Axes", picture: CarPicture) -> None:
    for index, pose in enumerate(picture.swept):
        share = (index + 1) / len(picture.swept)
        _outline(axes, picture, pose, color=MEASURED, alpha=0.15 + 0.35 * share, width=0.9)


def _wheels(axes: "Axes", picture: CarPicture) -> None:
    places = picture.contact_place * 1000
    if picture.load_g is None:
        axes.scatter(places[:, 0], places[:, 1], marker="s", s=80, color=QUIET, zorder=4)
        return
    # area, not radius, carries the load: the eye compares areas
    area = 2600 * picture.load_g / max(float(picture.load_g.max()), 1e-9)
    axes.scatter(places[:, 0], places[:, 1], s=area, color=LOAD, alpha=0.35, zorder=3)
    axes.scatter(places[:, 0], places[:, 1], s=10, color=LOAD, zorder=4)
    for place, load in zip(places, picture.load_g, strict=True):
        side = math.copysign(1.0, place[1])
        axes.annotate(
            f"{load:.0f} g",
            place,
            xytext=(0, 20 * side),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=10,
        )
    if picture.cg is not None:
        x, y = picture.cg * 1000
        axes.scatter([x], [y], marker="P", s=110, color="black", zorder=5, label="centre of gravity")


def _balance(axes: "Axes", picture: CarPicture) -> None:
    if picture.balance is None:
        return
    x, u = picture.balance * 1000, picture.balance_u * 1000
    half = picture.body[2] / 2 * 1000
    axes.plot([x, x], [-half, half], color=FORECAST, linewidth=1.2, linestyle=":", label="balance point")
    if u > 0:
        axes.fill_betweenx([-half, half], x - NORMAL_95 * u, x + NORMAL_95 * u, color=FORECAST, alpha=0.08, linewidth=0)


def _mark(
    axes: "Axes", picture: CarPicture, mark: PivotMark | None, color: str, label: str, shape: str, line: str
) -> None:
    if mark is None:
        return
    middle = picture.wheelbase / 2
    away = (mark.place[0] - middle) / picture.wheelbase
    if abs(away) > FARTHEST_DRAWN or abs(mark.place[1]) > FARTHEST_DRAWN * picture.wheelbase:
        end = middle + math.copysign(FARTHEST_DRAWN * picture.wheelbase, away)
        axes.annotate(
            "",
            xy=(end * 1000, 0),
            xytext=((middle + (end - middle) * 0.86) * 1000, 0),
            arrowprops={"arrowstyle": "-|>", "color": color, "linewidth": 2},
        )
        axes.scatter([], [], marker=shape, color=color, label=f"{label}, {abs(away):.1f} wheelbases away")
        return
    x, y = mark.place * 1000
    axes.scatter([x], [y], marker=shape, s=90, facecolor="white", edgecolor=color, linewidth=2, zorder=7, label=label)
    if len(mark.region):
        region = mark.region * 1000
        axes.fill(region[:, 0], region[:, 1], facecolor=color, alpha=0.15, zorder=5)
        axes.plot(*np.vstack([region, region[:1]]).T, color=color, linestyle=line, linewidth=1.2, zorder=6)


def _push(axes: "Axes", picture: CarPicture) -> None:
    if picture.push is None:
        return
    x, y = picture.push * 1000
    length = 0.22 * picture.wheelbase * 1000
    axes.scatter([x], [y - picture.push_side * 1.25 * length], s=0)  # widens the frame round the arrow
    axes.annotate(
        "push",
        xy=(x, y),
        xytext=(x, y - picture.push_side * length),
        ha="center",
        va="center",
        fontsize=10,
        arrowprops={"arrowstyle": "-|>", "linewidth": 2.2, "color": "black"},
        zorder=8,
    )


def _frame(axes: "Axes", picture: CarPicture) -> None:
    axes.set_aspect("equal")
    length = picture.wheelbase * 1000
    axes.set_xlabel("mm ahead of the rear axle")
    axes.set_ylabel("mm left of the middle")

    # labelled shares of the wheelbase along the top: the axis people speak in
    def as_pct(mm: FloatArray) -> FloatArray:
        return mm / length * 100

    def as_mm(pct: FloatArray) -> FloatArray:
        return pct / 100 * length

    top = axes.secondary_xaxis("top", functions=(as_pct, as_mm))  # type: ignore[arg-type]
    top.set_xlabel("% of the wheelbase")
    axes.grid(alpha=0.2)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.14), ncol=3, fontsize=9, frameon=False)
