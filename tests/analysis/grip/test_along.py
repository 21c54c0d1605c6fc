"""Grip along over across from pulls both ways: by statics of a dragged axle, written out here."""

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.grip.along import PulledBothWays, along_over_across

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
