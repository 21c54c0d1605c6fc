"""The quality of a track in words: what was seen, what was not, what would make it better."""

from dataclasses import dataclass

import numpy as np

from vision.base.types import BoolArray, Camera, CarMarkers, ClipCards, ClipTrack, FloatArray
from vision.base.windows import neighbours, runs_of
from vision.clip.frames import ClipReport
from vision.fitting.solve import CAMERA_CAUSE, Solved
from vision.floor.cause_words import floor_sentences
from vision.tracking.checks import LEAST_SIDE
from vision.tracking.frozen import FROZEN

LONG_GAP = 0.2  # s without a pose
SOFTER, SOFT_FOR = 1.4, 0.12  # times the floor's usual width of edges, and s, from which the focus hunts
LARGE_OFF = 0.4  # px; a floor marker that fits worse than this is worth a word
ODD_MM = 0.4  # one car marker so far from its place on the card
APART_MM = 0.25  # the corners of several, root mean square, off every flat plate with the markers of the card


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """notes: what was found.  warnings: what to change."""

    notes: list[str]
    warnings: list[str]


def describe(track: ClipTrack, solved: Solved, report: ClipReport, cards: ClipCards, spread: FloatArray) -> Words:
    """Notes and warnings about a track, for people. spread: (n, m) px², of every marker in every frame read."""
    words = Words(notes=[], warnings=[])
    _frames(words, track, report)
    _time(words, report)
    _camera(words, track, solved, cards.camera)
    _markers(words, track, solved, cards)
    _motion(words, track)
    wide = spread[np.isfinite(spread)]
    width = float(np.sqrt(np.median(wide) / 2)) if len(wide) else 0.0
    if width > 1.8:
        words.warnings.append(
            f"The picture is soft (edges {2.4 * width:.0f} px wide): focus on the car and clean the lens."
        )
    return words


def focus_sentences(time: FloatArray, spread: FloatArray) -> list[str]:
    """A sentence where the floor's markers, which do not move, are unsharp for a while.

    time: (n,) s.  spread: (n, m) px², of every floor marker in every frame read.
    """
    seen = np.flatnonzero(np.isfinite(spread).any(1))
    if len(seen) < 5:
        return []
    width = np.sqrt(np.nanmedian(spread[seen], axis=1))
    calm = np.median(neighbours(width[:, None], 3), axis=-1)[:, 0]
    usual = float(np.quantile(calm, 0.25))
    runs = [seen[run] for run in runs_of(calm > SOFTER * usual)]
    longest = max(runs, key=len, default=seen[:0])
    if len(longest) < 3 or time[longest[-1]] - time[longest[0]] < SOFT_FOR:
        return []
    times = float(calm[np.isin(seen, longest)].max()) / usual
    return [
        f"The picture went soft from {time[longest[0]]:.1f} to {time[longest[-1]]:.1f} s (edges on the floor up to "
        f"{times:.1f} times as wide): the focus hunted, or the camera shook. What seems a lean or a hand there may be "
        "that: lock the focus, and push again."
    ]


def _frames(words: Words, track: ClipTrack, report: ClipReport) -> None:
    kept = len(track.time)
    words.notes.append(f"{kept} of {report.frames} frames can be vouched for.")
    for why, count in sorted(track.left_out.items(), key=lambda item: -item[1]):
        words.notes.append(f"Left out {count}: {why}.")
    if kept > 1 and report.usual_gap > 0:
        gaps = np.diff(track.time)
        longest = int(np.argmax(gaps))
        if gaps[longest] > max(2.5 * report.usual_gap, LONG_GAP):
            words.warnings.append(
                f"No pose for {gaps[longest]:.2f} s from {track.time[longest]:.2f} s on: "
                + (
                    "the picture was frozen there. Give the clip as the camera wrote it."
                    if FROZEN in track.left_out
                    else "keep hands and other things out of the line between camera and markers."
                )
            )
    if report.frames and kept < 0.7 * report.frames:
        words.warnings.append(
            f"Only {100 * kept / report.frames:.0f} % of the frames can be used: more light, nearer, "
            "markers flat and in view."
        )


def _time(words: Words, report: ClipReport) -> None:
    if report.cut:
        words.warnings.append(f"The clip is cut short: {report.cut}. Copy it from the camera again.")
    if report.dropped:
        words.notes.append(
            f"About {report.dropped} frames are missing between others (longest gap "
            f"{1000 * report.longest_gap:.0f} ms, usual {1000 * report.usual_gap:.0f} ms); the time stamps "
            "account for it."
        )
    if report.repeated > 1:
        words.notes.append(f"{report.repeated} pictures are copies of the one before.")
    if abs(report.pixel_shape - 1.0) > 1e-3:
        words.notes.append(
            f"By the file's tag a pixel is {report.pixel_shape:.3g} times as wide as high; that was taken into account."
        )
    if report.rotation % 360:
        words.notes.append(f"The clip is stored turned by {report.rotation}°; it was turned upright.")


