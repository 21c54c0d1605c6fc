"""What weighing on pads is asked with and what is kept of it: every field, pads in the order RR, FL, FR, RL."""

import itertools
import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest.mock import MagicMock

import numpy as np
import pytest

from analysis.pads.calibration import Calibration
from analysis.pads.error_budget import RunOrder
from analysis.pads.loads import Loads
from analysis.pads.pad_faults import PadFault
from analysis.pads.settled import SettledReading
from analysis.statistics.estimate import DoubtPart, Estimate
from analysis.weighing.cg_height import AxleLift, CgHeight, HeightDoubts, LiftedCar
from rig.base.clock import Moment
from rig.base.errors import BenchError
from rig.cards.read import CardSet, read_set
from rig.jobs.weighing import calibrate, cross, lift, live, pads, plausible_loads, scale, weigh, zero
from rig.jobs.weighing.calibrate import as_shown, calibration_record, fitted_again
from rig.jobs.weighing.cross import CrossTarget, cross_gap, measure_response
from rig.jobs.weighing.finger_cell import cell_keys, fitted_finger
from rig.jobs.weighing.lift import AxleLifts, measure_height
from rig.jobs.weighing.live import LiveLoads, RawCounts, snapshot
from rig.jobs.weighing.pads import OpenPads, settle
from rig.jobs.weighing.plausible_loads import against_before, car_mass, least_load, own_covariance, placings_agree
from rig.jobs.weighing.scale import Scale, pool
from rig.jobs.weighing.weigh import calibrated_prior, known_before_turning, unchecked_scales
from rig.jobs.weighing.weights import typed_weighing
from rig.log.store import BenchLog
from rig.pads.frames import PadFrame, PortState
from rig.pads.live_view import LiveState, RawState
from rig.records.force import FingerCellInputs, FingerCellResult
from rig.records.weighing import (
    CalibrationRun,
    HeightInputs,
    HeightResult,
    LiftRow,
    LiveInputs,
    LiveResult,
    PlacingRow,
    ShimInputs,
    ShimResult,
    ZeroInputs,
    ZeroResult,
)
from tests.rig.jobs.asked import question
from tests.values.pads_acted import PAD_UNDER, write_cards

near = pytest.approx
G = 9.80665
ORDER = np.array(PAD_UNDER)
"""Pad under FL, FR, RL, RR."""
SQUARE = np.array([[4.0, 0.1, 0.2, 0.3], [0.1, 9.0, 0.4, 0.5], [0.2, 0.4, 16.0, 0.6], [0.3, 0.5, 0.6, 25.0]])
"""g2, in the order of the pads."""


def by_wheel(square: np.ndarray) -> np.ndarray:
    """Pads as wheels: the first is under RR, the next under FL, FR and RL."""
    return square[[1, 2, 3, 0]][:, [1, 2, 3, 0]]


def loads(grams: list[float], **sizes: float) -> Loads:
    """Pads with these grams; sizes: cause -> factor on SQUARE."""
    return Loads(
        load_g=np.array(grams),
        parts=tuple(DoubtPart(name=name, covariance=size * SQUARE) for name, size in sizes.items()),
    )


PLACED = [
    loads([200.0, 700.0, 300.0, 400.0], noise=0.01, zero=0.02, pads=0.03, curves=0.04, masses=0.05),
    loads([210.0, 690.0, 310.0, 390.0], noise=0.03, zero=0.04, pads=0.05, curves=0.08, masses=0.07),
]
"""Their means: 205, 695, 305 and 395 g."""
MEAN = np.outer([695.0, 305.0, 395.0, 205.0], [695.0, 305.0, 395.0, 205.0])


def test_what_calibration_and_zeros_say_of_the_pads_before_a_car_is_turned(tmp_path: Path) -> None:
    known = calibrated_prior(PLACED, ORDER)
    np.testing.assert_allclose(known.offset, (0.03 + 0.04) * by_wheel(SQUARE))
    np.testing.assert_allclose(known.gain, (0.06 + 0.06) * by_wheel(SQUARE) / MEAN)
    alone = calibrated_prior(PLACED, ORDER, causes=weigh.OF_ONE_PAD)
    np.testing.assert_allclose(alone.gain, 0.06 * by_wheel(SQUARE) / MEAN)
    np.testing.assert_allclose(alone.offset, known.offset)
    bare = read_set(write_cards(tmp_path / "a", bench={"pads.level_mm_u": 0.4}))
    prior, (told,) = known_before_turning(bare, PLACED, ORDER)
    assert (prior.height_u, prior.per_height) == (0.0, None)
    assert "may be uneven (0.4 mm on the bench card)" in told
    springs = {"chassis.front.spring_n_per_mm": 3.0, "chassis.rear.spring_n_per_mm": 2.0}
    sprung = read_set(write_cards(tmp_path / "b", car=springs, bench={"pads.level_mm_u": 0.4}))
    prior, told_not = known_before_turning(sprung, PLACED, ORDER)
    assert (prior.height_u, told_not) == (near(0.0004), [])
    assert prior.per_height is not None
    # a raised wheel takes what the other one of its axle and the one across give (statics): N/m as g/m
    response = weigh.warp_response(sprung.car).per_height
    np.testing.assert_allclose(prior.per_height, response * 1000 / G)
    assert prior.per_height[0, 0] > 1000.0 > prior.per_height.sum() > -1000.0


