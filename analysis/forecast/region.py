"""Where a pivot lies in the plane: its mean place, covariance, and a 95 % outline."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleRegion:
    """place: (2,), m, car axes.  covariance: (2, 2), m², of the draws inside the outline.

    outline: (k, 2), m: closed curve that holds 95 % of the draws.  Its sideways extent means nothing on
    rolling wheels, whose pivot any tilt of the floor moves along the axle.
    """

    place: FloatArray
    covariance: FloatArray
    outline: FloatArray


def pole_region(
    kappa: FloatArray, drift: FloatArray, wheelbase: float, *, probability: float = 0.95, points: int = 72
) -> PoleRegion | None:
    """Region of the poles of many draws.

    kappa: (n,), 1/m.  drift: (n,), forward per sideways travel of the mid-wheelbase point.
    The outline is an ellipse in (kappa, drift), where the draws are well-behaved, carried over to the
    plane; a pole far away then gets the long curved region that it has. None when that ellipse reaches
    kappa = 0: no closed outline exists.
    """
    flat = np.stack([kappa, drift], axis=-1)
    middle = np.median(flat, axis=0)
    covariance = np.cov(flat, rowvar=False)
    floor = np.diag((1e-9 * np.maximum(np.abs(middle), [1.0 / wheelbase, 1.0])) ** 2)
    lower = np.linalg.cholesky(covariance + floor)
    distance = np.linalg.norm(np.linalg.solve(lower, (flat - middle).T), axis=0)
    reach = float(np.quantile(distance, probability))
    turn = np.linspace(0.0, 2.0 * np.pi, points + 1)
    edge = middle + reach * (lower @ np.stack([np.cos(turn), np.sin(turn)])).T
    if np.min(edge[:, 0]) <= 0.0 <= np.max(edge[:, 0]):
        return None
    inside = pole_at(flat[distance <= reach], wheelbase)
    return PoleRegion(
        place=pole_at(middle[None], wheelbase)[0],
        covariance=np.cov(inside, rowvar=False),
        outline=pole_at(edge, wheelbase),
    )


def pole_at(kappa_drift: FloatArray, wheelbase: float) -> FloatArray:
    """Pivot (..., 2) in m from (kappa, drift) (..., 2): x = L/2 - 1/kappa, y = drift/kappa.

    kappa_drift: (..., 2), turn per travel (1/m) and drift (a ratio) of the mid-wheelbase point.
    """
    kappa, drift = kappa_drift[..., 0], kappa_drift[..., 1]
    return np.stack([0.5 * wheelbase - 1.0 / kappa, drift / kappa], axis=-1)
