"""Frames of earlier that come once more."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.faults.fault import LinkPart, direction, fault, parameter
from benchsim.ground.units import RATIO, TIME
from benchsim.link.impairments.replay import Replay


@fault(
    seen="nothing on the weight if the host is right; it counts frames that it will not take",
    cause="a gateway that empties an old buffer, or somebody who plays back what was recorded",
    confirm="capture the link: true frames of earlier stand between those of now, their counters behind",
    caution="if somebody does it on purpose, keep the capture and call those who answer for the site",
)
@dataclass(frozen=True, slots=True)
class OldFrames:
    """A share of the frames is followed by one of earlier, whole and with a right tag.

    Source: common practice, no source.
    """

    share: float = parameter(0.2, RATIO, "of frames that one of earlier follows", low=0.0, high=1.0)
    after_us: int = parameter(500_000, TIME, "how old that one is", low=0, high=3_600_000_000)
    direction: str = direction()

    def fold(self, part: LinkPart, age_us: int) -> LinkPart:
        return part.also(Replay(self.share, self.after_us), self.direction)
