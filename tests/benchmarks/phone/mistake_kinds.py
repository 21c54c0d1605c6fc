"""Mistakes of a tired person at the bench: what is set, carried, taped, dragged along or left lying."""

import math

import numpy as np

from tests.benchmarks.phone.bench_kinds import PRINT, SHEET
from tests.benchmarks.phone.film import Tape
from tests.benchmarks.phone.hand_kinds import LEAPT
from tests.benchmarks.phone.kinds import kind
from tests.benchmarks.phone.optics import Array
from tests.benchmarks.phone.shot import Shot
from tests.benchmarks.phone.stage import Laid

LIFTED = r"lift|carried|set down|picked up|above the floor|off the floor|higher"


def _hop(since: float, took: float) -> float:
    """0 before and after, 1 in the middle of a hop that takes `took` s, smoothly. since: s."""
    return math.sin(math.pi * min(max(since / took, 0.0), 1.0)) ** 2


def eased(since: float, took: float) -> float:
    """0 before, 1 after; smoothly in between. since: s after the beginning.  took: s."""
    return 0.5 - 0.5 * math.cos(math.pi * min(max(since / took, 0.0), 1.0))


@kind("lifted and set aside before the push", (0.03, 0.004), LIFTED, fine=True)
def _set_aside(shot: Shot, size: float) -> None:
    """size: m, how high it is lifted."""
    aside = np.array([0.012, -0.025, 0.06])
    shot.rest += 1.3
    shot.carried = lambda moment: aside * (eased(moment - 0.45, 0.5) - 1.0)
    shot.lift = lambda moment: size * _hop(moment - 0.45, 0.5)


@kind("set straight by hand before the push", (0.01, 0.02), "contradict each other", fine=True)
def _set_straight(shot: Shot, size: float) -> None:
    shot.rest += 1.3
    shot.carried = lambda moment: np.array([size / 3, size, -0.05]) * (eased(moment - 0.45, 0.4) - 1.0)


@kind("lifted away at the end", (0.05, 0.15), LIFTED + "|still moving", fine=True)
def _lifted_away(shot: Shot, size: float) -> None:
    shot.after += 0.5
    leaves = shot.length - 0.45
    shot.carried = lambda moment: np.array([0.0, -0.5, 0.1]) * max(moment - leaves, 0.0) ** 2
    shot.lift = lambda moment: size * eased(moment - leaves, 0.45)


@kind("floor sheet goes with the car", (0.05, 0.15, 0.3), SHEET + "|sheet.{0,80}moved|moved.{0,40}sheet|kicked")
def _goes_with(shot: Shot, size: float) -> None:
    shot.dragged = (str(shot.rng.choice(["front", "rear"])), size)


@kind("tape over the plate's edge and markers", (0.004, 0.010), r"marker \d|plate|cover|tape|bent|markers", fine=True)
def _taped(shot: Shot, size: float) -> None:
    """size: m, of the strip's half width. Over the outer edges of markers 0 and 1, and the corner of a third."""
    shot.taped = ((0.097, 0.0, size, 0.06), (-0.075, -0.051, 0.03, size))


@kind("floor sheets of an older, smaller print", (0.8, 0.9, 1.1), PRINT, fine=False)
def _older(shot: Shot, size: float) -> None:
    for laid in shot.laid.values():
        laid.scale = np.full(2, size)


@kind("car the other way round between the sheets", (180.0,), clean=True)
def _other_way(shot: Shot, size: float) -> None:
    shot.start_yaw += math.radians(size)


@kind("pictures lost by a converter at an even rate", (0.06, 0.12), LEAPT, speed=True)
def _lost(shot: Shot, size: float) -> None:
    times = np.arange(0, shot.length, 1 / shot.rate)
    shot.times = times[(shot.rng.uniform(size=len(times)) > size) | (np.arange(len(times)) == 0)]
    shot.stamps = times[: len(shot.times)]


@kind("jump cut out of the rest into the push", (0.25, 0.45), LEAPT, speed=True)
def _jump_cut(shot: Shot, size: float) -> None:
    times = np.arange(0.0, shot.length, 1 / shot.rate)
    first, last = (round((shot.rest + at * shot.moving) * shot.rate) for at in (-0.2, size))
    shot.times = np.delete(times, np.arange(first, last))
    shot.stamps = times[: len(shot.times)]


@kind("another plate laid on the floor for good measure", (1,), clean=True)
def _spare_sheet(shot: Shot, size: float) -> None:
    shot.ids = shot.ids | {"spare": (30, 31, 32)}
    shot.laid["spare"] = Laid(np.array([0.02, 0.29]), 0.2, np.full(2, 0.8))


@kind("mat that slides with car and sheets", (0.02, 0.08), r"camera (moved|was)", fine=True)
def _mat_slides(shot: Shot, size: float) -> None:
    """All lies on a mat that goes along by this share; only the camera sees it. On the mat the push is the same."""

    def sway(moment: Array) -> tuple[Array, Array, Array]:
        share = 0.5 - 0.5 * np.cos(np.pi * np.clip((moment - shot.rest) / shot.moving, 0, 1))
        shift = np.zeros((len(moment), 3))
        shift[:, 1] = -size * shot.travel * share * (1 if shot.side == "right" else -1)
        return np.zeros((len(moment), 3)), shift, np.ones(len(moment))

    shot.sway = sway


@kind("strongly compressed AVI of a converter", (10, 16), "compress|quality", clean=True)
def _poor_avi(shot: Shot, size: float) -> None:
    shot.tape = Tape("mpeg4", quality=int(size), suffix=".avi")
