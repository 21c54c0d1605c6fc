"""What in a clip speaks against how plate and finger were placed by the cards: one sentence, the likeliest cause; and
what else looks like a pivot that wanders."""

from collections.abc import Sequence

import numpy as np

from analysis.balance.turned_plate import StatedPush, likely_setup, setup_sentence
from analysis.base.arrays import FloatArray
from analysis.measured.pushes import WANDERED, MeasuredPush
from rig.cards.measures import car_markers, wheelbase
from rig.cards.mechanics import push_state
from rig.cards.read import CardSet
from vision.base.windows import neighbours

TURNED_BACK = np.radians(0.4)
"""rad; rendered pushes of hand-held, compressed, noisy and jumping clips turn back by 0.2° at most."""


def setup_doubt(push: MeasuredPush, cards: CardSet) -> str:
    """The sentence, "" where nothing speaks against the cards. cards: as the person wrote them."""
    stated, length = push_state(cards.car, cards.test), wheelbase(cards.car)
    markers = car_markers(cards.car, dictionary=cards.bench.floor.dictionary).markers
    likely = likely_setup(
        push,
        StatedPush(
            touched=np.array([stated.station, stated.finger_y]),
            side=stated.side,
            plate=np.mean([[marker.x, marker.y] for marker in markers], axis=0),
            wheelbase=length,
            # Markers that a person lists may lie along any axes; the sheets that come ready have the car's way on them.
            by_sheets=not cards.bench.floor.markers,
            marker_pct=push.finger_pct,
        ),
    )
    named = push.pole is not None
    return setup_sentence(
        likely,
        side=stated.side,
        station_pct=100.0 * (0.5 - 1.0 / (push.estimate.kappa * length)) if named else None,
    )


def plate_warning(pushes: Sequence[MeasuredPush], time: FloatArray, yaw: FloatArray) -> str:
    """What else than a pivot that wanders looks like one, or that no push turns a car to and fro; else empty.

    A plate that slips, or a shell that is pushed aside on its chassis, moves against the car while the car turns; a
    clip shows the plate alone. time: (n,) s.  yaw: (n,) rad.
    """
    for push in pushes:
        back = turned_back(yaw[(time >= push.start_time) & (time <= push.end_time)] * np.sign(push.turn))
        if back > TURNED_BACK:
            return (
                f"In push {push.number} the plate turned back by {np.degrees(back):.1f}° while it was pushed on, which "
                "no push does to a car: it slipped on the car, its shell gave way, or a hand turned the car; the pivot "
                "is then wrong. Fasten the plate to the chassis, and push again"
            )
    if not any(words.startswith(WANDERED) for push in pushes for words in push.warnings):
        return ""
    return (
        "A marker plate that slips on the car, or a shell that gives way, looks like a pivot that wanders: fasten the "
        "plate to the chassis, and push again"
    )


def turned_back(yaw: FloatArray) -> float:
    """rad, the most that a car turned back on its way, single odd pictures left out. yaw: (n,) rad, of a push that
    turns it to larger ones."""
    if len(yaw) < 3:
        return 0.0
    calm = np.median(neighbours(yaw[:, None], 3), axis=-1)[:, 0]
    return float((np.maximum.accumulate(calm) - calm).max())
