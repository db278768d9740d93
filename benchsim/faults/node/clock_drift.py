"""A clock that wanders from its rate."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, NodePart, fault, grown, parameter
from benchsim.ground.units import TIME


@fault(
    seen="nothing at first; over hours the node's samples slip against those of the others, one at a time",
    cause="a crystal that ages or warms, an oscillator that has lost its trim",
    confirm="log the node's sample counter against a good clock for a day and look at the slope",
    caution="do not open a live node to look at its crystal, and mind the seal",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class ClockDrift:
    """The error of the clock grows in a straight line, then stays.

    Source: common practice, no source.
    """

    error_ppm: float = parameter(
        300.0, None, "in parts per million in the end, positive fast", low=-5000.0, high=5000.0
    )
    over_us: int = parameter(HOUR_US, TIME, "how long that takes; 0 at once", low=0, high=1000 * HOUR_US)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        error = part.digitiser.clock_error_ppm + self.error_ppm * grown(age_us, self.over_us)
        return replace(part, digitiser=replace(part.digitiser, clock_error_ppm=error))
