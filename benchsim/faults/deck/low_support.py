"""A support that gives way and leaves its neighbours to carry the load."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.deck import changed_support
from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import RATIO
from benchsim.scale.parts import Receptor, Support


@fault(
    seen="one cell carries less than its share, its neighbours more; the sum stays right",
    cause="a shim that is missing, grout that crumbles, a foundation that settles",
    confirm="compare each cell's share of the empty deck with the drawing; tap the mount for looseness",
    caution="a deck on jacks is a suspended load: chock it, nobody reaches between deck and foundation",
)
@dataclass(frozen=True, slots=True)
class LowSupport:
    """A support that has lost part of its stiffness, so a share of the load goes to the others.

    One that stands too low is a sunken-support.  On up to three supports statics alone fixes the shares,
    and nothing is seen.  Source: common practice, no source.
    """

    support: int = parameter(1, None, "which support, counted from 1 as the cells are", low=1, high=16)
    lost: float = parameter(0.3, RATIO, "share of its stiffness that is lost", low=0.001, high=0.999)

    def fold(self, part: Receptor, age_us: int) -> Receptor:
        def soften(support: Support) -> Support:
            return replace(support, stiffness_n_per_m=support.stiffness_n_per_m * (1.0 - self.lost))

        return changed_support(part, "low-support", self.support, soften)
