"""A cell that reads falling loads otherwise than rising ones, beyond its class."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import fault, parameter
from benchsim.ground.units import RATIO
from benchsim.scale.parts import Cell


@fault(
    seen="half load reads more after full load than before it; up and down series do not meet",
    cause="a cracked spring element, or a cell mount that rubs",
    confirm="load in steps to capacity and back, note each step both ways",
    caution="take weights off as carefully as you put them on; a cracked cell can give way under load",
)
@dataclass(frozen=True, slots=True)
class HysteresisOutOfClass:
    """A wider loop between rising and falling load.

    A class C cell of 3000 intervals may be off by 0.7 x 1.5 v, 0.035 % of E_max, hysteresis included: the
    default is three times that.  Source of the limit: OIML R 60-1 5.3.2.
    """

    more: float = parameter(0.001, RATIO, "added to the loop, of rated output", low=-0.05, high=0.05)

    def fold(self, part: Cell, age_us: int) -> Cell:
        return replace(part, hysteresis=part.hysteresis + self.more)
