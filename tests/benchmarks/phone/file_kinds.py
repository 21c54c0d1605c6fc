"""Trouble with the file: mirrored, slow motion, cut, cropped, truncated, dark, out of focus."""

from collections.abc import Iterator

import cv2
import numpy as np

from tests.benchmarks.phone.film import Tape
from tests.benchmarks.phone.kinds import kind
from tests.benchmarks.phone.optics import Array
from tests.benchmarks.phone.shot import Shot

SLOW = r"slow motion|captured|play(s|ed)? (back )?(slow|at)|true rate|capture rate"
DOUBTFUL_SPEED = 3.0


@kind("mirrored", (1,), r"mirror", fine=False)
def _mirrored(shot: Shot, size: float) -> None:
    shot.edit = lambda signals, times: (np.ascontiguousarray(one[:, ::-1]) for one in signals)


@kind("slow motion, nobody says so", (4, 8), SLOW, speed=True)
def _slow(shot: Shot, size: float) -> None:
    shot.moving, shot.rest, shot.after = 0.45, 0.12, 0.12
    shot.times = np.arange(0, shot.length, 1 / (30 * size))
    shot.stamps = shot.times * size


@kind("slow motion, on the test card", (4, 8), SLOW, speed=True)
def _slow_told(shot: Shot, size: float) -> None:
    _slow(shot, size)
    shot.cards["captured_frames_per_s"] = 30.0 * size


# what was cut off holds the push's end, or does not: nobody can ask for an answer
@kind("cut short (mkv)", (0.75, 0.9), r"cut short|truncat|damaged|incomplete", fine=False)
def _cut(shot: Shot, size: float) -> None:
    shot.tape = Tape(suffix=".mkv", keep=size)


@kind(
    "cut short (mp4)",
    (0.6, 0.95),
    r"cannot be (opened|read)|not a video|damaged|cut short|no picture|ends \d+ bytes early",
    fine=False,
)
def _cut_mp4(shot: Shot, size: float) -> None:
    shot.tape = Tape(keep=size)


@kind("begins in mid-push", (0.1, 0.3), r"rest|begin|start|before the push", fine=False)
def _begins(shot: Shot, size: float) -> None:
    shot.rest = -size * shot.moving


@kind("ends in mid-push", (0.1, 0.3), r"rest|end|after the push", fine=False)
def _ends(shot: Shot, size: float) -> None:
    shot.after = -size * shot.moving


@kind("hardly any rest", (0.1, 0.17), r"rest|begin|end|still")
def _no_rest(shot: Shot, size: float) -> None:
    shot.rest = shot.after = size


@kind("dark", (12, 6), r"light|dark|dim|grey", fine=False)
def _dark(shot: Shot, size: float) -> None:
    shot.sensor.gain, shot.sensor.noise = (size / 255) ** 2.2, (0.006, 0.02)


@kind("out of focus", (2.0, 4.0), r"soft|focus|sharp", fine=False)
def _focus(shot: Shot, size: float) -> None:
    shot.sensor.blur = size


@kind("far away", (2.0, 3.0), r"near|resolution|pixels|wide", fine=False)
def _far(shot: Shot, size: float) -> None:
    assert shot.lens is not None
    shot.lens.focal /= size


@kind("overexposed", (1.5, 2.5), r"light|bright|expos")
def _bright(shot: Shot, size: float) -> None:
    shot.sensor.gain = size


@kind("resized by a messenger", (0.5, 0.7), r"near|resolution|pixels|wide")
def _resized(shot: Shot, size: float) -> None:
    width, height = (round(one * size / 2) * 2 for one in shot.size)
    shot.edit = lambda signals, times: (
        cv2.resize(one, (width, height), interpolation=cv2.INTER_AREA) for one in signals
    )
    shot.tape.quality = 28


# nothing in such a file says by how much: one view of a floor gives a focal length or a shape of pixels, not both
@kind("squeezed (pixels not square)", (0.75, 0.9), r"aspect|not square|squeezed|stretched|calibrate|lens", fine=False)
def _squeezed(shot: Shot, size: float) -> None:
    width = round(shot.size[0] * size / 2) * 2
    shot.edit = lambda signals, times: (
        cv2.resize(one, (width, shot.size[1]), interpolation=cv2.INTER_AREA) for one in signals
    )


@kind("pictures frozen", (3, 6), r"cop(y|ies)|twice|frozen|missing|same picture")
def _frozen(shot: Shot, size: float) -> None:
    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        kept: Array | None = None
        first = int((shot.rest + 0.3) * shot.rate)
        for index, one in enumerate(signals):
            if kept is None or not first < index <= first + size:
                kept = one
            yield kept

    shot.edit = edit


@kind("a picture of blocks", (1, 3), r"left out|damaged|cannot be used|frames")
def _blocks(shot: Shot, size: float) -> None:
    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        broken = set(int(shot.rest * shot.rate) + 5 + shot.rng.integers(0, 12, int(size)))
        for index, one in enumerate(signals):
            if index in broken:
                one = cv2.resize(one[::32, ::32], one.shape[::-1], interpolation=cv2.INTER_NEAREST)
            yield one

    shot.edit = edit
