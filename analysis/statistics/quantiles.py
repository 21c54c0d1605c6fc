"""The normal 95 % factor, Student's t factor and the chi-square tail: every interval and every test takes them here."""

import math

from analysis.base.errors import InputError

COVERAGE = 0.95
"""Share of truths that every interval of this bench is to hold."""

NORMAL_95 = 1.959964
"""Standard uncertainties to either side that hold 95 % of a normal distribution (its 97.5 % quantile), as tables print
it: comparisons and pooled pushes of older logs were made with six decimals, and come out the same to the last digit."""

CHI_SQUARE_95_PLANE = 5.991
"""Chi-square of two degrees of freedom that 95 % stay below, as tables print it: an ellipse in the plane."""

MAD_TO_SIGMA = 1.4826
"""Median absolute deviation to the standard deviation of a normal distribution: 1 / its 75 % quantile."""


def coverage_factor(*, dof: float, coverage: float = COVERAGE) -> float:
    """Student's t factor of a two-sided interval. dof: degrees of freedom, above 0; infinite: the normal factor.

    Degrees of freedom need not be whole: the quantile at the broken number is taken, which lies between its
    neighbours (the interpolation that GUM, JCGM 100:2008, G.6.4, allows). Raises InputError when dof <= 0.
    Source: GUM annex G; the quantile is a general-purpose library's.
    """
    if not dof > 0:
        raise InputError(f"no degrees of freedom ({dof:g})", where="interval", remedy="Repeat the measurement")
    if math.isinf(dof) and coverage == COVERAGE:
        return 1.959963984540054  # `ndtri(0.975)`, so that a weighing need not import it
    from scipy.special import ndtri, stdtrit  # half a second to import: only where an interval is asked for

    tail = 0.5 + coverage / 2
    return float(ndtri(tail) if math.isinf(dof) else stdtrit(dof, tail))


def chi_square_tail(chi_square: float, *, dof: float) -> float:
    """Chance of a chi-square at least as large, dof degrees of freedom; 1 when there are none (0)."""
    if dof <= 0:
        return 1.0
    from scipy.special import chdtrc

    return float(chdtrc(dof, chi_square))


def normal_share(score: float) -> float:
    """Share of a normal distribution below a score (standard uncertainties from its middle)."""
    return 0.5 * math.erfc(-score / math.sqrt(2.0))
