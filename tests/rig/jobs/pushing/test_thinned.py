"""The live view beside a push: a smaller picture keeps its pixels' places (truth: a slice); a failure is told."""

import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rig.camera.source import TimedPicture
from rig.cards.read import read_set
from rig.jobs.pushing.live_push import LivePicture, LivePush, LivePushState, thinned
from rig.jobs.weighing.weights import typed_weighing
from tests.values.cards_typed import write


@pytest.mark.parametrize(
    ("shape", "step"),
    [((72, 128, 3), 2), ((108, 192), 3), ((48, 64, 3), 1), ((107, 193, 3), 4), ((107, 192, 3), 4), ((108, 193), 3)],
)
def test_every_so_many_pixels_from_the_first_one_on(shape: tuple[int, ...], step: int) -> None:
    picture = np.random.default_rng(0).integers(0, 256, shape, dtype=np.uint8)
    assert np.array_equal(thinned(picture, step), picture[::step, ::step])


def test_a_picture_that_cannot_be_looked_at_is_told_and_ends_the_looking_along(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cards = read_set(write(tmp_path))
    shown: list[LivePicture] = []
    live = LivePush(cards, typed_weighing(cards), None, show=shown.append)
    looked: list[int] = []

    def take(shot: TimedPicture) -> LivePicture:
        looked.append(shot.number)
        if shot.number == 2:
            raise ValueError("anything")
        camera.newest = shot_of(shot.number + 1)
        return LivePicture(picture=shot.picture, number=shot.number, time=shot.time, state=LivePushState.READY)

    def shot_of(number: int) -> TimedPicture:
        return TimedPicture(
            number=number, time=float(number), device_time=None, picture=np.zeros((90, 160, 3), np.uint8)
        )

    camera: Any = SimpleNamespace(newest=shot_of(1), ended=False)
    monkeypatch.setattr(live, "take", take)
    live.follow(camera, threading.Event())
    assert looked == [1, 2]
    assert [(one.number, one.state) for one in shown] == [(1, LivePushState.READY), (2, LivePushState.FAILED)]
    assert shown[-1].pose is None
    assert shown[-1].so_far is None


@pytest.mark.parametrize(
    ("said", "state"), [(None, LivePushState.KEEP_PUSHING), (object(), LivePushState.LEFT)], ids=["not yet", "said"]
)
def test_a_finger_that_left_ends_the_figure_or_is_to_go_on(tmp_path: Path, said: Any, state: LivePushState) -> None:
    """The touched point went 30 mm to the left and sprang back by 5 mm."""
    cards = read_set(write(tmp_path))
    live = LivePush(cards, typed_weighing(cards), None)
    live._touched = [np.array([0.2, y]) for y in (0.0, 0.01, 0.02, 0.03, 0.025)]
    live._home = np.array([0.2, 0.0])
    live._rows = [SimpleNamespace(number=k) for k in range(5)]  # type: ignore[misc]
    live._last = said
    track: Any = None
    assert live._said(track) is state
