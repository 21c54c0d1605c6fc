"""What series, aims and grip tests ask of the statistics, and what is kept: figures of which no two are alike."""

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.balance.aim import CarNow, Needed
from analysis.forecast.changes import Ballast
from analysis.grip.along import PulledBothWays
from analysis.grip.bench_tests import OnBalance, OnBoard
from analysis.grip.combine import GripMeasurement
from analysis.grip.conditions import GripNotes
from analysis.series.effects import Effect, SeriesPush, SeriesResult
from analysis.set_ups.effects import EffectOfSeries
from rig.cards.read import CardSet, read_set
from rig.jobs.grip import along, grip
from rig.jobs.grip.along import PullsBothWays, measure_along
from rig.jobs.grip.grip import PullTest, TiltTest, measure_pull, measure_tilt
from rig.jobs.series import aim, effect_points, series
from rig.jobs.series.aim import aim_at
from rig.jobs.series.answered_pushes import PushesOf
from rig.jobs.series.effect_points import effects_in_points
from rig.jobs.series.evidence import notes_of
from rig.jobs.series.own_pushes import push_number
from rig.jobs.series.series import changes_for, map_of
from rig.jobs.weighing.weights import weigh_typed
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.grip import GripInputs, GripResult
from tests.rig.jobs.asked import AskedError, question
from tests.values.cards_typed import write
from tests.whole_records import whole

near = pytest.approx
G = 9.80665
GRAMS = [520.0, 480.0, 450.0, 350.0]
"""1000 of 1800 g in front, 970 on the left."""


Keys = dict[str, Any] | None


def carded(folder: Path, *, bench: Keys = None, test: Keys = None, **car: Any) -> CardSet:
    keys = {key.replace("__", "."): value for key, value in car.items()}
    usual = {"typed.weights_g": GRAMS, "typed.weights_resolution_g": 2.0}
    return read_set(write(folder, test=usual | (test or {}), car=keys, bench={"pads.reseat_g": 3.0} | (bench or {})))


CONDITIONS = {
    "conditions.compound_front": "soft",
    "conditions.compound_rear": "hard",
    "conditions.runs": 3,
    "conditions.cleaning": "wiped",
    "conditions.treatment": "oil",
    "conditions.treatment_minutes": 12.0,
    "conditions.surface": "carpet",
    "conditions.dust": "little",
    "conditions.floor_temperature_c": 21.0,
    "conditions.air_temperature_c": 24.0,
    "conditions.humidity_pct": 55.0,
    "conditions.rest_minutes": 7.0,
}
NOTES = GripNotes(
    compound="soft / hard",
    runs=3,
    cleaning="wiped",
    treatment="oil",
    treatment_minutes=12.0,
    surface="carpet",
    dust="little",
    floor_temperature_c=21.0,
    air_temperature_c=24.0,
    humidity_pct=55.0,
    rest_minutes=7.0,
)
FOUND = GripMeasurement(
    quantity="front",
    value=0.83,
    relative_u=0.04,
    method="by hand",
    state="static",
    front_weight=0.52,
    shared={"protractor": 0.02},
)
KEPT = GripResult(
    quantity="front",
    value=0.83,
    relative_u=0.04,
    method="by hand",
    state="static",
    front_weight=0.52,
    shared={"protractor": 0.02},
)


def test_the_conditions_of_a_grip(tmp_path: Path) -> None:
    assert notes_of(carded(tmp_path, test=CONDITIONS)) == NOTES


ROLLING = {"front__drag": 0.03, "front__drag_u": 0.004, "rear__drag": 0.05, "rear__drag_u": 0.01}
GRIPS = {"grip.front": 0.9, "grip.rear": 0.6, "grip.level_u": 0.1}
ROLLS = {"front": (0.9 * 0.03, 0.9 * math.hypot(0.004, 0.003)), "rear": (0.6 * 0.05, 0.6 * math.hypot(0.01, 0.005))}
"""What an axle's rolling wheels resist with over their load: by the card a share of their grip; its doubt, by hand."""


