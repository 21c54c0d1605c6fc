"""Each stage of the sliding solver does its own share: a fault in a quick one must not hide behind the surer ones.

The answers are proved elsewhere; here it is counted how many random cars a stage leaves to the next. The limits are
twice to three times what several seeds showed (our own measure, no source).
"""

from typing import Any

import numpy as np
import pytest

from analysis.sliding import LoadTransfer, solve, solve_push

from ..analysis.sliding.sliding_cars import contacts_of, finger_of, random_cars


@pytest.mark.parametrize("kind", ["rolling", "sticking"])
@pytest.mark.parametrize(("drag", "height"), [((1.0, 1.0), 0.0), ((0.3, 1.0), 0.015), ((0.01, 0.05), 0.0)])
def test_few_cars_need_the_next_stage(
    monkeypatch: pytest.MonkeyPatch, kind: Any, drag: tuple[float, float], height: float
) -> None:
    smooth, surely = solve.smooth, solve._surely
    started, refined, slow = [0], [0], [0]

    def counted_smooth(frame: Any, *more: Any) -> Any:
        (refined if more else started)[0] += frame.numbers.size
        return smooth(frame, *more)

    def counted_surely(task: Any) -> Any:
        slow[0] += len(task.direction)
        return surely(task)

    monkeypatch.setattr(solve, "smooth", counted_smooth)
    monkeypatch.setattr(solve, "_surely", counted_surely)

    cars = random_cars(200, np.random.default_rng(31), drag=drag)
    lean = LoadTransfer(track_front=cars["track"], track_rear=cars["track"]) if height else None
    motion = solve_push(contacts_of(cars), finger_of(cars, kind, height=height), transfer=lean)
    assert np.all(motion.certified)
    assert started[0] == 200
    assert refined[0] <= 60  # rounding finer at the end
    assert slow[0] <= 6  # the interior-point method
