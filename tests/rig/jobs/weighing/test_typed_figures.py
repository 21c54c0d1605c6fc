"""The jobs ask whether what was typed beside the cards can be meant, before they work with it."""

import os
from pathlib import Path

import pytest

from rig.base.errors import InputError
from rig.cards.read import read_set
from rig.jobs.grip.grip import PullTest, TiltTest, measure_pull, measure_tilt
from rig.jobs.moving.driven_car import weights_for
from rig.jobs.series.series import analyse_plan, changes_for, plan_table
from rig.jobs.weighing.calibrate import CheckMasses, calibrate
from rig.jobs.weighing.lift import AxleLifts, measure_height
from rig.jobs.weighing.weights import known_weighing
from rig.log.store import BenchLog
from tests.rig.jobs.weighing.test_typed_weights import GOOD, cards


def test_slopes_and_pulls_are_looked_at_before_they_are_recorded(tmp_path: Path) -> None:
    of = cards(tmp_path / "cards", GOOD)
    with BenchLog(tmp_path / "log") as log:
        known = known_weighing(of, log)
        with pytest.raises(InputError, match="radians"):
            measure_tilt(of, log, known, TiltTest(part="car", angles_deg=[0.67]))
        # the front axle carries 803 g, 7.87 N: 600 g of pull typed as newtons
        with pytest.raises(InputError, match=r"7\.87 N of car .* 5\.884 N \(grams\)"):
            measure_pull(of, log, known, PullTest(part="front", forces=[600.0]))
        with pytest.raises(InputError, match=r"0\.02"):
            measure_pull(of, log, known, PullTest(part="car", forces=[11.8], gauge_u=2.0))
        assert not list(log.records())
        found, _ = measure_pull(of, log, known, PullTest(part="front", forces=[6.3, 6.3, 6.3]))
        assert found.value == pytest.approx(6.3 / 7.87, rel=0.01)


def test_masses_lifts_weights_and_places_are_looked_at(tmp_path: Path) -> None:
    of = cards(tmp_path / "cards", GOOD)
    with BenchLog(tmp_path / "log") as log:
        known = known_weighing(of, log)
        checks = CheckMasses(masses_g=(0.2, 0.5))
        with pytest.raises(InputError, match="kilograms"):
            calibrate(of.bench, None, log, checks, ask=print)  # type: ignore[arg-type]
        with pytest.raises(InputError, match="centimetres"):
            measure_height(of, None, log, known, AxleLifts(heights_mm=(4.0, 6.0, 8.0)), ask=print)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="kilograms"):
        weights_for(of.car, log=None, typed=(0.4, 0.4, 0.42, 0.42), where="car.toml")
    with pytest.raises(InputError, match="a fraction"):
        changes_for(of, known, 0.3)
    with pytest.raises(InputError, match="a fraction"):
        plan_table({}, station_pct=0.5)
    assert "50" in plan_table({}, station_pct=50.0)


def test_the_other_cards_of_a_set_are_read_the_same_way(tmp_path: Path) -> None:
    cards(tmp_path, GOOD)
    (tmp_path / "bench.toml").write_text('card = "bench"\nname = "b"\nfloor.bar_mm = 9.98\n')
    with pytest.raises(InputError, match=r"bench\.toml: floor\.bar_mm = 9\.98"):
        read_set(tmp_path / "test.toml")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names on this system")
def test_a_plan_is_a_file_without_what_a_terminal_obeys(tmp_path: Path) -> None:
    with BenchLog(tmp_path / "log") as log:
        pipe = tmp_path / "pipe.csv"
        os.mkfifo(pipe)  # nobody writes to it
        with pytest.raises(InputError, match="folder, a pipe or a device"):
            analyse_plan(pipe, log)
        plan = tmp_path / "plan.csv"
        plan.write_text(plan_table({"tyre": ["hard", "so\x1b[31mft"]}), encoding="utf-8")
        with pytest.raises(InputError, match=r"line \d+: a cell holds a character"):
            analyse_plan(plan, log)


def test_a_plan_row_with_a_decimal_comma_gets_the_number_back(tmp_path: Path) -> None:
    cards(tmp_path, GOOD)
    head, *_ = plan_table({"tyre": ["hard", "soft"]}).splitlines()
    plan = tmp_path / "plan.csv"
    plan.write_text(f'{head}\n1,1,test,right,"50,5",0,yes,,test.toml,hard\n', encoding="utf-8")
    with BenchLog(tmp_path / "log") as log, pytest.raises(InputError, match=r"Did you mean 50\.5\?"):
        analyse_plan(plan, log)
