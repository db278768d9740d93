"""A host that waits too short a time for what is late."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HostPart, fault, parameter
from benchsim.ground.units import TIME


@fault(
    seen="the weight goes blank again and again though every node is heard and nothing is lost for good",
    cause="a time set for a short cable and then used over a radio or a busy network",
    confirm="compare the time that the host waits with the delay of the link over a day",
    caution="do not lengthen it beyond need: an old weight must never pass for a new one",
)
@dataclass(frozen=True, slots=True)
class ShortPatience:
    """The host waits less long for samples that are late before it refuses the weight.

    Source: common practice, no source.
    """

    waiting_us: int = parameter(0, TIME, "how long it waits", low=0, high=60_000_000)

    def fold(self, part: HostPart, age_us: int) -> HostPart:
        shorter_us = min(part.settings.waiting_us, self.waiting_us)
        return replace(part, settings=replace(part.settings, waiting_us=shorter_us))
