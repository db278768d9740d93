"""A radio path that is good for a while and then bad for a while."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.faults.fault import LinkPart, direction, fault, parameter
from benchsim.ground.units import RATIO
from benchsim.link.impairments.burst import Burst


@fault(
    seen="the weight is lost for a moment again and again, often while vehicles move or when it rains",
    cause="reflections from vehicles or a wet deck, too little margin for the distance",
    confirm="note received strength and loss over an hour; move one antenna by half a metre and compare",
    caution="walk around the deck, not over it, while the scale is open to traffic",
)
@dataclass(frozen=True, slots=True)
class Fading:
    """Loss in bursts: two states, one that loses nothing and one that loses nearly everything.

    Source: Gilbert (1960) and Elliott (1963).
    """

    begin: float = parameter(0.02, RATIO, "chance, at each frame, that a bad spell begins", low=0.0, high=1.0)
    end: float = parameter(0.1, RATIO, "chance, at each frame, that it ends", low=0.0001, high=1.0)
    loss: float = parameter(0.95, RATIO, "share of frames lost in a bad spell", low=0.0, high=1.0)
    direction: str = direction()

    def fold(self, part: LinkPart, age_us: int) -> LinkPart:
        return part.also(Burst(p=self.begin, r=self.end, h=1.0 - self.loss), self.direction)
