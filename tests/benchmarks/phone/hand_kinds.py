"""Trouble that hands, apps and editors make: cut, reversed, slowed, framed, smoothed clips; what else is in view."""

import math
from collections.abc import Iterator

import cv2
import numpy as np

from tests.benchmarks.phone.bench_kinds import SHEET
from tests.benchmarks.phone.kinds import kind
from tests.benchmarks.phone.optics import Array
from tests.benchmarks.phone.shot import WHEELBASE, Shot
from tests.benchmarks.phone.stage import FLOOR_ROW, Laid

LENS = r"calibrat|lens|focal|camera"
COVERED = r"cover|hands|other things|floor marker|hidden|line between"
LEAPT = r"jump|leap|cut out|edited|missing (between|there)|frozen"  # not the note on slow motion that every clip has


@kind("upscaled", (1.5, 2.0), clean=True)
def _upscaled(shot: Shot, size: float) -> None:
    width, height = (round(one * size / 2) * 2 for one in shot.size)
    shot.edit = lambda signals, times: (
        np.clip(cv2.resize(one, (width, height), interpolation=cv2.INTER_CUBIC), 0, 1) for one in signals
    )


@kind("black bars of an app", (80, 160), clean=True)
def _bars(shot: Shot, size: float) -> None:
    rows = int(size)
    shot.edit = lambda signals, times: (np.pad(one, ((rows, rows), (0, 0))) for one in signals)


@kind("black bars on one side", (60, 120), LENS + "|crop|picture that is not ordinary")
def _one_bar(shot: Shot, size: float) -> None:
    shot.edit = lambda signals, times: (np.pad(one, ((0, 0), (int(size), 0))) for one in signals)


@kind("framed by its own blurred picture", (1.8, 2.4), r"twice|copies", fine=True)
def _framed(shot: Shot, size: float) -> None:
    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        for one in signals:
            rows, columns = one.shape
            tall = round(rows * size / 2) * 2
            wide = cv2.resize(one, None, fx=size, fy=size, interpolation=cv2.INTER_LINEAR)
            left = (wide.shape[1] - columns) // 2
            picture = cv2.GaussianBlur(wide[:tall, left : left + columns], (0, 0), 12)
            top = (tall - rows) // 2
            picture[top : top + rows] = one
            yield picture

    shot.edit = edit


