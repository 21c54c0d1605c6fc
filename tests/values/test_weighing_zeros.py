"""Which zeros, which lines and which clock a weighing goes by; which pad's limit holds for which pad. All by hand."""

import re
import shutil
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.values.pads_acted import (
    BEND,
    CAR,
    EMPTY,
    GAIN,
    OFFSET,
    PAD_UNDER,
    PAD_WHEELS,
    STEP_MS,
    WHEELS,
    ActedPads,
    doubts,
    hurried,
    later,
    on_pads,
    pivotbench,
    records,
    truth,
    watch_live,
    write_cards,
)

NEAR_G = 2.5
"""What hysteresis makes of the fitted curves, at most."""
CAR_G = [CAR[wheel] for wheel in WHEELS]
SETTLING = 0x0400


@pytest.fixture
def log(tmp_path: Path, calibrated: Path) -> Path:
    """A log of its own with the calibration in it."""
    return Path(shutil.copytree(calibrated, tmp_path / "log"))


@pytest.fixture
def test_card(tmp_path: Path) -> Path:
    return write_cards(tmp_path)


def moved(shift: list[int], counts: list[int] = EMPTY) -> list[int]:
    return [count + more for count, more in zip(counts, shift, strict=True)]


def test_several_zeros_tell_the_drift_and_the_last_one_counts(log: Path, test_card: Path) -> None:
    steps = [[0, 0, 0, 0], [4000, -9000, 100, 20_000], [5000, -6000, 0, 30_000]]  # counts, pads 1 to 4
    times, said = [0.0, 400.0, 1300.0], []
    with ActedPads() as pads:
        common = [test_card, "--port", pads.url, "--log", log]
        for step, at in zip(steps, times, strict=True):
            pads.lay(moved(step))
            with later(at):
                told = pivotbench("pads", "zero", *common)
                assert told.code == 0
                said.append(told.out.strip().splitlines()[-1])
        pads.lay(moved(steps[-1], on_pads(CAR)))
        with later(2300.0):
            assert pivotbench("weigh", *common, "--unattended").code == 0
    (record,), zeros = records(log, "weighing"), records(log, "zero")
    kept = [(zero["result"]["samples"], zero["number"]) for zero in zeros]
    assert said == [f"Zeroed ({samples} samples a pad). Record {number}." for samples, number in kept]
    np.testing.assert_allclose(record["result"]["corner_weights_g"], CAR_G, atol=NEAR_G)
    placing = record["inputs"]["placings"][0]
    np.testing.assert_allclose(placing["zero_counts"], moved(steps[-1]), atol=0.2)
    # mean of the squared steps per second and of twice the usual rate's square: method of moments, by hand
    at = [zero["inputs"]["at_s"] for zero in zeros]
    read = np.array([zero["result"]["counts"] for zero in zeros])
    usual = 0.02 * np.abs(GAIN)
    rate2 = sum((read[k + 1] - read[k]) ** 2 / (at[k + 1] - at[k]) for k in (0, 1)) + 2 * usual**2
    counts_u = np.sqrt(rate2 / 4 * (placing["at_s"] - at[-1]))
    np.testing.assert_allclose(placing["zero_u"], counts_u, rtol=2e-3)
    steep = np.array([GAIN[pad] + 2 * BEND[pad] * CAR[wheel] for pad, wheel in enumerate(PAD_WHEELS)])
    zero_u = np.sqrt(np.diag(doubts(record)["zero"]))
    np.testing.assert_allclose(zero_u, np.abs(counts_u / steep)[list(PAD_UNDER)], rtol=0.02)
    assert int(np.argmax(zero_u)) == 2  # pad 4, under RL, has wandered most


