"""The t factor and the chi-square tail against printed tables, closed forms and a quadrature of the density."""

import math
import statistics

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.statistics.quantiles import NORMAL_95, chi_square_tail, coverage_factor


@pytest.mark.parametrize(
    ("dof", "printed"), [(1, 12.706), (2, 4.303), (3, 3.182446), (5, 2.571), (30, 2.042), (math.inf, 1.959964)]
)
def test_t_factor_of_printed_tables(dof: float, printed: float) -> None:  # GUM (JCGM 100:2008) table G.2
    assert coverage_factor(dof=dof) == pytest.approx(printed, abs=6e-4)


@pytest.mark.parametrize(("dof", "coverage"), [(2.7, 0.95), (2.7, 0.995), (7.3, 0.9)])
def test_broken_degrees_of_freedom_are_taken_as_they_are(dof: float, coverage: float) -> None:
    """Student's density, written down by hand, holds `coverage` between minus and plus the factor (Simpson's rule).

    Cut to 2 the factor would be 4.303 for 2.7 degrees of freedom; the density there gives 3.392.
    """
    factor = coverage_factor(dof=dof, coverage=coverage)
    t = np.linspace(-factor, factor, 4001)
    scale = math.gamma((dof + 1) / 2) / (math.sqrt(dof * math.pi) * math.gamma(dof / 2))
    density = scale * (1 + t**2 / dof) ** (-(dof + 1) / 2)
    weight = np.where(np.arange(4001) % 2, 4.0, 2.0)
    weight[[0, -1]] = 1.0
    assert float(weight @ density) * (t[1] - t[0]) / 3 == pytest.approx(coverage, abs=1e-9)


def test_factor_at_2_7_degrees_of_freedom() -> None:
    assert coverage_factor(dof=2.7) == pytest.approx(3.392, abs=5e-4)  # the density above, solved for 95 %


def test_normal_factors() -> None:  # the standard library's inverse normal distribution
    normal = statistics.NormalDist()
    assert round(normal.inv_cdf(0.975), 6) == NORMAL_95  # as printed in tables of the normal distribution
    assert coverage_factor(dof=math.inf, coverage=0.99) == pytest.approx(normal.inv_cdf(0.995), rel=1e-9)


@pytest.mark.parametrize("dof", [0.0, -1.0, math.nan])
def test_no_degrees_of_freedom_have_no_factor(dof: float) -> None:
    with pytest.raises(InputError, match="no degrees of freedom"):
        coverage_factor(dof=dof)


@pytest.mark.parametrize(
    ("chi_square", "dof", "chance"),
    [
        (3.841, 1, 0.05),  # printed tables
        (2.0, 1, math.erfc(1.0)),  # a squared normal deviate
        (5.0, 2, math.exp(-2.5)),  # closed forms of even degrees of freedom
        (5.0, 4, math.exp(-2.5) * 3.5),
        (9.0, 0, 1.0),  # nothing to judge by
    ],
)
def test_chi_square_tail(chi_square: float, dof: float, chance: float) -> None:
    assert chi_square_tail(chi_square, dof=dof) == pytest.approx(chance, abs=2e-5)