@kind("writing of an app over the picture", (0.10, 0.18), COVERED, fine=True)
def _writing(shot: Shot, size: float) -> None:
    sheet = np.zeros(shot.size[::-1], np.uint8)
    at = (12, round(len(sheet) * (1 - size / 2)))
    cv2.putText(sheet, "30 Nov 10:42", at, cv2.FONT_HERSHEY_SIMPLEX, 1.4, 255, 4)
    written = sheet > 0

    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        for one in signals:
            rows, columns = one.shape
            picture = one.copy()
            picture[round(rows * (1 - size)) :, : columns // 2] = 1.0
            picture[written] = 0.0
            yield picture

    shot.edit = edit


@kind("cut out in mid-push", (3, 8), LEAPT, speed=True)
def _cut_out(shot: Shot, size: float) -> None:
    times = np.arange(0.0, shot.length, 1 / shot.rate)
    first = round((shot.rest + 0.35 * shot.moving) * shot.rate)
    shot.times = np.delete(times, np.arange(first, first + int(size)))
    shot.stamps = times[: len(shot.times)]


@kind("played backwards", (1,), r"exchanged|backwards|reverse|other side|touched on its")
def _backwards(shot: Shot, size: float) -> None:
    shot.times = np.arange(0.0, shot.length, 1 / shot.rate)[::-1].copy()
    shot.stamps = np.arange(len(shot.times)) / shot.rate


@kind("forwards and backwards again", (1,), clean=True)
def _boomerang(shot: Shot, size: float) -> None:
    times = np.arange(0.0, shot.length, 1 / shot.rate)
    shot.times = np.concatenate([times, times[::-1]])
    shot.stamps = np.arange(len(shot.times)) / shot.rate


@kind("slowed by an editor with pictures in between", (2,), r"slow motion|captured|true rate", speed=True)
def _between(shot: Shot, size: float) -> None:
    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        before: Array | None = None
        for one in signals:
            if before is not None:
                yield (before + one) / 2
            yield one
            before = one

    times = np.arange(0.0, shot.length, 1 / shot.rate)
    shot.times, shot.stamps = times, np.arange(2 * len(times) - 1) / shot.rate
    shot.edit = edit


@kind("smoothed from picture to picture", (0.3, 0.5), clean=True)
def _smoothed(shot: Shot, size: float) -> None:
    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        kept: Array | None = None
        for one in signals:
            kept = one if kept is None else size * kept + (1 - size) * one
            yield kept

    shot.edit = edit


@kind("local contrast", (0.5, 0.9), clean=True)
def _local(shot: Shot, size: float) -> None:
    shot.edit = lambda signals, times: (
        np.clip(one + size * (one - cv2.GaussianBlur(one, (0, 0), 18)), 0, 1) for one in signals
    )


@kind("lamp that flickers in bands", (0.1, 0.25), clean=True)
def _flicker(shot: Shot, size: float) -> None:
    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        for one, time in zip(signals, times, strict=True):
            row = np.arange(len(one)) / len(one)
            yield np.clip(one * (1 - size * (0.5 + 0.5 * np.sin(2 * math.pi * (100 * time + 2 * row))))[:, None], 0, 1)

    shot.edit = edit


@kind("another car's plate in view", (4,), clean=True)
def _other_plate(shot: Shot, size: float) -> None:
    first = int(size)
    shot.ids = shot.ids | {"other": (first, first + 1, first + 2)}
    shot.laid["other"] = Laid(np.array([0.0, 0.30]), 0.4, np.full(2, 0.6))


@kind("a second plate like the car's", (1,), r"twice|two cars|two copies", fine=False)
def _same_plate(shot: Shot, size: float) -> None:
    shot.ids = shot.ids | {"other": (0, 1, 2)}
    shot.laid["other"] = Laid(np.array([0.0, 0.30]), 0.4, np.full(2, 0.65))


@kind("the car's own shadow", (0.4, 0.6), r"shadow|light", fine=True)
def _own_shadow(shot: Shot, size: float) -> None:
    def shade(x: Array, y: Array, moment: float) -> Array:
        rear = shot.pose(moment)
        c, s = np.cos(rear[2]), np.sin(rear[2])
        dx, dy = x - rear[0] - WHEELBASE / 2 * c, y - rear[1] - WHEELBASE / 2 * s - 0.05
        along, left = c * dx + s * dy, -s * dx + c * dy
        inside = np.minimum(0.23 - np.abs(along), 0.11 - np.abs(left))
        return 1 - size / (1 + np.exp(-np.clip(inside / 0.003, -40, 40)))

    shot.shade = shade


@kind("floor sheet on a cable", (0.003, 0.006), r"flat|floor.{0,50}even|" + SHEET + "|floor marker", fine=True)
def _cable(shot: Shot, size: float) -> None:
    shot.bow = lambda x, y: size * np.exp(-(((y - 0.05) / 0.03) ** 2)) * (x > 0.19)


@kind(
    "floor sheet on the edge of a mat", (0.002, 0.005), r"flat|floor.{0,50}even|" + SHEET + "|higher|lower", fine=True
)
def _mat(shot: Shot, size: float) -> None:
    shot.bow = lambda x, y: size / (1 + np.exp(-(x - FLOOR_ROW + 0.08) / 0.008))


@kind("another phone's lens on the card", (0.88, 1.12), LENS, fine=False)
def _other_lens(shot: Shot, size: float) -> None:
    assert shot.lens is not None
    width, height = shot.size
    shot.bench |= {
        "camera.lens.width_px": width,
        "camera.lens.height_px": height,
        "camera.lens.fx_px": round(shot.lens.focal * size, 1),
        "camera.lens.fy_px": round(shot.lens.focal * size, 1),
        "camera.lens.cx_px": (width - 1) / 2,
        "camera.lens.cy_px": (height - 1) / 2,
        "camera.lens.k1": 0.03,
    }


@kind("a halt in mid-push", (0.12, 0.2), clean=True)
def _halt(shot: Shot, size: float) -> None:
    times = np.arange(0.0, shot.length + size, 1 / shot.rate)
    halt = shot.rest + 0.5 * shot.moving
    shot.times = np.where(times < halt, times, np.maximum(halt, times - size))
    shot.stamps = times


@kind("pushed twice, the second time farther", (0.5,), clean=True)
def _twice(shot: Shot, size: float) -> None:
    times = np.arange(0.0, shot.length + 0.6, 1 / shot.rate)
    halt = shot.rest + size * shot.moving
    shot.times = np.where(times < halt, times, np.maximum(halt, times - 0.6))
    shot.stamps = times
