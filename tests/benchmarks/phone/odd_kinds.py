"""Trouble that nobody plans: what slips, dips or rings, mirrors and screens between, times that are not the file's."""

import math
from collections.abc import Iterator

import cv2
import numpy as np

from tests.benchmarks.phone.bench_kinds import LEAN, SHEET
from tests.benchmarks.phone.camera_kinds import MOVED, hand_sway
from tests.benchmarks.phone.hand_kinds import COVERED, LEAPT, LENS
from tests.benchmarks.phone.kinds import kind
from tests.benchmarks.phone.mistake_kinds import eased
from tests.benchmarks.phone.optics import Array, facing, turned
from tests.benchmarks.phone.shot import Shot
from tests.benchmarks.phone.stage import Laid

SOFT = r"soft|focus|sharp|light|smear"


@kind("plate slips on the car in mid-push", (0.001, 0.003), r"slip", fine=False)
def _slips(shot: Shot, size: float) -> None:
    """size: m, that it slips against the push, and 1° a millimetre."""
    against = -1.0 if shot.side == "right" else 1.0
    slip = np.array([0.0, against * size, math.radians(1000 * size)])
    shot.carried = lambda moment: slip * eased(moment - shot.rest - 0.3, 0.2)


@kind("mirror image in a glossy floor", (0.15, 0.35), r"gloss|reflect|mirror", fine=True)
def _glossy(shot: Shot, size: float) -> None:
    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        for one in signals:
            below = np.roll(one[::-1], round(0.35 * len(one)), axis=0)
            yield np.clip(one + size * (below - 0.5), 0, 1)

    shot.edit = edit


@kind("mirror beside the bench", (0.4, 0.55), clean=True)
def _mirror(shot: Shot, size: float) -> None:
    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        for one in signals:
            small = cv2.resize(one[:, ::-1], None, fx=size, fy=size, interpolation=cv2.INTER_AREA)
            beside = np.full((len(one), small.shape[1]), 0.3, one.dtype)
            beside[-len(small) :] = small
            yield np.concatenate([beside, one, np.full_like(beside, 0.3)], axis=1)  # the lens's middle stays one

    shot.edit = edit


def _screen(size: float, width: int, height: int) -> Array:
    """(3, 3) of a screen whose upper edge is shorter by this share, a little askew."""
    corner = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    seen = corner + np.array([[size * width / 2, 0.4 * size * height], [-size * width / 2, 0], [0, 0], [0, 0]])
    return cv2.getPerspectiveTransform(corner, seen.astype(np.float32))


@kind("filmed off a screen", (0.04, 0.10), LENS + r"|contradict|not flat", fine=False)
def _off_screen(shot: Shot, size: float) -> None:
    width, height = shot.size
    to = _screen(size, width, height)
    shot.edit = lambda signals, times: (
        cv2.GaussianBlur(cv2.warpPerspective(one, to, (width, height)), (0, 0), 0.7) for one in signals
    )


@kind("framing that follows the car", (0.3, 0.7), MOVED + "|crop|framing|follows")
def _follows(shot: Shot, size: float) -> None:
    """size: of the car's way, that the cut-out picture goes along."""
    width, height = shot.size
    towards = -1.0 if shot.side == "right" else 1.0  # left on the floor is up in the picture of a camera at the right

    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        for one, time in zip(signals, times, strict=True):
            way = size * shot.travel * 0.75 * width * eased(time - shot.rest, shot.moving)
            shift = np.array([[1.0, 0.0, -60.0], [0.0, 1.0, -40.0 - towards * way]])
            yield cv2.warpAffine(one, shift, (width - 120, height - 80), flags=cv2.INTER_LINEAR)

    shot.edit = edit


@kind("hand-held, locked on the floor by the phone", (1, 2), MOVED + "|contradict|stabilis")
def _locked(shot: Shot, size: float) -> None:
    shot.sway = hand_sway(shot, size)
    assert shot.lens is not None
    focal, (x, y), upright = shot.lens.focal, shot.lens.centre, facing(shot.eye, shot.aim, shot.roll)
    matrix = np.array([[focal, 0, x], [0, focal, y], [0, 0, 1.0]])

    def plane(moment: float) -> Array:
        angle, shift, _ = shot.sway(np.array([moment]))
        rotation, eye = turned(angle)[0] @ upright, shot.eye + shift[0]
        return matrix @ np.column_stack([rotation[:, 0], rotation[:, 1], -rotation @ eye])

    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        first = plane(float(times[0]))
        for one, time in zip(signals, times, strict=True):
            yield cv2.warpPerspective(one, first @ np.linalg.inv(plane(float(time))), one.shape[::-1])

    shot.edit = edit


