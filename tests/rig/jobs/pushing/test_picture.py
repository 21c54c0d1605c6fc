"""The top view of a test: every place by hand, in car axes; nothing on it is like its mirror image.

An ellipse of 95 % lies where the squared distance, by the covariance, is 5.991 (chi-square, 2 degrees, tables).
"""

from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from analysis.base.pivot import PivotEstimate
from rig.cards.read import CardSet, read_set
from rig.jobs.pushing import picture
from rig.jobs.pushing.picture import PushedPoses, car_picture, measured_mark
from rig.records.pushing import PredictionResult, PushRow
from rig.records.registry import RECORD_KINDS
from tests.values.cards_typed import write
from tests.whole_records import completed

FOUND = PivotEstimate(kappa=3.0, kappa_u=0.1, interval=(2.8, 3.2), wheelbase=0.26, count=1, method="")


def cards(folder: Path, side: str) -> CardSet:
    return read_set(write(folder, test={"push.side": side, "push.position_pct": 80.0}))


@pytest.mark.parametrize("lean", [1.0, -1.0])
def test_the_region_of_a_measured_pivot_leans_as_its_covariance_does(lean: float) -> None:
    covariance = np.array([[9e-6, lean * 4e-6], [lean * 4e-6, 4e-6]])
    mark = measured_mark(FOUND, np.array([0.07, -0.02]), covariance)
    assert mark is not None
    off = mark.region - mark.place
    np.testing.assert_allclose(np.einsum("ni,ij,nj->n", off, np.linalg.inv(covariance), off), 5.991, rtol=1e-3)
    assert len(np.unique(off.round(9), axis=0)) == len(off) > 30
    np.testing.assert_allclose(off.mean(axis=0), 0.0, atol=1e-9)


def test_a_typed_pivot_lies_on_the_middle_line_and_one_that_is_none_nowhere() -> None:
    mark = measured_mark(FOUND, None, None)
    assert mark is not None
    np.testing.assert_allclose(mark.place, [0.26 / 2 - 1 / 3.0, 0.0])
    assert mark.region.size == 0
    assert measured_mark(None, None, None) is None


@pytest.mark.parametrize(("side", "y", "sign"), [("right", -0.1, 1), ("left", 0.1, -1)])
def test_a_car_is_pushed_from_its_side(tmp_path: Path, side: str, y: float, sign: int) -> None:
    shown = car_picture(cards(tmp_path, side), None, balance=(0.14, 0.003), verdict="so")
    assert shown.push == pytest.approx([0.8 * 0.26, y])
    assert shown.push_side == sign
    assert (shown.balance, shown.balance_u, shown.verdict) == (0.14, 0.003, "so")
    assert shown.body == pytest.approx((0.07, 0.09, 0.2))
    assert (shown.load_g, shown.cg, len(shown.swept)) == (None, None, 0)
    assert shown.title == "Lopsided: test"


def test_a_pushed_car_is_shown_with_its_forecast_and_the_way_that_it_went(tmp_path: Path) -> None:
    """It starts at (1, 2) m, turned to the left by 90 degrees, and goes 30 mm along the floor's x: to its right."""
    plain = completed("push", {}, {"pushes": [{"place_m": [0.07, -0.02], "start_pose": [1.0, 2.0, np.pi / 2]}]})[1]
    row = msgspec.convert(plain["pushes"][0] | {"place_covariance_m2": [[9e-6, 0.0], [0.0, 4e-6]]}, PushRow)
    given: dict[str, Any] = {"place_m": [0.05, 0.01], "region_m": [[0.06, 0.01], [0.05, 0.02], [0.04, 0.0]]}
    given |= {"balance_pct": 55.0, "balance_u_pct": 1.2}
    forecast = msgspec.convert(completed("prediction", {}, given)[1], RECORD_KINDS["prediction"].result)
    assert isinstance(forecast, PredictionResult)
    time = np.array([0.0, 2.0, 5.0, 6.0])
    pose = np.array([[1.0, 2.0, 0.0], [1.0, 2.0, 0.0], [1.03, 2.0, 0.1], [9.0, 9.0, 9.0]])
    pose[:, 2] += np.pi / 2
    shown = picture.test_picture(
        cards(tmp_path, "left"),
        None,
        measured=FOUND,
        push=row,
        forecast=forecast,
        poses=PushedPoses(time=time, pose=pose, start=2.0, end=5.0),
        verdict="agrees",
    )
    assert shown.measured is not None
    assert shown.forecast is not None
    assert shown.measured.place == pytest.approx([0.07, -0.02])
    assert shown.forecast.place == pytest.approx([0.05, 0.01])
    np.testing.assert_allclose(shown.forecast.region, given["region_m"])
    assert (shown.balance, shown.balance_u) == pytest.approx((0.55 * 0.26, 0.012 * 0.26))
    share = np.arange(1, 7) / 6
    np.testing.assert_allclose(shown.swept, np.stack([0 * share, -0.03 * share, 0.1 * share], -1), atol=1e-12)
