"""A cell that creeps more than its class may."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HOUR_US, fault, parameter
from benchsim.ground.units import RATIO, TIME
from benchsim.scale.parts import Cell


@fault(
    seen="a standing load's weight goes on changing for minutes; the empty scale takes as long to come back",
    cause="moisture in the gauge bond, or a glue line that was damaged by heat",
    confirm="leave a load near capacity on for 30 min and note every minute; do the same after unloading",
    caution="a load that stands half an hour needs chocks and a fence around it",
)
@dataclass(frozen=True, slots=True)
class CreepOutOfClass:
    """One more creep term: a share of the load's output that comes late.

    A class C cell of 3000 intervals may creep 0.735 v in 30 min, 0.0245 % of E_max: the default is four
    times that.  Source of the limit: OIML R 60-1 5.5.1.
    """

    fraction: float = parameter(0.001, RATIO, "share of the output that comes late", low=-0.05, high=0.05)
    time_constant_us: int = parameter(
        600_000_000, TIME, "after which 63 % of it has come", low=1_000_000, high=100 * HOUR_US
    )

    def fold(self, part: Cell, age_us: int) -> Cell:
        return replace(part, creep=(*part.creep, (self.fraction, self.time_constant_us / 1e6)))
