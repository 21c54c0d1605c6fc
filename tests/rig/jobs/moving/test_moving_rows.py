"""What is asked and kept of the car on the move: every field, from figures of which no two are alike."""

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.moving.frozen import FreeBallast
from analysis.moving.load_sensitivity import BalanceAtLoads, LoadSensitivity
from analysis.moving.phases import Phase
from analysis.moving.region import Reaches
from analysis.set_ups.pooled import PooledBalance
from analysis.statistics.drawn import WithRange
from analysis.statistics.estimate import Estimate
from analysis.tilted.transfer import AxleTransfer, Cause, LevelCar, PitchTransfer, TiltBench, Tilted, Way
from rig.cards.read import CardSet, read_set
from rig.jobs.moving import freeze, on_the_move, tilt
from rig.jobs.moving.drawn_cars import OpenTo
from rig.jobs.moving.driven_car import ByPushes, DrivenCar, driven_cards, weights_for
from rig.jobs.moving.freeze import frozen_phases, landed
from rig.jobs.moving.on_the_move import worth_on_the_move
from rig.jobs.moving.reach import region_change
from rig.jobs.moving.tilt import transfer_found
from rig.jobs.moving.tyre_loads import balance_at_loads, record_load_sensitivity
from rig.jobs.weighing.weights import typed_weighing, weigh_typed
from rig.log.store import BenchLog
from rig.records.moving import (
    AcrossRow,
    AlongRow,
    LoadedState,
    LoadSensitivityInputs,
    LoadSensitivityResult,
    TiltCause,
    TiltInputs,
    TiltRow,
)
from tests.rig.jobs.asked import AskedError, question
from tests.values.cards_typed import write

near = pytest.approx
G = 9.80665
GRAMS = [430.0, 410.0, 400.0, 360.0]
SPRINGS = {"chassis.front.spring_n_per_mm": 2.2, "chassis.rear.spring_n_per_mm": 1.7}


Keys = dict[str, Any] | None


def carded(folder: Path, *, bench: Keys = None, test: Keys = None, **car: Any) -> CardSet:
    keys = {key.replace("__", "."): value for key, value in car.items()}
    return read_set(write(folder, test={"typed.weights_g": GRAMS} | (test or {}), car=keys, bench=bench or {}))


def halves(value: float, half: float) -> Estimate:
    """An estimate with this half of its 95 % interval."""
    return Estimate(value=value, u=half / 2, factor=2.0)


CAUSES = (
    Cause(name="twist", share_u=0.004, height_u=0.0003, remedy="a stiffer board"),
    Cause(name="noise", share_u=0.002, height_u=0.0007, remedy="read again"),
)
CAUSE_ROWS = (  # 1.96 standard uncertainties
    TiltCause(
        name="twist",
        share_points=near(0.783986, rel=1e-5),
        height_mm=near(0.587989, rel=1e-5),
        remedy="a stiffer board",
    ),
    TiltCause(
        name="noise", share_points=near(0.391993, rel=1e-5), height_mm=near(1.371975, rel=1e-5), remedy="read again"
    ),
)
STEEP = AxleTransfer(
    angle=0.25,
    acceleration=2.5,
    front=0.9,
    rear=0.6,
    share=halves(0.6, 0.021),
    height=halves(0.034, 0.0012),
    lifted=(2,),
    turned=True,
    pressed=True,
    budget=CAUSES,
)
FLAT = replace(STEEP, angle=0.1, acceleration=1.0, front=0.3, rear=0.3, lifted=(), turned=False, pressed=False)
NOSE_UP = PitchTransfer(
    angle=0.2, acceleration=2.0, moved=0.45, height=halves(0.031, 0.0009), turned=True, pressed=True, budget=CAUSES
)
EMPTY, PADS, TURNED = (1.0, 2.0, 3.0, 4.0), (500.0, 340.0, 460.0, 300.0), (301.0, 459.0, 342.0, 498.0)
ROWS = (
    TiltRow(way="right side down", height_mm=60.0, pad_g=PADS, empty_g=EMPTY, count=3, pressed=True),
    TiltRow(way="left side down", height_mm=60.0, pad_g=TURNED, empty_g=EMPTY, count=2, pressed=False),
)


