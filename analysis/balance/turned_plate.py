"""Whether the plate sits the way round that the car card says, and the finger on the side that the test card says.

A plate put on back to front shows a car that runs towards the finger; so does a test card with left and right
exchanged. Which of the two it is, the rest of the clip tells: which way the car stood between the floor sheets, which
end led, where the finger's own marker was seen. Every single mistake is held against "all as on the cards" by the
likelihood of these; the likeliest is named, with the pivot as it would then be.
"""

import math
from dataclasses import dataclass
from enum import Enum

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.plane import rotation, slide_parts
from analysis.base.signs import true_minus
from analysis.measured.pushes import MeasuredPush
from analysis.statistics.odds import LARGEST_ODDS, odds_words
from analysis.statistics.quantiles import normal_share

SQUARE_U = math.radians(12.0)
"""rad: the way of what the finger takes with it against square to the car, standard, pushes by hand."""
ALONG_SHEETS_U = math.radians(15.0)
"""rad: how the car stands before the push against the floor's x axis, standard, where somebody set it that way."""
BALANCE_PCT, BALANCE_U_PCT = 50.0, 8.0
"""Where a car balances of which nothing else is known."""
ANYHOW = 0.02
"""Share of pushes that follow no rule (as density: over all directions alike)."""
STANDS_REVERSED, STANDS_ANYHOW = 0.12, 0.08
"""Share of clips in which the car stands with its nose at the rear sheet, and of those in which it stands anyhow."""
MARKER_U_PCT = 3.0
"""Points: place on the card against place by the finger's marker, standard."""
NAMED_FROM = 3.0
"""Odds, to 1, against "all as on the cards" from which a mistake is named."""


