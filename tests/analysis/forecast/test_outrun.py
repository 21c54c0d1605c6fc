"""Forecasts of rolling cars of which some draws would drive off ahead of the finger; what their spread is due to.

Truth: each cause tried alone (what is known of the others, and the side to which the pivot falls, left as it is); a
wheel that points aside by an angle d, h beside the middle, moves its axle's line there by h tan d (geometry).
"""

from dataclasses import replace

import numpy as np
import pytest

from analysis.forecast.draws import assemble, draw_groups
from analysis.forecast.forecast import predict_push
from analysis.forecast.inputs import CarState, PushState, doubt_groups
from analysis.forecast.slide import slide
from analysis.sliding.finger import FingerKind
from analysis.whole_push.finite import Until

L, H, WEIGHT, STEER = 0.26, 0.085, 1.6 * 9.81, np.radians(0.6)
PLACE = np.array([[L, H], [L, -H], [0.0, H], [0.0, -H]])
SHORT = Until(turn=0.02, travel=0.06)
UNTIL = Until(turn=np.radians(10.0), travel=0.06)


def rolling() -> CarState:
    """Drag and slope let two of a hundred drive off; the rear wheels' common direction moves the pivot most."""
    return CarState(
        wheelbase=L,
        contact_place=PLACE,
        load=np.full(4, WEIGHT / 4),
        grip=np.full(4, 0.8),
        drag=np.full(4, 0.02),
        drag_u=np.full(4, 0.008),
        patch=np.array([[0.0096, 0.024]] * 2),
        patch_u=np.full(2, 0.3),
        steer_u=np.full(2, STEER),
        grip_ratio_u=0.05,
    )


def test_the_causes_named_are_those_that_alone_move_it() -> None:
    car, push, n = rolling(), PushState(station=0.22, fall_u=0.004), 1500
    told = predict_push(car, push, rng=np.random.default_rng(2), until=UNTIL, draws=2000)
    groups = doubt_groups(car, push)
    scores = draw_groups(groups, n, np.random.default_rng(3))
    whole = slide(assemble(car, push, scores, n), L, UNTIL)
    assert 0.004 < whole.outrun.mean() < 0.05
    alone = {one: slide(assemble(car, push, {one: scores[one]}, n), L, UNTIL).kappa.var() for one in groups}
    first, second = sorted(alone, key=lambda one: -alone[one])[:2]
    assert [one.name for one in told.sensitivity[:2]] == [first, second] == ["steering", "contact patch"]
    assert told.sensitivity[0].share == pytest.approx(alone[first] / whole.kappa.var(), abs=0.1)
    low, high = told.estimate.interval
    assert told.estimate.kappa == pytest.approx(0.5 * (low + high), abs=0.1 * (high - low))
    assert told.estimate.kappa_u == pytest.approx(0.25 * (high - low), rel=0.2)
    # the rear axle's line at the wheel on which the car turns: kappa = 1/(L/2 - x)
    assert told.sensitivity[0].u == pytest.approx(told.best**2 * H * np.tan(STEER), rel=0.15)
    before = predict_push(
        replace(car, whole_patches="all"), push, rng=np.random.default_rng(2), until=UNTIL, draws=2000
    )
    assert before.estimate.kappa_u > 4 * told.estimate.kappa_u


@pytest.mark.parametrize(("finger", "friction"), [("rolling", 0.0), ("rubbing", 0.003)])
def test_a_car_that_mostly_drives_off_is_told(finger: FingerKind, friction: float) -> None:
    car = replace(rolling(), heading=np.full(4, np.radians(2.0)), drag=np.full(4, 0.012), drag_u=np.full(4, 0.001))
    push = PushState(station=0.22, finger=finger, finger_friction=friction, finger_y=-0.09)  # type: ignore[arg-type]
    told = predict_push(car, push, rng=np.random.default_rng(2), until=SHORT, draws=200)
    assert any("% of the draws the car rolls off along its own axis" in one for one in told.warnings)
    assert not predict_push(rolling(), push, rng=np.random.default_rng(2), until=SHORT, draws=200).warnings
