"""A converter that takes its channels one after the other, too slowly."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter
from benchsim.ground.units import TIME


@fault(
    seen="nothing while the load stands; while it moves the cells disagree and the weight swings too far",
    cause="a node set to switch one converter between its channels, or a long settling time between them",
    confirm="record the cells while a vehicle drives on and brakes: the curves are shifted in time",
    caution="nobody stands on the deck or near its ends while a vehicle drives on and brakes",
)
@dataclass(frozen=True, slots=True)
class SlowSequence:
    """Each channel is converted some time before the next one, all under the time of the last.

    Source: common practice, no source.
    """

    skew_us: int = parameter(4_000, TIME, "from one channel to the next", low=1, high=100_000)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        skew_us = min(1_000_000, part.digitiser.skew_us + self.skew_us)
        return replace(part, digitiser=replace(part.digitiser, skew_us=skew_us))
