"""The Newton step that all sliding methods share, held to the equations that it says it solves.

Nothing of the solver is used as truth: the laws (forces are stiffness times change plus offset, they balance in the
free directions and on each roller) are checked as they stand, and the whole step against one dense numpy system.
"""

from typing import Any

import numpy as np
import pytest

from analysis.base.arrays import FloatArray
from analysis.sliding.frame import Frame
from analysis.sliding.interior import longest_step
from analysis.sliding.newton import LinearSystem, NewtonStep, feedback, push_rows

N, B = 4, 5
GROUPS = {
    "alone": None,
    "rear axle": (0, 0, 1, 1),
    "rear, against": (0, 0, 1, -1),
    "both axles": (1, 1, 2, -2),
    "all four": (1, 1, -1, 1),
    "diagonal": (1, 0, 0, 1),
}


def sharing(group: tuple[int, ...]) -> FloatArray:
    """(n, n): mean with signs over the wheels of the same number, from its definition."""
    matrix = np.zeros((N, N))
    for i, mine in enumerate(group):
        together = [k for k, other in enumerate(group) if abs(other) == abs(mine)] if mine else [i]
        for k in together:
            sign = np.sign(group[k]) * np.sign(mine) if mine else 1
            matrix[i, k] = sign / len(together)
    return matrix


def made(name: str, free: int, seed: int = 3) -> tuple[Frame, FloatArray, dict[str, FloatArray]]:
    """A frame of random rows, the matrix that averages over its groups, and random stiffnesses and offsets."""
    rng = np.random.default_rng(seed)
    group = GROUPS[name]
    matrix = np.eye(N) if group is None else sharing(group)
    paired = name in ("rear axle", "rear, against", "both axles")
    pairs = (
        np.array([0.0 if group[i] == 0 else np.sign(group[i] * group[[1, 0, 3, 2][i]]) for i in range(N)])
        if paired and group is not None
        else None
    )
    frame = Frame(
        rows=rng.normal(size=(2, 3, N, B)),
        prescribed=rng.normal(size=(3, B)),
        basis=rng.normal(size=(3, 3, B)),
        free=free,
        capacity=rng.uniform(0.1, 0.4, (N, B)),
        drag=rng.uniform(0.1, 0.9, (N, B)),
        pairs=None if pairs is None else np.repeat(pairs[:, None], B, axis=1),
        sharing=None if group is None or paired else np.repeat(matrix[..., None], B, axis=2),
        numbers=np.arange(B),
        capacity_under=None,
    )
    a, b = rng.uniform(0.5, 3.0, (2, N, B))
    cross = rng.uniform(-0.9, 0.9, (N, B)) * np.sqrt(a * b)
    mean = np.abs(matrix)
    return (
        frame,
        matrix,
        {
            "h11": a,
            "h12": cross,
            "h22": b,
            "det": a * b - cross**2,
            "hd": mean @ rng.uniform(0.2, 2.0, (N, B)),
            "o1": rng.normal(size=(N, B)),
            "o2": rng.normal(size=(N, B)),
            "od": matrix @ rng.normal(size=(N, B)),
        },
    )


def dense(frame: Frame, matrix: FloatArray, h: dict[str, FloatArray], ridge: float, at: int) -> tuple[Any, Any]:
    """(dy, dw) of one sample: all unknowns in one linear system. dw is kept within its groups by the projection."""
    free, unknown = frame.free, frame.free + N
    u, v = frame.rows[0, :, :, at], frame.rows[1, :, :, at]
    left, right = np.zeros((unknown, unknown)), np.zeros(unknown)
    stiff = np.zeros((2 * N, 2 * N))
    for i in range(N):
        stiff[i, i], stiff[i, N + i] = h["h11"][i, at], h["h12"][i, at]
        stiff[N + i, i], stiff[N + i, N + i] = h["h12"][i, at], h["h22"][i, at]
    slip = np.zeros((2 * N, unknown))  # change of slip along and across for each unknown
    for k in range(free):
        slip[:N, k], slip[N:, k] = u[k], v[k]
    slip[:N, free:] = -np.eye(N)
    force, offset = stiff @ slip, np.concatenate([h["o1"][:, at], h["o2"][:, at]])
    for k in range(free):
        row = np.concatenate([u[k], v[k]])
        left[k] = row @ force
        left[k, k] += ridge
        right[k] = -row @ offset
    left[free:] = matrix @ force[:N]
    left[free:, free:] -= np.diag(h["hd"][:, at])
    right[free:] = h["od"][:, at] - matrix @ offset[:N]
    # wheels that turn together have one speed: whatever is not of that kind is set to zero
    left[free:, free:] = left[free:, free:] @ matrix - (np.eye(N) - matrix)
    solution = np.linalg.solve(left, right)
    return solution[:free], matrix @ solution[free:]


