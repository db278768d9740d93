"""A support that stands too low, so that a rigid deck bears on the others first."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.deck import changed_support
from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import LENGTH
from benchsim.scale.parts import Receptor


@fault(
    seen="one cell carries too little or nothing while its neighbours carry more; the sum stays right",
    cause="a missing shim, a base plate bedded too low, a foundation that has settled under one cell",
    confirm="compare each cell's share of the empty deck with the drawing; try a feeler gauge at the mount",
    caution="a deck on jacks is a suspended load: chock it, nobody reaches between deck and foundation",
)
@dataclass(frozen=True, slots=True)
class SunkenSupport:
    """A support below its height: a light deck hangs over it and comes down on it only under load.

    On up to three supports statics alone fixes the shares, and nothing is seen.  Source: common practice, no
    source.
    """

    support: int = parameter(1, None, "which support, counted from 1 as the cells are", low=1, high=16)
    depth_m: float = parameter(0.0005, LENGTH, "how far below the others", low=1e-6, high=0.1)

    def fold(self, part: Receptor, age_us: int) -> Receptor:
        def lower(height_m: float) -> float:
            return max(-1.0, height_m - self.depth_m)

        return changed_support(
            part, "sunken-support", self.support, lambda s: replace(s, height_m=lower(s.height_m))
        )
