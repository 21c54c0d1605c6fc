"""The firmware, built once for all tests of it, and the library with its core."""

import os
from pathlib import Path

import pytest

from tests.firmware_notes.firmware_build import COVERAGE, Firmware, build


@pytest.fixture(scope="session")
def firmware(tmp_path_factory: pytest.TempPathFactory) -> Firmware:
    return build(tmp_path_factory)


@pytest.fixture(scope="session")
def library(request: pytest.FixtureRequest) -> Path:
    """Not built where another one is named: the run whose lines are counted."""
    if COVERAGE in os.environ:
        return Path(os.environ[COVERAGE])
    built: Firmware = request.getfixturevalue("firmware")
    return built.library