def test_what_tilted_pads_are_asked_and_what_is_kept_of_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    board = {
        "tilt.length_mm": 500.0,
        "tilt.length_mm_u": 2.0,
        "tilt.height_mm_u": 0.9,
        "tilt.side_force_pct_u": 0.7,
        "tilt.twist_mm_u": 0.06,
        "tilt.twist_load_mm_u": 0.02,
    }
    sizes = {"geometry__track_front_mm_u": 1.2, "geometry__track_rear_mm_u": 2.6, "geometry__wheelbase_mm_u": 0.4}
    cards = carded(tmp_path, bench=board, test={"grip.front": 0.9, "grip.rear": 0.7}, **sizes)
    ends = question(monkeypatch, tilt, "balance_ends", (halves(0.44, 0.02), halves(0.61, 0.03)))
    sideways = question(monkeypatch, tilt, "across", (FLAT, STEEP))
    question(monkeypatch, tilt, "along", (replace(NOSE_UP, moved=0.2), NOSE_UP))
    question(monkeypatch, tilt, "stops_between", (0.1, 0.25))
    question(monkeypatch, tilt, "sum_check", SimpleNamespace(fits=True))
    with BenchLog(tmp_path / "log") as log:
        weighing = weigh_typed(cards, log)
        found = transfer_found(cards, weighing, ROWS, noise_g=0.5, drift_g=0.2, source="table")
    car, readings, bench = sideways[0].given
    assert isinstance(car, LevelCar)
    np.testing.assert_allclose(car.load, 1e-3 * G * np.array(GRAMS))
    np.testing.assert_allclose(car.track, [0.15, 0.19])
    assert (car.count, car.wheelbase) == (1, near(0.26))
    first, turned = readings
    angle = math.asin(60 / 500)
    for one, way, grams, count, pressed in (
        (first, Way.RIGHT_DOWN, [499.0, 338.0, 457.0, 296.0], 3, True),
        (turned, Way.LEFT_DOWN, [494.0, 339.0, 457.0, 300.0], 2, False),  # wheels FL FR RL RR on pads 4 3 2 1
    ):
        assert isinstance(one, Tilted)
        assert (one.way, one.angle, one.count, one.pressed) == (way, near(angle), count, pressed)
        np.testing.assert_allclose(one.load, 1e-3 * G * np.array(grams))
    assert isinstance(bench, TiltBench)
    np.testing.assert_allclose(bench.track, [0.0012, 0.0026])
    # sin a = h / L: da = (dh + sin a dL) / (L cos a)
    angle_u = math.hypot(0.9, 0.12 * 2.0) / (500 * math.cos(angle))
    assert (bench.noise, bench.drift) == near((0.5e-3 * G * math.sqrt(2), 0.2e-3 * G))
    assert (bench.angle, bench.side_force) == near((angle_u, 0.007), rel=1e-6)
    assert (bench.wheelbase, bench.twist_tilt, bench.twist_load) == near((0.0004, 0.00006, 0.00002))
    assert bench.warp == near(60.0 * G)  # 40 g a millimetre where nobody measured, and half as much again
    # the ends are those of the steepest nose up, and of grip whose front share is 0.9 × 840 of it and 0.7 × 760
    (asked,) = ends
    share = 0.9 * 840 / (0.9 * 840 + 0.7 * 760)
    assert (asked.given[0].value, asked.given[0].u) == near((share, share * (1 - share) * cards.test.grip.ratio_u))
    assert asked.given[1:] == (NOSE_UP.height, near(0.26), near(0.8))
    assert found.inputs == TiltInputs(
        rows=ROWS, level_g=near(tuple(GRAMS)), noise_g=0.5, drift_g=0.2, gravity_m_s2=G, source="table"
    )
    steep = AcrossRow(
        angle_deg=near(math.degrees(0.25)),
        sideways_g=near(2.5 / G),
        front_g=near(900 / G),
        rear_g=near(600 / G),
        share_pct=near(60.0),
        share_half_points=near(2.1),
        roll_share=near(0.9 * 150 / (0.9 * 150 + 0.6 * 190)),
        height_mm=near(34.0),
        height_half_mm=near(1.2),
        lifted=("rear left",),
        turned=True,
        pressed=True,
        budget=CAUSE_ROWS,
    )
    assert found.result.across[1] == steep
    flat = found.result.across[0]
    assert (flat.lifted, flat.turned, flat.pressed) == ((), False, False)
    assert found.result.along[1] == AlongRow(
        angle_deg=near(math.degrees(0.2)),
        lengthways_g=near(2.0 / G),
        moved_g=near(450 / G),
        height_mm=near(31.0),
        height_half_mm=near(0.9),
        turned=True,
        budget=CAUSE_ROWS,
    )
    assert found.result.stop_deg == near((math.degrees(0.1), math.degrees(0.25)))
    assert (found.result.grip, found.result.beside) == (near(0.8), None)
    assert (found.result.ends_pct, found.result.ends_half_pct) == (near((44.0, 61.0)), near((2.0, 3.0)))
    assert [one.split(" ")[:3] for one in found.result.warnings] == [
        ["Not", "pressed", "down"],
        ["Read", "one", "way"],
        ["14.3°:", "rear", "left"],
    ]
    (springs,) = found.remarks
    assert springs.startswith("The car card has no springs: 40 g a wheel")


