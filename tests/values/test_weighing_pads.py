"""Counts become loads, wheels, doubts and a centre of gravity: each figure beside one computed by hand.

The sources are elementary statics, numpy's least squares for the calibration, and the law of propagation (GUM,
JCGM 100:2008). The pads stand in the order RR, FL, FR, RL, the car is heavy at one corner, and every pad has another
slope, offset, scatter and noise.
"""

import os
import re
import shutil
import termios
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rig.cards.read import read_set
from rig.jobs.weighing.pads import bench_pads
from rig.log.store import BenchLog
from rig.pads.frames import PadFrame
from rig.pads.merge import TimeMerger
from tests.values.pads_acted import (
    BEND,
    CAR,
    EMPTY,
    GAIN,
    HYSTERESIS_G,
    MASS_U_G,
    MASSES,
    PAD_UNDER,
    PAD_WHEELS,
    WHEELS,
    ActedPads,
    Told,
    doubts,
    later,
    on_pads,
    pivotbench,
    records,
    truth,
    write_cards,
)

AWAY_S = 3600.0
RUN = [0, *MASSES, *reversed((0, *MASSES[:-1]))]
ZERO_SHIFT = (300, -700, 1100, 1900)  # counts by which the zeros have moved since the calibration
NOISE = (4, 500, 8, 16)  # counts, pads 1 to 4 while the car is weighed


@dataclass(frozen=True)
class Weighed:
    told: Told
    record: dict[str, Any]
    zero: dict[str, Any]
    log: Path
    test: Path


@pytest.fixture(scope="module")
def weighed(tmp_path_factory: pytest.TempPathFactory, calibrated: Path) -> Weighed:
    """Zeroed, and an hour later weighed once."""
    folder = tmp_path_factory.mktemp("weighed")
    log, test = folder / "log", write_cards(folder, car={"geometry.wheelbase_mm_u": 4.0})
    shutil.copytree(calibrated, log)
    with ActedPads([count + shift for count, shift in zip(EMPTY, ZERO_SHIFT, strict=True)]) as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common, "--json").code == 0
        pads.lay([count + shift for count, shift in zip(on_pads(CAR), ZERO_SHIFT, strict=True)])
        pads.dither = list(NOISE)
        with later(AWAY_S):
            told = pivotbench("weigh", *common, "--unattended", "--json")
    assert told.code == 0, told.err
    (record,), (zero,) = records(log, "weighing"), records(log, "zero")
    return Weighed(told=told, record=record, zero=zero, log=log, test=test)


@pytest.mark.parametrize(("baud", "told"), [(57_600, termios.B57600), (19_200, termios.B19200)])
def test_the_port_is_opened_at_the_rate_on_the_card(tmp_path: Path, baud: int, told: int) -> None:
    """As the system's own terminal settings say while the pads are read."""
    bench = read_set(write_cards(tmp_path, bench={"pads.baud": baud})).bench
    with ActedPads() as pads, BenchLog(tmp_path / "log") as log, bench_pads(bench, log, port=pads.url):
        line = os.open(pads.url, os.O_RDONLY | os.O_NOCTTY)
        rates = termios.tcgetattr(line)[4:6]  # in, out
        os.close(line)
    assert rates == [told, told]


@dataclass(frozen=True)
class Fitted:
    """A calibration by numpy's polyfit. coefficients: b0, b1 (b2).  covariance: of them, from the scatter."""

    coefficients: np.ndarray
    covariance: np.ndarray
    design: np.ndarray
    scatter: float

    def slope(self, mass: float) -> float:
        return float(sum(k * b * mass ** (k - 1) for k, b in enumerate(self.coefficients) if k))


def fitted(pad: int) -> Fitted:
    """What the calibration run says of a pad, by numpy's polyfit."""
    mass = np.array(RUN, dtype=float)
    rising = np.array([1, 1, 1, 1, -1, -1, -1])
    counts = np.array([truth(pad, m, HYSTERESIS_G[pad] * up) for m, up in zip(mass, rising, strict=True)])
    degree = 2 if BEND[pad] else 1
    found = np.polyfit(mass, counts, degree)[::-1]
    design = np.vander(mass, degree + 1, increasing=True)
    left = counts - design @ found
    scatter = float(np.sqrt(left @ left / (len(mass) - degree - 1)))
    return Fitted(found, scatter**2 * np.linalg.inv(design.T @ design), design, scatter)


