"""Trouble with the camera: it is bumped, turned, zoomed, held by hand, or its lens is not an ordinary one."""

import numpy as np

from tests.benchmarks.phone.kinds import kind
from tests.benchmarks.phone.optics import Array, Lens, Sway
from tests.benchmarks.phone.shot import Shot

MOVED = r"camera (moved|was (moved|turned|bumped))|hand-held|camera.{0,40}(moved|turned|rolled)|stand the camera"
ZOOMED = r"zoom|focal length changed|camera.{0,40}moved|stabilis"


def step(moment: Array, at: float, over: float) -> Array:
    """0 before, 1 after; straight in between. moment: (n,) s."""
    return np.clip((moment - at) / over, 0.0, 1.0)


def _turning(axis: int, amount: float, at: float, over: float) -> Sway:
    def sway(moment: Array) -> tuple[Array, Array, Array]:
        angle = np.zeros((len(moment), 3))
        angle[:, axis] = amount * step(moment, at, over)
        return angle, np.zeros_like(angle), np.ones(len(moment))

    return sway


@kind("camera rolled in mid-push", (0.2, 0.5, 1.0), MOVED)
def _rolled(shot: Shot, size: float) -> None:
    shot.sway = _turning(2, np.radians(size), shot.rest + 0.3, 0.25)


@kind("camera zoomed in mid-push", (0.003, 0.01, 0.02), ZOOMED)
def _zoomed(shot: Shot, size: float) -> None:
    def sway(moment: Array) -> tuple[Array, Array, Array]:
        none = np.zeros((len(moment), 3))
        return none, none, 1 + size * step(moment, shot.rest + 0.25, 0.4)

    shot.sway = sway


@kind("focus breathes all along", (0.002, 0.006), ZOOMED)
def _breathes(shot: Shot, size: float) -> None:
    def sway(moment: Array) -> tuple[Array, Array, Array]:
        none = np.zeros((len(moment), 3))
        return none, none, 1 + size * np.sin(2.2 * moment)

    shot.sway = sway


@kind("camera bumped in mid-push", (0.5, 2, 8), MOVED)
def _bumped(shot: Shot, size: float) -> None:
    shot.sway = _turning(int(shot.rng.integers(2)), size / (0.95 * shot.size[0]), shot.rest + 0.4, 0.04)


@kind("camera bumped before the push", (0.5, 3), MOVED)
def _bumped_early(shot: Shot, size: float) -> None:
    shot.sway = _turning(0, size / (0.95 * shot.size[0]), 0.25, 0.04)


@kind("camera sinks slowly", (1, 4), MOVED)
def _sinks(shot: Shot, size: float) -> None:
    shot.sway = _turning(0, size / (0.95 * shot.size[0]), 0.0, shot.length)


@kind("tap at the end", (1, 4, 12), MOVED)
def _tap(shot: Shot, size: float) -> None:
    shot.sway = _turning(0, size / (0.95 * shot.size[0]), shot.length - 0.12, 0.05)


@kind("knock that rings off", (2, 6), MOVED)
def _knock(shot: Shot, size: float) -> None:
    def sway(moment: Array) -> tuple[Array, Array, Array]:
        since = np.maximum(moment - shot.rest - 0.3, 0)
        angle = np.zeros((len(moment), 3))
        angle[:, 1] = size / (0.95 * shot.size[0]) * np.exp(-since / 0.15) * np.sin(40 * since)
        return angle, np.zeros_like(angle), np.ones(len(moment))

    shot.sway = sway


def hand_sway(shot: Shot, size: float) -> Sway:
    """A camera held in hands: a few millimetres and milliradians for size 1."""
    rate, phase = shot.rng.uniform(1.5, 8.0, (6, 2)), shot.rng.uniform(0, 6.3, (6, 2))
    wide = size * np.array([0.004, 0.004, 0.003, 0.004, 0.004, 0.003])

    def sway(moment: Array) -> tuple[Array, Array, Array]:
        all_ = wide * np.sin(rate * moment[:, None, None] + phase).sum(-1)
        return all_[:, 3:], all_[:, :3], np.ones(len(moment))

    return sway


@kind("hand-held", (0.5, 1.0, 2.0), MOVED)
def _held(shot: Shot, size: float) -> None:
    shot.sway = hand_sway(shot, size)


@kind("hand-held with rolling shutter", (0.5, 1.0), MOVED)
def _held_rolling(shot: Shot, size: float) -> None:
    shot.sway, shot.readout = hand_sway(shot, size), 0.02


@kind("stabilisation that lags", (1, 3), ZOOMED + "|" + MOVED)
def _lags(shot: Shot, size: float) -> None:
    def sway(moment: Array) -> tuple[Array, Array, Array]:
        angle = np.zeros((len(moment), 3))
        follows = step(moment, shot.rest + 0.1, shot.moving) * 0.5
        angle[:, 2] = np.radians(0.1 * size) * follows
        angle[:, 1] = size / (0.95 * shot.size[0]) * follows
        return angle, np.zeros_like(angle), 1 + 0.001 * size * follows

    shot.sway = sway


@kind("ultra-wide lens", (-0.03, -0.06), r"calibrate|lens")
def _wide(shot: Shot, size: float) -> None:
    assert shot.lens is not None
    shot.eye, reach = shot.eye * 0.62, 0.62
    shot.lens = Lens(shot.lens.focal * reach, shot.lens.centre, np.array([size, 0, 0, 0, 0]), fisheye=True)


@kind("lens bent more than usual", (-0.22, -0.32, 0.12), r"calibrate|lens")
def _bent(shot: Shot, size: float) -> None:
    assert shot.lens is not None
    shot.lens.bend = np.array([size, -0.25 * size, 0, 0, 0.0])


@kind("picture cropped off centre", (40, 90), r"calibrate|lens|crop")
def _cropped(shot: Shot, size: float) -> None:
    assert shot.lens is not None
    shot.lens.centre = shot.lens.centre + np.array([size, -size / 2])
