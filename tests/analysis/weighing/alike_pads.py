"""What is known of four pads that are alike, as the tests of turned weighings state it."""

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.weighing.orientations import PadPrior


def pad_prior(
    *,
    offset_u_g: float = 5.0,
    gain_u: float = 0.005,
    gain_common_u: float = 0.0,
    height_u: float = 0.0,
    per_height: FloatArray | None = None,
) -> PadPrior:
    """Offsets and gains of four pads, each on its own.

    offset_u_g: g, each pad's zero.  gain_u: relative, each pad's own.  gain_common_u: relative, shared by all (the
    check masses).  Defaults: common practice for cheap pads, no source.  height_u: m.  per_height: g per m.
    """
    return PadPrior(
        offset=offset_u_g**2 * np.eye(4),
        gain=gain_u**2 * np.eye(4) + gain_common_u**2 * np.ones((4, 4)),
        height_u=height_u,
        per_height=per_height,
    )