def pad_load(pad: int) -> float:
    """g on a pad by its fitted curve, found by bisection; the fresh zero takes the place of b0."""
    fit = fitted(pad)
    target = on_pads(CAR)[pad] - EMPTY[pad]
    low, high = 0.0, 1500.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        reached = sum(b * middle**k for k, b in enumerate(fit.coefficients) if k)
        low, high = (middle, high) if abs(reached) < abs(target) else (low, middle)
    return low


PAD_LOAD = [pad_load(pad) for pad in range(4)]
LOAD = np.array([PAD_LOAD[pad] for pad in PAD_UNDER])


def test_the_calibration_in_the_log_is_that_of_least_squares(calibrated: Path) -> None:
    (record,) = records(calibrated, "calibration")
    for pad, stored in enumerate(record["result"]["pads"]):
        fit = fitted(pad)
        assert stored["model"] == ("quadratic" if BEND[pad] else "linear")
        np.testing.assert_allclose(stored["coefficients"], fit.coefficients, rtol=1e-4, atol=0.1)
        np.testing.assert_allclose(np.diag(stored["covariance"]), np.diag(fit.covariance), rtol=0.01)
        assert (stored["capacity_g"], stored["lightest_g"], stored["heaviest_g"]) == (2000.0, 0.0, 900.0)
        assert stored["temperature_c"] == 21.5
        assert stored["gravity"] == pytest.approx(9.80665, abs=1e-12)  # no place on the card: the standard value
        assert stored["masses"] == "200 g, 500 g, 900 g"
        assert stored["pad"] == f"pad {pad + 1} ({PAD_WHEELS[pad]})"
        raw = record["inputs"]["pads"][pad]
        assert raw["mass_g"] == RUN
        assert raw["rising"] == [True] * 4 + [False] * 3
        assert raw["cycle"] == [0.0] * 7
        assert raw["counts"][3] == pytest.approx(truth(pad, 900, HYSTERESIS_G[pad]), abs=0.1)
        assert raw["counts"][4] == pytest.approx(truth(pad, 500, -HYSTERESIS_G[pad]), abs=0.1)
    assert record["inputs"]["mass_u_g"] == MASS_U_G


def test_each_pad_goes_to_the_wheel_on_the_card(weighed: Weighed) -> None:
    got = weighed.record["result"]["corner_weights_g"]
    np.testing.assert_allclose(got, [CAR[wheel] for wheel in WHEELS], atol=2.0)  # hysteresis bends the fits a little
    np.testing.assert_allclose(got, LOAD, atol=0.05)
    assert weighed.told.result["corner_weights_g"] == got


def test_totals_shares_and_diagonals(weighed: Weighed) -> None:
    told = weighed.told.result
    fl, fr, rl, rr = LOAD
    total = fl + fr + rl + rr
    assert told["total_g"]["value"] == pytest.approx(total, abs=0.1)
    for name, part in (
        ("front_pct", fl + fr),
        ("left_pct", fl + rl),
        ("diagonal_fl_rr_pct", fl + rr),
        ("diagonal_fr_rl_pct", fr + rl),
    ):
        assert told[name]["value"] == pytest.approx(100 * part / total, abs=0.01), name
    assert told["cross_g"]["value"] == pytest.approx(fl + rr - fr - rl, abs=0.1)
    np.testing.assert_allclose(told["share_pct"], 100 * LOAD / total, atol=0.01)


