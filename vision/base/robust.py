"""The one weight by which robust fits fade what does not fit, and the normal distribution's factors."""

from vision.base.types import FloatArray

NORMAL_95 = 1.959964
"""Standard uncertainties to either side that hold 95 % of a normal distribution."""
CHI_SQUARE_95_PLANE = 5.991464547107979
"""Chi-square of two degrees of freedom that 95 % stay below."""
MAD_TO_SIGMA = 1.4826
"""Median absolute deviation to the standard deviation of a normal distribution."""

QUARTER_AT = 4.0
"""So many usual residuals count by a quarter; one by nearly nine tenths."""


def fading_weight(residual: FloatArray, usual: FloatArray | float) -> FloatArray:
    """Weights 0..1: near 1 for residuals about as large as the usual one, fading with the fourth power far beyond.

    residual: (...) sizes, not negative, in any unit.  usual: the size of a residual that fits, in the same unit,
    a number or an array that broadcasts to the residuals. nan stays nan.
    """
    weight: FloatArray = 1.0 / (1.0 + (residual / (QUARTER_AT * usual)) ** 2) ** 2
    return weight
