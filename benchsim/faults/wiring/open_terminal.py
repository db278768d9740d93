"""One conductor has lost its contact."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.scale.bridge import TERMINALS
from benchsim.scale.parts import Wiring


@fault(
    seen="SIG open: the node finds no bridge; EXC open: no reference or, with four conductors, a plausible 0",
    cause="a screw terminal that was never tightened, or a conductor broken at the cable gland",
    confirm="pull gently at each conductor, then measure each pair's resistance from the terminals",
    caution="switch the excitation off first; open the junction box only when it is dry",
)
@dataclass(frozen=True, slots=True)
class OpenTerminal:
    """One terminal without contact; a sense terminal is `lost-sense`.

    Source: bridge circuit; an open excitation lead leaves about 0 V with the common mode at one rail.
    """

    terminal: str = parameter("SIG+", None, "which terminal", words=TERMINALS[:4])

    def fold(self, part: Wiring, age_us: int) -> Wiring:
        if self.terminal in part.open:
            return part
        return replace(part, open=(*part.open, self.terminal))