def _camera(words: Words, track: ClipTrack, solved: Solved, camera: Camera | None) -> None:
    words.notes.append(_camera_motion(track.view.time, solved.still))
    if solved.zoom.any():
        longest = 100 * solved.zoom[np.abs(solved.zoom).argmax()]
        words.notes.append(
            f"The camera zoomed, or its focus changed, by up to {longest:+.1f} % while it moved: taken into account, "
            "and in the ±."
        )
    doubt = _camera_doubt(track)
    if camera is None:
        focal, focal_u = track.camera.matrix[0, 0], track.camera.u[0]
        k1, k1_u = track.camera.distortion[0], track.camera.u[4]
        words.notes.append(
            f"No calibration: the floor markers give a focal length of {focal:.0f} ± {2 * focal_u:.0f} px "
            f"and a lens bend k1 of {k1:.3f} ± {2 * k1_u:.3f}. This and the floor markers' places add "
            f"{1000 * doubt:.2f} mm to the doubt of the car's displacement."
        )
        if focal_u > 0.05 * focal:
            words.warnings.append(
                "The floor markers hardly fix the lens: calibrate the camera, or film at a flatter "
                "angle with the floor markers spread wide."
            )
    else:
        words.notes.append(
            f"Camera and floor markers' places add {1000 * doubt:.2f} mm to the doubt of the car's displacement."
        )


def _camera_motion(time: FloatArray, still: BoolArray) -> str:
    """Whether, and when, the camera moved. time: (n,) s and still: (n,) of every frame read."""
    if still.all():
        return "The camera stood still: the floor was found from all frames together."
    if not still.any():
        return "The camera moved: the floor was found in every frame."
    moved = np.flatnonzero(~still)
    return (
        f"The camera moved: in {len(moved)} of {len(still)} frames, first at {time[moved[0]]:.1f} s, it was not where "
        "it stood longest; there the floor was found in every frame, in the others from all together."
    )


def _camera_doubt(track: ClipTrack) -> float:
    """m, standard uncertainty of the displacement from first to last pose due to camera and floor places."""
    if len(track.time) < 2:
        return 0.0

    def displacement(pose: FloatArray) -> FloatArray:
        """In the car's middle axes: a turn of the whole floor frame changes nothing in them."""
        d = pose[-1, :2] - pose[0, :2]
        middle = 0.5 * (pose[0, 2] + pose[-1, 2])
        return np.array([np.cos(middle) * d[0] + np.sin(middle) * d[1], -np.sin(middle) * d[0] + np.cos(middle) * d[1]])

    base = displacement(track.pose)
    own = [part for part, name in zip(track.shared, track.shared_names, strict=True) if name.startswith(CAMERA_CAUSE)]
    parts = [displacement(track.pose + part) - base for part in own]
    return float(np.sqrt(np.sum(np.square(parts)))) if parts else 0.0


def _markers(words: Words, track: ClipTrack, solved: Solved, cards: ClipCards) -> None:
    floor, car = cards.floor, cards.car
    words.notes.append(
        f"Corner noise {solved.corner_noise:.2f} px from frame to frame, ink shift {track.ink_shift:.2f} px."
    )
    words.warnings.extend(floor_sentences(solved.fit, floor, calibrated=cards.camera is not None))
    size = np.square(np.nan_to_num(solved.fit.residual)).mean((0, 2, 3)) * 2
    for marker, weight, off in zip(floor.markers, solved.fit.weight, np.sqrt(size), strict=True):
        if weight < 0.3 and off > LARGE_OFF:
            words.warnings.append(
                f"Floor marker {marker.id} does not fit its place, size or plane and hardly counts: flatten "
                "it or correct the card."
            )
    per_px = float(np.median(solved.m_per_px))
    away = 1000 * per_px * np.hypot(solved.marker_residual[:, 0], solved.marker_residual[:, 1])
    apart = 1000 * per_px * np.sqrt(np.square(solved.marker_apart).sum(-1).mean(-1))
    words.warnings.extend(plate_sentences(car, away, apart, solved.marker_weight))
    side = min(marker.size for marker in car.markers) / per_px
    if side < LEAST_SIDE:
        words.warnings.append(
            f"The car's markers are only {side:.0f} px wide: film from nearer or at a higher resolution."
        )


def plate_sentences(car: CarMarkers, away: FloatArray, apart: FloatArray, weight: FloatArray) -> list[str]:
    """What does not lie on the plate as on the card.

    away: (m,) mm, how far each marker usually lies from its place on the fitted plate.  apart: (m,) mm, its corners
    off a plate that is free to rise and lean.  weight: (m,) 0..1, how much it counts: one that is far off hardly does;
    where the plate parts in two, none is odder than another.
    """
    odd = (weight < 0.3) & (away > ODD_MM)
    sentences = [
        f"Car marker {marker.id} sits about {mm:.1f} mm from its place on the card (bent, moved, or a wrong card) and "
        "hardly counts."
        for marker, mm, alone in zip(car.markers, away, odd, strict=True)
        if alone
    ]
    if not odd.any() and (apart > APART_MM).sum() > 1:
        sentences.append(
            f"The car's markers do not lie to each other as on the card (their corners are {apart.max():.1f} mm off): "
            "a plate that is bent, cut and put together, or printed unevenly moves and turns the pivot. Print it anew "
            "in one piece on something flat, or learn where they lie: pivotbench camera plate TEST.toml --markers CLIP."
        )
    return sentences


def _motion(words: Words, track: ClipTrack) -> None:
    n = len(track.time)
    if n < 5:
        return
    if track.blur.max() > 4.0:
        words.warnings.append(
            f"The car smears over {track.blur.max():.0f} px while it moves: more light, or a shorter exposure."
        )
    edge = max(2, min(15, n // 4))
    before, after = np.median(track.lean[:edge], axis=0), np.median(track.lean[-edge:], axis=0)
    change = np.degrees(after - before)
    words.notes.append(f"Body lean at the end less that at the start: roll {change[0]:+.2f}°, pitch {change[1]:+.2f}°.")
    rate = np.gradient(track.pose[:, :2], track.time, axis=0)
    speed = float(np.hypot(rate[:, 0], rate[:, 1]).max())
    words.notes.append(f"Fastest {speed:.2f} m/s.")
