"""`weigh height`: what is asked for reaches the lift, what was found is told in mm and goes onto the car card."""

import shlex
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from analysis.statistics.estimate import Estimate
from rig.base.cautions import LIFT, SPRINGS
from rig.cards.read import read_set
from tests.values.cards_typed import write

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def lifted(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What the lift was asked for; `u` is what it then says of the height, m."""
    asked: dict[str, Any] = {"u": 0.00137}

    def measure_height(cards: Any, pads: Any, log: Any, known: Any, lifts: Any, **_: Any) -> Any:
        asked.update(
            heights=lifts.heights_mm,
            axle=lifts.axle,
            battery_in=lifts.battery_in,
            blocked=lifts.suspension_blocked,
            pads=pads,
            known=known,
        )
        found = SimpleNamespace(
            height=Estimate(value=0.03147, u=asked["u"]),
            station=Estimate(value=0.1283, u=0.0004),
            warnings=("the third lift is off the line",),
            off_line="",
        )
        return SimpleNamespace(found=found, record=SimpleNamespace(number=12, result={}))

    known = SimpleNamespace(remarks=())
    monkeypatch.setattr("rig.jobs.weighing.lift.measure_height", measure_height)
    monkeypatch.setattr("rig.jobs.weighing.weights.known_weighing", lambda cards, log: known)
    monkeypatch.setattr(
        "rig.jobs.weighing.pads.bench_pads", lambda bench, log, *, port, say: nullcontext(f"pads at {port}")
    )
    return asked


def test_what_was_found_is_told_in_mm(run: Run, tmp_path: Path, lifted: dict[str, Any]) -> None:
    card = write(tmp_path / "cards")
    said = run(f"weigh height {shlex.quote(str(card))} --height 20 --height 35 --height 50 --port COM3")
    assert said[0] == 0, said
    assert (tuple(lifted["heights"]), lifted["pads"]) == ((20.0, 35.0, 50.0), "pads at COM3")
    out = " ".join(said[1].split())
    # by hand: 31.47 ± 1.96 · 1.37 mm, 128.3 ± 1.96 · 0.4 mm
    assert "centre of gravity 31.5 mm above the floor (95 %: 28.8 to 34.2)" in out
    assert "128.3 mm ahead of the rear axle (± 0.8)" in out
    assert "Onto the car card: cg_height_mm = 31.5, cg_height_mm_u = 1.4" in out
    assert "the third lift is off the line" in out
    assert "record 12" in out
    assert f"{LIFT} {SPRINGS}" in " ".join(said[2].split())


@pytest.mark.parametrize(("u", "written"), [(0.00137, 1.4), (0.00001, 0.1)])
def test_it_is_written_onto_the_card_and_never_as_sure_as_nothing_is(
    run: Run, tmp_path: Path, lifted: dict[str, Any], u: float, written: float
) -> None:
    lifted["u"] = u
    card = write(tmp_path / "cards")
    code, _, err = run(f"weigh height {shlex.quote(str(card))} --height 20 --height 35 --write")
    assert code == 0, err
    geometry = read_set(card).car.geometry
    assert geometry.cg_height_mm == pytest.approx(31.5)
    assert geometry.cg_height_mm_u == pytest.approx(written)