def test_the_doubt_of_the_calibration_goes_to_the_right_wheels(weighed: Weighed) -> None:
    doubt = doubts(weighed.record)
    pads_u, curve_u, mass_u = np.zeros(4), np.zeros(4), np.zeros(4)
    for pad in range(4):
        fit, load = fitted(pad), PAD_LOAD[pad]
        pads_u[pad] = fit.scatter / abs(np.mean([fit.slope(mass) for mass in RUN]))
        powers = load ** np.arange(len(fit.coefficients))
        powers[0] = 0.0  # a fresh zero takes the place of b0
        gradient = powers / fit.slope(load)
        curve_u[pad] = np.sqrt(gradient @ fit.covariance @ gradient)
        # all masses too heavy by their doubt: the fit turns by the pseudo-inverse times the counts that means
        lifted = np.array([fit.slope(mass) * MASS_U_G * (mass > 0) for mass in RUN])
        mass_u[pad] = gradient @ (np.linalg.pinv(fit.design) @ lifted)
    order = list(PAD_UNDER)
    np.testing.assert_allclose(np.sqrt(np.diag(doubt["pads"])), pads_u[order], rtol=0.02)
    np.testing.assert_allclose(np.sqrt(np.diag(doubt["curves"])), curve_u[order], rtol=0.02)
    np.testing.assert_allclose(doubt["masses"], np.outer(mass_u, mass_u)[np.ix_(order, order)], rtol=0.02)
    for name in ("pads", "curves", "zero", "noise"):  # pads err on their own
        assert np.count_nonzero(doubt[name] - np.diag(np.diag(doubt[name]))) == 0, name


def test_the_zero_is_doubted_by_its_drift_since(weighed: Weighed) -> None:
    placing = weighed.record["inputs"]["placings"][0]
    since = placing["at_s"] - weighed.zero["inputs"]["at_s"]
    assert since == pytest.approx(AWAY_S, abs=30)
    # random walk of 0.02 g per root second, as README says of pads that nobody has watched; reading's doubt beside it
    slope = np.array([fitted(pad).slope(0.0) for pad in range(4)])
    counts_u = np.sqrt(np.array(weighed.zero["result"]["u"]) ** 2 + (0.02 * np.abs(slope)) ** 2 * since)
    np.testing.assert_allclose(placing["zero_u"], counts_u, rtol=1e-3)
    np.testing.assert_allclose(
        placing["zero_counts"], np.array(EMPTY) + np.array(ZERO_SHIFT), atol=0.1
    )  # the zero read today, not the calibration's
    steep = np.array([fitted(pad).slope(PAD_LOAD[pad]) for pad in range(4)])
    wanted = (counts_u / steep)[list(PAD_UNDER)] ** 2
    np.testing.assert_allclose(np.diag(doubts(weighed.record)["zero"]), wanted, rtol=2e-3)
    assert any("60 min of drift" in text for text in weighed.record["result"]["warnings"])


def test_the_noise_belongs_to_its_pad(weighed: Weighed) -> None:
    placing = weighed.record["inputs"]["placings"][0]
    n = placing["samples"]
    # swinging by -2, 2, -1, 1 times d: variance 2.5 d² n/(n - 2) about a line, rounding 1/12, n samples
    counts_u = np.sqrt((2.5 * np.array(NOISE) ** 2 * n / (n - 2) + 1 / 12) / n)
    np.testing.assert_allclose(placing["u"], counts_u, rtol=0.03)
    steep = np.array([fitted(pad).slope(PAD_LOAD[pad]) for pad in range(4)])
    wanted = (counts_u / steep)[list(PAD_UNDER)] ** 2
    np.testing.assert_allclose(np.diag(doubts(weighed.record)["noise"]), wanted, rtol=0.06)


def test_one_placing_scatters_as_the_bench_card_says(weighed: Weighed) -> None:
    cross = np.array([1, -1, -1, 1])
    # 2 g a corner, 96 % of the variance as a shift between the diagonals, 4 % each corner for itself
    wanted = 2.0**2 * (0.96 * np.outer(cross, cross) + 0.04 * np.eye(4))
    np.testing.assert_allclose(doubts(weighed.record)["re-seating"], wanted, rtol=1e-9)
    assert any("Placed once" in text for text in weighed.record["result"]["warnings"])
    assert set(doubts(weighed.record)) == {"re-seating", "zero", "pads", "curves", "masses", "noise"}


