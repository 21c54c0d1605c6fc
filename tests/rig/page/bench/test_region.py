"""The region on the page: the command's own figures, a slider that means what the card would, ballast by moments.

Truth: `pivotbench moving` itself; the card with what was tried written onto it; statics by hand.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from rig.base.errors import InputError
from rig.base.plain_json import Json, finite_json
from rig.command.moving.moving import command as moving_command
from rig.jobs.moving.reach import Tried
from rig.page.bench.bench import Bench
from rig.page.bench.region import _mm
from rig.page.server.actions import SetupTried
from rig.virtual.dunlin import ON_SPRINGS

LOADS = [430.0, 410.0, 385.0, 395.0]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """A car on springs, uneven all round, weighed."""
    bench = Bench(tmp_path_factory.mktemp("region"))
    bench.save_card("car", dict(ON_SPRINGS))
    bench.on_pads.weigh_typed(LOADS, 1.0)
    return bench


def test_the_page_tells_what_the_command_tells(bench: Bench) -> None:
    card = str(bench.cards().folder / "test.toml")
    done = CliRunner().invoke(moving_command, [card, "--log", str(bench.folder), "--json"], catch_exceptions=False)
    said = json.loads(done.stdout)
    told: Json = json.loads(json.dumps(finite_json(bench.region.ask(Tried()))))
    assert "tried" not in told
    assert {key: told["now"][key] for key in ("at_rest", "region")} == finite_json(
        {key: said[key] for key in ("at_rest", "region")}
    )


@pytest.mark.thorough
def test_what_is_tried_is_what_the_card_would_say(bench: Bench) -> None:
    """Springs, bars and height on the sliders, then written: the same figures. Asking alone writes nothing."""
    sent = SetupTried(spring_front=120.0, spring_rear=90.0, bar_front=1.2, height_mm=2.0)
    before = bench.cards().texts
    tried = bench.region.ask(sent.meant())["tried"]
    assert bench.cards().texts == before
    said = bench.region.put_on_card(sent.meant())
    assert "new version of the car card" in said
    chassis = bench.cards().car.chassis
    assert chassis is not None
    assert (chassis.front.spring_n_per_mm, chassis.rear.spring_n_per_mm) == (3.0, 1.98)
    assert (chassis.front.bar_n_per_mm, chassis.rear.bar_n_per_mm) == (1.2, 0.0)
    again = bench.region.ask(Tried())["now"]
    bench.undo()
    for part in ("region", "at_rest"):
        for key, value in tried[part].items():
            if key not in ("text", "by"):
                # the height is written to a thousandth of a millimetre, of 36
                got, wanted = np.array(value, dtype=float), np.array(again[part][key], dtype=float)
                np.testing.assert_allclose(got, wanted, rtol=2e-4, err_msg=key)


@pytest.mark.thorough
def test_ballast_moves_the_balance_by_moments(bench: Bench) -> None:
    """Tyres alike that lose no grip with load: the balance point is the centre of gravity."""
    bench.save_card("car", {"chassis.load_sensitivity": 0.0, "chassis.load_sensitivity_u": 0.0})
    told = bench.region.ask(Tried(ballast_g=200.0, ballast_pct=110.0))
    bench.undo()
    front, total = LOADS[0] + LOADS[1], sum(LOADS)
    assert told["now"]["at_rest"]["balance_pct"] == pytest.approx(100 * front / total, abs=0.01)
    assert told["tried"]["at_rest"]["balance_pct"] == pytest.approx(100 * (front + 200 * 1.1) / (total + 200), abs=0.01)
    with pytest.raises(InputError, match="onto the pads"):
        bench.region.put_on_card(Tried(ballast_g=200.0))


def test_a_car_without_springs_and_one_not_weighed_are_told(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    with pytest.raises(InputError, match="has not been weighed"):
        bench.region.ask(Tried())
    bench.on_pads.weigh_typed(LOADS, 1.0)
    with pytest.raises(InputError, match="no springs"):
        bench.region.ask(Tried())
    bench.close()


def test_points_that_are_not_wholly_known_are_not_drawn() -> None:
    places = np.array([[0.12345678, -0.02], [np.nan, 0.3], [0.2, np.nan], [np.inf, 0.1], [-0.001, 0.0]])
    assert _mm(places) == [[123.46, -20.0], [-1.0, 0.0]]
