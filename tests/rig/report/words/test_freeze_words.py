"""A frozen moment in words and for programs: where the ballast goes, and whose share it does not bring. By hand."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.base.gravity import STANDARD_GRAVITY as G
from analysis.statistics.drawn import WithRange
from rig.report.words.moving.freeze import freeze_json, freeze_lines, freeze_rows, landed_line, sensitivity_lines


def known(value: float, half: float) -> WithRange:
    return WithRange(value=np.array(value), interval=np.array([value - half, value + half]), lost=np.array(0.0))


def frozen(
    ax: float,
    ay: float,
    place: tuple[float, float],
    over: tuple[float, float],
    *,
    reached: bool = False,
    offered: bool = True,
) -> Any:
    """A phase at so many g, its ballast at a place in mm, and what it leaves over in points."""
    return SimpleNamespace(
        phase=SimpleNamespace(name="hold", ax=ax * G, ay=ay * G),
        wanted=known(57.2, 1.3),
        ballast=SimpleNamespace(
            place=(place[0] / 1000, place[1] / 1000),
            front=0.561,
            left_over=(over[0] / 100, over[1] / 100),
            reached=reached,
        ),
        on_move=known(48.4, 2.1),
        at_rest=known(53.6, 1.7),
        sideways=known(-0.8, 1.1),
        offered=offered,
    )


BRAKES = frozen(-0.25, 0.0, (214.0, 0.2), (0.0, 3.0), reached=True)
TURNS = frozen(0.05, 0.5, (-31.0, 22.0), (1.1, -2.4))
LEANS = frozen(0.05, -0.5, (120.0, -47.0), (0.01, 2.4))
FORE = frozen(0.05, 0.5, (290.0, 0.0), (-0.9, 7.0), offered=False)
BEGIN = "the front axle carries 57.2 ± 1.3 % then; 90 g at"
THEN = "  pushed like that, the balance point should be at 53.6 ± 1.7 %; on the move it is at 48.4 ± 2.1 %"


def test_where_the_ballast_goes_and_what_it_does_not_bring() -> None:
    """A share of the left side that nobody set is not left over; where it is set, what the body's width takes is."""
    assert freeze_lines([BRAKES, TURNS, LEANS, FORE], 90.0)[:-1] == [
        f"hold (-0.25 g ahead, +0.00 g left): {BEGIN} 214 mm ahead of the rear axle do that at rest: 56.1 %, nothing "
        "is left over",
        THEN,
        f"hold (+0.05 g ahead, +0.50 g left): {BEGIN} 31 mm behind the rear axle and 22 mm left of the middle do that "
        "at rest: 56.1 %, it cannot go further, so +1.1 points of the front axle's share and -2.4 points of the left "
        "side's share are left over",
        THEN,
        f"hold (+0.05 g ahead, -0.50 g left): {BEGIN} 120 mm ahead of the rear axle and 47 mm right of the middle do "
        "that at rest: 56.1 %, it cannot go further, so +2.4 points of the left side's share are left over",
        THEN,
        "hold: not frozen sideways: the load that moves across shifts the balance point by −0.8 ± 1.1 points, and a "
        "push shows 0.5. Fore and aft:",
        f"hold (+0.05 g ahead, +0.50 g left): {BEGIN} 290 mm ahead of the rear axle do that at rest: 56.1 %, it cannot "
        "go further, so -0.9 points of the front axle's share are left over",
        THEN,
    ]
    told = ("57.2 ± 1.3 %", "53.6 ± 1.7 %", "48.4 ± 2.1 %")
    assert freeze_rows([BRAKES, TURNS, LEANS, FORE]) == [
        (name, told[0], place, over, *told[1:])
        for name, place, over in (
            ("hold", "214 mm ahead of the rear axle", "nothing"),
            ("hold", "31 mm behind the rear axle, 22 mm left of the middle", "+1.1 points, -2.4 points (left side's)"),
            ("hold", "120 mm ahead of the rear axle, 47 mm right of the middle", "+2.4 points (left side's)"),
            ("hold (fore and aft)", "290 mm ahead of the rear axle", "-0.9 points"),
        )
    ]


def test_a_pushed_moment_beside_what_was_said_and_for_programs() -> None:
    verdict: Any = SimpleNamespace(
        by_pushes=SimpleNamespace(words="two pushes say 55.0 ± 0.9 %", pct=55.0, count=2),
        gap=known(1.4, 1.9),
        agrees=True,
    )
    begin = "two pushes say 55.0 ± 0.9 %, +1.4 ± 1.9 points from there: the balance "
    assert landed_line(verdict) == f"{begin}lands where the region says"
    verdict.agrees = False
    assert landed_line(verdict) == (
        f"{begin}does not land where the region says: look at height, grip and load sensitivity on the cards"
    )
    row = freeze_json([TURNS, BRAKES, FORE], verdict)
    assert row["pushed"] == {
        "pct": 55.0,
        "count": 2,
        "gap_points": 1.4,
        "gap_interval_points": [1.4 - 1.9, 1.4 + 1.9],
        "agrees": False,
    }
    first, *others = row["phases"]
    assert first == {
        "name": "hold",
        "front_pct": 57.2,
        "front_interval_pct": [57.2 - 1.3, 57.2 + 1.3],
        "ballast_mm": pytest.approx([-31.0, 22.0]),
        "frozen_front_pct": pytest.approx(56.1),
        "left_over_points": pytest.approx([1.1, -2.4]),
        "reached": False,
        "balance_on_the_move_pct": 48.4,
        "balance_on_the_move_interval_pct": [48.4 - 2.1, 48.4 + 2.1],
        "balance_at_rest_pct": 53.6,
        "balance_at_rest_interval_pct": [53.6 - 1.7, 53.6 + 1.7],
        "sideways_points": -0.8,
        "sideways_interval_points": [-0.8 - 1.1, -0.8 + 1.1],
        "frozen_sideways": True,
    }
    assert [one["frozen_sideways"] for one in others] == [False, False]
    assert "pushed" not in freeze_json([TURNS], None)


def test_load_sensitivity_and_whether_it_is_any() -> None:
    found: Any = SimpleNamespace(
        q=SimpleNamespace(value=0.14, interval=(0.08, 0.20)), count=4, from_none=True, widened=False, scatter=1.0
    )
    assert sensitivity_lines(found, "states") == ["load sensitivity 0.14 ± 0.06 from 4 states"]
    found.from_none, found.widened, found.scatter = False, True, 2.34
    assert sensitivity_lines(found, "pulls") == [
        "load sensitivity 0.14 ± 0.06 from 4 pulls",
        "it cannot be told from none: tyres whose grip does not change with load would have shown the same",
        "the states scatter 2.3 times as much as their ± says, which is in the interval",
    ]
