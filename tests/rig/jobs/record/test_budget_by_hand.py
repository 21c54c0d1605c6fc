"""Where the uncertainty of a measured pivot comes from, part by part.

Truth: turn per travel written down once more, and its differences instead of its derivative.
"""

import math
from collections.abc import Callable

import msgspec
import numpy as np
import pytest

from rig.jobs.record.experiments import measured_budget
from rig.lookups.track_file import KeptTrack
from rig.records.pushing import PushRow
from tests.rig.jobs.synthetic_pushes import LENGTH, cards
from tests.whole_records import completed

FRAMES = 12
START, END = np.array([0.3, -0.1, 0.7]), np.array([0.31, -0.03, 0.95])


def turn_per_travel(start: np.ndarray, end: np.ndarray, length: float = LENGTH) -> float:
    """2 sin(turn / 2) over the way of the mid-wheelbase point across the mean heading."""
    ahead = [pose[:2] + length / 2 * np.array([math.cos(pose[2]), math.sin(pose[2])]) for pose in (start, end)]
    mean = (start[2] + end[2]) / 2
    way = float((ahead[1] - ahead[0]) @ [-math.sin(mean), math.cos(mean)])
    return 2 * math.sin((end[2] - start[2]) / 2) / way


def slope(of: Callable[[float], float]) -> float:
    return (of(1e-6) - of(-1e-6)) / 2e-6


def test_every_cause_is_carried_through_at_the_rests_it_was_averaged_over() -> None:
    """Four pictures before, three after, two left over at either end that do not count."""
    rng = np.random.default_rng(3)
    time = np.arange(FRAMES) / 10
    pose = np.where(np.arange(FRAMES)[:, None] < 6, START, END)
    shared, repeating = 1e-4 * rng.normal(size=(4, FRAMES, 3)), np.zeros((FRAMES, 3, 3))
    repeating[:6] = np.diag([1e-9, 4e-9, 9e-9])
    repeating[6:] = np.diag([2e-9, 3e-9, 5e-9])
    track = KeptTrack(
        time=time,
        pose=pose,
        covariance=np.zeros((FRAMES, 3, 3)),
        repeating=repeating,
        shared=shared,
        shared_names=("place of sheet 1", "camera", "place of sheet 2", "height"),
    )
    of, kappa, whole = cards(), turn_per_travel(START, END), 0.2
    plain = completed(
        "push",
        {},
        {
            "pushes": [
                {
                    "pivot": {"kappa_per_m": kappa, "kappa_u_per_m": whole},
                    "start_s": 0.5,
                    "end_s": 0.6,
                    "start_pose": START.tolist(),
                    "end_pose": END.tolist(),
                    "rest_frames": [4, 3],
                }
            ]
        },
    )[1]["pushes"][0]
    row = msgspec.convert(plain | {"wind_up": 0.004}, PushRow)
    found = {part.name: part for part in measured_budget(track, of, row)}
    before, after = [2, 3, 4, 5], [6, 7, 8]

    def effect(cause: int) -> float:
        moves = [shared[cause, frames].mean(axis=0) for frames in (before, after)]
        return slope(lambda by: turn_per_travel(START + by * moves[0], END + by * moves[1]))

    def own(end: int, axis: int) -> float:
        step = np.eye(3)[axis]
        return slope(lambda by: turn_per_travel(START + by * step * (end == 0), END + by * step * (end == 1)))

    wanted = {
        "place of sheet": math.hypot(effect(0), effect(2)),
        "camera": abs(effect(1)),
        "height": abs(effect(3)),
        # of the product with the wheelbase, which is what a pivot in per cent goes by
        "wheelbase": 0.5e-3 * abs(slope(lambda by: (LENGTH + by) * turn_per_travel(START, END, LENGTH + by))) / LENGTH,
        "what repeats from picture to picture": math.sqrt(
            sum(own(0, axis) ** 2 * u2 for axis, u2 in enumerate((1e-9, 4e-9, 9e-9)))
            + sum(own(1, axis) ** 2 * u2 for axis, u2 in enumerate((2e-9, 3e-9, 5e-9)))
        ),
        "the tyres' wind-up": 0.004 * abs(kappa),
    }
    wanted["scatter of the poses at rest"] = math.sqrt(whole**2 - sum(u**2 for u in wanted.values()))
    assert set(found) == set(wanted)
    for name, u in wanted.items():
        assert found[name].u == pytest.approx(u, rel=1e-4), name
        assert found[name].share == pytest.approx(u**2 / whole**2, rel=1e-3), name
    assert [part.share for part in measured_budget(track, of, row)] == sorted(
        (part.share for part in found.values()), reverse=True
    )
    # between poses under load: the pictures of those moments, both ends of them included
    loaded = msgspec.structs.replace(row, pivot_from_s=((0.3, 0.4), (0.8, 1.0)), wind_up=None)
    before, after = [3, 4], [8, 9, 10]
    again = {part.name: part.u for part in measured_budget(track, of, loaded)}
    assert again["camera"] == pytest.approx(abs(effect(1)), rel=1e-4)
    assert "the tyres' wind-up" not in again
