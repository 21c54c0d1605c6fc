"""Where the balance of a car goes whose pitch was read on tilted pads."""

import numpy as np

from analysis.statistics.estimate import Estimate


def balance_ends(front_share: Estimate, pitch_height: Estimate, wheelbase: float, grip: float) -> tuple[Estimate, ...]:
    """The rear and the front end of the region of balance points, of 1 of the wheelbase: driving and braking with all
    the grip there is.

    front_share: of grip, at rest.  pitch_height: m, as measured nose up.  wheelbase: m.  grip: mean factor.
    Tyres that lose grip with load move the ends by less than the pads tell. Source: moment balance; for tyres alike in
    grip the balance point is the centre of pressure.
    """
    shift = grip * pitch_height.value / wheelbase
    u = float(np.hypot(front_share.u, grip * pitch_height.u / wheelbase))
    return (
        Estimate(value=front_share.value - shift, u=u),
        Estimate(value=front_share.value + shift, u=u),
    )