def test_a_pool_is_of_wheels_with_the_noise_apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bench = read_set(write_cards(tmp_path, bench={"pads.reseat_g": 3.5})).bench
    asked = question(monkeypatch, scale, "pool_placements", "pooled")
    assert pool(bench, PLACED) == "pooled"
    (one,) = asked
    grams, parts = one.given
    np.testing.assert_allclose(grams, [[700.0, 300.0, 400.0, 200.0], [690.0, 310.0, 390.0, 210.0]])
    assert [part.name for part in parts] == ["zero", "pads", "curves", "masses"]
    for part, size in zip(parts, (0.04, 0.05, 0.08, 0.07), strict=True):
        np.testing.assert_allclose(part.covariance, size * by_wheel(SQUARE))
    np.testing.assert_allclose(one.named["noise"], 0.03 * by_wheel(SQUARE))
    assert one.named["scatter_g"] == 3.5


def reading(counts: list[float]) -> SettledReading:
    """A settled reading in which no two figures are alike."""
    return SettledReading(
        counts=np.array(counts),
        u=np.array([1.5, 2.5, 3.5, 4.5]),
        dof=np.full(4, 30.0),
        noise=np.array([10.0, 20.0, 40.0, 80.0]),
        count=41,
        outliers=3,
        missing=0,
        trend=np.zeros(4),
        trend_u=np.ones(4),
        duration=2.0,
        settled=True,
        reason="",
    )


def curve(per_gram: float) -> Calibration:
    return Calibration(
        pad="",
        model="linear",
        coefficients=(0.0, per_gram),
        covariance=((0.0, 0.0), (0.0, 0.0)),
        mass_shift=(0.0, 0.0),
        residual_sd=0.0,
        dof=9,
        count=11,
        lightest_g=0.0,
        heaviest_g=900.0,
        capacity_g=2000.0,
        reading_u_g=0.1,
        evidence="",
        budget=(),
        date="",
        masses="",
    )


PER_GRAM = (400.0, -500.0, 250.0, 800.0)
CURVES = tuple(curve(one) for one in PER_GRAM)


def zeroed(number: int, counts: list[float], u: list[float], steady_s: float) -> Any:
    return SimpleNamespace(
        number=number,
        id=f"zero {number}",
        inputs=SimpleNamespace(at_s=1000.0 + steady_s, steady_s=steady_s, boot="b"),
        result=SimpleNamespace(counts=counts, u=u),
    )


