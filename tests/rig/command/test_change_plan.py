"""`change plan`: one place or two are planned for, and every factor has two levels at least."""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., tuple[int, str, str]]
TYRE = "--factor tyre=soft,hard --seed 3"


@pytest.mark.parametrize(("places", "planned"), [(["62"], {"62"}), (["66", "40"], {"66", "40"})])
def test_pushes_are_planned_at_the_places_that_were_said(
    run: Run, tmp_path: Path, places: list[str], planned: set[str]
) -> None:
    words = " ".join(f"--position {one}" for one in places)
    code, _, err = run(f"change plan plan.csv {TYRE} {words}")
    assert code == 0, err
    with (tmp_path / "plan.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert {f"{float(row['station_pct']):g}" for row in rows} == planned
    assert {row["tyre"] for row in rows} == {"soft", "hard"}


def test_a_third_place_is_refused_and_nothing_is_written(run: Run, tmp_path: Path) -> None:
    code, _, err = run(f"change plan plan.csv {TYRE} --position 40 --position 50 --position 66")
    assert code == 2
    assert "give one --position, or two" in " ".join(err.split())
    assert not (tmp_path / "plan.csv").exists()


@pytest.mark.parametrize("factor", ["tyre", "tyre=soft", "tyre=soft,", "=soft,hard", "' =a,b'"])
def test_a_factor_without_levels_is_refused(run: Run, tmp_path: Path, factor: str) -> None:
    code, _, err = run(f"change plan plan.csv --factor {factor} --position 50")
    assert code == 2
    assert "names no factor with levels" in " ".join(err.split())
    assert not (tmp_path / "plan.csv").exists()
