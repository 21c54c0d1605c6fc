"""A clip that behaves like a camera."""

import time
from pathlib import Path

import cv2
import numpy as np


class PlayedClip:
    """One picture every 1/30 s of real time, and time stamps of its own. Give it to what opens a camera.

    skip: numbers of pictures that the device loses.
    """

    def __init__(self, path: Path, *, skip: frozenset[int] = frozenset()) -> None:
        self._clip, self._skip = cv2.VideoCapture(str(path)), skip
        self._start, self._number, self._stamp = time.monotonic(), 0, 0.0

    def isOpened(self) -> bool:  # noqa: N802 - OpenCV's name
        return bool(self._clip.isOpened())

    def set(self, *_: object) -> bool:
        return True

    def get(self, what: int) -> float:
        return self._stamp if what == cv2.CAP_PROP_POS_MSEC else float(self._clip.get(what))

    def read(self) -> tuple[bool, np.ndarray | None]:
        while True:
            time.sleep(max(self._start + self._number / 30.0 - time.monotonic(), 0.0))
            good, picture = self._clip.read()
            self._number += 1
            self._stamp = self._number * 1000.0 / 30.0
            if self._number not in self._skip or not good:
                return good, picture

    def release(self) -> None:
        self._clip.release()
