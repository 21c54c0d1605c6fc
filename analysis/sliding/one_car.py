"""The quick methods for one car in plain numbers: array calls cost more than the arithmetic of four wheels.

The same steps as in `smooth` and `polish`, without arrays. Whatever does not fit (lifting wheels, grip that depends on
the load, other couplings than axles) or does not settle is left to the array methods: the certificate decides.
"""

from math import sqrt

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.sliding.frame import PARTNER, Frame
from analysis.sliding.interior import State
from analysis.sliding.polish import HOLD, PASSES, RIDGE, ROUNDING, STILL, TINY
from analysis.sliding.scene import Scene
from analysis.sliding.smooth import COARSE, FINE, INSIDE

Numbers = list[float]
MOST_CONTACTS = 8
STAGES = (COARSE[:5], COARSE[5:] + FINE[:2], FINE[2:])
"""After each, an attempt to settle."""


def solve_single(scene: Scene, frame: Frame) -> State | None:
    """A settled state of a frame of one sample, or None."""
    if frame.sharing is not None or len(frame.capacity) > MOST_CONTACTS or scene.plain_grip is None:
        return None
    car = _Car(scene, frame)
    for rounding in STAGES:
        try:
            car.smooth(rounding)
            if car.polish():
                return car.state()
        except (ZeroDivisionError, OverflowError, ValueError):  # decided too early what slips, or a wheel lifts
            pass
        if not car.kept:
            return None
        car.restore()
    return None