def test_the_noise_of_a_zero_belongs_to_its_pad(log: Path, test_card: Path) -> None:
    swings = [100, 1000, 25, 1200]  # counts, pads 1 to 4
    with ActedPads() as pads:
        common = [test_card, "--port", pads.url, "--log", log]
        pads.dither = swings
        told = pivotbench("pads", "zero", *common, "--json").result
        pads.dither = [1, 1, 1, 1]
        pads.lay(on_pads(CAR))
        assert pivotbench("weigh", *common, "--unattended").code == 0
    n = told["samples"]
    counts_u = np.sqrt((2.5 * np.array(swings) ** 2 * n / (n - 2) + 1 / 12) / n)
    np.testing.assert_allclose(told["u"], counts_u, rtol=0.03)
    np.testing.assert_allclose(told["noise"], np.array(swings) * 2.5**0.5, rtol=0.05)
    (record,) = records(log, "weighing")
    placing = record["inputs"]["placings"][0]
    since = placing["at_s"] - records(log, "zero")[0]["inputs"]["at_s"]
    walked = 0.02 * np.abs(GAIN) * np.sqrt(since)
    np.testing.assert_allclose(placing["zero_u"], np.hypot(counts_u, walked), rtol=0.03)
    steep = np.array([GAIN[pad] + 2 * BEND[pad] * CAR[wheel] for pad, wheel in enumerate(PAD_WHEELS)])
    wanted = np.abs(np.hypot(counts_u, walked) / steep)[list(PAD_UNDER)]
    np.testing.assert_allclose(np.sqrt(np.diag(doubts(record)["zero"])), wanted, rtol=0.05)


