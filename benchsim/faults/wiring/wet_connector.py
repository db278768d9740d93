"""Water in a connector: insulation to the shield that gives way slowly."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, fault, grown, parameter
from benchsim.ground.units import RESISTANCE, TIME
from benchsim.scale.bridge import TERMINALS
from benchsim.scale.parts import Wiring


@fault(
    seen="zero drifts by several d an hour, worse after rain, better after a dry day",
    cause="a connector or junction box that lets water in",
    confirm="with the cell unplugged, measure the insulation resistance from each lead to the shield",
    caution="switch the excitation off, and never put an insulation tester's voltage on the node",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class WetConnector:
    """Finite insulation resistance from one terminal to the shield: the conductance rises as water comes in.

    Source: common practice, no source.
    """

    resistance_ohm: float = parameter(
        2e6, RESISTANCE, "insulation resistance when it is soaked", low=1e3, high=1e9
    )
    soaking_us: int = parameter(
        HOUR_US, TIME, "how long it takes to soak; 0 at once", low=0, high=1000 * HOUR_US
    )
    terminal: str = parameter("SIG+", None, "which terminal leaks", words=TERMINALS)

    def fold(self, part: Wiring, age_us: int) -> Wiring:
        soaked = grown(age_us, self.soaking_us)
        if not soaked:
            return part
        return replace(part, leaks=(*part.leaks, (self.terminal, self.resistance_ohm / soaked)))
