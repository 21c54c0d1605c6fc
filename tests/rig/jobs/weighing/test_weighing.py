"""Weighing as a use case on the virtual pads: calibrate, zero, weigh, turn, lift, live; and what goes wrong."""

import json
import math
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from msgspec import structs

from analysis.base.errors import AnalysisError
from analysis.pads.calibration import CalibrationNotes
from analysis.weighing.orientations import PAD_UNDER
from analysis.weighing.warp import collar_turn
from rig.base.errors import BenchError, InputError
from rig.cards.chassis import spring_rates, warp_response
from rig.cards.read import CardSet, read_set
from rig.cards.template import card_text
from rig.jobs.weighing.calibrate import (
    CheckMasses,
    calibrate,
    calibration_from,
    calibration_record,
    fitted,
    fitted_again,
)
from rig.jobs.weighing.cross import CrossTarget, builder_loop
from rig.jobs.weighing.lift import AxleLifts, ballast_for, measure_height, moved_ballast
from rig.jobs.weighing.live import LiveLoads, RawCounts
from rig.jobs.weighing.pads import OpenPads, bench_pads, settle
from rig.jobs.weighing.scale import scale_of
from rig.jobs.weighing.weigh import TURN_WORDS, weigh_on_pads, weigh_turned
from rig.jobs.weighing.weights import Weighing, weighing_from
from rig.jobs.weighing.zero import zero
from rig.log.store import BenchLog
from rig.main import main
from rig.pads.steps import Step
from rig.records.weighing import CalibrationRun
from rig.report.other_records import WORDS, other_parts
from rig.virtual.bench import VirtualOperator
from rig.virtual.pads import VirtualPads
from tests.rig.cards.new_cards import write_new_cards

CAR_G = np.array([400.0, 392.0, 381.0, 387.0])
MASSES = [250.0, 500.0, 1000.0]


class Bench:
    """Virtual pads with their log and cards."""

    def __init__(self, folder: Path, pads: VirtualPads) -> None:
        write_new_cards(folder / "cards")
        self.test = folder / "cards" / "test.toml"
        self.cards: CardSet = read_set(self.test)
        self.pads, self.log, self.rng = pads, BenchLog(folder / "log"), np.random.default_rng(0)

    def operator(self, car_g: np.ndarray = CAR_G) -> VirtualOperator:
        """Somebody who does as asked."""
        return VirtualOperator(self.pads, car_g, self.rng, reseat_g=0.5)

    def calibrated(self, reader: OpenPads) -> None:
        """Calibrate with masses."""
        calibrate(self.cards.bench, reader, self.log, CheckMasses(masses_g=MASSES, cycles=1), ask=self.operator())
        self.pads.set_loads([0.0] * 4)


@contextmanager
def virtual_bench(folder: Path) -> Iterator[Bench]:
    """The same pads every time, in a folder that may hold a log already."""
    with VirtualPads(seed=4, rate=80, time_factor=30.0) as pads:
        made = Bench(folder, pads)
        yield made
        made.log.close()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A virtual bench that was never calibrated."""
    with virtual_bench(tmp_path) as made:
        yield made


@pytest.fixture(scope="module")
def calibration(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log with the calibration of these pads."""
    with virtual_bench(tmp_path_factory.mktemp("calibrated")) as made:
        with bench_pads(made.cards.bench, made.log, port=made.pads.url) as reader:
            made.calibrated(reader)
        return made.log.folder


@pytest.fixture
def ready(tmp_path: Path, calibration: Path) -> Iterator[Bench]:
    """The same bench on a later day: calibrated, to be zeroed."""
    shutil.copytree(calibration, tmp_path / "log")
    with virtual_bench(tmp_path) as made:
        yield made