def test_a_state_of_the_car_and_what_its_pushes_said_of_the_tyres(tmp_path: Path) -> None:
    cards = carded(tmp_path)
    seen = PooledBalance(pct=56.0, count=3, own_u=0.4, own_parts={}, effects={})
    state = balance_at_loads(cards, cards, typed_weighing(cards), seen, where="a")
    assert state == BalanceAtLoads(balance=near(0.56), u=near(0.004), front=near(0.84 * G), rear=near(0.76 * G))
    found = LoadSensitivity(q=halves(0.3, 0.0392), count=2, scatter=1.1, widened=True)
    pulls = ((400.0, 3.1), (900.0, 6.2))
    with BenchLog(tmp_path / "log") as log:
        record = record_load_sensitivity(found, [state], cards, log, pulls=pulls)
    assert record.inputs == LoadSensitivityInputs(
        states=(LoadedState(balance_pct=near(56.0), balance_pct_u=near(0.4), front_g=near(840.0), rear_g=near(760.0)),),
        pulls=pulls,
    )
    assert record.result == LoadSensitivityResult(
        q=0.3, q_u=near(0.02, rel=1e-4), interval=near((0.2608, 0.3392)), told_from_none=True, widened=True
    )


def test_ballast_may_go_as_far_as_the_body_reaches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    body = {"geometry__body_front_mm": 70.0, "geometry__body_rear_mm": 43.0, "geometry__body_width_mm": 180.0}
    keys = {key.replace(".", "__"): value for key, value in SPRINGS.items()} | body
    cards = carded(tmp_path, **keys)
    load = 1e-3 * G * np.array(GRAMS)
    car = DrivenCar(card=cards.car, load=load, grip=(0.9, 0.7), open_to=OpenTo(), remarks=())
    asked = question(monkeypatch, freeze, "frozen_moment")
    brake = Phase(name="brake", ax=-3.0, ay=2.0, steer=0.0, duration=1.0)
    with pytest.raises(AskedError):
        frozen_phases(car, [brake], mass_g=150.0, start_mm=90.0, where="card")
    (one,) = asked
    assert one.given[3] == FreeBallast(
        mass=near(0.15), along=near((-0.043, 0.330)), across=near((-0.09, 0.09)), start=near((0.09, 0.0))
    )
    np.testing.assert_allclose(one.given[0], load)
    # braking at 3 m/s²: more in front, by about m a h / L over both wheels (statics)
    more = (one.given[1] - load).reshape(2, 2).sum(1)
    assert more[0] == near(1.6 * 3.0 * 0.040 / 0.26, rel=0.1)
    assert more[1] == near(-more[0])
    # turning left at 2 m/s²: m a h of moment onto the right, over tracks of 0.15 and 0.19 m
    right, left = (one.given[1] - load)[[1, 3]], (one.given[1] - load)[[0, 2]]
    assert (right - left) @ [0.075, 0.095] == near(1.6 * 2.0 * 0.040, rel=0.15)
    np.testing.assert_allclose(one.given[2], [[0.26, 0.075], [0.26, -0.075], [0.0, 0.095], [0.0, -0.095]])
    assert one.named["gravity"] == G


