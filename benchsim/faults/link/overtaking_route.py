"""A network with two routes of unlike length."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.faults.fault import LinkPart, direction, fault, parameter
from benchsim.ground.units import RATIO, TIME
from benchsim.link.impairments.reorder import Reorder


@fault(
    seen="resends of samples that were on their way, and a weight that now and then is late for a moment",
    cause="a network that spreads frames over two ways, a tunnel that was set up beside the old one",
    confirm="number pings and look at the order of their answers; close one route and compare",
    caution="tell whoever runs the network before a route is closed: others live on it",
)
@dataclass(frozen=True, slots=True)
class OvertakingRoute:
    """A share of the frames is held back, so that later ones overtake it.

    Source: common practice, no source.
    """

    share: float = parameter(0.2, RATIO, "of frames held back", low=0.0, high=1.0)
    held_us: int = parameter(250_000, TIME, "for how long", low=0, high=60_000_000)
    direction: str = direction()

    def fold(self, part: LinkPart, age_us: int) -> LinkPart:
        return part.also(Reorder(self.share, self.held_us), self.direction)
