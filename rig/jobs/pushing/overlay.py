"""A measured push drawn over its clip: outline, pivot, forecast and finger."""

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
from rig.cards.measures import car_markers, wheelbase
from rig.cards.read import CardSet
from rig.jobs.measuring.measure import Measurement
from rig.jobs.pushing.compare import Verdict
from rig.jobs.pushing.picture import body_of
from vision.clip.overlay import OverlayScene, PivotMark, overlay_clip, overlay_still


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
