"""A cell that overload damages sooner and for good."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import RATIO
from benchsim.scale.parts import Cell


@fault(
    seen="after a heavy load or a hard landing zero stands elsewhere and stays there; the span is right",
    cause="a spring element that yields, since it is overloaded, cracked, or of too small a capacity",
    confirm="compare zero balance with the data sheet, with nothing on the cell",
    caution="a yielded cell can break under a load it once bore: keep traffic off, chock a jacked deck",
)
@dataclass(frozen=True, slots=True)
class WeakSpring:
    """Every load beyond `bears` shifts zero for good, by a share of what it lies beyond.

    Source: common practice, no source.
    """

    bears: float = parameter(0.05, RATIO, "of E_max: a load up to here does no harm", low=0.01, high=10.0)
    yields: float = parameter(0.05, RATIO, "of what lies beyond, what is left behind", low=-1.0, high=1.0)

    def fold(self, part: Cell, age_us: int) -> Cell:
        return replace(part, safe_load=min(part.safe_load, self.bears), overload_set=self.yields)
