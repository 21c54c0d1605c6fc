"""The work at one's own pads from the page: what each step changes is shown at once, for the right wheel.

Truth: what lies on the virtual pads. They are wired in a cycle of four, which is not its own inverse.
"""

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.page.bench.bench import Bench
from rig.page.bench.jobs import Job
from rig.page.live.pad_listeners import UNZEROED
from rig.records.weighing import CALIBRATION, WEIGHING, ZERO
from rig.virtual.bench import VirtualOperator
from rig.virtual.pads import VirtualPads
from tests.rig.page.bench.test_parts import told

PAD_WHEELS = ["RR", "FL", "FR", "RL"]
ON_PADS = [310.0, 520.0, 470.0, 240.0]
CAR = [520.0, 470.0, 240.0, 310.0]
"""g, FL FR RL RR."""


def shown(bench: Bench, when: Callable[[Json], bool]) -> Json:
    """What the page is told of the pads, once it is so."""
    end = time.monotonic() + 20.0
    while True:
        newest = bench.hub.newest
        if newest is not None and when(newest):
            return newest
        assert time.monotonic() < end, newest
        time.sleep(0.02)


def done(bench: Bench) -> str:
    bench.work.wait(60.0)
    said = told(bench.broadcast.newest("job"))
    assert not said["error"], said
    return str(said["text"])


def test_pads_are_calibrated_zeroed_and_weighed_on_and_the_page_shows_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(tmp_path)
    try:
        with VirtualPads(seed=3, rate=80, time_factor=24.0) as pads:
            hand = VirtualOperator(pads, np.array(ON_PADS), np.random.default_rng(0), reseat_g=0.0)
            monkeypatch.setattr(Job, "ask", lambda job, step, shown=None: hand(step))
            bench.save_card("bench", {"pads.port": pads.url, "pads.wheels": PAD_WHEELS, "pads.reseat_g": 0.5})
            assert "calibrat" in shown(bench, lambda one: "missing" in one)["missing"]
            bench.on_pads.calibrate([500.0, 900.0], 0.2)
            said = done(bench)
            shown(bench, lambda one: one.get("missing") == UNZEROED)
            bench.on_pads.zero()
            done(bench)
            shown(bench, lambda one: "missing" not in one)
            pads.set_loads(ON_PADS)
            now = shown(bench, lambda one: one["settled"] and one["total_g"] is not None and one["total_g"] > 1500)
            np.testing.assert_allclose(now["load_g"], CAR, atol=3.0)
            np.testing.assert_allclose(now["trace"][-1][1:], CAR, atol=5.0)
            assert now["front_pct"] == pytest.approx(100 * 990 / 1540, abs=0.3)
            assert now["left_pct"] == pytest.approx(100 * 760 / 1540, abs=0.3)
            assert now["diagonal_fr_rl_pct"] == pytest.approx(100 * 710 / 1540, abs=0.3)
            assert now["diagonal_fl_rr_pct"] == pytest.approx(100 * 830 / 1540, abs=0.3)
            bench.on_pads.weigh(1)
            weighed = done(bench)
        with bench.log() as log:
            calibration, zero, weighing = (log.latest(kind, None) for kind in (CALIBRATION, ZERO, WEIGHING))
            assert calibration is not None
            assert zero is not None
            assert weighing is not None
            assert said.endswith(f"record {calibration.number}. Now zero the empty pads.")
            run = calibration.inputs.pads[2]
            assert set(run.mass_g) == {0.0, 500.0, 900.0}
            assert calibration.inputs.mass_u_g == 0.2
            np.testing.assert_allclose(weighing.result.corner_weights_g, CAR, atol=3.0)
            assert f"record {weighing.number}" in weighed
            assert bench.weighing is not None
            assert bench.weighing.record.id == weighing.id
    finally:
        bench.close()


@pytest.mark.thorough
def test_the_virtual_bench_does_what_hands_do(tmp_path: Path) -> None:
    """Truth: the virtual car's own weights; no two of its wheels carry alike."""
    bench = Bench(tmp_path, time_factor=24.0)
    try:
        with pytest.raises(InputError, match="done by hand"):
            bench.on_pads.place(True)
        bench.switch_virtual(True)
        assert "Zero them" in done(bench)
        bench.on_pads.zero()
        done(bench)
        assert bench.virtual is not None
        corner = bench.virtual.truth().corner_g
        bench.on_pads.place(True)
        now = shown(bench, lambda one: one.get("settled") and one["total_g"] and one["total_g"] > 1000)
        np.testing.assert_allclose(now["load_g"], corner, atol=5.0)
        assert bench.on_pads.place(False) == "The pads are empty."
        bench.on_pads.weigh(1)
        done(bench)
        assert bench.weighing is not None
        np.testing.assert_allclose(bench.weighing.weights.load_g, corner, atol=12.0)  # it is set down anew
        assert bench.weighing.weights.total_g.value == pytest.approx(corner.sum(), abs=6.0)
        bench.switch_virtual(False)
        assert bench.weighing is None  # of another car
        assert bench.virtual is None
    finally:
        bench.close()
