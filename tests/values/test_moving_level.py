"""What a raised pad moves on this car, from its springs, by the statics of a rigid body on four springs."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from .cards_typed import G, found, run, write

FRONT = {"spring_n_per_mm": 2.4, "motion_ratio": 0.7, "tyre_n_per_mm": 18.0, "bar_n_per_mm": 0.5}
REAR = {"spring_n_per_mm": 1.5, "motion_ratio": 0.85, "tyre_n_per_mm": 26.0, "bar_n_per_mm": 0.2}


def yielding(axle: dict[str, float]) -> np.ndarray:
    """(2, 2) mm/N of the two wheels of an axle: springs with their bar, and tyres, one after the other."""
    rate = axle["spring_n_per_mm"] * axle["motion_ratio"] ** 2
    bar = axle["bar_n_per_mm"]
    return np.linalg.inv([[rate + bar, -bar], [-bar, rate + bar]]) + np.eye(2) / axle["tyre_n_per_mm"]


def level(folder: Path, *options: object, **more: Any) -> dict[str, Any]:
    car = {
        f"chassis.{name}.{key}": value
        for name, axle in (("front", FRONT), ("rear", REAR))
        for key, value in axle.items()
    }
    path = write(folder, car=car | {"geometry.track_front_mm": 170.0, "geometry.track_rear_mm": 170.0} | more)
    got = found("pads", "level", path, "--log", folder / "log", *options)
    assert got["told_apart"] in (True, False)
    got["words"] = run("pads", "level", path, "--log", folder / "log", *options)
    return got


def test_a_raised_pad_moves_load_between_the_diagonals(tmp_path: Path) -> None:
    """Tracks alike: every wheel changes by the same, up on one diagonal; the way is shared by all four yieldings."""
    sign = np.array([1, -1])
    grams = 1 / (sign @ yielding(FRONT) @ sign + sign @ yielding(REAR) @ sign) / G * 1000
    got = level(tmp_path)
    assert got["grams_per_mm"] == pytest.approx(grams, rel=1e-6)
    assert got["cross_g_per_mm"] == pytest.approx(4 * grams, rel=1e-6)  # one diagonal less the other, two wheels each
    # rates are taken as known to 10 %: 95 % is twice that
    assert f"1 mm under one wheel moves {grams:.1f} g at each wheel (± 20 %" in got["words"]


def test_on_a_car_narrower_in_front_the_front_wheels_change_more(tmp_path: Path) -> None:
    """Tracks 150 and 190 mm: forces and moments on the body balanced here, with one pad after another raised."""
    stiff = np.linalg.inv(np.block([[yielding(FRONT), np.zeros((2, 2))], [np.zeros((2, 2)), yielding(REAR)]]))  # N/mm
    place = np.array([[1, 260, 75], [1, 260, -75], [1, 0, 95], [1, 0, -95]])  # mm: what heave, pitch and roll lift
    body = np.linalg.solve(place.T @ stiff @ place, place.T @ stiff)
    gained = stiff @ (np.eye(4) - place @ body) / G * 1000  # g per mm: by wheel, for each pad
    assert gained[0, 0] / gained[2, 2] == pytest.approx((190 / 150) ** 2)  # moments alone say so
    got = level(tmp_path, **{"geometry.track_front_mm": 150.0, "geometry.track_rear_mm": 190.0})
    assert got["grams_per_mm"] == pytest.approx(np.diag(gained).mean(), rel=1e-6)
    assert got["cross_g_per_mm"] == pytest.approx(np.array([1, -1, -1, 1]) @ gained[:, 0], rel=1e-6)


def test_a_shim_goes_under_the_low_pad(tmp_path: Path) -> None:
    """Heights 0.1, 0.5, 0, 0.2 mm: front right and rear left stand 0.2 mm higher by the diagonals."""
    got = level(tmp_path, "--heights", 0.1, 0.5, 0.0, 0.2)
    shims = np.array(got["shims_mm"])
    assert shims[0] == pytest.approx(0.2, abs=0.051)  # of the two low pads the lower one
    np.testing.assert_array_equal(shims[1:], 0)
    assert got["warp_after_mm"] == pytest.approx(0.1 - 0.5 - 0.0 + 0.2 + shims.sum(), abs=1e-9)
    assert "under the front-left pad" in got["words"]


def test_what_stands_in_the_log_comes_out_the_same_again(tmp_path: Path) -> None:
    """Forecasts made with other loads, sides and draws, computed once more from their inputs alone."""
    for file, keys in (
        ("a", {"push.side": "left", "push.position_pct_u": 1.0, "typed.weights_resolution_g": 30.0}),
        ("b", {"push.position_pct": 15.0, "push.height_mm": 12.0, "grip.level_u": 0.1}),
    ):
        path = write(tmp_path, test=keys, file=file, bench={"place.latitude_deg": 20.0})
        run("push", "forecast", path, "--log", tmp_path / "log", "--seed", 5)
    got = found("log", "recalculate", "--log", tmp_path / "log")
    assert got["differing"] == []
    assert got["same"] == 2