@pytest.mark.parametrize("free", [1, 2])
@pytest.mark.parametrize("name", GROUPS)
def test_a_step_solves_the_equations_that_it_stands_for(name: str, free: int) -> None:
    frame, matrix, h = made(name, free)
    ridge = np.linspace(0.0, 0.7, B)
    step = LinearSystem(frame, h["h11"], h["h12"], h["h22"], h["det"], h["hd"], ridge).solve(h["o1"], h["o2"], h["od"])
    assert len(step.dy) == free
    u, v = frame.rows
    du = sum(u[k] * step.dy[k] for k in range(free))
    dv = sum(v[k] * step.dy[k] for k in range(free))
    slid = du - step.dw
    same: Any = {"rtol": 1e-9, "atol": 1e-11}
    np.testing.assert_allclose(step.du, du, **same)
    np.testing.assert_allclose(step.dv, dv, **same)
    np.testing.assert_allclose(step.f1, h["h11"] * slid + h["h12"] * dv + h["o1"], **same)
    np.testing.assert_allclose(step.f2, h["h12"] * slid + h["h22"] * dv + h["o2"], **same)
    np.testing.assert_allclose(step.fd, h["hd"] * step.dw + h["od"], **same)
    np.testing.assert_allclose(matrix @ step.f1, step.fd, **same)
    for k in range(free):
        np.testing.assert_allclose((u[k] * step.f1 + v[k] * step.f2).sum(axis=0), -ridge * step.dy[k], **same)
    for at in range(B):
        dy, dw = dense(frame, matrix, h, float(ridge[at]), at)
        np.testing.assert_allclose([part[at] for part in step.dy], dy, **same)
        np.testing.assert_allclose(step.dw[:, at], dw, **same)
    rows = push_rows(frame, step.f1, step.f2)
    expected = np.einsum("xknb,xnb->kb", frame.rows, np.stack([step.f1, step.f2]))[free:]
    np.testing.assert_allclose(rows, expected, rtol=1e-12)


@pytest.mark.parametrize("count", [1, 2])
def test_feedback_of_the_push_on_the_capacities(count: int) -> None:
    """(1 - per) dq = answer - old, by numpy's own solver."""
    rng = np.random.default_rng(4)
    answer, old = rng.normal(size=(2, count, B))
    per = rng.normal(0.0, 0.4, (count, count, B))
    found = feedback(list(answer), [list(one) for one in per], list(old))
    for at in range(B):
        best = np.linalg.solve(np.eye(count) - per[:, :, at].T, answer[:, at] - old[:, at])
        np.testing.assert_allclose([part[at] for part in found], best, rtol=1e-10)


def test_a_step_plus_a_part_of_another() -> None:
    rng = np.random.default_rng(5)
    one, other = (NewtonStep(list(rng.normal(size=(2, B))), *rng.normal(size=(6, N, B))) for _ in range(2))
    factor = rng.normal(size=B)
    both = one.plus(other, factor)
    for k in range(2):
        np.testing.assert_allclose(both.dy[k], one.dy[k] + factor * other.dy[k])
    for name in ("du", "dv", "dw", "f1", "f2", "fd"):
        np.testing.assert_allclose(getattr(both, name), getattr(one, name) + factor * getattr(other, name))


@pytest.mark.parametrize("moving", [False, True])
def test_the_longest_step_ends_on_the_first_cone_that_it_meets(moving: bool) -> None:
    """Roots of (first + s dfirst)^2 = |rest + s drest|^2 by numpy, the smallest positive one of all cones."""
    rng = np.random.default_rng(6)
    rest, drest = rng.normal(size=(2, 3, N, 40))
    rest[:, :, :3], drest[:, :, :3] = 0.1 * rest[:, :, :3], 0.01 * drest[:, :, :3]  # some meet none for long
    norm = np.stack([np.hypot(rest[0], rest[1]), np.abs(rest[2])])
    first = norm + rng.uniform(0.1, 1.0, norm.shape)
    dfirst = rng.normal(size=norm.shape) if moving else np.zeros_like(norm)
    dfirst[:, :, 3] = 5.0 if moving else 0.0  # opens faster than anything moves: no limit
    found = longest_step(first, rest, first**2 - norm**2, dfirst if moving else None, drest)
    for at in range(40):
        roots: list[float] = []
        for n in range(N):
            for cone, axes in ((0, [0, 1]), (1, [2])):
                a, b = rest[axes, n, at], drest[axes, n, at]
                one, change = first[cone, n, at], dfirst[cone, n, at]
                every = np.roots([change**2 - b @ b, 2 * (one * change - a @ b), one**2 - a @ a])
                roots += [float(r.real) for r in every if abs(r.imag) < 1e-12 and r.real > 0]
        np.testing.assert_allclose(found[at], min(roots) if roots else np.inf, rtol=1e-9)
    assert moving is bool(np.isinf(found).any())
