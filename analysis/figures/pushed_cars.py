"""Pushed cars from above, side by side: what happened, for somebody who does not read graphs.

All at one scale, nose up: start outline grey, end outline in colour, the balance line across each car (by the push
solid with its band, by weights and grip dashed), an arrow where it was pushed, nose and tail travel at the ends.
Solid and dashed differ in line style as well as in colour (palette after Okabe and Ito, 2008).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.signs import true_minus
from analysis.figures.car import FORECAST, MEASURED, QUIET, body_outline, closed, moved

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

START, END = "#9A9A9A", "#009E73"
ARROW_MM = 55.0
INCHES_PER_MM = 0.0098
"""Size of the drawing: a car of 410 mm is 4 inches long, so that words of 11 points stay in proportion."""

KEY_MM = 430.0
"""Room for the two parts of the key beside each other, mm of the drawing; where there is less, one stands above the
other."""

LETTER_MM = 8.0
"""Room for a letter of a title, mm of the drawing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CarFromAbove:
    """One pushed car; m and rad in the car axes of its start, unless said otherwise.

    title: set-up, one line; more lines after a line feed.  body: (front overhang, rear overhang, width).
    end: (3,) pose x, y, yaw at the end of the push.
    push: (2,) where the finger touched at the start.  side: +1 when it pushed to the left, -1 to the right.
    nose_mm, tail_mm: how far the middles of the axles went, positive the way the finger pushed.
    balance: (station, half-width of its 95 % interval) by the push, or None.  forecast: station by weights and
    grip, or None.
    contact_place: (4, 2) m.
    """

    title: str
    wheelbase: float
    body: tuple[float, float, float]
    contact_place: FloatArray
    end: FloatArray
    push: FloatArray
    side: int
    nose_mm: float
    tail_mm: float
    balance: tuple[float, float] | None = None
    forecast: float | None = None


def cars_from_above(cars: Sequence[CarFromAbove]) -> "Figure":
    """The cars to one scale, nose up. Returns a matplotlib Figure; nothing is saved here.

    Raises InputError when there is no car, or a number of one is not finite.
    """
    from matplotlib.figure import Figure

    if not cars:
        raise InputError("there is no pushed car to draw", where="picture from above", remedy="Give one or more")
    for car in cars:
        if not all(np.all(np.isfinite(part)) for part in (car.end, car.push, car.nose_mm, car.tail_mm)):
            raise InputError(
                "the push has a number that is not finite",
                where=f"picture from above, {car.title.splitlines()[0]}",
                remedy="Measure the push again",
            )
    boxes = [_box(car) for car in cars]
    widths = [
        max(box[1] - box[0], LETTER_MM * max(map(len, car.title.splitlines())))
        for car, box in zip(cars, boxes, strict=True)
    ]
    low, high = min(box[2] for box in boxes), max(box[3] for box in boxes)
    gap = 0.035 * 1000
    used = sum(widths) + gap * (len(cars) - 1)
    beside = used >= KEY_MM  # the two parts of the key; one above the other under a single car, for a phone's width
    whole = used if beside else max(used, 0.6 * KEY_MM)
    below, above = 62.0 if beside else 84.0, 40.0 + 24.0 * max(car.title.count("\n") + 1 for car in cars)
    tall = high - low + below + above
    figure = Figure(figsize=(whole * INCHES_PER_MM, tall * INCHES_PER_MM))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_aspect("equal")
    axes.set_xlim(0.0, whole)
    axes.set_ylim(low - below, high + above)
    left = (whole - used) / 2
    for car, box, width in zip(cars, boxes, widths, strict=True):
        _car(axes, car, left + (width - (box[1] - box[0])) / 2 - box[0], high)
        left += width + gap
    _key(axes, cars, whole / 2, low - below + 12, beside=beside)
    return figure


def _up(flat: FloatArray, left: float) -> FloatArray:
    """Car axes (k, 2) m -> picture (k, 2) mm with the nose up: ahead is up, the car's left is left."""
    return np.stack([left - 1000 * flat[:, 1], 1000 * flat[:, 0]], axis=-1)


