"""A node with another program than its fellows."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter


@fault(
    seen="one node starts by itself, and its offer carries a firmware version unlike that of the others",
    cause="a node put in from the shelf, or a program brought up to date on some nodes only",
    confirm="read the version of every node and lay them beside the approval of the scale",
    caution="a program that is not in the approval may not be weighed with, however well it works",
)
@dataclass(frozen=True, slots=True)
class OtherProgram:
    """The node starts anew with another firmware version.

    Source: common practice, no source.
    """

    major: int = parameter(0, None, "first number of its version", low=0, high=255)
    minor: int = parameter(9, None, "second number of its version", low=0, high=255)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        return replace(part, card=replace(part.card, firmware=(self.major, self.minor)))
