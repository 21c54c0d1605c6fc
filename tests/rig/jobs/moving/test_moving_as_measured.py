"""What tilted pads and pushes with moved ballast said goes before the card: in the region, and in words.

Truth: the figures in the records, and the mechanics by themselves.
"""

from pathlib import Path

import numpy as np
import pytest

from analysis.base.gravity import STANDARD_GRAVITY as G
from analysis.moving.as_measured import pitch_height, shared_out
from analysis.moving.load_sensitivity import BalanceAtLoads, from_pushes
from analysis.moving.phases import Phase
from analysis.moving.setup_changes import with_bars
from analysis.springs.equilibrium import equilibrium
from analysis.weighing.corner_weights import newtons_from_grams
from rig.cards.mechanics import push_state
from rig.cards.read import read_set
from rig.jobs.moving.by_tilted_pads import measured_car
from rig.jobs.moving.drawn_cars import FEW_CARS, NOTHING_ELSE
from rig.jobs.moving.drive import model_at
from rig.jobs.moving.driven_car import DrivenCar, driven_car
from rig.jobs.moving.freeze import frozen_phases
from rig.jobs.moving.reach import Cast, cast_of, reached_by
from rig.jobs.moving.tyre_loads import record_load_sensitivity
from rig.jobs.pushing.balance import balance_by_weights
from rig.jobs.series.aim import aim_at
from rig.jobs.weighing.weights import weigh_typed, weighed_car
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.records.moving import TILTED_PADS, AcrossRow, AlongRow, TiltInputs, TiltResult
from tests.values.cards_typed import write

CAR = {
    "id": "dunlindu",
    "chassis.front.spring_n_per_mm": 2.2,
    "chassis.rear.spring_n_per_mm": 1.7,
    "chassis.load_sensitivity": 0.1,
    "geometry.cg_height_mm": 35.0,
    "geometry.cg_height_mm_u": 12.0,
}
GRAMS = [430.0, 410.0, 400.0, 360.0]
ROW = {"lifted": (), "turned": True, "pressed": True, "budget": (), "front_g": 0.0, "rear_g": 0.0, "roll_share": 0.5}


def carded(folder: Path, **car: object) -> Path:
    test = {"typed.weights_g": GRAMS, "conditions.compound_front": "soft", "conditions.compound_rear": "hard"}
    test["grip.measured"] = False  # so that it is that under a quarter of the weight
    return write(folder, test=test, car=CAR | {key.replace("__", "."): value for key, value in car.items()})


def tilted(
    log: BenchLog, path: Path, *, share_pct: float, height_mm: float, pitch_mm: float | None = None, last: float = 61.0
) -> None:
    """A record of tilted pads: two angles, the second with a wheel in the air, and nose up where pitch_mm says so."""
    cards = read_set(path)
    rows = [
        AcrossRow(
            angle_deg=degrees,
            sideways_g=float(np.tan(np.radians(degrees))),
            share_pct=share,
            share_half_points=1.6,
            height_mm=height_mm,
            height_half_mm=1.2,
            **(ROW | {"lifted": lifted}),  # type: ignore[arg-type]
        )
        for degrees, share, lifted in ((10.0, share_pct, ()), (14.0, last, ("front left",)))
    ]
    along = ()
    if pitch_mm is not None:
        along = (
            AlongRow(
                angle_deg=13.0,
                lengthways_g=float(np.tan(np.radians(13.0))),
                moved_g=0.0,
                height_mm=pitch_mm,
                height_half_mm=0.9,
                turned=True,
                budget=(),
            ),
        )
    inputs = TiltInputs(
        rows=(), level_g=(430.0, 410.0, 400.0, 360.0), noise_g=0.5, drift_g=0.2, gravity_m_s2=G, source="-"
    )
    log.record(
        TILTED_PADS,
        cards.car.name,
        inputs=inputs,
        result=TiltResult(across=tuple(rows), along=along),
        cards=keep_cards(log, cards),
    )


def cast(car: DrivenCar, built: int) -> Cast:
    return cast_of(car.card, car.load, grip=car.grip, open_to=car.open_to, where="card", seed=0, built=built)