def test_where_a_frozen_car_was_pushed_to_balance() -> None:
    """Expected 54 % within 52.5 to 55.5, pushed 57.0 with a standard uncertainty of 0.5: 3.0 ± hypot(1.5, 0.98)."""
    at_rest = WithRange(value=np.asarray(54.0), interval=np.array([52.5, 55.5]), lost=np.asarray(0.25))
    found = landed(SimpleNamespace(at_rest=at_rest), ByPushes(pct=57.0, u=0.5, count=4))  # type: ignore[arg-type]
    assert (found.by_pushes.count, found.expected) == (4, at_rest)
    half = math.hypot(1.5, 0.979982)
    assert (float(found.gap.value), found.gap.pair(), float(found.gap.lost)) == (
        near(3.0),
        near((3.0 - half, 3.0 + half)),
        0.0,
    )
    assert not found.agrees
    nearer = landed(SimpleNamespace(at_rest=at_rest), ByPushes(pct=52.5, u=0.5, count=4))  # type: ignore[arg-type]
    assert nearer.agrees
    assert float(nearer.gap.value) == near(-1.5)


def test_weights_typed_or_from_the_log(tmp_path: Path) -> None:
    """At 64.1° north and 480 m a gram presses with 9.8208 mN; given as an option it counts as standard."""
    place = {"place.latitude_deg": 64.1, "place.height_m": 480.0, "pads.reseat_g": 4.0}
    cards = carded(tmp_path, bench=place, test={"typed.weights_resolution_g": 1.0, "typed.weights_scales": "not said"})
    with BenchLog(tmp_path / "log") as log:
        kept = weigh_typed(cards, log)
        found = weights_for(cards.car, log, None, where="card")
    gravity = kept.result.gravity_m_s2
    assert gravity == near(9.8208, abs=1e-4)  # normal gravity less 3.086e-6 per second squared times the height
    np.testing.assert_allclose(found.load, 1e-3 * gravity * np.array(GRAMS))
    np.testing.assert_allclose(found.covariance, kept.load_covariance)
    typed = weights_for(cards.car, None, GRAMS, where="card")
    np.testing.assert_allclose(typed.load, 1e-3 * G * np.array(GRAMS))
    # scales that nobody described, and 4 g from placing to placing: as this card has them, too
    np.testing.assert_allclose(typed.covariance, kept.load_covariance * (G / gravity) ** 2)


def test_weights_on_the_test_card_go_as_the_card_says_of_its_scales(tmp_path: Path) -> None:
    """Four scales in steps of 5 g, each off by up to 2 % of what it shows, at 64.1° north and 480 m; by hand."""
    bench = {"place.latitude_deg": 64.1, "place.height_m": 480.0, "pads.reseat_g": 0.01}
    scales = {"weights_resolution_g": 5.0, "weights_scales": "four scales", "weights_accuracy_pct": 2.0}
    keys = {f"typed.{key}": value for key, value in scales.items()}
    cards = carded(tmp_path / "bare", bench=bench, test=keys)
    car = driven_cards(cards, None, path=Path("test.toml"))
    newton = 9.8208e-3
    np.testing.assert_allclose(car.load, newton * np.array(GRAMS), rtol=1e-5)
    by_hand = (newton * np.sqrt((0.02 * np.array(GRAMS)) ** 2 / 3 + 5.0**2 / 12)) ** 2
    np.testing.assert_allclose(car.open_to.load_covariance, np.diag(by_hand), rtol=1e-4, atol=1e-7)  # 0.01 g of placing
    # 12 g that were not on the scales are pushed, and driven, with the car
    parts = [{"name": "body clip", "mass_g": 12.0, "x_mm": 130.0}]
    cards = carded(tmp_path / "clip", bench=bench, test=keys, masses__parts=parts)
    car = driven_cards(cards, None, path=Path("test.toml"))
    assert car.load.sum() == pytest.approx(newton * (sum(GRAMS) + 12.0), rel=1e-5)
    assert any("body clip +12 g" in one for one in car.remarks)


