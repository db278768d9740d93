"""A cell that gives another output each time the same load is put on."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import RATIO
from benchsim.scale.parts import Cell


@fault(
    seen="the same load reads differently each time it is put on, and zero comes back a little differently",
    cause="a mount that slips or jams, dirt under a load button, a spring element that is cracked",
    confirm="put the same load on the same spot ten times, note each reading, then look below the deck",
    caution="look below the deck only when it is empty and held up: never reach under a load",
)
@dataclass(frozen=True, slots=True)
class PoorRepeatability:
    """A chance fraction of each load's output, drawn when the load is put on.

    A class C cell of 3000 intervals may spread over 0.7 x 1.5 v in three loadings, 0.035 % of E_max: the
    default spreads over about five times that.  Source of the limit: OIML R 60-1 5.4.
    """

    deviation: float = parameter(
        0.001, RATIO, "standard deviation, as a share of the load", low=0.0, high=0.05
    )

    def fold(self, part: Cell, age_us: int) -> Cell:
        return replace(part, repeatability=part.repeatability + self.deviation)
