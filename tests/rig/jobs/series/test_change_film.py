"""What the first picture and the film of a push are given: every field, from a push that went to the right.

Ways by hand: a point of the car goes where the rigid car takes it, told across the mean of both headings.
"""

import math
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from analysis.balance.results import MeasuredBalance, NoseAndTail, Saw
from rig.cards.read import CardSet
from rig.jobs.pushing.balance import ByWeights, PushAnswer
from rig.jobs.series.change_film import drawn_car, filmed_push, way_across
from rig.log.store import BenchLog
from rig.lookups.sources import MissingSourceError
from rig.lookups.track_file import SeenFrom
from tests.rig.jobs.synthetic_pushes import LENGTH, cards, measured, pushed_track
from tests.rig.jobs.synthetic_pushes import pushed as pushed_so

near = pytest.approx
BALANCE = MeasuredBalance(pushed_pct=70.0, kappa=3.0, wheelbase=LENGTH, pct=56.0, u=0.8, interval_pct=(54.0, 57.0))
ANSWER = PushAnswer(
    number=1,
    pushed_pct=70.0,
    side=1,
    blocked=(True, True),
    wheelbase=LENGTH,
    saw=NoseAndTail(saw=Saw.NOSE_LED, nose_mm=61.0, tail_mm=22.0, side=-1, ratio=0.47, interval=(0.44, 0.5)),
    end=(0.01, -0.04, -0.15),
    balance=BALANCE,
    by_weights=ByWeights(pct=53.0, u=1.4, interval_pct=(50.1, 55.8)),
)


def with_body() -> CardSet:
    of = cards()
    sizes = {"body_front_mm": 70.0, "body_rear_mm": 43.0, "body_width_mm": 180.0}
    geometry = msgspec.structs.replace(of.car.geometry, **sizes)
    plate = msgspec.structs.replace(of.car.plate, height_mm=63.0)
    return replace(of, car=msgspec.structs.replace(of.car, geometry=geometry, plate=plate))


def holds(found: object, **wanted: Any) -> None:
    """These fields, and no others, are as wanted."""
    assert {field.name for field in fields(found)} == set(wanted)  # type: ignore[arg-type]
    for name, hand in wanted.items():
        value = getattr(found, name)
        if isinstance(hand, np.ndarray | list):
            np.testing.assert_allclose(value, hand, rtol=1e-9, atol=1e-12, err_msg=name)
        else:
            assert value == hand, name


def test_a_push_as_the_first_picture_shows_it() -> None:
    wanted: dict[str, Any] = {
        "title": "soft",
        "wheelbase": near(0.257),
        "body": near((0.070, 0.043, 0.180)),
        "contact_place": [[0.257, 0.0825], [0.257, -0.0825], [0.0, 0.0825], [0.0, -0.0825]],
        "end": [0.01, -0.04, -0.15],
        "push": [0.7 * 0.257, 0.09],  # it went to the right, so it was touched on the left
        "side": -1,
        "nose_mm": 61.0,
        "tail_mm": 22.0,
        "balance": near((0.56 * 0.257, 0.015 * 0.257)),
        "forecast": near(0.53 * 0.257),
    }
    holds(drawn_car(with_body(), ANSWER, "soft"), **wanted)
    bare = replace(ANSWER, balance=replace(BALANCE, pct=None, interval_pct=None), by_weights=None)
    holds(drawn_car(with_body(), bare, "soft"), **wanted | {"balance": None, "forecast": None})


@pytest.mark.parametrize("side", [1, -1])
def test_ways_are_told_across_the_mean_heading(side: int) -> None:
    turn = 0.3 * side
    pose = np.array([[0.0, 0.0, 0.0], [0.02, 0.05 * side, turn]])
    tip = np.array([0.02 + 0.2 * math.cos(turn), 0.05 * side + 0.2 * math.sin(turn)]) - [0.2, 0.0]
    across = np.array([-math.sin(turn / 2), math.cos(turn / 2)])
    np.testing.assert_allclose(way_across(pose, 0.2, side=side), [0.0, side * float(tip @ across)], atol=1e-12)
    assert way_across(pose, 0.2, side=side)[1] > 0.05


def test_a_push_as_the_film_shows_it(tmp_path: Path) -> None:
    of, clip = with_body(), tmp_path / "clip.avi"
    clip.write_bytes(b"no pictures")
    seen = SeenFrom(
        time=np.array([0.5]),
        rotation=np.diag([1.0, -1.0, -1.0])[None],
        place=np.array([[0.1, 0.2, 0.9]]),
        picture_time=np.array([0.0, 0.04, 0.09]),
    )
    track, push = replace(pushed_track(0.061, 0.022, side=-1), seen_from=seen), pushed_so(0.061, 0.022, side=-1)
    with BenchLog(tmp_path / "log") as log:
        found = filmed_push(measured(log, of, push, clip=clip, track=track), ANSWER, of, log, ("one", "two"))
        old = measured(log, of, push, clip=clip, track=replace(track, seen_from=None))
        with pytest.raises(MissingSourceError, match="earlier version"):
            filmed_push(old, ANSWER, of, log, ())
        gone = measured(log, of, push, clip=clip, track=track)
        clip.unlink()
        with pytest.raises(MissingSourceError, match="the clip is no longer there"):
            filmed_push(gone, ANSWER, of, log, ())
    assert (found.clip, found.captions) == (clip.absolute(), ("one", "two"))
    assert (found.onset, found.end, found.wheelbase) == (push.start_time, push.end_time, near(0.257))
    assert (found.balance, found.forecast, found.height) == (near(0.56 * 0.257), near(0.53 * 0.257), near(0.063))
    for name in ("time", "pose"):
        np.testing.assert_array_equal(getattr(found, name), getattr(track, name))
    for name in ("time", "rotation", "place"):
        np.testing.assert_array_equal(getattr(found.view, name), getattr(seen, name))
    np.testing.assert_array_equal(found.picture_time, seen.picture_time)
    np.testing.assert_array_equal(found.start_pose, push.start_pose)
    # at the end the axles have gone as far as this push was made to go
    assert (found.nose[-10:].mean(), found.tail[-10:].mean()) == near((0.061, 0.022), abs=5e-5)
    assert (np.ptp(found.outline[:, 0]), np.ptp(found.outline[:, 1])) == near((0.370, 0.180))
    assert found.outline[:, 0].min() == near(-0.043)
