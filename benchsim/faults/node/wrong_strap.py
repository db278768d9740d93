"""A node set to another address than the drawing says."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter
from benchsim.link.parts import MAX_ADDRESS


@fault(
    seen="an address with nobody there; when the wrong address is in use, two nodes answer on it as well",
    cause="a node that was exchanged, or a strap put back in the wrong place",
    confirm="read the strap on each node against the drawing; compare the serial numbers the host has heard",
    caution="switch the node off before you move a strap",
)
@dataclass(frozen=True, slots=True)
class WrongStrap:
    """The node answers at another address.  Given the address of another node, there are two on it.

    A strap is read when the node starts.
    """

    strap: int = parameter(MAX_ADDRESS, None, "the address it is set to", low=1, high=MAX_ADDRESS)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        return replace(part, card=replace(part.card, strap=self.strap))