def _box(car: CarFromAbove) -> tuple[float, float, float, float]:
    """(left, right, low, high) mm of what a car covers in the picture, its arrow included."""
    corners = body_outline(car.wheelbase, car.body)
    both = np.concatenate([_up(corners, 0.0), _up(moved(corners, car.end), 0.0)])
    arrow = -1000 * car.push[1] + car.side * ARROW_MM  # pushed to the left: the arrow comes from the right
    left, right = min(both[:, 0].min(), arrow), max(both[:, 0].max(), arrow)
    return left - 8, right + 8, float(both[:, 1].min()), float(both[:, 1].max())


def _car(axes: "Axes", car: CarFromAbove, left: float, top: float) -> None:
    outline = closed(body_outline(car.wheelbase, car.body))
    start, end = _up(outline, left), _up(moved(outline, car.end), left)
    axes.plot(*start.T, color=START, linewidth=1.6, solid_joinstyle="round", zorder=2)
    axes.fill(*end.T, facecolor=END, alpha=0.10, zorder=1)
    axes.plot(*end.T, color=END, linewidth=2.4, solid_joinstyle="round", zorder=4)
    wheel = np.array([[0.032, 0.012], [0.032, -0.012], [-0.032, -0.012], [-0.032, 0.012]])
    for place in car.contact_place:
        axes.fill(*_up(moved(wheel + place, car.end), left).T, facecolor=QUIET, alpha=0.35, linewidth=0, zorder=3)
    half = car.body[2] / 2
    if car.balance is not None:
        station, wide = car.balance
        band = np.array(
            [[station - wide, half], [station + wide, half], [station + wide, -half], [station - wide, -half]]
        )
        axes.fill(*_up(moved(band, car.end), left).T, facecolor=MEASURED, alpha=0.25, linewidth=0, zorder=5)
        _across(axes, car, station, left, color=MEASURED, style="-", width=2.2)
    if car.forecast is not None:
        _across(axes, car, car.forecast, left, color=FORECAST, style=(0, (5, 3)), width=1.8)
    touch = _up(car.push[None], left)[0]
    axes.annotate(
        "",
        xy=(touch[0], touch[1]),
        xytext=(touch[0] + car.side * ARROW_MM, touch[1]),
        arrowprops={"arrowstyle": "-|>", "linewidth": 3.0, "color": "black", "mutation_scale": 18},
        zorder=8,
    )
    ahead, behind = car.wheelbase + car.body[0], -car.body[1]
    for word, x, way in (("nose", ahead - 0.026, car.nose_mm), ("tail", behind + 0.026, car.tail_mm)):
        spot = _up(moved(np.array([[x, 0.0]]), car.end), left)[0]
        travelled = true_minus(f"{word} {way:.0f} mm".replace("-0 mm", "0 mm"))
        axes.annotate(travelled, spot, ha="center", va="center", fontsize=12)
    box = _box(car)
    middle = left + (box[0] + box[1]) / 2
    axes.annotate(car.title, (middle, top + 14), ha="center", va="bottom", fontsize=12, linespacing=1.4)


def _across(
    axes: "Axes", car: CarFromAbove, station: float, left: float, *, color: str, style: object, width: float
) -> None:
    half = car.body[2] / 2
    ends = _up(moved(np.array([[station, half], [station, -half]]), car.end), left)
    axes.plot(*ends.T, color=color, linestyle=style, linewidth=width, zorder=6)


def _key(axes: "Axes", cars: Sequence[CarFromAbove], middle: float, low: float, *, beside: bool) -> None:
    """What the two lines mean: the only words beside the cars. middle, low: mm.  beside: one part beside the other."""
    parts = []
    if any(car.balance is not None for car in cars):
        parts.append(("balance by the push", MEASURED, "-"))
    if any(car.forecast is not None for car in cars):
        parts.append(("by weights and grip", FORECAST, "--"))
    for number, (text, color, style) in enumerate(parts):
        x = middle + ((number - (len(parts) - 1) / 2) * 205 if beside else 0) - 90
        y = low + 5 + (0 if beside else 22 * (len(parts) - 1 - number))
        axes.plot([x, x + 30], [y, y], color=color, linestyle=style, linewidth=2.2)
        axes.annotate(text, (x + 37, y), va="center", fontsize=11)