def test_pads_calibrated_with_masses_weigh_the_car_turned_or_not(bench: Bench) -> None:
    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader:
        bench.calibrated(reader)
        zero(bench.cards.bench, reader, bench.log)
        plain = weigh_on_pads(bench.cards, reader, bench.log, placings=3, ask=bench.operator())
        # each corner within its own 95 % interval doubled: a check on grams and wheel order, not on coverage
        for one, truth in zip(plain.weights.corner_g, CAR_G, strict=True):
            assert abs(one.value - truth) <= 2 * one.half_width
            assert one.half_width < 8.0
        assert plain.weights.total_g.value == pytest.approx(CAR_G.sum(), abs=3.0)

        words = {text: turn for turn, text in TURN_WORDS.items()}

        def turn_round(step: Step) -> None:
            turn = words[step.text.split(";")[0]]
            loads = np.zeros(4)
            loads[list(PAD_UNDER[turn])] = CAR_G
            bench.pads.set_loads(loads.tolist())

        turned, _ = weigh_turned(bench.cards, reader, bench.log, ["as is", "half turn"], ask=turn_round)
        np.testing.assert_allclose(turned.weights.load_g, CAR_G, atol=6.0)
        assert len(turned.inputs.placings) == 2
    # what stands in the log gives the same weighing again
    again = weighing_from(bench.log.get(plain.record.id), bench.cards)
    np.testing.assert_array_equal(again.load_covariance, plain.load_covariance)
    assert {record.kind for record in bench.log.records()} == {"calibration", "zero", "weighing"}
    (part,) = other_parts(list(bench.log.records()))
    assert part.paragraphs == ["Also in the log: 1 × zero."]
    assert part.tables[0].rows[0][4] == "4 pads from 0 to 1000 g"
    assert f"{plain.weights.total_g.value:.1f} ± {plain.weights.total_g.half_width:.1f} g" in part.tables[0].rows[1][4]


@pytest.mark.thorough
def test_wheels_follow_the_bench_card(ready: Bench) -> None:
    text = (ready.test.parent / "bench.toml").read_text()
    (ready.test.parent / "bench.toml").write_text(
        text.replace('wheels = ["FL", "FR", "RL", "RR"]', 'wheels = ["RR", "RL", "FR", "FL"]')
    )
    ready.cards = read_set(ready.test)
    with bench_pads(ready.cards.bench, ready.log, port=ready.pads.url) as reader:
        zero(ready.cards.bench, reader, ready.log)
        weighing = weigh_on_pads(ready.cards, reader, ready.log, ask=ready.operator(CAR_G[::-1].copy()))
    np.testing.assert_allclose(weighing.weights.load_g, CAR_G, atol=4.0)


def lifted_front_load(
    height: float, cg_x: float, cg_height: float, wheelbase: float, radius: float, total: float
) -> float:
    """Load on the front axle with the rear wheels raised: moments about the rear contact, by hand."""
    theta = math.asin(height / wheelbase)
    # centre of gravity relative to the rear wheel centre, turned nose down by theta
    along = cg_x * math.cos(theta) + (cg_height - radius) * math.sin(theta)
    return total * along / (wheelbase * math.cos(theta))


def test_lifting_the_rear_axle_finds_the_height(ready: Bench) -> None:
    wheelbase, radius, height = 0.257, 0.032, 0.041
    (ready.test.parent / "car.toml").write_text(card_text("car", {"geometry.wheel_radius_mm": 32.0}))
    ready.cards = read_set(ready.test)
    cg_x = wheelbase * CAR_G[:2].sum() / CAR_G.sum()

    def lift(step: Step) -> None:
        if step.action != "lift":
            return
        raised = float(step.text.split("wheels ")[1].split(" mm")[0]) * 1e-3
        front = lifted_front_load(raised, cg_x, height, wheelbase, radius, CAR_G.sum())
        ready.pads.set_loads([front / 2, front / 2, 0.0, 0.0])

    with bench_pads(ready.cards.bench, ready.log, port=ready.pads.url) as reader:
        zero(ready.cards.bench, reader, ready.log)
        weighing: Weighing = weigh_on_pads(ready.cards, reader, ready.log, placings=3, ask=ready.operator())
        lifted = measure_height(
            ready.cards, reader, ready.log, weighing, AxleLifts(heights_mm=(40.0, 70.0, 100.0)), ask=lift
        )
    assert lifted.found.height.interval[0] < height < lifted.found.height.interval[1]
    assert lifted.found.height.half_width < 0.012
    assert f"{1000 * lifted.found.height.value:.1f} ± " in WORDS["cg height"](lifted.record)
    with (
        bench_pads(ready.cards.bench, ready.log, port=ready.pads.url) as reader,
        pytest.raises(InputError, match="two"),
    ):
        measure_height(ready.cards, reader, ready.log, weighing, AxleLifts(heights_mm=(40.0,)), ask=lift)


