"""Where a scenario's scale stands: its gravity, its wind, its floor."""

from __future__ import annotations

from decimal import Decimal

from benchsim.scale.parts import STANDARD_GRAVITY_M_PER_S2, Vibration, Wind
from benchsim.scale.parts import Site as Place
from benchsim.scale.site import normal_gravity_m_per_s2
from benchsim.scenario.findings import Findings
from benchsim.scenario.schema import Site

_LATITUDE_DEG = Decimal(45)


def site_of(site: Site, findings: Findings) -> Place:
    """The site of the scale; where it was calibrated is where it is used unless the file says otherwise."""
    here = _gravity(site.gravity, site.latitude, site.height, "", findings)
    home = _gravity(
        site.calibration_gravity, site.calibration_latitude, site.calibration_height, "calibration ", findings
    )
    used = STANDARD_GRAVITY_M_PER_S2 if here is None else here
    return Place(
        temperature_c=float(site.temperature),
        gravity_m_per_s2=used,
        calibration_gravity_m_per_s2=used if home is None else home,
        wind=_wind(site),
        vibration=_vibration(site),
    )


def _wind(site: Site) -> Wind | None:
    given = site.wind
    if given is None:
        return None
    return Wind(float(given.speed), float(given.turbulence), float(given.height), float(given.lift_area))


def _vibration(site: Site) -> Vibration | None:
    given = site.vibration
    if given is None:
        return None
    return Vibration(float(given.acceleration), float(given.frequency), float(given.bandwidth))


def _gravity(
    value: Decimal | None, latitude: Decimal | None, height: Decimal | None, of: str, findings: Findings
) -> float | None:
    """In m/s2; None where the file says nothing of it."""
    if value is not None:
        for name, other in ((f"{of}latitude", latitude), (f"{of}height", height)):
            if other is not None:
                findings.add(("site", name), f"{name} beside {of}gravity", "keep one of the two", key=True)
        return float(value)
    if latitude is None and height is None:
        return None
    degrees = latitude if latitude is not None else _LATITUDE_DEG
    return normal_gravity_m_per_s2(float(degrees), float(height or 0))
