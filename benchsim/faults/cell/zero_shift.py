"""A cell's no-load output has moved for good; its span has not."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import OUTPUT
from benchsim.scale.parts import Cell


@fault(
    seen="the empty scale does not come back to zero; test weights still add what they should",
    cause="the cell was overloaded or struck once and its spring element kept a set",
    confirm="unload the cell, compare its no-load output with the data sheet's and with its neighbours'",
    caution="a cell is unloaded by jacking the deck: chock the deck, nobody reaches under it",
)
@dataclass(frozen=True, slots=True)
class ZeroShift:
    """The cell gives a constant signal more (or less) than it should.

    Source: common practice, no source.
    """

    shift_mv_per_v: float = parameter(0.02, OUTPUT, "signal added at every load", low=-5.0, high=5.0)

    def fold(self, part: Cell, age_us: int) -> Cell:
        return replace(part, zero_balance_mv_per_v=part.zero_balance_mv_per_v + self.shift_mv_per_v)
