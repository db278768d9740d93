"""Two cells exchanged in the settings of the host."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HostPart, fault, parameter
from benchsim.ground.errors import BadInput


@fault(
    seen="the weight is nearly right, but the wrong cell is named when one is bad",
    cause="two plugs exchanged after work in the junction box, or a drawing read from the other side",
    confirm="stand on each corner in turn and watch which cell the host says is loaded",
    caution="nobody stands on a deck while vehicles may drive onto it",
)
@dataclass(frozen=True, slots=True)
class ExchangedCells:
    """The host takes two cells for one another: each reading with the coefficients of the other cell.

    Source: common practice, no source.
    """

    first: int = parameter(1, None, "one cell, counted from 1", low=1, high=16)
    second: int = parameter(2, None, "the other cell", low=1, high=16)

    def fold(self, part: HostPart, age_us: int) -> HostPart:
        seats, most = list(part.settings.seats), len(part.settings.seats)
        if max(self.first, self.second) > most:
            raise BadInput(f"cell {max(self.first, self.second)} of {most} cells", f"cells 1 to {most}")
        if self.first == self.second:
            raise BadInput(f"exchanged-cells: cell {self.first} with itself", "two cells")
        one, other = seats[self.first - 1], seats[self.second - 1]
        seats[self.first - 1] = replace(one, address=other.address, channel=other.channel)
        seats[self.second - 1] = replace(other, address=one.address, channel=one.channel)
        return replace(part, settings=replace(part.settings, seats=tuple(seats)))
