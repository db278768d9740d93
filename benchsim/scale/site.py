"""Where the scale stands: what a mass weighs there, beside where the scale was calibrated.

Not modelled: buoyancy of loads, wind, tilt, floor vibration.
"""

from __future__ import annotations

import math

from benchsim.scale.parts import Site

# WGS84: equatorial radius in m, flattening, first eccentricity squared, figures of normal gravity.
_RADIUS_M = 6_378_137.0
_FLATTENING = 1.0 / 298.257223563
_E2 = 0.00669437999014
_EQUATOR_M_PER_S2 = 9.7803253359
_K = 0.00193185265
_M = 0.00344978650684


def normal_gravity_m_per_s2(latitude_deg: float, height_m: float = 0.0) -> float:
    """Normal gravity at a geodetic latitude and a height above the ellipsoid.

    Source: WGS84, Somigliana's formula, and its second-order development with height.
    """
    sine2 = math.sin(math.radians(latitude_deg)) ** 2
    ground = _EQUATOR_M_PER_S2 * (1.0 + _K * sine2) / math.sqrt(1.0 - _E2 * sine2)
    relative = height_m / _RADIUS_M
    slope = 1.0 + _FLATTENING + _M - 2.0 * _FLATTENING * sine2
    return ground * (1.0 - 2.0 * slope * relative + 3.0 * relative * relative)


def weight_factor(site: Site) -> float:
    """Force of a mass here over its force where the scale was calibrated: g_use / g_cal."""
    return site.gravity_m_per_s2 / site.calibration_gravity_m_per_s2
