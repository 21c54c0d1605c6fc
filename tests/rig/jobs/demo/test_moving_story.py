"""The moving car's story on the virtual bench, and what its note on full size says, held against a scaled car."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.springs.chassis import Chassis
from analysis.springs.dampers import BodyInertia, dampers
from analysis.springs.equilibrium import equilibrium
from analysis.springs.lift_off import lift_off
from analysis.springs.modes import modes
from rig.report.words.moving.full_size import FULL_SIZE
from tests.analysis.springs.sprung_cars import dunlin
from tests.values.cards_typed import run


def scaled(car: Chassis, by: float) -> Chassis:
    """Lengths times `by`, masses times its cube, forces likewise, so rates times its square: the same materials."""
    lengths = ("wheelbase", "track", "sprung_place", "unsprung_height", "roll_centre", "bump_gap", "droop")
    rates = ("spring", "bar", "tyre", "bump_rate", "droop_rate")
    cubes = ("sprung_mass", "unsprung_mass", "spring_force", "tyre_force")
    powers = {name: power for power, names in ((1, lengths), (2, rates), (3, cubes)) for name in names}
    return replace(car, **{name: np.asarray(getattr(car, name)) * by**power for name, power in powers.items()})


def test_what_carries_over_to_full_size_and_what_does_not() -> None:
    """Similarity at equal gravity: shares and accelerations stay, frequencies fall with the root of the length."""
    small = dunlin(bar=[900.0, 80.0])
    large = scaled(small, 10.0)
    for ax, ay in ((-2.0, 3.0), (1.0, -5.0)):
        a, b = equilibrium(small, ax, ay), equilibrium(large, ax, ay)
        np.testing.assert_allclose(a.load / a.load.sum(), b.load / b.load.sum(), rtol=1e-9)
        assert b.load.sum() == pytest.approx(1000 * a.load.sum())  # forces: a thousandth
    assert lift_off(large).lifts == pytest.approx(lift_off(small).lifts, rel=1e-9)
    slow, quick = (
        modes(car, dampers(0.0, 0.0), BodyInertia(roll=np.array(0.0035 * by**5), pitch=np.array(0.011 * by**5)))
        for car, by in ((large, 10.0), (small, 1.0))
    )
    np.testing.assert_allclose(quick.frequency / slow.frequency, np.sqrt(10), rtol=1e-6)
    assert "√10 = 3.2 times as quickly" in FULL_SIZE[1]
    assert "no advice" in " ".join(FULL_SIZE).lower() or "Nothing here is advice" in FULL_SIZE[-1]


@pytest.mark.thorough
def test_the_story_is_six_sentences_with_one_picture(tmp_path: Path) -> None:
    told = json.loads(run("demo", "--moving", "--out", tmp_path, "--json"))
    sentences = told["story"]
    assert [one[:2] for one in sentences] == [f"{k}." for k in range(1, 7)]
    assert not any(re.search(r"\b(nan|inf|None)\b", one) for one in sentences)
    side, truth = told["tilt"]["across"][-1], told["truth"]
    # the virtual car's own springs are off the card; the pads see them
    assert abs(side["share_pct"] - truth["share_pct"]) < 1.5 * side["share_half_points"]
    assert abs(side["height_mm"] - truth["height_mm"]) < 1.5 * side["height_half_mm"]
    (moment,) = told["frozen"]["phases"]
    assert moment["frozen_front_pct"] == pytest.approx(moment["front_pct"], abs=0.5)
    assert told["frozen"]["pushed"]["agrees"] is True
    page = (tmp_path / "moving.html").read_text()
    assert page.count("<svg") == 1
    assert "From the model to full size" in page
