"""The sense leads no longer tell the node what voltage reaches the cell."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.scale.parts import Wiring


@fault(
    seen="the cell reads wrong by a constant share, or wanders; the node may report its reference",
    cause="a sense conductor broken or left off when the cable was made shorter",
    confirm="measure SEN against EXC at the node's terminals: the two pairs must show the same voltage",
    caution="the excitation must be on for this: touch nothing but the probes to the terminals",
)
@dataclass(frozen=True, slots=True)
class LostSense:
    """One sense terminal, or both, without contact.  Four-conductor wiring has none to lose.

    Source: an open sense lead lets the reference fall or drift, and the span is wrong (textbook).
    """

    terminal: str = parameter("both", None, "which sense terminal", words=("both", "SEN+", "SEN-"))

    def fold(self, part: Wiring, age_us: int) -> Wiring:
        if not part.sensed:
            return part
        lost = ("SEN+", "SEN-") if self.terminal == "both" else (self.terminal,)
        return replace(part, open=part.open + tuple(t for t in lost if t not in part.open))
