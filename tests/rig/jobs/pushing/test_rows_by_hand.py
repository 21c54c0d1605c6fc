"""What records and sentences hold of a push: every field, from results in which no two figures are alike."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from analysis.balance.results import MeasuredBalance, NoseAndTail, Saw
from analysis.base.errors import InputError as AnalysisInputError
from analysis.base.pivot import PivotEstimate
from analysis.forecast.comparison import Comparison
from analysis.forecast.forecast import Known, Prediction, Sensitivity
from analysis.forecast.region import PoleRegion
from analysis.grip.combine import GripMeasurement
from analysis.quick.as_seen import SeenSlide
from analysis.quick.quickness import InertiaRatio, Recommendation
from analysis.quick.slide import Body, FingerMotion
from analysis.sliding.contacts import Contacts
from rig.base.errors import InputError
from rig.cards.keys.car import CarCard
from rig.cards.read import CardSet, parse_card
from rig.cards.template import card_text
from rig.jobs.measuring.found_pushes import pushes_in
from rig.jobs.pushing import forecast, quickness
from rig.jobs.pushing.balance import ByWeights, PushAnswer, answer_json, near_place_mm, whole_patches_then
from rig.jobs.pushing.compare import comparison_record, typed_pivot
from rig.jobs.pushing.force_kept import PushForce, grips_of
from rig.jobs.pushing.forecast import asked as asked_of
from rig.jobs.pushing.forecast import forecast_inputs, prediction_record
from rig.jobs.pushing.quickness import Quickness, judge_quickness
from rig.jobs.pushing.what_if import WhatIf, loads_with
from rig.log.store import BenchLog
from rig.records.force import ForceInputs, ForceResult
from rig.records.pushing import ComparisonResult, PredictionInputs, PushedAtRow, SensitivityRow
from tests.rig.jobs.synthetic_pushes import CAR, WEIGHTS, cards, pushed_track, weighed

near = pytest.approx
G = 9.80665


def with_car(of: CardSet, **keys: Any) -> CardSet:
    """The cards with these keys on the car's."""
    text = card_text("car", CAR | {key.replace("__", "."): value for key, value in keys.items()})
    return replace(of, car=parse_card(text, CarCard, where="car.toml"), texts=of.texts | {"car": text})


@pytest.mark.parametrize("behind", [1, -1])
def test_a_pivot_that_was_typed_in(behind: int) -> None:
    """30 % behind the rear axle, or as far ahead of the front one: 0.8 wheelbases from the middle, known to 3 %."""
    away, u = behind * 0.8 * 0.257, 0.03 * 0.257
    found = typed_pivot(cards(typed__pivot_pct=50.0 - behind * 80.0, typed__pivot_pct_u=3.0))
    ends = sorted(1 / (away + sign * 1.959964 * u) for sign in (1, -1))
    assert found == PivotEstimate(
        kappa=near(1 / away),
        kappa_u=near(u / away**2),
        interval=near(tuple(ends), rel=1e-6),
        wheelbase=near(0.257),
        count=1,
        method="typed in",
    )
    with pytest.raises(InputError, match="within its own doubt"):
        typed_pivot(cards(typed__pivot_pct=50.0 - behind * 5.9, typed__pivot_pct_u=3.0))


VERDICT = Comparison(
    verdict="disagrees",
    reason="because",
    difference=0.7,
    sigmas=2.9,
    difference_pct=-4.1,
    reconciling_grip_ratio=1.13,
    reconciling_interval=(1.05, 1.22),
    sentence="They disagree.",
)
QUICK = Quickness(
    ratio=InertiaRatio(peak=0.21, peak_u=0.03, energy=0.12, energy_u=0.02, peak_speed=0.15, peak_speed_u=0.01),
    recommendation=Recommendation(choice="dynamic", reason="too quick"),
    dynamic=SeenSlide(kappa=3.3, interval=(3.1, 3.6), travel=0.05),
)


def test_a_verdict_and_how_quick_the_push_was() -> None:
    row = ComparisonResult(
        verdict="disagrees",
        sentence="They disagree.",
        reason="because",
        difference_per_m=0.7,
        sigmas=2.9,
        difference_pct=-4.1,
        reconciling_grip_ratio=1.13,
        reconciling_interval=(1.05, 1.22),
    )
    assert comparison_record(VERDICT) == row
    assert comparison_record(VERDICT, QUICK) == msgspec.structs.replace(
        row,
        forecast_that_applies="dynamic",
        quickness="too quick",
        inertia_over_friction=0.21,
        inertia_over_friction_u=0.03,
        kinetic_over_friction_work=0.12,
        dynamic_kappa_per_m=3.3,
        dynamic_interval_per_m=(3.1, 3.6),
    )


