"""From drawn cars and pushes to what is compared: turn per travel over a finite rotation."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray
from analysis.prediction_inputs import Drawn

DEFAULT_TURN = float(np.radians(10.0))
"""Rotation over which a slide is integrated when nobody said how far it turned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slide:
    """kappa: (n,), 1/m, over the whole slide.  drift: (n,), forward per sideways travel of the mid-wheelbase
    point, in the axes of the middle heading.  force: (n,), N, at the start.
    tips, certified: (n,), what the solver says of each draw.
    """

    kappa: FloatArray
    drift: FloatArray
    force: FloatArray
    tips: BoolArray
    certified: BoolArray


def slide(drawn: Drawn, wheelbase: float, *, turn: float) -> Slide:
    """Slide each draw until it has turned by `turn` (rad)."""
    raise NotImplementedError