def test_the_region_goes_by_tilted_pads_where_they_were_read(tmp_path: Path) -> None:
    path = carded(tmp_path)
    with BenchLog(tmp_path / "log") as log:
        tilted(log, path, share_pct=61.0, height_mm=31.5)
        car = driven_car(path, log)
    assert any("record 1, instead of the card's: front axle 61.0 ± 1.6 %" in one for one in car.remarks)
    made = cast(car, FEW_CARS)
    ay = G * np.tan(np.radians(10.0))  # the angle at which every wheel still stood
    best, draws = shared_out(made.car.chassis, ay), shared_out(made.few, ay)
    assert 100 * float(best.share) == pytest.approx(61.0, abs=0.1)
    assert 1e3 * float(best.height) == pytest.approx(31.5, abs=0.1)
    assert 196 * float(np.std(draws.share)) == pytest.approx(1.6, rel=0.02)
    assert 1960 * float(np.std(draws.height)) == pytest.approx(1.2, rel=0.02)  # the card's ± alone is 24 mm
    again = cast(car, FEW_CARS + 10)  # nor does it depend on how many are made
    np.testing.assert_allclose(again.few.spring, made.few.spring, rtol=1e-9)


def test_pitch_goes_before_the_card_s_height_along_in_region_freeze_and_drive(tmp_path: Path) -> None:
    path = carded(tmp_path, geometry__cg_height_mm=41.0)
    with BenchLog(tmp_path / "log") as log:
        tilted(log, path, share_pct=61.0, height_mm=31.5, pitch_mm=29.2)
        car = driven_car(path, log)
        cards = read_set(path)
        open_to, _ = measured_car(cards, log, car.load, NOTHING_ELSE)
    assert any("31.5 ± 1.2 mm sideways, 29.2 ± 0.9 mm along; read up to 0.18 g sideways" in one for one in car.remarks)
    made, ax = cast(car, FEW_CARS), G * np.tan(np.radians(13.0))
    assert 1e3 * float(pitch_height(made.car.chassis, ax)) == pytest.approx(29.2, abs=0.06)
    assert 1960 * float(np.std(pitch_height(made.few, ax))) == pytest.approx(0.9, rel=0.03)  # the card's alone is 24 mm
    # by hand: 1600 g on 260 mm, braking at 0.5 g: 1600 x 29.2 x 0.5 / 260 = 89.8 g to the front, 52.5 % become 58.1 %
    brake = Phase(name="brake", ax=-0.5 * G, ay=0.0, steer=0.0, duration=1.0)
    (frozen,) = frozen_phases(car, [brake], mass_g=200.0, start_mm=None, where="card")
    assert float(frozen.wanted.value) == pytest.approx(58.1, abs=0.15)  # the body on its springs leans for it
    # the drive's model sideways is set, too: the same car as in the region
    model = model_at(cards, car.load, 4.0, open_to)
    loads = equilibrium(made.car.chassis, 0.0, 4.0).load
    hold = loads * (1 - 0.1 * (loads / loads.mean() - 1))
    assert model.balance / 0.26 == pytest.approx(hold[:2].sum() / hold.sum(), abs=1e-4)


def test_heights_sideways_and_nose_up_may_differ_by_what_tyres_give_and_both_are_unsure_of(tmp_path: Path) -> None:
    """31.5 ± 1.2 and ± 0.9 mm: 3 + sqrt(1.2² + 0.9²) = 4.5 mm may lie between them."""
    path = carded(tmp_path)
    for number, (pitch_mm, told) in enumerate([(27.1, False), (26.9, True), (35.9, False), (36.1, True)]):
        with BenchLog(tmp_path / f"log-{number}") as log:
            tilted(log, path, share_pct=61.0, height_mm=31.5, pitch_mm=pitch_mm)
            _, said = measured_car(read_set(path), log, newtons_from_grams(np.array(GRAMS)), NOTHING_ELSE)
        assert any("effective heights differ by" in one for one in said) == told, pitch_mm


