"""A calibrated zero that belongs to another deck or another cell."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HostPart, fault, parameter
from benchsim.ground.units import MASS


@fault(
    seen="the empty scale is off by a fixed amount, and at the next start the initial zero may be refused",
    cause="a deck that was repaired or tiled, a cell exchanged, settings put back from an old copy",
    confirm="empty and clean the deck, then lay the host's zero of each cell beside its counts now",
    caution="do not zero it away before the deck was looked at: something may have fallen under it",
)
@dataclass(frozen=True, slots=True)
class OldZero:
    """The dead load that the host takes off one cell is not the one that it carries.

    Source: common practice, no source.
    """

    cell: int = parameter(1, None, "whose zero, counted from 1", low=1, high=16)
    shift_kg: float = parameter(200.0, MASS, "too little taken off; negative too much", low=-1e5, high=1e5)

    def fold(self, part: HostPart, age_us: int) -> HostPart:
        return part.with_seat(
            self.cell,
            lambda seat: replace(seat, zero_counts=seat.zero_counts - self.shift_kg / seat.kg_per_count),
        )
