"""A line that is too slow for its node."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.faults.fault import LinkPart, direction, fault, parameter
from benchsim.ground.units import DATA_RATE
from benchsim.link.impairments.rate import Rate


@fault(
    seen="the weight comes later and later, then goes blank; resends only make it worse",
    cause="a radio that has fallen back to its slowest rate, a port set to the wrong rate",
    confirm="compare the rate of the line with the octets that the node sends in a second",
    caution="before you change the rate at one end make sure that you can still reach the other",
)
@dataclass(frozen=True, slots=True)
class ThinLine:
    """Frames take their time on a slow line and wait for one another; what finds no room is lost.

    Source: common practice, no source.
    """

    bits_per_s: int = parameter(9_600, DATA_RATE, "of the line", low=50, high=1_000_000_000)
    direction: str = direction()

    def fold(self, part: LinkPart, age_us: int) -> LinkPart:
        return part.also(Rate(self.bits_per_s), self.direction)
