"""Timed grey frames of a clip, read forward only, with everything noticed that a reader hides.

Time is POS_MSEC after each read, not index / rate: phones record with a varying rate. Decoding runs on its own
thread with a short queue, so a clip of any length takes the same memory.
"""

import os
import queue
import struct
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from vision.base.errors import InputError, VisionError
from vision.base.types import GreyImage
from vision.clip.boxes import boxes_of_file

UNFILLED = 4_000_000_000  # bytes; a RIFF header promises more only until its writer closes the file
PICTURE_STARTS = (b"\xff\xd8\xff", b"\x89PNG", b"GIF8", b"BM", b"II*\x00", b"MM\x00*")
CLIP_REMEDY = "Give a video file as the camera wrote it (MP4, MOV, WebM, AVI or MKV)"
LUMA_FIRST = frozenset(
    [*b"I420 IYUV YV12 Y42B 422P 444P 440P Y41B 411P NV12 NV21 NV16 NV61 NV24 NV42 Y800 GREY".split(), b"Y8  "]
)
"""Pixel formats of eight bits whose first plane is the luma. All others (ten bits, as phones record HDR; packed RGB)
are converted by the reader: taken as they are, OpenCV would hand out their bytes as if each were a sample."""
QUEUE = 6
DECODERS = max(1, min(2, os.cpu_count() or 1))  # threads: 2 decode on a thread of their own


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One frame. index: count from 0.  time: s from the stream's start.  grey: (h, w).

    repeated: its picture is the same, sample by sample, as the one before (the camera sent it twice, or
    a compressed scene in which nothing at all changed).
    """

    index: int
    time: float
    grey: GreyImage
    repeated: bool


@dataclass(slots=True)
class ClipReport:
    """What reading told about the clip; complete once the last frame is out.

    promised: s, the container's own duration, 0 when it gives none.  backwards: frames whose time stamp did not
    advance (left out).  longest_gap, usual_gap: s.  dropped: frames missing at the usual gap.
    pixel_shape: width over height of a pixel as it is shown, which the file's tag says; the pictures are as stored.
    cut: reason for thinking that the file lacks its end, or "".  times: s of every picture, in order.
    """

    size: tuple[int, int] = (0, 0)
    rotation: int = 0
    pixel_shape: float = 1.0
    promised: float = 0.0
    frames: int = 0
    repeated: int = 0
    backwards: int = 0
    last_time: float = 0.0
    usual_gap: float = 0.0
    longest_gap: float = 0.0
    dropped: int = 0
    cut: str = ""
    times: list[float] = field(default_factory=list)
    _gaps: list[float] = field(default_factory=list)

    def add_gap(self, gap: float) -> None:
        """Keep a bounded sample of gaps: enough for the median, never the whole clip."""
        self.longest_gap = max(self.longest_gap, gap)
        if len(self._gaps) < 2000:
            self._gaps.append(gap)
        self.usual_gap = float(np.median(self._gaps)) if len(self._gaps) in (1, 8, 64, 512) else self.usual_gap
        if self.usual_gap > 0 and len(self._gaps) >= 8 and gap > 1.6 * self.usual_gap:
            self.dropped += round(gap / self.usual_gap) - 1

    def close(self, path: Path) -> None:
        """Compare what was read with what the container promised."""
        if self._gaps:
            self.usual_gap = float(np.median(self._gaps))
        missing = self.promised - (self.last_time + self.usual_gap)
        if self.cut == "" and self.promised > 0 and missing > max(3.5 * self.usual_gap, 0.03 * self.promised):
            self.cut = (
                f"the file promises {self.promised:.2f} s but the pictures end at "
                f"{self.last_time + self.usual_gap:.2f} s"
            )
        if not self.cut:
            self.cut = container_cut(path)


def container_cut(path: Path) -> str:
    """Whether the file is shorter than its own container says: the reason, or "".

    Reads only the sizes in the headers: ISO base media boxes (ISO/IEC 14496-12), RIFF chunks.
    """
    size = path.stat().st_size
    with path.open("rb") as stream:
        head = stream.read(12)
    if head[:4] == b"RIFF":
        promised = struct.unpack("<I", head[4:8])[0] + 8
        # A file over 4 GB wraps this number, so only a larger promise says anything.
        if promised > UNFILLED and size < promised // 2:
            return "its recorder never finished it: the length in its header was not filled in"
    else:
        promised = max((end for _, _, end in boxes_of_file(path)), default=0)
    return f"the file ends {promised - size} bytes early" if promised > size else ""


def check_clip(path: Path) -> None:
    """Raise InputError with what is wrong and what to do for anything that cannot be a clip."""
    where = str(path)
    if not path.exists():
        raise InputError("there is no such file", where=where, remedy="Check the name and the folder")
    if path.is_dir():
        raise InputError("this is a folder, not a clip", where=where, remedy="Name the video file inside it")
    try:
        with path.open("rb") as stream:
            head = stream.read(16)
    except OSError as error:
        raise InputError(
            f"the file cannot be read ({error.strerror})", where=where, remedy="Check its permissions"
        ) from error
    if not head:
        raise InputError("the file is empty", where=where, remedy="Copy the clip from the camera again")
    if (
        head.startswith(PICTURE_STARTS)
        or (head[:4] == b"RIFF" and head[8:12] == b"WEBP")
        or (head[4:8] == b"ftyp" and head[8:12] in (b"heic", b"heix", b"mif1", b"avif"))
    ):
        raise InputError(
            "this is a picture, not a clip", where=where, remedy="Film the push as a video and give that file"
        )


def _open(path: Path, threads: int) -> Any:
    import cv2

    capture = cv2.VideoCapture(str(path), cv2.CAP_FFMPEG, [cv2.CAP_PROP_N_THREADS, max(1, threads)])
    if capture.isOpened() and _pixel_format(capture) in LUMA_FIRST:
        capture.set(cv2.CAP_PROP_CONVERT_RGB, 0)  # the luma plane as it is: nothing to convert
    return capture


def _pixel_format(capture: Any) -> bytes:
    """Four-character code of the decoded samples, as FFmpeg tags them."""
    import cv2

    return struct.pack("<I", int(capture.get(cv2.CAP_PROP_CODEC_PIXEL_FORMAT)) & 0xFFFFFFFF)


def _grey(picture: Any) -> GreyImage:
    """Luma of whatever the reader gives: one plane, or BGR from formats without one."""
    import cv2

    if picture.ndim == 2:
        plane = picture
    elif picture.shape[2] == 1:
        plane = picture[..., 0]
    else:
        plane = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    return np.ascontiguousarray(plane)


class FrameReader:
    """Frames of one clip in order: `for frame in FrameReader(path)`, then look at `report`.

    threads: 1 decodes in the caller's thread, more on a thread of its own ahead of the caller.
    slower: the file's times over true ones (slow motion); all times here are true ones.
    Raises InputError when the file is no clip or its codec cannot be read.
    Use as a context manager, or call `close`, to stop early.
    """

    def __init__(self, path: Path | str, *, threads: int = DECODERS, slower: float = 1.0) -> None:
        import cv2

        self.path = Path(path)
        check_clip(self.path)
        self._log_level = cv2.utils.logging.getLogLevel()
        # The library would print a line for every luma plane; what goes wrong is noticed and said here.
        cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
        self._capture = _open(self.path, threads)
        if not self._capture.isOpened():
            cv2.utils.logging.setLogLevel(self._log_level)
            cut = container_cut(self.path)
            if cut:
                raise InputError(
                    f"the clip does not open: {cut}",
                    where=str(self.path),
                    remedy="Copy the clip from the camera again",
                )
            raise InputError(
                "the file does not open as a video (no video in it, damaged, or a codec that this "
                "computer cannot read)",
                where=str(self.path),
                remedy=CLIP_REMEDY,
            )
        rate = self._capture.get(cv2.CAP_PROP_FPS)
        count = self._capture.get(cv2.CAP_PROP_FRAME_COUNT)
        self.report = ClipReport(
            promised=count / rate / slower if rate > 0 and count > 0 else 0.0,
            rotation=int(self._capture.get(cv2.CAP_PROP_ORIENTATION_META)),
        )
        wide, high = self._capture.get(cv2.CAP_PROP_SAR_NUM), self._capture.get(cv2.CAP_PROP_SAR_DEN)
        if wide > 0 and high > 0:
            upright = self.report.rotation % 180 == 0
            self.report.pixel_shape = float(wide / high if upright else high / wide)
        self._threads, self._slower = threads, slower
        self._stop = threading.Event()
        self._worker: threading.Thread | None = None
        self._ahead: queue.Queue[Frame | BaseException | None] = queue.Queue(maxsize=QUEUE)

    def __enter__(self) -> "FrameReader":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Stop reading. Frames already handed out stay valid."""
        import cv2

        self._stop.set()
        if self._worker is not None:
            while self._worker.is_alive():  # the worker may be waiting for room in the queue
                try:
                    self._ahead.get(timeout=0.02)
                except queue.Empty:
                    continue
            self._worker = None
        self._capture.release()
        cv2.utils.logging.setLogLevel(self._log_level)

    def __iter__(self) -> Iterator[Frame]:
        if self._threads <= 1:
            yield from self._decode()
            return
        self._worker = threading.Thread(target=self._work, daemon=True, name="decoding")
        self._worker.start()
        while True:
            item = self._ahead.get()
            if item is None:
                return
            if isinstance(item, BaseException):
                raise item
            yield item

    def _work(self) -> None:
        try:
            for frame in self._decode():
                if not self._put(frame):
                    return
            self._put(None)
        except BaseException as error:  # handed to the caller's thread
            self._put(error)

    def _put(self, item: Frame | BaseException | None) -> bool:
        while not self._stop.is_set():
            try:
                self._ahead.put(item, timeout=0.05)
                return True
            except queue.Full:
                continue
        return False

    def _decode(self) -> Iterator[Frame]:
        import cv2

        report = self.report
        previous: GreyImage | None = None
        last = -1.0
        while not self._stop.is_set():
            good, picture = self._capture.read()
            if not good:
                break
            time = self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1000.0 / self._slower
            grey = _grey(picture)
            index = report.frames
            report.frames += 1
            report.times.append(time)
            if index == 0:
                report.size = (grey.shape[1], grey.shape[0])
            elif (grey.shape[1], grey.shape[0]) != report.size:
                raise VisionError(
                    f"the picture changes its size at {time:.2f} s",
                    where=str(self.path),
                    remedy="Film the push in one go, without turning the camera over",
                )
            if time <= last:
                report.backwards += 1
                continue
            if last >= 0:
                report.add_gap(time - last)
            last = report.last_time = time
            # Some rows first, then more: only pictures that agree there are compared sample by sample.
            repeated = previous is not None and all(
                np.array_equal(grey[rows], previous[rows])
                for rows in (slice(24, None, 48), slice(3, None, 8), slice(None))
            )
            report.repeated += repeated
            previous = grey
            yield Frame(index=index, time=time, grey=grey, repeated=bool(repeated))
        if report.frames == 0:
            cut = container_cut(self.path)
            raise InputError(
                "the file opens but no picture in it can be decoded" + (f": {cut}" if cut else ""),
                where=str(self.path),
                remedy="Copy the clip from the camera again" if cut else CLIP_REMEDY,
            )
        report.close(self.path)
