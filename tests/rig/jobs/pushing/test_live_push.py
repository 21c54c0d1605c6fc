"""A push spoken along: the figure so far is that of the recorded push, and it is gone when it rests on nothing.

Truth: the recorded push of the same clip, measured and answered by another path; what was done to the pictures.
"""

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import msgspec
import numpy as np
import pytest

from analysis.balance.results import MeasuredBalance
from analysis.balance.so_far import Prepared
from rig.camera.source import TimedPicture
from rig.cards.read import CardSet, read_set
from rig.cards.template import card_text
from rig.jobs.measuring.measure import measured_clip
from rig.jobs.pushing import live_push
from rig.jobs.pushing.balance import answer_push
from rig.jobs.pushing.film import Onlookers, film_push
from rig.jobs.pushing.live_push import LATE_S, LEAST_REST, LivePicture, LivePush, LivePushState, ready_to_speak
from rig.jobs.weighing.weights import Weighing, known_weighing
from rig.log.store import BenchLog
from rig.virtual import bench, dunlin
from tests.faults.played_camera import PlayedClip
from vision.base.types import BgrImage, ClipTrack
from vision.tracking.live import LiveTracker, Sighted

pytestmark = pytest.mark.thorough


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> tuple[CardSet, Weighing, Path]:
    """Cards, weights and a short push at the middle of the car with more front grip."""
    folder = tmp_path_factory.mktemp("live")
    setup = dunlin.SETUPS[1]
    truth = dunlin.draw_truth(setup, np.random.default_rng(4))
    path = bench.write_cards(folder, setup, (50.0,))[0]
    grams = [float(round(one)) for one in truth.corner_g]
    keys = {"typed.weights_g": grams, "push.distance_mm": 40.0, "push.speed_mm_s": 45.0, "push.position_pct": 50.0}
    keys |= {
        "grip.front": 0.96,
        "grip.rear": 0.8,
        "grip.measured": True,
        "grip.ratio_u": 0.02,
        "push.wheels": "blocked",
    }
    path.write_text(card_text("test", keys | {"car": read_set(path).test.car, "bench": read_set(path).test.bench}))
    cards = read_set(path)
    bench.film_virtual_push(cards, truth, folder / "push.avi", seed=7)
    with BenchLog(folder / "log") as log:
        return cards, known_weighing(cards, log), folder / "push.avi"


@pytest.fixture(scope="module")
def prepared(filmed: tuple[CardSet, Weighing, Path]) -> Prepared:
    """What is worked out before the push."""
    found = ready_to_speak(filmed[0], filmed[1])
    assert found is not None
    return found


@pytest.fixture(scope="module")
def balance(filmed: tuple[CardSet, Weighing, Path]) -> MeasuredBalance:
    """What the recorded push says."""
    cards, weighing, clip = filmed
    measured = measured_clip(clip, cards)
    answer = answer_push(cards, measured.pushes[0], weighing, track=measured.kept)
    assert answer.balance is not None
    assert answer.balance.pct is not None
    assert answer.balance.interval_pct is not None
    return answer.balance


def pictures(clip: Path, every: int = 1) -> Iterator[tuple[int, float, BgrImage]]:
    """Number, time (s) and picture of every so-manieth frame."""
    capture = cv2.VideoCapture(str(clip))
    number = 0
    while (read := capture.read())[0]:
        if number % every == 0:
            yield number, capture.get(cv2.CAP_PROP_POS_MSEC) / 1000 + 1.0, np.asarray(read[1], np.uint8)
        number += 1


def shot(number: int, at: float, picture: BgrImage) -> TimedPicture:
    return TimedPicture(number=number, time=time.monotonic(), device_time=at, picture=picture)


