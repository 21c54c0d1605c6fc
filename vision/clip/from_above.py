"""A film from above: two pushes side by side, turned into one view, started together, with outlines and numbers.

Each clip is turned into the view of somebody who looks straight down at its car. The plane shown is that of the
marker plate, not the floor: there the car one sees and the outline that was measured lie on one another, however
obliquely the camera looked, and lengths are true for the car. Both films are nose up, in the axes that the car had
when it was still at rest, at one scale, and start at the moment in which the car began to move.
"""

import math
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from vision.base.errors import InputError, VisionError
from vision.base.plane import moved
from vision.base.types import BgrImage, Camera, CameraView, FloatArray
from vision.clip.draw import BLUE, ORANGE, WHITE, YELLOW, Colour, FloorView, captioned, dense, line
from vision.clip.overlay import opened, pictures
from vision.clip.quiet import quiet_stderr

GREY: Colour = (190, 190, 190)
RATE = 10.0
"""Pictures per second: VP8 costs about 0.07 us for every pixel of every picture."""
PANEL_HEIGHT = 360
"""px of one car's panel in the film; twice that in the still."""
MARGIN = 0.035
"""m of floor shown around all that the two cars cover."""
LEAD, TAIL = 0.4, 0.8
"""s shown before the first movement and after the later of the two ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PushFromAbove:
    """One push as it is shown. m, s, rad.

    clip: the video file.  camera, view: the ones its track was made with.  picture_time: (p,) s, as in the track.
    time: (n,) s, pose: (n, 3) x, y, yaw of the car axes in floor axes.
    start_pose: (3,) at rest, floor axes.  onset: s, the last moment of the rest before the push.
    end: s, the last loaded pose.
    outline: (m, 2) m, the car from above in car axes.  wheelbase: m.
    height: m above the floor of the plane that is shown (the marker plate's).
    nose, tail: (n,) m, how far the middles of the axles went by then, positive the way the finger pushed.
    balance: m ahead of the rear axle, the line by the push, or None.  forecast: the same by weights and grip.
    captions: lines below the picture, plain ASCII.
    """

    clip: Path
    camera: Camera
    view: CameraView
    time: FloatArray
    pose: FloatArray
    start_pose: FloatArray
    onset: float
    end: float
    outline: FloatArray
    wheelbase: float
    height: float
    nose: FloatArray
    tail: FloatArray
    balance: float | None = None
    forecast: float | None = None
    captions: tuple[str, ...] = ()
    picture_time: FloatArray = field(default_factory=lambda: np.zeros(0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The piece of the plane that both panels show, in the car axes of the start: nose up, left is left.

    low, high: (2,) m, x ahead and y to the left.  scale: px per m.
    """

    low: FloatArray
    high: FloatArray
    scale: float

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) px, even."""
        across, along = (self.high - self.low)[::-1] * self.scale
        return max(2, round(across / 2) * 2), max(2, round(along / 2) * 2)

    def pixel(self, flat: FloatArray) -> FloatArray:
        """(..., 2) m in the start's car axes -> (..., 2) px, pixel centres at whole numbers.

        flat: (..., 2) m.
        """
        shown: FloatArray = np.stack([self.high[1] - flat[..., 1], self.high[0] - flat[..., 0]], axis=-1)
        return shown * self.scale - 0.5

    def grid(self) -> FloatArray:
        """(height, width, 2) m, what each pixel shows: the inverse of `pixel`."""
        width, height = self.size
        u, v = np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float))
        grid: FloatArray = np.stack([self.high[0] - (v + 0.5) / self.scale, self.high[1] - (u + 0.5) / self.scale], -1)
        return grid


def film_from_above(
    out: Path,
    pushes: Sequence[PushFromAbove],
    *,
    title: str = "",
    panel_height: int = PANEL_HEIGHT,
    rate: float = RATE,
    progress: Callable[[float], None] | None = None,
) -> None:
    """Write the pushes side by side to `out`, a .webm file (VP8, no sound).

    pushes: one or more, left to right.  title: one ASCII line.  progress: called with 0..1.
    Raises InputError when a clip cannot be read or `out` is no .webm; VisionError when it cannot be written.
    """
    if out.suffix.lower() != ".webm":
        raise InputError("films from above are WebM files", where=str(out), remedy="Use a name that ends in .webm")
    window = common_window(pushes, panel_height)
    last = max(push.end - push.onset for push in pushes) + TAIL
    moments = np.arange(-LEAD, last, 1.0 / rate)
    panels = [_panels(push, window, moments) for push in pushes]
    writer: cv2.VideoWriter | None = None
    try:
        for number, moment in enumerate(moments):
            shown = _together([next(panel) for panel in panels], pushes, moment, title)
            if writer is None:
                with quiet_stderr():
                    size = (shown.shape[1], shown.shape[0])
                    writer = cv2.VideoWriter(str(out), cv2.VideoWriter.fourcc(*"VP80"), rate, size)
                if not writer.isOpened():
                    raise _unwritable(out)
            writer.write(shown)
            if progress is not None:
                progress((number + 1) / len(moments))
    finally:
        for panel in panels:
            panel.close()
        if writer is not None:
            writer.release()


def still_from_above(
    out: Path, pushes: Sequence[PushFromAbove], *, title: str = "", panel_height: int = 2 * PANEL_HEIGHT
) -> None:
    """Write one picture of the pushes' ends side by side: PNG or JPEG. Raises as `film_from_above`."""
    window = common_window(pushes, panel_height)
    shown = []
    for push in pushes:
        (panel,) = _panels(push, window, np.array([push.end - push.onset]))
        shown.append(panel)
    picture = _together(shown, pushes, max(push.end - push.onset for push in pushes), title)
    try:
        good = cv2.imwrite(str(out), picture)
    except cv2.error as error:
        raise InputError(
            "no way to write this kind of picture", where=str(out), remedy="Use a name that ends in .png or .jpg"
        ) from error
    if not good:
        raise _unwritable(out)


