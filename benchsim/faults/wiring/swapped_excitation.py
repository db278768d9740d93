"""The two excitation conductors of a cell are crossed."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault
from benchsim.scale.parts import Wiring


@fault(
    seen="a load over this support makes the weight fall; the sum is short by twice this cell's share",
    cause="EXC+ and EXC- (and SEN+ and SEN-) were taken for each other when the cable was connected",
    confirm="put a small load on each corner in turn and watch its counts: one goes the wrong way",
    caution="switch the excitation off before you move a conductor",
)
@dataclass(frozen=True, slots=True)
class SwappedExcitation:
    """The excitation pair crossed; crossing the other pair too, or this one again, makes it right.

    Source: bridge circuit; the sign of the signal turns, zero balance included.
    """

    def fold(self, part: Wiring, age_us: int) -> Wiring:
        if "excitation" in part.swapped:
            return replace(part, swapped=tuple(s for s in part.swapped if s != "excitation"))
        return replace(part, swapped=(*part.swapped, "excitation"))
