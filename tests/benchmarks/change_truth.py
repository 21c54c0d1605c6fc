"""The truth for `change.py`: least friction power by nested golden sections, written without the solver under test.

The power is convex in the twist, so the inner minimum over the forward speed is convex in the turn rate. Grip may
differ along and across (ellipse), or the wheel may roll (circle cut by its drag). Source: minimum power for
quasi-static sliding (Peshkin & Sanderson 1986), as `analysis.sliding` takes it, too; nothing of it is imported here.
"""

from dataclasses import dataclass

import numpy as np

GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0
STEPS = 44
FASTEST, FORWARD = 40.0, 3.0
"""rad per m of the finger's way, m per m: no slow push of these cars turns or slides more."""


@dataclass(frozen=True)
class Scene:
    """n cars and pushes as they really are. place (n, 4, 2) m, load (n, 4) N, grip (n, 4) across, along (n, 4): grip
    along over grip across, drag (n, 4): 1 blocked; station, height (n,) m; share (n,): front roll share; side (n,)."""

    place: np.ndarray
    load: np.ndarray
    grip: np.ndarray
    along: np.ndarray
    drag: np.ndarray
    station: np.ndarray
    height: np.ndarray
    share: np.ndarray
    side: np.ndarray

    def balance(self, wheelbase):
        """(n,) balance points, per cent of the wheelbase (n,)."""
        capacity = self.load * self.grip
        return 100.0 * (capacity * self.place[..., 0]).sum(-1) / capacity.sum(-1) / wheelbase


def golden(function, low, high, shape):
    """Argument and value (shape) of the least value of convex functions between low and high."""
    a, b = np.full(shape, low), np.full(shape, high)
    x1, x2 = b - GOLDEN * (b - a), a + GOLDEN * (b - a)
    f1, f2 = function(x1), function(x2)
    for _ in range(STEPS):
        left = f1 < f2
        a, b = np.where(left, a, x1), np.where(left, x2, b)
        new = np.where(left, b - GOLDEN * (b - a), a + GOLDEN * (b - a))
        f = function(new)
        x1, x2 = np.where(left, new, x2), np.where(left, x1, new)
        f1, f2 = np.where(left, f, f2), np.where(left, f1, f)
    best = 0.5 * (a + b)
    return best, function(best)


def true_motion(scene):
    """Turn rate and forward speed (n,) per unit of the finger's way towards +y, and the push force (n,), N.

    A frictionless finger: the twist (vx, vy, turn) with vy + turn * station = 1 of least power; that power is the
    force. A push from the left is the mirror image: the caller mirrors loads and places.
    """
    n = len(scene.station)
    load = scene.load
    tracks = np.stack([scene.place[:, 0, 1] - scene.place[:, 1, 1], scene.place[:, 2, 1] - scene.place[:, 3, 1]], -1)
    root = np.sqrt(1.0 - np.minimum(scene.drag, 1.0) ** 2)
    for _ in range(4):
        capacity = load * scene.grip

        def power(forward, turn, capacity=capacity):
            u = forward[:, None] - turn[:, None] * scene.place[..., 1]
            v = (1.0 - turn * scene.station)[:, None] + turn[:, None] * scene.place[..., 0]
            speed = np.hypot(scene.along * u, v)
            rolls = np.abs(u) > scene.drag * np.hypot(u, v)
            passed = scene.drag * np.abs(u) + root * np.abs(v)
            return (capacity * np.where(rolls, passed, speed)).sum(-1)

        def least(turn, power=power):
            return golden(lambda ahead: power(ahead, turn), -FORWARD, FORWARD, n)[1]

        turn, force = golden(least, -FASTEST, FASTEST, n)
        forward, _ = golden(lambda forward, turn=turn, power=power: power(forward, turn), -FORWARD, FORWARD, n)
        # Moment balance: the push above the floor loads the far side (here the left), split by the roll share.
        moved = (force * scene.height)[:, None] * np.stack([scene.share, 1.0 - scene.share], -1) / tracks
        new = scene.load + np.stack([moved[:, 0], -moved[:, 0], moved[:, 1], -moved[:, 1]], -1)
        if np.max(np.abs(new - load)) < 1e-6:
            break
        load = new
    return turn, forward, force


def mirrored(scene):
    """Pushes from the left made pushes from the right: left and right wheels exchanged, y turned over."""
    swap = np.array([1, 0, 3, 2])
    flip = scene.side < 0

    def of(values):
        return np.where(flip[:, None], values[:, swap], values)

    place = np.where(flip[:, None, None], scene.place[:, swap] * [1.0, -1.0], scene.place)
    return Scene(
        place=place,
        load=of(scene.load),
        grip=of(scene.grip),
        along=of(scene.along),
        drag=of(scene.drag),
        station=scene.station,
        height=scene.height,
        share=scene.share,
        side=np.ones_like(scene.side),
    )


def true_kappa(scene, middle):
    """Turn per sideways travel (n,), 1/m, of the point at `middle` (n,), m. The push side does not change its sign: a
    mirrored car turns the other way and goes the other way."""
    turn, _, _ = true_motion(mirrored(scene))
    return turn / (1.0 - turn * scene.station + turn * middle)
