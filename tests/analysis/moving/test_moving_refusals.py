"""The moving car refuses what cannot be, and names what is wrong and where."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from analysis.moving.floor_drive import circle
from analysis.moving.phases import DRIFT, profile
from analysis.moving.pivots import push_turn_per_travel, reachable_pivots
from analysis.moving.region import reachable
from analysis.moving.setup_changes import usual_changes, with_ballast
from analysis.moving.tyres import Driveline, Tyres, checked_tyres, tyres_like
from analysis.springs.bench_rates import Measured, bar_rate, motion_ratio, roll_split, roll_split_by_blocking
from analysis.springs.bounce import fit_bounce
from analysis.springs.chassis import checked, stacked
from analysis.springs.dampers import BodyInertia, dampers
from analysis.springs.equilibrium import equilibrium
from analysis.springs.modes import modes
from tests.analysis.refused import Refusal, check_refused
from tests.analysis.springs.sprung_cars import dunlin

LINE = np.linspace(0.0, 1.0, 30)
TYRES = tyres_like(dunlin(), front=0.8, rear=0.8)
RATE = Measured(value=10.0, u=0.1, method="")


REFUSED: list[Refusal] = [
    (lambda: roll_split(1.0, 0.0, (0.1, 0.1), 1e-3, gained_u=0.0, body_roll_u=0.0), "shim", "positive"),
    (lambda: roll_split(1.0, 1e-3, (0.1, 0.0), 1e-3, gained_u=0.0, body_roll_u=0.0), "shim", "positive"),
    (lambda: roll_split(np.nan, 1e-3, (0.1, 0.1), 1e-3, gained_u=0.0, body_roll_u=0.0), "shim", "finite"),
    (lambda: roll_split(1.0, 1e-3, (0.1, 0.1), 1e-3, gained_u=-1.0, body_roll_u=0.0), "shim", "positive"),
    (lambda: roll_split_by_blocking(1.0, 2.0, 0.0, (0.1, 0.1), gained_u=0.0), "shim", "positive"),
    (lambda: roll_split_by_blocking(2.0, 2.0, 1e-3, (0.1, 0.1), gained_u=0.0), "shim", "Blocking|blocking"),
    (lambda: roll_split_by_blocking(0.0, 2.0, 1e-3, (0.1, 0.1), gained_u=0.0), "shim", "blocking"),
    (lambda: bar_rate(RATE, RATE, 0.0), "bar", "track"),
    (lambda: motion_ratio(LINE, 0 * LINE, wheel_u=1e-4, spring_u=1e-4), "motion ratio", "did not move"),
    (lambda: motion_ratio(LINE, np.nan * LINE, wheel_u=1e-4, spring_u=1e-4), "motion ratio", "finite"),
    (lambda: motion_ratio(LINE, LINE, wheel_u=-1e-4, spring_u=1e-4), "motion ratio", "not negative"),
    (lambda: fit_bounce(LINE[::-1], LINE), "bounce", "rise"),
    (lambda: fit_bounce(LINE, np.nan * LINE), "bounce", "finite"),
    (lambda: checked(replace(dunlin(), spring=np.ones(3))), "chassis", "4 numbers"),
    (lambda: checked(replace(dunlin(), gravity=0.0)), "chassis", "gravity"),
    (lambda: checked(replace(dunlin(), tyre=np.full(4, np.inf))), "chassis", "not finite"),
    (lambda: checked(replace(dunlin(), spring_force=np.full(4, np.inf))), "chassis", "design position"),
    (lambda: stacked([]), "chassis", "no set-up"),
    (lambda: equilibrium(dunlin(), grade=1.2, bank=1.2), "slope", "too steep"),
    (lambda: circle(np.eye(3)[:, :2]), "drive", "four points"),
    (lambda: circle(np.ones((6, 2))), "drive", "does not move"),
    (
        lambda: modes(dunlin(), dampers(1.0, 1.0), BodyInertia(roll=np.array(0.0), pitch=np.array(1.0))),
        "inertia",
        "positive",
    ),
    (lambda: profile(DRIFT, blend=-1.0), "phases", "times"),
    (lambda: profile(DRIFT, step=0.0), "phases", "times"),
    (lambda: profile(DRIFT, step=np.inf), "phases", "times"),
    (lambda: push_turn_per_travel(dunlin(), TYRES, np.full(4, 4.0), push_pct=np.nan), "push", "not a number"),
    (lambda: reachable_pivots(stacked([dunlin()]), TYRES), "pivots", "one set-up"),
    (lambda: reachable(dunlin(), TYRES, directions=7), "region", "few"),
    (lambda: reachable(dunlin(), TYRES, shares=1), "region", "few"),
    (lambda: usual_changes(stacked([dunlin()])), "set-up changes", "one set-up"),
    (lambda: with_ballast(dunlin(), -2.0, (0.1, 0.0, 0.03)), "ballast", "more mass"),
    (lambda: checked_tyres(Tyres(grip=np.ones(4), sensitivity=np.zeros(4), nominal=np.zeros(4))), "tyres", "nominal"),
    (lambda: Driveline(drive_front=1.1), "tyres", "drive_front 1.1"),
]


@pytest.mark.parametrize(("call", "where", "what"), REFUSED, ids=range(len(REFUSED)))
def test_what_cannot_be_is_refused_by_name(call: Callable[[], object], where: str, what: str) -> None:
    check_refused(call, where, what)