def test_pads_that_wandered_too_long_ask_for_more_weighings(log: Path, test_card: Path) -> None:
    with ActedPads() as pads:
        common = [test_card, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        pads.lay(on_pads(CAR))
        with later(40_000.0):  # 0.02 g × 200
            assert pivotbench("weigh", *common, "--unattended").code == 0
    (record,) = records(log, "weighing")
    parts = {name: np.diag(one) for name, one in doubts(record).items()}
    # 4 g of wandering in first slopes, in those of the bent pad under 700 g some more: the worst pad is told, 95 %
    steep = np.array([GAIN[pad] + 2 * BEND[pad] * CAR[wheel] for pad, wheel in enumerate(PAD_WHEELS)])
    zero_g = np.abs(4.0 * np.array(GAIN) / steep)[list(PAD_UNDER)]
    each = 1.96 * np.sqrt(zero_g**2 + parts["pads"] + parts["curves"])
    worst = float(each.max())
    assert 1.05 * np.sqrt(np.mean(each**2)) < worst < 1.2 * np.sqrt(np.mean(each**2))  # not a middling one
    (text,) = [one for one in record["result"]["warnings"] if "One weighing" in one]
    said = float(text.split("may be ")[1].split(" g off")[0])
    assert said == pytest.approx(worst, abs=0.07)


def test_only_the_last_eight_zeros_are_used(log: Path, test_card: Path) -> None:
    with ActedPads() as pads:
        common = [test_card, "--port", pads.url, "--log", log]
        for number in range(10):
            with later(10.0 * number):
                assert pivotbench("pads", "zero", *common).code == 0
        pads.lay(on_pads(CAR))
        with later(100.0):
            assert pivotbench("weigh", *common, "--unattended").code == 0
    (record,), (calibration,) = records(log, "weighing"), records(log, "calibration")
    assert record["parents"] == {calibration["id"], *(zero["id"] for zero in records(log, "zero")[-8:])}


def test_a_zero_from_before_the_calibration_is_no_zero(log: Path, test_card: Path) -> None:
    far = [40_000, 50_000, -25_000, 80_000]  # the pads were bent straight in between
    steeper = 1.1

    def do(text: str) -> None:
        mass, pad = re.findall(r"(?:Lay ([\d.]+) g on|Take everything off) pad (\d)", text)[-1]
        counts = list(EMPTY)
        counts[int(pad) - 1] += round(steeper * GAIN[int(pad) - 1] * float(mass or 0.0))
        pads.lay(counts)

    with ActedPads(moved(far)) as pads:
        common = [test_card, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        told = pivotbench("pads", "calibrate", *common, "--mass", 800, "--mass", 300, "--cycles", 2, hands=do)
        assert told.code == 0, told.err
        car = [round(OFFSET[pad] + steeper * GAIN[pad] * CAR[wheel]) for pad, wheel in enumerate(PAD_WHEELS)]
        pads.lay(car)
        refused = pivotbench("weigh", *common, "--unattended")
        assert refused.code == 2
        assert "zeroed" in refused.err
        pads.lay(EMPTY)
        assert pivotbench("pads", "zero", *common).code == 0
        pads.lay(car)
        assert pivotbench("weigh", *common, "--unattended").code == 0
    (record,), newest = records(log, "weighing"), records(log, "calibration")[-1]
    assert record["parents"] == {newest["id"], records(log, "zero")[-1]["id"]}
    np.testing.assert_allclose(record["result"]["corner_weights_g"], CAR_G, atol=0.2)  # by the newest calibration
    # the zero of before would have made the pads wander by thousands of counts a second
    assert max(record["inputs"]["placings"][0]["zero_u"]) < 100.0
    assert newest["inputs"]["mass_u_g"] == 0.1  # as --help says
    raw = newest["inputs"]["pads"][2]
    assert raw["mass_g"] == [0.0, 300.0, 800.0, 300.0, 0.0] * 2
    assert raw["cycle"] == [0.0] * 5 + [1.0] * 5
    assert raw["rising"] == [True, True, True, False, False] * 2


@pytest.mark.parametrize("job", ["pads zero", "weigh", "pads calibrate"])
def test_lines_while_the_converters_settle_are_not_used(job: str, log: Path, test_card: Path) -> None:
    wrong = moved([9000, 8000, 7000, 6000])
    with ActedPads() as pads:
        common = [test_card, "--port", pads.url, "--log", log]
        if job == "pads calibrate":

            def do(text: str) -> None:
                mass, pad = re.findall(r"(?:Lay ([\d.]+) g on|Take everything off) pad (\d)", text)[-1]
                counts = list(EMPTY)
                counts[int(pad) - 1] = truth(int(pad) - 1, float(mass or 0.0))
                pads.lay(counts)
                pads.first_send(wrong, lines=90, flags=SETTLING)

            assert pivotbench(*job.split(), *common, "--mass", 300, "--mass", 800, "--cycles", 1, hands=do).code == 0
            raw = records(log, job_kind(job))[-1]["inputs"]["pads"]
            for pad in range(4):
                masses = (0, 300, 800, 300, 0)
                np.testing.assert_allclose(raw[pad]["counts"], [truth(pad, mass) for mass in masses], atol=0.2)
            return
        if job == "weigh":
            assert pivotbench("pads", "zero", *common).code == 0
            pads.lay(on_pads(CAR))
        # asked when the port opens, and when the job begins: both answers are followed by lines that mean nothing
        pads.first_send(wrong, lines=90, flags=SETTLING, questions=2)
        told = pivotbench(*job.split(), *common, *(["--unattended"] if job == "weigh" else []))
        assert told.code == 0, told.err
    for record in records(log, job_kind(job)):
        if job == "pads zero":
            np.testing.assert_allclose(record["result"]["counts"], EMPTY, atol=0.2)
        else:
            np.testing.assert_allclose(record["inputs"]["placings"][0]["counts"], on_pads(CAR), atol=0.2)


def job_kind(job: str) -> str:
    return {"pads zero": "zero", "weigh": "weighing", "pads calibrate": "calibration"}[job]


def pattern_line(number: int, counts: list[int]) -> bytes:
    return f"t={400 + STEP_MS * number} n={number % 65536} {' '.join(map(str, counts))}\n".encode()


def test_lines_before_the_board_can_be_trusted_are_not_used(log: Path, tmp_path: Path) -> None:
    # pads of another make cannot be asked who they are: three seconds from opening nothing counts
    test = write_cards(tmp_path, bench={"pads.line_pattern": "t=<ms> n=<seq> <c1> <c2> <c3> <c4>"})
    started = []

    def waking(number: int, counts: list[int]) -> bytes:
        """Wrong counts until it has been listened to for a second."""
        import time

        started.append(time.monotonic())
        early = time.monotonic() - started[0] < 1.5
        return pattern_line(number, [count + 5000 for count in counts] if early else counts)

    with ActedPads(form=waking) as pads:
        started.clear()
        told = pivotbench("pads", "zero", test, "--port", pads.url, "--log", log, "--json")
    assert told.code == 0, told.err
    np.testing.assert_allclose(told.result["counts"], EMPTY, atol=0.3)


def test_the_board_clock_says_how_long_the_window_is(log: Path, test_card: Path) -> None:
    with ActedPads() as pads:
        common = [test_card, "--port", pads.url, "--log", log]
        told = pivotbench("pads", "zero", *common, "--json")
        pads.lay(on_pads(CAR))
        assert pivotbench("weigh", *common, "--unattended").code == 0
    placing = records(log, "weighing")[-1]["inputs"]["placings"][0]
    # two seconds at a line every 25 ms: 81 at most, 65 at least for 1.6 s; the wall's clock would not see so many
    for samples in (told.result["samples"], placing["samples"]):
        assert 60 <= samples <= 81, samples


def test_a_heavy_corner_is_judged_by_its_own_pad(log: Path, test_card: Path) -> None:
    heavy = CAR | {"RL": 1900}  # on pad 4, whose counts go twice as far as those of any other
    with ActedPads() as pads:
        common = [test_card, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        pads.lay(on_pads(heavy))
        told = pivotbench("weigh", *common, "--unattended", "--json")
        assert told.code == 0, told.err
        assert told.result["corner_weights_g"][2] == pytest.approx(1900, abs=8)
        assert [text for text in told.result["warnings"] if "beyond" in text] == [
            f"pad 4 (RL): {told.result['corner_weights_g'][2]:.0f} g is beyond its heaviest check mass, 900 g"
        ]
        pads.lay(on_pads(CAR | {"RR": 2100}))  # 842 000 counts: more than 2000 g on pad 1 alone
        with hurried():
            refused = pivotbench("weigh", *common, "--unattended")
        assert refused.code == 1
        assert "pad 1 (RR): overload" in refused.err
        pads.lay(on_pads(CAR | {"FR": -130}))  # pulled up by more than 5 % of 2000 g
        with hurried():
            refused = pivotbench("weigh", *common, "--unattended")
        assert "pad 3 (FR): underload" in refused.err


def test_the_capacity_on_the_card_limits_masses_and_loads(log: Path, tmp_path: Path) -> None:
    test = write_cards(tmp_path, bench={"pads.capacity_g": 650})
    with ActedPads() as pads:
        common = [test, "--port", pads.url, "--log", log]
        refused = pivotbench("pads", "calibrate", *common, "--mass", 300, "--mass", 700)
        assert refused.code == 2
        assert "650 g" in refused.err


def test_four_boards_with_a_pad_each(calibrated: Path, tmp_path: Path) -> None:
    boards = [ActedPads([EMPTY[pad], 0, 0, 0], flags=0x000E, burst=1) for pad in range(4)]
    for board in boards:
        board.dither = [1, 0, 0, 0]
    log = Path(shutil.copytree(calibrated, tmp_path / "log"))
    try:
        test = write_cards(tmp_path, bench={"pads.ports": [board.url for board in boards]})
        assert pivotbench("pads", "zero", test, "--log", log).code == 0
        for board, count in zip(boards, on_pads(CAR), strict=True):
            board.lay([count, 0, 0, 0])
        told = pivotbench("weigh", test, "--log", log, "--unattended", "--json", "--calibration", 1)
    finally:
        for board in boards:
            board.close()
    assert told.code == 0, told.err
    np.testing.assert_allclose(told.result["corner_weights_g"], CAR_G, atol=NEAR_G)
    tally = records(log, "weighing")[-1]["inputs"]["tally"]
    assert tally["intact"] >= 4 * records(log, "weighing")[-1]["inputs"]["placings"][0]["samples"]


def rows_of(view: str) -> dict[str, list[str]]:
    """Name in the live view -> the numbers behind it."""
    found = {}
    for row in view.splitlines():
        parts = re.split(r"\s{2,}", row.strip())
        if len(parts) > 1:
            found[parts[0]] = parts[1:]
    return found


def live_record(log: Path) -> dict[str, list[float]]:
    return records(log, "live reading")[-1]["result"]  # type: ignore[no-any-return]


def test_live_shows_each_wheel_its_own_pad(log: Path, test_card: Path) -> None:
    with ActedPads(moved([9000, 9000, 9000, 9000])) as pads:
        assert pivotbench("pads", "zero", test_card, "--port", pads.url, "--log", log).code == 0
        pads.lay(moved([200, 300, 400, 500]))  # the pads have moved: the newer zero counts
        assert pivotbench("pads", "zero", test_card, "--port", pads.url, "--log", log).code == 0
        pads.lay(moved([200, 300, 400, 500], on_pads(CAR)))
        pads.dither = [20, 2000, 125, 800]  # times √2.5: 0.08, 6.3, 0.8 and 1.6 g on pads 1 to 4
        before = time.time()
        view = watch_live(test_card, log, pads, [("r", 0.8)])
    kept = live_record(log)
    at = records(log, "live reading")[-1]["inputs"]["at_s"]
    assert before < at < time.time()  # seconds since 1970, as of the zero beside it
    assert kept["settled"] is True  # by the board's clock: the wall's has not seen two seconds yet
    rows = rows_of(view)
    names = ("front left", "front right", "rear left", "rear right")
    noise = [2.5**0.5 * sigma for sigma in (2000 / abs(-500), 125 / 250, 800 / 800, 20 / 400)]
    for wheel, name in enumerate(names):
        swing = 1.3 * noise[wheel] + NEAR_G  # one line is shown, not a mean
        assert kept["load_g"][wheel] == pytest.approx(CAR_G[wheel], abs=swing)
        load, share, sigma = (float(word) for word in rows[name][:3])
        assert load == pytest.approx(CAR_G[wheel], abs=swing)
        assert share == pytest.approx(100 * CAR_G[wheel] / 1600, abs=0.8)
        assert sigma == pytest.approx(noise[wheel], rel=0.1, abs=0.02)
    assert kept["total_g"] == pytest.approx(1600, abs=14)
    assert float(rows["front"][0].split()[0]) == pytest.approx(62.5, abs=0.5)
    assert float(rows["left"][0].split()[0]) == pytest.approx(68.75, abs=0.5)
    assert "settled" in view.splitlines()[0]


def test_live_zeroes_the_view_only_and_freezes_it(log: Path, test_card: Path) -> None:
    more: dict[str, float] = {"FL": 720, "FR": 330, "RL": 440, "RR": 250}
    with ActedPads() as pads:
        assert pivotbench("pads", "zero", test_card, "--port", pads.url, "--log", log).code == 0
        pads.lay(on_pads(CAR))

        def heavier() -> None:
            pads.lay(on_pads(more))

        acts: list[tuple[str | Callable[[], None], float]] = [
            ("z", 0.8),
            (heavier, 0.3),
            ("r", 0.4),
            ("f", 0.3),
            ("r", 0.3),
            (lambda: pads.lay(EMPTY), 0.3),
            ("r", 0.3),
        ]
        view = watch_live(test_card, log, pads, acts)
    first, second, third = (record["result"]["load_g"] for record in records(log, "live reading"))
    np.testing.assert_allclose([first, second], [[20, 30, 40, 50]] * 2, atol=1.0)  # more than when z was pressed
    assert third == second  # frozen
    assert "FROZEN" in view
    assert len(records(log, "zero")) == 1


def test_live_names_the_wheel_whose_pad_is_missing(log: Path, test_card: Path) -> None:
    with ActedPads() as pads:
        assert pivotbench("pads", "zero", test_card, "--port", pads.url, "--log", log).code == 0
    with ActedPads([EMPTY[0], EMPTY[1], EMPTY[2], 0], flags=0x0008) as pads:  # pad 4, under RL
        pads.dither = [1, 1, 1, 0]
        view = watch_live(test_card, log, pads, [("x", 0.8)])
    assert "rear left: missing" in view
    assert "front left:" not in view


def test_plugs_that_were_exchanged_are_told_before_a_zero_hides_it(log: Path, test_card: Path) -> None:
    """Pads 2 and 4 after the calibration: pad 2 would be FL with the curve of another cell, and RL's weight."""
    with ActedPads([EMPTY[0], EMPTY[3], EMPTY[2], EMPTY[1]]) as pads:
        told = pivotbench("pads", "zero", test_card, "--port", pads.url, "--log", log)
    assert told.code == 2
    assert "pad 2 shows the empty pad 4, pad 4 shows the empty pad 2" in told.err
    assert "Put the plugs back" in told.err
    assert records(log, "zero") == []


def test_a_light_car_after_heavy_trays_were_taken_off_is_a_car(log: Path, test_card: Path) -> None:
    """Trays of 450 g stood on every pad at the first zero, none at the second: 1600 g of car are no 200 g too few."""
    with ActedPads([truth(pad, 450.0) for pad in range(4)]) as pads:
        common = [test_card, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common, "--tray").code == 0
        pads.lay(EMPTY)
        assert pivotbench("pads", "zero", *common, "--tray").code == 0
        pads.lay(on_pads(CAR))
        told = pivotbench("weigh", *common, "--unattended", "--json")
    assert told.result["total_g"]["value"] == pytest.approx(1600.0, abs=3.0)
