"""Normal gravity by latitude and height, and what it does to pads that were calibrated elsewhere."""

import math
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError

EQUATOR = 9.7803253359  # m/s2, WGS84
SOMIGLIANA_K = 0.00193185265241
ECCENTRICITY_SQUARED = 0.00669437999014
SEMI_MAJOR = 6378137.0  # m
FLATTENING = 1.0 / 298.257223563
ROTATION_M = 0.00344978650684

ANOMALY_U = 5e-4
"""Standard uncertainty of normal gravity as a statement about a real place, m/s2 (50 mGal, common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceCorrection:
    """What moving the pads does. factor: multiply a mass reading by it.  factor_u: standard uncertainty, relative.

    grams_per_kg: how far an uncorrected reading is off, g per kg.
    """

    factor: float
    factor_u: float
    grams_per_kg: float


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


def moved_pads(calibrated_at: float, used_at: float, *, same_place: bool = False) -> PlaceCorrection:
    """Correction for pads that were calibrated with masses at one gravity and are used at another.

    calibrated_at, used_at: m/s2, see normal_gravity.  same_place: nothing is corrected and nothing doubted: pads
    calibrated with masses where they are used read mass.
    Raises InputError for values no place on Earth has.
    """
    for gravity in (calibrated_at, used_at):
        if not 9.7 <= gravity <= 9.9:
            raise InputError(f"gravity {gravity:g} m/s2", where="place", remedy="Give latitude and height instead")
    if same_place:
        return PlaceCorrection(factor=1.0, factor_u=0.0, grams_per_kg=0.0)
    factor = calibrated_at / used_at
    return PlaceCorrection(
        factor=factor, factor_u=math.sqrt(2.0) * ANOMALY_U / used_at, grams_per_kg=1000.0 * (1.0 / factor - 1.0)
    )
