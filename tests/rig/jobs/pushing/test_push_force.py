"""The force on the finger as a bench keeps it: recorded, calibrated, measured beside its clip, and in the grip."""

import math
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace as changed_struct

from analysis.base.errors import AnalysisError
from analysis.finger.force_on_slide import FingerWay, Match, Plateau
from analysis.finger.force_trace import ForceTrace, Press
from analysis.forecast.inputs import CarState, PushState
from analysis.grip.push_force import GripByForce, Pressed
from rig.base.errors import BenchError, InputError
from rig.cards.measures import floor_layout
from rig.cards.read import CardSet, read_set
from rig.jobs.grip.grip import combined_grip
from rig.jobs.measuring.found_pushes import pushes_in
from rig.jobs.measuring.measure import Measurement
from rig.jobs.pushing import push_force
from rig.jobs.pushing.balance import PushAnswer, answer_push
from rig.jobs.pushing.compare import force_beside_clip
from rig.jobs.pushing.force_kept import PushForce, refuse_other_clip, write_force
from rig.jobs.pushing.push_force import force_of_push
from rig.jobs.record.recalculate import recalculate
from rig.jobs.weighing.calibrate import CheckMasses
from rig.jobs.weighing.finger_cell import calibrate_finger, cell_keys, finger_port, fitted_finger
from rig.jobs.weighing.weights import Weighing, weigh_typed
from rig.log.store import BenchLog
from rig.lookups.aside import put_aside
from rig.lookups.track_file import KeptTrack
from rig.pads.force_file import beside, force_recorded, read_force
from rig.pads.lines import frame
from rig.pads.steps import Step
from rig.pads.traffic import TrafficKind, TrafficRecorder
from rig.records.force import PUSH_FORCE, ForcePart, ForceResult
from rig.records.grip import GRIP
from rig.records.pushing import PUSH
from rig.virtual import bench
from rig.virtual.dunlin import SETUPS, Truth, draw_truth
from rig.virtual.finger_force import BOARD, COUNTS_PER_N, ZERO_COUNTS, record_virtual_force
from rig.virtual.pads import VirtualPads
from rig.virtual.push_truth import PushTruth, simulate_push
from tests.rig.jobs.synthetic_pushes import measured

NEWTON_G = 1000.0 / 9.80665


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> tuple[CardSet, Truth]:
    """Cards of the virtual bench with the true weights, and what its car really is."""
    folder, setup = tmp_path_factory.mktemp("pushed"), SETUPS[1]
    truth = draw_truth(setup, np.random.default_rng(6))
    typed = {"typed.weights_g": [round(float(g), 1) for g in truth.corner_g], "typed.weights_resolution_g": 0.1}
    card = bench.write_cards(folder, replace(setup, test=dict(setup.test) | typed), (50.0,))[0]
    return read_set(card), truth


def tracked(moved: PushTruth) -> KeptTrack:
    """The virtual push as a camera would have followed it: 30 pictures a second, 0.03 mm."""
    time = np.arange(moved.time[0], moved.time[-1], 1 / 30)
    pose = np.stack([np.interp(time, moved.time, column) for column in moved.pose.T], axis=-1)
    noise = np.array([3e-5, 3e-5, 1.5e-4])
    return KeptTrack(
        time=time,
        pose=pose + noise * np.random.default_rng(3).standard_normal(pose.shape),
        covariance=np.tile(np.diag(noise**2), (len(time), 1, 1)),
        repeating=np.zeros((3, 3)),
        shared=np.zeros((0, len(time), 3)),
        shared_names=(),
    )


@dataclass(frozen=True)
class Pushed:
    """The clip measured and judged once, with the force beside it."""

    cards: CardSet
    log: BenchLog
    measurement: Measurement
    weighing: Weighing
    answer: PushAnswer
    found: PushForce

    def force(self, file: Path | None = None, cards: CardSet | None = None) -> PushForce:
        """What another force, or another card, makes of the same push."""
        own = beside(self.measurement.clip)
        made = self.measurement
        return force_of_push(cards or self.cards, self.weighing, made, self.answer, file or own)


