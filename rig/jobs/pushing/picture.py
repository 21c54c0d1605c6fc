"""The top view of a test, from the record of it: new or told again; and of a car not pushed yet."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.pivot import PivotEstimate
from analysis.base.plane import compose, invert
from analysis.figures.car import CarPicture, PivotMark
from analysis.statistics.quantiles import CHI_SQUARE_95_PLANE
from analysis.weighing.corner_weights import CornerWeights
from rig.cards.keys.car import CarCard
from rig.cards.measures import MM, contact_place, wheelbase
from rig.cards.read import CardSet
from rig.records.pushing import PredictionResult, PushRow

SWEPT_OUTLINES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class PushedPoses:
    """The poses behind a push. time: (n,) s.  pose: (n, 3) m, m, rad, floor axes.  start, end: s, of the slide."""

    time: FloatArray
    pose: FloatArray
    start: float
    end: float


def test_picture(
    cards: CardSet,
    weights: CornerWeights | None,
    *,
    measured: PivotEstimate | None,
    push: PushRow | None,
    forecast: PredictionResult | None,
    poses: PushedPoses | None,
    verdict: str,
) -> CarPicture:
    """What the top view shows of a test that was pushed or forecast; None for what there is not.

    push: the one that was measured, with its poses; a pivot that was typed in has none.  verdict: the sentence below.
    """
    length = wheelbase(cards.car)
    swept = None
    if push is not None and poses is not None:
        swept = swept_poses(
            poses.time, poses.pose, start=poses.start, end=poses.end, start_pose=np.array(push.start_pose)
        )
    mark = None
    if forecast is not None and forecast.place_m is not None:
        mark = PivotMark(place=np.array(forecast.place_m), region=np.array(forecast.region_m))
    return car_picture(
        cards,
        weights,
        balance=None
        if forecast is None
        else (forecast.balance_pct / 100 * length, forecast.balance_u_pct / 100 * length),
        measured=measured_mark(
            measured,
            None if push is None or push.place_m is None else np.array(push.place_m),
            None if push is None or push.place_covariance_m2 is None else np.array(push.place_covariance_m2),
        ),
        forecast=mark,
        swept=swept,
        verdict=verdict,
    )


def body_of(car: CarCard) -> tuple[float, float, float]:
    """The body from above, m: overhang ahead of the front axle, behind the rear axle, width."""
    geometry = car.geometry
    return geometry.body_front_mm * MM, geometry.body_rear_mm * MM, geometry.body_width_mm * MM


def car_picture(
    cards: CardSet,
    weights: CornerWeights | None,
    *,
    balance: tuple[float, float] | None = None,
    measured: PivotMark | None = None,
    forecast: PivotMark | None = None,
    swept: FloatArray | None = None,
    verdict: str = "",
) -> CarPicture:
    """What the top view shows of a test; what is not given is not known yet.

    balance: m ahead of the rear axle, and its standard uncertainty.  swept: (m, 3) m, m, rad, from `swept_poses`.
    verdict: the sentence below the picture.
    """
    geometry, push, length = cards.car.geometry, cards.test.push, wheelbase(cards.car)
    side = 1 if push.side == "right" else -1
    station, station_u = (None, 0.0) if balance is None else balance
    return CarPicture(
        title=f"{cards.car.name}: {cards.test.name}",
        wheelbase=length,
        contact_place=contact_place(cards.car),
        body=body_of(cards.car),
        load_g=None if weights is None else weights.load_g,
        cg=None if weights is None else weights.cg,
        push=np.array([push.position_pct / 100 * length, -side * geometry.body_width_mm / 2 * MM]),
        push_side=side,
        balance=station,
        balance_u=station_u,
        measured=measured,
        forecast=forecast,
        swept=np.zeros((0, 3)) if swept is None else swept,
        verdict=verdict,
    )


def measured_mark(
    measured: PivotEstimate | None, pole: FloatArray | None, covariance: FloatArray | None
) -> PivotMark | None:
    """The measured pivot. pole: (2,) m, car axes, with covariance (2, 2) m²; None for one that was typed in."""
    if measured is None or measured.station_pct is None:
        return None
    if pole is not None and covariance is not None:
        return PivotMark(place=pole, region=_ellipse(pole, covariance))
    return PivotMark(place=np.array([measured.station_pct / 100 * measured.wheelbase, 0.0]))


def swept_poses(time: FloatArray, pose: FloatArray, *, start: float, end: float, start_pose: FloatArray) -> FloatArray:
    """(m, 3) poses from the start of a push to its end, in the car axes of its start.

    time: (n,) s.  pose: (n, 3) m, m, rad, floor axes.  start, end: s.  start_pose: (3,) m, m, rad.
    """
    moments = np.linspace(start, end, SWEPT_OUTLINES + 1)[1:]
    shown = np.stack([np.interp(moments, time, pose[:, axis]) for axis in range(3)], axis=-1)
    return compose(invert(start_pose), shown)


def _ellipse(centre: FloatArray, covariance: FloatArray) -> FloatArray:
    """(48, 2) m, outline that holds 95 % of a plane normal distribution (chi-square, 2 degrees of freedom).

    centre: (2,) m.  covariance: (2, 2) m².
    """
    values, axes = np.linalg.eigh(covariance)
    around = np.linspace(0.0, 2 * np.pi, 48, endpoint=False)
    circle = np.stack([np.cos(around), np.sin(around)], axis=-1)
    outline: FloatArray = centre + circle * np.sqrt(CHI_SQUARE_95_PLANE * np.maximum(values, 0.0)) @ axes.T
    return outline
