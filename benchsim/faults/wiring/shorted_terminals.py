"""Two terminals of a cell joined: a whisker of strand, a crushed cable, a bridge of solder or of dirt."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import RESISTANCE
from benchsim.scale.bridge import TERMINALS
from benchsim.scale.parts import Wiring

PAIRS = tuple(f"{one}/{other}" for one, other in itertools.combinations(TERMINALS, 2))


@fault(
    seen="SIG to SIG: a plausible dead cell; SIG to EXC or SEN: a reading at its stop; EXC to EXC: none",
    cause="a stray strand at a screw terminal, or a cable that was crushed or pinched",
    confirm="unplug the cable at both ends and measure every pair of conductors against each other",
    caution="switch the excitation off before you unplug; a shorted driver can be hot",
)
@dataclass(frozen=True, slots=True)
class ShortedTerminals:
    """A resistance between any two of a cell's six terminals at the node; four-conductor wiring has no SEN.

    What it does follows from the circuit.  EXC to its own SEN does harm only by the drop along the lead.
    Source: bridge circuit.
    """

    pair: str = parameter("SIG+/SIG-", None, "which two terminals", words=PAIRS)
    resistance_ohm: float = parameter(0.1, RESISTANCE, "between them", low=0.0, high=1e9)

    def fold(self, part: Wiring, age_us: int) -> Wiring:
        one, other = self.pair.split("/")
        return replace(part, shorts=(*part.shorts, (one, other, self.resistance_ohm)))
