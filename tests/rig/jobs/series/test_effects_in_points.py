"""A series in the words and unit of `change`: pushes whose nose and tail are known, through files and records."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from rig.base.errors import InputError
from rig.cards.read import read_set
from rig.command.change.effects import command as effects
from rig.command.change.plan import command as plan
from rig.jobs.series.effect_points import EffectsInPoints
from rig.jobs.series.series import PLAN_HEADS, analyse_plan, read_plan_table
from rig.log.store import BenchLog
from rig.report.other_records import other_parts
from tests.rig.jobs.synthetic_pushes import LENGTH, cards, closed_form, measured, pushed, recorded

pytestmark = pytest.mark.thorough

NOSES = {"hard": (0.0602, 0.0598, 0.0601, 0.0599), "soft": (0.0502, 0.0498, 0.0501, 0.0499)}
"""m, of pushes whose nose and tail go 120 mm together."""


def filled(folder: Path, log: BenchLog, *, answered: bool = True, **more: object) -> Path:
    """Four visits, A B B A, of two pushes each, on record; returns the plan."""
    rows, left = [",".join([*PLAN_HEADS, "tyre"])], {name: list(noses) for name, noses in NOSES.items()}
    for number in range(1, 9):
        block = (number + 1) // 2
        tyre = "hard" if block in (1, 4) else "soft"
        name = f"push-{number}"
        of = cards(name=name, **more)
        for kind, text in of.texts.items():
            (folder / (f"{name}.toml" if kind == "test" else f"{kind}.toml")).write_text(text)
        push = pushed((nose := left[tyre].pop(0)), 0.12 - nose)
        card = read_set(folder / f"{name}.toml")
        if answered:
            recorded(log, card, push, folder / f"{name}.mp4")
        else:
            clip = folder / f"{name}.mp4"
            clip.write_bytes(name.encode())
            measured(log, card, push, clip=clip)
        rows.append(f"{number},{block},test,right,{of.test.push.position_pct:g},0,yes,,{name}.toml,{tyre}")
    path = folder / "series.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


def test_effects_are_told_as_a_change_is(tmp_path: Path) -> None:
    log = BenchLog(tmp_path / "log")
    series = analyse_plan(filled(tmp_path, log), log)
    assert isinstance(series.points, EffectsInPoints)
    (row,) = series.record.result.effects
    # closed form of the sliding finger, both set-ups' means: the tail led, so the balance went forward
    truth = closed_form(2 * (0.05 - 0.07) / (LENGTH * 0.12), LENGTH / 2) - closed_form(1e-9, LENGTH / 2)
    assert truth > 1.0
    assert row.moved_pct == pytest.approx(truth, abs=0.15)
    assert row.interval_pct is not None
    assert row.interval_pct[0] < truth < row.interval_pct[1]
    assert (row.finding, row.clear) == ("moved forward", True)
    assert row.change_per_m < 0
    assert row.sentences[0].startswith(f"The balance moved forward by {row.moved_pct:.1f} ± ")
    assert "four pushes each" in row.sentences[0]
    assert other_parts([series.record])[-1].paragraphs[0].startswith("tyre, hard → soft: The balance moved forward")
    log.close()
    told = CliRunner().invoke(effects, [str(tmp_path / "series.csv"), "--log", str(tmp_path / "log")]).output
    assert f"tyre, hard → soft: {row.sentences[0]}" in told
    assert "per m" not in told
    assert "°/cm" not in told


def test_a_push_that_was_not_made_is_missed_on_its_own_side(tmp_path: Path) -> None:
    """The last of eight, of the reference: three are left there, four at the level."""
    with BenchLog(tmp_path / "log") as log:
        path = filled(tmp_path, log)
        path.write_text("\n".join(path.read_text().splitlines()[:-1]) + "\n")
        series = analyse_plan(path, log)
    assert isinstance(series.points, EffectsInPoints)
    (change,) = series.points.changes
    assert change.pushes == (3, 4)
    (row,) = series.record.result.effects
    assert "three with the first, four with the second" in row.sentences[0]
    assert series.record.result.pushes == 7


def test_without_answers_or_with_rolling_wheels_it_says_why_there_are_no_points(tmp_path: Path) -> None:
    for name, more, why in (
        ("old", {"answered": False}, "measure its clip again"),
        ("rolling", {"push__wheels": "as on the car card"}, "No balance points: "),
    ):
        folder = tmp_path / name
        folder.mkdir()
        log = BenchLog(folder / "log")
        result = analyse_plan(filled(folder, log, **more), log).record.result
        assert why in result.no_points
        assert [row.finding for row in result.effects] == [None]


def test_a_plan_is_at_the_middle_and_says_what_another_place_costs(tmp_path: Path) -> None:
    def planned(*words: str) -> tuple[str, str]:
        path = tmp_path / f"{len(list(tmp_path.iterdir()))}.csv"
        told = CliRunner().invoke(plan, [str(path), "--factor", "tyre=soft,hard", *words]).output
        return path.read_text(), told

    rows, told = planned()
    assert ",50.0," in rows
    assert "show a change of about 0.9 points" in told
    assert "Planned at" not in told
    rows, told = planned("--position", "85")
    assert ",85.0," in rows
    assert "Planned at 85 %: the same change shows in the turn there about 10 % of what a push at the middle" in told


@pytest.mark.parametrize(
    ("cell", "typed", "where"), [(0, "x", 3), (1, "1.5", 3), (0, "9999999999", 2), (3, "left\x1b[2J", 4), (1, "²", 2)]
)
def test_a_cell_that_cannot_be_is_named_with_its_line(tmp_path: Path, cell: int, typed: str, where: int) -> None:
    """As a text editor counts lines: the heads are the first."""
    rows = [
        [*PLAN_HEADS, "tyre"],
        *([str(k), "1", "test", "right", "50", "0", "yes", "", "a.toml", "b"] for k in "123"),
    ]
    rows[where - 1][cell] = typed
    path = tmp_path / "plan.csv"
    path.write_text("\n".join(",".join(row) for row in rows) + "\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_plan_table(path)
    assert caught.value.where == f"{path}, line {where}"
