"""One arm of the bridge has lost its contact."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.scale.bridge import ARMS
from benchsim.scale.parts import Cell


@fault(
    seen="that cell's reading stands at one end of its range whatever is on the scale; the node marks it",
    cause="a gauge or its lead torn by overload, impact, a surge or water in the cell",
    confirm="unplug the cell and measure every pair of its conductors: they are far from the data sheet",
    caution="switch the excitation off before you unplug; jack and chock the deck before a cell is taken out",
)
@dataclass(frozen=True, slots=True)
class OpenArm:
    """One of the four arms open: the output is half of the excitation, its sign tells which diagonal.

    Source: bridge circuit, U = U_exc (R3/(R3+R4) - R2/(R1+R2)).
    """

    arm: str = parameter(ARMS[0], None, "which arm, by the terminals between which it lies", words=ARMS)

    def fold(self, part: Cell, age_us: int) -> Cell:
        return part if self.arm in part.open_arms else replace(part, open_arms=(*part.open_arms, self.arm))
