"""The lens that a clip was filmed through and the floor as it shows it, where cards and log leave them open."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from rig.base.progress import Progress
from rig.cards.lens import typed_lens
from rig.cards.measures import MM
from rig.cards.read import CardSet
from rig.jobs.measuring.push_rows import camera_from
from rig.log.store import BenchLog
from rig.lookups.belongs import camera_of
from rig.records.pushing import FloorMarkerRow, LearnedFloorRow
from vision.base.types import Camera, FloorLayout
from vision.learning.floor_learn import learn_layout


def laid_by_eye(
    clip: Path, floor: FloorLayout, camera: Camera | None, progress: Progress | None
) -> tuple[FloorLayout, LearnedFloorRow]:
    """The floor with its sheets where this clip shows them, and what was found for the log.

    The uncertainty handed on is three times the one found: the tracking judges the places by the same pictures
    once more, and what counts twice must not look twice as sure.
    """
    learned = learn_layout(clip, floor, camera=camera, progress=progress)
    spans = [
        float(np.linalg.norm(np.ptp(np.concatenate([m.corners() for m in floor.markers if m.sheet == sheet]), axis=0)))
        for sheet in dict.fromkeys(m.sheet for m in floor.markers)
    ]
    # tracking takes a sheet's turn as unsure by 2 place_u over its span
    from_turn = float(np.max(learned.turn_u)) * max(spans) / 2
    found = replace(learned.floor, place_u=3.0 * max(learned.floor.place_u, from_turn))
    moved = [np.hypot(a.x - b.x, a.y - b.y) for a, b in zip(found.markers, floor.markers, strict=True)]
    return found, LearnedFloorRow(
        markers=tuple(
            FloorMarkerRow(id=m.id, x_mm=m.x / MM, y_mm=m.y / MM, turn_deg=float(np.degrees(m.turn)))
            for m in found.markers
        ),
        place_u_mm=learned.floor.place_u / MM,
        farthest_from_card_mm=float(np.max(moved)) / MM,
        views=learned.views,
        noise_px=learned.noise,
    )


def stored_camera(cards: CardSet, log: BenchLog) -> Camera | None:
    """The lens on the bench card, or the calibration that it names, or None. Raises InputError as `camera_of` does."""
    typed = typed_lens(cards.bench)
    if typed is not None:
        return typed
    record = camera_of(cards.bench, log)
    return None if record is None else camera_from(record.result.camera)
