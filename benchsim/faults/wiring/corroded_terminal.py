"""A terminal whose contact grows poor."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, fault, grown, parameter
from benchsim.ground.units import RESISTANCE, TIME
from benchsim.scale.bridge import TERMINALS
from benchsim.scale.parts import Wiring


@fault(
    seen="four conductors: that cell reads less and less; six: nothing, until the reference is gone",
    cause="a crimp or screw that corrodes, often where two metals meet in a damp box",
    confirm="measure the voltage from each conductor to its screw with the excitation on: close to 0",
    caution="the excitation must be on for this: touch nothing but the probes to the terminals",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class CorrodedTerminal:
    """Resistance in series at one terminal, growing in a straight line.

    Source: bridge circuit; four conductors lose R / (R_in + R) of the span, an input that takes no current
    loses nothing.
    """

    terminal: str = parameter("EXC+", None, "which terminal", words=TERMINALS)
    resistance_ohm: float = parameter(20.0, RESISTANCE, "of the contact in the end", low=1e-3, high=1e6)
    over_us: int = parameter(HOUR_US, TIME, "how long that takes; 0 at once", low=0, high=1000 * HOUR_US)

    def fold(self, part: Wiring, age_us: int) -> Wiring:
        ohm = self.resistance_ohm * grown(age_us, self.over_us)
        return replace(part, contacts=(*part.contacts, (self.terminal, ohm)))
