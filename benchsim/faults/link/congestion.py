"""A network that is too busy: frames arrive late and at uneven times."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.faults.fault import LinkPart, direction, fault, parameter
from benchsim.ground.units import TIME
from benchsim.link.impairments.delay import Delay


@fault(
    seen="the weight follows the load late and in jerks; at busy hours it goes blank for a moment",
    cause="cameras or backups on the same network, a radio bridge at its limit",
    confirm="note the round trip to the node over a day and lay it beside the network's load",
    caution="a capture on the site's network needs the consent of those who run it",
)
@dataclass(frozen=True, slots=True)
class Congestion:
    """More delay, with jitter evenly spread on top; frames keep their order."""

    delay_us: int = parameter(150_000, TIME, "delay added to each frame", low=0, high=60_000_000)
    jitter_us: int = parameter(200_000, TIME, "spread on top of it", low=0, high=60_000_000)
    direction: str = direction()

    def fold(self, part: LinkPart, age_us: int) -> LinkPart:
        return part.also(Delay(self.delay_us, self.jitter_us), self.direction)