def test_a_forecast_as_it_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    of = cards(push__position_pct=62.0, push__position_pct_u=0.7, push__side="left", push__distance_mm=45.0)
    with BenchLog(tmp_path / "log") as log:
        weighing = weighed(of, log)
    rows = tuple(tuple(float(one) for one in row) for row in weighing.load_covariance)
    asked = PredictionInputs(
        seed=3,
        draws=700,
        turn_rad=0.2,
        travel_m=0.045,
        load_N=near(tuple(1e-3 * G * grams for grams in WEIGHTS)),
        load_covariance_N2=rows,
        push=PushedAtRow(position_pct=62.0, position_pct_u=0.7, side="left"),
        model=9,
    )
    assert forecast_inputs(of, weighing, seed=3, turn=0.2, draws=700) == asked
    patches = [asked_of(of, msgspec.structs.replace(asked, model=model))[0].whole_patches for model in (6, 7, 8, 9)]
    assert patches == ["none", "turning", "all", "paced"]  # an older forecast gives its figures again
    assert [whole_patches_then(model) for model in (1, 3, 4, 5, 6)] == ["none", "none", "turning", "all", "paced"]
    assert forecast_inputs(of, weighing, travel=0.031).travel_m == 0.031
    pivot = PivotEstimate(kappa=4.0, kappa_u=0.2, interval=(3.6, 4.4), wheelbase=0.25, count=700, method="draws")
    made = Prediction(
        car=None,  # type: ignore[arg-type]
        push=None,  # type: ignore[arg-type]
        estimate=pivot,
        best=4.1,
        turn=0.3,
        kappa=np.array([3.9, 4.1]),
        balance=Known(value=0.14, u=0.003, interval=(0.134, 0.146)),
        force=Known(value=7.7, u=0.9, interval=(6.1, 9.6)),
        region=PoleRegion(
            place=np.array([-0.12, 0.01]), covariance=np.eye(2), outline=np.array([[0.1, 0.2], [0.3, 0.4], [0.5, 0.7]])
        ),
        sensitivity=(
            Sensitivity(name="push position", share=0.6, u=0.15, half_width_without=0.25, saving=0.4),
            Sensitivity(name="grip ratio", share=0.3, u=0.11, half_width_without=0.35, saving=0.1),
        ),
        kind="graded",
        sentence="It turns.",
        hypersensitive=True,
        rear_turn_odds=0.9,
        stable=False,
        ends_known=0.07,
        warnings=("left out",),
    )
    monkeypatch.setattr(forecast, "one_thing", lambda one: f"Measure {one.sensitivity[0].share} better")
    row = prediction_record(made)
    assert row.pivot.kappa_per_m == 4.0
    assert row.pivot.interval_pct == near((100 * (0.5 - 1 / 0.9), 100 * (0.5 - 1 / 1.1)))
    assert (row.turn_deg, row.balance_pct, row.balance_u_pct) == near((math.degrees(0.3), 56.0, 1.2))
    assert (row.push_force_N, row.push_force_interval_N) == (7.7, (6.1, 9.6))
    assert (row.region_m, row.place_m) == (((0.1, 0.2), (0.3, 0.4), (0.5, 0.7)), (-0.12, 0.01))
    assert (row.kind, row.sentence, row.hypersensitive) == ("graded", "It turns.", True)
    assert (row.rear_turn_odds, row.stable_to_two_digits, row.warnings) == (0.9, False, ("left out",))
    assert row.sensitivity == (
        SensitivityRow(name="push position", share=0.6, half_width_without_per_m=0.25),
        SensitivityRow(name="grip ratio", share=0.3, half_width_without_per_m=0.35),
    )
    assert row.advice == "Measure 0.6 better"


FORCE = ForceResult(
    force_N=9.4,
    force_u_N=0.2,
    peak_N=11.0,
    parts=(),
    offset_s=1.4,
    offset_u_s=0.02,
    way_mm=31.0,
    station_mm=150.0,
    turn_deg=8.0,
    readings=400,
    level=0.8,
    level_u=0.05,
    level_interval=(0.72, 0.88),
    own_u=0.02,
    shared={"load cell of the finger": 0.03},
    front=0.9,
    front_u=0.06,
    rear=0.7,
    rear_u=0.09,
    whole_N=12.0,
    share=0.78,
    front_weight=0.55,
)
FORCE_ASKED = ForceInputs(
    push_number=2, side=1, finger="rolling", balance_pct=58.0, balance_u_pct=0.9, balance_by="push", seed=0, draws=9
)