def test_an_angle_that_does_not_fit_the_car_so_set_widens_it(tmp_path: Path) -> None:
    """61 % at 10 degrees and 68 % at 14: springs alone share out alike at both, so the ± of 1.6 becomes 7."""
    path = carded(tmp_path)
    with BenchLog(tmp_path / "log") as log:
        tilted(log, path, share_pct=61.0, height_mm=31.5, last=68.0)
        car = driven_car(path, log)
    said = next(one for one in car.remarks if "do not fit one car" in one)
    assert "at 14.0° 68.0 %, the car so set 61." in said
    assert "widened to 7.0 points" in said or "widened to 6.9 points" in said
    assert car.open_to.transfer is not None
    assert 196 * car.open_to.transfer.share_u == pytest.approx(7.0, abs=0.15)


def test_what_the_pads_said_is_carried_over_to_another_bar_and_heights_to_other_springs(tmp_path: Path) -> None:
    """Truth: the car set as read, and then the bar: the mechanics by themselves."""
    path = carded(tmp_path)
    with BenchLog(tmp_path / "log") as log:
        tilted(log, path, share_pct=61.0, height_mm=31.5, pitch_mm=30.1)
        before = cast(driven_car(path, log), FEW_CARS)
        carded(tmp_path, chassis__front__bar_n_per_mm=0.4, name="Dunlin with a bar")
        barred = driven_car(path, log)
        carded(tmp_path, chassis__front__spring_n_per_mm=3.0)
        sprung = driven_car(path, log)
    assert any("Bars, dampers or travel were changed since" in one for one in barred.remarks)
    after = cast(barred, FEW_CARS)
    wanted = with_bars(before.car.chassis, (400.0, 0.0))
    np.testing.assert_allclose(
        equilibrium(after.car.chassis, 1.0, 3.0).load, equilibrium(wanted, 1.0, 3.0).load, atol=2e-3
    )
    np.testing.assert_allclose(  # each draw is the same car with its bar
        equilibrium(after.few, 1.0, 3.0).load,
        equilibrium(with_bars(before.few, (400.0, 0.0)), 1.0, 3.0).load,
        atol=5e-3,
    )
    assert any("front against rear springs go by the card again" in one for one in sprung.remarks)
    ay = G * np.tan(np.radians(10.0))
    stiffer = cast(sprung, FEW_CARS)
    assert 1e3 * float(pitch_height(stiffer.car.chassis, ay)) == pytest.approx(30.1, abs=0.3)
    plain = driven_car(path, None, weights=GRAMS)  # by the card alone
    assert float(shared_out(stiffer.car.chassis, ay).share) == pytest.approx(
        float(shared_out(cast(plain, FEW_CARS).car.chassis, ay).share), abs=0.01
    )


def test_the_load_under_which_grip_was_measured_is_that_of_forecasts(tmp_path: Path) -> None:
    """Measured grip is that of each wheel under its own load: 0.9 and 0.7 at 840 and 760 g balance at
    0.9 x 840 / (0.9 x 840 + 0.7 x 760) = 58.7 %; unmeasured it is that under 400 g, and 430 g hold a little less."""
    for measured, by_hand in (
        (True, 0.9 * 840 / (0.9 * 840 + 0.7 * 760)),
        (False, _held(0.9, (430, 410)) / (_held(0.9, (430, 410)) + _held(0.7, (400, 360)))),
    ):
        test = {"typed.weights_g": GRAMS, "grip.front": 0.9, "grip.rear": 0.7, "grip.measured": measured}
        path = write(tmp_path / str(measured), test=test, car=CAR | {"chassis.load_sensitivity": 0.3})
        car = driven_car(path, None)
        found = reached_by(cast(car, FEW_CARS))
        assert float(found.rest.value) / 0.26 == pytest.approx(by_hand, abs=1e-4)
        cards = read_set(path)
        assert model_at(cards, car.load, 4.0).balance_rest / 0.26 == pytest.approx(by_hand, abs=1e-4)
        with BenchLog(tmp_path / f"log-{measured}") as log:
            known = weighed_car(cards, weigh_typed(cards, log))
        forecast = balance_by_weights(known, push_state(cards.car, cards.test))
        assert forecast.pct == pytest.approx(100 * by_hand, abs=0.25)


