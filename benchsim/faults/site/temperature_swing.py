"""Day and night: the temperature of the whole site swings about where it was."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, fault, parameter
from benchsim.ground.units import TEMPERATURE_DIFFERENCE, TIME
from benchsim.scale.parts import Site


@fault(
    seen="zero follows the sun: off one way in the afternoon, the other way before dawn",
    cause="cells whose temperature compensation is poor, or that lie partly in the sun",
    confirm="log zero and temperature for two days and lay one curve over the other",
    caution="metal in the sun or in frost burns: wear gloves",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class TemperatureSwing:
    """A sine about the site's temperature, rising first.  What it does, the cells' own coefficients say.

    Source: common practice, no source.
    """

    amplitude_k: float = parameter(
        12.0, TEMPERATURE_DIFFERENCE, "half of the whole swing", low=0.0, high=60.0
    )
    period_us: int = parameter(
        24 * HOUR_US, TIME, "from one highest value to the next", low=60_000_000, high=9000 * HOUR_US
    )

    def fold(self, part: Site, age_us: int) -> Site:
        turn = (age_us % self.period_us) / self.period_us
        # Twelve decimals: the last digits of a sine are not the same on every machine.
        swing = round(math.sin(2.0 * math.pi * turn), 12)
        return replace(part, temperature_c=part.temperature_c + self.amplitude_k * swing)
