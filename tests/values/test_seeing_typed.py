"""A pivot found with ruler and pencil, set beside the forecast without a clip. Figures by hand."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.values.clips_rendered import records, told, told_json, write_cards

NORMAL = 1.959963984540054
"""97.5 % point of the normal law (tables)."""


def typed(folder: Path, pct: float, u: float) -> Path:
    return write_cards(
        folder,
        car={
            "": {"name": "Wren"},
            "geometry": {"wheelbase_mm": 250.0, "track_front_mm": 160.0, "track_rear_mm": 150.0},
        },
        bench={"": {"name": "Narrow"}},
        test={
            "": {"name": "ruler"},
            "push": {"position_pct": 64.0, "position_pct_u": 0.7, "side": "left", "distance_mm": 33.0},
            "typed": {"weights_g": [420.0, 380.0, 400.0, 360.0], "pivot_pct": pct, "pivot_pct_u": u},
        },
    )


@pytest.fixture(scope="module")
def told_of(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Path]:
    folder = tmp_path_factory.mktemp("typed")
    test = typed(folder, -40.0, 2.0)
    return told_json(["push", test, "--seed", 3, "--log", folder / "log"]), folder / "log"


def test_a_ruler_s_pivot_is_a_turn_per_travel(told_of: tuple[dict[str, Any], Path]) -> None:
    """0.9 of 250 mm behind the middle are 225 mm: 1 / 0.225; 2 % are 5 mm; 95 % are 1.959964 times that."""
    measured, half = told_of[0]["measured"], NORMAL * 0.005
    assert measured["kappa_per_m"] == pytest.approx(1 / 0.225)
    assert measured["kappa_u_per_m"] == pytest.approx(0.005 / 0.225**2)
    np.testing.assert_allclose(measured["kappa_interval_per_m"], [1 / (0.225 + half), 1 / (0.225 - half)])
    assert measured["station_pct"] == pytest.approx(-40.0)
    np.testing.assert_allclose(measured["interval_pct"], [-40 - 2 * NORMAL, -40 + 2 * NORMAL])
    assert (measured["wheelbase_m"], measured["count"], measured["method"]) == (0.25, 1, "typed in")


def test_the_forecast_beside_it_goes_by_the_card(told_of: tuple[dict[str, Any], Path]) -> None:
    [forecast] = records(told_of[1], "prediction")
    given = forecast["inputs"]
    assert given["push"] == {"position_pct": 64.0, "position_pct_u": 0.7, "side": "left"}
    assert given["travel_m"] == pytest.approx(0.033)
    assert given["seed"] == 3
    assert given.get("turn_rad") is None
    [verdict] = records(told_of[1], "comparison")
    assert verdict["inputs"]["seed"] == 3
    assert "inertia_over_friction" not in verdict["result"]


def test_a_pivot_within_its_own_doubt_of_the_middle_is_refused(tmp_path: Path) -> None:
    """46.5 % is 8.75 mm from the middle, twice 2 % of 250 mm are 10."""
    complaint = told(["push", typed(tmp_path, 46.5, 2.0), "--log", tmp_path / "log"], code=2)
    assert "pivot_pct = 46.5 lies within its own doubt of the middle" in complaint