def test_what_is_said_along_is_what_the_recorded_push_says(
    filmed: tuple[CardSet, Weighing, Path],
    prepared: Prepared,
    balance: MeasuredBalance,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    looked: list[list[int]] = []

    class Watched(LiveTracker):
        def poses(self, rows: list[Sighted]) -> ClipTrack | None:
            looked.append([one.number for one in rows])
            return super().poses(rows)

    monkeypatch.setattr(live_push, "LiveTracker", Watched)
    cards, weighing, clip = filmed
    live = LivePush(cards, weighing, prepared, clock=lambda: 0.0)  # never late, however busy this machine is
    seen = [live.take(shot(*one)) for one in pictures(clip)]
    begun = next(one.number for one in seen if one.state is LivePushState.KEEP_PUSHING)
    while_pushed = [numbers for numbers in looked if numbers[-1] > begun]
    assert while_pushed
    for numbers in while_pushed:  # with the rest just before the push, which says what noise there is now
        assert numbers[:LEAST_REST] == list(range(begun - LEAST_REST, begun))
    states = list(dict.fromkeys(one.state for one in seen))
    assert states[:4] == [
        LivePushState.GETTING_READY,
        LivePushState.READY,
        LivePushState.KEEP_PUSHING,
        LivePushState.SAID,
    ]
    assert all((one.so_far is not None) == one.state.figure for one in seen)
    said = [one.so_far for one in seen if one.so_far is not None]
    last = said[-1]
    assert last.pct == pytest.approx(balance.pct, abs=0.25)
    assert np.ptp(last.interval_pct) == pytest.approx(np.ptp(balance.interval_pct), rel=0.2)
    for one in said:  # nor did it say another thing at the beginning
        assert one.interval_pct[0] - 0.3 < balance.pct < one.interval_pct[1] + 0.3


def test_nothing_is_said_without_markers_sheets_a_still_camera_or_in_time(
    filmed: tuple[CardSet, Weighing, Path], prepared: Prepared
) -> None:
    """One push, spoilt in one way after the other; in between the figure comes back, but not after the camera moved."""
    cards, weighing, clip = filmed
    late, came = 0.0, 0.0
    live = LivePush(cards, weighing, prepared, clock=lambda: came + late)  # however busy this machine is
    told: list[LivePicture] = []
    said_at: int | None = None
    for number, at, picture in pictures(clip):
        since = None if said_at is None else number - said_at
        height, width = picture.shape[:2]
        late = 2 * LATE_S if since == 9 else 0.0
        if since in (3, 4):  # a hand over the car
            picture[height // 4 : 3 * height // 4, width // 3 : 2 * width // 3] = 90
        elif since is not None and since >= 14:  # somebody knocks at the camera
            picture = np.roll(picture, 5, axis=1)
        one = shot(number, at, picture)
        came = one.time
        told.append(live.take(one))
        if said_at is None and told[-1].state is LivePushState.SAID:
            said_at = number
        if since is not None and since >= 24:
            break
    assert said_at is not None
    after = [one.state for one in told[-25:]]
    assert [after[3], after[4]] == [LivePushState.CAR_LOST] * 2
    assert after[6] is LivePushState.SAID
    assert after[9] is LivePushState.LATE
    assert after[10] is LivePushState.SAID
    assert after[-4:] == [LivePushState.CAMERA_MOVED] * 4
    assert all(one.so_far is None for one in told if not one.state.figure)


def test_the_picture_is_believed_against_a_card_that_names_the_other_side(
    filmed: tuple[CardSet, Weighing, Path], balance: MeasuredBalance
) -> None:
    cards, weighing, clip = filmed
    other = "left" if cards.test.push.side == "right" else "right"
    test = msgspec.structs.replace(cards.test, push=msgspec.structs.replace(cards.test.push, side=other))
    told = replace(cards, test=test)
    live = LivePush(told, weighing, ready_to_speak(told, weighing), clock=lambda: 0.0)
    last = [live.take(shot(*one)) for one in pictures(clip, every=2)][-1].so_far
    assert last is not None
    assert balance.pct is not None
    assert last.pct == pytest.approx(balance.pct, abs=0.25)


def test_it_speaks_along_while_a_camera_films(
    filmed: tuple[CardSet, Weighing, Path], prepared: Prepared, tmp_path: Path
) -> None:
    """A clip played at its own pace: pictures are drawn as they come, and the film is kept as without it."""
    cards, weighing, clip = filmed
    shown: list[LivePicture] = []
    live = LivePush(cards, weighing, prepared, show=shown.append)
    kept = film_push(cards, tmp_path, Onlookers(say=lambda look: None, along=live), opener=lambda _: PlayedClip(clip))
    assert kept.clip.is_file()
    assert any(one.state.figure for one in shown)
    assert [one.number for one in shown] == sorted({one.number for one in shown})
