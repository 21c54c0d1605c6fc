"""Measure the pivot: track the clip, find the pushes in it, write the result down."""

import hashlib
import io
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.measured.pushes import MeasuredPush, measure_pivot
from rig.base.errors import InputError
from rig.base.files import write_bytes
from rig.base.progress import Progress
from rig.cards.measures import MM, car_markers, floor_layout, readout, wheelbase
from rig.cards.read import CardSet
from rig.jobs.pushing.finger import contacts_seen, finger_record, seen_path, track_with_finger, worn_marker
from rig.jobs.pushing.shutter import with_shutter
from rig.log.cards_and_pivots import estimate_record, keep_cards
from rig.log.store import BenchLog, Record
from vision.base.types import Camera, ClipCards, ClipTrack, FloorLayout
from vision.tracking.finger import FingerPath, FingerWatch
from vision.tracking.floor_learn import learn_layout
from vision.tracking.track import track_clip


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One clip measured: the track, every push in it, the record in the log, and the floor it was measured on.

    finger: the fingertip's places, where a marker was worn on it.
    """

    track: ClipTrack
    pushes: tuple[MeasuredPush, ...]
    record: Record
    clip: Path
    floor: FloorLayout
    finger: FingerPath | None = None


def measure_clip(
    clip: Path,
    cards: CardSet,
    log: BenchLog,
    *,
    camera: Camera | None = None,
    progress: Progress | None = None,
) -> Measurement:
    """Track a clip and measure the pivot of every push in it.

    camera: a calibration, or None when the clip has to do without. Where the bench card says learn_layout, the
    clip itself first tells where the sheets lie.
    Raises the rooms' errors: a clip that cannot be used, no markers, nothing that moves.
    """
    floor = floor_layout(cards.bench)
    learned: dict[str, Any] = {}
    if cards.bench.floor.learn_layout:
        report = progress
        floor, learned = laid_by_eye(clip, floor, camera, None if report is None else lambda share: report(share / 2))
        progress = None if report is None else lambda share: report(0.5 + share / 2)
    markers = car_markers(cards.car, dictionary=floor.dictionary)
    worn = worn_marker(cards, floor)
    watch = None if worn is None else FingerWatch(worn)
    seen = track_clip(
        clip,
        ClipCards(floor=floor, car=markers, camera=camera, readout=readout(cards.bench)),
        watch=None if watch is None else watch.look,
        progress=progress,
    )
    track = with_true_times(clip, seen)
    track, pushes, shutter = with_shutter(track, measure_track(track, cards), cards)
    finger, rows = None, {}
    if worn is not None and watch is not None:
        finger = seen_path(watch, worn, seen)
        finger = replace(finger, time=np.interp(finger.time, seen.time, track.time))
        found = finger_record(contacts_seen(pushes, track, finger), track.shared_names, cards)
        track, rows = track_with_finger(track, watch, finger, worn, found), {"finger": found}
    record = log.record(
        "push",
        cards.test.name,
        inputs={
            "camera": None if camera is None else camera_record(camera),
        },
        result={"pushes": [push_record(push) for push in pushes], "track": track_record(track)}
        | learned
        | shutter
        | rows,
        cards=keep_cards(log, cards),
        files=[log.add_file("clip", clip), log.add_file("track", keep_track(log.folder / "tracks", track, finger))],
    )
    return Measurement(track=track, pushes=pushes, record=record, clip=clip, floor=floor, finger=finger)


def laid_by_eye(
    clip: Path, floor: FloorLayout, camera: Camera | None, progress: Progress | None
) -> tuple[FloorLayout, dict[str, Any]]:
    """The floor with its sheets where this clip shows them, and what was found as plain JSON for the log.

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
    return found, {
        "floor": {
            "markers": [
                {"id": m.id, "x_mm": m.x / MM, "y_mm": m.y / MM, "turn_deg": float(np.degrees(m.turn))}
                for m in found.markers
            ],
            "place_u_mm": learned.floor.place_u / MM,
            "farthest_from_card_mm": float(np.max(moved)) / MM,
            "views": learned.views,
            "noise_px": learned.noise,
        }
    }


def with_true_times(clip: Path, track: ClipTrack) -> ClipTrack:
    """Times as the recorder noted them beside its own clips, whose container only knows an even rate."""
    notes = clip.with_suffix(".times.json")
    if not notes.is_file():
        return track
    try:
        rows = json.loads(notes.read_text(encoding="utf-8"))["pictures"]
        noted = np.array([row["time_s"] for row in rows])
        stamps = np.array([row["device_time_s"] for row in rows], dtype=float)  # None becomes nan
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"the times noted beside the clip cannot be read ({error})",
            where=str(notes),
            remedy="Remove this file to measure with an even rate instead",
        ) from error
    if len(noted) != track.frames_read or len(noted) < 2:
        raise InputError(
            f"{len(noted)} times for {track.frames_read} pictures",
            where=str(notes),
            remedy="This file does not belong to the clip: remove it to measure with an even rate",
        )
    if np.all(np.diff(stamps) > 0):  # the device's own clock knows no waiting in queues and cables
        noted = stamps
    step = 1.0 / _rate(clip)
    even, true = np.arange(len(noted)) * step, noted - noted[0]
    view = replace(track.view, time=np.interp(track.view.time, even, true))
    return replace(track, time=np.interp(track.time, even, true), view=view, picture_time=true)


