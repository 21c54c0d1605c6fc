"""Friction of a uniformly pressed rectangle that slides and turns on the floor, in closed form.

Its power is the mean distance of its parts from its pivot times the turn; the integral of a distance over a rectangle
is a sum over its corners (elementary: d/dx d/dy of G = x y r/3 + x³/6 asinh(y/|x|) + y³/6 asinh(x/|y|) is r). Force,
moment and their changes are derivatives of the same sum. A pivot many lengths away is told by two places each way
(Gauss and Legendre): the corners would cancel.
"""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray, IntArray

DISTANT = 12.0
"""Half lengths from the middle to the pivot from which on two places each way are exact to 1e-7 of the force."""
LEAST_HALF = 5e-5
"""m: a contact smaller than this is taken to be as large."""
SIDES = np.array([-1.0, 1.0])
GAUSS = np.array([[-1.0, -1.0, 1.0, 1.0], [-1.0, 1.0, -1.0, 1.0]]) / np.sqrt(3.0)
"""Of half the length and the width from the middle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Resisted:
    """Per newton of grip: power (k,), its gradient (3, k) and second derivatives (3, 3, k) by slip along, across and
    yaw."""

    power: FloatArray
    gradient: FloatArray
    second: FloatArray

    def some(self, rows: IntArray) -> "Resisted":
        """Of some. rows: which."""
        return Resisted(power=self.power[..., rows], gradient=self.gradient[..., rows], second=self.second[..., rows])

    def put(self, rows: IntArray, other: "Resisted") -> None:
        """Replace some, in place. rows: which."""
        for mine, new in ((self.power, other.power), (self.gradient, other.gradient), (self.second, other.second)):
            mine[..., rows] = new


def resisted(slip: FloatArray, half: FloatArray) -> Resisted:
    """What resists the slip of each rectangle.

    slip: (3, k), m/s along and across of the middle, and rad/s of yaw.  half: (2, k), m, half the length and the width.
    """
    size = np.maximum(half, LEAST_HALF)
    reach = DISTANT * np.abs(slip[2]) * np.maximum(size[0], size[1])
    near = slip[0] ** 2 + slip[1] ** 2 < reach**2
    if near.all():
        return _about_a_near_pivot(slip, size)
    if not near.any():
        return _about_a_far_one(slip, size)
    power, gradient, second = np.empty(near.shape), np.empty((3, *near.shape)), np.empty((3, 3, *near.shape))
    for some, part in ((near, _about_a_near_pivot), (~near, _about_a_far_one)):
        one = part(slip[:, some], size[:, some])
        power[some], gradient[:, some], second[..., some] = one.power, one.gradient, one.second
    return Resisted(power=power, gradient=gradient, second=second)


def _about_a_near_pivot(slip: FloatArray, half: FloatArray) -> Resisted:
    u, v, turn = slip
    x = (SIDES[:, None] * half[0] + v / turn)[:, None]  # (2, 1, k) and (1, 2, k), of the edges, from the pivot
    y = (SIDES[:, None] * half[1] - u / turn)[None]
    r = np.sqrt(x * x + y * y)
    bent_x = x * np.arcsinh(y / np.maximum(np.abs(x), 1e-300))
    bent_y = y * np.arcsinh(x / np.maximum(np.abs(y), 1e-300))
    one_x, one_y = 0.5 * (y * r + x * bent_x), 0.5 * (x * r + y * bent_y)
    parts = np.array([x * one_x + y * one_y, one_x, one_y, bent_x, bent_y, r])
    whole, by_x, by_y, by_xx, by_yy, by_xy = parts[:, 1, 1] - parts[:, 1, 0] - parts[:, 0, 1] + parts[:, 0, 0]
    area, way, pace = 4.0 * half[0] * half[1], np.sign(turn), np.abs(turn)
    power = pace * whole / (3.0 * area)
    along, across = -way * by_y / area, way * by_x / area
    second = np.array([by_yy, -by_xy, by_xx]) / (pace * area)
    return _complete(power, along, across, second, slip)


def _complete(
    power: FloatArray, along: FloatArray, across: FloatArray, second: FloatArray, slip: FloatArray
) -> Resisted:
    """With the derivatives by yaw: twice the slip meets twice the power and the same force (Euler's theorem)."""
    u, v, turn = slip
    uu, uv, vv = second
    ut, vt = -(u * uu + v * uv) / turn, -(u * uv + v * vv) / turn
    tt = -(u * ut + v * vt) / turn
    gradient = np.array([along, across, (power - u * along - v * across) / turn])
    return Resisted(power=power, gradient=gradient, second=np.array([[uu, uv, ut], [uv, vv, vt], [ut, vt, tt]]))


def _about_a_far_one(slip: FloatArray, half: FloatArray) -> Resisted:
    u, v, turn = slip
    ahead, left = GAUSS[..., None] * half[:, None]  # (4, k) each
    a, b = u - turn * left, v + turn * ahead
    size = np.maximum(np.sqrt(a * a + b * b), 1e-12)
    a, b = a / size, b / size
    share = 0.25 / size
    bent = np.array([b, -a, -b * left - a * ahead])  # across the slip
    return Resisted(
        power=0.25 * size.sum(0),
        gradient=0.25 * np.array([a, b, b * ahead - a * left]).sum(1),
        second=((share * bent)[:, None] * bent[None]).sum(2),
    )
