"""A cell's sensitivity wanders off; its zero stays."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, fault, grown, parameter
from benchsim.ground.units import RATIO, TIME
from benchsim.scale.parts import Cell


@fault(
    seen="zero is right, loads read a constant share too much or too little over this cell, more each day",
    cause="an ageing strain gauge bond, or moisture that has crept into the cell",
    confirm="put one test weight over each support in turn and compare: one section is off in proportion",
    caution="certified weights over one support: stay inside the concentrated load that the deck allows",
    varies=True,
)
@dataclass(frozen=True, slots=True)
class SpanDrift:
    """The rated output moves in a straight line by a share of itself, then stays there.

    Source: common practice, no source.
    """

    drift: float = parameter(0.002, RATIO, "share of the rated output gained in the end", low=-0.5, high=0.5)
    over_us: int = parameter(HOUR_US, TIME, "how long that takes; 0 at once", low=0, high=1000 * HOUR_US)

    def fold(self, part: Cell, age_us: int) -> Cell:
        factor = 1.0 + self.drift * grown(age_us, self.over_us)
        return replace(part, rated_output_mv_per_v=part.rated_output_mv_per_v * factor)
