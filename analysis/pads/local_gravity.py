"""Normal gravity by latitude and height."""

import math

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError

EQUATOR = 9.7803253359  # m/s2, WGS84
SOMIGLIANA_K = 0.00193185265241
ECCENTRICITY_SQUARED = 0.00669437999014
SEMI_MAJOR = 6378137.0  # m
FLATTENING = 1.0 / 298.257223563
ROTATION_M = 0.00344978650684


def normal_gravity(latitude: FloatArray | float, height: FloatArray | float = 0.0) -> FloatArray:
    """Gravity of the reference ellipsoid, m/s2.

    latitude: geodetic, rad.  height: m above the ellipsoid (sea level is near enough).  Shapes broadcast.
    Raises InputError for a latitude beyond the poles or a height that is not within -1 to 20 km.
    Source: WGS84 (NIMA TR8350.2): Somigliana's closed form, second-order series in the height.
    """
    angle, above = np.asarray(latitude, dtype=float), np.asarray(height, dtype=float)
    if not np.all(np.abs(angle) <= math.pi / 2 + 1e-12):
        raise InputError("latitude beyond 90 degrees", where="place", remedy="Give degrees north, for example 51.5")
    if not np.all((above >= -1000.0) & (above <= 20_000.0)):
        raise InputError("height not between -1000 and 20000 m", where="place", remedy="Give metres above the sea")
    sin2 = np.sin(angle) ** 2
    level = EQUATOR * (1 + SOMIGLIANA_K * sin2) / np.sqrt(1 - ECCENTRICITY_SQUARED * sin2)
    first = 2 / SEMI_MAJOR * (1 + FLATTENING + ROTATION_M - 2 * FLATTENING * sin2) * above
    gravity: FloatArray = level * (1 - first + 3 * above**2 / SEMI_MAJOR**2)
    return gravity
