"""Load sensitivity from pushes and pulls: the law itself as truth, and how often the intervals hold it."""

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.moving.load_sensitivity import BalanceAtLoads, from_pulls, from_pushes


def states(q: float, ratio: float, moved: list[float], u: float = 0.005) -> list[BalanceAtLoads]:
    """Centre of friction of axles whose capacity is grip N^(1 - q): F/R = ratio (N_F/N_R)^(1 - q). moved: N forward."""
    out = []
    for one in moved:
        front, rear = 8.0 + one, 8.0 - one
        power = ratio * (front / rear) ** (1 - q)
        out.append(BalanceAtLoads(balance=power / (1 + power), u=u, front=front, rear=rear))
    return out


def test_the_slope_is_one_less_the_sensitivity() -> None:
    for q in (0.0, 0.12, 0.3):
        found = from_pushes(states(q, 1.15, [-1.5, 0.0, 1.5]))
        assert found.q.value == pytest.approx(q, abs=1e-12)
        assert found.count == 3
    near = from_pushes(states(0.05, 1.0, [-1.5, 1.5]))
    assert not near.from_none
    assert from_pushes(states(0.3, 1.0, [-1.5, 1.5])).from_none


def test_three_pushes_each_way_with_300_g_moved_tell_it_to_a_twentieth() -> None:
    """Known beforehand from this law: 300 g moved on 1600 g, 3 + 3 pushes, 2 % scatter of F/R: +-0.05 at 95 %."""
    share_u = 0.02 * 0.25 / np.sqrt(3)  # of each mean of three
    found = from_pushes(states(0.1, 1.0, [-1.47, 1.47], u=share_u))
    assert found.q.half_width == pytest.approx(0.05, abs=0.015)


def test_the_interval_holds_the_truth() -> None:
    rng = np.random.default_rng(2)
    inside = []
    for _ in range(1500):
        q, u = rng.uniform(0, 0.3), rng.uniform(0.002, 0.008)
        exact = states(q, rng.uniform(0.8, 1.25), [-1.5, -1.5, 0.0, 1.5, 1.5], u)
        seen = [
            BalanceAtLoads(balance=one.balance + u * rng.standard_normal(), u=u, front=one.front, rear=one.rear)
            for one in exact
        ]
        low, high = from_pushes(seen).q.interval
        inside.append(low <= q <= high)
    assert 0.93 < np.mean(inside) < 0.97


def test_pushes_that_scatter_more_than_they_say_widen_it() -> None:
    calm = states(0.1, 1.0, [-1.5, -1.5, 0.0, 1.5, 1.5], 0.002)
    wild = [
        BalanceAtLoads(balance=one.balance + off, u=one.u, front=one.front, rear=one.rear)
        for one, off in zip(calm, (0.02, -0.02, 0.015, -0.02, 0.02), strict=True)
    ]
    assert not from_pushes(calm).widened
    assert from_pushes(wild).widened
    assert from_pushes(wild).q.half_width > 5 * from_pushes(calm).q.half_width


def test_pulls_in_the_order_there_and_back_are_free_of_drift() -> None:
    load = np.array([4.0, 6.0, 9.0, 9.0, 6.0, 4.0])
    drift = np.exp(-0.08 * np.linspace(-1, 1, 6))  # the floor gets dustier
    found = from_pulls(load, 0.8 * load ** (1 - 0.15) * drift)
    assert found.q.value == pytest.approx(0.15, abs=1e-12)
    rng = np.random.default_rng(3)
    nine = np.array([4.0, 6.0, 9.0, 9.0, 6.0, 4.0, 4.0, 6.0, 9.0])
    inside, half = [], []
    for _ in range(1000):
        pulled = from_pulls(nine, 0.8 * nine**0.85 * np.exp(0.03 * rng.standard_normal(9)))
        low, high = pulled.q.interval
        inside.append(low <= 0.15 <= high)
        half.append(pulled.q.half_width)
    assert 0.93 < np.mean(inside) < 0.97


@pytest.mark.parametrize(
    ("made", "says"),
    [
        (lambda: from_pushes(states(0.1, 1.0, [1.0])), "no slope"),
        (lambda: from_pushes(states(0.1, 1.0, [0.0, 0.1])), "hardly moved"),
        (lambda: from_pushes([BalanceAtLoads(balance=1.2, u=0.1, front=1, rear=2)] * 2), "between the axles"),
        (lambda: from_pulls(np.array([1.0, 2.0, 3.0]), np.array([1.0, 2.0, 3.0])), "four pulls"),
        (lambda: from_pulls(np.ones(5), np.ones(5)), "nearly alike"),
        (lambda: from_pulls(np.array([1.0, 2, 3, 4]), np.array([1.0, 2, -3, 4])), "above 0"),
    ],
)
def test_what_tells_nothing_is_refused(made: object, says: str) -> None:
    with pytest.raises(InputError, match=says):
        made()  # type: ignore[operator]
