"""One calibration of the acted pads for all tests of values: copied, never changed."""

from pathlib import Path

import pytest

from tests.values.pads_acted import MASS_U_G, MASSES, ActedPads, calibrating, pivotbench, write_cards


@pytest.fixture(scope="session")
def calibrated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log folder with nothing but the calibration."""
    folder = tmp_path_factory.mktemp("calibrated")
    test = write_cards(folder)
    with ActedPads() as pads:
        masses = [word for mass in MASSES for word in ("--mass", mass)]
        told = pivotbench(
            "pads",
            "calibrate",
            test,
            *masses,
            "--mass-u",
            MASS_U_G,
            "--cycles",
            1,
            "--temperature",
            21.5,
            "--port",
            pads.url,
            "--log",
            folder / "log",
            "--json",
            hands=calibrating(pads),
        )
    assert told.code == 0, told.err
    return folder / "log"
