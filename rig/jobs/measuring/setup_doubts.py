"""What in a clip speaks against how plate and finger were placed by the cards: one sentence, the likeliest cause; and
what else looks like a pivot that wanders."""

from collections.abc import Sequence

import numpy as np

from analysis.balance.turned_plate import StatedPush, likely_setup, setup_sentence
from analysis.measured.pushes import WANDERED, MeasuredPush
from rig.cards.measures import car_markers, wheelbase
from rig.cards.mechanics import push_state
from rig.cards.read import CardSet


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


def plate_warning(pushes: Sequence[MeasuredPush]) -> str:
    """What else than a pivot that wanders looks like one, where one is told; else empty.

    A plate that slips, or a shell that is pushed aside on its chassis, moves against the car while the car turns; a
    clip shows the plate alone.
    """
    if not any(words.startswith(WANDERED) for push in pushes for words in push.warnings):
        return ""
    return (
        "A marker plate that slips on the car, or a shell that gives way, looks like a pivot that wanders: fasten the "
        "plate to the chassis, and push again"
    )
