"""An input that saturates long before the end of its range."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter
from benchsim.ground.units import OUTPUT


@fault(
    seen="heavy loads read short, all alike from some weight on, while light ones are right; nothing says so",
    cause="a gain set for other cells, an input stage with a supply too low",
    confirm="load the scale in steps and plot the weight: it bends to a level line",
    caution="stay below the capacity of the scale and its cells while you look for the bend",
)
@dataclass(frozen=True, slots=True)
class ClippedInput:
    """The amplifier before the converter saturates; the code stays short of its stops, so nothing tells.

    Source: common practice, no source.
    """

    range_mv_per_v: float = parameter(0.25, OUTPUT, "where it saturates, either sign", low=1e-3, high=10.0)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        before = part.digitiser.input_range_mv_per_v or self.range_mv_per_v
        clipped = min(before, self.range_mv_per_v)
        return replace(part, digitiser=replace(part.digitiser, input_range_mv_per_v=clipped))