@pytest.fixture(scope="module")
def pushed(filmed: tuple[CardSet, Truth], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Pushed]:
    cards, truth = filmed
    clip = cards.folder / cards.test.clip
    clip.write_bytes(b"no pictures: the poses are the simulated ones")
    moved = simulate_push(truth.pushed, bench.virtual_finger(cards, truth), start=np.array([0.2, -0.1, 0.4]))
    assert cards.bench.force is not None
    record_virtual_force(beside(clip), cards.bench.force, moved, np.random.default_rng(5))
    track = tracked(moved)
    with BenchLog(tmp_path_factory.mktemp("log") / "log") as log:
        pushes = pushes_in(track, cards).pushes
        measurement = Measurement(
            track=track,  # type: ignore[arg-type]
            pushes=pushes,
            record=measured(log, cards, *pushes, clip=clip, track=track),
            clip=clip,
            floor=floor_layout(cards.bench),
        )
        weighing = weigh_typed(cards, log)
        answer = answer_push(cards, pushes[0], weighing, track=track)
        found = force_of_push(cards, weighing, measurement, answer, beside(clip))
        write_force(log, cards, found, measurement=measurement, weighing=weighing)
        yield Pushed(cards, log, measurement, weighing, answer, found)


def with_cell(cards: CardSet, **changed: object) -> CardSet:
    """The same cards with another cell on the bench card."""
    assert cards.bench.force is not None
    cell = changed_struct(cards.bench.force, **changed)
    return replace(cards, bench=changed_struct(cards.bench, force=cell))


def test_the_force_of_a_push_tells_the_grip_that_the_virtual_tyres_have(
    filmed: tuple[CardSet, Truth], pushed: Pushed
) -> None:
    result, car = pushed.found.result, filmed[1].pushed
    held = car.grip * car.loads
    true_level = held.sum() / car.loads.sum()
    assert abs(math.log(result.level / true_level)) < 1.96 * result.level_u < 0.05
    true_axles = held[:2].sum() / car.loads[:2].sum(), held[2:].sum() / car.loads[2:].sum()
    assert abs(math.log(result.front / true_axles[0])) < 2.5 * result.front_u
    assert abs(math.log(result.rear / true_axles[1])) < 2.5 * result.rear_u
    assert true_axles[0] / true_axles[1] > 1.1  # the case tells front from rear
    # one balance point, two ways: the solver's axles, and the front share of grip over that of the weight
    assert pushed.found.ratio is not None
    ratio, ratio_u = pushed.found.ratio
    assert ratio == pytest.approx(result.front / result.rear, rel=1e-6)
    share = pushed.found.inputs.balance_pct / 100.0
    assert ratio_u == pytest.approx(0.01 * pushed.found.inputs.balance_u_pct * (1 / share + 1 / (1 - share)))
    cell = pushed.cards.bench.force
    assert cell is not None
    assert result.shared["load cell of the finger"] == pytest.approx(cell.counts_per_n_u / cell.counts_per_n, rel=0.05)
    # the recording began between 1.3 and 1.7 s before the clip, on the board's clock and the file's own
    assert 1.2 < result.offset_s < 1.85
    assert f"grip {result.level:.2f} ± " in pushed.found.sentence
    assert f"(front {result.front:.2f} ± " in pushed.found.sentence


