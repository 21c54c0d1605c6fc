"""Load transfer on tilted pads, read on acted pads: every pad under its wheel, both ways round, plates taken off.

Truth: statics by hand. A car whose every corner differs is read on pads wired RR, FL, FR, RL.
"""

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.values.pads_acted import HYSTERESIS_G, WHEELS, ActedPads, on_pads, pivotbench, records, write_cards

GRAMS = np.array([700.0, 300.0, 400.0, 200.0])
FRONT, REAR, ANGLE, BOARD = 44.0, 61.0, 12.0, 500.0
PLATES = np.array([70.0, 75.0, 80.0, 85.0])
OPPOSITE = [3, 2, 1, 0]


def acting(pads: ActedPads, told: list[str]) -> Callable[[str], None]:
    """Hands that tilt, set the car on and turn it round, as they are told."""

    def do(text: str) -> None:
        told.append(text)
        cosine = np.cos(np.radians(ANGLE))
        # the zero was taken level: what the plates weigh less on a slope is read as less than nothing
        on = -PLATES * (1 - cosine)
        if "pads empty" not in text:
            q = np.array([1, -1, -1, 1]) / np.repeat([165.0, 165.0], 2)
            cross = q * (q @ GRAMS) / (q @ q)
            still = cosine * (GRAMS - cross) + cross
            moved = np.array([-FRONT, FRONT, -REAR, REAR])
            on = on + ((still - moved)[OPPOSITE] if "turned round" in text else still + moved)
        pads.lay(on_pads(dict(zip(WHEELS, on, strict=True))))

    return do


def test_each_wheel_is_read_on_the_pad_where_it_stands(calibrated: Path, tmp_path: Path) -> None:
    log = Path(shutil.copytree(calibrated, tmp_path / "log"))
    test = write_cards(
        tmp_path,
        car={"geometry.track_front_mm": 165, "geometry.track_rear_mm": 165, "geometry.wheelbase_mm": 250},
        test={
            "typed.weights_g": GRAMS.tolist(),
            "typed.weights_resolution_g": 0.1,
            "grip.front": 0.9,
            "grip.rear": 0.9,
        },
        bench={"pads.reseat_g": 0, "tilt.length_mm": BOARD},
    )
    told: list[str] = []
    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        height = BOARD * np.sin(np.radians(ANGLE))
        words = ["moving", "tilt", *common, "--height", f"{height:.3f}", "--presses", "2", "--json"]
        found = pivotbench(*words, hands=acting(pads, told))
    assert found.code == 0, found.err
    assert "a catcher at the board's lower edge" in found.err
    assert "a hand below it" in found.err
    assert [("pads empty" in text, "turned round" in text) for text in told] == [
        (True, False),
        *[(False, False)] * 2,
        *[(False, True)] * 2,
    ]
    assert all("press the body down and let it up slowly" in text for text in told[1:])
    (row,) = found.result["across"]
    near = max(HYSTERESIS_G)  # g, what such pads read too much or too little on the way
    assert (row["front_g"], row["rear_g"]) == pytest.approx((FRONT, REAR), abs=near)
    assert row["share_pct"] == pytest.approx(100 * FRONT / (FRONT + REAR), abs=1.5)
    pull = GRAMS.sum() * np.sin(np.radians(ANGLE))
    assert row["height_mm"] == pytest.approx(165 * (FRONT + REAR) / pull, abs=165 * 2 * near / pull)
    low, high = row["share_pct"] - row["share_half_points"], row["share_pct"] + row["share_half_points"]
    assert low < 100 * FRONT / (FRONT + REAR) < high
    (record,) = records(log, "tilted pads")
    first, second = record["inputs"]["rows"]
    assert (first["way"], second["way"]) == ("right side down", "left side down")
    # by pad: the front left wheel stood on its own pad first, then on that of the rear right wheel
    assert first["pad_g"][0] - first["empty_g"][0] == pytest.approx(
        second["pad_g"][3] - second["empty_g"][3] - 2 * FRONT, abs=3.0
    )
