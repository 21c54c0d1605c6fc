"""What the lesson teaches, each rule beside a computed case: right ones come out right, wrong ones wrong."""

import numpy as np
import pytest

from analysis.sliding.contacts import Contacts, centre_of_friction
from analysis.sliding.finger import Finger
from analysis.sliding.solve import solve_push
from rig.page.bench.lesson_steps import STEPS
from rig.page.classroom.prints import PLAN, WRONG_IDEAS

LENGTH = 0.26


def car(
    *,
    load: tuple[float, ...] = (4.0, 4.0, 4.0, 4.0),
    grip: tuple[float, ...] = (0.8, 0.8, 0.8, 0.8),
    track: float = 0.17,
    drag: float = 1.0,
) -> Contacts:
    place = np.array([[LENGTH, track / 2], [LENGTH, -track / 2], [0.0, track / 2], [0.0, -track / 2]])
    return Contacts(place=place, load=np.array(load), grip=np.array(grip), drag=np.full(4, drag), heading=np.zeros(4))


def kappa(contacts: Contacts, pct: float) -> float:
    """Turn per sideways travel of the middle, 1/m, pushed to the left: negative when the tail leads."""
    finger = Finger(
        kind="rolling",
        place=np.array([pct / 100 * LENGTH, -0.1]),
        direction=np.array([0.0, 1.0]),
        friction=np.array(0.0),
        height=np.array(0.0),
    )
    _, vy, rate = (float(part) for part in np.asarray(solve_push(contacts, finger).twist).reshape(3))
    return rate / (vy + rate * LENGTH / 2)


def test_at_the_middle_the_end_that_grips_more_or_carries_more_lags_behind() -> None:
    assert kappa(car(), 50.0) == pytest.approx(0.0, abs=1e-6)
    assert kappa(car(grip=(0.96, 0.96, 0.8, 0.8)), 50.0) < -0.1
    assert kappa(car(grip=(0.8, 0.8, 0.96, 0.96)), 50.0) > 0.1
    assert kappa(car(load=(4.8, 4.8, 4.0, 4.0)), 50.0) < -0.1


def test_all_loads_doubled_same_pivot() -> None:
    for pct in (60.0, 85.0):
        once = kappa(car(load=(4.4, 4.4, 3.6, 3.6)), pct)
        assert kappa(car(load=(8.8, 8.8, 7.2, 7.2)), pct) == pytest.approx(once, rel=1e-6)


def test_a_wider_track_turns_less_about_the_same_balance_point() -> None:
    narrow, wide = (car(grip=(0.96, 0.96, 0.8, 0.8), track=track) for track in (0.15, 0.20))
    assert abs(kappa(wide, 50.0)) < abs(kappa(narrow, 50.0))
    for contacts in (narrow, wide):
        assert float(centre_of_friction(contacts)) == pytest.approx(LENGTH * 0.96 / 1.76)
        assert kappa(contacts, 100 * 0.96 / 1.76) == pytest.approx(0.0, abs=1e-6)


def test_free_wheels_show_the_same_balance_point_by_the_axle() -> None:
    rolling = car(grip=(0.96, 0.96, 0.8, 0.8), drag=0.01)  # balance at 54.5 %
    assert 0.5 * LENGTH - 1 / kappa(rolling, 50.0) == pytest.approx(LENGTH, abs=0.004)  # about the front axle
    assert 0.5 * LENGTH - 1 / kappa(rolling, 60.0) == pytest.approx(0.0, abs=0.004)  # ahead of it: the rear axle


def test_it_does_not_turn_about_the_finger_nor_about_the_middle() -> None:
    pole = 0.5 * LENGTH - 1 / kappa(car(), 85.0)
    assert pole < -0.02  # behind the rear axle


def test_a_front_wheel_in_the_air_leaves_the_sums_of_the_axles() -> None:
    # statics, by hand: moments about the rear axle do not know left from right
    total, station = 16.0, 0.13
    front = total * station / LENGTH
    assert front / total == pytest.approx(0.5)  # and not a third
    assert any("two thirds" in heard and "sums of the axles stay" in helps for heard, helps in WRONG_IDEAS)


def test_the_story_is_in_order_and_weight_is_not_grip() -> None:
    names = [step.name for step in STEPS]
    order = ["balanced", "ballast-forward", "front-grip", "straight", "free", "ahead"]
    assert [name for name in names if name in order] == order
    words = " ".join([*(step.notes for step in STEPS), *(helps for _, helps in WRONG_IDEAS)]).lower()
    assert "weight is grip" not in words
    assert "load times its grip factor" in words
    plan = [what for _, what, _ in PLAN]
    seen = next(i for i, what in enumerate(plan) if "Write down what you saw" in what)
    assert plan[seen].index("saw") < plan[seen].index("reason") < plan[seen].index("Vote") < plan[seen].index("Reveal")
