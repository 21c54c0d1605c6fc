"""Two set-ups whose balance points were pushed, or only one of them: what differs is neither made up nor too sure.

Truth: what is independent adds in squares; a bar shares out nothing at rest (statics); centre of friction by hand.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rig.jobs.moving.drawn_cars import FEW_CARS, MeasuredTransfer
from rig.jobs.moving.driven_car import ByPushes, DrivenCar, driven_car, with_pushes_of
from rig.jobs.moving.reach import Reached, cast_of, reached_by, region_change
from tests.values.cards_typed import write

CAR = {
    "id": "dunlindu",
    "chassis.front.spring_n_per_mm": 2.2,
    "chassis.rear.spring_n_per_mm": 1.7,
    "chassis.load_sensitivity": 0.0,
    "chassis.load_sensitivity_u": 0.0,
}
GRAMS = [430.0, 410.0, 400.0, 360.0]
PUSHED = ByPushes(pct=51.0, u=0.6, count=3)


def set_up(
    folder: Path, pushes: ByPushes | None, grams: list[float] | None = None, tyres: str = "soft", **car: object
) -> DrivenCar:
    keys = CAR | {key.replace("__", "."): value for key, value in car.items()}
    test = {"typed.weights_g": grams or GRAMS, "grip.ratio_u": 0.05, "conditions.compound_front": tyres}
    return driven_car(write(folder, test=test, car=keys), None, by_pushes=pushes)


def reached(car: DrivenCar) -> Reached:
    return reached_by(
        cast_of(car.card, car.load, grip=car.grip, open_to=car.open_to, where="card", seed=0, built=FEW_CARS)
    )


def test_pushes_of_two_set_ups_err_each_for_itself(tmp_path: Path) -> None:
    """51.0 and 52.5 %, u 0.6 and 0.8: 1.5 ± 1.96 hypot(0.6, 0.8) = 1.96 points, though it is one car."""
    first = set_up(tmp_path / "a", PUSHED)
    other = set_up(tmp_path / "b", ByPushes(pct=52.5, u=0.8, count=2), chassis__front__bar_n_per_mm=1.5)
    found = region_change(reached(first), reached(other), shared=True).rest
    assert float(found.value) == pytest.approx(1.5, abs=1e-6)
    assert float(np.ptp(found.pair())) / 2 == pytest.approx(1.96, rel=0.15)  # of 60 draws


@pytest.mark.thorough
def test_a_set_up_that_was_not_pushed_goes_by_the_other_s_pushes(tmp_path: Path) -> None:
    """A front bar is not felt at rest: no difference, where the cards' grip balances 1.5 points elsewhere."""
    pushed = set_up(tmp_path / "a", PUSHED)
    bare = set_up(tmp_path / "b", None, name="Dunlin barred", chassis__front__bar_n_per_mm=1.5)
    lent = with_pushes_of(bare, pushed)
    assert any("follows from 3 pushes of Lopsided, too, the tyres being the same" in one for one in lent.remarks)
    found = region_change(reached(pushed), reached(lent), shared=True).rest
    assert np.abs([float(found.value), *found.pair()]).max() < 1e-6
    unlent = region_change(reached(pushed), reached(bare), shared=True).rest
    assert float(unlent.value) == pytest.approx(100 * 840 / 1600 - 51.0, abs=0.01)
    assert with_pushes_of(pushed, bare) is pushed


def test_lent_pushes_are_of_the_loads_they_were_made_under(tmp_path: Path) -> None:
    """80 g moved to the front: tyres F/R = (51/49)/(840/760) in grip, times 920/680 in load, by hand."""
    pushed = set_up(tmp_path / "a", PUSHED)
    moved = set_up(tmp_path / "b", None, grams=[470.0, 450.0, 360.0, 320.0])
    odds = 51 / 49 * (760 / 840) * (920 / 680)
    rest = reached(with_pushes_of(moved, pushed)).rest
    assert float(rest.value) / 0.26 == pytest.approx(odds / (1 + odds), abs=1e-4)


def test_other_tyres_or_another_car_borrow_nothing(tmp_path: Path) -> None:
    pushed = set_up(tmp_path / "a", PUSHED)
    hard = set_up(tmp_path / "b", None, tyres="hard")
    snipe = set_up(tmp_path / "c", None, id="snipesni")
    typed = replace(set_up(tmp_path / "d", None), grip=(0.7, 0.9))
    assert all(with_pushes_of(one, pushed) is one for one in (hard, snipe, typed))


def test_two_readings_on_tilted_pads_err_each_for_itself(tmp_path: Path) -> None:
    """One record cancels between set-ups that go by it; two do not: their draws have nothing in common."""
    car = set_up(tmp_path, PUSHED)
    cast = cast_of(car.card, car.load, grip=car.grip, open_to=car.open_to, where="card", seed=0, built=FEW_CARS)

    def springs(number: int) -> np.ndarray:
        read = MeasuredTransfer(share=0.55, share_u=0.01, height=0.034, height_u=0.0005, ay=2.0, number=number)
        each = read.drawn(cast.many, 0)
        return np.asarray(each.spring[:, 0] / cast.many.spring[:, 0] * cast.many.spring[:, 2] / each.spring[:, 2])

    # of spread that is the cards' own, both have the same: what is left is the reading's
    one, again, other = springs(1), springs(1), springs(2)
    np.testing.assert_array_equal(one, again)
    assert float(np.std(np.log(one) - np.log(other))) > 0.04