def test_force_and_grip_are_kept_and_a_push_counts_once(pushed: Pushed) -> None:
    cards, log = pushed.cards, pushed.log
    (kept,) = log.records(kind=PUSH_FORCE)
    assert kept.result == pushed.found.result
    level, ratio = log.records(kind=GRIP)
    assert (level.result.quantity, ratio.result.quantity) == ("mean", "ratio")
    assert level.result.value == kept.result.level
    assert level.result.relative_u == kept.result.own_u > 1e-4
    assert level.inputs.direction == ratio.inputs.direction == "across"
    assert kept.id in level.parents
    # measured again: still one push
    write_force(log, cards, pushed.force(), measurement=pushed.measurement, weighing=pushed.weighing)
    found = combined_grip(cards, log).estimate
    assert found.count == 2
    assert found.ratio_measured
    assert found.level_measured
    assert found.level_u > 0.15  # one push alone says little of these tyres: pushes scatter
    assert 0.9 * kept.result.level < math.sqrt(found.front * found.rear) < 1.1 * kept.result.level


def test_one_recording_is_the_force_of_one_clip(pushed: Pushed, tmp_path: Path) -> None:
    """The same push filmed anew, with yesterday's force beside it: durations fit, so only the log can tell."""
    shutil.copytree(pushed.log.folder, tmp_path / "log")
    other, file = tmp_path / "other.avi", beside(pushed.measurement.clip)
    other.write_bytes(b"another clip")
    with BenchLog(tmp_path / "log") as log:
        again = replace(pushed.measurement, record=measured(log, pushed.cards, *pushed.measurement.pushes, clip=other))
        refuse_other_clip(log, file, pushed.measurement)
        with pytest.raises(InputError, match=r"stands in record .* as that of another clip"):
            refuse_other_clip(log, file, again)
        for record in log.records(kind=PUSH_FORCE):
            put_aside(log, str(record.number), "force of another push")
        refuse_other_clip(log, file, again)


def test_a_push_that_was_set_aside_tells_no_grip(pushed: Pushed, tmp_path: Path) -> None:
    shutil.copytree(pushed.log.folder, tmp_path / "log")
    with BenchLog(tmp_path / "log") as log:
        assert combined_grip(pushed.cards, log).estimate.level_measured
        put_aside(log, str(pushed.measurement.record.number), "the finger slipped")
        assert combined_grip(pushed.cards, log).estimate.count == 0


def test_a_force_on_record_comes_out_the_same_again(pushed: Pushed) -> None:
    again = recalculate(pushed.log)
    assert not [one for one in again.differing if one.kind in (PUSH_FORCE.name, PUSH.name)]
    kept = next(iter(pushed.log.records(kind=PUSH_FORCE)))
    assert kept.number not in again.not_computed


def test_a_recording_that_cannot_be_used_leaves_the_push_as_it_is(pushed: Pushed, tmp_path: Path) -> None:
    (tmp_path / "no.txt").write_text("nothing", encoding="utf-8")
    file = tmp_path / "no.txt"
    found, why = force_beside_clip(
        pushed.cards, pushed.log, pushed.weighing, pushed.measurement, pushed.answer, file, 0
    )
    assert found is None
    assert "is not recorded pad traffic" in str(why)


def changed_recording(original: Path, to: Path, counts: "dict[str, float]", *, board: str = "") -> Path:
    """The same recording, every force line written anew: count * gain + zero + late (from 1 s after the middle on)."""
    recorded = read_force(original)
    middle = 0.5 * (recorded.time[0] + recorded.time[-1])
    with TrafficRecorder(to, port="made up", now=0.0) as recorder:
        name = board or BOARD
        recorder.tap(frame(f"PB1 ID board={name} fw=1.1.0 ch=4 rate=80 run=1 boot=power force=1"), 0.0)
        for seq, (when, count) in enumerate(zip(recorded.time, recorded.counts, strict=True)):
            value = round(count * counts.get("gain", 1.0) + counts.get("zero", 0.0))
            value += round(counts.get("late", 0.0)) if when > middle else 0
            stopped = counts.get("stop", math.inf)
            flags = "0010" if value >= stopped else "0000"
            recorder.tap(frame(f"PB1 F {seq} {1000 * when:.0f} {min(value, int(min(stopped, 8e6)))} {flags}"), when)
    return to