class _Car:
    """One sample: twist y, rolling speeds w, forces f1, f2 and fd, capacities, all lists of plain numbers."""

    def __init__(self, scene: Scene, frame: Frame) -> None:
        self.n, self.free = len(frame.capacity), frame.free
        self.u, self.v = frame.rows[0, :, :, 0].tolist(), frame.rows[1, :, :, 0].tolist()
        self.y: Numbers = frame.prescribed[:, 0].tolist()
        self.speed = sqrt(sum(part * part for part in self.y))
        self.drag: Numbers = frame.drag[:, 0].tolist()
        self.pairs: Numbers | None = None if frame.pairs is None else frame.pairs[:, 0].tolist()
        self.rest: Numbers = frame.capacity[:, 0].tolist()
        self.gain: list[Numbers] = []
        if scene.slope is not None and scene.plain_grip is not None:
            grip, slope, basis = scene.plain_grip[:, 0], scene.slope[:, :, 0], frame.basis[:, :, 0]
            for k in range(self.free, 3):
                self.gain.append((grip * (slope[0] * basis[0, k] + slope[1] * basis[1, k])).tolist())
        self.push = [0.0] * (3 - self.free)
        self.w, self.f1, self.f2, self.fd = ([0.0] * self.n for _ in range(4))
        self.limit()
        self.slips()
        self.kept: tuple[Numbers, ...] = ()

    def limit(self) -> None:
        """Capacities and roller drags under the push."""
        self.m = self.rest
        if self.gain:
            for q, gain in zip(self.push, self.gain, strict=True):
                self.m = [m + q * g for m, g in zip(self.m, gain, strict=True)]
            if min(self.m) <= 0.0:
                raise ValueError("a wheel lifts")
        self.c = self.evenly([d * m for d, m in zip(self.drag, self.m, strict=True)])

    def slips(self) -> None:
        """Slip of each contact along (with its rolling) and across."""
        (u0, u1, u2), (v0, v1, v2), (a, b, c) = self.u, self.v, self.y
        self.a = [u0[i] * a + u1[i] * b + u2[i] * c - self.w[i] for i in range(self.n)]
        self.b = [v0[i] * a + v1[i] * b + v2[i] * c for i in range(self.n)]

    def average(self, values: Numbers) -> Numbers:
        """Mean with signs over wheels that turn together."""
        if self.pairs is None:
            return values
        signs = self.pairs
        return [0.5 * (values[i] + signs[i] * values[PARTNER[i]]) if signs[i] else values[i] for i in range(self.n)]

    def evenly(self, values: Numbers) -> Numbers:
        """Mean without signs over wheels that turn together."""
        if self.pairs is None:
            return values
        signs = self.pairs
        return [0.5 * (values[i] + values[PARTNER[i]]) if signs[i] else values[i] for i in range(self.n)]

    def rows(self, f1: Numbers, f2: Numbers) -> Numbers:
        """Generalised forces on the prescribed rows."""
        answer = []
        for u, v in zip(self.u[self.free :], self.v[self.free :], strict=True):
            total = 0.0
            for i in range(self.n):
                total += u[i] * f1[i] + v[i] * f2[i]
            answer.append(total)
        return answer

    def newton(
        self, h11: Numbers, h12: Numbers, h22: Numbers, det: Numbers, hd: Numbers, ridge: float
    ) -> tuple[Numbers, list[Numbers]]:
        """Stiffness on the free twist (1 or 3 numbers), and what `step` needs, as in LinearSystem."""
        n, u, v = self.n, self.u, self.v
        soft = [1.0 / (a + b) for a, b in zip(self.evenly(h11), hd, strict=True)]
        if self.pairs is None:
            share = [hd[i] * soft[i] for i in range(n)]
            k11 = [h11[i] * share[i] for i in range(n)]
            k12 = [h12[i] * share[i] for i in range(n)]
            k22 = [(det[i] + h22[i] * hd[i]) * soft[i] for i in range(n)]
        else:
            share, k11, k12, k22 = [], h11, h12, h22
        m: Numbers = []
        for j in range(self.free):
            along = [k11[i] * u[j][i] + k12[i] * v[j][i] for i in range(n)]
            across = [k12[i] * u[j][i] + k22[i] * v[j][i] for i in range(n)]
            rolled = None if self.pairs is None else self.average(along)
            for k in range(j, self.free):
                total = ridge if j == k else 0.0
                for i in range(n):
                    total += along[i] * u[k][i] + across[i] * v[k][i]
                if rolled is not None:
                    other = self.average([k11[i] * u[k][i] + k12[i] * v[k][i] for i in range(n)])
                    total -= sum(rolled[i] * other[i] * soft[i] for i in range(n))
                m.append(total)
        return m, [soft, share, k11, k12, k22]

    def step(
        self,
        h11: Numbers,
        h12: Numbers,
        m: Numbers,
        parts: list[Numbers],
        hd: Numbers,
        o1: Numbers,
        o2: Numbers,
        od: Numbers,
    ) -> tuple[Numbers, Numbers, Numbers, Numbers, Numbers]:
        """dy, dw and the new forces f1, f2, fd, as in LinearSystem.solve."""
        soft, share, k11, k12, k22 = parts
        n, u, v = self.n, self.u, self.v
        gather = [a - b for a, b in zip(self.average(o1), od, strict=True)]
        back = [gather[i] * soft[i] for i in range(n)]
        if self.pairs is None:
            r1 = [od[i] + share[i] * gather[i] for i in range(n)]
        else:
            r1 = [o1[i] - h11[i] * back[i] for i in range(n)]
        r2 = [o2[i] - h12[i] * back[i] for i in range(n)]
        b0 = sum(u[0][i] * r1[i] + v[0][i] * r2[i] for i in range(n))
        if self.free == 2:
            b1 = sum(u[1][i] * r1[i] + v[1][i] * r2[i] for i in range(n))
            ratio = m[1] / m[0]
            y1 = (ratio * b0 - b1) / max(m[2] - ratio * m[1], 1e-15 * m[2])
            dy = [-(b0 + m[1] * y1) / m[0], y1]
            du = [u[0][i] * dy[0] + u[1][i] * y1 for i in range(n)]
            dv = [v[0][i] * dy[0] + v[1][i] * y1 for i in range(n)]
        else:
            dy = [-b0 / m[0]]
            du, dv = [part * dy[0] for part in u[0]], [part * dy[0] for part in v[0]]
        pull = self.average([h11[i] * du[i] + h12[i] * dv[i] for i in range(n)])
        dw = [pull[i] * soft[i] + back[i] for i in range(n)]
        if self.pairs is None:
            f1 = [k11[i] * du[i] + k12[i] * dv[i] + r1[i] for i in range(n)]
            f2 = [k12[i] * du[i] + k22[i] * dv[i] + r2[i] for i in range(n)]
        else:
            f1 = [k11[i] * (du[i] - dw[i]) + k12[i] * dv[i] + o1[i] for i in range(n)]
            f2 = [k12[i] * (du[i] - dw[i]) + k22[i] * dv[i] + o2[i] for i in range(n)]
        return dy, dw, f1, f2, [hd[i] * dw[i] + od[i] for i in range(n)]

    def smooth(self, rounding: tuple[float, ...]) -> None:
        """Newton on norms rounded off at their tips."""
        n = self.n
        for part in rounding:
            square = (part * self.speed) ** 2
            m, c, a, b, w, f1, f2, fd = self.m, self.c, self.a, self.b, self.w, self.f1, self.f2, self.fd
            h11, h12, h22, hd, o1, o2, od = [], [], [], [], [], [], []
            for i in range(n):
                inverse = 1.0 / sqrt(a[i] * a[i] + b[i] * b[i] + square)
                a1, a2 = a[i] * inverse, b[i] * inverse
                roll = 1.0 / sqrt(w[i] * w[i] + square)
                a3 = w[i] * roll
                h11.append((m[i] - f1[i] * a1) * inverse)
                h22.append((m[i] - f2[i] * a2) * inverse)
                h12.append((f1[i] * a2 + f2[i] * a1) * (-0.5 * inverse))
                hd.append((c[i] - fd[i] * a3) * roll)
                o1.append(m[i] * a1)
                o2.append(m[i] * a2)
                od.append(c[i] * a3)
            det = [h11[i] * h22[i] - h12[i] * h12[i] for i in range(n)]
            stiff, parts = self.newton(h11, h12, h22, det, hd, 1e-12)
            dy, dw, f1, f2, fd = self.step(h11, h12, stiff, parts, hd, o1, o2, od)
            self.move(dy, dw)
            if self.gain:
                self.push = self.rows(f1, f2)
                self.limit()
            m, c = self.m, self.c
            for i in range(n):
                shrink = min(1.0, INSIDE * m[i] / (sqrt(f1[i] * f1[i] + f2[i] * f2[i]) + 1e-300))
                f1[i], f2[i] = f1[i] * shrink, f2[i] * shrink
                fd[i] = min(max(fd[i], -INSIDE * c[i]), INSIDE * c[i])
            self.f1, self.f2, self.fd = f1, f2, fd
        self.kept = (self.y[:], self.w, self.f1, self.f2, self.fd, self.push)

    def restore(self) -> None:
        """Back to where the last smoothing ended."""
        y, self.w, self.f1, self.f2, self.fd, self.push = self.kept
        self.y = y[:]
        self.limit()
        self.slips()

    def move(self, dy: Numbers, dw: Numbers) -> None:
        """Take a step."""
        self.y = [*(a + b for a, b in zip(self.y, dy, strict=False)), *self.y[self.free :]]
        self.w = [a + b for a, b in zip(self.w, dw, strict=True)]
        self.slips()

    def polish(self) -> bool:
        """Newton with what slips and what rolls decided. True when it settled inside all limits."""
        n, hold = self.n, HOLD / self.speed
        still, fixed, turning = [], [], []
        for i in range(n):
            size, load = sqrt(self.a[i] ** 2 + self.b[i] ** 2), sqrt(self.f1[i] ** 2 + self.f2[i] ** 2)
            still.append(size / self.speed < 1.0 - load / self.m[i])
            fixed.append(abs(self.w[i]) / self.speed < 1.0 - abs(self.fd[i]) / self.c[i])
            lead = self.fd[i] if abs(self.fd[i]) > self.c[i] else self.w[i]
            turning.append(0.0 if fixed[i] else 1.0 if lead > 0 else -1.0)
            if not still[i] and size < TINY * self.speed:
                return False
        for last in range(PASSES + 1):
            m, c, a, b = self.m, self.c, self.a, self.b
            h11, h12, h22, det, hd, o1, o2, od = [], [], [], [], [], [], [], []
            way1, way2 = [], []
            for i in range(n):
                if still[i]:
                    a1 = a2 = 0.0
                    h11.append(hold)
                    h12.append(0.0)
                    h22.append(hold)
                    det.append(hold * hold)
                    o1.append(self.f1[i] + hold * a[i])
                    o2.append(self.f2[i] + hold * b[i])
                else:
                    size = sqrt(a[i] * a[i] + b[i] * b[i])
                    a1, a2, stiff = a[i] / size, b[i] / size, m[i] / size
                    h11.append(stiff * a2 * a2)
                    h12.append(-stiff * a1 * a2)
                    h22.append(stiff * a1 * a1)
                    det.append(0.0)
                    o1.append(m[i] * a1)
                    o2.append(m[i] * a2)
                way1.append(a1)
                way2.append(a2)
                hd.append(hold if fixed[i] else 0.0)
                od.append(self.fd[i] + hold * self.w[i] if fixed[i] else c[i] * turning[i])
            stiffness, parts = self.newton(h11, h12, h22, det, hd, RIDGE / self.speed)
            dy, dw, f1, f2, fd = self.step(h11, h12, stiffness, parts, hd, o1, o2, od)
            if len(self.gain) == 1:
                gain = self.gain[0]
                roll = self.evenly([d * g for d, g in zip(self.drag, gain, strict=True)])
                c1 = [g * x for g, x in zip(gain, way1, strict=True)]
                c2 = [g * x for g, x in zip(gain, way2, strict=True)]
                cd = [r * t for r, t in zip(roll, turning, strict=True)]
                extra = self.step(h11, h12, stiffness, parts, hd, c1, c2, cd)
                dq = (self.rows(f1, f2)[0] - self.push[0]) / (1.0 - self.rows(extra[2], extra[3])[0])
                dy, dw, f1, f2, fd = (
                    [x + z * dq for x, z in zip(plain, more, strict=True)]
                    for plain, more in zip((dy, dw, f1, f2, fd), extra, strict=True)
                )
            self.move(dy, dw)
            self.f1, self.f2, self.fd = f1, f2, fd
            if self.gain:
                self.push = self.rows(f1, f2)
                self.limit()
            if last >= 1 and max(abs(part) for part in dy) <= STILL * self.speed:
                break
        else:
            return False
        for i in range(n):
            if still[i]:
                if sqrt(self.f1[i] ** 2 + self.f2[i] ** 2) > self.m[i] * (1.0 + ROUNDING):
                    return False
            else:
                size = sqrt(self.a[i] ** 2 + self.b[i] ** 2)
                self.f1[i], self.f2[i] = self.m[i] * self.a[i] / size, self.m[i] * self.b[i] / size
            if fixed[i]:
                if abs(self.fd[i]) > self.c[i] * (1.0 + ROUNDING):
                    return False
                self.w[i] = 0.0
            else:
                if self.w[i] * turning[i] < 0:
                    return False
                self.fd[i] = self.c[i] * turning[i]
        return True

    def state(self) -> State:
        """For the certificate."""

        def column(values: Numbers) -> FloatArray:
            return np.array(values)[:, None]

        limit = np.array([self.m, self.c])[..., None]
        force = np.array([self.f1, self.f2, self.fd])[..., None]
        push = [np.array([q]) for q in self.rows(self.f1, self.f2)]
        return State(column(self.y), column(self.w), limit, force, limit, push)
