"""Measure the pivot: track the clip, find the pushes in it, write the result down."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.base.errors import AnalysisError
from analysis.measured.finger_contact import PushContact
from analysis.measured.path_cause import CauseInMotion, with_cause_in_motion
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import MeasuredPush, measure_pivot
from analysis.measured.speeds import SPEEDS
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.lens import typed_lens
from rig.cards.measures import MM, car_markers, floor_layout, readout, wheelbase
from rig.cards.read import CardSet
from rig.jobs.pushing.clip_times import clip_times, hardly_by_hand, with_noted_times
from rig.jobs.pushing.finger import contacts, finger_record, seen_path, track_with_finger, worn_marker
from rig.jobs.pushing.setup_doubts import setup_doubt
from rig.jobs.pushing.shutter import shutter_notes, shutter_record
from rig.jobs.pushing.springbacks import own_pushes, springback_notes
from rig.log.store import BenchLog
from rig.lookups.belongs import camera_of
from rig.lookups.cards_and_pivots import estimate_record, keep_cards
from rig.lookups.track_file import KeptTrack, SeenFinger, SeenFrom, write_track
from rig.records.camera import CameraRow
from rig.records.content import matrix, numbers, pair, triple
from rig.records.pushing import (
    PUSH,
    FloorMarkerRow,
    LearnedFloorRow,
    PushInputs,
    PushResult,
    PushRow,
    TrackRow,
)
from rig.records.record import Record
from vision.base.types import Camera, ClipCards, ClipTrack, FloorLayout
from vision.learning.floor_learn import learn_layout
from vision.tracking.finger import FingerPath, FingerWatch
from vision.tracking.track import track_clip

LACKING = ("The clip is cut short", "The car's markers are only", "Only ", "The picture is soft")
"""How sentences begin that tell why a clip may show no whole push."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundPushes:
    """Every push in a track. causes: what the shutter may do to each; empty where it was not estimated.

    contacts: how the finger made each; None without a marker on it.
    """

    pushes: tuple[MeasuredPush, ...]
    causes: tuple[CauseInMotion, ...]
    contacts: tuple[PushContact | None, ...] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredClip:
    """One clip measured, and nothing written down yet.

    floor: on which it was measured.  finger: the fingertip's places, where a marker was worn on it.
    kept: the poses that the result can be computed from again.  result: what a record says of it all.
    """

    clip: Path
    camera: Camera | None
    track: ClipTrack
    pushes: tuple[MeasuredPush, ...]
    floor: FloorLayout
    finger: FingerPath | None
    kept: KeptTrack
    result: PushResult


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One clip measured: the track, every push in it, the record in the log, and the floor it was measured on.

    finger: the fingertip's places, where a marker was worn on it.
    """

    track: ClipTrack
    pushes: tuple[MeasuredPush, ...]
    record: Record[PushInputs, PushResult]
    clip: Path
    floor: FloorLayout
    finger: FingerPath | None = None

    @property
    def result(self) -> PushResult:
        """What the record says of it all."""
        return self.record.result


def own_clip(cards: CardSet) -> Path:
    """The clip that a test card names, found from the folder it lies in. Raises InputError when it names none."""
    if not cards.test.clip:
        raise InputError(
            "there is no clip",
            where=f"{cards.test.name}, clip",
            remedy='Write clip = "push.mp4" at the top of the test card, or give --clip',
        )
    return cards.folder / cards.test.clip


def measure_clip(
    clip: Path,
    cards: CardSet,
    log: BenchLog,
    *,
    camera: Camera | None = None,
    progress: Progress | None = None,
) -> Measurement:
    """Measure a clip as `measured_clip` does, and write it down."""
    return write_measured(measured_clip(clip, cards, camera=camera, progress=progress), cards, log)


def measured_clip(
    clip: Path, cards: CardSet, *, camera: Camera | None = None, progress: Progress | None = None
) -> MeasuredClip:
    """Track a clip and measure the pivot of every push in it.

    camera: a calibration, or None when the clip has to do without. Where the bench card says learn_layout, the
    clip itself first tells where the sheets lie.
    Raises the rooms' errors: a clip that cannot be used, no markers, nothing that moves.
    """
    floor = floor_layout(cards.bench)
    learned: LearnedFloorRow | None = None
    if cards.bench.floor.learn_layout:
        report = progress
        floor, learned = laid_by_eye(clip, floor, camera, None if report is None else lambda share: report(share / 2))
        progress = None if report is None else lambda share: report(0.5 + share / 2)
    markers = car_markers(cards.car, dictionary=floor.dictionary)
    worn = worn_marker(cards, floor)
    watch = None if worn is None else FingerWatch(worn)
    times = clip_times(clip, cards.test)
    seen = track_clip(
        clip,
        ClipCards(floor=floor, car=markers, camera=camera, readout=readout(cards.bench), slower=times.slower),
        watch=None if watch is None else watch.look,
        progress=progress,
    )
    track, finger = with_noted_times(clip, seen), None
    if worn is not None and watch is not None:
        finger = seen_path(watch, worn, seen)
        finger = replace(finger, time=np.interp(finger.time, seen.time, track.time))
    kept = kept_track(track, finger)
    found = _pushes_or_why_none(kept, cards, track)
    numbers = [push.number for push in found.pushes]
    notes = [
        *([times.note] if times.note else []),
        *springback_notes(found.pushes),
        *shutter_notes(found.causes, wheelbase(cards.car), numbers),
    ]
    slow = hardly_by_hand(max((1e3 * push.peak_speed for push in found.pushes), default=np.inf), times)
    track = replace(track, notes=(*track.notes, *notes), warnings=(*track.warnings, *([slow] if slow else [])))
    rows = None
    if worn is not None and watch is not None and finger is not None and found.contacts is not None:
        rows = finger_record(found.contacts, kept.shared_names, cards)
        track = track_with_finger(track, watch, finger, worn, dict(zip(numbers, rows, strict=True)))
    result = PushResult(
        pushes=tuple(push_record(push) for push in found.pushes),
        track=track_record(track),
        floor=learned,
        rolling_shutter=None if track.shutter is None else shutter_record(track.shutter, found.causes),
        finger=rows,
    )
    return MeasuredClip(
        clip=clip,
        camera=camera,
        track=track,
        pushes=found.pushes,
        floor=floor,
        finger=finger,
        kept=kept,
        result=result,
    )


def _pushes_or_why_none(kept: KeptTrack, cards: CardSet, track: ClipTrack) -> FoundPushes:
    """The pushes; where there are none, what the clip itself lacks goes with the error."""
    try:
        return pushes_in(kept, cards)
    except AnalysisError as error:
        lacking = [words for words in track.warnings if words.startswith(LACKING)]
        if not lacking:
            raise
        raise type(error)(
            f"{error.what}. {' '.join(lacking).removesuffix('.')}", where=error.where, remedy=error.remedy
        ) from error


def write_measured(measured: MeasuredClip, cards: CardSet, log: BenchLog) -> Measurement:
    """Write a measured clip down, with the clip and its poses as files."""
    record = log.record(
        PUSH,
        cards.test.name,
        inputs=PushInputs(camera=None if measured.camera is None else camera_record(measured.camera), speeds=SPEEDS),
        result=measured.result,
        cards=keep_cards(log, cards),
        files=[
            log.add_file("clip", measured.clip),
            log.add_file("track", write_track(log.folder / "tracks", measured.kept)),
        ],
    )
    return Measurement(
        track=measured.track,
        pushes=measured.pushes,
        record=record,
        clip=measured.clip,
        floor=measured.floor,
        finger=measured.finger,
    )


def kept_track(track: ClipTrack, finger: FingerPath | None = None) -> KeptTrack:
    """What is kept of a track and of the finger's path."""
    return KeptTrack(
        time=track.time,
        pose=track.pose,
        covariance=track.covariance,
        repeating=track.repeating,
        shared=track.shared,
        shared_names=track.shared_names,
        shutter=None if track.shutter is None else track.shutter.standard,
        finger=None
        if finger is None
        else SeenFinger(time=finger.time, tip=finger.tip, covariance=finger.covariance, shared=finger.shared),
        seen_from=SeenFrom(
            time=track.view.time,
            rotation=track.view.rotation,
            place=track.view.place,
            picture_time=track.picture_time,
        ),
    )


