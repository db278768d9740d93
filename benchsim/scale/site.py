"""Where the scale stands: what a mass weighs there, beside where the scale was calibrated.

Not modelled: buoyancy of loads, tilt.
"""

from __future__ import annotations

import math

from benchsim.scale.parts import Site

# The ellipsoid WGS84 and its normal gravity at equator and pole.
_A_M, _E2, _GE, _GP = 6_378_137.0, 0.00669437999014, 9.7803253359, 9.8321849378
_FLATTENING, _M = 1.0 / 298.257223563, 0.00344978650684


def weight_factor(site: Site) -> float:
    """Force of a mass here over its force where the scale was calibrated: g_use / g_cal."""
    return site.gravity_m_per_s2 / site.calibration_gravity_m_per_s2


def normal_gravity_m_per_s2(latitude_deg: float, height_m: float) -> float:
    """Gravity at a geodetic latitude and a height above the ellipsoid, to ten digits.

    Source: Somigliana's formula with the constants of WGS84 and its second-order development in height.  The
    ground's own anomalies, some 1e-5 to 1e-4 m/s2 and more in mountains, are not in it.
    """
    sin2 = math.sin(math.radians(latitude_deg)) ** 2
    k = _A_M * math.sqrt(1.0 - _E2) * _GP / (_A_M * _GE) - 1.0
    at_0_m = _GE * (1.0 + k * sin2) / math.sqrt(1.0 - _E2 * sin2)
    rise = height_m / _A_M
    height = 1.0 - 2.0 * (1.0 + _FLATTENING + _M - 2.0 * _FLATTENING * sin2) * rise + 3.0 * rise * rise
    return float(f"{at_0_m * height:.10g}")
