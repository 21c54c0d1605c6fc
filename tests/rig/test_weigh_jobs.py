"""Weighing as a use case on the virtual pads: calibrate, zero, weigh, turn, lift, live; and what goes wrong."""

import json
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from analysis.weighing.orientations import PAD_UNDER
from rig.cards.read import CardSet, read_set
from rig.cards.template import write_new_cards
from rig.errors import BenchError, InputError
from rig.jobs.lift import ballast_for, measure_height, moved_ballast
from rig.jobs.live import LiveLoads
from rig.jobs.pads import OpenPads, Step, bench_pads, calibrate, settle, zero
from rig.jobs.scale import scale_of
from rig.jobs.weigh import TURN_WORDS, Weighing, weigh_on_pads, weigh_turned, weighing_from
from rig.log.store import BenchLog
from rig.main import main
from rig.virtual.bench import VirtualOperator
from rig.virtual.pads import VirtualPads

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
        """Calibrate and zero."""
        calibrate(self.cards.bench, reader, self.log, MASSES, ask=self.operator(), cycles=1)
        self.pads.set_loads([0.0] * 4)
        zero(self.cards.bench, reader, self.log)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A virtual bench."""
    with VirtualPads(seed=4, rate=80, time_factor=30.0) as pads:
        made = Bench(tmp_path, pads)
        yield made
        made.log.close()


def test_pads_calibrated_with_masses_weigh_the_car_turned_or_not(bench: Bench) -> None:
    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader:
        bench.calibrated(reader)
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

        turned, found = weigh_turned(bench.cards, reader, bench.log, ["as is", "half turn"], ask=turn_round)
        np.testing.assert_allclose(turned.weights.load_g, CAR_G, atol=6.0)
        assert found.placements == 2
    # what stands in the log gives the same weighing again
    again = weighing_from(bench.log.get(plain.record.id), bench.cards)
    np.testing.assert_array_equal(again.load_covariance, plain.load_covariance)
    assert {record.kind for record in bench.log.records()} == {"calibration", "zero", "weighing"}


def test_wheels_follow_the_bench_card(bench: Bench) -> None:
    text = (bench.test.parent / "bench.toml").read_text()
    (bench.test.parent / "bench.toml").write_text(
        text.replace('wheels = ["FL", "FR", "RL", "RR"]', 'wheels = ["RR", "RL", "FR", "FL"]')
    )
    bench.cards = read_set(bench.test)
    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader:
        bench.calibrated(reader)
        weighing = weigh_on_pads(bench.cards, reader, bench.log, ask=bench.operator(CAR_G[::-1].copy()))
    np.testing.assert_allclose(weighing.weights.load_g, CAR_G, atol=4.0)


def lifted_front_load(
    height: float, cg_x: float, cg_height: float, wheelbase: float, radius: float, total: float
) -> float:
    """Load on the front axle with the rear wheels raised: moments about the rear contact, by hand."""
    theta = math.asin(height / wheelbase)
    # centre of gravity relative to the rear wheel centre, turned nose down by theta
    along = cg_x * math.cos(theta) + (cg_height - radius) * math.sin(theta)
    return total * along / (wheelbase * math.cos(theta))


def test_lifting_the_rear_axle_finds_the_height(bench: Bench) -> None:
    wheelbase, radius, height = 0.257, 0.032, 0.041
    cg_x = wheelbase * CAR_G[:2].sum() / CAR_G.sum()

    def lift(step: Step) -> None:
        if step.action != "lift":
            return
        raised = float(step.text.split("wheels ")[1].split(" mm")[0]) * 1e-3
        front = lifted_front_load(raised, cg_x, height, wheelbase, radius, CAR_G.sum())
        bench.pads.set_loads([front / 2, front / 2, 0.0, 0.0])

    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader:
        bench.calibrated(reader)
        weighing: Weighing = weigh_on_pads(bench.cards, reader, bench.log, placings=3, ask=bench.operator())
        lifted = measure_height(bench.cards, reader, bench.log, weighing, [40.0, 70.0, 100.0], ask=lift)
    assert lifted.found.height.interval[0] < height < lifted.found.height.interval[1]
    assert lifted.found.height.half_width < 0.012
    with (
        bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader,
        pytest.raises(InputError, match="two"),
    ):
        measure_height(bench.cards, reader, bench.log, weighing, [40.0], ask=lift)


def test_ballast_both_ways_agree(bench: Bench) -> None:
    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader:
        bench.calibrated(reader)
        weighing = weigh_on_pads(bench.cards, reader, bench.log, ask=bench.operator())
    advice = ballast_for(bench.cards, weighing, 80.0, "front_pct", 50.0, None)
    assert advice.place is not None
    x, y = advice.place * 1e3
    after = weighing.weights.load_g + moved_ballast(bench.cards, 80.0, None, (x, y))
    assert after[:2].sum() / after.sum() == pytest.approx(0.5, abs=1e-9)
    # lever law by hand: moving 80 g forward by a quarter of the wheelbase moves 20 g to the front axle
    change = moved_ballast(bench.cards, 80.0, (0.0, 0.0), (0.25 * 257.0, 0.0))
    assert change[:2].sum() == pytest.approx(20.0)


def test_the_live_view_shows_what_lies_on_the_pads(bench: Bench) -> None:
    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader:
        bench.calibrated(reader)
        bench.pads.set_loads(CAR_G.tolist())
        settle(reader)
        live = LiveLoads(reader, scale_of(bench.cards.bench, bench.log))
        state = live.state()
        while state.total_g is None:
            state = live.state()
        assert state.total_g == pytest.approx(CAR_G.sum(), abs=10.0)
        assert state.front_pct == pytest.approx(100 * CAR_G[:2].sum() / CAR_G.sum(), abs=0.5)
        bench.pads.lose_pad(1)
        while not state.faults[1]:
            state = live.state()
        assert "missing" in state.faults[1]


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (lambda pads: pads.lose_pad(2), "pad 3 (RL)"),
        (lambda pads: pads.saturate(0), "pad 1 (FL)"),
        (lambda pads: pads.stick(3), "pad 4 (RR)"),
        (lambda pads: pads.unplug(), "nplugged"),
        (lambda pads: pads.foreign_version(), "version"),
    ],
)
def test_a_faulty_bench_is_named_and_nothing_is_weighed(bench: Bench, fault: object, words: str) -> None:
    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader:
        settle(reader)
        fault(bench.pads)  # type: ignore[operator]
        with pytest.raises(BenchError) as caught:
            settle(reader, patience=3.0)
        assert words in str(caught.value)
    assert not list(bench.log.records())


def test_weighing_without_calibration_or_zero_says_what_to_do(bench: Bench) -> None:
    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader:
        with pytest.raises(Exception, match="never been calibrated"):
            weigh_on_pads(bench.cards, reader, bench.log, ask=bench.operator())
        calibrate(bench.cards.bench, reader, bench.log, MASSES, ask=bench.operator(), cycles=1)
        with pytest.raises(InputError, match="zeroed"):
            weigh_on_pads(bench.cards, reader, bench.log, ask=bench.operator())


def test_the_commands_work_on_a_real_pseudo_terminal(bench: Bench, capfd: pytest.CaptureFixture[str]) -> None:
    with bench_pads(bench.cards.bench, bench.log, port=bench.pads.url) as reader:
        bench.calibrated(reader)
    folder = str(bench.log.folder)
    bench.pads.set_loads(CAR_G.tolist(), at_once=True)
    common = [str(bench.test), "--port", bench.pads.url, "--log", folder, "--json"]
    with pytest.raises(SystemExit) as ended:
        main(["weigh", *common, "--unattended"])
    told = capfd.readouterr()
    assert not ended.value.code, told.err
    assert json.loads(told.out)["total_g"]["value"] == pytest.approx(CAR_G.sum(), abs=4.0)
    recorded = bench.log.folder / "traffic.txt"
    with pytest.raises(SystemExit):
        main(["record-line", bench.pads.url, str(recorded), "--seconds", "0.5"])
    assert recorded.stat().st_size > 500
