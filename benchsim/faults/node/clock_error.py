"""A node whose clock runs fast or slow."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter


@fault(
    seen="nothing while all is quiet; when the load moves, motion lasts longer and cells seem out of step",
    cause="a crystal that is out of tolerance, aged, or far from its temperature",
    confirm="compare the node's sample counter with a good clock over an hour",
    caution="do not open a live node to look at its crystal, and mind the seal",
)
@dataclass(frozen=True, slots=True)
class ClockError:
    """The node samples faster (or slower) than it says.  Source: common practice, no source."""

    error_ppm: float = parameter(200.0, None, "in parts per million, positive fast", low=-5000.0, high=5000.0)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        error = part.digitiser.clock_error_ppm + self.error_ppm
        return replace(part, digitiser=replace(part.digitiser, clock_error_ppm=error))
