"""A push that went off square is told beside its force: by the way of the middle of the wheelbase, not of an axle."""

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rig.cards.read import read_set
from rig.jobs.pushing.push_force import _warnings
from tests.values.cards_typed import write


def gone(ahead: float, left: float, turn_deg: float) -> Any:
    """A push whose middle of the wheelbase (0.26 m) went so far along the mean heading and across it, m."""
    turn = math.radians(turn_deg)
    back = left - 0.26 * math.sin(turn / 2)  # the rear axle's middle, 130 mm behind, swings the other way
    mean = 0.4 + turn / 2
    x = 0.2 + ahead * np.cos(mean) - back * np.sin(mean)
    y = 0.1 + ahead * np.sin(mean) + back * np.cos(mean)
    start, end = np.array([0.2, 0.1, 0.4]), np.array([x, y, 0.4 + turn])
    return SimpleNamespace(start_pose=start, end_pose=end, turn=turn)


@pytest.mark.parametrize(
    ("ahead", "left", "turn_deg", "said"),
    [
        # by hand: atan(5 / 30) = 9.5 degrees, atan(4 / 30) = 7.6; named from 8 on
        (0.005, 0.030, 12.0, "The car went 9 degrees off square"),
        (-0.005, -0.030, 12.0, "The car went 9 degrees off square"),
        (0.004, 0.030, 12.0, ""),
        (0.004, 0.030, -12.0, ""),
        (0.005, 0.030, -12.0, "The car went 9 degrees off square"),
        (0.005, 0.030, 16.0, ""),  # a car that turns far goes its own way
    ],
)
def test_a_push_off_square_is_told_by_the_way_of_the_middle(
    tmp_path: Path, ahead: float, left: float, turn_deg: float, said: str
) -> None:
    cards = read_set(write(tmp_path, test={"grip.measured": False}))
    recorded = SimpleNamespace(lost=0, time=np.arange(100.0))
    told = _warnings(cards, gone(ahead, left, turn_deg), SimpleNamespace(), 0.0, recorded)  # type: ignore[arg-type]
    assert len(told) == bool(said)
    assert all(one.startswith(said) for one in told)