def _held(grip: float, grams: tuple[float, float]) -> float:
    """An axle's grip under these loads, of tyres that lose 0.3 per share of load above 400 g."""
    return sum(grip * one * (1 - 0.3 * (one / 400 - 1)) for one in grams)


def test_other_weights_since_then_are_told_and_the_pads_not_gone_by(tmp_path: Path) -> None:
    path = carded(tmp_path)
    with BenchLog(tmp_path / "log") as log:
        tilted(log, path, share_pct=61.0, height_mm=31.5)
        carded(tmp_path, geometry__track_front_mm=190.0)
        car = driven_car(path, log)
        assert car.open_to.transfer is None
        assert any("record 1 are not gone by: the car card has changed" in one for one in car.remarks)
        carded(tmp_path)
        tilted(log, path, share_pct=97.0, height_mm=31.5)  # no springs do that
        car = driven_car(path, log)
    assert car.open_to.transfer is None
    assert any("look at roll centres, bars and stops" in one for one in car.remarks)


def test_load_sensitivity_as_measured_goes_before_the_card_s(tmp_path: Path) -> None:
    """Balances that follow from q = 0.3 by hand: x/(1 - x) = (N_F/N_R)^0.7.

    Its ± by hand: a line through ln(x/(1 - x)) over ln(N_F/N_R), 0.2059, -0.2059, 0.4162 with 0.0080, 0.0080, 0.0082
    each, has a slope known to 0.018; 95 % are 1.96 of it.
    """
    path = carded(tmp_path)
    states = []
    for front, rear in ((8.6, 7.0), (7.0, 8.6), (9.4, 6.2)):
        odds = (front / rear) ** 0.7
        states.append(BalanceAtLoads(balance=odds / (1 + odds), u=0.002, front=front, rear=rear))
    with BenchLog(tmp_path / "log") as log:
        record_load_sensitivity(from_pushes(states), states, read_set(path), log)
        car = driven_car(path, log)
        assert car.open_to.sensitivity == pytest.approx(0.3, abs=1e-6)
        assert "Load sensitivity 0.30 ± 0.04 as measured, record 1, not the card's" in car.remarks
        assert float(np.mean(cast(car, FEW_CARS).tyres.sensitivity)) == pytest.approx(0.3, abs=1e-6)
        aimed = aim_at(read_set(path), weigh_typed(read_set(path), log), log, 55.0)
        plain = model_at(read_set(path), car.load, 4.0)
        driven = model_at(read_set(path), car.load, 4.0, measured_car(read_set(path), log, car.load, NOTHING_ELSE)[0])
        write(tmp_path, test={"typed.weights_g": GRAMS, "conditions.compound_front": "medium"}, car=CAR)
        other = driven_car(path, log)
    assert any("Load sensitivity 0.30 ±" in one for one in aimed.remarks)
    # by hand: moving m changes the balance's odds by ((F + m)/(R - m) / (F/R))^0.7, here from 840:760 g
    wanted, now = 55 / 45, aimed.now_pct / (100 - aimed.now_pct)
    shares = 840 / 760 * (wanted / now) ** (1 / 0.7)
    assert aimed.ways.moved_g.value == pytest.approx(-(1600 * shares / (1 + shares) - 840), rel=0.05)
    # the law by hand: at rest an axle holds N (1 - q (n - 1)) a wheel, n its load over a quarter of the weight
    for model, q in ((plain, 0.1), (driven, 0.3)):
        hold = [sum(g * (1 - q * (g / 400 - 1)) for g in axle) for axle in (GRAMS[:2], GRAMS[2:])]
        assert model.balance_rest / 0.26 == pytest.approx(hold[0] / sum(hold), abs=0.001)
    assert other.open_to.sensitivity is None
    assert any("record 1 is not gone by: front tyres soft → medium" in one for one in other.remarks)