def poses_of(track: ClipTrack | KeptTrack) -> PoseTrack:
    """The poses of a track, fresh or kept, as the analysis takes them."""
    return PoseTrack(time=track.time, pose=track.pose, covariance=track.covariance, repeating=track.repeating)


def pushes_in(track: KeptTrack, cards: CardSet, *, speeds: int = SPEEDS) -> FoundPushes:
    """Every push in a track, fresh or kept, with the uncertainties of the cards. A springback is none.

    speeds: how they are found, as the push's record says.

    The swing pivot rests on the rests; the shutter enters the uncertainty of paths and speeds only.
    """
    poses = poses_of(track)
    moved = measure_pivot(
        poses,
        wheelbase=wheelbase(cards.car),
        wheelbase_u=cards.car.geometry.wheelbase_mm_u * MM,
        shared=track.shared,
        speeds=speeds,
    )
    pushes = own_pushes(moved, cards)
    causes: tuple[CauseInMotion, ...] = ()
    if track.shutter is not None:
        pushes, causes = with_cause_in_motion(
            pushes, poses, track.shutter, wheelbase=wheelbase(cards.car), speeds=speeds
        )
    made = contacts(pushes, track)
    seen = (
        replace(push, finger_pct=None if one is None else 100.0 * one.station / wheelbase(cards.car))
        for push, one in zip(pushes, made, strict=True)
    )
    pushes = tuple(replace(push, setup_doubt=setup_doubt(push, cards)) for push in seen)
    return FoundPushes(pushes=pushes, causes=tuple(causes), contacts=None if track.finger is None else made)


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


