"""Floor, shims and ballast by hand, on a car with four alike springs."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.base.wheels import CROSS
from analysis.weighing.corner_weights import corner_weights
from analysis.weighing.cross_weight import floor_verdict, plan_shims
from analysis.weighing.parts import Target, place_ballast
from analysis.weighing.warp import SpringRates, response_from_rates, response_from_shim
from tests.analysis.weighing.rectangle import rectangle_contacts

ALIKE = SpringRates(
    spring=np.full(4, 2500.0),
    motion_ratio=np.full(4, 0.65),
    tyre=np.full(4, math.inf),
    bar=np.zeros(2),
    track=np.array([0.17, 0.17]),
)

CONTACT = rectangle_contacts(0.26, 0.17)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_how_level_the_floor_must_be_by_hand(sign: float) -> None:
    """60 g between the diagonals, known to 1.96 * 20 g: sqrt(60^2/1.96^2 - 20^2) g are left for four pads. A pad's rise
    moves, between the diagonals, the rate at one wheel: each of four alike springs gives way by a quarter of it."""
    response = response_from_rates(ALIKE)
    weights = corner_weights(400.0 + sign * 15.0 * CROSS, 100.0 * np.eye(4))
    per_pad = 2500 * 0.65**2 * 1000 / 9.80665  # g per m between the diagonals
    level = math.sqrt((60 / 1.96) ** 2 - 20**2) / (2.0 * per_pad)
    found = floor_verdict(weights, response, 1.01 * level)
    assert found.level_u == pytest.approx(level, rel=1e-4)
    assert not found.told_apart
    assert f"60 g between the diagonals may be the floor's: level the pads to {1000 * level:.2f} mm" in found.text
    assert f"1 mm under one wheel moves {per_pad / 1000:.0f} g" in found.text
    apart = floor_verdict(weights, response, 0.99 * level)
    assert apart.told_apart
    heavy = "front-left and rear-right" if sign > 0 else "front-right and rear-left"
    assert f"The diagonal {heavy} carries 60 g more" in apart.text
    unclear = floor_verdict(corner_weights(400.0 + 9.0 * CROSS, 100.0 * np.eye(4)), response, 0.0)
    assert (unclear.level_u, unclear.told_apart) == (0.0, False)
    assert "36 g between the diagonals cannot be told from zero" in unclear.text
    moon = floor_verdict(weights, response, level, gravity=9.80665 / 6)
    assert moon.level_u == pytest.approx(level / 6, rel=1e-4)


@pytest.mark.parametrize("shim_mm", [0.05, 0.1, 0.2, 0.5, 1.0])
@pytest.mark.parametrize("wheel", range(4))
def test_one_pad_that_lies_low_gets_its_shim(wheel: int, shim_mm: float) -> None:
    height = np.full(4, 2e-3)
    height[wheel] -= shim_mm / 1000
    plan = plan_shims(height, CONTACT)
    np.testing.assert_allclose(plan.thickness, 2e-3 - height, atol=1e-12)
    assert plan.warp_after == pytest.approx(0.0, abs=1e-12)
    name = ("front-left", "front-right", "rear-left", "rear-right")[wheel]
    assert plan.text == f"Put {shim_mm:.2f} mm under the {name} pad"


def test_stacks_of_shims_have_no_more_than_they_may() -> None:
    height = np.array([0.0, 0.0, 0.0, -0.8e-3])
    assert plan_shims(height, CONTACT).text == "Put 0.10 + 0.20 + 0.50 mm under the rear-right pad"
    assert (
        plan_shims(height, CONTACT, most=1).text == "Put 1.00 mm under the rear-right pad"
    )  # 0.2 off either way is nearer
    assert plan_shims(height, CONTACT, most=1, available=(0.5e-3,)).warp_after == pytest.approx(-0.3e-3)
    assert plan_shims(-height, CONTACT, most=2, available=(0.4e-3,)).thickness[[1, 2]].max() == pytest.approx(0.8e-3)


@pytest.mark.parametrize(
    ("target", "wanted", "place_mm", "says"),
    [
        # 60 g in the middle make 1660 g; 24.9 g are lacking in front, and 60 g bring 60/260 g for each mm forward
        (
            "front_pct",
            51.5,
            (237.9, 0.0),
            "238 mm ahead of the rear axle and 0 mm to the left of the middle brings the front share to 51.5 %",
        ),
        ("left_pct", 51.0, (130.0, 47.03), "130 mm ahead of the rear axle and 47 mm to the left of the middle"),
        ("left_pct", 49.0, (130.0, -47.03), "47 mm to the right of the middle brings the left share to 49.0 %"),
        ("front_pct", 53.0, (345.8, 0.0), "That is outside the wheels: take more ballast"),
        ("left_pct", 52.0, (130.0, 94.07), "That is outside the wheels"),
        ("front_pct", 47.0, (-85.8, 0.0), "That is outside the wheels"),
    ],
)
def test_ballast_goes_where_the_lever_is(
    target: Target, wanted: float, place_mm: tuple[float, float], says: str
) -> None:
    contact = rectangle_contacts(0.260, 0.170)
    advice = place_ballast(np.full(4, 400.0), 60.0, contact, target=target, wanted_pct=wanted)
    assert advice.place is not None
    np.testing.assert_allclose(1000 * advice.place, place_mm, atol=0.05)
    assert says in advice.text
    assert advice.text.startswith("60 g at ")
    assert advice.reachable == ("outside" not in says)
    assert advice.load_g.sum() == pytest.approx(1660.0)


@pytest.mark.parametrize(("off_g", "says"), [(0.04, "is right already"), (0.06, "cannot change")])
def test_what_ballast_cannot_change_may_be_right_already(off_g: float, says: str) -> None:
    load = 400.0 + CROSS * off_g / 2.0  # so much is lacking on one diagonal
    contact = rectangle_contacts(0.260, 0.170)
    advice = place_ballast(load, 60.0, contact, target="diagonal_fr_rl_pct", start=np.array([0.1, 0.02]))
    assert says in advice.text
    assert advice.reachable == (off_g < 0.05)
    assert "ross weight (front-right with rear-left)" in advice.text
    np.testing.assert_allclose(advice.load_g, load)
    if advice.place is not None:
        np.testing.assert_allclose(advice.place, [0.1, 0.02])  # it stays where it is


@pytest.mark.parametrize("wheel", range(4))
def test_a_shim_tells_the_response_also_between_unequal_tracks(wheel: int) -> None:
    """A narrower rear axle takes and gives more: its loads change by 17/14 of the front ones (moments)."""
    true = response_from_rates(replace(ALIKE, track=np.array([0.17, 0.14])))
    before = np.array([4.0, 3.9, 3.8, 4.1])
    after = before + true.per_height[:, wheel] * 0.4e-3
    found = response_from_shim(
        before, after, 0.002**2 * np.eye(4), wheel=wheel, shim=0.4e-3, shim_u=1e-5, track=np.array([0.17, 0.14])
    )
    np.testing.assert_allclose(found.per_height, true.per_height, rtol=1e-6)
    pattern = np.array([1.0, -1.0, -17 / 14, 17 / 14])
    np.testing.assert_allclose(found.pattern, pattern)
    np.testing.assert_allclose(found.per_height[:, 0] / found.per_height[0, 0], pattern)
    # the change has twice the covariance of a weighing, and is seen by four wheels in proportion to the pattern
    moved_u = 0.002 * math.sqrt(2) / float(np.linalg.norm(pattern))
    moved = true.per_height[0, wheel] * 0.4e-3
    assert found.relative_u == pytest.approx(math.hypot(moved_u / moved, 1 / 40), rel=1e-3)
    assert found.source == "measured with a shim of 0.40 mm"


def test_grams_a_millimetre_by_hand() -> None:
    """1056 N/m at each wheel: a pad raised by 1 mm gives a quarter of 1.056 N to each wheel, 26.9 g."""
    response = response_from_rates(ALIKE)
    assert response.grams_per_mm() == pytest.approx(2500 * 0.65**2 / 4 / 9.80665)
    assert response.cross_per_mm() == pytest.approx(2500 * 0.65**2 / 9.80665)
    assert response.grams_per_mm(1.62) == pytest.approx(2500 * 0.65**2 / 4 / 1.62)
    hooked = replace(ALIKE, bar=np.array([0.0, 500.0]), tyre=np.full(4, 20_000.0))
    # the warp of equal and opposite wheels: springs k, bars add 2 b to both sides of their axle, tyres in series
    front, rear = 2500 * 0.65**2, 2500 * 0.65**2 + 2 * 500.0
    soft = 2 * (1 / front + 1 / 20_000) + 2 * (1 / rear + 1 / 20_000)
    assert response_from_rates(hooked).grams_per_mm() == pytest.approx(1 / soft / 9.80665)
