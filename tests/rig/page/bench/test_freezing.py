"""Where the page puts the ballast that freezes a moment. Truth: moments about the rear axle, by hand (statics)."""

import re
from pathlib import Path

import pytest

from analysis.base.errors import AnalysisError
from rig.base.errors import InputError
from rig.page.bench.bench import Bench
from rig.page.bench.freezing import frozen_told
from rig.virtual.dunlin import ON_SPRINGS

LENGTH, FRONT, WHOLE, BALLAST = 257.0, 400.0 + 410.0, 1600.0, 100.0  # mm, g


@pytest.mark.parametrize("lies_mm", [pytest.param(None, marks=pytest.mark.thorough), 200.0])
def test_the_standing_car_then_carries_the_moments_shares(tmp_path: Path, lies_mm: float | None) -> None:
    bench = Bench(tmp_path)
    try:
        bench.save_card("car", dict(ON_SPRINGS))
        with pytest.raises(InputError, match="weighed"):
            frozen_told(bench.region, BALLAST, lies_mm)
        bench.on_pads.weigh_typed([400.0, 410.0, 390.0, 400.0], 1.0)
        told = frozen_told(bench.region, BALLAST, lies_mm)
        # ballast that lies on the car was weighed with it: it is taken off where it lies, and put where it goes
        rest = (FRONT, WHOLE) if lies_mm is None else (FRONT - BALLAST * lies_mm / LENGTH, WHOLE - BALLAST)
        assert len(told["rows"]) == len(told["places_mm"]) == 5
        for (name, carries, where, left, *_), (x, y) in zip(told["rows"], told["places_mm"], strict=True):
            share = float(carries.split()[0]) / 100
            lacking = 0.0 if left == "nothing" else float(left.split()[0]) / 100
            reached = ((share - lacking) * (rest[1] + BALLAST) - rest[0]) * LENGTH / BALLAST
            assert x == pytest.approx(reached, abs=0.0011 * (rest[1] + BALLAST) * LENGTH / BALLAST), name  # as rounded
            assert y == 0.0
            side = "ahead of" if x >= 0 else "behind"
            assert re.match(rf"{abs(x):.0f} mm {side} the rear axle$", where), where
        with pytest.raises(AnalysisError, match="outweighs"):
            frozen_told(bench.region, 1700.0, lies_mm)
    finally:
        bench.close()
