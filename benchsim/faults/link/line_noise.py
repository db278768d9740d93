"""A line on which single bits turn."""

from __future__ import annotations

from dataclasses import dataclass

from benchsim.faults.fault import LinkPart, direction, fault, parameter
from benchsim.ground.units import RATIO
from benchsim.link.impairments.bit_errors import BitErrors


@fault(
    seen="bad check sums are counted, resends rise; at worst the weight goes blank for a moment",
    cause="a cable beside a drive, a missing terminator, a ground loop between two cabinets",
    confirm="count bad frames by the hour; swap the cable's route for a day and compare",
    caution="do not open cabinets of drives or switchgear: call whoever may",
)
@dataclass(frozen=True, slots=True)
class LineNoise:
    """Each bit of a frame arrives wrong with the same small probability.

    Source: common practice, no source.
    """

    rate: float = parameter(1e-4, RATIO, "share of bits that turn", low=0.0, high=0.5)
    direction: str = direction()

    def fold(self, part: LinkPart, age_us: int) -> LinkPart:
        return part.also(BitErrors(self.rate), self.direction)
