"""Use case: markers stuck on the car without measuring, their places learned while the car is turned by hand."""

from pathlib import Path

import numpy as np

from rig.base.progress import Progress
from rig.cards.measures import MM, car_markers, floor_layout
from rig.cards.read import CardSet
from rig.jobs.camera.places import marker_row
from rig.jobs.measuring.lens_and_floor import stored_camera
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.camera import CAR_MARKERS, CarMarkersResult
from rig.records.content import Empty, numbers
from rig.records.record import Record
from vision.base.types import ClipCards
from vision.learning.car_learn import LearnedCar, learn_car


def learn_car_markers(
    clip: Path, cards: CardSet, log: BenchLog, *, progress: Progress | None = None
) -> tuple[LearnedCar, Record[Empty, CarMarkersResult]]:
    """Learn from a clip how the markers on the car lie to each other, and write it down.

    The car card's plate gives ids, sizes and height; its places only say roughly where the pattern sits. Where it
    sits exactly is found with a pin (`rig.jobs.camera.places.find_plate`).
    """
    floor = floor_layout(cards.bench)
    plate = car_markers(cards.car, dictionary=floor.dictionary)
    found = learn_car(clip, ClipCards(floor=floor, car=plate, camera=stored_camera(cards, log)), progress=progress)
    record = log.record(
        CAR_MARKERS,
        cards.car.name,
        inputs=Empty(),
        result=CarMarkersResult(
            markers=tuple(marker_row(m, cards.car.plate.bar_mm) for m in found.car.markers),
            place_u_mm=numbers(found.place_u / MM),
            turn_u_deg=numbers(np.degrees(found.turn_u)),
            turned_deg=float(np.degrees(found.turned)),
            pictures=found.frames,
            scatter_mm=found.scatter / MM,
            size_error_pct=100 * found.size_error,
            size_error_u_pct=100 * found.size_error_u,
            warnings=found.warnings,
        ),
        cards=keep_cards(log, cards),
        files=[log.add_file("clip", clip)],
    )
    return found, record