def test_the_force_of_a_push_as_grip_and_in_words() -> None:
    """± by hand: 1.96 × 0.8 × 0.05 = 0.08, 1.96 × 0.9 × 0.06 = 0.11, 1.96 × 0.7 × 0.09 = 0.12."""
    found = PushForce(inputs=FORCE_ASKED, result=FORCE, ratio=(1.29, 0.04), file=Path("a"))
    mean, ratio = grips_of(found)
    assert mean == GripMeasurement(
        quantity="mean",
        value=0.8,
        relative_u=0.02,
        method="force on the pushing finger",
        front_weight=0.55,
        shared={"load cell of the finger": 0.03},
    )
    assert (ratio.quantity, ratio.value, ratio.relative_u, ratio.shared) == ("ratio", 1.29, 0.04, {})
    assert found.sentence.startswith(
        "The finger held 9.4 N while the car slid: grip 0.80 ± 0.08 in this push "
        "(front 0.90 ± 0.11, rear 0.70 ± 0.12). "
    )
    alone = replace(found, ratio=None)
    assert grips_of(alone) == [mean]
    assert "front" not in alone.sentence


def test_loads_of_what_is_asked_if_it_were_so(tmp_path: Path) -> None:
    """100 g at a quarter of the wheelbase: 25 g on the front axle, 75 g on the rear one, shared alike across."""
    of, asked = cards(), WhatIf(front=0.9, rear=0.7, ballast_g=100.0, ballast_pct=25.0, push_pct=62.0)
    with BenchLog(tmp_path / "log") as log:
        weighing = weighed(of, log)
    load, covariance, test = loads_with(of, weighing, asked)
    np.testing.assert_allclose(load, 1e-3 * G * np.array([432.5, 412.5, 417.5, 397.5]))
    np.testing.assert_allclose(covariance, weighing.load_covariance)
    assert (test.push.position_pct, test.grip.front, test.grip.rear) == (62.0, 0.9, 0.7)
    load, covariance, _ = loads_with(of, None, asked)  # nobody weighed it: 400 g a corner, known to a tenth
    np.testing.assert_allclose(load, 1e-3 * G * np.array([412.5, 412.5, 437.5, 437.5]))
    np.testing.assert_allclose(covariance, (0.04 * G) ** 2 * np.eye(4))


class Asked(Exception):  # noqa: N818
    """Stops there: what was asked is all that is looked at."""


