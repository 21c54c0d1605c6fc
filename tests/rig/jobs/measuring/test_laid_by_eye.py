"""Sheets laid by eye: what is handed on to the tracking, and what the log keeps of it, from a floor as it was found."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rig.base.progress import Progress
from rig.jobs.measuring import lens_and_floor
from rig.jobs.measuring.lens_and_floor import laid_by_eye
from rig.records.pushing import FloorMarkerRow, LearnedFloorRow
from vision.base.types import Camera, FloorLayout, Marker
from vision.learning.floor_learn import LearnedLayout

CARD = FloorLayout(
    dictionary="DICT_4X4_50",
    markers=(
        Marker(id=4, size=0.04, x=0.10, y=0.05, sheet="near"),
        Marker(id=9, size=0.06, x=-0.20, y=0.40, turn=0.5, sheet="far"),
        Marker(id=7, size=0.04, x=0.30, y=0.05, sheet="near"),
    ),
    place_u=0.02,
    scale_u=0.003,
)
SPAN = math.hypot(0.24, 0.04)
"""m, by hand: the near sheet's corners lie from 0.08 to 0.32 and from 0.03 to 0.07; the far one is half as large."""


@pytest.mark.parametrize(("turn_u", "handed_on"), [(0.009, 3 * 0.009 * SPAN / 2), (0.002, 3 * 0.0008)])
def test_what_is_handed_on_and_kept(turn_u: float, handed_on: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """The far sheet was moved by 9 and -12 mm, the near one's markers by 1 and 2 mm."""
    a, b, c = CARD.markers
    places = (replace(a, x=0.101), replace(b, x=-0.191, y=0.388, turn=-0.25), replace(c, y=0.048, turn=0.01))
    lens = Camera(matrix=np.diag([900.0, 910.0, 1.0]), distortion=np.zeros(5), size=(640, 480))
    asked: list[object] = []

    def learn(clip: Path, floor: FloorLayout, *, camera: Camera | None, progress: Progress | None) -> LearnedLayout:
        asked.extend([clip, floor, camera, progress])
        return LearnedLayout(
            floor=replace(floor, markers=places, place_u=0.0008),
            place_u=np.array([0.0, 0.0011]),
            turn_u=np.array([0.0, turn_u]),
            noise=0.23,
            views=31,
            camera=lens,
        )

    monkeypatch.setattr(lens_and_floor, "learn_layout", learn)
    floor, row = laid_by_eye(Path("push.avi"), CARD, lens, None)
    assert asked == [Path("push.avi"), CARD, lens, None]
    assert floor == FloorLayout(
        dictionary="DICT_4X4_50", markers=places, place_u=pytest.approx(handed_on, rel=1e-9), scale_u=0.003
    )
    near = pytest.approx
    assert row == LearnedFloorRow(
        markers=(
            FloorMarkerRow(id=4, x_mm=near(101.0), y_mm=near(50.0), turn_deg=0.0),
            FloorMarkerRow(id=9, x_mm=near(-191.0), y_mm=near(388.0), turn_deg=near(-14.32394, rel=1e-6)),
            FloorMarkerRow(id=7, x_mm=near(300.0), y_mm=near(48.0), turn_deg=near(0.572958, rel=1e-5)),
        ),
        place_u_mm=near(0.8),
        farthest_from_card_mm=near(15.0),
        views=31,
        noise_px=0.23,
    )
