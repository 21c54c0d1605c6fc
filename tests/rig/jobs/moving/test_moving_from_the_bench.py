"""The moving car from what was measured at rest: weights with their scatter, grip, the balance point by pushes."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.moving.phases import DRIFT
from analysis.moving.tyres import Tyres, friction_centre
from rig.jobs.moving.drawn_cars import balanced_at
from rig.jobs.moving.driven_car import ByPushes, driven_car
from rig.jobs.moving.moving import DriftQuestion, MovingAnswers, answer_driven
from rig.jobs.moving.two_set_ups import differences
from rig.report.words.moving.on_the_move import HEADS, change_sentence, facts, phase_rows
from tests.analysis.springs.sprung_cars import dunlin
from tests.values.cards_typed import write

SPRINGS = {
    "chassis.front.spring_n_per_mm": 2.2,
    "chassis.rear.spring_n_per_mm": 1.7,
    "chassis.load_sensitivity": 0.25,
    "geometry.cg_height_mm_u": 2.0,
}
GRAMS = [430.0, 410.0, 400.0, 360.0]


def asked(folder: Path, by_pushes: ByPushes | None = None, **car: object) -> MovingAnswers:
    keys = {key.replace("__", "."): value for key, value in car.items()}
    test = write(
        folder,
        test={"typed.weights_g": GRAMS, "grip.front": 0.9, "grip.rear": 0.7, "grip.ratio_u": 0.3},
        car=SPRINGS | keys,
        bench={"pads.reseat_g": 4.0},
    )
    found = driven_car(test, None, by_pushes=by_pushes)
    return answer_driven(found, DriftQuestion(phases=DRIFT), where=str(test))


def test_tyres_that_balance_where_they_were_seen_to() -> None:
    """x_c / L = F / (F + R) (centre of friction); what one axle gains the other loses: the product of both stays."""
    car = dunlin()
    load = np.array([5.0, 3.5, 4.0, 4.5])
    tyres = Tyres(grip=np.array([0.9, 0.9, 0.7, 0.7]), sensitivity=np.full(4, 0.2), nominal=np.full(4, 4.0))
    found = balanced_at(tyres, load, 0.46)
    assert friction_centre(car, found, load)[0] == pytest.approx(0.46 * 0.257, rel=1e-12)
    assert found.grip[0] * found.grip[2] == pytest.approx(0.63)
    assert found.grip[0] == found.grip[1] < 0.9


@pytest.mark.thorough
def test_the_balance_point_by_pushes_goes_before_weights_and_grip(tmp_path: Path) -> None:
    """By weights and grip 58 % and more, ±15 points; three pushes say 51.0, u 0.4: that is where it stands at rest."""
    typed = asked(tmp_path)
    low, high = typed.reached.rest.pair()
    assert (typed.reached.rest_by, 100 * (high - low) / typed.wheelbase > 20) == ("weights and grip", True)
    pushed = asked(tmp_path, ByPushes(pct=51.0, u=0.4, count=3))
    pct = 100 / pushed.wheelbase
    assert float(pushed.reached.rest.value) * pct == pytest.approx(51.0)
    low, high = pushed.reached.rest.pair()
    assert (high - low) * pct / 2 == pytest.approx(1.96 * 0.4, rel=0.35)  # of 40 draws
    assert facts(pushed)[0].startswith("at rest the balance point is at 51.0 ± ")
    assert facts(pushed)[0].endswith(" % by 3 pushes")
    # and so does the region: it moved back by as much, at half the width of what is not known of its ends
    moved = (pushed.reached.region.rest[0] - typed.reached.region.rest[0]) * pct
    ends = (np.array(pushed.reached.region.station) - np.array(typed.reached.region.station)) * pct
    np.testing.assert_allclose(ends, moved, atol=1.5)
    assert np.diff(pushed.reached.reach.station.interval[0]) < 0.5 * np.diff(typed.reached.reach.station.interval[0])


@pytest.mark.thorough
def test_wheels_in_the_air_in_all_in_some_and_in_hardly_any_of_the_drawn_cars(tmp_path: Path) -> None:
    # From the definition: sure from 95 of 100 cars on, perhaps from 5 of 100 on.
    found = asked(tmp_path)
    lifted = np.zeros_like(found.ranges.lifted)
    lifted[1] = [0.03, 0.5, 0.97, 0.06]
    rows = phase_rows(replace(found, ranges=replace(found.ranges, lifted=lifted)))
    assert [rows[i][HEADS.index("in the air")] for i in (0, 1)] == ["none", "RL perhaps FR RR"]


@pytest.mark.thorough
def test_typed_weights_carry_their_placing(tmp_path: Path) -> None:
    """4 g of placing at each wheel on 1600 g: 0.25 % of the weight and more at each."""
    found = asked(tmp_path)
    half = np.diff(found.rest_share.interval)[:, 0] / 2
    by_hand = 1.96 * 4.0 / sum(GRAMS)
    np.testing.assert_allclose(half, by_hand, rtol=0.25)


@pytest.mark.thorough
def test_a_change_in_one_sentence(tmp_path: Path) -> None:
    """A stiff front bar on tyres that lose grip with load: at rest nothing, on the move a narrower front end and a
    wider rear end (common practice). What is not known of the car is the same before and after, so the change is known
    better than either."""
    soft = asked(tmp_path / "a", name="Dunlin", id="carcarca")
    stiff = asked(tmp_path / "b", name="Dunlin barred", id="carcarca", chassis__front__bar_n_per_mm=1.5)
    found = differences(soft, stiff)
    assert found.shared
    told = change_sentence(soft.name, stiff.name, found.region)
    assert told.startswith("From Dunlin to Dunlin barred: at rest the balance point moves by less than the 0.5 points")
    assert "gets wider near its rear end: +" in told
    assert "±" in told or "(+" in told
    assert found.region.width.pair(0)[0] > 0
    assert found.region.width.value[1] < 0
    assert float(np.ptp(found.region.width.interval[1])) < float(np.ptp(1e3 * soft.reached.reach.width.interval[1]))
    other = asked(tmp_path / "c", name="Snipe", id="snipesni", chassis__front__bar_n_per_mm=1.5)
    apart = differences(soft, other)
    assert not apart.shared
    # nothing in common: what is open of the one is open beside what is open of the other, in squares
    own = [100 * one.ranges.many_balance[:, :, 0].std(0) / one.wheelbase for one in (soft, other)]
    width = np.ptp(apart.balance.interval, axis=-1)
    np.testing.assert_allclose(width, 2 * 1.96 * np.hypot(*own), rtol=0.4)  # of 40 draws
    assert np.all(np.ptp(found.balance.interval, axis=-1) < 0.5 * width)
    assert float(np.ptp(apart.region.width.interval[1])) > float(np.ptp(found.region.width.interval[1]))


@pytest.mark.thorough
def test_the_picture_shows_what_is_not_known(tmp_path: Path) -> None:
    from analysis.figures.moving import RegionDraws, region_figure

    car = asked(tmp_path)
    told = RegionDraws(
        edges=car.reached.reach.many.edge[:5], rest_half=0.004, rest_by="3 pushes", widths=("31 ± 4 mm", "28 ± 3 mm")
    )
    lifted = np.zeros_like(car.reached.region.lifted)
    lifted[3:5, 2] = True  # a rear left wheel in the air at two places of the edge
    region = replace(car.reached.region, lifted=lifted)
    axes = region_figure(car.car.chassis.contact_place, [("Dunlin", region)], [told]).axes[0]
    texts = [one.get_text() for one in axes.texts]
    assert {"at rest, by 3 pushes", "31 ± 4 mm wide", "28 ± 3 mm wide", "lifts at the edge"} <= set(texts)
    assert axes.get_legend_handles_labels()[1] == ["Dunlin"]  # its area had no ±
    thin = [one.get_xydata() for one in axes.get_lines() if one.get_linewidth() == 0.4]
    assert len(thin) == 5
    np.testing.assert_allclose(thin[2][:-1], 1e3 * told.edges[2])
    dotted = [one.get_xydata() for one in axes.get_lines() if one.get_linewidth() == 0.9]
    np.testing.assert_allclose([np.ptp(one[:, 1]) for one in dotted], 1e3 * np.array(region.width))  # rear, front
    assert dotted[0][0, 0] < 1e3 * region.rest[0] < dotted[1][0, 0]
    (marks,) = [one.get_xydata() for one in axes.get_lines() if one.get_marker() == "^"]
    np.testing.assert_allclose(marks, 1e3 * region.edge[3:5])
    hatched = [one.get_hatch() for one in axes.patches if hasattr(one, "get_width")]
    assert hatched == [None, None, "///", None]