def test_ballast_both_ways_agree(ready: Bench) -> None:
    with bench_pads(ready.cards.bench, ready.log, port=ready.pads.url) as reader:
        zero(ready.cards.bench, reader, ready.log)
        weighing = weigh_on_pads(ready.cards, reader, ready.log, ask=ready.operator())
    advice = ballast_for(ready.cards, weighing, 80.0, "front_pct", 50.0, None)
    assert advice.place is not None
    x, y = advice.place * 1e3
    after = weighing.weights.load_g + moved_ballast(ready.cards, 80.0, None, (x, y))
    assert after[:2].sum() / after.sum() == pytest.approx(0.5, abs=1e-9)
    # lever law by hand: moving 80 g forward by a quarter of the wheelbase moves 20 g to the front axle
    change = moved_ballast(ready.cards, 80.0, (0.0, 0.0), (0.25 * 257.0, 0.0))
    assert change[:2].sum() == pytest.approx(20.0)


def test_the_live_view_shows_what_lies_on_the_pads(ready: Bench) -> None:
    with bench_pads(ready.cards.bench, ready.log, port=ready.pads.url) as reader:
        zero(ready.cards.bench, reader, ready.log)
        ready.pads.set_loads(CAR_G.tolist())
        settle(reader)
        live = LiveLoads(reader, scale_of(ready.cards.bench, ready.log))
        state = live.state()
        while state.total_g is None:
            state = live.state()
        assert state.total_g == pytest.approx(CAR_G.sum(), abs=10.0)
        assert state.front_pct == pytest.approx(100 * CAR_G[:2].sum() / CAR_G.sum(), abs=0.5)
        ready.pads.lose_pad(1)
        while not state.faults[1]:
            state = live.state()
        assert "missing" in state.faults[1]
        while live.reading().count:  # the last whole samples leave the window
            live.poll()
            time.sleep(0.01)
        live.zero()
        ready.pads.lose_pad(1, lost=False)
        while state.total_g is None or not all(state.settled):
            state = live.state()
        # the others were taken as nothing, the missing pad kept its zero
        np.testing.assert_allclose(state.load_g, [0.0, CAR_G[1], 0.0, 0.0], atol=4.0)


def test_a_live_view_whose_pads_are_gone_is_not_settled(ready: Bench) -> None:
    with bench_pads(ready.cards.bench, ready.log, port=ready.pads.url) as reader:
        zero(ready.cards.bench, reader, ready.log)
        live = LiveLoads(reader, scale_of(ready.cards.bench, ready.log))
        end = time.monotonic() + 60.0  # a busy machine may take long
        while not all(live.state().settled) and time.monotonic() < end:
            time.sleep(0.02)
        assert all(live.state().settled)
        ready.pads.unplug()
        while "unplugged" not in (state := live.state()).status and time.monotonic() < end:
            time.sleep(0.02)
        assert state.settled == (False,) * 4