class PlateAndFinger(Enum):
    """A single mistake of a set-up, and how often it happens beside right ones (by judgement, no source)."""

    RIGHT = (1.0, 0.0, 1)
    SIDE_EXCHANGED = (0.02, 0.0, -1)
    BACK_TO_FRONT = (0.01, math.pi, 1)
    QUARTER_LEFT = (0.002, math.pi / 2, 1)
    QUARTER_RIGHT = (0.002, -math.pi / 2, 1)

    @property
    def share(self) -> float:
        """Against one right set-up."""
        return self.value[0]

    @property
    def turn(self) -> float:
        """rad, by which the plate sits further to the left than the card says."""
        return self.value[1]

    @property
    def side(self) -> int:
        """-1 where the finger was on the other side than the card says."""
        return self.value[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedPush:
    """What the cards say of a push.

    touched: (2,) m, car axes.  side: +1 pushed to the left.  plate: (2,) m, the plate's middle.  wheelbase: m.
    by_sheets: whether the floor's x axis is the way that the car points.  balance_pct, balance_u_pct: where it is
    known.  marker_pct: where the finger's own marker was seen by the poses, None without one.
    """

    touched: FloatArray
    side: int
    plate: FloatArray
    wheelbase: float
    by_sheets: bool = True
    balance_pct: float = BALANCE_PCT
    balance_u_pct: float = BALANCE_U_PCT
    marker_pct: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyPlacing:
    """setup: the likeliest, RIGHT where nothing speaks against the cards.  odds: to 1, against the cards being right.
    other, other_odds: the next mistake, and odds of the likeliest against it.
    station_pct: where the pivot would be then, None where the car did not turn enough to have one.
    goes: +1 when the car goes to what the cards have as its left, -1 to its right.
    along: whether the touched place goes along the car of the cards rather than across.
    """

    setup: PlateAndFinger
    odds: float
    other: PlateAndFinger
    other_odds: float
    station_pct: float | None
    goes: int
    along: bool


def likely_setup(push: MeasuredPush, stated: StatedPush) -> LikelyPlacing:
    """The likeliest way in which plate and finger were placed, from one push as it was measured by the cards."""
    weight = {setup: setup.share * _likelihood(setup, push, stated) for setup in PlateAndFinger}
    ranked = sorted(weight, key=lambda setup: -weight[setup])
    odds = min(weight[ranked[0]] / max(weight[PlateAndFinger.RIGHT], 1e-300), LARGEST_ODDS)
    best = ranked[0] if odds >= NAMED_FROM else PlateAndFinger.RIGHT
    mistakes = [setup for setup in ranked if setup not in (best, PlateAndFinger.RIGHT)]
    way = _way(push, PlateAndFinger.RIGHT, stated.touched, stated)
    kappa = _turn_per_travel(push, best, stated)
    named = push.estimate.station_pct is not None or push.pole is not None
    station = 100.0 * (0.5 - 1.0 / (kappa * stated.wheelbase)) if named and kappa else None
    return LikelyPlacing(
        setup=best,
        odds=odds,
        other=mistakes[0],
        other_odds=min(weight[best] / max(weight[mistakes[0]], 1e-300), LARGEST_ODDS),
        station_pct=station,
        goes=1 if way[1] >= 0.0 else -1,
        along=abs(way[0]) > abs(way[1]),
    )


def _way(push: MeasuredPush, setup: PlateAndFinger, point: FloatArray, stated: StatedPush) -> FloatArray:
    """(2,) m, forward and to the left, how a point (2,) of the car as it then is goes, along the middle heading."""
    turned = rotation(setup.turn)
    by_card = stated.plate + turned.T @ (point - stated.plate)
    forward, sideways, chord = (float(part) for part in slide_parts(push.start_pose, push.end_pose))
    way: FloatArray = turned @ np.array([forward - chord * by_card[1], sideways + chord * by_card[0]])
    return way


def _turn_per_travel(push: MeasuredPush, setup: PlateAndFinger, stated: StatedPush) -> float:
    """1/m."""
    chord = float(slide_parts(push.start_pose, push.end_pose)[2])
    travel = float(_way(push, setup, np.array([stated.wheelbase / 2.0, 0.0]), stated)[1])
    return chord / travel if travel else math.copysign(math.inf, chord)


def _likelihood(setup: PlateAndFinger, push: MeasuredPush, stated: StatedPush) -> float:
    side = stated.side * setup.side
    found = ANYHOW / (2.0 * math.pi)
    # a finger that sticks takes the touched point straight with it; along one that slips or rolls the car's side runs
    # as it turns, and what goes square is the middle line beside it
    for y in (0.0, float(stated.touched[1]) * setup.side):
        way = _way(push, setup, np.array([stated.touched[0], y]), stated)
        found += 0.5 * (1.0 - ANYHOW) * _around(math.atan2(-way[0] * side, way[1] * side), SQUARE_U)
    if stated.by_sheets:
        heading = float(push.start_pose[2]) - setup.turn
        ahead = 1.0 - STANDS_REVERSED - STANDS_ANYHOW
        found *= (
            ahead * _around(heading, ALONG_SHEETS_U)
            + STANDS_REVERSED * _around(heading - math.pi, ALONG_SHEETS_U)
            + STANDS_ANYHOW / (2.0 * math.pi)
        )
    found *= _of_the_leading_end(setup, push, stated)
    if stated.marker_pct is not None:
        found *= _of_the_marker(setup, stated)
    return found


def _around(angle: float, u: float) -> float:
    """Density of an angle, rad, that is normal about zero; the circle's other turns are too far to matter."""
    return math.exp(-0.5 * (math.remainder(angle, 2.0 * math.pi) / u) ** 2) / (u * math.sqrt(2.0 * math.pi))


def _of_the_leading_end(setup: PlateAndFinger, push: MeasuredPush, stated: StatedPush) -> float:
    """Probability that this end led: the nose, of a car pushed ahead of its balance point."""
    ahead = 100.0 * float(stated.touched[0]) / stated.wheelbase - stated.balance_pct
    nose = float(normal_share(ahead / max(stated.balance_u_pct, 1.0)))
    estimate = push.estimate
    sure = abs(estimate.kappa) / max(estimate.kappa_u, 1e-12)
    led = float(normal_share(math.copysign(sure, _turn_per_travel(push, setup, stated))))
    return (1.0 - ANYHOW) * (led * nose + (1.0 - led) * (1.0 - nose)) + ANYHOW / 2.0


def _of_the_marker(setup: PlateAndFinger, stated: StatedPush) -> float:
    """Density of the finger marker's place, were it seen from where the plate then is."""
    if stated.marker_pct is None or abs(math.sin(setup.turn)) > 0.5:  # a quarter turn puts the finger at an end
        return ANYHOW / 100.0
    place = stated.marker_pct / 100.0 * stated.wheelbase
    if setup is PlateAndFinger.BACK_TO_FRONT:
        place = 2.0 * float(stated.plate[0]) - place
    off = 100.0 * (place - float(stated.touched[0])) / stated.wheelbase
    return 0.9 * math.exp(-0.5 * (off / MARKER_U_PCT) ** 2) / (MARKER_U_PCT * math.sqrt(2.0 * math.pi)) + 0.1 / 100.0


def setup_sentence(likely: LikelyPlacing, *, side: int, station_pct: float | None) -> str:
    """What is most probably wrong, what it would make of the answer and what to do; "" where nothing is.

    side: +1 pushed to the left by the card.  station_pct: of the pivot as measured by the cards, None without one.
    """
    if likely.setup is PlateAndFinger.RIGHT:
        return ""
    if likely.along:
        seen = "In the clip the car goes along its own axis, not sideways."
    elif likely.goes == side:
        seen = "The clip does not fit the way round in which the cards have plate and finger."
    else:
        went, touched = ("left", "right") if likely.goes > 0 else ("right", "left")
        seen = (
            f"In the clip the car goes to its {went}, so it was touched on its {touched} side; the card says the other."
        )
    return f"{seen} {_cause(likely, station_pct)}"


def _cause(likely: LikelyPlacing, station_pct: float | None) -> str:
    odds = f"odds {odds_words(likely.other_odds, exact=True)} against {_NAMES[likely.other]}"
    if likely.setup is PlateAndFinger.SIDE_EXCHANGED:
        return (
            f"Most probable: {_NAMES[likely.setup]} ({odds}). The pivot stays where it is: correct the card's side. "
            "Look at the plate, too: if it was put on the wrong way round, the pivot lies as far from its middle on "
            "the other side."
        )
    would = ""
    if likely.station_pct is not None:
        instead = "" if station_pct is None else f" instead of {_pct(station_pct)}"
        would = f" The pivot would then be at {_pct(likely.station_pct)}{instead}."
    return (
        f"Most probable: {_NAMES[likely.setup]} ({odds}).{would} Put the plate on as the card says, or correct the "
        "places of its markers on the car card, and measure the clip again."
    )


def _pct(station: float) -> str:
    return true_minus(f"{station:.0f} %")


_NAMES = {
    PlateAndFinger.SIDE_EXCHANGED: "left and right are exchanged on the test card (side)",
    PlateAndFinger.BACK_TO_FRONT: "the marker plate was put on the wrong way round, front to back (turned by 180°)",
    PlateAndFinger.QUARTER_LEFT: "the marker plate was put on turned by 90° to the left",
    PlateAndFinger.QUARTER_RIGHT: "the marker plate was put on turned by 90° to the right",
}
