"""The two sense conductors of a cell are crossed."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault
from benchsim.scale.parts import Wiring


@fault(
    seen="the node reports its reference as soon as it starts; that cell gives no usable reading at all",
    cause="SEN+ and SEN- were taken for each other when the cable was connected",
    confirm="measure SEN+ against EXC+ at the node's terminals: it must be close to 0 V",
    caution="the excitation must be on for this: touch nothing but the probes to the terminals",
)
@dataclass(frozen=True, slots=True)
class SwappedSense:
    """The sense pair crossed; once more makes it right.  Four-conductor wiring has none to cross.

    Source: bridge circuit; the reference turns its sign.
    """

    def fold(self, part: Wiring, age_us: int) -> Wiring:
        if not part.sensed:
            return part
        if "sense" in part.swapped:
            return replace(part, swapped=tuple(s for s in part.swapped if s != "sense"))
        return replace(part, swapped=(*part.swapped, "sense"))
