"""A calibration coefficient that does not belong to its cell."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import HostPart, fault, parameter
from benchsim.ground.units import RATIO


@fault(
    seen="the weight depends on where the load stands; the cell itself and its counts are in order",
    cause="a cell exchanged without new calibration, a slip of the pen when figures were typed in",
    confirm="put one load over each cell in turn; lay the coefficients beside the calibration record",
    caution="changing a coefficient breaks a seal: call whoever may put a new one on",
)
@dataclass(frozen=True, slots=True)
class WrongCoefficient:
    """The host takes one cell for more or less than it carries.

    Source: common practice, no source.
    """

    cell: int = parameter(1, None, "whose coefficient, counted from 1", low=1, high=16)
    error: float = parameter(0.02, RATIO, "by how much it is wrong, negative too small", low=-0.9, high=1.0)

    def fold(self, part: HostPart, age_us: int) -> HostPart:
        return part.with_seat(
            self.cell, lambda seat: replace(seat, kg_per_count=seat.kg_per_count * (1.0 + self.error))
        )
