"""A channel whose converter does not answer."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter


@fault(
    seen="no weight; the host names one cell that has no bridge, yet the cell measures well at its plug",
    cause="a converter that has failed inside the node, a loose board",
    confirm="put the cell on another channel: when it is well there, it is the node",
    caution="switch the excitation off before you move a plug",
)
@dataclass(frozen=True, slots=True)
class MissingChannel:
    """One channel gives no codes; the node says that there is no bridge at it.

    Source: common practice, no source.
    """

    channel: int = parameter(1, None, "which channel, counted from 1", low=1, high=4)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        missing = tuple(sorted({*part.digitiser.missing, self.channel - 1}))
        return replace(part, digitiser=replace(part.digitiser, missing=missing))
