"""Where the scale stands: what a mass weighs there, beside where the scale was calibrated.

Not modelled: buoyancy of loads, wind, tilt, floor vibration.
"""

from __future__ import annotations

from benchsim.scale.parts import Site


def weight_factor(site: Site) -> float:
    """Force of a mass here over its force where the scale was calibrated: g_use / g_cal."""
    return site.gravity_m_per_s2 / site.calibration_gravity_m_per_s2
