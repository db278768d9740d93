"""A cable that picks up the mains."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter
from benchsim.ground.units import FREQUENCY, OUTPUT


@fault(
    seen="the last digits never rest and beat slowly; worse when a drive, a lamp or a welder nearby is on",
    cause="a shield that is connected at neither end or at both, or a cable laid along a power line",
    confirm="switch the machines nearby off one by one and watch the counts; then look at the shield's ends",
    caution="do not open cabinets of drives or switchgear: call whoever may",
)
@dataclass(frozen=True, slots=True)
class MainsPickup:
    """A sine of the mains on every input of the node.  Source: common practice, no source."""

    amplitude_mv_per_v: float = parameter(0.02, OUTPUT, "at the converter's input", low=0.0, high=5.0)
    frequency_hz: float = parameter(50.0, FREQUENCY, "of the mains", low=1.0, high=1000.0)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        amplitude = part.digitiser.pickup_mv_per_v + self.amplitude_mv_per_v
        made = replace(part.digitiser, pickup_mv_per_v=amplitude, pickup_hz=self.frequency_hz)
        return replace(part, digitiser=made)
