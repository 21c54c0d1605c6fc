"""Shares and the logarithms in which they add: the balance point is F/(F + R), so ln(F/R) is its logit."""

import numpy as np

from analysis.base.arrays import FloatArray


def logit(part: FloatArray | float, whole: float = 1.0) -> FloatArray:
    """ln(part / (whole - part)), of any shape. part: between 0 and whole (1, or 100 for per cent)."""
    return np.asarray(np.log(part / (whole - part)))


def share_of(logarithm: FloatArray | float, whole: float = 1.0) -> FloatArray:
    """The part of the whole. logarithm: its logit, of any shape."""
    return np.asarray(whole / (1.0 + np.exp(-logarithm)))
