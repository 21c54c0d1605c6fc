"""The Newton step shared by all methods: contacts as small springs, rolling speeds eliminated, then the twist."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.sliding.frame import Frame


@dataclass(frozen=True, slots=True)
class NewtonStep:
    """Changes of the free twist (list of (B,)), slip (n, B) twice, rolling speed, and the new forces (n, B).

    dy: k of (B,).  du, dv: (n, B) slip along and across.  dw: (n, B).  f1, f2: (n, B) along and across.
    fd: (n, B), of the rollers.
    """

    dy: list[FloatArray]
    du: FloatArray
    dv: FloatArray
    dw: FloatArray
    f1: FloatArray
    f2: FloatArray
    fd: FloatArray

    def plus(self, other: "NewtonStep", factor: FloatArray) -> "NewtonStep":
        """This step and `factor` (B,) times another one."""
        return NewtonStep(
            [a + b * factor for a, b in zip(self.dy, other.dy, strict=True)],
            self.du + other.du * factor,
            self.dv + other.dv * factor,
            self.dw + other.dw * factor,
            self.f1 + other.f1 * factor,
            self.f2 + other.f2 * factor,
            self.fd + other.fd * factor,
        )


class LinearSystem:
    """Contacts whose forces are H (slip change) + offset, H = [[h11, h12], [h12, h22]] with determinant det, and
    rollers whose forces are hd (rolling speed change) + offset; all (n, B).

    Without coupling the rolling speed is eliminated by products of positive numbers only, so that nothing is lost
    when a freely rolling wheel is held sideways. ridge: stiffness for directions in which nothing resists.
    """

    def __init__(
        self,
        frame: Frame,
        h11: FloatArray,
        h12: FloatArray,
        h22: FloatArray,
        det: FloatArray,
        hd: FloatArray,
        ridge: float | FloatArray = 0.0,
    ) -> None:
        self.frame, self.h11, self.h12, self.h22, self.hd = frame, h11, h12, h22, hd
        u, v = frame.rows
        free = range(frame.free)
        if not frame.coupled:
            self.compliance = 1.0 / (h11 + hd)
            self.share = hd * self.compliance
            self.k11, self.k12 = h11 * self.share, h12 * self.share
            self.k22 = (det + h22 * hd) * self.compliance
            along = [self.k11 * u[k] + self.k12 * v[k] for k in free]
            across = [self.k12 * u[k] + self.k22 * v[k] for k in free]
            m = {(j, k): (along[j] * u[k] + across[j] * v[k]).sum(axis=0) for j in free for k in free if k >= j}
        else:
            self.compliance = 1.0 / (frame.average_size(h11) + hd)
            along = [h11 * u[k] + h12 * v[k] for k in free]
            across = [h12 * u[k] + h22 * v[k] for k in free]
            rolled = [frame.average(a) for a in along]
            m = {
                (j, k): (along[j] * u[k] + across[j] * v[k] - rolled[j] * rolled[k] * self.compliance).sum(axis=0)
                for j in free
                for k in free
                if k >= j
            }
        self.m00 = m[0, 0] + ridge
        if frame.free == 2:
            self.m01 = m[0, 1]
            self.ratio = self.m01 / self.m00
            self.m11 = np.maximum(m[1, 1] + ridge - self.ratio * self.m01, 1e-15 * m[1, 1])

    def solve(self, o1: FloatArray, o2: FloatArray, od: FloatArray, *, change: bool = False) -> NewtonStep:
        """The step after which forces with these offsets balance in the free directions and on each roller.

        o1, o2: (n, B) along and across, od: (n, B) of the rollers.  change: what a change of the offsets does, which
        the car's own weight on a floor that falls has no part in.
        """
        frame = self.frame
        u, v = frame.rows
        coupled = frame.coupled
        gather = (frame.average(o1) if coupled else o1) - od
        back = gather * self.compliance
        r1 = o1 - self.h11 * back if coupled else od + self.share * gather
        r2 = o2 - self.h12 * back
        pull = None if change else frame.pull
        b0 = (u[0] * r1 + v[0] * r2).sum(axis=0)
        if pull is not None:
            b0 = b0 - pull[0]
        if frame.free == 2:
            b1 = (u[1] * r1 + v[1] * r2).sum(axis=0)
            if pull is not None:
                b1 = b1 - pull[1]
            y1 = (self.ratio * b0 - b1) / self.m11
            y0 = -(b0 + self.m01 * y1) / self.m00
            dy = [y0, y1]
            du, dv = u[0] * y0 + u[1] * y1, v[0] * y0 + v[1] * y1
        else:
            dy = [-b0 / self.m00]
            du, dv = u[0] * dy[0], v[0] * dy[0]
        drawn = self.h11 * du + self.h12 * dv
        dw = (frame.average(drawn) if coupled else drawn) * self.compliance + back
        if coupled:
            slid = du - dw
            f1, f2 = self.h11 * slid + self.h12 * dv + o1, self.h12 * slid + self.h22 * dv + o2
        else:
            f1, f2 = self.k11 * du + self.k12 * dv + r1, self.k12 * du + self.k22 * dv + r2
        return NewtonStep(dy, du, dv, dw, f1, f2, self.hd * dw + od)


def push_rows(frame: Frame, f1: FloatArray, f2: FloatArray, *, change: bool = False) -> list[FloatArray]:
    """Generalised forces (B,) of the push on the prescribed rows of y.

    f1, f2: (n, B) forces along and across.  change: they are changes, see `LinearSystem.solve`.
    """
    u, v = frame.rows
    rows = [(u[k] * f1 + v[k] * f2).sum(axis=0) for k in range(frame.free, 3)]
    if change or frame.pull is None:
        return rows
    return [row - frame.pull[k] for k, row in enumerate(rows, start=frame.free)]


def feedback(answer: list[FloatArray], per: list[list[FloatArray]], old: list[FloatArray]) -> list[FloatArray]:
    """Change dq of the push when capacities follow it: (1 - per) dq = answer - old, per[k] the answer to dq[k]."""
    miss = [new - was for new, was in zip(answer, old, strict=True)]
    if len(miss) == 1:
        return [miss[0] / (1.0 - per[0][0])]
    a, b, c, d = 1.0 - per[0][0], -per[1][0], -per[0][1], 1.0 - per[1][1]
    det = a * d - b * c
    return [(d * miss[0] - b * miss[1]) / det, (a * miss[1] - c * miss[0]) / det]