@kind("interlaced", (1,), r"interlac|comb|rows|lines", fine=True)
def _interlaced(shot: Shot, size: float) -> None:
    shot.times = np.arange(0.0, shot.length, 0.5 / shot.rate)
    shot.times = shot.times[: len(shot.times) // 2 * 2]
    shot.stamps = shot.times[::2]

    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        for one in signals:
            whole = one.copy()
            whole[1::2] = next(signals)[1::2]
            yield whole

    shot.edit = edit


@kind("nose dips and stays down", (0.4, 1.0), LEAN)
def _dips(shot: Shot, size: float) -> None:
    shot.lean = lambda moment: np.radians([0.0, size * eased(moment - shot.rest, shot.moving)])


@kind("plate mounted aslant", (2, 5), LEAN + "|plate|height|higher|lower|larger|smaller", fine=True)
def _aslant(shot: Shot, size: float) -> None:
    shot.lean = lambda moment: np.radians([size, -0.6 * size])


@kind("hand stays over half the plate", (0.075, -0.075), COVERED, fine=True)
def _stays(shot: Shot, size: float) -> None:
    shot.hand = lambda moment: np.array([size, 0.09]) if moment > shot.rest + 0.1 else None


@kind("box on a floor sheet", (0.05, -0.05), COVERED + "|floor sheet", fine=True)
def _box(shot: Shot, size: float) -> None:
    """Over two of the front sheet's three markers."""
    shot.shade = lambda x, y, moment: np.where((np.abs(y - size) < 0.095) & (np.abs(x - 0.3) < 0.08), 0.02, 1.0)


@kind("focus that hunts in mid-push", (1.5, 3.0), SOFT + "|zoom|" + MOVED, fine=True)
def _hunts(shot: Shot, size: float) -> None:
    def share(moment: Array) -> Array:
        return np.exp(-(((moment - shot.rest - 0.4 * shot.moving) / 0.18) ** 2))

    def sway(moment: Array) -> tuple[Array, Array, Array]:
        none = np.zeros((len(moment), 3))
        return none, none, 1 + 0.006 * share(moment)

    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        for one, time in zip(signals, times, strict=True):
            yield cv2.GaussianBlur(one, (0, 0), 0.1 + size * float(share(np.array(time))))

    shot.sway, shot.edit = sway, edit


@kind("misted lens", (0.4, 0.65), SOFT, fine=True)
def _misted(shot: Shot, size: float) -> None:
    shot.edit = lambda signals, times: ((1 - size) * one + size * cv2.GaussianBlur(one, (0, 0), 30) for one in signals)


@kind("dark corners", (0.5, 0.8), clean=True)
def _corners(shot: Shot, size: float) -> None:
    width, height = shot.size
    x, y = np.meshgrid(np.linspace(-1, 1, width), np.linspace(-1, 1, height))
    falls = (1 - size * np.minimum((x * x + y * y) / 2, 1)).astype(np.float32)
    shot.edit = lambda signals, times: (one * falls for one in signals)


@kind("a take broken off, then the push", (0.4, 0.7), LEAPT + "|contradict|set down", speed=True, fine=True)
def _takes(shot: Shot, size: float) -> None:
    """Two takes put together: begun and broken off in mid-push, then made from the start."""
    broken = np.arange(0.0, shot.rest + size * shot.moving, 1 / shot.rate)
    shot.times = np.concatenate([broken, np.arange(0.0, shot.length, 1 / shot.rate)])
    shot.stamps = np.arange(len(shot.times)) / shot.rate


@kind("time lapse, on the test card", (10, 5), r"time lapse", speed=True, fine=True)
def _lapse(shot: Shot, size: float) -> None:
    shot.rest, shot.moving, shot.after = 14 / size, 12 / size, 14 / size
    shot.times = np.arange(0.0, shot.length, 1 / size)
    shot.stamps, shot.cards["captured_frames_per_s"] = shot.times * size / 30, float(size)


@kind("filled up with copies by a converter", (20, 24), "frozen|copies|twice", clean=True, speed=True)
def _filled(shot: Shot, size: float) -> None:
    shot.times = np.arange(0.0, shot.length, 1 / size)
    shot.stamps = np.arange(int(shot.times[-1] * 30)) / 30

    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        picture, at = next(signals), 0
        for moment in shot.stamps if shot.stamps is not None else ():
            while at < int(moment * size + 1e-6):
                picture, at = next(signals), at + 1
            yield picture

    shot.edit = edit


@kind("copies, and the camera's rate on the test card", (15,), r"leave the key out|time lapse", speed=True, fine=False)
def _filled_told(shot: Shot, size: float) -> None:
    _filled(shot, size)
    shot.cards["captured_frames_per_s"] = float(size)


@kind("plate that rings after the push", (0.0006, 0.0015), r"still moving|rests? drift|settle|few", fine=True)
def _rings(shot: Shot, size: float) -> None:
    def rings(moment: float) -> Array:
        since = max(moment - shot.rest - shot.moving, 0.0)
        return np.array([0.3, 1.0, 4.0]) * size * math.exp(-since / 0.15) * math.sin(2 * math.pi * 9 * since)

    shot.carried = rings


@kind("one picture lost in a push of four", (1, 2), LEAPT, speed=True)
def _four(shot: Shot, size: float) -> None:
    shot.moving = 4 / shot.rate
    shot.times = np.arange(0.0, shot.length, 1 / shot.rate)
    shot.times = np.delete(shot.times, math.ceil(shot.rest * shot.rate) + int(size))
    shot.stamps = np.arange(len(shot.times)) / shot.rate


@kind("cut out of the push into the rest", (0.35, 0.6), LEAPT, speed=True)
def _into_rest(shot: Shot, size: float) -> None:
    times = np.arange(0.0, shot.length, 1 / shot.rate)
    first, last = (round((shot.rest + at * shot.moving) * shot.rate) for at in (size, 1.15))
    shot.times = np.delete(times, np.arange(first, last))
    shot.stamps = times[: len(shot.times)]


@kind("ramp: slow only while it moves", (3,), r"slow motion|captured", speed=True)
def _ramp(shot: Shot, size: float) -> None:
    fine = 1 / (shot.rate * size)
    begins, ends = shot.rest - 0.1, shot.rest + shot.moving + 0.1
    shot.times = np.concatenate(
        [
            np.arange(0, begins, 1 / shot.rate),
            np.arange(begins, ends, fine),
            np.arange(ends, shot.length, 1 / shot.rate),
        ]
    )
    shot.stamps = np.arange(len(shot.times)) / shot.rate


@kind("second car pushed beside the first", (6,), clean=True)
def _second(shot: Shot, size: float) -> None:
    """Its plate has other numbers; it goes along with a share of the first one's way."""
    first = int(size)
    shot.ids = shot.ids | {"other": (first, first + 1, first + 2)}
    shot.laid["other"] = Laid(np.array([0.0, 0.26]), 0.2, np.full(2, 0.6))
    shot.dragged = ("other", 0.4)


@kind("hand-held, floor sheet kicked in mid-push", (0.002, 0.010), SHEET + "|sheet was moved", fine=False)
def _held_kicked(shot: Shot, size: float) -> None:
    shot.sway = hand_sway(shot, 1.0)
    angle, before = shot.rng.uniform(0, 2 * math.pi), shot.laid["rear"]
    middle = before.middle + size * np.array([math.cos(angle), math.sin(angle)])
    shot.kick = (shot.rest + 0.4, "rear", Laid(middle, math.radians(1.0), before.scale))


@kind("hand-held, floor sheet goes with the car", (0.08, 0.15), SHEET + "|sheet was moved", fine=False)
def _held_dragged(shot: Shot, size: float) -> None:
    shot.sway, shot.dragged = hand_sway(shot, 1.0), ("front", size)


@kind("phone changes its lens in mid-push", (0.0, 0.01), LENS, fine=False)
def _changes(shot: Shot, size: float) -> None:
    """size: of the focal length, beside another eye a centimetre away and a lens that bends otherwise."""
    at = shot.rest + 0.4

    def sway(moment: Array) -> tuple[Array, Array, Array]:
        after = (moment >= at).astype(float)
        shift = after[:, None] * np.array([0.010, 0.004, 0.0])
        return np.zeros((len(moment), 3)), shift, 1 + size * after

    def edit(signals: Iterator[Array], times: Array) -> Iterator[Array]:
        width, height = shot.size
        x, y = np.meshgrid(np.arange(width) - width / 2, np.arange(height) - height / 2)
        bends = 1 - 0.06 * (x * x + y * y) / (0.95 * width) ** 2
        to = [(middle / 2 + place * bends).astype(np.float32) for middle, place in ((width, x), (height, y))]
        for one, time in zip(signals, times, strict=True):
            yield one if time < at else cv2.remap(one, *to, cv2.INTER_CUBIC)

    shot.sway, shot.edit = sway, edit


@kind("shell gives way under the finger", (0.001, 0.003), r"shell|slip", fine=True)
def _gives(shot: Shot, size: float) -> None:
    """size: m, by which the plate goes ahead of the car while it is pushed, and 0.3° a millimetre."""
    away = np.array([0.0, size if shot.side == "right" else -size, math.radians(300 * size)])
    shot.carried = lambda moment: (
        away * (eased(moment - shot.rest + 0.1, 0.15) - eased(moment - shot.rest - shot.moving - 0.05, 0.2))
    )


@kind("played faster by an app, nobody says so", (2, 4), r"played faster", speed=True)
def _faster(shot: Shot, size: float) -> None:
    shot.rest = shot.after = 0.55 * size
    shot.times = np.arange(0, shot.length, size / shot.rate)
    shot.stamps = np.arange(len(shot.times)) / shot.rate