def test_one_placing_as_it_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Zeroed 900 and 300 s before; what a pad wanders usually is 0.02 g per square root of a second, in its counts."""
    bench = read_set(write_cards(tmp_path)).bench
    zeros = (
        zeroed(4, [1.0, 2.0, 3.0, 4.0], [0.1, 0.2, 0.3, 0.4], 100.0),
        zeroed(7, [5.0, 6.0, 7.0, 9.0], [0.5, 0.6, 0.7, 0.9], 700.0),
    )
    made = Scale(
        bench=bench,
        calibrations=CURVES,
        calibrated=SimpleNamespace(id="curves"),  # type: ignore[arg-type]
        zeros=zeros,
        order=ORDER,
        limits=None,  # type: ignore[arg-type]
        remarks=("a remark",),
    )
    at_now = SimpleNamespace(
        counts=np.array([5.5, 6.5, 7.5, 9.5]), u=np.array([100.0, 200.0, 130.0, 300.0]), advice="zero once more"
    )
    drifts = question(monkeypatch, scale, "drift_rate", "drift")
    at = question(monkeypatch, scale, "zero_at", at_now)
    asked = question(monkeypatch, scale, "loads_from_counts", Loads(load_g=np.zeros(4), parts=(), warnings=("curved",)))
    placing = made.loads(reading([11.0, 12.0, 13.0, 14.0]), at=Moment(wall=2000.0, steady=1000.0, boot="b"))
    (drift,) = drifts
    times, counts, u = drift.given
    np.testing.assert_allclose(times, [-900.0, -300.0])
    np.testing.assert_allclose(counts, [[1.0, 2.0, 3.0, 4.0], [5.0, 6.0, 7.0, 9.0]])
    np.testing.assert_allclose(u, [[0.1, 0.2, 0.3, 0.4], [0.5, 0.6, 0.7, 0.9]])
    np.testing.assert_allclose(drift.named["usual"], [8.0, 10.0, 5.0, 16.0])
    assert drift.named["usual_weight"] == 2.0
    assert at[0].given[0] == 0.0
    np.testing.assert_allclose(at[0].given[1], times)
    assert at[0].named == {"drift": "drift"}
    row = PlacingRow(
        counts=(11.0, 12.0, 13.0, 14.0),
        u=(1.5, 2.5, 3.5, 4.5),
        zero_counts=(5.5, 6.5, 7.5, 9.5),
        zero_u=(100.0, 200.0, 130.0, 300.0),
        outliers=3,
        samples=41,
        at_s=2000.0,
        steady_s=1000.0,
        boot="b",
    )
    assert placing.raw == row
    (one,) = asked
    assert one.given[0] == CURVES
    given = (*one.given[1:], one.named["zero_counts"], one.named["zero_u"])
    for found, wanted in zip(given, (row.counts, row.u, row.zero_counts, row.zero_u), strict=True):
        np.testing.assert_array_equal(found, wanted)
    assert one.named["gravity"] == G
    # pad 3 may be 130 / 250 = 0.52 g off: worth a word; 0.48 would not be
    assert (placing.warnings, placing.remarks) == (("curved", "zero once more"), ("a remark",))
    at_now.u = np.array([100.0, 200.0, 120.0, 300.0])
    assert made.loads(reading([1.0] * 4), at=Moment(wall=2000.0, steady=1000.0, boot="b")).warnings == ("curved",)
    assert made.records == ["curves", "zero 4", "zero 7"]
    np.testing.assert_array_equal(made.wheels(np.array([1.0, 2.0, 3.0, 4.0])), [2.0, 3.0, 4.0, 1.0])


def test_a_zero_as_it_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cards = read_set(write_cards(tmp_path))
    raw = tmp_path / "raw.txt"
    raw.write_text("as it came")
    opened = SimpleNamespace(raw_file=raw, source=SimpleNamespace(boards=("board a",)))
    question(monkeypatch, zero, "settle", reading([11.0, 12.0, 13.0, 14.0]))
    question(monkeypatch, zero, "moment_now", Moment(wall=2000.0, steady=7.0, boot="b"))
    with BenchLog(tmp_path / "log") as log:
        card = log.add_card("bench", "Acted", cards.texts["bench"])
        record = zero.zero(cards.bench, opened, log, cards=(card,))  # type: ignore[arg-type]
        (file,) = log.files()
        asked = question(monkeypatch, zero, "stored_calibration", ([], None, ()))
        assert zero.zeroed_words(record, cards.bench, log) == "Zeroed (41 samples a pad). Record 1"
        assert [(one.given, one.named) for one in asked] == [((cards.bench, log), {"boards": ("board a",)})]
    assert record.inputs == ZeroInputs(at_s=2000.0, steady_s=7.0, boot="b", boards=("board a",))
    assert record.result == ZeroResult(
        counts=(11.0, 12.0, 13.0, 14.0), u=(1.5, 2.5, 3.5, 4.5), noise=(10.0, 20.0, 40.0, 80.0), samples=41
    )
    assert (record.title, record.cards, record.files, file.kind) == ("Acted", (card,), (file.hash,), "raw readings")


class Placings:
    """A scale that gives these loads, g by pad, one after the other."""

    order, records = ORDER, ("curves", "zero")

    def __init__(self, *grams: list[float]) -> None:
        self._grams = list(grams)

    def place_once(self, opened: Any, **_: Any) -> Any:
        row = PlacingRow(
            counts=(float(len(self._grams)), 2.0, 3.0, 4.0),
            u=(0.1,) * 4,
            zero_counts=(0.0,) * 4,
            zero_u=(0.2,) * 4,
            outliers=1,
            samples=20,
            at_s=5.0,
        )
        return SimpleNamespace(loads=loads(self._grams.pop(0), noise=0.01, zero=0.03), raw=row)

    def wheels(self, pad_g: np.ndarray) -> np.ndarray:
        return pad_g[..., self.order]


@pytest.mark.parametrize("axle", ["rear", "front"])
def test_an_axle_that_is_lifted(axle: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Up to 80 mm and down again; what stays down is FL with FR, on pads 2 and 3, or RL with RR, on pads 4 and 1."""
    sizes = {"geometry.wheel_radius_mm": 30.0, "geometry.wheel_radius_mm_u": 0.7}
    cards = read_set(write_cards(tmp_path, car=sizes, test={"typed.weights_g": [700, 300, 400, 200]}))
    grams = [[190.0, 720.0, 310.0, 380.0], [170.0, 750.0, 330.0, 350.0], [191.0, 722.0, 311.0, 381.0]]
    monkeypatch.setattr(lift, "scale_of", lambda *_, **__: Placings(*grams))
    answer = CgHeight(
        height=Estimate(value=0.061, u=0.002, factor=2.0),
        station=Estimate(value=0.156, u=0.0005),
        pitch=np.zeros(3),
        residual=np.array([0.1, -0.2, 0.3]),
        count=3,
        warnings=("free",),
        off_line="one lies off",
    )
    asked = question(monkeypatch, lift, "cg_height", answer)
    raw, steps = tmp_path / "raw.txt", []
    raw.write_text("as it came")
    down = [1030.0, 1080.0, 1033.0] if axle == "rear" else [570.0, 520.0, 572.0]
    with BenchLog(tmp_path / "log") as log:
        monkeypatch.setattr(Placings, "records", ())
        weighing = typed_weighing(cards)
        found = measure_height(
            cards,
            SimpleNamespace(raw_file=raw),  # type: ignore[arg-type]
            log,
            weighing,
            AxleLifts(heights_mm=(80.0, 40.0, 80.0), axle=axle, battery_in=True, suspension_blocked=False),
            ask=lambda step: steps.append(step.text),
        )
        (weighed,) = log.records(kind="weighing")
    assert [text.split("wheels ")[1][:5] for text in steps] == ["40 mm", "80 mm", "40 mm"]
    (one,) = asked
    assert one.given[0] == [
        AxleLift(lifted=axle, height=near(high), load_down=near(load), rising=up)  # type: ignore[arg-type]
        for high, load, up in zip((0.04, 0.08, 0.04), down, (True, True, False), strict=True)
    ]
    assert one.named["car"] == LiftedCar(
        total=near(1600.0), wheelbase=near(0.25), radius_front=near(0.03), radius_rear=near(0.03)
    )
    pair = [1, 2] if axle == "rear" else [3, 0]
    axle_u = math.sqrt(0.04 * SQUARE[np.ix_(pair, pair)].sum())
    assert one.named["doubts"] == HeightDoubts(
        load=near(axle_u),
        load_common=near(axle_u),
        total=near(weighing.weights.total_g.u),
        wheelbase=near(0.0004),
        radius=0.0,
        radius_common=near(0.0007),
    )
    assert one.named["level_front"] == near(1000.0)
    assert (one.named["suspension_blocked"], one.named["battery_in"]) == (False, True)
    result = HeightResult(
        cg_height_mm=near(61.0),
        cg_height_mm_u=near(2.0),
        interval_mm=near((57.0, 65.0)),
        cg_station_mm=near(156.0),
        cg_station_mm_u=near(0.5),
        residual_g=(0.1, -0.2, 0.3),
        warnings=("one lies off", "free"),
    )
    assert found.record.result == result
    inputs = found.record.inputs
    assert isinstance(inputs, HeightInputs)
    assert (inputs.axle, inputs.battery_in) == (axle, True)
    assert inputs.lifts[1] == LiftRow(
        counts=(2.0, 2.0, 3.0, 4.0),
        u=(0.1,) * 4,
        zero_counts=(0.0,) * 4,
        zero_u=(0.2,) * 4,
        outliers=1,
        samples=20,
        at_s=5.0,
        height_mm=80.0,
        rising=True,
        load_down_g=near(down[1]),
    )
    assert found.record.parents == (weighed.id,)


