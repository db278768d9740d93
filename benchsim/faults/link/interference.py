"""Something else transmits on the same channel."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.faults.fault import LinkPart, direction, fault, parameter
from benchsim.ground.units import RATIO
from benchsim.link.impairments.loss import Loss


@fault(
    seen="short gaps in the weight at no fixed rhythm, many resends, worse at the same hours each day",
    cause="another radio on the channel, or a drive whose cables radiate",
    confirm="compare loss and resends by hour and by channel; switch the suspect off for a minute",
    caution="ask before you switch other people's equipment off, and lock it out while you test",
)
@dataclass(frozen=True, slots=True)
class Interference:
    """Frames are lost, each by itself with the same probability."""

    loss: float = parameter(0.2, RATIO, "share of frames lost", low=0.0, high=1.0)
    direction: str = direction()

    def fold(self, part: LinkPart, age_us: int) -> LinkPart:
        return part.also(Loss(self.loss), self.direction)