def common_window(pushes: Sequence[PushFromAbove], panel_height: int) -> Window:
    """The smallest window that holds every outline of every push, from start to end."""
    if not pushes:
        raise InputError("there is no push to show", where="film from above", remedy="Give one push or more")
    seen = []
    for push in pushes:
        part = (push.time >= push.onset - LEAD) & (push.time <= push.end + TAIL)
        for pose in [push.start_pose, *push.pose[part][::3], *push.pose[part][-1:]]:
            seen.append(moved(push.outline, _from_start(pose, push.start_pose)))
    points = np.concatenate(seen)
    low, high = points.min(axis=0) - MARGIN, points.max(axis=0) + MARGIN
    return Window(low=low, high=high, scale=panel_height / float(high[0] - low[0]))


def _from_start(pose: FloatArray, start: FloatArray) -> FloatArray:
    """A floor pose (3,) in the car axes of the start pose (3,); m, m, rad."""
    c, s = math.cos(start[2]), math.sin(start[2])
    dx, dy = pose[0] - start[0], pose[1] - start[1]
    return np.array([c * dx + s * dy, -s * dx + c * dy, pose[2] - start[2]])


def _panels(push: PushFromAbove, window: Window, moments: FloatArray) -> Generator[BgrImage]:
    """One panel for each moment (k,) s after the onset, increasing; the nearest picture, held at either end."""
    source = opened(push.clip)
    flat = moved(window.grid().reshape(-1, 2), push.start_pose)
    maps: tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]] | None = None
    mapped: float | None = None
    stream = pictures(source, push.camera, push.picture_time, push.clip)
    try:
        held = next(stream, None)
        if held is None:
            raise InputError(
                "this clip has no picture", where=str(push.clip), remedy="Give the video file that was measured"
            )
        following = next(stream, None)
        for moment in moments + push.onset:
            while following is not None and abs(following[0] - moment) <= abs(held[0] - moment):
                held, following = following, next(stream, None)
            rotation, place = push.view.at(np.asarray(held[0]))
            if np.isfinite(place).all() and (maps is None or (len(push.view.time) > 1 and mapped != held[0])):
                seen = FloorView(camera=push.camera, rotation=rotation, place=place).pixel(flat, push.height)
                width, height = window.size
                shaped = seen.reshape(height, width, 2).astype(np.float32)
                maps, mapped = (shaped[..., 0], shaped[..., 1]), held[0]
            if maps is None:
                width, height = window.size
                panel = np.full((height, width, 3), 60, np.uint8)
            else:
                turned = cv2.remap(held[1], *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
                panel = np.asarray(turned, np.uint8)
            # The pose belongs to the picture shown, not to the moment asked for: they lie up to half a frame apart.
            _draw(panel, push, window, held[0])
            yield panel
    finally:
        source.release()


def pose_at(push: PushFromAbove, moment: float) -> FloatArray:
    """(3,) pose in the start's car axes at a moment, s; straight in between, held beyond the track."""
    pose = np.array([np.interp(moment, push.time, push.pose[:, axis]) for axis in range(3)])
    return _from_start(pose, push.start_pose)


def _draw(panel: BgrImage, push: PushFromAbove, window: Window, moment: float) -> None:
    """Start outline, outline, balance lines, nose and tail numbers."""
    pose = pose_at(push, moment)
    thick = max(1, round(window.size[1] / 300))
    line(panel, window.pixel(dense(push.outline)), GREY, width=thick)
    line(panel, window.pixel(moved(dense(push.outline), pose)), YELLOW, width=thick)
    half = float(np.abs(push.outline[:, 1]).max())
    for station, colour, dashed in ((push.forecast, BLUE, True), (push.balance, ORANGE, False)):
        if station is None:
            continue
        ends = np.array([[station, half], [station, -half]])
        cuts = np.linspace(0.0, 1.0, 14) if dashed else np.array([0.0, 1.0])
        for a, b in zip(cuts[::2], cuts[1::2], strict=True):
            part = moved(ends[0] + (ends[1] - ends[0]) * np.array([[a], [b]]), pose)
            line(panel, window.pixel(part), colour, width=thick + 1, closed=False)
    ahead, behind = float(push.outline[:, 0].max()), float(push.outline[:, 0].min())
    for name, at, way, inward in (("nose", ahead, push.nose, -1.0), ("tail", behind, push.tail, 1.0)):
        went = float(np.interp(moment, push.time, way))
        spot = window.pixel(moved(np.array([[at + inward * 0.028, 0.0]]), pose))[0]
        _word(panel, f"{name} {1000 * went:.0f} mm".replace("-0 mm", "0 mm"), spot)


def _word(panel: BgrImage, text: str, middle: FloatArray) -> None:
    """A word in white with a dark rim, centred, in place and always inside the panel."""
    scale, font = panel.shape[0] / 900, cv2.FONT_HERSHEY_SIMPLEX
    (wide, tall), _ = cv2.getTextSize(text, font, scale, 1)
    x = int(np.clip(middle[0] - wide / 2, 2, max(2, panel.shape[1] - wide - 2)))
    y = int(np.clip(middle[1] + tall / 2, tall + 2, panel.shape[0] - 4))
    for colour, width in (((20, 20, 20), 4), (WHITE, 1)):
        cv2.putText(panel, text, (x, y), font, scale, colour, width if scale < 0.7 else 2 * width, cv2.LINE_AA)


def _together(panels: Sequence[BgrImage], pushes: Sequence[PushFromAbove], moment: float, title: str) -> BgrImage:
    """Panels side by side with a gap, each with its captions, and the title and the time below."""
    lines = max(len(push.captions) for push in pushes)
    scale = max(0.32, panels[0].shape[0] / 1000)
    worded = []
    for panel, push in zip(panels, pushes, strict=True):
        words: list[tuple[str, Colour]] = [(text, WHITE) for text in push.captions]
        words += [("", WHITE)] * (lines - len(words))
        worded.append(captioned(panel, words, scale=scale) if lines else panel)
    gap = np.full((worded[0].shape[0], 6, 3), 255, np.uint8)
    row: list[BgrImage] = []
    for panel in worded:
        row += [panel, gap] if panel is not worded[-1] else [panel]
    when = f"{moment:+.1f} s" if moment < 0 else f"{moment:.1f} s after the first movement"
    shown = captioned(np.concatenate(row, axis=1), [(part, WHITE) for part in (title, when) if part], scale=scale)
    return np.ascontiguousarray(shown[:, : shown.shape[1] // 2 * 2])


def _unwritable(out: Path) -> VisionError:
    return VisionError(
        "the film from above cannot be written",
        where=str(out),
        remedy="Check that the folder exists, has space and may be written to",
    )