@pytest.mark.parametrize(
    ("counts", "board", "said"),
    [
        ({"gain": -1.0, "zero": 2 * ZERO_COUNTS}, "", "reads a pull"),
        ({"zero": 2.5 * COUNTS_PER_N}, "", r"reads \+2\.5 N before the push"),
        ({"late": 1.2 * COUNTS_PER_N}, "", "does not go back to zero"),
        ({"stop": ZERO_COUNTS + 9 * COUNTS_PER_N}, "", "stood at its stop"),
        ({}, "pads9", 'from the board "pads9", the cell was calibrated on "virtual5"'),
        ({"gain": 0.08}, "", "cannot be"),
    ],
)
def test_a_force_that_cannot_be_trusted_is_refused(
    pushed: Pushed, tmp_path: Path, counts: dict[str, float], board: str, said: str
) -> None:
    file = changed_recording(beside(pushed.measurement.clip), tmp_path / "other.force.txt", counts, board=board)
    card = with_cell(pushed.cards, zero_counts=None) if "gain" in counts else pushed.cards
    with pytest.raises((BenchError, AnalysisError), match=said):
        pushed.force(file, card)


def test_what_is_handed_on_and_what_is_kept_of_a_force(pushed: Pushed, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every field, with a plateau and a grip made by hand in which no two figures are alike."""
    held = Plateau(
        force=9.4, u=0.2, station=0.13, turn=0.15, way=0.031, peak=11.0, parts=(("noise", 0.1), ("way", 0.17))
    )
    grip = GripByForce(
        level=0.8,
        relative_u=0.05,
        own_u=0.02,
        shared={"cell": 0.03},
        front=0.9,
        front_u=0.06,
        rear=0.7,
        rear_u=0.09,
        whole=12.0,
        share=0.78,
        front_weight=0.55,
    )
    given: list[Any] = []

    def taken(trace: ForceTrace, press: Press, way: FingerWay, match: Match) -> Plateau:
        given.extend([trace, press, way, match])
        return held

    def told(car: CarState, push: PushState, pressed: Pressed, **more: Any) -> GripByForce:
        given.extend([push, pressed, more])
        return grip

    monkeypatch.setattr(push_force, "plateau", taken)
    monkeypatch.setattr(push_force, "grip_by_force", told)
    cell = {"counts_per_n": 40_000.0, "counts_per_n_u": 200.0, "zero_counts": 60_000.0}
    found = pushed.force(cards=with_cell(pushed.cards, **cell))
    trace, press, way, match, push, pressed, more = given
    recorded = read_force(beside(pushed.measurement.clip))
    np.testing.assert_allclose(trace.force, np.array(recorded.counts) / 40_000.0)
    np.testing.assert_array_equal(trace.time, recorded.time)
    assert trace.step == pytest.approx(1 / 40_000.0)
    assert press == match.presses[0]
    assert len(way.advance) > 10
    assert pressed == Pressed(
        force=9.4,
        force_u=0.2,
        cell_u=pytest.approx(0.005),
        station=0.13,
        turn=0.15,
        tilt_u=pytest.approx(math.radians(pushed.cards.test.push.direction_deg_u)),
    )
    assert (push.side, push.finger_y) == (1, pytest.approx(-0.095))
    asked, balance = found.inputs, pushed.answer.balance
    wanted = {"balance_pct": asked.balance_pct, "balance_u_pct": asked.balance_u_pct, "draws": asked.draws}
    assert {name: more[name] for name in wanted} == wanted
    assert balance is not None
    assert (asked.balance_pct, asked.balance_u_pct) == (balance.pct, balance.u)
    assert (asked.push_number, asked.side, asked.balance_by, asked.board) == (1, 1, "push", BOARD)
    assert found.result == ForceResult(
        force_N=9.4,
        force_u_N=0.2,
        peak_N=11.0,
        zero_N=pytest.approx(press.zero_before - 1.5),
        parts=(ForcePart(name="noise", u_N=0.1), ForcePart(name="way", u_N=0.17)),
        offset_s=match.offset,
        offset_u_s=match.u,
        way_mm=pytest.approx(31.0),
        station_mm=pytest.approx(130.0),
        turn_deg=pytest.approx(math.degrees(0.15)),
        readings=len(recorded.time),
        level=0.8,
        level_u=0.05,
        level_interval=pytest.approx((0.8 * math.exp(-0.0979982), 0.8 * math.exp(0.0979982))),
        own_u=0.02,
        shared={"cell": 0.03},
        front=0.9,
        front_u=0.06,
        rear=0.7,
        rear_u=0.09,
        whole_N=12.0,
        share=0.78,
        front_weight=0.55,
        # the card says 0.96 × 0.55 + 0.8 × 0.45 = 0.888: ln 0.8 / 0.888 is 0.104, and 2.5 × √(0.05² + 0.1²) is 0.28
        warnings=(),
    )


def test_counts_per_newton_of_another_cell_contradict_the_measured_grip_of_the_card(pushed: Pushed) -> None:
    """A cell of half the capacity gives twice the counts for a newton: grip doubles, and the card's was measured."""
    other = with_cell(pushed.cards, counts_per_n=0.5 * COUNTS_PER_N, zero_counts=None)
    assert any(
        "is this the cell that was calibrated" in warning for warning in pushed.force(cards=other).result.warnings
    )
    assert not pushed.force().result.warnings


def test_no_cell_on_the_bench_card_is_said(pushed: Pushed) -> None:
    cards = replace(pushed.cards, bench=changed_struct(pushed.cards.bench, force=None))
    with pytest.raises(InputError, match=r"pads calibrate TEST\.toml --finger"):
        pushed.force(cards=cards)


class Finger:
    """A cell on a virtual board with a mass on it. per_n: counts a newton; hung masses pull."""

    def __init__(self, per_n: float, *, hung: bool = False) -> None:
        self.per_n, self.sign, self.mass_g, self.wrong = per_n, -1.0 if hung else 1.0, 0.0, 1.0

    def counts(self, moment: float) -> float:
        tremble = 30.0 * math.sin(977.0 * moment)
        return -4300.0 + self.sign * self.per_n * self.mass_g / NEWTON_G + tremble

    def lay(self, step: Step) -> None:
        self.mass_g = step.mass_g * self.wrong


@pytest.mark.parametrize(("per_n", "hung"), [(43_000.0, False), (-18_500.0, True)])
def test_a_finger_is_calibrated_with_known_masses(
    filmed: tuple[CardSet, Truth], tmp_path: Path, per_n: float, hung: bool
) -> None:
    finger = Finger(per_n, hung=hung)
    cards = filmed[0]
    with (
        VirtualPads(seed=2, rate=80, time_factor=12.0, finger=finger.counts) as pads,
        BenchLog(tmp_path / "log") as log,
    ):
        checks = CheckMasses(masses_g=[500.0, 1200.0], mass_u_g=1.0, cycles=1)
        record = calibrate_finger(cards.bench, log, checks, ask=finger.lay, hung=hung, port=pads.url)
    found = record.result
    assert found.counts_per_n == pytest.approx(per_n, rel=1e-3)
    assert found.zero_counts == pytest.approx(-4300.0, abs=40.0)
    # a mass wrong by 1 g in 1200, and what a cell keeps of its counts: 0.2 %
    assert found.counts_per_n_u / abs(per_n) == pytest.approx(math.hypot(1.0 / 1200.0, 0.002), rel=0.25)
    assert found.heaviest_n == pytest.approx(1200.0 / NEWTON_G)
    keys = cell_keys(record, cards.bench, port=pads.url)
    assert keys["force.board"] == "virtual4"
    assert "force.port" not in keys


def test_local_gravity_makes_a_newton_of_a_gram() -> None:
    run, counts = [0.0, 1000.0, 0.0, 1000.0], [0.0, 42_000.0, 0.0, 42_000.0]
    usual, light = (fitted_finger(run, counts, 0.1, hung=False, gravity=g).counts_per_n for g in (9.80665, 9.7803))
    assert usual == pytest.approx(42_000.0 / 9.80665)
    assert light / usual == pytest.approx(9.80665 / 9.7803)


def test_masses_that_are_hardly_known_make_a_newton_hardly_known() -> None:
    run, counts = [0.0, 500.0, 1000.0, 500.0, 0.0], [0.0, 21_000.0, 42_000.0, 21_000.0, 0.0]
    sure, unsure = (fitted_finger(run, counts, u, hung=False, gravity=9.80665) for u in (0.01, 30.0))
    assert sure.counts_per_n_u / sure.counts_per_n < 0.003
    # the same 30 g too many in every 500 to 1000: at least 30 of the heaviest, at most of the lightest
    assert 0.03 < unsure.counts_per_n_u / unsure.counts_per_n < 0.06


def test_a_mass_that_rubbed_is_noticed() -> None:
    with pytest.raises(InputError, match="off the line"):
        fitted_finger(
            [0.0, 500.0, 1000.0, 500.0, 0.0], [0.0, 21_000.0, 42_000.0, 23_500.0, 0.0], 0.1, hung=False, gravity=9.8
        )


def test_a_board_without_the_cell_says_so(tmp_path: Path) -> None:
    with (
        VirtualPads(seed=2, time_factor=12.0) as pads,
        pytest.raises(BenchError, match="has no load cell on the finger"),
        force_recorded(pads.url, tmp_path / "a.force.txt"),
    ):
        pass


def test_what_is_recorded_from_a_board_is_read_again_on_the_hosts_clock(tmp_path: Path) -> None:
    file, begun = tmp_path / "a.force.txt", time.monotonic()
    with (
        VirtualPads(seed=2, rate=80, finger=lambda t: 1000.0 + 100.0 * t) as pads,
        force_recorded(pads.url, file),
    ):
        time.sleep(0.6)
    recorded = read_force(file)
    assert recorded.host
    assert recorded.board == "virtual4"
    assert begun < recorded.time[0] < recorded.time[-1] < time.monotonic()
    assert len(recorded.time) > 20
    assert np.polyfit(recorded.time, recorded.counts, 1)[0] == pytest.approx(100.0, rel=0.03)


def test_a_recording_without_force_or_of_a_board_that_began_anew_is_refused(tmp_path: Path) -> None:
    def written(*lines: str) -> Path:
        file = tmp_path / f"{len(lines)}.txt"
        with TrafficRecorder(file, port="made up", now=0.0) as recorder:
            for number, line in enumerate(lines):
                recorder.tap(frame(line), 0.1 * number, TrafficKind.CAME)
        return file

    with pytest.raises(InputError, match="no force in it"):
        read_force(written("PB1 4 1000 1 2 3 4 0000"))
    with pytest.raises(InputError, match="began anew"):
        read_force(written("PB1 F 7 900 5 0000", "PB1 F 8 1000 5 0000", "PB1 F 0 20 5 0000"))


def test_the_port_of_the_finger(filmed: tuple[CardSet, Truth]) -> None:
    virtual = filmed[0].bench
    with pytest.raises(InputError, match="no port is named"):
        finger_port(virtual)
    wired = changed_struct(virtual, pads=changed_struct(virtual.pads, port="/dev/pads"))
    assert finger_port(wired) == "/dev/pads"
    assert finger_port(with_cell(replace(filmed[0], bench=wired), port="/dev/finger").bench) == "/dev/finger"
    scales = changed_struct(virtual, force=None, pads=changed_struct(virtual.pads, port="/dev/x", line_pattern="<c1>"))
    with pytest.raises(InputError, match="do not speak the protocol"):
        finger_port(scales)
    assert finger_port(scales, "/dev/finger") == "/dev/finger"