def test_the_doubts_add_up_to_those_told(weighed: Weighed) -> None:
    result = weighed.record["result"]
    whole = sum(doubts(weighed.record).values())
    assert result["total_g"]["u"] == pytest.approx(float(np.sqrt(np.ones(4) @ whole @ np.ones(4))), rel=1e-6)
    cross = np.array([1, -1, -1, 1])
    assert result["cross_g"]["u"] == pytest.approx(float(np.sqrt(cross @ whole @ cross)), rel=1e-6)
    for wheel, (low, high) in enumerate(result["corner_interval_g"]):
        assert 0.5 * (low + high) == pytest.approx(result["corner_weights_g"][wheel], abs=1e-6)
        # 95 %: at least the normal distribution's 1.96, at most Student's 2.78 of four degrees of freedom (tables)
        assert 1.96 <= 0.5 * (high - low) / np.sqrt(whole[wheel, wheel]) <= 2.78


def test_the_centre_of_gravity_and_its_doubt(weighed: Weighed) -> None:
    result = weighed.record["result"]
    share = LOAD / LOAD.sum()
    place = np.array([[0.25, 0.08], [0.25, -0.08], [0.0, 0.09], [0.0, -0.09]])  # m: 250, 160 and 180 mm
    x, y = share @ place
    assert result["cg_x_m"]["value"] == pytest.approx(x, abs=2e-5)
    assert result["cg_y_m"]["value"] == pytest.approx(y, abs=2e-5)
    np.testing.assert_allclose(result["cg_m"], [x, y], atol=2e-5)
    whole = sum(doubts(weighed.record).values())
    slope = (place - [x, y]) / LOAD.sum()
    # 4 mm on the wheelbase moves both front contacts at once; half of 2 and 6 mm each contact across, each on its own
    own_x = (share[0] + share[1]) ** 2 * 0.004**2
    own_y = (share[0] ** 2 + share[1] ** 2) * 0.001**2 + (share[2] ** 2 + share[3] ** 2) * 0.003**2
    assert result["cg_x_m"]["u"] == pytest.approx(np.sqrt(slope[:, 0] @ whole @ slope[:, 0] + own_x), rel=1e-3)
    assert result["cg_y_m"]["u"] == pytest.approx(np.sqrt(slope[:, 1] @ whole @ slope[:, 1] + own_y), rel=1e-3)
    assert result["cg_x_m"]["u"] > 0.0018  # by hand: 0.45 × 4 mm and a little


def test_the_record_rests_on_calibration_and_zero(weighed: Weighed) -> None:
    (calibration,) = records(weighed.log, "calibration")
    assert weighed.record["parents"] == {calibration["id"], weighed.zero["id"]}
    tally = weighed.record["inputs"]["tally"]
    assert tally["intact"] >= weighed.record["inputs"]["placings"][0]["samples"]
    assert (tally["damaged"], tally["restarts"], tally["reconnections"]) == (0, 0, 0)
    assert weighed.record["result"]["gravity_m_s2"] == pytest.approx(9.80665, abs=1e-12)


def test_it_comes_out_the_same_when_computed_again(weighed: Weighed) -> None:
    told = pivotbench("log", "recalculate", "--log", weighed.log, "--json").result
    assert told["differing"] == []
    assert told["same"] == 2  # calibration and weighing