def push_record(push: MeasuredPush) -> PushRow:
    """A measured push as a record holds it."""
    return PushRow(
        number=push.number,
        pivot=estimate_record(push.estimate),
        turn_deg=float(np.degrees(push.turn)),
        turn_u_deg=float(np.degrees(push.turn_u)),
        travel_mm=push.travel * 1e3,
        travel_u_mm=push.travel_u * 1e3,
        start_s=push.start_time,
        end_s=push.end_time,
        start_pose=triple(push.start_pose),
        end_pose=triple(push.end_pose),
        peak_speed_mm_s=push.peak_speed * 1e3,
        peak_speed_u_mm_s=push.peak_speed_u * 1e3,
        rest_frames=push.rest_frames,
        outliers=push.outliers,
        place_m=None if push.pole is None else pair(push.pole),
        place_covariance_m2=None if push.pole_covariance is None else matrix(push.pole_covariance),
        warnings=push.warnings,
    )


def track_record(track: ClipTrack) -> TrackRow:
    """How well the clip could be followed."""
    return TrackRow(
        frames_read=track.frames_read,
        frames_left_out=track.frames_left_out,
        left_out=track.left_out,
        corner_noise_px=track.corner_noise,
        ink_shift_px=track.ink_shift,
        lean_deg=pair(np.degrees(np.abs(track.lean).max(axis=0))) if len(track.lean) else None,
        camera=camera_record(track.camera),
        notes=track.notes,
        warnings=track.warnings,
    )


def camera_record(camera: Camera) -> CameraRow:
    """A camera's numbers as a record holds them."""
    return CameraRow(
        matrix=matrix(camera.matrix),
        distortion=numbers(camera.distortion),
        size=camera.size,
        known=camera.known,
        u=numbers(camera.u),
    )


def camera_from(row: CameraRow) -> Camera:
    """The camera that `camera_record` wrote."""
    return Camera(
        matrix=np.array(row.matrix),
        distortion=np.array(row.distortion),
        size=row.size,
        known=row.known,
        u=np.array(row.u),
    )


def stored_camera(cards: CardSet, log: BenchLog) -> Camera | None:
    """The lens on the bench card, or the calibration that it names, or None. Raises InputError as `camera_of` does."""
    typed = typed_lens(cards.bench)
    if typed is not None:
        return typed
    record = camera_of(cards.bench, log)
    return None if record is None else camera_from(record.result.camera)
