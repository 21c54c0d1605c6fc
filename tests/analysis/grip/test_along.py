"""Grip along over across from pulls both ways: by statics of a dragged axle, written out here."""

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.grip.along import AlongOverAcross, PulledBothWays, along_over_across, as_across
from analysis.grip.combine import GripMeasurement, GripQuantity

LOAD, OTHER, LENGTH = 8.2, 7.1, 0.257


def pulled(**changes: float) -> PulledBothWays:
    given = {"along": 6.0, "along_u": 0.0, "across": 5.5, "across_u": 0.0, "load": LOAD, "other": OTHER, "gains": 1}
    given |= {"string": 0.012, "string_u": 0.0, "rolling": 0.02, "rolling_u": 0.0, "wheelbase": LENGTH}
    return PulledBothWays(**(given | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize("gains", [1, -1])
def test_the_ratio_that_made_the_pulls_comes_back(gains: int) -> None:
    # by hand: along, nu N' = A - k M with N' = N + gains A z / L, so A = (nu N + k M) / (1 - gains nu z / L)
    nu, mu = 0.86, 0.79
    along = (nu * LOAD + 0.02 * OTHER) / (1.0 - gains * nu * 0.012 / LENGTH)
    found = along_over_across(pulled(along=along, across=mu * LOAD, gains=gains))
    assert found.ratio == pytest.approx(nu / mu, rel=1e-9)
    # the string's height left out would be a mistake of four per cent
    level = along_over_across(pulled(along=along, across=mu * LOAD, gains=gains, string=0.0))
    assert abs(level.ratio / found.ratio - 1.0) > 0.03


def test_its_doubt_is_that_of_its_causes_in_quadrature() -> None:
    doubts = {"along_u": 0.1, "across_u": 0.05, "string_u": 0.003, "rolling_u": 0.01}
    found = along_over_across(pulled(**doubts))
    each = []
    for name, key in (("along", "along_u"), ("across", "across_u"), ("string", "string_u"), ("rolling", "rolling_u")):
        plain, step = pulled(), 1e-5
        up, down = (along_over_across(pulled(**{name: getattr(plain, name) + s * step})).ratio for s in (1, -1))
        each.append((up - down) / (2 * step) * doubts[key])
    assert found.u == pytest.approx(np.hypot.reduce(each), rel=2e-3)
    assert found.parts["pulls along"] == pytest.approx(abs(each[0]), rel=2e-3)
    assert found.alike == (found.interval[0] <= 1.0 <= found.interval[1])


@pytest.mark.parametrize("wrong", [{"across": 0.0}, {"along": 0.1}, {"gains": -1, "string": 0.5}])
def test_pulls_that_cannot_be_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(InputError, match=r"above zero|carry nothing"):
        along_over_across(pulled(**wrong))


def grip(quantity: GripQuantity, value: float, weight: float = 0.5, **shared: float) -> GripMeasurement:
    return GripMeasurement(
        quantity=quantity, value=value, relative_u=0.02, method="pull", front_weight=weight, shared=shared
    )


def test_grip_measured_along_says_what_it_is_across() -> None:
    """By hand: front 0.9 along over 1.2 is 0.75 across, rear 0.8 over 0.8 is 1.0; their doubts are 3 and 2.5 %."""
    ratio, u = (1.2, 0.8), (0.036, 0.02)
    front = as_across(grip("front", 0.9, scale=0.01), ratio, u)
    assert front.value == pytest.approx(0.75)
    assert front.shared == {"scale": 0.01, "front tyres along against across": pytest.approx(0.03)}
    rear = as_across(grip("rear", 0.8), ratio, u)
    assert rear.value == pytest.approx(1.0)
    assert rear.shared == {"rear tyres along against across": pytest.approx(0.025)}
    over = as_across(grip("ratio", 0.9 / 0.8, 0.3), ratio, u)
    assert (over.value, over.front_weight) == (pytest.approx(0.75 / 1.0), 0.3)
    assert over.shared == {
        "front tyres along against across": pytest.approx(0.03),
        "rear tyres along against across": pytest.approx(-0.025),
    }


def test_a_cars_grip_along_weighs_the_axles_by_load_and_ratio() -> None:
    """By hand: of a car with 60 % on its front axle, along = 0.6 · 1.2 F + 0.4 · 0.8 R = 1.04 (0.6923 F + 0.3077 R)."""
    car = as_across(grip("mean", 0.6 * 0.9 + 0.4 * 0.8, 0.6), (1.2, 0.8), (0.036, 0.02))
    assert car.front_weight == pytest.approx(0.72 / 1.04)
    assert car.value == pytest.approx(car.front_weight * 0.75 + (1 - car.front_weight) * 1.0)
    assert car.shared == {
        "front tyres along against across": pytest.approx(0.72 / 1.04 * 0.03),
        "rear tyres along against across": pytest.approx(0.32 / 1.04 * 0.025),
    }
    assert as_across(grip("mean", 0.8, 0.6), (1.2, 0.8), (0.0, 0.0)).shared == {}


def test_whether_tyres_grip_alike_is_asked_of_the_interval() -> None:
    for value, u, alike in ((1.04, 0.0205, True), (1.04, 0.0203, False), (0.96, 0.0205, True), (0.96, 0.0203, False)):
        found = AlongOverAcross(ratio=value, u=u, parts={})
        assert found.alike is alike
        assert found.interval == pytest.approx((value - 1.959964 * u, value + 1.959964 * u))