def test_with_a_part_that_comes_on_for_the_push_it_comes_out_the_same_again(tmp_path: Path, calibrated: Path) -> None:
    """The part's place and its uncertainty are in the record; by hand: 80 g at 50 of 250 mm leave 16 g in front."""
    part = {"name": "battery", "mass_g": 80, "x_mm": 50, "y_mm": 20}
    log, test = tmp_path / "log", write_cards(tmp_path, car={"masses.parts": [part]})
    shutil.copytree(calibrated, log)
    with ActedPads(EMPTY) as pads:
        common = [test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        pads.lay(on_pads(CAR))
        assert pivotbench("weigh", *common, "--unattended").code == 0
    (record,) = records(log, "weighing")
    front, rear = (sum(record["result"]["corner_weights_g"][first : first + 2]) for first in (0, 2))
    assert front == pytest.approx(LOAD[:2].sum() + 16.0, abs=0.5)
    assert rear == pytest.approx(LOAD[2:].sum() + 64.0, abs=0.5)
    told = pivotbench("log", "recalculate", "--log", log, "--json").result
    assert (told["differing"], told["same"]) == ([], 2)


def test_the_forecast_starts_from_these_loads(weighed: Weighed) -> None:
    told = pivotbench("push", "forecast", weighed.test, "--log", weighed.log, "--json")
    assert told.code == 0, told.err
    inputs = records(weighed.log, "prediction")[-1]["inputs"]
    np.testing.assert_allclose(inputs["load_N"], LOAD * 9.80665e-3, rtol=1e-4)
    whole = sum(doubts(weighed.record).values())
    np.testing.assert_allclose(inputs["load_covariance_N2"], whole * 9.80665e-3**2, rtol=1e-9)


def test_the_words_say_the_same(weighed: Weighed) -> None:
    with ActedPads(on_pads(CAR)) as pads:
        told = pivotbench("log", "--log", weighed.log, "--kind", "weighing", "--json").result["records"][0]
        assert told["result"]["corner_weights_g"] == weighed.record["result"]["corner_weights_g"]
        text = pivotbench("weigh", weighed.test, "--port", pads.url, "--log", weighed.log, "--unattended")
    assert text.code == 0, text.err
    shifted = [
        CAR[wheel] - ZERO_SHIFT[pad] / (GAIN[pad] + 2 * BEND[pad] * CAR[wheel])
        for wheel, pad in zip(WHEELS, PAD_UNDER, strict=True)
    ]
    rows = {row[:11].strip(): row.split() for row in text.out.splitlines()}
    for name, grams in zip(("front left", "front right", "rear left", "rear right"), shifted, strict=True):
        assert float(rows[name][2]) == pytest.approx(grams, abs=2.0)
    assert "left of the middle" in text.out


def test_several_placings_show_the_scatter_themselves(weighed: Weighed, tmp_path: Path) -> None:
    moves = [
        {"FL": 6, "FR": -6, "RL": -6, "RR": 6},
        {"FL": 0, "FR": 3, "RL": 0, "RR": 0},
        {"FL": -6, "FR": 3, "RL": 6, "RR": -6},
    ]
    log = tmp_path / "log"
    shutil.copytree(weighed.log, log)
    with ActedPads() as pads:
        common = [weighed.test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        asked: list[str] = []

        def do(text: str) -> None:
            pads.lay(on_pads({wheel: CAR[wheel] + moves[len(asked)][wheel] for wheel in WHEELS}))
            asked.append(text)

        assert pivotbench("weigh", *common, "--placings", 3, "--json", hands=do).code == 0
    record = records(log, "weighing")[-1]
    off = np.array([[move[wheel] for wheel in WHEELS] for move in moves], dtype=float)
    assert len(record["inputs"]["placings"]) == 3
    np.testing.assert_allclose(record["result"]["corner_weights_g"], LOAD + off.mean(0), atol=0.3)
    off -= off.mean(0)
    # the mean of three: sample covariance (divided by two) over three
    np.testing.assert_allclose(doubts(record)["re-seating"], off.T @ off / 2 / 3, rtol=0.02, atol=0.05)
    (seat,) = [part for part in record["result"]["doubt"] if part["name"] == "re-seating"]
    assert seat["dof"] == 2.0
    assert "noise" not in doubts(record)  # repeats have it in them already
    assert "Lift the car off" in asked[1]


TURNED = {  # by hand: the pads' first places FL FR RL RR, and the wheel that stands there after the turn
    "Set the car": ("FL", "FR", "RL", "RR"),
    "Turn the car half": ("RR", "RL", "FR", "FL"),
    "Exchange the pads": ("FR", "FL", "RR", "RL"),  # the pad that was under FL is now under FR
    "Leave the pads": ("RL", "RR", "FL", "FR"),
}


SPRINGS = {
    "chassis.front.spring_n_per_mm": 3.0,
    "chassis.front.motion_ratio": 0.6,
    "chassis.front.tyre_n_per_mm": 20.0,
    "chassis.front.bar_n_per_mm": 0.5,
    "chassis.rear.spring_n_per_mm": 2.0,
    "chassis.rear.motion_ratio": 0.8,
    "chassis.rear.tyre_n_per_mm": 30.0,
    "chassis.rear.bar_n_per_mm": 0.2,
}
A = 160 / 180  # a warp loads the rear wheels by the ratio of the tracks less
# mm/N: springs at the wheel (rate × ratio²) with bars, twice for a difference, and tyres in series; both axles
SOFT_MM_PER_N = 2 / (1.08 + 2 * 0.5) + 2 / 20 + A**2 * (2 / (1.28 + 2 * 0.2) + 2 / 30)
WARP = np.array([1.0, -1.0, -A, A])


def test_uneven_pads_count_when_the_car_is_turned(weighed: Weighed, tmp_path: Path) -> None:
    """Half a turn puts every diagonal back on its places: 0.3 mm of each pad stays in the cross weight.

    By statics: a place that is h higher loads the wheels by q (q·h) / softness; independent heights. The half turn
    meets the places in another order, so that q·h is the mean of both orders: by hand from the two rows.
    """
    log = Path(shutil.copytree(weighed.log, tmp_path / "log"))
    turned = {"FL": CAR["RR"], "FR": CAR["RL"], "RL": CAR["FR"], "RR": CAR["FL"]}
    bench = {"pads.level_mm_u": 0.3}
    test = write_cards(tmp_path, car=SPRINGS, bench=bench)
    plain = write_cards(tmp_path / "plain", bench=bench)
    with ActedPads() as pads:
        common = ["--port", pads.url, "--log", log]

        def do(text: str) -> None:
            pads.lay(on_pads(turned if "half round" in text else CAR))

        assert pivotbench("pads", "zero", test, *common).code == 0
        assert pivotbench("weigh", test, *common, "--turned", "half", "--json", hands=do).code == 0
        number = records(log, "weighing")[-1]["number"]
        floor = pivotbench("pads", "level", test, "--weighing", number, "--log", log, "--json").result["floor"]
        told = pivotbench("weigh", plain, *common, "--turned", "half", "--json", hands=do)
    seen = (WARP + WARP[[3, 2, 1, 0]]) / 2  # of the heights under FL, FR, RL, RR at first
    one_way_g = WARP / SOFT_MM_PER_N / 9.80665e-3
    expected = 0.3**2 * np.outer(one_way_g, one_way_g) * (seen @ seen)
    *_, with_springs, without = records(log, "weighing")
    np.testing.assert_allclose(doubts(with_springs)["pad heights"], expected, rtol=0.02)
    # `pads level` counts the floor itself, and once: 200 g on the diagonals explained by so much of each pad's height
    cross = np.array([1.0, -1.0, -1.0, 1.0])
    u2 = sum(cross @ part @ cross for name, part in doubts(with_springs).items() if name != "pad heights")
    level_mm = np.sqrt((200 / 1.96) ** 2 - u2) / (float(cross @ one_way_g) * np.linalg.norm(WARP))
    assert float(re.findall(r"level the pads to ([\d.]+) mm", floor)[0]) == pytest.approx(level_mm, rel=0.05)
    assert "pad heights" not in doubts(without)  # not known there, which is said
    assert any("leaves out that the pads may be uneven (0.3 mm" in text for text in told.result["warnings"])
    assert not any("uneven" in text for text in with_springs["result"]["warnings"])


def test_the_car_turned_on_the_pads(weighed: Weighed, tmp_path: Path) -> None:
    log = tmp_path / "log"
    shutil.copytree(weighed.log, log)
    wrong_g = {"FL": 12.0, "FR": 0.0, "RL": 0.0, "RR": 0.0}  # of the pad under FL at first, pad 2

    def do(text: str) -> None:
        wheels = next(wheels for words, wheels in TURNED.items() if words in text)
        stands = dict(zip(WHEELS, wheels, strict=True))  # place of the pad -> wheel on it now
        pads.lay([truth(pad, CAR[stands[place]] + wrong_g[place]) for pad, place in enumerate(PAD_WHEELS)])

    with ActedPads() as pads:
        common = [weighed.test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        told = pivotbench("weigh", *common, "--turned", "four", "--json", hands=do)
    assert told.code == 0, told.err
    record = records(log, "weighing")[-1]
    # Each wheel stood once on each pad, so that the pads' differences, +9 and three times -3 g, are seen; what they
    # have in common is not. It is where the calibrations, as the weighing before knew them, make it likeliest: by hand,
    # the least sum of squares of (difference + common) / u.
    before = doubts(records(log, "weighing")[0])
    spread = np.diag(before["pads"] + before["curves"])  # zeroed a moment ago
    seen = np.array([9.0, -3.0, -3.0, -3.0])
    common = -float((seen / spread).sum() / (1 / spread).sum())
    wanted = [CAR[w] + 3.0 - common for w in WHEELS]
    np.testing.assert_allclose(record["result"]["corner_weights_g"], wanted, atol=1.5)
    errors = record["inputs"]["pad_error_g"]
    assert int(np.argmax(errors)) == 0
    assert errors[0] > 3.0
    assert max(errors[1:]) < 0.0
    assert sum(errors) == pytest.approx(0.0, abs=1e-6)
    assert record["inputs"]["turns"] == ["as is", "half turn", "pads exchanged", "half turn, pads exchanged"]
    assert len(record["inputs"]["placings"]) == 4
    # the noise of the readings themselves, the wheels on the whole about the mean of four (one pad counts more)
    single = np.mean([(np.array(one["u"]) / GAIN) ** 2 for one in record["inputs"]["placings"]])
    assert np.mean(np.diag(doubts(record)["noise"])) == pytest.approx(single / 4, rel=0.5)


def test_the_car_turned_and_placed_anew_each_way(weighed: Weighed, tmp_path: Path) -> None:
    """Each second placing puts 6 g more on FL and 4 g less on RL: by hand, half of that stays in the mean."""
    log = Path(shutil.copytree(weighed.log, tmp_path / "log"))
    asked: list[str] = []

    def do(text: str) -> None:
        asked.append(text)
        again = "once more" in text
        stands = CAR | ({"FL": CAR["FL"] + 6.0, "RL": CAR["RL"] - 4.0} if again else {})
        half = {"FL": stands["RR"], "FR": stands["RL"], "RL": stands["FR"], "RR": stands["FL"]}
        pads.lay(on_pads(half if "half round" in text else stands))

    with ActedPads() as pads:
        common = [weighed.test, "--port", pads.url, "--log", log]
        assert pivotbench("pads", "zero", *common).code == 0
        told = pivotbench("weigh", *common, "--turned", "half", "--placings", 2, "--json", hands=do)
    assert told.code == 0, told.err
    assert ["once more" in text for text in asked[-4:]] == [False, True, False, True]
    record = records(log, "weighing")[-1]
    assert record["inputs"]["turns"] == ["as is", "as is", "half turn", "half turn"]
    assert len(record["inputs"]["placings"]) == 4
    more = {"FL": 3.0, "FR": 0.0, "RL": -2.0, "RR": 0.0}
    np.testing.assert_allclose(record["result"]["corner_weights_g"], [CAR[w] + more[w] for w in WHEELS], atol=1.2)


# a port for each pad


@pytest.mark.parametrize("young", ["early", "settling"])
@pytest.mark.parametrize("port", [0, 2])
def test_a_board_that_has_just_started_keeps_its_neighbours_from_being_weighed_with(young: str, port: int) -> None:
    """One pad that is not ready makes a merged reading useless, the first one or the last."""
    merger, merged = TimeMerger(ports=3), []
    for step in range(2):
        for number in range(3):
            fresh = step == 0 and number == port
            merged += merger.push(
                number,
                PadFrame(
                    host_time=0.1 * step + 0.01 * number,
                    device_time=None,
                    counts=(10.0 * number, np.nan, np.nan, np.nan),
                    missing=(False, True, True, True),
                    saturated=(False,) * 4,
                    seq=None,
                    **{young: fresh},
                ),
            )
    assert [one.usable for one in merged] == [False, True]
    assert merged[1].counts[:3] == (0.0, 10.0, 20.0)
