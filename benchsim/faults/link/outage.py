"""No frame gets through while it lasts."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.faults.fault import LinkPart, direction, fault
from benchsim.link.impairments.outage import Outage as NothingPasses


@fault(
    seen="the weight goes blank and the host names the node as silent; it comes back by itself afterwards",
    cause="a vehicle or container that stands in the way, a damaged cable, an antenna lead that came off",
    confirm="look whether other nodes on the same way are silent too, and what stands between",
    caution="antennas are often on a mast: no climbing during traffic or thunder",
)
@dataclass(frozen=True, slots=True)
class Outage:
    """Every frame of the node is lost, up to the host, down to the node, or both ways."""

    direction: str = direction()

    def fold(self, part: LinkPart, age_us: int) -> LinkPart:
        return part.also(NothingPasses(), self.direction)
