"""Error limits against the tables of the open standards."""

import math
import tomllib
from pathlib import Path

import pytest

from analysis.base.errors import InputError
from analysis.weighing import limits

TABLES = tomllib.loads((Path(__file__).parents[2] / "data" / "limits_oiml.toml").read_text())


@pytest.mark.parametrize("check", TABLES["worked"]["checks"])
def test_worked_checks(check: dict[str, float]) -> None:  # OIML R 76-1:2006 table 6
    found = limits.scale_limit_g(check["load_g"], check["e_g"], check["class"])  # type: ignore[arg-type]
    assert found == pytest.approx(check["mpe_g"], rel=1e-12)


@pytest.mark.parametrize("name", ["I", "II", "III", "IIII"])
def test_every_step_of_every_scale_class(name: limits.ScaleClass) -> None:  # OIML R 76-1:2006 table 6
    for end, limit in zip(
        TABLES["r76_initial_verification"][f"class_{name}"],
        TABLES["r76_initial_verification"]["step_mpe_e"],
        strict=True,
    ):
        at = min(end, 1e9)
        assert limits.scale_limit_g(at * 0.2, 0.2, name) == pytest.approx(limit * 0.2)
        if end < limits.SCALE_RANGES[name][2]:
            assert limits.scale_limit_g(at * 0.2 * 1.001, 0.2, name) == pytest.approx((limit + 0.5) * 0.2)
        assert limits.scale_limit_g(at, 1, name, in_service=True) == pytest.approx(2 * limit)


@pytest.mark.parametrize("name", ["A", "B", "C", "D"])
def test_load_cells(name: limits.CellClass) -> None:  # OIML R 60-1:2021 table 4
    for end, limit in zip(TABLES["r60"][f"class_{name}"], TABLES["r60"]["step_mpe_v_times_p"], strict=True):
        assert limits.cell_limit_g(min(end, 1e9), 1.0, name) == pytest.approx(0.7 * limit)


def test_creep_of_a_c3_cell() -> None:  # OIML R 60-1:2021 5.5, worked in the table
    assert limits.creep_limit_g(3000, 1.0, "C") == pytest.approx(TABLES["r60"]["example_C3_creep_v"])
    last = limits.creep_limit_g(3000, 1.0, "C", last_ten_minutes=True)
    assert last == pytest.approx(TABLES["r60"]["example_C3_creep_20_30_v"])


@pytest.mark.parametrize("name", ["M1", "M2", "M3"])
def test_check_masses(name: limits.MassClass) -> None:  # OIML R 111-1:2004; rectangular: tolerance over root three
    for nominal, tolerance in zip(TABLES["r111_mpe_mg"]["nominal_g"], TABLES["r111_mpe_mg"][name], strict=True):
        assert limits.mass_u_g(nominal, name) == pytest.approx(tolerance / 1000 / math.sqrt(3))


def test_a_scale_is_judged_by_its_worst_load() -> None:
    judged = limits.check_scale([100, 500, 1500], [0.1, -0.6, 0.9], 1.0)
    assert (judged.passed, judged.at_load_g) == (False, 500)
    assert limits.check_scale([100, 500, 1500], [0.1, -0.5, 1.0], 1.0).passed


def test_beyond_the_tables() -> None:
    with pytest.raises(InputError, match="coarser interval"):
        limits.scale_limit_g(11_000, 1.0, "III")
    with pytest.raises(InputError, match="no tolerance known"):
        limits.mass_u_g(300, "M1")
