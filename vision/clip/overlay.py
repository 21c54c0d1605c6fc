"""Show what was measured on the pictures themselves: a WebM clip that browsers play, and a still.

Only the floor sheets and what is right above them are shown unless asked otherwise; what lies outside
is painted over. The files are written anew, so sound, place and owner data of the clip do not get in.
"""

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

from vision.base.errors import InputError, VisionError
from vision.base.plane import moved
from vision.base.types import BgrImage, BoolArray, Camera, CameraView, CarMarkers, FloatArray, FloorLayout, Marker
from vision.clip.draw import (
    BLUE,
    GREEN,
    ORANGE,
    PINK,
    WHITE,
    YELLOW,
    Colour,
    FloorView,
    captioned,
    dense,
    dot,
    ellipse,
    line,
)
from vision.clip.quiet import quiet_stderr

KEEP_HEIGHT = 0.12
"""What stands on the floor is shown up to this height, m."""
KEEP_MARGIN = 0.02
"""and the floor this far around the sheets' markers, m."""
WIDEST, FASTEST = 800, 15.0
"""px and pictures per second of an overlay clip: writing VP8 costs about 0.15 us for every pixel."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PivotMark:
    """A point with its doubt. place: (2,) m in floor axes.  covariance: (2, 2) m^2.  label: ASCII."""

    place: FloatArray
    covariance: FloatArray
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OverlayScene:
    """What to draw.

    camera, view: the ones the track was made with.  time: (n,) s, pose: (n, 3) x, y, yaw of the car in floor
    axes, as measured (frames left out are missing).  seen: (n, c) which car markers count in each.
    outline: (m, 2) m of the car from above in car axes.  measured, predicted: pivots or None.
    finger_time: (f,) s, finger: (f, 2) m, the fingertip in floor axes.  title: one ASCII line.
    picture_time: (p,) s of the clip's pictures in order, where they are not the times that the file states.
    """

    camera: Camera
    view: CameraView
    floor: FloorLayout
    car: CarMarkers
    time: FloatArray
    pose: FloatArray
    seen: BoolArray
    outline: FloatArray
    measured: PivotMark | None = None
    predicted: PivotMark | None = None
    finger_time: FloatArray = field(default_factory=lambda: np.zeros(0))
    finger: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))
    title: str = ""
    picture_time: FloatArray = field(default_factory=lambda: np.zeros(0))


def overlay_clip(
    clip: Path,
    out: Path,
    scene: OverlayScene,
    *,
    whole_picture: bool = False,
    widest: int = WIDEST,
    fastest: float = FASTEST,
    progress: Callable[[float], None] | None = None,
) -> None:
    """Write `clip` with the scene drawn on it to `out`, a .webm file (VP8, no sound), at an even rate.

    whole_picture: show everything the camera saw.  widest: px, fastest: pictures per second; more is made
    less.  progress: called with 0..1.
    Raises InputError when the clip cannot be read, its size is not the camera's or `out` is no .webm;
    VisionError when the floor is never seen or the file cannot be written.
    """
    if out.suffix.lower() != ".webm":
        raise InputError("overlay clips are WebM files", where=str(out), remedy="Use a name that ends in .webm")
    source = opened(clip)
    rate = float(np.clip(source.get(cv2.CAP_PROP_FPS) or 30.0, 1.0, fastest))
    total = max(source.get(cv2.CAP_PROP_FRAME_COUNT), 1.0)
    painter = _Painter(scene, whole_picture, widest)
    writer: cv2.VideoWriter | None = None
    written = read = 0
    try:
        for now, picture in pictures(source, scene.camera, scene.picture_time, clip):
            read += 1
            if written > now * rate + 1e-6:
                continue
            shown = painter.draw(picture, now)
            if shown is None:
                continue
            if writer is None:
                size = (shown.shape[1], shown.shape[0])
                with quiet_stderr():
                    writer = cv2.VideoWriter(str(out), cv2.VideoWriter.fourcc(*"VP80"), rate, size)
                if not writer.isOpened():
                    raise VisionError(
                        "the overlay clip cannot be written",
                        where=str(out),
                        remedy="Check that the folder exists, has space and may be written to",
                    )
            # Even steps in time: a varying source rate repeats or skips pictures here.
            while written <= now * rate + 1e-6:
                writer.write(shown)
                written += 1
            if progress is not None:
                progress(min(read / total, 1.0))
    finally:
        source.release()
        if writer is not None:
            writer.release()
    if writer is None:
        raise VisionError(
            "the floor sheets were seen in no picture", where=str(clip), remedy="Film with the floor sheets in view"
        )


def overlay_still(
    clip: Path, out: Path, scene: OverlayScene, *, at: float | None = None, whole_picture: bool = False
) -> None:
    """Write one picture of the clip with the scene drawn on it: PNG or JPEG.

    at: s; when left out, the last measured moment.  Raises as `overlay_clip`.
    """
    moment = float(scene.time[-1]) if at is None else at
    source, painter = opened(clip), _Painter(scene, whole_picture, 4096)
    best: tuple[float, BgrImage] | None = None
    try:
        for now, picture in pictures(source, scene.camera, scene.picture_time, clip):
            if best is not None and abs(now - moment) > abs(best[0] - moment):
                break
            best = now, picture
    finally:
        source.release()
    shown = painter.draw(best[1], best[0]) if best is not None else None
    if shown is None:
        raise VisionError(
            "the floor sheets are not seen at that moment", where=str(clip), remedy="Choose another moment"
        )
    try:
        good = cv2.imwrite(str(out), shown)
    except cv2.error as error:
        raise InputError(
            "no way to write this kind of picture", where=str(out), remedy="Use a name that ends in .png or .jpg"
        ) from error
    if not good:
        raise VisionError(
            "the picture cannot be written",
            where=str(out),
            remedy="Check that the folder exists, has space and may be written to",
        )


def opened(clip: Path) -> cv2.VideoCapture:
    """The clip, ready to be read, or InputError."""
    source = cv2.VideoCapture(str(clip))
    if not source.isOpened():
        raise InputError(
            "this is not a clip that can be read", where=str(clip), remedy="Give the video file that was measured"
        )
    return source


def pictures(
    source: cv2.VideoCapture, camera: Camera, picture_time: FloatArray, clip: Path
) -> Iterator[tuple[float, BgrImage]]:
    """Pictures with their times, s: as noted in picture_time (p,), or as presented.

    Raises InputError when a picture has not the camera's size.
    """
    for number in itertools.count():
        good, picture = source.read()
        if not good:
            return
        if (picture.shape[1], picture.shape[0]) != tuple(camera.size):
            raise InputError(
                f"pictures are {picture.shape[1]} x {picture.shape[0]}, the camera's are "
                f"{camera.size[0]} x {camera.size[1]}",
                where=str(clip),
                remedy="Give the clip that was measured with this camera",
            )
        # After reading: before, it is still the previous picture's.
        now = source.get(cv2.CAP_PROP_POS_MSEC) / 1000
        if number < len(picture_time):
            now = float(picture_time[number])
        yield now, np.asarray(picture, np.uint8)


class _Painter:
    """Draws the scene on one picture after another, always with the same frame around it."""

    def __init__(self, scene: OverlayScene, whole_picture: bool, widest: int) -> None:
        self.scene, self.whole, self.widest = scene, whole_picture, widest
        self.outline = dense(scene.outline)
        corner = np.concatenate([m.corners() for m in scene.floor.markers])
        low, high = corner.min(axis=0) - KEEP_MARGIN, corner.max(axis=0) + KEEP_MARGIN
        self.keep = dense(np.array([low, [high[0], low[1]], high, [low[0], high[1]]]), 0.05)
        self.box: tuple[int, int, int, int] | None = None
        gaps = np.diff(scene.time)
        self.patience = float(np.median(gaps)) * 0.6 if len(gaps) else 0.05

    def draw(self, picture: BgrImage, now: float) -> BgrImage | None:
        """The picture with everything on it, cut to the floor; None when it does not show the floor."""
        scene = self.scene
        rotation, place = scene.view.at(np.asarray(now))
        if not np.isfinite(place).all():
            return None
        view = FloorView(camera=scene.camera, rotation=rotation, place=place)
        nearest = int(np.argmin(np.abs(scene.time - now)))
        vouched = abs(scene.time[nearest] - now) <= self.patience
        drawn = picture.copy()
        for marker in scene.floor.markers:
            line(drawn, view.pixel(marker.corners()), GREEN, width=1)
        for marker in self._counting(nearest) if vouched else ():
            line(drawn, view.pixel(moved(marker.corners(), scene.pose[nearest]), scene.car.height), GREEN, width=1)
        part = scene.time <= now + self.patience
        steps = np.flatnonzero(part)
        if len(steps):
            # Equal steps of movement, not of time: while the car rests nothing is added.
            way = np.concatenate(
                [[0.0], np.cumsum(np.linalg.norm(np.diff(scene.pose, axis=0) * [1.0, 1.0, 0.15], axis=1))]
            )
            marks = np.searchsorted(way, np.arange(0.0, way[-1] + 1e-12, max(way[-1] / 12, 0.004)))
            plain = drawn.copy()
            for k in marks[marks <= steps[-1]]:
                line(drawn, view.pixel(moved(self.outline, scene.pose[k])), WHITE, width=1)
            cv2.addWeighted(drawn, 0.5, plain, 0.5, 0.0, dst=drawn)
        if vouched:
            line(drawn, view.pixel(moved(self.outline, scene.pose[nearest])), YELLOW)
        for mark, colour in ((scene.predicted, BLUE), (scene.measured, ORANGE)):
            if mark is not None:
                line(drawn, view.pixel(ellipse(mark.place, mark.covariance)), colour)
                dot(drawn, view.pixel(mark.place[None])[0], colour)
        way = scene.finger[scene.finger_time <= now + self.patience]
        if len(way):
            line(drawn, view.pixel(way), PINK, closed=False)
            dot(drawn, view.pixel(way[-1:])[0], PINK, radius=4)
        return self._framed(drawn, view, self._text(now, nearest if vouched else None))

    def _counting(self, pose: int) -> list[Marker]:
        """The car's markers that count in a pose."""
        return [marker for marker, seen in zip(self.scene.car.markers, self.scene.seen[pose], strict=True) if seen]

    def _text(self, now: float, nearest: int | None) -> list[tuple[str, Colour]]:
        scene = self.scene
        turned = (
            "pose not vouched for"
            if nearest is None
            else f"turned {np.degrees(scene.pose[nearest, 2] - scene.pose[0, 2]):+.1f} deg"
        )
        lines: list[tuple[str, Colour]] = [(scene.title, WHITE)] if scene.title else []
        lines.append((f"{now:6.2f} s   {turned}", WHITE))
        counting = 0 if nearest is None else len(self._counting(nearest))
        lines.append((f"car markers used: {counting} of {len(scene.car.markers)}", WHITE))
        if len(scene.finger):
            lines.append(("path of the fingertip", PINK))
        for mark, colour in ((scene.measured, ORANGE), (scene.predicted, BLUE)):
            if mark is not None:
                lines.append((mark.label, colour))
        return lines

    def _framed(self, drawn: BgrImage, view: FloorView, lines: list[tuple[str, Colour]]) -> BgrImage:
        """Paint over what lies outside the sheets, cut, make small enough for the web, add the words."""
        if not self.whole:
            seen = np.concatenate([view.pixel(self.keep, z) for z in (0.0, KEEP_HEIGHT)])
            hull = cv2.convexHull(seen.astype(np.float32))
            mask = np.zeros(drawn.shape[:2], np.uint8)
            cv2.fillConvexPoly(mask, np.round(hull).astype(np.int32), 255)
            drawn[mask == 0] = 60
            if self.box is None:  # the first picture sets the frame, so that it does not dance
                low = np.clip(np.floor(seen.min(axis=0)), 0, None).astype(int)
                high = np.minimum(np.ceil(seen.max(axis=0)).astype(int), [drawn.shape[1], drawn.shape[0]])
                self.box = (int(low[0]), int(low[1]), int(high[0]), int(high[1]))
        left, top, right, bottom = self.box or (0, 0, drawn.shape[1], drawn.shape[0])
        part = drawn[top:bottom, left:right]
        scale = min(1.0, self.widest / part.shape[1])
        size = [max(2, int(side * scale) // 2 * 2) for side in (part.shape[1], part.shape[0])]  # VP8: even
        small = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8)
        return captioned(small, lines, scale=max(0.35, 0.55 * size[0] / 800))
