"""A converter whose zero wanders."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, NodePart, fault, grown, parameter
from benchsim.ground.units import OUTPUT, TIME


@fault(
    seen="all cells of one node move by the same mV/V: the empty scale creeps away, its span is right",
    cause="damp or dirt on the input, an amplifier that ages, a box that warms unevenly",
    confirm="join SIG+ and SIG- at each input of the node: the counts ought to be near 0 and stay there",
    caution="switch the excitation off before you join them; never join EXC to anything",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class OffsetDrift:
    """What the converter reads with nothing at its input moves in a straight line, then stays.

    Source: common practice, no source.
    """

    drift_mv_per_v: float = parameter(0.005, OUTPUT, "how much in the end", low=-1.0, high=1.0)
    over_us: int = parameter(HOUR_US, TIME, "how long that takes; 0 at once", low=0, high=1000 * HOUR_US)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        offset = part.digitiser.offset_mv_per_v + self.drift_mv_per_v * grown(age_us, self.over_us)
        return replace(part, digitiser=replace(part.digitiser, offset_mv_per_v=offset))
