"""A cell that says nothing, and says it plausibly: a steady zero within the converter's range."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault
from benchsim.scale.parts import Cell


@fault(
    seen="the scale reads far too little, worst over one support; that cell's counts stand still near zero",
    cause="the bridge gets no excitation inside the cell, or lightning has shorted it",
    confirm="with the cell unplugged, measure input and output resistance against the data sheet",
    caution="switch the excitation off before you unplug or measure; after lightning, check for live metal",
)
@dataclass(frozen=True, slots=True)
class DeadCell:
    """The bridge gives 0 mV/V whatever stands on it, which no range check can tell from an unloaded cell.

    Source: a bridge without excitation gives about 0 V and looks like a plausible cell (textbook).
    """

    def fold(self, part: Cell, age_us: int) -> Cell:
        return replace(part, rated_output_mv_per_v=0.0, zero_balance_mv_per_v=0.0)