def _rate(clip: Path) -> float:
    """Even rate that the clip's container states, pictures per second."""
    import cv2

    source = cv2.VideoCapture(str(clip))
    rate = float(source.get(cv2.CAP_PROP_FPS))
    source.release()
    return rate


def keep_track(folder: Path, track: ClipTrack, finger: FingerPath | None = None) -> Path:
    """Store the poses behind a result beside the log, so that it can be computed again without the clip."""
    buffer = io.BytesIO()
    columns: dict[str, Any] = {
        "time_s": track.time,
        "pose": track.pose,
        "covariance": track.covariance,
        "repeating": track.repeating,
        "shared": track.shared,
        "shared_names": np.array(track.shared_names, dtype=str),
        "shutter": np.zeros_like(track.pose) if track.shutter is None else track.shutter.standard,
    }
    if finger is not None:
        columns |= {
            "finger_time_s": finger.time,
            "finger_tip": finger.tip,
            "finger_covariance": finger.covariance,
            "finger_shared": finger.shared,
        }
    np.savez_compressed(buffer, **columns)
    data = buffer.getvalue()
    path = folder / f"{hashlib.sha256(data).hexdigest()[:16]}.npz"
    write_bytes(path, data)
    return path


def measure_track(track: ClipTrack, cards: CardSet) -> tuple[MeasuredPush, ...]:
    """Every push in a track, with the uncertainties of the cards."""
    return measure_pivot(
        track.time,
        track.pose,
        track.covariance,
        track.repeating,
        wheelbase=wheelbase(cards.car),
        wheelbase_u=cards.car.geometry.wheelbase_mm_u * MM,
        shared=track.shared,
    )


def push_record(push: MeasuredPush) -> dict[str, Any]:
    """A measured push as plain JSON."""
    return {
        "number": push.number,
        "pivot": estimate_record(push.estimate),
        "turn_deg": float(np.degrees(push.turn)),
        "turn_u_deg": float(np.degrees(push.turn_u)),
        "travel_mm": push.travel * 1e3,
        "travel_u_mm": push.travel_u * 1e3,
        "start_s": push.start_time,
        "end_s": push.end_time,
        "start_pose": push.start_pose,
        "end_pose": push.end_pose,
        "peak_speed_mm_s": push.peak_speed * 1e3,
        "peak_speed_u_mm_s": push.peak_speed_u * 1e3,
        "rest_frames": list(push.rest_frames),
        "outliers": push.outliers,
        "place_m": push.pole,
        "place_covariance_m2": push.pole_covariance,
        "warnings": list(push.warnings),
    }


def track_record(track: ClipTrack) -> dict[str, Any]:
    """How well the clip could be followed, as plain JSON."""
    return {
        "frames_read": track.frames_read,
        "frames_left_out": track.frames_left_out,
        "left_out": track.left_out,
        "corner_noise_px": track.corner_noise,
        "ink_shift_px": track.ink_shift,
        "lean_deg": np.degrees(np.abs(track.lean).max(axis=0)) if len(track.lean) else None,
        "camera": camera_record(track.camera),
        "notes": list(track.notes),
        "warnings": list(track.warnings),
    }


def camera_record(camera: Camera) -> dict[str, Any]:
    """A camera's numbers as plain JSON."""
    return {
        "matrix": camera.matrix,
        "distortion": camera.distortion,
        "size": list(camera.size),
        "known": camera.known,
        "u": camera.u,
    }


def camera_from(record: dict[str, Any]) -> Camera:
    """The camera that `camera_record` wrote."""
    width, height = record["size"]
    return Camera(
        matrix=np.array(record["matrix"]),
        distortion=np.array(record["distortion"]),
        size=(width, height),
        known=record["known"],
        u=np.array(record["u"]),
    )


def stored_camera(cards: CardSet, log: BenchLog) -> Camera | None:
    """The camera calibration that the bench card names, or None. Raises InputError when it is not in the log."""
    name = cards.bench.camera.calibration
    if not name:
        return None
    record = log.latest("camera", name)
    if record is None:
        raise InputError(
            f'camera.calibration = "{name}" is not in the log',
            where=cards.bench.name,
            remedy="Calibrate the camera under this name, or leave the key empty",
        )
    return camera_from(record.result["camera"])