def test_what_the_judgement_of_a_quick_push_is_given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Wheels that roll: 3 g on the tread of a front wheel, which holds 0.9 × 420 g, drag 0.79 % more of its grip."""
    keys = {"front__drag": 0.03, "rear__drag": 0.05, "front__drag_g": 3.0, "rear__drag_g": 0.0}
    keys |= {"front__steer_deg": 2.0, "masses__yaw_inertia_kgm2": 0.021}
    of = cards(
        push__position_pct=85.0,
        push__wheels="as on the car card",
        grip__front=0.9,
        grip__rear=0.7,
        grip__front_along=1.2,
    )
    of, track = with_car(of, **keys), pushed_track(0.09, 0.03)
    (push,) = pushes_in(track, of).pushes
    given: list[Any] = []

    def heard(*moved: Any, contacts: Contacts, body: Body) -> InertiaRatio:
        given.extend([*moved, contacts, body])
        raise Asked

    monkeypatch.setattr(quickness, "inertia_ratio", heard)
    with BenchLog(tmp_path / "log") as log, pytest.raises(Asked):
        judge_quickness(of, weighed(of, log), track, push, balance=0.1285)  # type: ignore[arg-type]
    time, pose, covariance, contacts, body = given
    shown = (track.time >= push.start_time - 0.3) & (track.time <= push.end_time + 0.3)
    np.testing.assert_array_equal(time, track.time[shown])
    np.testing.assert_array_equal(pose, track.pose[shown])
    np.testing.assert_allclose(covariance, track.covariance[shown] + 1e-12 * np.eye(3))
    load, grip = 1e-3 * G * np.array(WEIGHTS), np.array([0.9, 0.9, 0.7, 0.7])
    np.testing.assert_allclose(contacts.place, [[0.257, 0.0825], [0.257, -0.0825], [0.0, 0.0825], [0.0, -0.0825]])
    np.testing.assert_allclose(contacts.load, load)
    np.testing.assert_allclose(contacts.grip, grip)
    np.testing.assert_allclose(contacts.drag, [0.03 + 3 / 378, 0.03 + 3 / 360, 0.05, 0.05])
    np.testing.assert_allclose(contacts.along, [1.2, 1.2, 1.0, 1.0])
    np.testing.assert_allclose(contacts.heading, np.radians([2.0, 2.0, 0.0, 0.0]))
    assert (body.mass, body.yaw_inertia) == (near(1.56), 0.021)
    assert body.centre == near((0.257 * 820 / 1560, 0.0825 * (800 - 760) / 1560))


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_finger_of_a_dynamic_forecast_goes_as_far_and_as_fast_as_it_was_seen(
    side: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pushed at 85 % of 257 mm: 35 %, 90 mm, ahead of the middle."""
    of, sign = cards(push__position_pct=85.0, push__side=side), 1 if side == "right" else -1
    track = pushed_track(0.09, 0.03, side=sign)
    (push,) = pushes_in(track, of).pushes
    given: list[FingerMotion] = []

    def slide(contacts: Contacts, body: Body, finger: FingerMotion, *, wheelbase: float) -> SeenSlide:
        assert wheelbase == near(0.257)
        given.append(finger)
        raise AnalysisInputError("no", where="here", remedy="none")

    monkeypatch.setattr(quickness, "recommend", lambda *_, **__: Recommendation(choice="dynamic", reason=""))
    monkeypatch.setattr(quickness, "slide_as_seen", slide)
    with BenchLog(tmp_path / "log") as log:
        found = judge_quickness(of, weighed(of, log), track, push, balance=0.1285)  # type: ignore[arg-type]
    assert found is not None
    assert found.dynamic is None
    arm = 0.35 * 0.257
    assert given == [
        FingerMotion(
            station=near(0.85 * 0.257),
            face=near(-sign * 0.095),
            side=sign,
            speed=near(abs(push.peak_speed) + abs(push.peak_yaw_rate) * arm),
            travel=near(abs(push.travel + 2 * math.sin(push.turn / 2) * arm)),
            follows="car",
        )
    ]
    assert given[0].travel == near(0.03 + 0.85 * 0.06, abs=2e-4)  # by the ways of nose and tail


def test_an_answer_for_programs() -> None:
    saw = NoseAndTail(saw=Saw.NOSE_LED, nose_mm=61.0, tail_mm=22.0, side=-1, ratio=0.47, interval=(0.44, 0.5))
    basic = PushAnswer(
        number=2, pushed_pct=70.0, side=-1, blocked=(True, False), wheelbase=0.257, saw=saw, end=(0.01, 0.04, 0.15)
    )
    assert answer_json(basic) == {"saw": "nose led", "nose_mm": 61.0, "tail_mm": 22.0}
    figure = MeasuredBalance(pushed_pct=70.0, kappa=3.0, wheelbase=0.257, pct=56.0, u=0.8, interval_pct=(54.3, 57.7))
    by_weights = ByWeights(pct=53.0, u=1.4, interval_pct=(50.1, 55.8), front_weight_pct=52.0, sensitivity=0.1)
    whole = replace(basic, balance=figure, by_weights=by_weights, remarks=("odd",))
    assert answer_json(whole) == answer_json(basic) | {
        "balance_measured": {"pct": 56.0, "interval_pct": [54.3, 57.7]},
        "balance_forecast": {"pct": 53.0, "interval_pct": [50.1, 55.8]},
        "remarks": ["odd"],
    }
    swung = replace(figure, pct=None, u=None, interval_pct=None, axle="rear", odds=12.0, bounds_pct=(58.0, 100.0))
    assert answer_json(replace(basic, balance=swung))["balance_measured"] == {
        "axle": "rear",
        "odds": 12.0,
        "bounds_pct": [58.0, 100.0],
    }


def test_a_pivot_within_two_wheelbases_of_the_middle_has_a_place() -> None:
    """0.25 m: the middle is at 0.125 m, and two wheelbases reach from -0.375 to 0.625 m."""
    assert near_place_mm(-0.374, 0.25) == near(-374.0)
    assert near_place_mm(0.624, 0.25) == near(624.0)
    assert (near_place_mm(-0.376, 0.25), near_place_mm(0.626, 0.25), near_place_mm(None, 0.25)) == (None, None, None)