def test_how_far_a_weighing_is_from_the_wanted_cross_weight(tmp_path: Path) -> None:
    """1600 g: a point is 16 g. 51 % where 50 are wanted, known to half a point, or to one and a half."""
    cards = read_set(write_cards(tmp_path))

    def weights(pct: float, half: float) -> Any:
        return SimpleNamespace(
            diagonal_fr_rl_pct=Estimate(value=pct, u=half / 2, factor=2.0), total_g=SimpleNamespace(value=1600.0)
        )

    found = cross_gap(cards, weights(51.0, 0.5), CrossTarget(share_pct=50.0))
    assert (found.over_g, found.half_width_g) == near((16.0, 8.0))
    assert found.advice.startswith("Give the springs on the car card")
    assert cross_gap(cards, weights(49.0, 0.5), CrossTarget(share_pct=50.0)).over_g == near(-16.0)
    for sure in (weights(51.0, 1.5), weights(49.0, 1.5)):
        assert cross_gap(cards, sure, CrossTarget(share_pct=50.0)).advice.startswith("Nothing to turn")
    near_enough = cross_gap(cards, weights(51.0, 0.5), CrossTarget(share_pct=50.0, tolerance_pct=1.2))
    assert near_enough.advice == "Within 1.2 points of the target."


def test_a_shim_under_a_pad(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cards = read_set(write_cards(tmp_path, bench={"pads.reseat_g": 6.0}))
    grams = [[200.0, 700.0, 300.0, 400.0], [230.0, 670.0, 331.0, 369.0]]
    monkeypatch.setattr(cross, "scale_of", lambda *_, **__: Placings(*grams))
    monkeypatch.setattr(Placings, "records", ())
    answer = SimpleNamespace(grams_per_mm=lambda: 31.0, cross_per_mm=lambda: 62.0, relative_u=0.08)
    asked = question(monkeypatch, cross, "response_from_shim", answer)
    raw, steps = tmp_path / "raw.txt", []
    raw.write_text("as it came")
    with BenchLog(tmp_path / "log") as log:
        _, record = measure_response(
            cards,
            SimpleNamespace(raw_file=raw),  # type: ignore[arg-type]
            log,
            wheel=2,
            shim_mm=1.2,
            ask=lambda step: steps.append(step.text),
        )
    (one,) = asked
    before, after, scatter = one.given
    np.testing.assert_allclose(before, 1e-3 * G * np.array([700.0, 300.0, 400.0, 200.0]))
    np.testing.assert_allclose(after, 1e-3 * G * np.array([670.0, 331.0, 369.0, 230.0]))
    np.testing.assert_allclose(scatter, (1.5e-3 * G) ** 2 * np.eye(4))  # a quarter of a placing's: it is not lifted off
    assert (one.named["wheel"], one.named["shim"]) == (2, near(0.0012))
    np.testing.assert_allclose(one.named["track"], [0.16, 0.18])
    assert "1.2 mm shim under the rear left pad" in steps[1]
    assert isinstance(record.inputs, ShimInputs)
    assert (record.inputs.wheel, record.inputs.shim_mm) == (2, 1.2)
    assert [one.counts[0] for one in record.inputs.placings] == [2.0, 1.0]
    assert record.result == ShimResult(grams_per_mm=31.0, cross_g_per_mm=62.0, relative_u=0.08)


def test_a_curve_is_fitted_again_with_what_it_was_fitted_with(monkeypatch: pytest.MonkeyPatch) -> None:
    stored = replace(
        CURVES[0],
        pad="pad 3 (FR)",
        date="2026-01-02",
        masses="200 g, 500 g",
        temperature_c=21.5,
        gravity=9.79,
        capacity_g=1234.0,
    )
    run = CalibrationRun(
        mass_g=(0.0, 200.0, 500.0, 200.0, 0.0),
        counts=(1.0, 2.0, 3.0, 4.0, 5.0),
        cycle=(0.0, 0.0, 0.0, 1.0, 1.0),
        rising=(True, True, True, False, False),
    )
    asked = question(monkeypatch, calibrate, "fit_calibration", stored)
    row = calibration_record(stored)
    assert fitted_again(run, row, 0.4) == row
    (one,) = asked
    np.testing.assert_array_equal(one.given[0], run.mass_g)
    np.testing.assert_array_equal(one.given[1], run.counts)
    np.testing.assert_array_equal(one.named["mass_u_g"], [0.0, 0.4, 0.4, 0.4, 0.0])  # an empty pad is empty
    order, notes = one.named["order"], one.named["notes"]
    assert isinstance(order, RunOrder)
    np.testing.assert_array_equal(order.cycle, run.cycle)
    np.testing.assert_array_equal(order.rising, run.rising)
    assert one.named["capacity_g"] == 1234.0
    assert (notes.pad, notes.date, notes.masses, notes.temperature_c, notes.gravity) == (
        "pad 3 (FR)",
        "2026-01-02",
        "200 g, 500 g",
        21.5,
        9.79,
    )


def test_scales_that_are_taken_at_their_word(tmp_path: Path) -> None:
    bench = read_set(write_cards(tmp_path, bench={"pads.unit": "g", "pads.capacity_g": 3000.0})).bench
    shown = as_shown(bench)
    assert [one.pad for one in shown] == ["pad 1 (RR)", "pad 2 (FL)", "pad 3 (FR)", "pad 4 (RL)"]
    assert [float(one.mass_g(412.0)) for one in shown] == [412.0] * 4
    assert {one.covariance for one in shown} == {((0.0, 0.0), (0.0, 0.005**2))}
    assert {(one.capacity_g, one.heaviest_g) for one in shown} == {(3000.0, 3000.0)}
    told = unchecked_scales(SimpleNamespace(calibrations=shown))  # type: ignore[arg-type]
    assert "each to 1 %" in told  # 1.96 × 0.5 %
    assert unchecked_scales(SimpleNamespace(calibrations=[*shown[:3], CURVES[0]])) == ""  # type: ignore[arg-type]


@pytest.mark.parametrize("hung", [False, True])
def test_a_finger_s_cell_from_its_run(hung: bool) -> None:
    """A straight line by least squares, made here once more; three readings of four lie on it to 2.6 g."""
    run, off = [0.0, 500.0, 1000.0, 500.0], [0.0, 80.0, -40.0, 20.0]
    counts = [-4000.0 + 42.0 * mass + more for mass, more in zip(run, off, strict=True)]
    found = fitted_finger(run, counts, 2.0, hung=hung, gravity=9.79)
    slope, zero_counts = np.polyfit(run, counts, 1)
    rest = np.array(counts) - zero_counts - slope * np.array(run)
    assert found.zero_counts == near(zero_counts, rel=1e-6)
    assert found.counts_per_n == near(slope / 9.79e-3 * (-1 if hung else 1), rel=1e-6)
    assert found.off_line_n == near(np.abs(rest).max() / slope * 9.79e-3, rel=1e-6)
    assert found.heaviest_n == near(9.79)
    # the slope's own scatter, as wide as 1.96 of a normal one would be with two degrees of freedom (t is 4.30); 2 g of
    # the masses, all alike; 0.2 % that a cell keeps at best
    scatter = 4.302653 / 1.959964 * math.sqrt((rest @ rest) / 2 / np.var(run) / 4) / slope
    heavy = np.where(np.array(run) > 0, 2.0, 0.0)
    shift = np.polyfit(np.array(run) + heavy, counts, 1)[0] / slope - 1
    assert found.counts_per_n_u / abs(found.counts_per_n) == near(math.sqrt(scatter**2 + shift**2 + 0.002**2), rel=0.01)


def test_what_a_finger_s_cell_leaves_for_the_card(tmp_path: Path) -> None:
    bench = read_set(write_cards(tmp_path)).bench
    result = FingerCellResult(
        counts_per_n=43_796.123456, counts_per_n_u=131.4567, zero_counts=-4300.6, off_line_n=0.1, heaviest_n=9.8
    )
    inputs = FingerCellInputs(mass_g=(), counts=(), mass_u_g=0.1, hung=False, gravity_m_s2=G, boards=("finger 5",))
    record: Any = SimpleNamespace(inputs=inputs, result=result)
    keys = {
        "force.counts_per_n": 43_796.12,
        "force.counts_per_n_u": 131.0,
        "force.zero_counts": -4301.0,
        "force.board": "finger 5",
    }
    assert cell_keys(record, bench, port="/dev/finger") == keys
    scales = read_set(write_cards(tmp_path / "b", bench={"pads.line_pattern": "<c1> <c2> <c3> <c4>"})).bench
    assert cell_keys(record, scales, port="/dev/finger") == keys | {"force.port": "/dev/finger"}


def frame(counts: list[float], missing: tuple[bool, ...] = (False,) * 4) -> PadFrame:
    return PadFrame(
        host_time=1.0,
        device_time=1.0,
        counts=tuple(counts),  # type: ignore[arg-type]
        missing=missing,  # type: ignore[arg-type]
        saturated=(False,) * 4,
        seq=1,
    )


def heard(*frames: PadFrame) -> Any:
    """Pads that have sent these frames, with a port that reads and four kinds of lines."""
    waiting = [list(frames)]
    listener = SimpleNamespace(drain=lambda: waiting.pop() if waiting else [])
    status = SimpleNamespace(state=PortState.READING, sentence="reading", remedy="none")
    tally = SimpleNamespace(intact=9, lost=8, damaged=7, repeated=6)
    source = SimpleNamespace(listen=lambda: listener, status=status, tally=tally)
    return SimpleNamespace(source=source, names=("a", "b", "c", "d"), shown=False, raw_file=Path("raw"))


def judged(view: Any, made: SettledReading) -> None:
    """The view judges the last seconds so."""
    view._detector = SimpleNamespace(reading=lambda: made, feed=lambda *_: None, resolution=1.0)


def test_everything_that_a_live_view_shows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pads carry 200, 700, 300 and 400 g over zeros of 1000, 2000, 3000 and 4000 counts."""
    grams = (200.0, 700.0, 300.0, 400.0)
    zeros = (1000.0, 2000.0, 3000.0, 4000.0)
    counts = [start + per * one for start, per, one in zip(zeros, PER_GRAM, grams, strict=True)]
    older = SimpleNamespace(result=SimpleNamespace(counts=(0.0,) * 4))
    newest = SimpleNamespace(result=SimpleNamespace(counts=zeros))
    table: Any = SimpleNamespace(calibrations=CURVES, zeros=(older, newest), order=ORDER, limits=None)
    opened = heard(frame([0.0] * 4), frame(counts))
    view = LiveLoads(opened, table)
    fault = PadFault(pad=1, name="frozen", samples=9, first=0, last=8, remedy="")
    judged(view, replace(reading(counts), faults=(fault,)))
    state = view.state()
    assert state == LiveState(
        load_g=near((700.0, 300.0, 400.0, 200.0)),
        noise_g=near((20 / 500, 40 / 250, 80 / 800, 10 / 400)),
        share_pct=near((43.75, 18.75, 25.0, 12.5)),
        settled=(True,) * 4,
        total_g=near(1600.0),
        front_pct=near(62.5),
        left_pct=near(68.75),
        cross_pct=near(43.75),
        faults=("frozen", "", "", ""),
        status="reading",
        remedy="none",
        counts="9 lines, 8 lost, 7 damaged, 6 repeated",
    )
    question(monkeypatch, live, "moment_now", Moment(wall=2000.0, steady=7.0, boot="b"))
    opened.raw_file = tmp_path / "raw.txt"
    opened.raw_file.write_text("as it came")
    judged(view, replace(reading(counts), settled=False))
    with BenchLog(tmp_path / "log") as log:
        snapshot(opened, view, log)()
        (record,) = log.records(kind="live reading")
    assert record.inputs == LiveInputs(at_s=2000.0, steady_s=7.0, boot="b")
    assert record.result == LiveResult(load_g=near((700.0, 300.0, 400.0, 200.0)), settled=False, total_g=near(1600.0))


def test_everything_that_a_view_of_raw_counts_shows() -> None:
    opened = heard(frame([10.0, 20.0, 30.0, 40.0]), frame([11.0, math.nan, 33.0, 44.0], (False, True, False, False)))
    view = RawCounts(opened, ORDER)
    fault = PadFault(pad=2, name="frozen", samples=9, first=0, last=8, remedy="")
    judged(view, replace(reading([1.0] * 4), faults=(fault,)))
    state = view.state()
    assert state == RawState(
        names=("a", "b", "c", "d"),
        wheels=(3, 0, 1, 2),  # RR FL FR RL
        counts=near((11.0, math.nan, 33.0, 44.0), nan_ok=True),
        change=near((1.0, math.nan, 3.0, 4.0), nan_ok=True),
        noise=(10.0, 20.0, 40.0, 80.0),
        settled=True,
        faults=("", "", "frozen", ""),
        status="reading",
        remedy="none",
    )


def before(cards: CardSet, grams: list[float], square: np.ndarray) -> Any:
    return SimpleNamespace(wheel_g=np.array(grams), covariance=square, which="record 12")


def test_what_differs_from_the_weighing_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each weighing knows its total to 10 g: 2.58 × 14.1 = 36.5 g is chance, both together."""
    cards = read_set(write_cards(tmp_path, car={"masses.total_g": 1500.0}))
    square = 25.0 * np.eye(4)
    was = before(cards, [700.0, 300.0, 400.0, 200.0], square)
    monkeypatch.setattr(plausible_loads, "_before", lambda *_: was)
    now = np.array([709.0, 309.0, 409.0, 209.0])
    with BenchLog(tmp_path / "log") as log:
        assert against_before(cards, log, now - 0.1, square) == ()  # 35.6 g
        (some,) = against_before(cards, log, now + 0.3, square)
        assert some.startswith("Only the front right wheel changed since record 12, from 300 to 309 g: ")
        assert against_before(cards, log, np.array([740.0, 360.0, 420.0, 280.0]), square) == (
            "This car weighed 1600 g in record 12, and 1800 g now: what was changed?",
        )
        (alone,) = against_before(cards, log, np.array([700.0, 301.0, 460.0, 199.0]), square)
        assert alone.startswith("Only the rear left wheel changed since record 12, from 400 to 460 g: ")
        # what it was weighed at goes before what its card says; without either nothing is known
        assert car_mass(cards, log) == near(1600.0)
        assert least_load(cards, log) == near(160.0)
        monkeypatch.setattr(plausible_loads, "_before", lambda *_: None)
        assert car_mass(cards, log) == 1500.0
        assert against_before(cards, log, now, square) == ()


def test_one_wheel_alone_explains_a_change_or_does_not() -> None:
    """What is left over at the three others, each known to 3 g beside half a gram: by tables a chi-square of three
    degrees of freedom has a chance of 1 % at 11.345."""
    spread = 9.0 * np.eye(4)
    fits, fits_not = np.array([5.0, 6.0, 6.6, 90.0]), np.array([5.0, 6.0, 6.7, 90.0])
    assert (fits[:3] @ fits[:3] / 9.25, fits_not[:3] @ fits_not[:3] / 9.25) == near((11.304, 11.447), abs=1e-3)
    assert plausible_loads._one_alone(fits, spread) == 3
    assert plausible_loads._one_alone(fits_not, spread) is None


def test_placings_of_one_car_weigh_alike() -> None:
    """Totals known to 4 and 3 g by noise, zeros and pads: 2.58 × 5 = 12.9 g is chance. Curves and masses are shared."""
    whole = SQUARE.sum()

    def placed(total: float, u: float) -> Loads:
        third = u**2 / 3 / whole
        return loads([total / 4] * 4, noise=third, zero=third, pads=third, curves=50.0, masses=50.0)

    middle = placed(1605.0, 3.0)
    assert placings_agree([placed(1600.0, 4.0), middle, placed(1612.5, 3.0)]) == ()
    (told,) = placings_agree([middle, placed(1613.3, 4.0), placed(1600.0, 3.0)])
    assert told.startswith("Placing 3 weighs 1600.0 g in all and placing 2 1613.3: a car does not change")
    np.testing.assert_allclose(
        own_covariance(PLACED[0].parts), (0.01 + 0.02 + 0.03) * SQUARE
    )  # without what another weighing on the same calibration shares


@pytest.mark.parametrize("shown", [True, False])
def test_what_is_said_while_pads_do_not_rest_and_when_nobody_waits_any_more(
    shown: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Scales show grams: a gram is a gram. Counts are told in grams by what the calibration says."""
    restless = replace(reading([1.0] * 4), settled=False, reason="pad 2 still moves")
    detector = SimpleNamespace(limits=None, reading=lambda: restless)
    source = MagicMock()
    source.status = SimpleNamespace(state=PortState.READING, port="/dev/pads", sentence="reading", remedy="")
    source.listen.return_value.__enter__.return_value.drain.return_value = []
    monkeypatch.setattr(pads, "detector_for", lambda *_: detector)
    monkeypatch.setattr(pads, "AtOnce", MagicMock())
    clock = itertools.count()  # a second from one look at it to the next
    monkeypatch.setattr(pads, "time", SimpleNamespace(monotonic=lambda: float(next(clock))))
    asked = question(monkeypatch, pads, "unrest_words", "pad b shakes by 3 g")
    said: list[str] = []
    opened = OpenPads(source=source, raw_file=Path("raw"), names=("a", "b", "c", "d"), shown=shown, say=said.append)
    with pytest.raises(BenchError) as ended:
        settle(opened, patience=12.0, per_gram=np.array(PER_GRAM))
    assert said == ["Waiting for rest: pad b shakes by 3 g"] * 2  # after more than four seconds, and four more
    found, names, per_gram = asked[0].given
    assert (found, names) == (restless, ("a", "b", "c", "d"))
    np.testing.assert_array_equal(per_gram, np.ones(4) if shown else PER_GRAM)
    assert (ended.value.what, ended.value.where) == (
        "the pads did not come to rest within 12 s: pad b shakes by 3 g",
        "/dev/pads",
    )


def test_why_pads_came_to_no_rest() -> None:
    status = SimpleNamespace(state=PortState.READING, port="/dev/pads", sentence="it is silent", remedy="Plug it in")
    source = SimpleNamespace(status=status, tally=SimpleNamespace(damaged=7))
    opened: Any = SimpleNamespace(source=source)
    restless = replace(reading([1.0] * 4), settled=False, reason="pad 2 still moves")
    at_once: Any = SimpleNamespace(fault=lambda fault: BenchError(fault.name, where=str(fault.pad), remedy="x"))

    def told(found: SettledReading | None, unrest: str = "") -> tuple[str, str, str]:
        error = pads._not_settled(opened, found, 60.0, at_once, unrest)
        return error.what, error.where, error.remedy

    assert told(restless)[0] == "the pads did not come to rest within 60 s: pad 2 still moves"
    assert told(restless, "pad b shakes")[0] == "the pads did not come to rest within 60 s: pad b shakes"
    faults = tuple(
        PadFault(pad=pad, name=name, samples=9, first=0, last=8, remedy="")
        for pad, name in ((0, "frozen"), (2, "overload"), (1, "overload"))
    )
    assert told(replace(restless, faults=faults))[:2] == ("overload", "1")  # the gravest, of the first pad
    assert told(None) == ("it is silent (7 damaged lines)", "/dev/pads", "Plug it in")
    status.state, status.remedy, source.tally.damaged = PortState.SILENT, "", 0
    assert told(restless) == (
        "it is silent",
        "/dev/pads",
        "Check the cable, the board and the baud rate on the bench card",
    )
