"""Input that cannot be is refused with what is wrong and where, in every part of the analysis that a person feeds."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.base.pivot import PivotEstimate
from analysis.forecast.changes import Ballast, pivot_map, to_reach
from analysis.forecast.inputs import CarState, PushState
from analysis.grip.bench_tests import OnBalance, OnBoard, pull, tilt_axle, tilt_car
from analysis.grip.combine import GripMeasurement, combine
from analysis.grip.next_push import most_informative_station
from analysis.grip.sweep import SweepNull, ratio_from_null, sweep_null
from analysis.moving.bench_rates import Measured, bar_rate, motion_ratio, roll_split, roll_split_by_blocking
from analysis.moving.bounce import fit_bounce
from analysis.moving.chassis import checked, stacked
from analysis.moving.dampers import BodyInertia, dampers
from analysis.moving.equilibrium import equilibrium
from analysis.moving.floor_drive import circle
from analysis.moving.modes import modes
from analysis.moving.phases import DRIFT, profile
from analysis.moving.pivots import push_turn_per_travel, reachable_pivots
from analysis.moving.region import reachable
from analysis.moving.setup_changes import usual_changes, with_ballast
from analysis.moving.tyres import Tyres, balance, checked_tyres, tyres_like
from analysis.quick.quickness import inertia_ratio
from analysis.quick.slide import Body, FingerMotion, push_quickly
from analysis.series.plan import (
    Hypothesis,
    LadderEntry,
    SeriesPush,
    analyse_series,
    grip_ladder,
    hidden_change,
    most_telling_push,
    plan_series,
    pushes_needed,
)
from analysis.sliding import Contacts, Finger, solve_push
from analysis.statistics.least_squares import least_squares
from analysis.statistics.monte_carlo import adaptive_monte_carlo, coverage_interval, square_root
from tests.analysis.moving.moving_cars import dunlin

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
CAR = CarState(wheelbase=L, contact_place=PLACE, load=np.full(4, 4.0), grip=np.full(4, 0.8), drag=np.ones(4))
PUSH = PushState(station=0.2)
BLOCK = Contacts(place=PLACE, load=np.full(4, 4.0), grip=0.8)
TOUCH = Finger(kind="rolling", place=(0.2, 0))
BODY = Body(mass=1.6, yaw_inertia=0.02, centre=(L / 2, 0.0))
LINE = np.linspace(0.0, 1.0, 30)


def tilt(angle: float, angle_u: float = 0.004, front_share: float = 0.5, **more: object) -> object:
    board = OnBoard(angle=angle, angle_u=angle_u, front_share=front_share, height_ratio=0.14)
    return tilt_axle(board, **({"axle": "rear"} | more))  # type: ignore[arg-type]


def pulled(force: float, load: float, angle: float = 0.0) -> object:
    return pull(OnBalance(force=force, force_u=0.1, load=load, load_u=0.1, angle=angle), quantity="mean")


def told(kappa: float) -> PivotEstimate:
    return PivotEstimate(kappa=kappa, kappa_u=0.1, interval=(kappa, kappa), wheelbase=L, count=1, method="")


def planned(setups: list[dict[str, str]], **more: object) -> object:
    given = {"baseline": None, "rng": np.random.default_rng(1)} | more
    return plan_series(setups, **given)  # type: ignore[arg-type]


def null(station: float) -> SweepNull:
    return SweepNull(station=station, station_u=1e-3, interval=(0, 1), how="line", chance=1.0, pushes=5)


def series(*levels: str) -> list[SeriesPush]:
    return [SeriesPush(setup={"t": one}, block=i, kappa=4.0 + i, kappa_u=0.1, order=i) for i, one in enumerate(levels)]


LADDER = [LadderEntry(name=one, log_ratio=0.0, log_u=0.1) for one in "ab"]
MAYBE = [Hypothesis(name="a", car=CAR), Hypothesis(name="b", car=CAR)]
TYRES = tyres_like(dunlin(), front=0.8, rear=0.8)
NO_ROOM = Ballast(mass=0.1, station=0.1, low=0.2, high=0.2)
RATE = Measured(value=10.0, u=0.1, method="")
THERE_AND_BACK = np.array([0.10, 0.12, 0.14, 0.16])

CASES: list[tuple[Callable[[], object], str, str]] = [
    (lambda: to_reach(CAR, PUSH, -30.0, rng=np.random.default_rng(1), ballast=NO_ROOM), "ballast", "room to move"),
    (lambda: pivot_map(CAR, PUSH, station=np.ones(1), grip_ratio=np.zeros(1)), "grip ratio", "above zero"),
    (lambda: analyse_series(series("a", "b", "c")), "series", "fewer pushes"),
    (lambda: pushes_needed(0.0, 0.1), "pushes needed", "positive"),
    (lambda: pushes_needed(0.1, -0.1), "pushes needed", "positive"),
    (lambda: pushes_needed(0.1, 0.1, block_u=-1e-9), "pushes needed", "positive"),
    (lambda: pushes_needed(0.1, 0.1, power=0.5), "pushes needed", "power"),
    (lambda: pushes_needed(0.1, 0.1, power=1.0), "pushes needed", "power"),
    (lambda: planned([]), "series", "even number"),
    (lambda: planned([{"t": "a"}], repeats=3), "series", "even number"),
    (lambda: planned([{"t": "a"}], repeats=0), "series", "even number"),
    (lambda: planned([{"t": "a"}], run_in=-1), "series", "even number"),
    (lambda: planned([{"t": "a"}], rounds=0), "series", "even number"),
    (lambda: planned([{"t": "a"}, {"b": "a"}]), "series", "same factors"),
    (lambda: planned([{"t": "a"}], baseline={"b": "a"}), "series", "same factors"),
    (lambda: planned([{"t": "a"}], slow=["b"]), "slow factors", '"b" is no factor'),
    (lambda: grip_ladder([LADDER[0], LADDER[0]]), "grip ladder", "different names"),
    (lambda: hidden_change(MAYBE[:1], []), "hidden change", "at least two"),
    (lambda: hidden_change([MAYBE[0], MAYBE[0]], []), "hidden change", "different names"),
    (lambda: hidden_change([MAYBE[0], Hypothesis(name="b", car=CAR, prior=0.0)], []), "hidden change", "weights"),
    (lambda: most_telling_push(MAYBE, {"a": 0.5, "b": 0.5}, [], kappa_u=0.1), "most telling push", "no push"),
    (
        lambda: combine([GripMeasurement(quantity="mean", value=0.8, relative_u=0.1, method="m", front_weight=1.1)]),
        "m",
        "front",
    ),
    (lambda: tilt(0.0), "tilt board", "no slope"),
    (lambda: tilt(np.pi / 2), "tilt board", "no slope"),
    (lambda: tilt(0.5, angle_u=0.0), "tilt board", "uncertainty above 0"),
    (lambda: tilt(0.5, axle="front", front_share=0.09), "tilt board, front axle", "almost nothing"),
    (lambda: tilt(0.1, rolling=0.9), "tilt board, rear axle", "rolling resistance alone"),
    (
        lambda: tilt_car(OnBoard(angle=1.2, angle_u=0.01, front_share=0.2, height_ratio=0.14)),
        "tilt board, whole car",
        "lift",
    ),
    (lambda: pulled(0.0, 8.0), "horizontal pull", "above zero"),
    (lambda: pulled(1.0, 0.0), "horizontal pull", "above zero"),
    (lambda: pulled(9.0, 8.0, 1.4), "horizontal pull", "lifts"),
    (lambda: ratio_from_null(null(L), wheelbase=L, front_share=0.5, front_share_u=0.0), "push sweep", "outside"),
    (lambda: ratio_from_null(null(0.0), wheelbase=L, front_share=0.5, front_share_u=0.0), "push sweep", "outside"),
    (lambda: ratio_from_null(null(0.1), wheelbase=L, front_share=1.0, front_share_u=0.0), "push sweep", "share"),
    (lambda: ratio_from_null(null(0.1), wheelbase=L, front_share=0.0, front_share_u=0.0), "push sweep", "share"),
    (
        lambda: sweep_null(
            THERE_AND_BACK, np.array([-1.0, 7.0, -7.0, 1.0]), kappa_u=np.full(4, 0.1), station_u=1e-4, rolling=True
        ),
        "push sweep",
        "out of order",
    ),
    (lambda: most_informative_station(CAR, PUSH, kappa_u=0.0, now_u=0.1), "most informative push", "above zero"),
    (lambda: most_informative_station(CAR, PUSH, kappa_u=0.1, now_u=0.0), "most informative push", "above zero"),
    (lambda: least_squares(np.ones((3, 2)), np.ones(3)), "fit", "3 observations do not determine 2"),
    (lambda: least_squares(np.eye(1, 2), np.ones(1)), "fit", "1 observations do not determine 2"),
    (lambda: least_squares(np.eye(2), np.ones(2), covariance=-np.eye(2)), "fit", "no positive variance"),
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
    (lambda: balance(dunlin(), TYRES, np.full(4, 4.0), 0.0, 1.0, drive_front=1.1), "tyres", "drive_front 1.1"),
    (lambda: push_quickly(BLOCK, BODY, FingerMotion(station=0.2, side=0), wheelbase=L), "finger", "side"),
    (lambda: push_quickly(BLOCK, BODY, FingerMotion(station=0.2, ramp=-0.1), wheelbase=L), "finger", "ramp"),
    (
        lambda: inertia_ratio(np.arange(6.0), np.zeros((6, 3)), np.zeros((6, 3, 3)), contacts=BLOCK, body=BODY),
        "quick push",
        "7 frames",
    ),
    (
        lambda: inertia_ratio(
            LINE, np.zeros((30, 3)), np.tile(1e-9 * np.eye(3), (30, 1, 1)), contacts=BLOCK, body=BODY
        ),
        "quick push",
        "does not move",
    ),
    (
        lambda: solve_push(Contacts(place=np.ones(2), load=4.0, grip=0.8), Finger(kind="rolling", place=(0, 0))),
        "contact places",
        "shape",
    ),
    (lambda: solve_push(BLOCK, Finger(kind="rolling", place=0.2)), "push position", "two numbers"),
    (
        lambda: solve_push(
            Contacts(place=PLACE, load=np.full(4, 4.0), sensitivity=0.1, nominal_load=0.0),
            Finger(kind="rolling", place=(0.2, 0)),
        ),
        "nominal load",
        "above zero",
    ),
    (lambda: solve_push(Contacts(place=PLACE, load=np.full(5, 4.0)), TOUCH), "contacts", "fit together"),
    (
        lambda: solve_push(Contacts(place=np.zeros((1, 2)), load=np.full(4, 4.0)), TOUCH),
        "contacts",
        "number of contacts",
    ),
    (lambda: coverage_interval(np.array([])), "coverage interval", "no samples"),
    (lambda: square_root(np.ones((2, 3))), "covariance", "square"),
    (lambda: square_root(np.ones(4)), "covariance", "square"),
    (lambda: square_root(np.array([[np.nan]])), "covariance", "finite"),
    (
        lambda: adaptive_monte_carlo(lambda n, _: np.zeros(n), rng=np.random.default_rng(1), block=10, max_draws=19),
        "Monte Carlo",
        "two blocks",
    ),
]


@pytest.mark.parametrize(("call", "where", "what"), CASES, ids=range(len(CASES)))
def test_what_cannot_be_is_refused_by_name(call: Callable[[], object], where: str, what: str) -> None:
    with pytest.raises(InputError, match=what) as caught:
        call()
    assert where in caught.value.where
    assert caught.value.remedy
    assert caught.value.exit_code == 2
