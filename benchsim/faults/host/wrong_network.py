"""A host set to the network number of another scale."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HostPart, fault, parameter


@fault(
    seen="every node is there and answers, yet none pairs: the host says that they are of another network",
    cause="settings copied from the scale next door, or a host exchanged in a hurry",
    confirm="read the network number at the host and at each node, and lay them beside the drawing",
    caution="do not pair the nodes of a neighbour to try it out: that scale would stand still",
)
@dataclass(frozen=True, slots=True)
class WrongNetwork:
    """The host seeks its nodes under another network number.

    Source: common practice, no source.
    """

    network: int = parameter(65_000, None, "the number it is set to", low=0, high=65_535)

    def fold(self, part: HostPart, age_us: int) -> HostPart:
        return replace(part, card=replace(part.card, network=self.network))