def test_counts_are_shown_live_before_any_calibration(bench: Bench) -> None:
    """The virtual board's own cells are the truth: each has its own zero and counts per gram."""
    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader:
        settle(reader)
        raw = RawCounts(reader, np.array([2, 0, 3, 1]))  # FL stands on the third pad, FR on the first, ...
        while not math.isfinite((empty := raw.state()).counts[0]):
            time.sleep(0.02)
        bench.pads.set_loads([0.0, 250.0, 0.0, 0.0])
        settle(reader)
        while not math.isfinite(raw.state().change[1]) or not raw.state().settled:
            time.sleep(0.02)
        pressed = raw.state()
        raw.zero()
        assert max(abs(one) for one in raw.state().change) < 0.01 * pressed.change[1]
        bench.pads.unplug()
        end = time.monotonic() + 10.0
        while "unplugged" not in (left := raw.state()).status and time.monotonic() < end:
            time.sleep(0.02)
        assert not left.settled  # the last counts are no reading of now
    assert empty.wheels == (1, 3, 0, 2)
    assert int(np.argmax(pressed.change)) == 1
    assert pressed.change[1] == pytest.approx(pressed.counts[1] - empty.counts[1], rel=0.01)
    assert max(abs(one) for i, one in enumerate(pressed.change) if i != 1) < 0.01 * pressed.change[1]


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (lambda pads: pads.lose_pad(2), "pad 3 (RL)"),
        (lambda pads: pads.saturate(0), "pad 1 (FL)"),
        (lambda pads: pads.stick(3), "pad 4 (RR)"),
        (lambda pads: pads.unplug(), "did not come back within 1 s"),
        (lambda pads: pads.foreign_version(), "version"),
    ],
)
def test_a_faulty_bench_is_named_and_nothing_is_weighed(bench: Bench, fault: object, words: str) -> None:
    said = list[str]()
    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url, say=said.append) as reader:
        settle(reader)
        fault(bench.pads)  # type: ignore[operator]
        with pytest.raises(BenchError) as caught:
            settle(reader, patience=1.0)
        assert words in str(caught.value)
        # whoever waits for pads that are gone is told meanwhile, once
        assert ["Plug the pads in again" in one for one in said] == [True] * ("come back" in words)
    assert not list(bench.log.records())


def test_weighing_without_calibration_or_zero_says_what_to_do(bench: Bench) -> None:
    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader:
        with pytest.raises(Exception, match="never been calibrated"):
            weigh_on_pads(bench.cards, reader, bench.log, ask=bench.operator())
        calibrate(bench.cards.bench, reader, bench.log, CheckMasses(masses_g=MASSES, cycles=1), ask=bench.operator())
        with pytest.raises(InputError, match="zeroed"):
            weigh_on_pads(bench.cards, reader, bench.log, ask=bench.operator())


def test_the_commands_work_on_a_real_pseudo_terminal(ready: Bench, capfd: pytest.CaptureFixture[str]) -> None:
    with bench_pads(ready.cards.bench, ready.log, port=ready.pads.url) as reader:
        zero(ready.cards.bench, reader, ready.log)
    folder = str(ready.log.folder)
    ready.pads.set_loads(CAR_G.tolist(), at_once=True)
    common = [str(ready.test), "--port", ready.pads.url, "--log", folder, "--json"]
    with pytest.raises(SystemExit) as ended:
        main(["weigh", *common, "--unattended"])
    told = capfd.readouterr()
    assert not ended.value.code, told.err
    assert json.loads(told.out)["total_g"]["value"] == pytest.approx(CAR_G.sum(), abs=4.0)
    recorded = ready.log.folder / "traffic.txt"
    with pytest.raises(SystemExit):
        main(["pads", "record", ready.pads.url, str(recorded), "--seconds", "0.5"])
    assert recorded.stat().st_size > 500


def with_springs(bench: Bench) -> None:
    """Give the car the springs of the check values: 2.5 N/mm, motion ratio 0.65, no bars, rigid tyres."""
    chassis = {
        f"chassis.{end}.{key}": value
        for end in ("front", "rear")
        for key, value in (
            ("spring_n_per_mm", 2.5),
            ("motion_ratio", 0.65),
            ("tyre_n_per_mm", 10000.0),
            ("collar_pitch_mm", 0.75),
        )
    }
    (bench.test.parent / "car.toml").write_text(card_text("car", chassis))
    bench.cards = read_set(bench.test)


def test_a_millimetre_of_pad_height_and_a_collar_turn_are_worth_what_statics_says(bench: Bench) -> None:
    # a computed check value, confirmed by two methods: 2.5 N/mm, MR 0.65, 1.6 kg, equal corners, no bars:
    # 1 mm of pad height 27 g a wheel, a collar turn of 0.75 mm 31 g a wheel
    with_springs(bench)
    response = warp_response(bench.cards.car)
    assert response.grams_per_mm() == pytest.approx(27.0, abs=0.5)
    rates = spring_rates(bench.cards.car)
    change = collar_turn(response, rates, 0, 1.0, 0.75e-3)
    np.testing.assert_allclose(np.abs(change) / 9.80665 * 1000, 31.0, atol=0.5)


