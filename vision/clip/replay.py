"""A push shown again: pictures of the clip from its rest to its end, each with the car's outline where it was measured.

The pictures are packed anew (JPEG), so that a browser shows any clip that was measured, whatever its codec, turned
as it was filmed, and so that what is drawn on a picture belongs to that very picture, not to a player's clock.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.base.errors import InputError
from vision.base.plane import moved
from vision.base.types import BgrImage, FloatArray
from vision.clip.draw import FloorView
from vision.clip.from_above import PushFromAbove
from vision.clip.live_overlay import LiveScene, draw_live
from vision.clip.overlay import opened, pictures

SHOWN_WIDEST = 800
"""px of a picture as it is shown again."""
MOST = 120
"""Pictures of a push that are kept; of a quicker camera they are taken at even steps of time."""
BEFORE, AFTER = 0.4, 0.6
"""s shown before the first movement and after the end of the push."""
ROUND = 0.3
"""Of the car's size in the picture, shown on all sides of it: the finger, and little of who stands around."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """A push, picture by picture. jpeg: k pictures.  time: (k,) s after the last moment of rest.

    pose: (k, 3) m, m, rad in the car axes of the start, nan where that picture's pose is not vouched for.
    nose, tail: (k,) m, how far the middles of the axles had gone across, positive the way the finger pushed.
    """

    jpeg: tuple[bytes, ...]
    time: FloatArray
    pose: FloatArray
    nose: FloatArray
    tail: FloatArray


def replay(
    push: PushFromAbove,
    *,
    widest: int = SHOWN_WIDEST,
    most: int = MOST,
    room: float = ROUND,
    progress: Callable[[float], None] = lambda share: None,
) -> Replay:
    """The pictures of a push with outline, balance line and the trails of both axles' middles drawn on them.

    widest: px.  most: pictures.  room: shown around the car, of its size in the picture.
    progress: called with 0..1 as pictures are read.
    Raises InputError when the clip cannot be read, its size is not the camera's or no picture of the push is in it.
    """
    first, last = push.onset - BEFORE, push.end + AFTER
    step = (last - first) / most
    painter = _Painter(push, _box(push, (first, last), room), widest)
    jpeg: list[bytes] = []
    shown: list[tuple[float, int | None]] = []
    source = opened(push.clip)
    try:
        for now, picture in pictures(source, push.camera, push.picture_time, push.clip):
            progress(min(max(now / last, 0.0), 1.0))
            if now > last:
                break
            if now < first or now < first + len(shown) * step - 1e-9:
                continue
            at = painter.row(now)
            jpeg.append(painter.packed(picture, now, at))
            shown.append((now, at))
    finally:
        source.release()
    if not shown:
        raise InputError(
            "no picture of the push is in this clip", where=str(push.clip), remedy="Give the clip that was measured"
        )
    nothing = np.full(3, np.nan)
    return Replay(
        jpeg=tuple(jpeg),
        time=np.array([now for now, _ in shown]) - push.onset,
        pose=np.array([nothing if at is None else painter.from_start[at] for _, at in shown]),
        nose=np.array([np.nan if at is None else push.nose[at] for _, at in shown]),
        tail=np.array([np.nan if at is None else push.tail[at] for _, at in shown]),
    )


def _box(push: PushFromAbove, moments: tuple[float, float], room: float) -> tuple[int, int, int, int]:
    """Left, top, right, bottom, px: where the car is in any picture between two moments, s, and some room around it."""
    rows = np.flatnonzero((push.time >= moments[0]) & (push.time <= moments[1]))
    seen = []
    for row in rows[:: max(1, len(rows) // 20)]:
        rotation, place = push.view.at(np.asarray(push.time[row]))
        if np.isfinite(place).all():
            view = FloorView(camera=push.camera, rotation=rotation, place=place)
            flat = moved(push.outline, push.pose[row])
            seen += [view.pixel(flat), view.pixel(flat, push.height)]
    wide, high = push.camera.size
    if not seen:
        return 0, 0, wide, high
    points = np.clip(np.concatenate(seen), 0, (wide, high))
    low, most = points.min(axis=0), points.max(axis=0)
    around = room * float((most - low).max())
    left, top = np.floor(np.clip(low - around, 0, None)).astype(int)
    right, bottom = np.ceil(np.minimum(most + around, (wide, high))).astype(int)
    return (
        (int(left), int(top), int(right), int(bottom)) if right - left > 8 and bottom - top > 8 else (0, 0, wide, high)
    )


class _Painter:
    """Draws what was measured of a push on one picture after another."""

    def __init__(self, push: PushFromAbove, box: tuple[int, int, int, int], widest: int) -> None:
        self._push = push
        left, top, right, bottom = self._box = box
        self._scale = min(1.0, widest / (right - left))
        self._size = tuple(max(2, round(side * self._scale)) for side in (right - left, bottom - top))
        matrix = push.camera.matrix.copy()
        matrix[:2, 2] -= (left, top)
        self._camera = replace(push.camera, matrix=matrix, size=(right - left, bottom - top))
        gaps = np.diff(push.time)
        # a track's times are those of its pictures: what is farther off belongs to another one
        self._near = 0.25 * float(np.median(gaps)) if len(gaps) else 0.01
        turn = push.start_pose[2]
        back = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        self.from_start = np.column_stack([(push.pose[:, :2] - push.start_pose[:2]) @ back.T, push.pose[:, 2] - turn])
        heading = np.stack([np.cos(push.pose[:, 2]), np.sin(push.pose[:, 2])], axis=-1)
        since = push.time >= push.onset
        self._since = np.flatnonzero(since)
        self._trails = tuple(push.pose[:, :2] + station * heading for station in (push.wheelbase, 0.0))

    def row(self, now: float) -> int | None:
        """Which row of the track is this picture's; None where it was left out."""
        if not len(self._push.time):
            return None
        nearest = int(np.argmin(np.abs(self._push.time - now)))
        return nearest if abs(self._push.time[nearest] - now) <= self._near else None

    def packed(self, picture: BgrImage, now: float, at: int | None) -> bytes:
        """One picture, small, with what is known of it."""
        push = self._push
        left, top, right, bottom = self._box
        part = picture[top:bottom, left:right]
        small = np.asarray(cv2.resize(part, self._size, interpolation=cv2.INTER_AREA), np.uint8)
        rotation, place = push.view.at(np.asarray(now))
        if at is not None and np.isfinite(place).all():
            gone = self._since[self._since <= at]
            scene = LiveScene(
                outline=push.outline,
                pose=push.pose[at],
                trails=tuple(trail[gone] for trail in self._trails),
                balance=None if push.balance is None else (push.balance, push.balance, push.balance),
                height=push.height,
            )
            view = FloorView(camera=self._camera, rotation=rotation, place=place)
            small = draw_live(small, view, scene, scale=self._scale)
        good, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 80])
        assert good
        return data.tobytes()
