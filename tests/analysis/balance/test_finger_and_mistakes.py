"""Did the finger slide or stick, and which single mistake would bring measurement and forecast together."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.balance.finger_reading import as_the_finger_moved, read_finger
from analysis.balance.reconcile import usual_mistakes, what_would_reconcile
from analysis.balance.results import FingerFound, TurnSeen
from analysis.forecast.inputs import CarState, PushState
from tests.analysis.balance.balance_cars import L, car, kappa_for, seen

SIDE_Y = -0.09
PUSH = PushState(station=0.6 * L, finger_y=SIDE_Y, direction_u=0.01, station_u=0.001)


def reading(kappa, drift, *, drift_u=0.003, drag=1.0):
    # a short push: the finger's line, fixed on the floor, hardly leaves square to the car
    return read_finger(car(drag=drag), PUSH, seen(kappa, travel=0.004, drift=drift, drift_u=drift_u))


def test_the_pivot_at_the_finger_is_a_finger_that_stuck() -> None:
    # Kinematics: where the finger sticks and goes square to the car nothing moves forward, so the pivot has its y;
    # drift = kappa · y of the pivot. A sliding finger on an even car leaves it on the middle line: drift 0.
    kappa = 1.5
    assert reading(kappa, kappa * SIDE_Y).found is FingerFound.STUCK
    assert reading(kappa, 0.0).found is FingerFound.SLID
    assert reading(-kappa, -kappa * SIDE_Y).found is FingerFound.STUCK
    assert reading(kappa, 0.5 * kappa * SIDE_Y).found is FingerFound.CANNOT_TELL


def test_a_straight_push_or_rolling_wheels_cannot_tell() -> None:
    straight = reading(0.05, 0.0)
    assert straight.found is FingerFound.CANNOT_TELL
    assert "too straight" in straight.reason
    assert "roll" in reading(1.5, 0.0, drag=0.02).reason
    assert "not measured" in reading(1.5, 0.0, drift_u=float("inf")).reason
    assert "neither" in reading(1.5, 0.5).reason


def test_the_finger_is_taken_as_it_moved() -> None:
    stuck, slid, unsure = reading(1.5, 1.5 * SIDE_Y), reading(1.5, 0.0), reading(0.05, 0.0)
    assert as_the_finger_moved(PUSH, stuck).finger == "sticking"
    assert as_the_finger_moved(replace(PUSH, finger="sticking"), slid).finger == "rolling"
    assert as_the_finger_moved(replace(PUSH, finger="rubbing", finger_friction=0.3), stuck).finger == "rubbing"
    assert as_the_finger_moved(PUSH, unsure) is PUSH


WELL_KNOWN = car(grip_ratio_u=0.02)


def ranked(push, kappa, **known):
    shown = seen(kappa, u=0.02)
    mistakes = usual_mistakes(WELL_KNOWN, push, shown, **known)
    return what_would_reconcile(WELL_KNOWN, push, shown, mistakes)


def test_a_position_from_the_wrong_axle_is_found() -> None:
    # By hand: the card says 42 %, the finger stood at 58 %: the balance at 50 then turns it by kappa_for(58 %).
    found = ranked(PushState(station=0.42 * L, station_u=0.001), kappa_for(0.58 * L, 50.0))
    best = found[0]
    assert best.name == "the position was measured from the front axle"
    assert best.reconciles
    assert best.forecast == pytest.approx(kappa_for(0.58 * L, 50.0), abs=1e-3)
    assert best.odds > 10
    others = {one.name: one for one in found[1:]}
    assert not others["the car was pushed on its other side"].reconciles
    assert len(found) >= 12


def test_wheels_that_rolled_are_found() -> None:
    # A rolling car pushed well ahead of its balance swings about the rear axle: kappa = 2/L exactly.
    found = ranked(PushState(station=0.75 * L), 2 / L)
    assert found[0].name in ("all wheels were free", "the rear wheels were free")
    assert found[0].reconciles
    assert {one.name for one in found} >= {"the front wheels were free", "the rear wheels were free"}
    assert not any("blocked" in one.name for one in found)  # they are so on the card


def test_a_finger_that_stuck_is_found() -> None:
    # By hand, near the balance: kappa = (s - x)/(h² + y²) instead of (s - x)/h².
    push = PushState(station=0.57 * L, finger_y=-0.085, direction_u=0.005)
    found = ranked(push, 0.07 * L / (0.085**2 + 0.085**2))
    assert next(one for one in found if "stuck" in one.name).reconciles
    assert not next(one for one in found if "front axle" in one.name).reconciles


def test_weights_of_another_state_are_tried() -> None:
    heavy = replace(WELL_KNOWN, load=np.array([4.4, 4.4, 3.44, 3.44]))
    found = ranked(
        PushState(station=L / 2), kappa_for(L / 2, 100 * 4.4 / 7.84), other_weights=[("battery 0 → 120 g", heavy)]
    )
    assert found[0].name == "the car was pushed in another state (battery 0 → 120 g)"
    assert found[0].reconciles


def test_the_plate_is_tried_by_its_geometry() -> None:
    # By hand: a pivot 100 mm behind the middle seen 10 mm too far back or forward: 1/κ = 0.1 -> 0.09 or 0.11 m.
    shown = seen(10.0, u=0.02)
    mistakes = {one.name: one for one in usual_mistakes(WELL_KNOWN, PUSH, shown)}
    forward = mistakes["the marker plate sits 10 mm further forward than the card says"].seen
    back = mistakes["the marker plate sits 10 mm further back than the card says"].seen
    assert forward is not None
    assert back is not None
    assert (1 / forward.kappa, 1 / back.kappa) == pytest.approx((0.09, 0.11))


def changed(one: object, plain: object) -> dict[str, object]:
    """The fields in which one differs from the other."""
    pairs = ((name, getattr(one, name), getattr(plain, name)) for name in type(plain).__dataclass_fields__)  # type: ignore[attr-defined]
    return {name: a.tolist() if isinstance(a, np.ndarray) else a for name, a, b in pairs if not np.array_equal(a, b)}


def what_differs(held: CarState, push: PushState, shown: TurnSeen) -> dict[str, dict[str, object]]:
    """Each usual mistake, and what it changes on the car, the push and in the clip."""
    return {
        one.name: changed(one.car, held) | changed(one.push, push) | changed(one.seen or shown, shown)
        for one in usual_mistakes(held, push, shown, other_weights=[("body", replace(held, load=np.arange(1.0, 5.0)))])
    }


def test_every_usual_mistake_changes_what_it_names_and_nothing_else() -> None:
    """By hand, of a car whose front wheels roll on a solid axle and whose wheels differ in everything."""
    held = car(
        drag=(0.03, 0.04, 1.0, 1.0),
        drag_u=np.array([0.011, 0.012, 0.013, 0.014]),
        heading=np.array([0.01, -0.02, 0.03, 0.005]),
        front_kind="solid",
        rear_kind="differential",
        along=np.array([0.9, 0.91, 1.1, 1.2]),
        along_u=np.array([0.05, 0.07]),
    )
    push = PushState(station=0.08, side=-1, finger_y=0.07, height=0.021, height_u=0.002)
    found = what_differs(held, push, seen(4.0, drift=0.3))
    tilt = np.radians(4.0)
    cos, sin = np.cos(np.radians(3.0)), np.sin(np.radians(3.0))
    kept = {
        "the position was measured from the front axle": {"station": pytest.approx(0.18)},
        "all wheels were blocked": {"drag": [1.0] * 4, "drag_u": [0.0] * 4, "front_kind": "free", "rear_kind": "free"},
        "all wheels were free": {"drag": [0.02] * 4, "drag_u": [0.01] * 4},
        "the front wheels were blocked": {
            "drag": [1.0] * 4,
            "drag_u": [0.0, 0.0, 0.013, 0.014],
            "front_kind": "free",
        },
        "the rear wheels were free": {"drag": [0.03, 0.04, 0.02, 0.02], "drag_u": [0.011, 0.012, 0.01, 0.01]},
        "the steering was not held and went 4° to the left": {
            "heading": pytest.approx([0.01 + tilt, -0.02 + tilt, 0.03, 0.005])
        },
        "the steering was not held and went 4° to the right": {
            "heading": pytest.approx([0.01 - tilt, -0.02 - tilt, 0.03, 0.005])
        },
        "the car was pushed on its other side": {"side": 1, "finger_y": -0.07},
        # a pivot 250 mm behind the middle is seen at 240 or 260
        "the marker plate sits 10 mm further forward than the card says": {"kappa": pytest.approx(1 / 0.24)},
        "the marker plate sits 10 mm further back than the card says": {"kappa": pytest.approx(1 / 0.26)},
        # a plate that points 3 degrees to the left shows axes that do: sideways is sin 3° of the way forward more
        "the marker plate is turned by 3° to the left": {"kappa": pytest.approx(4.0 / (cos + 0.3 * sin))},
        "the marker plate is turned by 3° to the right": {"kappa": pytest.approx(4.0 / (cos - 0.3 * sin))},
        "the marker plate was put on the wrong way round, front to back": {"kappa": -4.0},
        "the car was pushed in another state (body)": {"load": [1.0, 2.0, 3.0, 4.0]},
        "the height was meant in cm": {"height": pytest.approx(0.21), "height_u": pytest.approx(0.02)},
        "the finger stuck to the car instead of sliding": {"finger": "sticking"},
    }
    assert found == kept
    blocked = replace(held, drag=np.ones(4))
    high = replace(push, height=0.21, height_u=0.02, finger="sticking")
    found = what_differs(blocked, high, seen(4.0, drift=0.3))
    assert {name for name in kept if name not in found} == {
        "all wheels were blocked",
        "the front wheels were blocked",
        "the height was meant in cm",
        "the finger stuck to the car instead of sliding",
    }
    assert {name: found[name] for name in found if name not in kept} == {
        "the front wheels were free": {"drag": [0.02, 0.02, 1.0, 1.0], "drag_u": [0.01, 0.01, 0.013, 0.014]},
        "the height was given in cm": {"height": pytest.approx(0.021), "height_u": pytest.approx(0.002)},
        "the finger slid along the car instead of sticking": {"finger": "rolling"},
        "the front tyres grip a fifth less along than across": {
            "along": pytest.approx([0.72, 0.728, 1.1, 1.2]),
            "along_u": pytest.approx([0.04, 0.07]),
        },
        "the rear tyres grip a fifth less along than across": {
            "along": pytest.approx([0.9, 0.91, 0.88, 0.96]),
            "along_u": pytest.approx([0.05, 0.056]),
        },
    }
