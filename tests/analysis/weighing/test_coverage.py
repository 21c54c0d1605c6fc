"""A short sample of the coverage benchmark: stated 95 % intervals against the truth of simulated weighings."""

import importlib.util
import math
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="module")
def benchmark() -> ModuleType:
    path = Path(__file__).parents[2] / "benchmarks" / "weighing_coverage.py"
    spec = importlib.util.spec_from_file_location("weighing_coverage", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.mark.thorough
def test_sample_of_simulated_weighings(benchmark: ModuleType) -> None:
    """Binomial limits of 40 weighings around 95 % (corner weights of one car hang together: as if 40, not 160)."""
    tally, baseline = benchmark.run(40)
    slack = 3.5 * math.sqrt(0.95 * 0.05 / 40)
    for key, share in tally.share().items():
        assert 0.95 - slack <= share <= 1.0, key
        # The plain reading of one placement promises too much: the benchmark does put the intervals to the test.
        # (It reads one placement: turned weighings and scales have none.)
        if key in baseline.share():
            assert baseline.share()[key] < 0.75, key
    assert {"corner", "cross_weight"} <= set(baseline.share())


def test_the_lifted_car_of_the_simulation_obeys_statics(benchmark: ModuleType) -> None:
    """h = r + L dN/(W tan theta) for equal wheels (equation printed in Jazar 2008)."""
    level, lifted = (benchmark.share_of_front(0.12, 0.045, lift, 0.26, 0.032, 0.032) for lift in (0.0, 0.13))
    height = 0.032 + 0.26 * (lifted - level) / math.tan(math.pi / 6)
    assert height == pytest.approx(0.045, abs=1e-12)