@pytest.mark.parametrize(("part", "rolling"), [("front", "rear"), ("rear", "front")])
def test_a_tilt_of_one_axle(part: Any, rolling: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three slopes of mean 40 degrees."""
    sizes = {"geometry__cg_height_mm": 39.0, "geometry__cg_height_mm_u": 5.2}
    cards = carded(tmp_path, test=CONDITIONS | GRIPS, **sizes, **ROLLING)
    asked = question(monkeypatch, grip, "tilt_axle", FOUND)
    angles = (39.7, 40.0, 40.3)
    with BenchLog(tmp_path / "log") as log:
        weighing = weigh_typed(cards, log)
        found, record = measure_tilt(
            cards, log, weighing, TiltTest(part=part, angles_deg=angles, angle_u_deg=0.6, nose="down", state="static")
        )
    (one,) = asked
    (board,) = one.given
    front = weighing.weights.front_pct
    assert board == OnBoard(
        angle=near(math.radians(40.0)),
        angle_u=board.angle_u,
        angle_shared_u=near(math.radians(0.6)),
        front_share=near(1000 / 1800),
        front_share_u=near(front.u / 100),
        height_ratio=near(39.0 / 260.0),
        height_ratio_u=near(5.2 / 260.0),
        nose="down",
    )
    assert math.degrees(board.angle_u) == near(0.3 / math.sqrt(3))  # standard deviation 0.3 degrees
    value, u = ROLLS[rolling]
    wanted = {"axle": part, "rolling": near(value), "rolling_u": near(u), "state": "static", "notes": NOTES}
    assert one.named == wanted
    assert found is FOUND
    assert record.inputs == GripInputs(angles_deg=angles, part=part, nose="down", direction="along")
    assert record.result == KEPT
    assert record.parents == (weighing.record.id,)


@pytest.mark.parametrize(("angles", "u"), [((40.0,), 0.7), ((40.0, 40.0, 40.0), 1 / math.sqrt(12))])
def test_slopes_without_scatter_are_as_sure_as_usual_or_as_read_off(
    angles: tuple[float, ...], u: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cards, asked = carded(tmp_path), question(monkeypatch, grip, "tilt_car")
    with BenchLog(tmp_path / "log") as log, pytest.raises(AskedError):
        measure_tilt(cards, log, weigh_typed(cards, log), TiltTest(part="car", angles_deg=angles))
    (board,) = asked[0].given
    assert (math.degrees(board.angle), math.degrees(board.angle_u), board.nose) == (near(40.0), near(u), "up")


@pytest.mark.parametrize(
    ("part", "wheels", "quantity"),
    [("front", [0, 1], "front"), ("rear", [2, 3], "rear"), ("car", [0, 1, 2, 3], "mean")],
)
def test_a_pull(part: Any, wheels: list[int], quantity: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cards = carded(tmp_path, test=CONDITIONS, bench={"place.latitude_deg": 64.1, "place.height_m": 480.0})
    asked = question(monkeypatch, grip, "pull", FOUND)
    load = 9.8208e-3 * sum(GRAMS[wheel] for wheel in wheels)
    forces = tuple(load * share for share in (0.78, 0.80, 0.82))
    with BenchLog(tmp_path / "log") as log:
        weighing = weigh_typed(cards, log)
        _, record = measure_pull(cards, log, weighing, PullTest(part=part, forces=forces, gauge_u=0.03, angle_deg=4.0))
    (one,) = asked
    (balance,) = one.given
    assert balance == OnBalance(
        force=near(0.8 * load),
        force_u=balance.force_u,
        gauge_shared_u=0.03,
        load=near(load, rel=1e-5),
        load_u=near(math.sqrt(weighing.load_covariance[np.ix_(wheels, wheels)].sum())),
        angle=near(math.radians(4.0)),
        angle_u=near(math.radians(2.0)),
    )
    assert 0.003 * load < balance.force_u < 0.03 * load
    assert one.named == {"quantity": quantity, "front_weight": near(1000 / 1800), "state": "sliding", "notes": NOTES}
    assert record.inputs == GripInputs(forces_N=forces, part=part, direction="across")
    assert record.result == KEPT


@pytest.mark.parametrize(
    ("part", "way", "gains", "load", "other", "rolling"),
    [
        ("front", "forwards", 1, 1.0, 0.8, "rear"),
        ("front", "backwards", -1, 1.0, 0.8, "rear"),
        ("rear", "forwards", -1, 0.8, 1.0, "front"),
        ("rear", "backwards", 1, 0.8, 1.0, "front"),
    ],
)
def test_pulls_both_ways(
    part: Any,
    way: Any,
    gains: int,
    load: float,
    other: float,
    rolling: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    cards = carded(tmp_path, test=GRIPS, **ROLLING)
    answer = SimpleNamespace(ratio=1.07, u=0.02, parts={"string": 0.01})
    asked = question(monkeypatch, along, "along_over_across", answer)
    pulls = PullsBothWays(part=part, along=(8.0, 8.2), across=(7.5, 7.6, 7.7), way=way, string_mm=12.0, string_mm_u=2.5)
    with BenchLog(tmp_path / "log") as log:
        _, record = measure_along(cards, log, weigh_typed(cards, log), pulls)
    (question_,) = asked
    (both,) = question_.given
    assert both == PulledBothWays(
        along=near(8.1),
        along_u=both.along_u,
        across=near(7.6),
        across_u=both.across_u,
        load=near(load * G),
        other=near(other * G),
        gains=gains,
        string=near(0.012),
        string_u=near(0.0025),
        rolling=near(ROLLS[rolling][0]),
        rolling_u=near(ROLLS[rolling][1]),
        wheelbase=near(0.26),
    )
    assert both.along_u > 0 < both.across_u != both.along_u
    result, inputs = record.result, record.inputs
    assert (result.part, result.ratio, result.ratio_u, result.parts) == (part, 1.07, 0.02, {"string": 0.01})
    assert (inputs.along_N, inputs.across_N, inputs.way) == ((8.0, 8.2), (7.5, 7.6, 7.7), way)
    assert (inputs.string_mm, inputs.string_mm_u) == (12.0, 2.5)


def test_what_an_aim_starts_from(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    known = {"grip.front": 0.9, "grip.rear": 0.75, "grip.ratio_u": 0.03, "grip.measured": True}
    cards = carded(tmp_path, test=known)
    moved = Needed(value=60.0, interval=(40.0, 90.0))
    asked = question(monkeypatch, aim, "ways_to_balance", SimpleNamespace(moved_g=moved))
    with BenchLog(tmp_path / "log") as log:
        weighing = weigh_typed(cards, log)
        found = aim_at(cards, weighing, log, 54.0, ballast=(200.0, 30.0))
    (one,) = asked
    car, wanted = one.given
    front, total = weighing.weights.front_pct, weighing.weights.total_g
    assert car == CarNow(
        balance_pct=near(60.0, abs=0.1),  # 0.9 × 1000 to 0.75 × 800
        balance_pct_u=found.by_weights.u,
        front_pct=near(1000 / 18),
        front_pct_u=near(front.half_width / 1.959964, rel=1e-6),
        total_g=near(1800.0),
        total_g_u=near(total.half_width / 1.959964, rel=1e-6),
        sensitivity=0.0,
        sensitivity_u=0.0,
    )
    assert wanted == 54.0
    assert (found.now_pct, found.now_half, found.pushes) == (car.balance_pct, near(1.959964 * car.balance_pct_u), 0)
    # 60 g from axle to axle are 60 × 260 / 200 = 78 mm of 200 g, back: to 48 mm behind the rear axle
    assert found.ballast is not None
    assert found.ballast.end_mm == Needed(value=near(-48.0), interval=near((-87.0, -22.0)))
    assert (found.ballast.mass_g, found.ballast.start_mm, found.ballast.on_car) == (200.0, 30.0, True)


def test_ballast_and_places_of_a_wanted_pivot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The body reaches 70 mm ahead of the front axle and 90 mm behind the rear one."""
    cards = carded(tmp_path)
    asked, drawn = question(monkeypatch, series, "to_reach", ()), question(monkeypatch, series, "pivot_map", np.eye(2))
    with BenchLog(tmp_path / "log") as log:
        weighing = weigh_typed(cards, log)
        changes_for(cards, weighing, -30.0, ballast_g=120.0, ballast_mm=45.0)
        changes_for(cards, weighing, -30.0)
    first, bare = asked
    assert first.given[2] == -30.0
    assert first.named["ballast"] == Ballast(mass=near(0.12), station=near(0.045), low=near(-0.09), high=near(0.33))
    assert bare.named["ballast"] is None
    np.testing.assert_allclose(first.given[0].load, 1e-3 * G * np.array(GRAMS))
    map_of(cards, weighing, np.array([30.0, 80.0]), np.array([0.9, 1.2]))
    (one,) = drawn
    np.testing.assert_allclose(one.named["station"], [0.078, 0.208])
    np.testing.assert_allclose(one.named["grip_ratio"], [0.9, 1.2])


def answer(pct: float, own: tuple[float, ...], shared: float) -> Any:
    causes = [SimpleNamespace(effect=one, own=True) for one in own] + [SimpleNamespace(effect=shared, own=False)]
    return SimpleNamespace(balance=SimpleNamespace(pct=pct, causes=causes, reason=""), pushed_pct=pct)


def test_the_effects_of_a_series_in_points(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two visits of three and two pushes; a push's own doubt is that of its own causes, in squares."""
    cards = carded(tmp_path)
    rows = [("1", "1", "soft"), ("2", "1", "soft"), ("3", "1", "none"), ("4", "2", "hard"), ("5", "2", "hard")]
    said = [answer(50.0 + k, (0.3, 0.4 + 0.1 * k), 2.0) for k in range(5)]
    pushes = [SimpleNamespace(cards=cards, record=SimpleNamespace(number=k), weighing=None) for k in range(5)]
    used = [({"number": n, "block": b, "tyre": t}, push) for (n, b, t), push in zip(rows, pushes, strict=True)]
    effect = Effect(
        factor="tyre",
        level="hard",
        reference="soft",
        change=2.5,
        u=0.6,
        interval=(1.0, 4.0),
        clear=True,
        weights=(-0.4, -0.6, 0.0, 0.3, 0.7),
        dof=2,
        averaged=0.45,
    )
    result = SeriesResult(effects=(effect,), drift=None, push_u=0.5, block_u=0.2, dof=2, pushes=5, warnings=())
    monkeypatch.setattr(effect_points, "answers_on_record", lambda log: {})
    monkeypatch.setattr(effect_points, "answer_about", lambda push, recorded, log: said[push.record.number])
    monkeypatch.setattr(effect_points, "change_sentences", lambda change, wheelbase: (f"{wheelbase:.3f}",))
    shared: list[tuple[float, float]] = []

    def alike(a: PushesOf, b: PushesOf) -> frozenset[str]:
        shared.append((a.answers[0].pushed_pct, b.answers[0].pushed_pct))
        return frozenset({"wheelbase", f"{len(shared)}"})

    monkeypatch.setattr(effect_points, "shared_between", alike)
    analysed = question(monkeypatch, effect_points, "analyse_series", result)
    asked = question(monkeypatch, effect_points, "effect_in_points", "changed")
    found = effects_in_points(used, ["tyre"], None)  # type: ignore[arg-type]
    assert not isinstance(found, str)
    assert (found.result, found.changes, found.sentences) == (result, ("changed",), (("0.260",),))
    assert analysed[0].given[0] == [
        SeriesPush(
            setup={"tyre": tyre},
            block=int(block),
            kappa=50.0 + k,
            kappa_u=near(math.hypot(0.3, 0.4 + 0.1 * k)),
            order=float(number),
        )
        for k, (number, block, tyre) in enumerate(rows)
    ]
    (one,) = asked
    balances, told = one.given
    assert [balance.pct for balance in balances] == [50.0, 51.0, 52.0, 53.0, 54.0]
    np.testing.assert_allclose(told.weights, effect.weights)
    np.testing.assert_allclose(told.level, [-1, -1, 0, 1, 1])
    assert isinstance(told, EffectOfSeries)
    assert (told.value, told.own_u, told.dof, told.averaged, told.visit) == (2.5, 0.6, 2, 0.45, 2.5)
    assert shared == [(50.0, 53.0), (50.0, 54.0), (51.0, 53.0), (51.0, 54.0)]  # each before with each after
    assert one.named == {"shared": frozenset({"wheelbase"})}


def test_the_push_of_a_card_is_the_one_that_it_was_last_compared_by(tmp_path: Path) -> None:
    """Comparisons of another clip and under another name tell nothing; without any it is the first."""
    cards = carded(tmp_path)
    with BenchLog(tmp_path / "log") as log:
        clip, another = (whole(log, "push", cards.test.name, cards=keep_cards(log, cards)) for _ in range(2))
        assert push_number(clip, cards, log) == 1
        for parent, number, title in (
            (clip, 4, cards.test.name),
            (clip, 3, cards.test.name),
            (another, 5, cards.test.name),
            (clip, 6, "another card"),
        ):
            whole(log, "comparison", title, {"push_number": number}, parents=[parent.id])
        assert [push_number(one, cards, log) for one in (clip, another)] == [3, 5]
