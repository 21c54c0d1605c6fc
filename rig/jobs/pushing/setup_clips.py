"""Use cases of the seeing side: calibrate a camera, find where floor sheets and marker plate really lie, overlays."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.plane import place
from analysis.figures.car import body_outline
from analysis.measured.pushes import MeasuredPush
from rig.base.errors import InputError
from rig.base.files import whole_file
from rig.base.progress import Progress
from rig.cards.keys.bench import BenchCard
from rig.cards.measures import BAR_MM, MM, car_markers, floor_layout, wheelbase
from rig.cards.read import CardSet, read_with_text
from rig.jobs.pushing.compare import Verdict
from rig.jobs.pushing.measure import Measurement, camera_record, stored_camera
from rig.jobs.pushing.picture import body_of
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.camera import (
    CAMERA_CALIBRATION,
    FLOOR_LAYOUT,
    PLATE_PLACE,
    BoardRow,
    CameraInputs,
    CameraRecord,
    CameraResult,
    FloorResult,
    MarkerRow,
    PlateInputs,
    PlateResult,
)
from rig.records.content import Empty, pair
from rig.records.record import Record
from vision.base.types import ClipCards, Marker
from vision.camera.calibration import Board, BoardCalibration, calibrate_from_files
from vision.clip.overlay import OverlayScene, PivotMark, overlay_clip, overlay_still
from vision.learning.floor_learn import LearnedLayout, learn_layout
from vision.learning.plate import PinTurn, PlatePlace, locate_plate
from vision.tracking.track import track_clip


def calibrate_camera(
    log: BenchLog,
    name: str,
    files: Sequence[Path],
    board: Board,
    *,
    bench: Path | None = None,
    progress: Progress | None = None,
) -> tuple[BoardCalibration, CameraRecord]:
    """Calibrate a camera from a clip or photos of a board, and store it under a name for the bench card.

    bench: the bench card that the camera belongs to, where it is to be no other's.
    """
    kept = None if bench is None else read_with_text(bench, BenchCard)
    found = calibrate_from_files(files, board, progress=progress)
    record = log.record(
        CAMERA_CALIBRATION,
        name,
        inputs=CameraInputs(
            board=BoardRow(
                columns=board.columns,
                rows=board.rows,
                square_m=board.square,
                marker_m=board.marker,
                dictionary=board.dictionary,
            )
        ),
        result=CameraResult(
            camera=camera_record(found.camera),
            rms_px=found.rms,
            views=found.views_used,
            left_out=found.views_left_out,
            warnings=found.warnings,
        ),
        cards=[] if kept is None else [log.add_card("bench", kept[0].name, kept[1])],
        files=[log.add_file("calibration picture", path) for path in files],
    )
    return found, record


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


@dataclass(frozen=True, slots=True, kw_only=True)
class OverlayFiles:
    """What was drawn over the clip. clip: a WebM without sound.  still: the last moment."""

    clip: Path
    still: Path


def draw_overlay(
    verdict: Verdict, folder: Path, stem: str, *, whole_picture: bool = False, progress: Progress | None = None
) -> OverlayFiles:
    """Draw outline, pivot and forecast over the clip, cut to the floor sheets unless asked otherwise."""
    measurement, push = verdict.measurement, verdict.push
    if measurement is None or push is None:
        raise InputError("there is no clip to draw on", where=verdict.cards.test.name, remedy="Film the push")
    region = verdict.forecast.prediction.region
    predicted = None
    if region is not None and np.hypot(*(region.place - [wheelbase(verdict.cards.car) / 2, 0])) < 1.0:
        predicted = _mark(push, region.place, region.covariance, "forecast")
    scene = overlay_scene(measurement, push, verdict.cards, verdict.cards.test.name, predicted)
    folder.mkdir(parents=True, exist_ok=True)
    files = OverlayFiles(clip=folder / f"{stem}.webm", still=folder / f"{stem}-still.png")
    with whole_file(files.clip) as part:
        overlay_clip(measurement.clip, part, scene, whole_picture=whole_picture, progress=progress)
    with whole_file(files.still) as part:
        overlay_still(measurement.clip, part, scene, whole_picture=whole_picture)
    return files


def overlay_scene(
    measurement: Measurement,
    push: MeasuredPush,
    cards: CardSet,
    title: str,
    predicted: PivotMark | None = None,
) -> OverlayScene:
    """What to draw over the clip for one of its pushes."""
    measured = None
    if push.pole is not None and push.pole_covariance is not None:
        measured = _mark(push, push.pole, push.pole_covariance, "measured")
    track, (finger_time, finger) = measurement.track, _shown(measurement, push)
    return OverlayScene(
        camera=track.camera,
        view=track.view,
        floor=measurement.floor,
        car=car_markers(cards.car, dictionary=measurement.floor.dictionary),
        time=track.time,
        pose=track.pose,
        seen=track.seen,
        picture_time=track.picture_time,
        finger_time=finger_time,
        finger=finger,
        outline=body_outline(wheelbase(cards.car), body_of(cards.car)),
        measured=measured,
        predicted=predicted,
        title=title.encode("ascii", "replace").decode(),
    )


def _shown(measurement: Measurement, push: MeasuredPush) -> tuple[FloatArray, FloatArray]:
    """Times (f,) s and places (f, 2) m of the fingertip, up to the end of a push from the end of the one before."""
    path = measurement.finger
    if path is None:
        return np.zeros(0), np.zeros((0, 2))
    earlier = [other.end_time for other in measurement.pushes if other.number < push.number]
    chosen = (path.time >= max(earlier, default=-np.inf)) & (path.time <= push.end_time)
    return path.time[chosen], path.tip[chosen]


def _mark(push: MeasuredPush, point: FloatArray, covariance: FloatArray, label: str) -> PivotMark:
    """A point of the car at the start of a push, in floor axes."""
    c, s = np.cos(push.start_pose[2]), np.sin(push.start_pose[2])
    turned = np.array([[c, -s], [s, c]])
    return PivotMark(place=place(push.start_pose, point), covariance=turned @ covariance @ turned.T, label=label)
