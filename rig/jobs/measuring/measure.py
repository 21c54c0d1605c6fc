"""Measure the pivot: track the clip, find the pushes in it, write the result down."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.base.errors import AnalysisError
from analysis.measured.pushes import MeasuredPush
from analysis.measured.speeds import SPEEDS
from analysis.measured.wind_up import TURNS
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.measures import car_markers, floor_layout, readout, wheelbase
from rig.cards.read import CardSet
from rig.jobs.measuring.by_hand import lift_words, unlike_warning
from rig.jobs.measuring.clip_times import check_copies, clip_times, hardly_by_hand, with_noted_times
from rig.jobs.measuring.finger import finger_record, seen_path, track_with_finger, worn_marker
from rig.jobs.measuring.found_pushes import FoundPushes, kept_track, pushes_in
from rig.jobs.measuring.lens_and_floor import laid_by_eye
from rig.jobs.measuring.push_rows import camera_record, push_record, track_record
from rig.jobs.measuring.setup_doubts import plate_warning
from rig.jobs.measuring.shutter import shutter_notes, shutter_record
from rig.jobs.measuring.springbacks import springback_notes
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.lookups.track_file import KeptTrack, write_track
from rig.records.pushing import PUSH, LearnedFloorRow, PushInputs, PushResult
from rig.records.record import Record
from vision.base.types import Camera, ClipCards, ClipTrack, FloorLayout
from vision.tracking.cut_out import opened_again
from vision.tracking.finger import FingerPath, FingerWatch
from vision.tracking.track import track_clip

LACKING = ("The clip is cut short", "The car's markers are only", "Only ", "The picture is soft")
"""How sentences begin that tell why a clip may show no whole push."""


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
    check_copies(times, cards.test, seen)
    track, finger = opened_again(with_noted_times(clip, seen)), None
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
    lifts, lifted = lift_words(found.pushes, track.time, track.lift)
    warnings = [
        one
        for one in (
            slow,
            unlike_warning(found.pushes),
            plate_warning(found.pushes, track.time, track.pose[:, 2]),
            *lifted,
        )
        if one
    ]
    track = replace(track, notes=(*track.notes, *lifts, *notes), warnings=(*track.warnings, *warnings))
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
        inputs=PushInputs(
            camera=None if measured.camera is None else camera_record(measured.camera), speeds=SPEEDS, turns=TURNS
        ),
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
