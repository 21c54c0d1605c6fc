"""From a clip to timed poses of the car on the floor: the one entry point of the seeing side."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from vision.base.errors import VisionError
from vision.base.types import Camera, CameraView, ClipCards, ClipTrack, FloatArray, IntArray
from vision.camera.model import camera_of, fitting_camera, intrinsics_of
from vision.camera.rolling_shutter import shutter_left, shutter_of, shutter_words, with_shutter_covariance
from vision.clip.frames import DECODERS, Frame
from vision.fitting.lean import lean_part, lean_sentence, set_upright, sink_sentence
from vision.fitting.noise import blur_part, frame_noise, repeating_part
from vision.fitting.parts import Remembered
from vision.fitting.sheets_apart import TAPE_DOWN, sheets_apart
from vision.fitting.solve import LEAST_CORNERS, KnownFloor, Solved, solve
from vision.tracking.checks import blur_of, check_cards, check_scale, check_sightings, vouch
from vision.tracking.follow import Follower, follow_clip
from vision.tracking.lifted import lift_of
from vision.tracking.moved_sheet import moved_sheet_sentences
from vision.tracking.notes import describe, focus_sentences
from vision.tracking.sightings import Sightings


def track_clip(
    path: Path | str,
    cards: ClipCards,
    *,
    progress: Callable[[float], None] | None = None,
    watch: Callable[[Frame], None] | None = None,
    threads: int = DECODERS,
) -> ClipTrack:
    """Timed floor poses of the car in every frame that can be vouched for.

    path: a video file.  progress: called with 0..1.  watch: is given every frame, too (`vision.tracking.finger` looks
    for its marker there).  threads: 2 decodes on a thread of its own.
    Raises InputError (the clip or the cards cannot be used), VisionError (nothing left to measure).
    """
    path = Path(path)
    check_cards(cards.floor, cards.car)
    follower = Follower(cards.floor, cards.car)
    most = None if progress is None else lambda share: progress(min(0.97, share))
    report = follow_clip(follower, path, watch=watch, progress=most, threads=threads, slower=cards.slower)
    cards = replace(cards, camera=fitting_camera(cards.camera, report.size), pixel_shape=report.pixel_shape)
    sightings = follower.sightings
    check_sightings(path, follower, cards.floor, cards.car)
    sideways = report.rotation % 180 == 90
    track, solved = track_sightings(sightings, cards, report.size, sideways=sideways)
    if (found := solved.readout) is None or not found.told:
        shutter = shutter_of(track, cards.car, readout=cards.readout, interval=report.usual_gap, sideways=sideways)
    else:
        shutter = shutter_left(
            track, cards.car, readout=found.time, u=found.u, interval=report.usual_gap, sideways=sideways
        )
    track = with_shutter_covariance(track, shutter)
    left_out = dict(track.left_out)
    if report.backwards:
        left_out["time stamp did not advance"] = report.backwards
    track = replace(track, frames_read=report.frames, frames_left_out=sum(left_out.values()), left_out=left_out)
    words = describe(track, solved, report, cards, sightings.column("spread"))
    kicked = moved_sheet_sentences(
        sightings.column("time"),
        sightings.column("corner")[:, : len(cards.floor.markers)],
        cards.floor,
        still=solved.still,
        m_per_px=float(np.median(solved.m_per_px)),
    )
    soft = focus_sentences(sightings.column("time"), sightings.column("spread")[:, : len(cards.floor.markers)])
    if solved.moving and not kicked:
        apart = sheets_apart(
            sightings.column("time"), sightings.column("corner")[:, : len(cards.floor.markers)], cards.floor, solved.fit
        )
        kicked = [] if apart is None else [f"{apart.words[0].upper()}{apart.words[1:]}. {TAPE_DOWN}."]
    if progress is not None:
        progress(1.0)
    track = replace(track, read_time=np.array(report.times))
    if cards.slower != 1.0:
        track = replace(track, picture_time=track.read_time)
    return replace(
        track,
        notes=(*words.notes, *shutter_words(shutter)),
        warnings=(*kicked, *soft, *track.warnings, *words.warnings),
    )


def track_sightings(
    sightings: Sightings,
    cards: ClipCards,
    size: tuple[int, int],
    *,
    sideways: bool = False,
    known: KnownFloor | None = None,
    before: Remembered | None = None,
) -> tuple[ClipTrack, Solved]:
    """Everything after the corners were measured: poses, their uncertainty, and which frames count.

    sightings: corners of the floor's and then the car's markers in every frame.  size: of the picture, px.
    sideways: the sensor's rows are the picture's columns.
    known: the floor from earlier frames, before: what frames asked for again gave on it.  Raises as `track_clip`.
    """
    time, floor_count = sightings.column("time"), len(cards.floor.markers)
    again = None if before is None else (before, sightings.column("index"))
    solved = solve(sightings.column("corner"), cards, size, time=time, sideways=sideways, known=known, again=again)
    blur = blur_of(time, solved, sightings.column("spread"), floor_count)
    kept, left_out = vouch(time, solved, sightings, blur, floor_count)
    if not len(kept):
        raise VisionError(
            "no frame can be vouched for: " + ", ".join(left_out),
            where="clip",
            remedy="Film in focus, with more light and from nearer, all markers flat and in view",
        )
    sizes = check_scale(solved, cards.floor, cards.car, kept, known=cards.camera is not None)
    track = _track(time, solved, kept, blur, size, cards.camera)
    leans = lean_part(solved, kept, frame_noise(solved, kept), cards.car.height)
    if leans is not None:
        track = set_upright(track, leans)
        if leans.sure:
            sizes.append(lean_sentence(leans.change, cards.car.height))
        if leans.sunk:
            sizes.append(sink_sentence(leans.sunk))
    return replace(track, warnings=tuple(sizes), frames_left_out=sum(left_out.values()), left_out=left_out), solved


def _track(
    time: FloatArray,
    solved: Solved,
    kept: IntArray,
    blur: FloatArray,
    size: tuple[int, int],
    camera: Camera | None,
) -> ClipTrack:
    pose = solved.pose[kept].copy()
    pose[:, 2] = np.unwrap(pose[:, 2])
    noise = frame_noise(solved, kept)
    covariance = solved.unit[kept] * noise[:, None, None] ** 2 + solved.camera_part[kept]
    covariance += blur_part(time[kept], pose, blur[kept], solved.m_per_px[kept])
    fit, lift = solved.fit, lift_of(solved.rise[kept, 0])
    before = intrinsics_of(camera) if camera is not None else None
    lens = len(fit.basis[0])
    u = np.sqrt(np.maximum(np.diag(fit.basis @ fit.covariance[:lens, :lens] @ fit.basis.T), 0.0))
    used = (
        camera
        if camera is not None and before is not None and lens == 0
        else camera_of(fit.intrinsics, size, known=camera is not None, u=u)
    )
    return ClipTrack(
        time=time[kept],
        pose=pose,
        covariance=covariance,
        repeating=repeating_part(solved, kept, blur, lift),
        blur=blur[kept],
        lean=solved.lean[kept],
        lift=lift,
        frames_read=len(time),
        frames_left_out=0,
        left_out={},
        size=size,
        ink_shift=fit.ink,
        corner_noise=solved.corner_noise,
        camera=used,
        view=_view(time, solved),
        seen=np.asarray(np.isfinite(solved.marker_mean[kept]).all(-1), bool),
        shared=solved.shared[:, kept],
        shared_names=solved.shared_names,
    )


def _view(time: FloatArray, solved: Solved) -> CameraView:
    """Where the camera stood: once for all, or in every frame in which enough of the floor was seen."""
    if not solved.moving:
        return CameraView(time=time[:1], rotation=solved.rotation, place=solved.place)
    lost = solved.floor_used < LEAST_CORNERS
    return CameraView(
        time=time,
        rotation=np.where(lost[:, None, None], np.nan, solved.rotation),
        place=np.where(lost[:, None], np.nan, solved.place),
    )