def reached(wheelbase: float, shift: float) -> Any:
    """A region whose figures, and those of its three draws, all differ."""
    many = Reaches(
        station=np.array([[0.10, 0.16], [0.11, 0.18], [0.12, 0.15]]) + shift,
        side=np.zeros((3, 2)),
        width=np.array([[0.030, 0.026], [0.033, 0.021], [0.031, 0.024]]) * (1 + shift),
        area=np.array([0.002, 0.003, 0.0025]) * (1 + 10 * shift),
        limit=np.zeros((3, 1)),
        rest=np.array([[0.13 + 2 * shift, 0.0], [0.14 + 2 * shift, 0.1], [0.135 + 2 * shift, 0.2]]),
        edge=np.zeros((3, 1, 2)),
        lifts=np.zeros(3, dtype=bool),
    )
    region = SimpleNamespace(
        station=(0.11 + shift, 0.165 + shift),
        width=(0.031, 0.025 + shift),
        area=0.0024 * (1 + 10 * shift),
        rest=np.array([0.134 + 2 * shift, 0.0]),
    )
    return SimpleNamespace(wheelbase=wheelbase, region=region, reach=SimpleNamespace(many=many))


def test_what_differs_between_two_regions() -> None:
    first, other = reached(0.25, 0.0), reached(0.26, 0.004)
    found = region_change(first, other, shared=True)
    assert float(found.rest.value) == near(100 * (0.142 / 0.26 - 0.134 / 0.25))
    ends = [100 * (0.114 / 0.26 - 0.11 / 0.25), 100 * (0.169 / 0.26 - 0.165 / 0.25)]
    np.testing.assert_allclose(found.ends.value, ends)
    np.testing.assert_allclose(found.width.value, [0.0, 4.0], atol=1e-9)
    assert float(found.area.value) == near(1.04)
    # what is not known of one car moves both alike: draw by draw; of two cars in any other order
    rest = 100 * (np.array([0.138, 0.148, 0.143]) / 0.26 - np.array([0.13, 0.14, 0.135]) / 0.25)
    assert np.ptp(found.rest.interval) < 1.2 * np.ptp(rest)
    two = region_change(first, other, shared=False)
    assert np.ptp(two.rest.interval) > 3 * np.ptp(found.rest.interval)
    assert np.ptp(two.area.interval) > 3 * np.ptp(found.area.interval)
    assert float(two.rest.value) == float(found.rest.value)


def test_what_the_worth_of_springs_is_asked_with(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    grip = {"grip.front": 0.9, "grip.rear": 0.7, "grip.ratio_u": 0.03, "grip.level_u": 0.11, "grip.measured": True}
    keys = {key.replace(".", "__"): value for key, value in SPRINGS.items()}
    cards = carded(tmp_path, test=grip, **keys)
    asked = question(monkeypatch, on_the_move, "cast_of")
    with BenchLog(tmp_path / "log") as log, pytest.raises(AskedError):
        worth_on_the_move(cards, weigh_typed(cards, log), log, 0.4, seed=7)
    (one,) = asked
    card, load = one.given
    assert card == cards.car
    np.testing.assert_allclose(load, 1e-3 * G * np.array(GRAMS))
    assert (one.named["grip"], one.named["seed"]) == ((0.9, 0.7), 7)
    open_to = one.named["open_to"]
    assert (open_to.ratio_u, open_to.level_u, open_to.own_loads, open_to.balance) == (0.03, 0.11, True, None)
