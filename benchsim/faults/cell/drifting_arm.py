"""One arm of the bridge changes its resistance."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, fault, grown, parameter
from benchsim.ground.units import RATIO, TIME
from benchsim.scale.bridge import ARMS
from benchsim.scale.parts import Cell


@fault(
    seen="zero creeps away in one direction for hours with nothing on the scale; the span stays right",
    cause="a gauge whose bond gives way or that corrodes, or a trimming resistor that ages",
    confirm="unplug the cell; compare its resistances pair by pair, and its zero, with the data sheet",
    caution="switch the excitation off before you unplug the cell",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class DriftingArm:
    """The resistance of one arm moves in a straight line by a share of itself, then stays.

    Source: quarter bridge, U / U_exc = x / (4 + 2 x).
    """

    arm: str = parameter(ARMS[0], None, "which arm, by the terminals between which it lies", words=ARMS)
    drift: float = parameter(0.0002, RATIO, "share by which it is off in the end", low=-0.2, high=1.0)
    over_us: int = parameter(HOUR_US, TIME, "how long that takes; 0 at once", low=0, high=1000 * HOUR_US)

    def fold(self, part: Cell, age_us: int) -> Cell:
        shift = (self.arm, self.drift * grown(age_us, self.over_us))
        return replace(part, arm_shifts=(*part.arm_shifts, shift))