def test_the_builder_is_led_to_the_wanted_cross_weight(ready: Bench) -> None:
    with_springs(ready)
    crooked = np.array([420.0, 380.0, 380.0, 420.0])  # front right + rear left 47.5 %
    per_turn = 31.0 * np.array([1.0, -1.0, -1.0, 1.0])  # the check value above, front-left collar down by one turn
    loads, said = [crooked.copy()], []

    def say(text: str) -> None:
        said.append(text)
        if "turn" in text and "collar" in text and "equal" not in text:
            words = text.lower()
            size = next(
                share
                for name, share in (
                    ("three quarters of a turn", 0.75),
                    ("half a turn", 0.5),
                    ("a quarter turn", 0.25),
                    ("1 turn", 1.0),
                )
                if name in words
            )
            on_fl_rr = any(f"{wheel} collar" in words for wheel in ("front-left", "rear-right"))
            more = "more preload" in words
            loads[0] = loads[0] + per_turn * size * (1 if on_fl_rr == more else -1)

    def ask(step: Step) -> None:
        if step.action == "car":
            ready.pads.set_loads(loads[0].tolist())

    with bench_pads(ready.cards.bench, ready.log, port=ready.pads.url) as reader:
        zero(ready.cards.bench, reader, ready.log)
        run = builder_loop(ready.cards, reader, ready.log, target=CrossTarget(tolerance_pct=1.0), ask=ask, say=say)
    assert run.steps[-1].done
    final = run.record.result.diagonal_fr_rl_pct[-1]
    assert final == pytest.approx(50.0, abs=1.2), said
    assert any("hook" in text.lower() for text in said)
    assert WORDS["cross weight"](run.record) == run.steps[-1].text


@pytest.mark.thorough
def test_four_ports_with_one_pad_each_weigh_together(tmp_path: Path) -> None:
    pads = [VirtualPads(seed=10 + number, rate=80, channels=1, time_factor=4.0) for number in range(4)]
    try:
        write_new_cards(tmp_path / "cards")
        card = tmp_path / "cards" / "bench.toml"
        card.write_text(card_text("bench", {"pads.ports": [pad.url for pad in pads]}))
        cards = read_set(tmp_path / "cards" / "test.toml")
        with BenchLog(tmp_path / "log") as log, bench_pads(cards.bench, log) as reader:
            for pad in pads:
                pad.set_loads([300.0, 0.0, 0.0, 0.0], at_once=True)
            reading = settle(reader, patience=20.0)
        assert reading.settled
        assert np.all(np.isfinite(reading.counts))
    finally:
        for pad in pads:
            pad.close()


def test_a_pads_curve_survives_its_record_and_a_damaged_one_is_refused() -> None:
    run = CalibrationRun(
        mass_g=(0.0, 200.0, 500.0, 1000.0, 500.0, 200.0, 0.0),
        counts=(7.0, 20008.5, 50004.0, 100009.0, 50011.5, 20005.0, 6.0),
        cycle=(0.0,) * 7,
        rising=(True,) * 4 + (False,) * 3,
    )
    notes = CalibrationNotes(pad="pad 1 (FL)", date="2026-11-25", masses="M1 set", temperature_c=None, gravity=9.81)
    curve = fitted(run, notes, 0.1, 1500.0)
    record = calibration_record(curve)
    assert calibration_from(record) == curve
    assert fitted_again(run, record, 0.1) == record
    for spoilt, said in (
        ({"kind": "pad calibration 9"}, "pad calibration 9"),
        ({"coefficients": (7.0, 0.0)}, "coefficients"),
        ({"model": "cubic"}, "cubic"),
    ):
        with pytest.raises((AnalysisError, BenchError), match=said):
            calibration_from(structs.replace(record, **spoilt))
