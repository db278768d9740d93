"""Dew in a connector: insulation to the shield that gives way each night and comes back by day."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, fault, parameter
from benchsim.ground.units import RESISTANCE, TIME
from benchsim.scale.bridge import TERMINALS
from benchsim.scale.parts import Wiring


@fault(
    seen="zero is off before dawn and right again by noon, on clear nights more than on cloudy ones",
    cause="a connector or junction box that breathes: warm air by day, dew inside by night",
    confirm="before the sun is on it, unplug the cell and measure the insulation, each lead to the shield",
    caution="switch the excitation off, and never put an insulation tester's voltage on the node",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class DampNights:
    """Conductance to the shield that rises and falls as a squared sine, worst in the middle of each period.

    Source: common practice, no source.
    """

    resistance_ohm: float = parameter(
        5e6, RESISTANCE, "insulation resistance when it is worst", low=1e3, high=1e9
    )
    period_us: int = parameter(
        24 * HOUR_US, TIME, "from one night to the next", low=60_000_000, high=9000 * HOUR_US
    )
    terminal: str = parameter("SIG+", None, "which terminal leaks", words=TERMINALS)

    def fold(self, part: Wiring, age_us: int) -> Wiring:
        turn = (age_us % self.period_us) / self.period_us
        # Twelve decimals: the last digits of a sine are not the same on every machine.
        damp = round(math.sin(math.pi * turn), 12)
        if damp <= 1e-3:
            return part
        return replace(part, leaks=(*part.leaks, (self.terminal, self.resistance_ohm / (damp * damp))))
