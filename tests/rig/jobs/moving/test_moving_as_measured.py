"""What tilted pads and pushes with moved ballast said goes before the card: in the region, and in words.

Truth: the figures in the records, and the mechanics by themselves.
"""

from pathlib import Path

import numpy as np
import pytest

from analysis.base.gravity import STANDARD_GRAVITY as G
from analysis.moving.as_measured import shared_out
from analysis.moving.load_sensitivity import BalanceAtLoads, from_pushes
from rig.cards.read import read_set
from rig.jobs.moving.drawn_cars import FEW_CARS
from rig.jobs.moving.drive import model_at
from rig.jobs.moving.driven_car import DrivenCar, driven_car
from rig.jobs.moving.reach import Cast, cast_of
from rig.jobs.moving.tyre_loads import record_load_sensitivity
from rig.jobs.series.aim import aim_at
from rig.jobs.weighing.weights import weigh_typed
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.lookups.moving_car import tyres_fall
from rig.records.moving import TILTED_PADS, AcrossRow, TiltInputs, TiltResult
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
    return write(folder, test=test, car=CAR | {key.replace("__", "."): value for key, value in car.items()})


def tilted(log: BenchLog, path: Path, *, share_pct: float, height_mm: float) -> None:
    """A record of tilted pads: two angles, the second with a wheel in the air."""
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
        for degrees, share, lifted in ((10.0, share_pct, ()), (14.0, 71.0, ("front left",)))
    ]
    inputs = TiltInputs(
        rows=(), level_g=(430.0, 410.0, 400.0, 360.0), noise_g=0.5, drift_g=0.2, gravity_m_s2=G, source="-"
    )
    log.record(
        TILTED_PADS, cards.car.name, inputs=inputs, result=TiltResult(across=tuple(rows)), cards=keep_cards(log, cards)
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


def test_other_springs_since_then_are_told_and_the_pads_not_gone_by(tmp_path: Path) -> None:
    path = carded(tmp_path)
    with BenchLog(tmp_path / "log") as log:
        tilted(log, path, share_pct=61.0, height_mm=31.5)
        carded(tmp_path, chassis__front__bar_n_per_mm=1.5)
        car = driven_car(path, log)
        assert car.open_to.transfer is None
        assert any("record 1 are not gone by: the car card has changed" in one for one in car.remarks)
        carded(tmp_path)
        tilted(log, path, share_pct=97.0, height_mm=31.5)  # no springs do that
        car = driven_car(path, log)
    assert car.open_to.transfer is None
    assert any("look at roll centres, bars and stops" in one for one in car.remarks)


def test_load_sensitivity_as_measured_goes_before_the_card_s(tmp_path: Path) -> None:
    """Balances that follow from q = 0.3 by hand: x/(1 - x) = (N_F/N_R)^0.7."""
    path = carded(tmp_path)
    states = []
    for front, rear in ((8.6, 7.0), (7.0, 8.6), (9.4, 6.2)):
        odds = (front / rear) ** 0.7
        states.append(BalanceAtLoads(balance=odds / (1 + odds), u=0.002, front=front, rear=rear))
    with BenchLog(tmp_path / "log") as log:
        record_load_sensitivity(from_pushes(states), states, read_set(path), log)
        car = driven_car(path, log)
        assert car.open_to.sensitivity == pytest.approx(0.3, abs=1e-6)
        assert any("Load sensitivity 0.30 ±" in one and "record 1, not the card's" in one for one in car.remarks)
        assert float(np.mean(cast(car, FEW_CARS).tyres.sensitivity)) == pytest.approx(0.3, abs=1e-6)
        aimed = aim_at(read_set(path), weigh_typed(read_set(path), log), log, 55.0)
        plain = model_at(read_set(path), car.load, 4.0)
        driven = model_at(read_set(path), car.load, 4.0, fall=tyres_fall(read_set(path), log)[0])
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
