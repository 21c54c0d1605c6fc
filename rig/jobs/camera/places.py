"""Where floor sheets and marker plate really lie, found from clips and written down."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from rig.base.progress import Progress
from rig.cards.measures import BAR_MM, MM, car_markers, floor_layout
from rig.cards.read import CardSet
from rig.jobs.measuring.lens_and_floor import stored_camera
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.camera import FLOOR_LAYOUT, PLATE_PLACE, FloorResult, MarkerRow, PlateInputs, PlateResult
from rig.records.content import Empty, pair
from rig.records.record import Record
from vision.base.types import ClipCards, Marker
from vision.learning.floor_learn import LearnedLayout, learn_layout
from vision.learning.plate import PinTurn, PlatePlace, locate_plate
from vision.tracking.track import track_clip


def learn_floor(
    clip: Path, cards: CardSet, log: BenchLog, *, progress: Progress | None = None
) -> tuple[LearnedLayout, Record[Empty, FloorResult]]:
    """Find from a clip where sheets lie that were put down without measuring."""
    learned = learn_layout(clip, floor_layout(cards.bench), camera=stored_camera(cards, log), progress=progress)
    record = log.record(
        FLOOR_LAYOUT,
        cards.bench.name,
        inputs=Empty(),
        result=FloorResult(
            markers=tuple(marker_row(m, cards.bench.floor.bar_mm, sheet=m.sheet) for m in learned.floor.markers),
            place_u_mm=learned.floor.place_u * 1e3,
            noise_px=learned.noise,
            views=learned.views,
        ),
        cards=keep_cards(log, cards),
        files=[log.add_file("clip", clip)],
    )
    return learned, record


def marker_row(marker: Marker, bar_mm: float, *, sheet: str | None = None) -> MarkerRow:
    """A marker as it stands on its card: the card has sizes as designed, and beside them what the check bar became."""
    return MarkerRow(
        id=marker.id,
        size_mm=marker.size / MM * BAR_MM / bar_mm,
        x_mm=marker.x / MM,
        y_mm=marker.y / MM,
        turn_deg=float(np.degrees(marker.turn)),
        sheet=sheet,
    )


def find_plate(
    cards: CardSet, log: BenchLog, turns: Sequence[tuple[Path, float, float]], *, progress: Progress | None = None
) -> tuple[PlatePlace, Record[PlateInputs, PlateResult]]:
    """Where the marker plate sits, from clips of the car turned by hand about a pin.

    turns: (clip, mm ahead of the rear axle, mm left of the middle) of each pin, two or more.
    """
    floor = floor_layout(cards.bench)
    car, camera = car_markers(cards.car, dictionary=floor.dictionary), stored_camera(cards, log)
    tracked = []
    for number, (clip, x, y) in enumerate(turns):
        track = track_clip(clip, ClipCards(floor=floor, car=car, camera=camera))
        tracked.append(PinTurn(track=track, x=x * MM, y=y * MM))
        if progress is not None:
            progress((number + 1) / len(turns))
    found = locate_plate(tracked, car)
    record = log.record(
        PLATE_PLACE,
        cards.car.name,
        inputs=PlateInputs(pins_mm=tuple((x, y) for _, x, y in turns)),
        result=PlateResult(
            shift_mm=pair(found.shift / MM),
            turn_deg=float(np.degrees(found.turn)),
            place_mm_u=found.car.place_u / MM,
            turn_deg_u=float(np.degrees(found.car.turn_u)),
            pin_distance_error_mm=found.distance_error / MM,
            warnings=found.warnings,
            markers=tuple(marker_row(m, cards.car.plate.bar_mm) for m in found.car.markers),
        ),
        cards=keep_cards(log, cards),
        files=[log.add_file("clip", clip) for clip, _, _ in turns],
    )
    return found, record
