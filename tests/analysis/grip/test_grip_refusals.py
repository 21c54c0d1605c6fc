"""Grip refuses measurements that cannot be, and names what is wrong and where."""

from collections.abc import Callable

import numpy as np
import pytest

from analysis.forecast.inputs import CarState, PushState
from analysis.grip.bench_tests import OnBalance, OnBoard, pull, tilt_axle, tilt_car
from analysis.grip.combine import GripMeasurement, combine
from analysis.grip.next_push import most_informative_station
from analysis.grip.sweep import SweepNull, ratio_from_null, sweep_null
from tests.analysis.refused import Refusal, check_refused

L, H = 0.26, 0.085
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
CAR = CarState(wheelbase=L, contact_place=PLACE, load=np.full(4, 4.0), grip=np.full(4, 0.8), drag=np.ones(4))
PUSH = PushState(station=0.2)
THERE_AND_BACK = np.array([0.10, 0.12, 0.14, 0.16])


def tilt(angle: float, angle_u: float = 0.004, front_share: float = 0.5, **more: object) -> object:
    board = OnBoard(angle=angle, angle_u=angle_u, front_share=front_share, height_ratio=0.14)
    return tilt_axle(board, **({"axle": "rear"} | more))


def pulled(force: float, load: float, angle: float = 0.0) -> object:
    return pull(OnBalance(force=force, force_u=0.1, load=load, load_u=0.1, angle=angle), quantity="mean")


def null(station: float) -> SweepNull:
    return SweepNull(station=station, station_u=1e-3, interval=(0, 1), how="line", chance=1.0, pushes=5)


REFUSED: list[Refusal] = [
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
]


@pytest.mark.parametrize(("call", "where", "what"), REFUSED, ids=range(len(REFUSED)))
def test_what_cannot_be_is_refused_by_name(call: Callable[[], object], where: str, what: str) -> None:
    check_refused(call, where, what)
