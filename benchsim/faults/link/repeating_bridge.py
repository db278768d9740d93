"""A bridge that passes frames twice."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.faults.fault import LinkPart, direction, fault, parameter
from benchsim.ground.units import RATIO, TIME
from benchsim.link.impairments.duplicate import Duplicate


@fault(
    seen="nothing on the weight; the host counts frames that it had already, and the channel is busier",
    cause="two ways that are both open between the same ends, a repeater that hears itself",
    confirm="capture the link for a minute: the same frame stands in it twice, a little apart",
    caution="a capture on the site's network needs the consent of those who run it",
)
@dataclass(frozen=True, slots=True)
class RepeatingBridge:
    """A share of the frames arrives a second time.

    Source: common practice, no source.
    """

    share: float = parameter(0.3, RATIO, "of frames that come twice", low=0.0, high=1.0)
    later_us: int = parameter(40_000, TIME, "how much later", low=0, high=60_000_000)
    direction: str = direction()

    def fold(self, part: LinkPart, age_us: int) -> LinkPart:
        return part.also(Duplicate(self.share, self.later_us), self.direction)
