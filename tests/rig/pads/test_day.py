"""A short sample of the streaming day (tests/benchmarks/pad_stream_day.py): the books agree with the script."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="module")
def day() -> ModuleType:
    path = Path(__file__).parents[2] / "benchmarks" / "pad_stream_day.py"
    spec = importlib.util.spec_from_file_location("pad_stream_day_for_tests", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


def test_five_simulated_minutes_are_delivered_once_and_counted(day: ModuleType) -> None:
    result = day.run(1 / 12)
    assert result["lines"] == 24_000
    assert result["restarts_sent"] > 0
    assert result["unplugged"] > 0
    assert result["undetected"] == 0  # with this seed; 0.004 are to be expected
    assert result["delivered"] == result["intact_sent"]
    assert result["not_delivered"] == result["delivered_twice"] == result["overflowed"] == 0
    assert result["checksum_agrees"] == 1
    for what in ("damaged", "repeated", "restarts"):
        assert result[f"{what}_counted"] == result[f"{what}_sent"], what
    assert result["reconnections"] == result["unplugged"]
