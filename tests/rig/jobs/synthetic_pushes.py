"""Pushes without pictures: cards, poses of a push whose nose and tail are known, and the records of its clip."""

import math
from pathlib import Path

import numpy as np

from analysis.measured.pushes import MeasuredPush
from analysis.measured.speeds import SPEEDS
from analysis.measured.wind_up import TURNS
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard
from rig.cards.read import CardSet, parse_card
from rig.cards.template import card_text
from rig.jobs.measuring.found_pushes import pushes_in
from rig.jobs.measuring.push_rows import push_record
from rig.jobs.pushing.balance import answer_push, write_answer
from rig.jobs.weighing.weights import Weighing, weigh_typed
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.lookups.track_file import KeptTrack, write_track
from rig.records.camera import CameraRow
from rig.records.pushing import PUSH, PushInputs, PushResult, TrackRow
from rig.records.record import Record

LENGTH, HALF_TRACK = 0.257, 0.0825
WEIGHTS = [420.0, 400.0, 380.0, 360.0]
CAR = {
    "name": "Dunlin",
    "geometry.wheelbase_mm": 257.0,
    "geometry.track_front_mm": 165.0,
    "geometry.track_rear_mm": 165.0,
    "plate.bar_mm": 100.0,
}


def cards(**test: object) -> CardSet:
    keys = {"name": "middle", "typed.weights_g": WEIGHTS, "push.finger_path": "stays on the car", "push.height_mm": 0.0}
    keys |= {key.replace("__", "."): value for key, value in test.items()}
    texts = {
        "car": card_text("car", CAR),
        "bench": card_text("bench", {"name": "bench", "floor.bar_mm": 100.0}),
        "test": card_text("test", keys),
    }
    return CardSet(
        test=parse_card(texts["test"], TestCard, where="test.toml"),
        car=parse_card(texts["car"], CarCard, where="car.toml"),
        bench=parse_card(texts["bench"], BenchCard, where="bench.toml"),
        texts=texts,
        folder=Path(),
    )


def pushed_track(
    nose: float,
    tail: float,
    *,
    side: int = 1,
    start: tuple[float, float, float] = (0.3, -0.1, 0.7),
    length: float = LENGTH,
) -> KeptTrack:
    """A push whose axle middles go so far, m, across the heading in the middle of the turn; noise of 10 um.

    side: +1 to the left.  length: m, wheelbase.
    """
    turn = 2 * side * math.asin((nose - tail) / (2 * length))
    # by hand, complex: the rear axle's middle goes `tail` across the mean heading
    heading = start[2] + turn / 2
    back = complex(start[0], start[1]) + side * tail * 1j * np.exp(1j * heading)
    ahead = complex(start[0], start[1]) + length * np.exp(1j * start[2])
    # the nose follows from the rigid car; along the mean heading both go alike
    assert (
        abs((back + length * np.exp(1j * (start[2] + turn)) - ahead) * np.exp(-1j * heading) - side * nose * 1j) < 1e-12
    )
    share = np.clip((np.arange(90) - 30) / 30.0, 0.0, 1.0)
    end = np.array([back.real, back.imag, start[2] + turn])
    pose = np.array(start) + share[:, None] * (end - np.array(start))
    pose = pose + np.random.default_rng(2).normal(0.0, 1e-5, pose.shape) * [1.0, 1.0, 5.0]
    return KeptTrack(
        time=np.arange(90) / 30,
        pose=pose,
        covariance=np.tile(np.diag([1e-10, 1e-10, 25e-10]), (90, 1, 1)),
        repeating=np.zeros((90, 3, 3)),
        shared=np.zeros((0, 90, 3)),
        shared_names=(),
    )


def pushed(nose: float, tail: float, *, side: int = 1) -> MeasuredPush:
    """The push of `pushed_track`, measured."""
    return pushes_in(pushed_track(nose, tail, side=side), cards()).pushes[0]


def weighed(of: CardSet, log: BenchLog) -> Weighing:
    """The weights typed on the card."""
    return weigh_typed(of, log)


def measured(
    log: BenchLog, of: CardSet, *pushes: MeasuredPush, clip: Path | None = None, track: KeptTrack | None = None
) -> Record[PushInputs, PushResult]:
    """The record of a clip with these pushes."""
    camera = CameraRow(matrix=((1.0,),), distortion=(0.0,), size=(2, 2), known=True, u=(0.0,))
    quality = TrackRow(frames_read=90, frames_left_out=0, left_out={}, camera=camera, notes=(), warnings=())
    return log.record(
        PUSH,
        of.test.name,
        inputs=PushInputs(speeds=SPEEDS, turns=TURNS),
        result=PushResult(pushes=tuple(push_record(push) for push in pushes), track=quality),
        cards=keep_cards(log, of),
        files=[
            *([log.add_file("clip", clip)] if clip is not None else []),
            *([log.add_file("track", write_track(log.folder / "tracks", track))] if track is not None else []),
        ],
    )


def recorded(log: BenchLog, of: CardSet, push: MeasuredPush, clip: Path) -> int:
    """A clip with one push, measured and answered; returns the number of its record."""
    clip.write_bytes(clip.name.encode())
    record, weights = measured(log, of, push, clip=clip), weighed(of, log)
    write_answer(log, of, answer_push(of, push, weights), push=record, weighing=weights)
    return record.number


def closed_form(kappa: float, s: float) -> float:
    """Front share of grip for a sliding finger at station s, m, of an even blocked car.

    Source: moment balance about the pole, F[(L-X)(L-s)+h2]/a + R[X s+h2]/b = 0 with X = L/2 - 1/kappa.
    """
    x, h2 = LENGTH / 2 - 1 / kappa, HALF_TRACK**2
    front = ((LENGTH - x) * (LENGTH - s) + h2) / math.hypot(LENGTH - x, HALF_TRACK)
    rear = (x * s + h2) / math.hypot(x, HALF_TRACK)
    ratio = -rear / front
    return 100 * ratio / (1 + ratio)
