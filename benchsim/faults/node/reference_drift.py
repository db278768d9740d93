"""A converter whose reference wanders: every cell of the node is off by the same share."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, NodePart, fault, grown, parameter
from benchsim.ground.units import RATIO, TIME


@fault(
    seen="all cells of one node read a constant share wrong, dead load included, so zero moves too",
    cause="an ageing reference, or a node that does not measure ratiometrically any more",
    confirm="put a bridge simulator of known mV/V on each of the node's inputs; all are off alike",
    caution="switch the excitation off before you exchange a cell for a bridge simulator",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class ReferenceDrift:
    """The reference moves in a straight line by a share of itself, then stays.

    Source: common practice, no source.
    """

    drift: float = parameter(0.001, RATIO, "share by which it is wrong in the end", low=-0.3, high=0.3)
    over_us: int = parameter(HOUR_US, TIME, "how long that takes; 0 at once", low=0, high=1000 * HOUR_US)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        error = part.digitiser.reference_error + self.drift * grown(age_us, self.over_us)
        return replace(part, digitiser=replace(part.digitiser, reference_error=error))
